//! A frame through a fault: what the panel receives.

use misread_core::bits::MAX_BITS;
use misread_core::{Bit, Bits, Layout};
use rand_core::Rng;

use super::random::{below, between, coin, weighted};
use super::{Arrival, Chance, Pulses, bytes_reversed};
use crate::cause::{Cause, Model};

/// The most bits that go missing at one end of a frame; a frame always keeps
/// one.
pub const MOST_LOST: usize = 8;

/// The longest read, in bits, and the longest that means nothing.
pub const LONGEST_READ: usize = MAX_BITS;

/// A cause, with what holds for all reads of a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    cause: Cause,
    held: Held,
}

/// What holds for all reads of a case, beside the cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// Nothing more.
    Nothing,
    /// At which rate it happens, over 0 and at most 1: the weak, noise and
    /// ringing causes, and crosstalk.
    Rate(f64),
    /// How the receiver takes two lines that touch: [`Cause::LinesShorted`].
    Short(Short),
    /// How many bits a frame has, 1 to [`LONGEST_READ`]:
    /// [`Cause::UnknownLayout`].
    Length(usize),
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

/// A fault that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// A rate that is not over 0 and at most 1.
    #[error("a rate of {0}: a rate is over 0 and at most 1")]
    Rate(f64),
    /// A length that is not 1 to [`LONGEST_READ`].
    #[error("a length of {0} bits: an unknown layout has 1 to {LONGEST_READ}")]
    Length(usize),
    /// Something was given that this cause does not hold, or was not given.
    #[error("{cause} takes {takes}")]
    Held {
        /// The cause.
        cause: Cause,
        /// What it takes.
        takes: &'static str,
    },
}

impl Fault {
    /// A cause with what holds for it.
    ///
    /// # Errors
    ///
    /// What is held is not what the cause takes, or is out of range.
    pub fn new(cause: Cause, held: Held) -> Result<Self, FaultError> {
        let takes = match (takes(cause), held) {
            (Takes::Rate, Held::Rate(rate)) if !(rate > 0.0 && rate <= 1.0) => {
                return Err(FaultError::Rate(rate));
            }
            (Takes::Length, Held::Length(bits)) if !(1..=LONGEST_READ).contains(&bits) => {
                return Err(FaultError::Length(bits));
            }
            (Takes::Rate, Held::Rate(_))
            | (Takes::Short, Held::Short(_))
            | (Takes::Length, Held::Length(_))
            | (Takes::Nothing, Held::Nothing) => return Ok(Fault { cause, held }),
            (Takes::Rate, _) => "a rate, over 0 and at most 1",
            (Takes::Short, _) => "the way the receiver takes each bit",
            (Takes::Length, _) => "a length in bits",
            (Takes::Nothing, _) => "neither rate, length nor way of taking bits",
        };
        Err(FaultError::Held { cause, takes })
    }

    /// The cause with what holds for it drawn: one of the model's rates, each
    /// equally likely, and so on. `None` where the model has no rate for it, or
    /// one that is not over 0 and at most 1.
    pub fn draw(cause: Cause, model: &Model, random: &mut impl Rng) -> Option<Self> {
        let held = match takes(cause) {
            Takes::Nothing => Held::Nothing,
            Takes::Rate => {
                let rates = model.rates(cause);
                Held::Rate(*rates.get(below(rates.len(), random))?)
            }
            Takes::Short => Held::Short(Short::ALL[below(Short::ALL.len(), random)]),
            Takes::Length => Held::Length(between(1, LONGEST_READ, random)),
        };
        Fault::new(cause, held).ok()
    }

    /// The cause.
    pub fn cause(&self) -> Cause {
        self.cause
    }

    /// What holds for all reads of a case.
    pub fn held(&self) -> Held {
        self.held
    }
}

enum Takes {
    Nothing,
    Rate,
    Short,
    Length,
}

fn takes(cause: Cause) -> Takes {
    match cause {
        // Open for good: no rate to choose.
        Cause::D0Open | Cause::D1Open => Takes::Nothing,
        Cause::LinesShorted => Takes::Short,
        Cause::UnknownLayout => Takes::Length,
        _ if Pulses::of(cause).is_some() => Takes::Rate,
        _ => Takes::Nothing,
    }
}

