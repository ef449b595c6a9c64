//! What a cause does to the bits of a frame.
//!
//! This is the place where the line is broken on purpose: tests, the diagnosis
//! and anyone who wants to see a fault before meeting one break it here, the
//! same way. It goes from a card to what the panel receives in stretches that
//! can be used one by one:
//!
//! 1. [`draw_frame`]: a frame of a card of which some values are known.
//! 2. [`Fault`]: a wire state (a cause, two at once, or one at times) with what
//!    holds for a whole case, its rate for one.
//! 3. [`send`]: the frame through the fault; what arrives, bit by bit, with
//!    where each bit came from, so that pulses can be drawn from it.
//! 4. [`draw_expected`] and [`draw_case_expecting`]: what an installer says of
//!    the cards, and the reads of a case with the truth about it, each drawn
//!    from the weights of a [`Model`](crate::cause::Model); [`draw_case`] is
//!    both in one.
//! 5. [`pulses`]: the pulses of what arrived, with the findings that the cause
//!    brings; [`pulses_showing`]: with given ones; [`draw_capture`]: a whole
//!    case with findings drawn from the model, and its pulses.
//!
//! Randomness comes in: [`seeded`] makes a generator that gives the same on
//! every platform, and so the same seed gives the same case.
//!
//! Each cause that loses or adds pulses inside a frame is a small table: for a
//! bit of either value, what may arrive in its place and how likely that is.
//! [`Pulses::of`] gives them. [`send`] draws from these tables, and the
//! diagnosis sums over them.
//!
//! ```
//! use misread::cause::Cause;
//! use misread::channel::{Fault, Held, seeded, send};
//! use misread::layout::{Layout, built_in};
//!
//! let layout = Layout::new(&built_in::OPEN_26)?;
//! let frame = layout.encode([("facility", 42), ("card", 1234)])?;
//!
//! let swapped = Fault::new(Cause::LinesSwapped, Held::Nothing)?;
//! let sent = send(&swapped, &layout, &frame, &mut seeded(1, 0))?;
//! assert_eq!(sent.reads[0].bits.to_string(), "01101010111111011001011011");
//!
//! // Every pulse on D0 is lost with a chance of 0.3: which ones is drawn.
//! let weak = Fault::new(Cause::D0Weak, Held::Rate(0.3))?;
//! let sent = send(&weak, &layout, &frame, &mut seeded(1, 0))?;
//! assert!(sent.reads[0].bits.len() < 26);
//! assert_eq!(sent.reads[0].bits.count_ones(), frame.count_ones());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod capture;
mod draw;
mod fault;
mod frame;
mod known;
pub(crate) mod random;
mod send;
mod unlisted;
mod wires;

pub(crate) use capture::lay_findings;
pub use capture::{DrawnCapture, capture_of, draw_capture};
pub use draw::{
    CardFrame, DrawError, DrawnCase, Truth, draw_case, draw_case_expecting, draw_expected,
};
pub use fault::{Fault, FaultError, Held, Padding, Short};
pub use frame::{bytes_reversed, draw_frame, has_bytes, reverse_bytes};
pub use rand_core::Rng;
pub use random::{Random, seeded};
pub use send::{BITS_CHANGED, LONGEST_READ, MOST_LOST, Origin, SendError, Sent, SentRead, send};
pub(crate) use unlisted::even;
pub use unlisted::{draw_unlisted, draw_unlisted_cards, draw_unlisted_length};
pub use wires::{Shape, ShapeError, changes, draw_evidence, pulses, pulses_showing};

use crate::cause::Cause;

/// What may arrive in place of one bit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// The bits that arrive, up to two, in order.
    pub bits: &'static [bool],
    /// Its probability, the chance apart: 1, or ½ where an extra pulse may be
    /// on either line.
    pub factor: f64,
    /// What the rate of the cause adds to its probability.
    pub chance: Chance,
}

/// How the rate of a cause enters a probability.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chance {
    /// Nothing can happen here.
    Sure,
    /// It could have happened and did: the rate.
    Happens,
    /// It could have happened and did not: one minus the rate.
    Spared,
}

/// A cause as a table of what may arrive.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulses {
    /// In place of a 0 and in place of a 1.
    pub bit: [&'static [Arrival]; 2],
    /// Behind the last bit.
    pub tail: &'static [Arrival],
}

