//! What is wrong with the wire, with what holds for a whole case.

use rand_core::Rng;

use super::random::below;
use super::{LONGEST_READ, Pulses};
use crate::cause::{Cause, Model, UnlistedLengths, Wire};

/// A wire state, with what holds for all presentations of a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    wire: Wire,
    held: Held,
    share: Option<f64>,
}

/// What holds for all presentations of a case, beside the wire state and the
/// share that suffers it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// Nothing more.
    Nothing,
    /// At which rate it happens, over 0 and at most 1: the weak, noise and
    /// ringing causes, and crosstalk.
    Rate(f64),
    /// How the receiver takes two lines that touch: [`Cause::LinesShorted`].
    Short(Short),
    /// Where and how far frames are filled up: [`Cause::Padded`].
    Padding(Padding),
    /// How many bits each frame has, 1 to [`LONGEST_READ`]:
    /// [`Cause::UnknownLayout`], where all cards are of one layout.
    Length(usize),
    /// How likely a length is, drawn for each frame by itself:
    /// [`Cause::UnknownLayout`], where each card is of a layout of its own.
    Lengths(UnlistedLengths),
}

/// How a receiver takes each bit where D0 and D1 touch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Short {
    /// As 0, then 1.
    ZeroOne,
    /// As 1, then 0.
    OneZero,
    /// Only as 0.
    Zero,
    /// Only as 1.
    One,
}

impl Short {
    /// All four, each equally likely.
    pub const ALL: [Short; 4] = [Short::ZeroOne, Short::OneZero, Short::Zero, Short::One];

    /// What it takes each bit for.
    pub fn bits(self) -> &'static [bool] {
        match self {
            Short::ZeroOne => &[false, true],
            Short::OneZero => &[true, false],
            Short::Zero => &[false],
            Short::One => &[true],
        }
    }
}

/// How a frame is filled up with 0s.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Padding {
    /// At the end, to whole bytes.
    EndToBytes,
    /// At the end, to whole words of 32 bits.
    EndToWords,
    /// At the start, to whole bytes.
    StartToBytes,
    /// At the start, to whole words of 32 bits.
    StartToWords,
}

impl Padding {
    /// All four, each equally likely.
    pub const ALL: [Padding; 4] =
        [Padding::EndToBytes, Padding::EndToWords, Padding::StartToBytes, Padding::StartToWords];

    /// Whether the 0s stand before the frame.
    pub fn is_at_start(self) -> bool {
        matches!(self, Padding::StartToBytes | Padding::StartToWords)
    }

    /// A multiple of how many bits it fills up to: 8 or 32.
    pub fn multiple(self) -> usize {
        match self {
            Padding::EndToBytes | Padding::StartToBytes => 8,
            Padding::EndToWords | Padding::StartToWords => 32,
        }
    }

    /// How many 0s come to a frame of so many bits; `None` where that is such
    /// a multiple already, and nothing is filled up.
    pub fn zeros(self, bits: usize) -> Option<usize> {
        let zeros = bits.next_multiple_of(self.multiple()) - bits;
        (zeros > 0).then_some(zeros)
    }
}

/// A fault that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// Two at once, or one at times, of a cause that does not come so.
    #[error("{wire} is no wire state: {cause} does not come so", wire = .0, cause = .0.cause())]
    Wire(Wire),
    /// A rate that is not over 0 and at most 1.
    #[error("a rate of {0}: a rate is over 0 and at most 1")]
    Rate(f64),
    /// A share that is not from 0 to 1.
    #[error("a share of {0}: a share is from 0 to 1")]
    Share(f64),
    /// A length that is not 1 to [`LONGEST_READ`].
    #[error("a length of {0} bits: an unknown layout has 1 to {LONGEST_READ}")]
    Length(usize),
    /// Something was given that this wire state does not hold, or was not
    /// given.
    #[error("{wire} takes {takes}")]
    Held {
        /// The wire state.
        wire: Wire,
        /// What it takes.
        takes: &'static str,
    },
    /// A share was given to what holds of every presentation, or none to what
    /// comes and goes.
    #[error("{wire} takes {takes}", wire = .0, takes = match .0.comes_and_goes() {
        true => "a share of the presentations",
        false => "no share: every presentation suffers it",
    })]
    TakesShare(Wire),
}

impl Fault {
    /// A wire state that every presentation suffers, with what holds for it.
    ///
    /// # Errors
    ///
    /// There is no such wire state, what is held is not what it takes, or is
    /// out of range; or it comes and goes, which [`Fault::at_times`] is for.
    pub fn new(wire: impl Into<Wire>, held: Held) -> Result<Self, FaultError> {
        Fault { wire: wire.into(), held, share: None }.checked()
    }

