//! The description-length prior, figure by figure.
//!
//! All weights are binary logarithms: −3 is one in eight. The figures are
//! judgement (common practice, no source); the arithmetic on them has no free
//! choices. None of them is spread so far that a wrong rule could be settled
//! against a right one that is merely rare: rules differ by less than 2^20
//! where a statement needs that much to be settled.

use misread_core::Turn;

/// How sure a statement must be to be settled: one minus this.
pub const DOUBT: f64 = 1e-6;

/// That the reads were taken this way. The fault model's priors of a sound
/// line, swapped lines and inverted bits (0.4, 0.21), of a reversed read
/// (0.02), and both.
pub fn turn(turn: Turn) -> f64 {
    libm::log2(match turn {
        Turn::AsReceived => 0.634,
        Turn::Inverted => 0.333,
        Turn::Reversed => 0.032,
        Turn::InvertedReversed => 0.001,
    })
}

/// That a number given is not in the frame at all.
pub const NOT_IN_FRAME: f64 = -6.0;

/// That a number given stands in the frame in no plain form: each of its
/// places in any bit, all alike.
pub const ANY_BITS: f64 = -8.0;

/// That a bit outside the given numbers is fixed at one value (the other one
/// has the same weight).
pub const FIXED: f64 = -2.737;

/// That such a bit is the parity bit of a rule of a plain shape.
pub const RULE: f64 = -1.0;

/// That such a bit is the parity bit of any other set, each set alike.
pub const ANY_RULE: f64 = -5.0;

/// That such a bit is part of something unknown: each read then has ½ for it.
pub const UNKNOWN: f64 = -2.737;

/// How the bits of a field stand in the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Family {
    /// A run, most significant bit first.
    MsbRun,
    /// A run, least significant bit first.
    LsbRun,
    /// Whole bytes, the least significant byte first.
    Bytes,
    /// Whole groups of four bits, the least significant group first.
    Nibbles,
    /// A decimal digit in each four bits, most significant bit first. `apart`
    /// bits stand between the digits, 0 or 1.
    Digits {
        /// Bits between two digits.
        apart: u8,
    },
    /// The same with each digit's least significant bit first.
    LsbDigits {
        /// Bits between two digits.
        apart: u8,
    },
    /// Two runs apart from one another, each most significant bit first.
    TwoRuns,
}

/// A field of `width` bits in a frame of `bits`: the kind of field, where it
/// begins, how wide it is.
pub fn field(family: Family, width: usize, bits: usize) -> f64 {
    let start = libm::log2(bits as f64);
    let kind = match family {
        Family::MsbRun => 0.5,
        Family::LsbRun => 4.0,
        Family::Bytes => 5.0,
        Family::Nibbles => 7.0,
        Family::Digits { apart: 0 } => 5.0,
        Family::Digits { .. } => 7.0,
        Family::LsbDigits { apart: 0 } => 7.0,
        Family::LsbDigits { .. } => 6.0,
        // Where the second run begins, and where the number is cut.
        Family::TwoRuns => 4.0 + start + 6.0,
    };
    let wide = match width {
        w if w.is_multiple_of(4) => 5.0,
        w if w.is_multiple_of(2) => 6.0,
        _ => 8.0,
    };
    -(kind + start + wide)
}

/// A constant added to the field to give the number.
pub fn offset(constant: i128) -> f64 {
    if constant == 0 { 0.0 } else { -(10.0 + 2.0 * libm::log2(constant.unsigned_abs() as f64)) }
}

/// That the `unused` highest bits of a field of `width` are 0 in `cards`
/// different numbers: cards drawn from all the field can carry, or a batch
/// below some power of two; each of the two has ½.
pub fn unused(unused: usize, width: usize, cards: usize) -> f64 {
    let batch = 0.5 / (width as f64 + 1.0);
    libm::log2(0.5 * libm::exp2(-((unused * cards) as f64)) + batch)
}

/// That a printed number is facility and card run together in decimal, at one
/// of ten places.
pub const RUN_TOGETHER: f64 = -6.0;

/// The shape of the bits a parity rule covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shape {
    /// Every `stride`th bit, 1 to 8, from `first` on; indices from 0. With
    /// stride 1 at least one bit, else at least two.
    Every {
        /// The distance between two bits.
        stride: u8,
        /// The first bit.
        first: u8,
        /// The last bit.
        last: u8,
    },
    /// Two bits in three, at least three bits: two together and one left out,
    /// or the first of the two later (`split`).
    TwoInThree {
        /// One bit, one left out, then two together and so on.
        split: bool,
        /// The first bit.
        first: u8,
        /// The last bit.
        last: u8,
    },
}

/// The rule over that shape, even or odd, of the parity bit at index `bit`, in
/// a frame of `bits`.
pub fn shape(shape: Shape, bit: usize, bits: usize) -> f64 {
    let n = bits as f64;
    let kind = 0.5;
    libm::log2(
        kind * match shape {
            Shape::Every { stride: 1, first, last } => {
                let (first, last) = (usize::from(first), usize::from(last));
                let beside = last + 1 == bit || first == bit + 1;
                let all = (first == 0 && last + 1 == bit) || (first == bit + 1 && last + 1 == bits);
                let run = 0.25 / (n * n);
                let beside = if beside { 0.375 / (2.0 * n) } else { 0.0 };
                run + beside + if all { 0.0625 } else { 0.0 }
            }
            Shape::Every { stride: 2 | 3, .. } => 0.0625 / (n * n),
            Shape::TwoInThree { .. } => 0.0625 / (n * n),
            Shape::Every { .. } => 0.00625 / (n * n),
        },
    )
}