const fn sure(bits: &'static [bool]) -> Arrival {
    Arrival { bits, factor: 1.0, chance: Chance::Sure }
}

const fn spared(bits: &'static [bool]) -> Arrival {
    Arrival { bits, factor: 1.0, chance: Chance::Spared }
}

const fn happens(bits: &'static [bool]) -> Arrival {
    Arrival { bits, factor: 1.0, chance: Chance::Happens }
}

/// Which of two lines an extra pulse is on.
const fn either(bits: &'static [bool]) -> Arrival {
    Arrival { bits, factor: 0.5, chance: Chance::Happens }
}

const D0: bool = false;
const D1: bool = true;

const SURE_0: &[Arrival] = &[sure(&[D0])];
const SURE_1: &[Arrival] = &[sure(&[D1])];
const NOTHING_MORE: &[Arrival] = &[sure(&[])];

const WEAK_0: &[Arrival] = &[spared(&[D0]), happens(&[])];
const WEAK_1: &[Arrival] = &[spared(&[D1]), happens(&[])];
const RINGING_0: &[Arrival] = &[spared(&[D0]), happens(&[D0, D0])];
const RINGING_1: &[Arrival] = &[spared(&[D1]), happens(&[D1, D1])];
const CROSSTALK_0: &[Arrival] = &[spared(&[D0]), happens(&[D0, D1])];
const CROSSTALK_1: &[Arrival] = &[spared(&[D1]), happens(&[D1, D0])];

// Noise: the gap before each bit belongs to the bit, the last one to the tail.
const NOISE_ON_0: [&[Arrival]; 3] = [
    &[spared(&[D0]), happens(&[D0, D0])],
    &[spared(&[D1]), happens(&[D0, D1])],
    &[spared(&[]), happens(&[D0])],
];
const NOISE_ON_1: [&[Arrival]; 3] = [
    &[spared(&[D0]), happens(&[D1, D0])],
    &[spared(&[D1]), happens(&[D1, D1])],
    &[spared(&[]), happens(&[D1])],
];
const NOISE_ON_BOTH: [&[Arrival]; 3] = [
    &[spared(&[D0]), either(&[D0, D0]), either(&[D1, D0])],
    &[spared(&[D1]), either(&[D0, D1]), either(&[D1, D1])],
    &[spared(&[]), either(&[D0]), either(&[D1])],
];

impl Pulses {
    /// The table of a cause that loses or adds pulses inside a frame; `None`
    /// for the others. An open line is one whose pulses are lost at rate 1.
    pub fn of(cause: Cause) -> Option<Pulses> {
        let [zero, one, tail] = match cause {
            Cause::D0Open | Cause::D0Weak => [WEAK_0, SURE_1, NOTHING_MORE],
            Cause::D1Open | Cause::D1Weak => [SURE_0, WEAK_1, NOTHING_MORE],
            Cause::BothWeak => [WEAK_0, WEAK_1, NOTHING_MORE],
            Cause::D0Ringing => [RINGING_0, SURE_1, NOTHING_MORE],
            Cause::D1Ringing => [SURE_0, RINGING_1, NOTHING_MORE],
            Cause::BothRinging => [RINGING_0, RINGING_1, NOTHING_MORE],
            Cause::Crosstalk => [CROSSTALK_0, CROSSTALK_1, NOTHING_MORE],
            Cause::D0Noise => NOISE_ON_0,
            Cause::D1Noise => NOISE_ON_1,
            Cause::BothNoise => NOISE_ON_BOTH,
            _ => return None,
        };
        Some(Pulses { bit: [zero, one], tail })
    }

    /// The value whose pulses all arrive, and no others of it: that of the line
    /// which a cause on one line leaves alone. `None` for a cause on both.
    pub fn spares(&self) -> Option<bool> {
        let is_spared = |value: bool| {
            let of = |arrivals: &[Arrival], count: usize| {
                let has = |arrival: &Arrival| {
                    arrival.bits.iter().filter(|&&bit| bit == value).count() == count
                };
                arrivals.iter().all(has)
            };
            of(self.bit[usize::from(value)], 1)
                && of(self.bit[usize::from(!value)], 0)
                && of(self.tail, 0)
        };
        [true, false].into_iter().find(|&value| is_spared(value))
    }
}
