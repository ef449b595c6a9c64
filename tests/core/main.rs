//! The core held against outside sources: standards, worked examples, and
//! general-purpose libraries that know nothing of card readers.

// A test says what is wrong by panicking.
#![allow(clippy::unwrap_used, clippy::panic)]

mod codes;
mod declared;
mod fascn;
mod keypad;
mod open_26;
mod tables;

use misread_core::layout::built_in;
use misread_core::{Bits, Layout};

/// A built-in layout, compiled.
fn built_in(name: &str) -> Layout {
    Layout::new(built_in::spec(name).unwrap()).unwrap()
}

/// The bits of `value`, most significant first.
fn frame_of(value: u64, len: usize) -> Bits {
    Bits::from_value(value, len).unwrap()
}

/// Numbers spread over 64 bits, the same on every run: Steele, Lea and Flood's
/// SplitMix64 (*Fast Splittable Pseudorandom Number Generators*, OOPSLA 2014;
/// the constants are from memory).
fn spread(count: u64) -> impl Iterator<Item = u64> {
    (1..=count).map(|i| {
        let mut z = i.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ z >> 31
    })
}
