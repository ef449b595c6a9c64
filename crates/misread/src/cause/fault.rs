//! Whatever can be wrong between a card and a panel, in one type.

use std::fmt;
use std::str::FromStr;

use super::{CardState, Cause, Wire};

/// What can be wrong: the wire, the card, or the panel's layout.
///
/// ```
/// use misread::cause::{CardState, Cause, Fault, Wire};
///
/// assert_eq!("d0-weak".parse(), Ok(Fault::Wire(Wire::Alone(Cause::D0Weak))));
/// assert_eq!(Fault::Card(CardState::CardDiffers).to_string(), "card-differs");
/// assert!(Fault::Wire(Wire::Alone(Cause::None)).is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Fault {
    /// The wire; [`Cause::None`] by itself where nothing is wrong.
    Wire(Wire),
    /// The wire is sound, and the card is not the one expected.
    Card(CardState),
    /// The card uses another layout than the panel is set to.
    LayoutDiffers,
}

impl Fault {
    /// Whether nothing is wrong.
    pub fn is_none(self) -> bool {
        matches!(self, Fault::Wire(Wire::Alone(Cause::None)) | Fault::Card(CardState::AsExpected))
    }

    /// What is mended where this is mended: the cause by itself for one at
    /// times, and for one behind swapped lines, which are mended beside it.
    pub fn mended_as(self) -> Fault {
        match self {
            Fault::Wire(Wire::Swapped(cause) | Wire::AtTimes(cause)) => cause.into(),
            Fault::Wire(Wire::Alone(_) | Wire::ReadsMissing)
            | Fault::Card(_)
            | Fault::LayoutDiffers => self,
        }
    }

    /// Whether the data lines are swapped beside what [`Fault::mended_as`]
    /// says.
    pub fn is_behind_swap(self) -> bool {
        matches!(self, Fault::Wire(Wire::Swapped(_)))
    }
}

impl From<Wire> for Fault {
    fn from(wire: Wire) -> Self {
        Fault::Wire(wire)
    }
}

impl From<Cause> for Fault {
    fn from(cause: Cause) -> Self {
        Fault::Wire(Wire::Alone(cause))
    }
}

/// Its id, as in answers.
impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Wire(wire) => write!(f, "{wire}"),
            Fault::Card(state) => write!(f, "{state}"),
            Fault::LayoutDiffers => f.write_str("layout-differs"),
        }
    }
}

/// Nothing of that id can be wrong.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "there is no fault ‘{0}’; expected a cause that misread causes lists, reads-missing, a card \
     state or layout-differs"
)]
pub struct NoSuchFault(pub String);

impl FromStr for Fault {
    type Err = NoSuchFault;

    fn from_str(id: &str) -> Result<Self, NoSuchFault> {
        let card = || CardState::ALL.into_iter().find(|state| state.id() == id).map(Fault::Card);
        let layout = || (id == "layout-differs").then_some(Fault::LayoutDiffers);
        let wire = id.parse().map(Fault::Wire).ok();
        wire.or_else(card).or_else(layout).ok_or_else(|| NoSuchFault(id.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_an_id_that_names_it() {
        let cards = CardState::ALL.into_iter().map(Fault::Card);
        for fault in Wire::all().map(Fault::Wire).chain(cards).chain([Fault::LayoutDiffers]) {
            assert_eq!(fault.to_string().parse(), Ok(fault));
        }
        assert_eq!("rain".parse::<Fault>(), Err(NoSuchFault("rain".to_owned())));
    }
}
