//! Keypads: from the reads of key presses to the codes keyed, and why they
//! come wrong.
//!
//! Presses go in: the bits of each and, where it is known, when it came. Out
//! comes an [`Answer`]: how the keypad sends, what is wrong with the wire, and
//! the codes as they were keyed. [`weigh`] gives the probabilities alone, and
//! [`draw_presses`] draws presses with the truth about them, [`send_presses`]
//! sends keys through a fault of one's choice.
//!
//! # The model
//!
//! The answer is the exact posterior over **how the keypad sends** and **the
//! wire**. The figures are judgement (from memory, common practice, no source)
//! and stand in [`Habits`]; the arithmetic on them is exact.
//!
//! - **How it sends** ([`Sending`]): 4 bits a key with a prior of 0.5, 8 bits
//!   0.3, 6 bits 0.1, the whole code in a frame of the site's layout 0.1;
//!   among those that are possible, in proportion.
//! - **The wire**: the causes of [`Cause`](crate::cause::Cause) with the priors
//!   and rates of a [`Model`](crate::cause::Model), each doing to the frame of
//!   a press what it does to the frame of a card. `frame-split` is left out,
//!   since a press is one read.
//! - **What is keyed**: the first press of a code is the hash key with 0.01,
//!   the star key with 0.02, else a digit; each later press the hash key with
//!   0.2, the star key with 0.02, else a digit. All ten digits are equally
//!   likely, and nothing sends the values 12 to 15. A code begins at the first
//!   read, after a hash or star key, and after a pause. A whole code's frame
//!   has all its fields free.
//! - **Bursts**: a read carries one key with 0.9 and k keys, two or more, with
//!   0.1 / 2^(k−1). Bursts are followed through the causes that keep every bit
//!   in its read (`none`, `lines-swapped`, `bits-inverted`,
//!   `bit-order-reversed`; `bits-changed` but for the press it changes);
//!   under the others a burst counts as impossible.
//! - **Strays**: whatever the cause, a press arrives as anything at all with
//!   0.005: a length uniform on 1 to 512, each bit 0 or 1 with ½. So a single
//!   press that went wrong does not overturn what all the others say.
//! - `unknown-layout` and `random-bits` know of no keys: all reads of one
//!   length (uniform on 1 to 512), or each of any, every bit 0 or 1 with ½.
//!
//! - **Pulses**: in a capture of the lines the findings of each read are weighed
//!   as for a card, by the table of the [`Model`](crate::cause::Model), and so is
//!   where it was taken.
//! - **What was keyed**, where somebody says so ([`Setting::expected`]): with
//!   0.95 these keys, each pressed once, where a press may leave nothing behind
//!   as likely as the cause loses its whole frame, or a frame with that number,
//!   its other fields free; with 0.05 anything, as above.
//!
//! Empty reads are set aside. An unread bit is summed over.
//!
//! Swapped lines turn digit d into 15 − d. So 0 to 3 become values that no
//! key sends, the hash key becomes a 4 and the star key a 5: codes show it by
//! what they are made of. 6 and 9, 7 and 8 only change places, and where that
//! is all there is, the answer is [`Verdict::Ambiguous`] and says what to
//! press.
//!
//! ```
//! use misread::Bits;
//! use misread::cause::{Cause, Model};
//! use misread::diagnose::Numbers;
//! use misread::keypad::{Press, Sending, Setting, Verdict, answer};
//!
//! // The sail loft's keypad: somebody keyed 4 1 7 and the hash key.
//! let presses: Vec<Press> = ["1011", "1110", "1000", "0100"]
//!     .into_iter()
//!     .map(|bits| bits.parse::<Bits>().map(Press::from))
//!     .collect::<Result<_, misread::bits::TextError>>()?;
//! let sendings = Sending::all(None);
//! let setting = Setting::of(&sendings);
//! let answer = answer(&presses, &setting, &Model::default(), Numbers::Shown)?;
//! assert_eq!(answer.verdict, Verdict::Wire(Cause::LinesSwapped));
//! assert_eq!(answer.codes[0].to_string(), "417#");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod answer;
mod codes;
mod draw;
mod habits;
mod says;
mod sending;
mod table;
mod weigh;

pub use answer::{Answer, AnswerError, Class, LEAST, Possible, Setting, Verdict, answer};
pub use codes::{Code, Problem, ProblemKind, Reading, codes, turn_of};
pub use draw::{DrawnPresses, NothingToDraw, draw_presses, send_presses};
pub use habits::Habits;
pub use sending::{NUMBER, Sending, WholeCodeError};
pub use table::{NoReads, Presses, read_presses, reads_in};
pub use weigh::{Press, Weighed, weigh};

pub use misread_core::keypad::{
    Assembler, DEFAULT_PAUSE, Digit, Ended, Finished, Key, Keys, MAX_KEYS, Mode, NoKey, Why,
};
