//! What a cause does to the pulses of a frame.
//!
//! Each cause that loses or adds pulses inside a frame is a small table: for a
//! bit of either value, what may arrive in its place and how likely that is.
//! The diagnosis sums over such tables; [`Pulses::of`] gives them.

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
}