    /// A wire state that this share of the presentations suffers, from 0 to 1,
    /// each by itself.
    ///
    /// # Errors
    ///
    /// As for [`Fault::new`]; or it does not come and go, or the share is none.
    pub fn at_times(wire: Wire, held: Held, share: f64) -> Result<Self, FaultError> {
        Fault { wire, held, share: Some(share) }.checked()
    }

    /// The wire state with what holds for it drawn: one of the model's rates,
    /// each equally likely, and so on. `None` where the model has no rate or no
    /// share for it, or one that cannot be.
    pub fn draw(wire: impl Into<Wire>, model: &Model, random: &mut impl Rng) -> Option<Self> {
        let wire = wire.into();
        let held = match takes(wire.cause()) {
            Takes::Nothing => Held::Nothing,
            Takes::Rate => {
                let rates = model.rates(wire.cause());
                Held::Rate(*rates.get(below(rates.len(), random))?)
            }
            Takes::Short => Held::Short(Short::ALL[below(Short::ALL.len(), random)]),
            Takes::Padding => Held::Padding(Padding::ALL[below(Padding::ALL.len(), random)]),
            Takes::Length => Held::Lengths(model.unlisted),
        };
        let share = match wire.comes_and_goes() {
            true => Some(*model.shares.get(below(model.shares.len(), random))?),
            false => None,
        };
        Fault { wire, held, share }.checked().ok()
    }

    /// The wire state.
    pub fn wire(&self) -> Wire {
        self.wire
    }

    /// Its cause, the other one of two at once; [`Cause::None`] for
    /// [`Wire::ReadsMissing`].
    pub fn cause(&self) -> Cause {
        self.wire.cause()
    }

    /// What holds for all presentations of a case.
    pub fn held(&self) -> Held {
        self.held
    }

    /// How likely each presentation is to suffer what comes and goes; `None`
    /// where every one does.
    pub fn share(&self) -> Option<f64> {
        self.share
    }

    /// What happens to a read that suffers what comes at times, or that does
    /// not. Of a wire state that does not come and go it is the fault itself.
    pub(super) fn of_read(&self, suffers: bool) -> Fault {
        match self.wire {
            Wire::AtTimes(cause) if suffers => {
                Fault { wire: Wire::Alone(cause), share: None, ..*self }
            }
            Wire::AtTimes(_) | Wire::ReadsMissing => {
                Fault { wire: Wire::Alone(Cause::None), held: Held::Nothing, share: None }
            }
            Wire::Alone(_) | Wire::Swapped(_) => *self,
        }
    }

    fn checked(self) -> Result<Self, FaultError> {
        let Fault { wire, held, share } = self;
        let is_one = match wire {
            Wire::Alone(_) | Wire::ReadsMissing => true,
            Wire::Swapped(cause) => Wire::swapped(cause).is_some(),
            Wire::AtTimes(cause) => Wire::at_times(cause).is_some(),
        };
        if !is_one {
            return Err(FaultError::Wire(wire));
        }
        if share.is_some() != wire.comes_and_goes() {
            return Err(FaultError::TakesShare(wire));
        }
        if let Some(share) = share.filter(|share| !(0.0..=1.0).contains(share)) {
            return Err(FaultError::Share(share));
        }
        let takes = match (takes(wire.cause()), held) {
            (Takes::Rate, Held::Rate(rate)) if !(rate > 0.0 && rate <= 1.0) => {
                return Err(FaultError::Rate(rate));
            }
            (Takes::Length, Held::Length(bits)) if !(1..=LONGEST_READ).contains(&bits) => {
                return Err(FaultError::Length(bits));
            }
            (Takes::Rate, Held::Rate(_))
            | (Takes::Short, Held::Short(_))
            | (Takes::Padding, Held::Padding(_))
            | (Takes::Length, Held::Length(_) | Held::Lengths(_))
            | (Takes::Nothing, Held::Nothing) => return Ok(self),
            (Takes::Rate, _) => "a rate, over 0 and at most 1",
            (Takes::Short, _) => "the way the receiver takes each bit",
            (Takes::Padding, _) => "where and how far frames are filled up",
            (Takes::Length, _) => "a length in bits, or how likely each length is",
            (Takes::Nothing, _) => "neither rate, length, padding nor way of taking bits",
        };
        Err(FaultError::Held { wire, takes })
    }
}

pub(super) enum Takes {
    Nothing,
    Rate,
    Short,
    Padding,
    Length,
}

pub(super) fn takes(cause: Cause) -> Takes {
    match cause {
        // Open for good: no rate to choose.
        Cause::D0Open | Cause::D1Open => Takes::Nothing,
        Cause::LinesShorted => Takes::Short,
        Cause::Padded => Takes::Padding,
        Cause::UnknownLayout => Takes::Length,
        _ if Pulses::of(cause).is_some() => Takes::Rate,
        _ => Takes::Nothing,
    }
}
