//! How a keypad sends what is keyed.

use std::fmt;
use std::sync::Arc;

use misread_core::Layout;
use misread_core::keypad::Mode;
use misread_core::layout::Field;

/// The field that carries a whole code's number.
pub const NUMBER: &str = "card";

/// How a keypad sends what is keyed.
#[derive(Clone, Debug, PartialEq)]
pub enum Sending {
    /// Each key as it is pressed, or several in a burst.
    Keys(Mode),
    /// The whole code after the hash key, its digits as a number in the field
    /// [`NUMBER`] of the site's layout. Common practice.
    WholeCode(Arc<Layout>),
}

/// A layout that can carry no whole code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("layout {layout} has no field ‘{NUMBER}’ to carry a code's number")]
pub struct WholeCodeError {
    /// Its name.
    pub layout: String,
}

impl Sending {
    /// Every way there is: the modes, and where the site's layout is known, the
    /// whole code in a frame of it.
    pub fn all(whole_code: Option<Sending>) -> Vec<Sending> {
        Mode::ALL.into_iter().map(Sending::Keys).chain(whole_code).collect()
    }

    /// The whole code in a frame of this layout.
    ///
    /// # Errors
    ///
    /// The layout has no field [`NUMBER`].
    pub fn whole_code(layout: Arc<Layout>) -> Result<Sending, WholeCodeError> {
        match layout.field(NUMBER) {
            Some(_) => Ok(Sending::WholeCode(layout)),
            None => Err(WholeCodeError { layout: layout.name().to_owned() }),
        }
    }

    /// `4`, `6`, `8` or `whole-code`.
    pub fn id(&self) -> &'static str {
        match self {
            Sending::Keys(Mode::FourBit) => "4",
            Sending::Keys(Mode::SixBit) => "6",
            Sending::Keys(Mode::EightBit) => "8",
            Sending::WholeCode(_) => "whole-code",
        }
    }

    /// The field with the code's number, where there is one.
    pub(super) fn number(&self) -> Option<(&Layout, &Field)> {
        match self {
            Sending::Keys(_) => None,
            Sending::WholeCode(layout) => Some((layout, layout.field(NUMBER)?)),
        }
    }
}

/// `4 bits a key`; `whole codes in open-26 frames`.
impl fmt::Display for Sending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Sending::Keys(mode) => mode.fmt(f),
            Sending::WholeCode(layout) => write!(f, "whole codes in {} frames", layout.name()),
        }
    }
}
