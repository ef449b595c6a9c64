//! What can be wrong with the wire: a cause by itself, behind swapped lines, or
//! at times; and whose cards were read.

use std::fmt;
use std::str::FromStr;

use super::Cause;

/// A state of the wire, from reader to panel.
///
/// ```
/// use misread::cause::{Cause, Wire};
///
/// let wire: Wire = "lines-swapped+d0-weak".parse()?;
/// assert_eq!(wire, Wire::Swapped(Cause::D0Weak));
/// assert_eq!(wire.to_string(), "lines-swapped+d0-weak");
/// # Ok::<(), misread::cause::NoSuchWire>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Wire {
    /// A cause by itself.
    Alone(Cause),
    /// D0 and D1 swapped, and then this cause; its lines are those of the
    /// panel's terminals. Only a cause for which [`Wire::swapped`] gives one.
    Swapped(Cause),
    /// A share of the presentations suffers this cause, the others arrive as
    /// they were sent. Only a cause for which [`Wire::at_times`] gives one.
    AtTimes(Cause),
    /// A share of the presentations gives nothing at all.
    ReadsMissing,
}

impl Wire {
    /// How many there are.
    pub const COUNT: usize = 67;

    /// Every state, in the order of the tables: causes, two at once, at times,
    /// [`Wire::ReadsMissing`].
    pub fn all() -> impl Iterator<Item = Wire> + Clone {
        let causes = Cause::ALL.into_iter();
        causes
            .clone()
            .map(Wire::Alone)
            .chain(causes.clone().filter_map(Wire::swapped))
            .chain(causes.filter_map(Wire::at_times))
            .chain([Wire::ReadsMissing])
    }

    /// Swapped lines and this cause at once; `None` for one that swapped lines
    /// do not go with.
    pub fn swapped(cause: Cause) -> Option<Wire> {
        use Cause::*;
        let is = !matches!(
            cause,
            None | LinesSwapped | BitsInverted | LinesShorted | UnknownLayout | RandomBits
        );
        is.then_some(Wire::Swapped(cause))
    }

    /// This cause at times; `None` for one that does not come and go.
    pub fn at_times(cause: Cause) -> Option<Wire> {
        use Cause::*;
        let is = !matches!(
            cause,
            None | BitsInverted | BitOrderReversed | BytesReversed | Padded | FrameSplit
        );
        is.then_some(Wire::AtTimes(cause))
    }

    /// Its place among [`Wire::all`].
    pub fn index(self) -> usize {
        let causes = Cause::ALL.len();
        let rank = |cause: Cause, of: fn(Cause) -> Option<Wire>| {
            Cause::ALL[..cause.index()].iter().filter(|&&cause| of(cause).is_some()).count()
        };
        match self {
            Wire::Alone(cause) => cause.index(),
            Wire::Swapped(cause) => causes + rank(cause, Wire::swapped),
            Wire::AtTimes(cause) => {
                let swapped = Cause::ALL.into_iter().filter_map(Wire::swapped).count();
                causes + swapped + rank(cause, Wire::at_times)
            }
            Wire::ReadsMissing => Wire::COUNT - 1,
        }
    }

    /// The cause, the other one of two at once; [`Cause::None`] for
    /// [`Wire::ReadsMissing`].
    pub fn cause(self) -> Cause {
        match self {
            Wire::Alone(cause) | Wire::Swapped(cause) | Wire::AtTimes(cause) => cause,
            Wire::ReadsMissing => Cause::None,
        }
    }

    /// Whether nothing is wrong.
    pub fn is_none(self) -> bool {
        self == Wire::Alone(Cause::None)
    }

    /// Whether it holds of some presentations and not of others.
    pub fn comes_and_goes(self) -> bool {
        matches!(self, Wire::AtTimes(_) | Wire::ReadsMissing)
    }

    /// Whether it says nothing of card and layout: the bits came from no frame
    /// of a candidate layout.
    pub fn is_without_layout(self) -> bool {
        matches!(self, Wire::Alone(cause) if cause.is_without_layout())
    }
}

impl From<Cause> for Wire {
    fn from(cause: Cause) -> Self {
        Wire::Alone(cause)
    }
}

/// Its id, as in answers and on the command line.
impl fmt::Display for Wire {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Wire::Alone(cause) => write!(f, "{cause}"),
            Wire::Swapped(cause) => write!(f, "lines-swapped+{cause}"),
            Wire::AtTimes(cause) => write!(f, "{cause}-at-times"),
            Wire::ReadsMissing => f.write_str("reads-missing"),
        }
    }
}

/// There is no wire state of that id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "there is no wire state ‘{0}’; expected a cause that misread causes lists, \
     lines-swapped+CAUSE, CAUSE-at-times or reads-missing"
)]
pub struct NoSuchWire(pub String);

impl FromStr for Wire {
    type Err = NoSuchWire;

    fn from_str(id: &str) -> Result<Self, NoSuchWire> {
        let alone = Cause::from_id(id).map(Wire::Alone);
        alone
            .or_else(|| Wire::all().find(|wire| wire.to_string() == id))
            .ok_or_else(|| NoSuchWire(id.to_owned()))
    }
}

/// Whose cards the reads of a case are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Whose {
    /// Every read is of the same card.
    OneCard,
    /// Each read is of a card of its own, all of one layout.
    OwnCards,
    /// Each read is of a card of its own, and of a layout of its own.
    MixedCards,
}

impl Whose {
    /// All of them, in the order of the tables.
    pub const ALL: [Whose; 3] = [Whose::OneCard, Whose::OwnCards, Whose::MixedCards];

    /// Its id, as in answers.
    pub fn id(self) -> &'static str {
        match self {
            Whose::OneCard => "one-card",
            Whose::OwnCards => "own-cards",
            Whose::MixedCards => "mixed-cards",
        }
    }

    /// Its place in [`Whose::ALL`].
    pub fn index(self) -> usize {
        self as usize
    }
}

impl fmt::Display for Whose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_an_id_that_names_it() {
        assert_eq!(Wire::all().count(), Wire::COUNT);
        for (index, wire) in Wire::all().enumerate() {
            assert_eq!(wire.index(), index);
            assert_eq!(wire.to_string().parse(), Ok(wire));
        }
        for id in ["lines-swapped+none", "none-at-times", "frame-split-at-times", "rain", ""] {
            assert_eq!(id.parse::<Wire>(), Err(NoSuchWire(id.to_owned())));
        }
        assert_eq!("one-bit-changed".parse(), Ok(Wire::Alone(Cause::BitsChanged)));
    }
}
