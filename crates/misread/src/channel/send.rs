//! A frame through a fault: what the panel receives.

use misread_core::bits::MAX_BITS;
use misread_core::{Bit, Bits, Layout};
use rand_core::Rng;

use super::random::{below, between, chance, weighted};
use super::unlisted::{draw_random_bits, draw_unlisted, draw_unlisted_length};
use super::{Arrival, Chance, Fault, Held, Pulses, bytes_reversed};
use crate::cause::{Cause, Wire};

/// The most bits that go missing at one end of a frame; a frame always keeps
/// one.
pub const MOST_LOST: usize = 8;

/// The longest read, in bits, and the longest that means nothing.
pub const LONGEST_READ: usize = MAX_BITS;

/// How likely it is of [`Cause::BitsChanged`] that one bit of a frame is
/// changed, two, and three.
pub const BITS_CHANGED: [f64; 3] = [0.97, 0.02, 0.01];

/// What became of one frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sent {
    /// The frame as the reader sent it; the card's own but for
    /// [`Cause::BytesReversed`].
    pub frame: Bits,
    /// Whether it suffered what comes and goes; `None` of a fault that every
    /// frame suffers.
    pub suffers: Option<bool>,
    /// What arrived: two reads for [`Cause::FrameSplit`], else one. A read may
    /// be empty where pulses are lost, and is where nothing is sent.
    pub reads: Vec<SentRead>,
}

/// A read, and where its bits came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SentRead {
    /// The cause whose findings its pulses show: the other one of two at once,
    /// and none of a read that did not suffer what comes at times.
    pub cause: Cause,
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
    /// No frame of a listed layout: it is of another one, means nothing, or was
    /// filled in.
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
    /// The frame has whole bytes or words already.
    #[error("{bits} bits are a multiple of {multiple} already, so nothing is filled up")]
    NothingToFill {
        /// How many bits it has.
        bits: usize,
        /// A multiple of how many bits it was to be filled up to.
        multiple: usize,
    },
    /// A frame of one bit has no part to lose and no place to cut.
    #[error("a frame of one bit cannot be cut; {cause} takes at least two")]
    TooShort {
        /// The cause.
        cause: Cause,
    },
}

/// Sends a frame of this layout through a fault.
///
/// What is drawn afresh for each frame (whether it suffers what comes and goes,
/// which pulses are lost, where it is cut …) comes from `random`; what holds for
/// the whole case is in `fault`. Causes without a layout ignore the frame. A read
/// that would be over [`LONGEST_READ`] bits keeps the first of them.
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
    let suffers = fault.share().map(|share| chance(share, random));
    if fault.wire() == Wire::ReadsMissing && suffers == Some(true) {
        return Ok(Sent { frame: *frame, suffers, reads: vec![SentRead::new(Cause::None)] });
    }
    let (frame, reads) = suffer(&fault.of_read(suffers == Some(true)), layout, frame, random)?;
    Ok(Sent { frame, suffers, reads })
}

/// The frame as the reader sends it, and what arrives, of a fault that does not
/// come and go.
fn suffer(
    fault: &Fault,
    layout: &Layout,
    frame: &Bits,
    random: &mut impl Rng,
) -> Result<(Bits, Vec<SentRead>), SendError> {
    let n = layout.bits();
    if frame.len() != n {
        return Err(SendError::Length { found: frame.len(), expected: n });
    }
    if let Some(index) = frame.iter().position(|bit| bit == Bit::Unread) {
        return Err(SendError::Unread { position: index + 1 });
    }
    let cause = fault.cause();
    if let Some(read) = without_frame(fault, random) {
        return Ok((*frame, vec![read]));
    }
    let sent = match cause {
        Cause::BytesReversed => bytes_reversed(layout, frame).ok_or(SendError::NoBytes)?,
        _ => *frame,
    };
    let cut_takes_two = matches!(cause, Cause::HeadLost | Cause::TailLost | Cause::FrameSplit);
    if cut_takes_two && n < 2 {
        return Err(SendError::TooShort { cause });
    }
    // Behind swapped lines; what happens next happens at the panel's terminals.
    let frame = match fault.wire() {
        Wire::Swapped(_) => sent.complement(),
        _ => sent,
    };
    let whole = SentRead::of(cause, &frame, (0..n).map(Origin::Bit));
    let read = match cause {
        Cause::LinesSwapped | Cause::BitsInverted => {
            SentRead { bits: whole.bits.complement(), ..whole }
        }
        Cause::BitOrderReversed => {
            SentRead::of(cause, &frame.reverse(), (0..n).rev().map(Origin::Bit))
        }
        Cause::Padded => filled_up(fault, &whole)?,
        Cause::HeadLost => whole.part(between(1, MOST_LOST.min(n - 1), random), n),
        Cause::TailLost => whole.part(0, n - between(1, MOST_LOST.min(n - 1), random)),
        Cause::FrameSplit => {
            let cut = between(1, n - 1, random);
            return Ok((sent, vec![whole.part(0, cut), whole.part(cut, n)]));
        }
        Cause::FramesMerged => {
            let mut twice = whole.clone();
            frame.iter().zip(0..n).for_each(|(bit, i)| twice.push(bit, Origin::Bit(i)));
            twice
        }
        Cause::BitsChanged => {
            let drawn = weighted(BITS_CHANGED.into_iter(), random).unwrap_or_default();
            whole.changed(drawn + 1, random)
        }
        Cause::LinesShorted => shorted(fault, &frame),
        _ => match Pulses::of(cause) {
            Some(pulses) => pulses_of(fault, &pulses, &frame, random),
            None => whole,
        },
    };
    Ok((sent, vec![read]))
}

