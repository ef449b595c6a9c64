//! Why the number on the card and the number on the screen are the same card.
//!
//! A card is printed with one number and the panel shows another. Often a
//! short chain of steps leads from one to the other: another base, fewer bits,
//! bytes in reverse order. [`explain`] tries every chain of up to
//! [`MOST_STEPS`] steps and gives those that explain all pairs at once, with
//! weights; [`replay`] follows a chain; [`readings`] lists the fields that a
//! printed number can stand for.
//!
//! What is *written* is digits, decimal or hexadecimal, or two numbers,
//! facility code and card ([`Written`]). The steps are those of [`Step`]; the
//! weight of a chain is 2 to the minus of its description length in bits,
//! which is [`Step::description_bits`] and one more for each step.
//!
//! ```
//! use misread::numbers::{Pair, explain, parse_written, replay};
//! use misread::layout::{Layout, built_in};
//!
//! let open_26 = Layout::new(&built_in::OPEN_26)?;
//! let pair = Pair {
//!     printed: parse_written("0012345678")?,
//!     shown: parse_written("188,24910")?,
//! };
//! let explained = explain(&[pair], &[&open_26]);
//! let best = &explained.paths[0];
//! assert_eq!(best.ids(), ["three-five"]);
//! assert!(replay(&best.steps, &pair.printed).is_some_and(|end| end.is_shown_as(&pair.shown)));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod further;
mod pairs;
mod readings;
mod search;
mod step;
mod steps;
mod written;

pub use further::Further;
pub use pairs::{PairError, PairProblem, ReadPairs, TablePair, read_pairs};
pub use readings::{PrintedReading, readings};
pub use search::{Explained, MOST_STEPS, Pair, Path, explain};
pub use step::{Form, Over, Step, TurnKind, Widths, steps_anywhere};
pub use steps::{End, Held, replay};
pub use written::{Base, Written, WrittenError, WrittenProblem, parse_written};
