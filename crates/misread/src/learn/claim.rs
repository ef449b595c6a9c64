//! What a settled statement says, so that it can be held against a frame.

use misread_core::Turn;

use super::field::Place;
use crate::{Bit, Bits};

/// A settled statement, about reads as received. Indices count from 0.
#[derive(Clone, Debug, PartialEq)]
pub enum Claim {
    /// The reads were taken with every bit turned over.
    Inverted,
    /// Bits carry places of a number.
    Places {
        /// The column the number is given in.
        column: String,
        /// For a number run together in decimal: which part, as the power of
        /// ten it is cut at and whether it is the one in front.
        part: Option<(u32, bool)>,
        /// What is taken off the number first. Where not every bit of the
        /// field moved it is known only as far as the places that did.
        offset: i128,
        /// Whether the bits are turned over.
        inverted: bool,
        /// Each bit's index and the place it carries.
        bits: Vec<(usize, Place)>,
        /// Whether these are all the bits of the field.
        whole: bool,
    },
    /// The number of 1s among bits is even, or odd, on every frame.
    Parity {
        /// The bits, the parity bit among them.
        group: Vec<usize>,
        /// Whether it is odd.
        odd: bool,
        /// Whether it is settled that no other bit takes part. Where not, bits
        /// that never moved may, and turn even into odd.
        whole: bool,
        /// The bits that never moved.
        unmoved: Vec<usize>,
    },
}

impl Claim {
    /// Whether a frame, as received, agrees, given the numbers of its card.
    /// `None` where the numbers or unread bits do not tell.
    pub fn agrees(&self, read: &Bits, known: &[(String, u64)]) -> Option<bool> {
        match self {
            Claim::Inverted => None,
            Claim::Places { column, part, offset, inverted, bits, whole } => {
                let (_, number) = known.iter().find(|(name, _)| name == column)?;
                let number = match part {
                    Some((digits, true)) => number / 10u64.checked_pow(*digits)?,
                    Some((digits, false)) => number % 10u64.checked_pow(*digits)?,
                    None => *number,
                };
                // Two's complement keeps the low places of a difference right.
                let own = (i128::from(number) - offset) as u64;
                let mut carried = true;
                for (index, place) in bits {
                    let value = read.get(*index)?.value()? != *inverted;
                    carried &= value == place.of(own);
                }
                let fits = !whole || {
                    let digits = bits.first().is_some_and(|(_, place)| place.digits);
                    let own = i128::from(number) - offset;
                    let most = if digits {
                        10i128.checked_pow(bits.len() as u32 / 4)?
                    } else {
                        1i128 << bits.len()
                    };
                    (0..most).contains(&own)
                };
                Some(carried && fits)
            }
            Claim::Parity { group, odd, whole, .. } => {
                if !whole {
                    return None;
                }
                let mut ones = 0;
                for index in group {
                    ones += usize::from(read.get(*index)? == Bit::One);
                }
                Some((ones % 2 == 1) == *odd)
            }
        }
    }
}

/// Whether the bits of a turned read are turned over.
pub(super) fn inverts(turn: Turn) -> bool {
    matches!(turn, Turn::Inverted | Turn::InvertedReversed)
}

/// Whether they come last bit first.
pub(super) fn reverses(turn: Turn) -> bool {
    matches!(turn, Turn::Reversed | Turn::InvertedReversed)
}