/// What became of one frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sent {
    /// The frame as the reader sent it; the card's own but for
    /// [`Cause::BytesReversed`].
    pub frame: Bits,
    /// What arrived: two reads for [`Cause::FrameSplit`], else one. A read may
    /// be empty where pulses are lost.
    pub reads: Vec<SentRead>,
}

/// A read, and where its bits came from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SentRead {
    /// What was received.
    pub bits: Bits,
    /// Where each bit came from; as many as there are bits.
    pub origins: Vec<Origin>,
}

/// Where a received bit came from. Indices into [`Sent::frame`], from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Origin {
    /// It is the pulse of this bit, whatever value it was received with.
    Bit(usize),
    /// An extra pulse just before this bit; after the last one, where the index
    /// is the frame's length.
    Before(usize),
    /// An extra pulse brought about by this bit's pulse, just after it.
    After(usize),
    /// No frame: the bits mean nothing.
    Nowhere,
}

/// A frame that cannot be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// The frame is not as long as the layout.
    #[error("the frame has {found} bits; the layout has {expected}")]
    Length {
        /// How many it has.
        found: usize,
        /// How many the layout has.
        expected: usize,
    },
    /// A bit of the frame is unread; a frame to be sent is known.
    #[error("bit {position} of the frame is unread; give every bit as 0 or 1")]
    Unread {
        /// The position, from 1.
        position: usize,
    },
    /// No field has bytes to reverse.
    #[error("no field of the layout has 16, 24, 32 … 64 bits, so there are no bytes to reverse")]
    NoBytes,
    /// A frame of one bit has no part to lose and no place to cut.
    #[error("a frame of one bit cannot be cut; {cause} takes at least two")]
    TooShort {
        /// The cause.
        cause: Cause,
    },
}

/// Sends a frame of this layout through a fault.
///
/// What is drawn afresh for each frame (which pulses are lost, where it is cut
/// …) comes from `random`; what holds for the whole case is in `fault`. Causes
/// without a layout ignore the frame. A read that would be over
/// [`LONGEST_READ`] bits keeps the first of them.
///
/// # Errors
///
/// See [`SendError`].
pub fn send(
    fault: &Fault,
    layout: &Layout,
    frame: &Bits,
    random: &mut impl Rng,
) -> Result<Sent, SendError> {
    let n = layout.bits();
    if frame.len() != n {
        return Err(SendError::Length { found: frame.len(), expected: n });
    }
    if let Some(index) = frame.iter().position(|bit| bit == Bit::Unread) {
        return Err(SendError::Unread { position: index + 1 });
    }
    let cause = fault.cause;
    if let Some(read) = without_frame(fault, random) {
        return Ok(Sent { frame: *frame, reads: vec![read] });
    }
    let frame = match cause {
        Cause::BytesReversed => bytes_reversed(layout, frame).ok_or(SendError::NoBytes)?,
        _ => *frame,
    };
    let cut_takes_two = matches!(cause, Cause::HeadLost | Cause::TailLost | Cause::FrameSplit);
    if cut_takes_two && n < 2 {
        return Err(SendError::TooShort { cause });
    }
    let whole = SentRead::of(&frame, (0..n).map(Origin::Bit));
    let one = |read: SentRead| vec![read];
    let reads = match cause {
        Cause::LinesSwapped | Cause::BitsInverted => {
            one(SentRead { bits: whole.bits.complement(), ..whole })
        }
        Cause::BitOrderReversed => {
            one(SentRead::of(&frame.reverse(), (0..n).rev().map(Origin::Bit)))
        }
        Cause::HeadLost => one(whole.part(between(1, MOST_LOST.min(n - 1), random), n)),
        Cause::TailLost => one(whole.part(0, n - between(1, MOST_LOST.min(n - 1), random))),
        Cause::FrameSplit => {
            let cut = between(1, n - 1, random);
            vec![whole.part(0, cut), whole.part(cut, n)]
        }
        Cause::FramesMerged => {
            let mut twice = SentRead::default();
            for _ in 0..2 {
                frame.iter().zip(0..n).for_each(|(bit, i)| twice.push(bit, Origin::Bit(i)));
            }
            one(twice)
        }
        Cause::BitsChanged => {
            let mut read = whole;
            let index = below(n, random);
            read.bits.set(index, Bit::from(frame.get(index) != Some(Bit::One)));
            one(read)
        }
        Cause::LinesShorted => one(shorted(fault, &frame)),
        _ => match Pulses::of(cause) {
            Some(pulses) => one(pulses_of(fault, &pulses, &frame, random)),
            None => one(whole),
        },
    };
    Ok(Sent { frame, reads })
}

