//! A layout from a few cards.
//!
//! [`Sample`]s go in: reads, and whatever numbers are known of their cards. A
//! [`Learned`] comes out for each length: candidate layouts with weights, what
//! is settled, what is open, and the card to present next.
//!
//! # The prior
//!
//! A layout weighs 2 to the minus the length of its description, in bits, by
//! the figures in [`prior`]. The description is made of parts, and the weight
//! of a layout is the product of theirs:
//!
//! - how the reads were taken ([`prior::turn`]): as they should be, every bit
//!   turned over, last bit first, or both;
//! - for each number given, where it stands: a form ([`prior::field`]) of some
//!   width at some place, a constant added ([`prior::offset`]), high bits that
//!   none of the cards uses ([`prior::unused`]); or in no plain form, each
//!   place of the number in any bit ([`prior::ANY_BITS`]); or nowhere
//!   ([`prior::NOT_IN_FRAME`]);
//! - for each bit that no number takes, what it is: fixed at one value
//!   ([`prior::FIXED`]), the parity bit of a plain shape ([`prior::RULE`],
//!   [`prior::shape`]), the parity bit of any other set of bits
//!   ([`prior::ANY_RULE`], each of the 2^N sets alike, even and odd), or part
//!   of something unknown ([`prior::UNKNOWN`]).
//!
//! Numbers may not share bits, and parity bits must be such that they can be
//! worked out one after the other.
//!
//! # What the samples say
//!
//! A layout that contradicts a sample has weight 0. One that does not keeps its
//! weight, times ½ for each unknown bit of each different frame.
//!
//! Of the rules of no plain shape, so many survive that their weight together
//! is 2 to the minus the affine rank of the frames: the chance that a wrong
//! rule survives by luck. Cards that follow one another raise the number of
//! frames but hardly their rank, and so settle little. As every rule that was
//! tried has its own share of the prior, the number of rules tried is counted
//! against each.
//!
//! # Settled
//!
//! A statement is settled where everything that disagrees with it weighs less
//! than 10⁻⁶ of the whole. Weights left out of a list are counted as
//! disagreeing. What a bit that never moved is, is never settled: neither that
//! it is fixed, nor that it is the top of a number, nor that a parity bit
//! counts it.
//!
//! # Samples that contradict
//!
//! A sample is set aside where the rest explains itself better without it than
//! a frame of random bits would cost. Then the rest is answered.

mod answer;
mod candidate;
mod checks;
mod claim;
mod count;
mod field;
mod frames;
mod next;
mod outlier;
pub mod prior;
mod product;
mod sample;
mod shape;
mod statements;
mod weigh;
mod weight;
mod wording;

pub use answer::{Candidate, Learned, Open, Statement, document, learn};
pub use claim::Claim;
pub use field::Place;
pub use next::NextSample;
pub use sample::{LearnError, PRINTED, Sample, SetAside, Wishes};