/// One read of a cause that has no layout; `None` for the others.
pub(super) fn without_frame(fault: &Fault, random: &mut impl Rng) -> Option<SentRead> {
    let bits = match (fault.wire(), fault.held()) {
        (Wire::Alone(Cause::UnknownLayout), Held::Length(length)) => draw_unlisted(length, random),
        (Wire::Alone(Cause::UnknownLayout), Held::Lengths(lengths)) => {
            draw_unlisted(draw_unlisted_length(&lengths, |_| false, random)?, random)
        }
        (Wire::Alone(Cause::RandomBits), _) => draw_random_bits(random),
        _ => return None,
    };
    Some(SentRead::from_nowhere(fault.cause(), &bits))
}

fn filled_up(fault: &Fault, whole: &SentRead) -> Result<SentRead, SendError> {
    let Held::Padding(padding) = fault.held() else { return Ok(whole.clone()) };
    let (bits, multiple) = (whole.bits.len(), padding.multiple());
    let zeros = padding.zeros(bits).ok_or(SendError::NothingToFill { bits, multiple })?;
    let mut read = SentRead::new(whole.cause);
    let fill = |read: &mut SentRead, here: bool| {
        (0..if here { zeros } else { 0 }).for_each(|_| read.push(Bit::Zero, Origin::Nowhere));
    };
    fill(&mut read, padding.is_at_start());
    whole.bits.iter().zip(&whole.origins).for_each(|(bit, &origin)| read.push(bit, origin));
    fill(&mut read, !padding.is_at_start());
    Ok(read)
}

fn shorted(fault: &Fault, frame: &Bits) -> SentRead {
    let mut read = SentRead::new(fault.cause());
    let Held::Short(short) = fault.held() else { return read };
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
    let rate = match fault.held() {
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
    let mut read = SentRead::new(fault.cause());
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
    /// A read of which nothing has arrived.
    pub(crate) fn new(cause: Cause) -> Self {
        SentRead { cause, bits: Bits::new(), origins: Vec::new() }
    }

    fn of(cause: Cause, bits: &Bits, origins: impl Iterator<Item = Origin>) -> Self {
        SentRead { cause, bits: *bits, origins: origins.collect() }
    }

    /// Bits that came from no frame.
    pub(crate) fn from_nowhere(cause: Cause, bits: &Bits) -> Self {
        SentRead::of(cause, bits, (0..bits.len()).map(|_| Origin::Nowhere))
    }

    /// Some of the bits turned over, every choice of so many equally likely.
    pub(crate) fn changed(mut self, count: usize, random: &mut impl Rng) -> Self {
        let mut left: Vec<usize> = (0..self.bits.len()).collect();
        for _ in 0..count.min(left.len()) {
            let index = left.swap_remove(below(left.len(), random));
            self.bits.set(index, Bit::from(self.bits.get(index) != Some(Bit::One)));
        }
        self
    }

    /// Does nothing once the read is full.
    fn push(&mut self, bit: Bit, origin: Origin) {
        if self.bits.push(bit).is_ok() {
            self.origins.push(origin);
        }
    }

    fn part(&self, start: usize, end: usize) -> Self {
        let origins = self.origins[start..end].iter().copied();
        SentRead::of(self.cause, &self.bits.slice(start, end), origins)
    }
}

#[cfg(test)]
mod tests;