/// One read of a cause that has no layout; `None` for the others.
pub(super) fn without_frame(fault: &Fault, random: &mut impl Rng) -> Option<SentRead> {
    let length = match (fault.cause, fault.held) {
        (Cause::UnknownLayout, Held::Length(length)) => length,
        (Cause::RandomBits, _) => between(1, LONGEST_READ, random),
        _ => return None,
    };
    let bits: Bits = (0..length).map(|_| Bit::from(coin(random))).collect();
    Some(SentRead::from_nowhere(&bits))
}

fn shorted(fault: &Fault, frame: &Bits) -> SentRead {
    let Held::Short(short) = fault.held else { return SentRead::default() };
    let mut read = SentRead::default();
    for (index, sent) in frame.iter().enumerate() {
        match *short.bits() {
            [only] => read.push(only.into(), Origin::Bit(index)),
            _ => {
                let first_is_sent = short.bits().first().map(|&bit| Bit::from(bit)) == Some(sent);
                let origins = if first_is_sent {
                    [Origin::Bit(index), Origin::After(index)]
                } else {
                    [Origin::Before(index), Origin::Bit(index)]
                };
                for (&bit, origin) in short.bits().iter().zip(origins) {
                    read.push(bit.into(), origin);
                }
            }
        }
    }
    read
}

fn pulses_of(fault: &Fault, pulses: &Pulses, frame: &Bits, random: &mut impl Rng) -> SentRead {
    let rate = match fault.held {
        Held::Rate(rate) => rate,
        _ => 1.0,
    };
    let mut draw = |arrivals: &'static [Arrival]| {
        let weights = arrivals.iter().map(|arrival| {
            arrival.factor
                * match arrival.chance {
                    Chance::Sure => 1.0,
                    Chance::Happens => rate,
                    Chance::Spared => 1.0 - rate,
                }
        });
        weighted(weights, random).map_or(&[][..], |index| arrivals[index].bits)
    };
    // Noise has an extra pulse in the gap before a bit; what a bit's own pulse
    // brings about comes after it.
    let extra_first = pulses.tail.len() > 1;
    let mut read = SentRead::default();
    for (index, sent) in frame.iter().enumerate() {
        let origins = if extra_first {
            [Origin::Before(index), Origin::Bit(index)]
        } else {
            [Origin::Bit(index), Origin::After(index)]
        };
        let arrived = draw(pulses.bit[usize::from(sent == Bit::One)]);
        match *arrived {
            [only] => read.push(only.into(), Origin::Bit(index)),
            _ => {
                for (&bit, origin) in arrived.iter().zip(origins) {
                    read.push(bit.into(), origin);
                }
            }
        }
    }
    for &bit in draw(pulses.tail) {
        read.push(bit.into(), Origin::Before(frame.len()));
    }
    read
}

impl SentRead {
    fn of(bits: &Bits, origins: impl Iterator<Item = Origin>) -> Self {
        SentRead { bits: *bits, origins: origins.collect() }
    }

    /// Bits that came from no frame.
    pub(super) fn from_nowhere(bits: &Bits) -> Self {
        SentRead::of(bits, (0..bits.len()).map(|_| Origin::Nowhere))
    }

    /// Does nothing once the read is full.
    fn push(&mut self, bit: Bit, origin: Origin) {
        if self.bits.push(bit).is_ok() {
            self.origins.push(origin);
        }
    }

    fn part(&self, start: usize, end: usize) -> Self {
        SentRead::of(&self.bits.slice(start, end), self.origins[start..end].iter().copied())
    }
}

#[cfg(test)]
mod tests;
