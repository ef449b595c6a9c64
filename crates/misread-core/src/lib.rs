//! What an embedded reader or panel needs to understand card reads.
//!
//! The crate follows the road a badge read takes, one module a stretch:
//!
//! 1. [`bits`]: a string of up to 512 bits as received, each 0, 1 or unread.
//!    Text and hex in and out, every bit turned over, last bit first.
//! 2. [`layout`]: which bits of a frame are facility code, card number, fixed
//!    bits and parity. Checked once when built; after that, decoding says
//!    either the fields or which check failed, and over which bits.
//! 3. [`pulse`]: the pulses on D0 and D1 that the bits arrive as. Level changes
//!    in, finished reads out, and what is wrong with their timing.
//! 4. [`keypad`]: key presses into keys, keys into codes.
//!
//! It is `no_std`. Assembling and decoding neither allocate nor panic. With the `alloc`
//! feature (on by default) a layout may have any number of fields and rules;
//! without it, up to the capacities stated in [`layout`].
//!
//! ```
//! use misread_core::{Bits, Layout, Turn, layout::built_in};
//!
//! let layout = Layout::new(&built_in::OPEN_26)?;
//! let read: Bits = "01101010111111011001011011".parse()?;
//! assert!(layout.decode(&read).is_err());
//!
//! // The quick question of a panel: would it fit with the data lines swapped?
//! let turned = layout.fitting_turns(&read);
//! assert!(turned.contains(Turn::Inverted) && !turned.contains(Turn::AsReceived));
//! let sound = read.turned(Turn::Inverted);
//! assert_eq!(layout.decode(&sound)?.value("card"), Some(1234));
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
#![no_std]
#![forbid(unsafe_code)]

#[cfg(feature = "alloc")]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod bits;
pub mod keypad;
pub mod layout;
pub mod pulse;

pub use bits::{Bit, Bits, Turn};
pub use layout::{Decoded, Layout, Misfit};
