//! Keypads: the bits of a key press into keys, keys into codes.
//!
//! A keypad shares the two data lines with the card reader. Most send each key
//! as soon as it is pressed, in one of three ways ([`Mode`]); some hold several
//! and send them in one burst. Others send nothing until the hash key is
//! pressed, and then the whole code as the card number of an ordinary frame:
//! that is a matter for [`layout`](crate::layout).
//!
//! ```
//! use misread_core::Bits;
//! use misread_core::keypad::{Assembler, Ended, Key, Mode};
//!
//! // At the sail loft someone keys 4 1 7 and the hash key.
//! let mut codes = Assembler::default();
//! let mut done = Vec::new();
//! for read in ["0100", "0001", "0111", "1011"] {
//!     let read: Bits = read.parse()?;
//!     for key in Mode::FourBit.keys(&read) {
//!         done.extend(codes.press(key.ok(), None));
//!     }
//! }
//! assert_eq!(done[0].to_string(), "417");
//! assert_eq!(done[0].ended(), Ended::Hash);
//!
//! // With the data lines swapped, the 1 is no key.
//! let problem = Mode::FourBit.key(&"1110".parse()?).unwrap_err();
//! assert_eq!(problem.to_string(), "bits 1-4 hold 14, which is no key");
//! # Ok::<(), misread_core::bits::TextError>(())
//! ```

mod assembler;
mod key;
mod mode;
#[cfg(test)]
mod tests;

pub use assembler::{Assembler, Code, DEFAULT_PAUSE, Ended, Finished, MAX_KEYS};
pub use key::{Digit, Key};
pub use mode::{KEY_6, Keys, Mode, NoKey, Why};
