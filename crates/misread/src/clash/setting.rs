//! What a panel keeps of a card.

use std::fmt;

use crate::Layout;
use crate::diagnose::FACILITY;
use crate::file::shown;

/// How a panel reads cards: with which layout, and how much of it it keeps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    /// The layout it reads with; `None` for each card's own.
    pub layout: Option<Layout>,
    /// What it keeps of the fields.
    pub keep: Keep,
}

/// What a panel keeps of the fields it reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Keep {
    /// Every field.
    Whole,
    /// Every field but the facility code.
    NoFacility,
    /// The lowest bits, 1 to 64, of the fields joined in the order of the
    /// layout into one binary number.
    LowBits(u8),
    /// The last decimal digits, 1 to 19, of that number.
    Digits(u8),
}

/// Text that is no setting.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("‘{found}’ is neither a layout nor a setting")]
pub struct SettingError {
    /// The text.
    pub found: String,
}

impl SettingError {
    /// What would be accepted.
    pub fn expected(&self) -> &'static str {
        "whole, no-facility, low-16, low-24, low-32 (1 to 64 bits), digits-5 (1 to 19 digits), the \
         name of a layout, or both, such as serial-34/low-16"
    }
}

impl Setting {
    /// Reads a setting as it is written: `whole`, `no-facility`, `low-16`,
    /// `digits-5`, the name of one of `layouts`, or a name and one of the
    /// others: `serial-34/low-16`.
    ///
    /// # Errors
    ///
    /// None of these.
    pub fn parse(text: &str, layouts: &[&Layout]) -> Result<Self, SettingError> {
        let refuse = || SettingError { found: shown(text.trim()) };
        let named = |name: &str| {
            layouts.iter().find(|layout| layout.name().eq_ignore_ascii_case(name.trim()))
        };
        if let Some((name, keep)) = text.split_once('/') {
            let layout = named(name).ok_or_else(refuse)?;
            let keep = Keep::parse(keep).ok_or_else(refuse)?;
            return Ok(Setting { layout: Some((*layout).clone()), keep });
        }
        match (Keep::parse(text), named(text)) {
            (Some(keep), _) => Ok(Setting { layout: None, keep }),
            (None, Some(&layout)) => {
                Ok(Setting { layout: Some(layout.clone()), keep: Keep::Whole })
            }
            (None, None) => Err(refuse()),
        }
    }

    /// The settings most panels have: the fields whole or without the facility
    /// code, and the low 16, 24 and 32 bits.
    pub fn usual() -> Vec<Setting> {
        [Keep::Whole, Keep::NoFacility, Keep::LowBits(32), Keep::LowBits(24), Keep::LowBits(16)]
            .map(|keep| Setting { layout: None, keep })
            .to_vec()
    }

    /// How many bits of a card of `layout` it keeps, decimal digits counting
    /// log₂ 10 bits each.
    pub fn kept_bits(&self, layout: &Layout) -> f64 {
        let layout = self.layout.as_ref().unwrap_or(layout);
        let widths = |skip: &str| -> f64 {
            let kept = layout.fields().iter().filter(|field| field.name() != skip);
            kept.map(|field| field.width() as f64).sum()
        };
        match self.keep {
            Keep::Whole => widths(""),
            Keep::NoFacility => widths(FACILITY),
            Keep::LowBits(bits) => f64::from(bits).min(widths("")),
            Keep::Digits(digits) => (f64::from(digits) * std::f64::consts::LOG2_10).min(widths("")),
        }
    }

    /// In words, behind "The panel reads".
    pub fn says(&self) -> String {
        let keep = match self.keep {
            Keep::Whole => "every field".to_owned(),
            Keep::NoFacility => "every field but the facility code".to_owned(),
            Keep::LowBits(bits) => format!("the low {bits} bits of the number"),
            Keep::Digits(digits) => format!("the last {digits} digits of the number"),
        };
        match &self.layout {
            Some(layout) => format!("{keep}, with layout {}", layout.name()),
            None => keep,
        }
    }
}

impl fmt::Display for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.layout, self.keep) {
            (None, keep) => keep.fmt(f),
            (Some(layout), Keep::Whole) => f.write_str(layout.name()),
            (Some(layout), keep) => write!(f, "{}/{keep}", layout.name()),
        }
    }
}

impl Keep {
    fn parse(text: &str) -> Option<Self> {
        let text = text.trim().to_ascii_lowercase();
        let number = |digits: &str, most: u8| {
            let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
            digits.parse().ok().filter(|number| plain && (1..=most).contains(number))
        };
        match text.as_str() {
            "whole" => Some(Keep::Whole),
            "no-facility" => Some(Keep::NoFacility),
            other => match other.split_once('-') {
                Some(("low", bits)) => number(bits, 64).map(Keep::LowBits),
                Some(("digits", digits)) => number(digits, 19).map(Keep::Digits),
                _ => None,
            },
        }
    }
}

impl fmt::Display for Keep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Keep::Whole => f.write_str("whole"),
            Keep::NoFacility => f.write_str("no-facility"),
            Keep::LowBits(bits) => write!(f, "low-{bits}"),
            Keep::Digits(digits) => write!(f, "digits-{digits}"),
        }
    }
}
