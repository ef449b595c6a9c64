//! Why a card reader's number arrives wrong, and what to do.
//!
//! The crate follows the road a badge read takes, a module a stretch:
//!
//! - [`layout`], [`bits`] and [`pulse`] (from [`misread_core`], re-exported):
//!   frames, reads, decoding; pulses on the two lines.
//! - [`cause`]: the catalogue of what can go wrong, with priors and tests.
//! - [`channel`]: a frame sent through a cause.
//! - [`diagnose`]: why a read came back wrong: exact, with evidence and what
//!   to do next.
//! - [`audit`]: what a layout's checks notice; [`clash`]: two cards that a
//!   panel takes for one; [`numbers`]: how a printed number became the number
//!   shown; [`learn`]: a layout from a few cards.
//! - [`keypad`]: from key presses to codes, and why they come wrong.
//! - [`file`](mod@file): layout files, the catalogue of layouts, reads from
//!   text and tables; `capture`: a recorder's file of the two lines, to reads
//!   and what is wrong with their timing; `watch`: reads as they come over a
//!   wire (both feature `captures`).
//!
//! Nothing here prints, reads the environment or the clock, or exits. Files
//! are opened only in [`file`](mod@file), behind the feature `files`; without
//! default features the crate builds for a browser.
#![forbid(unsafe_code)]

pub mod audit;
#[cfg(feature = "captures")]
pub mod capture;
pub mod cause;
pub mod channel;
pub mod clash;
pub mod diagnose;
pub mod file;
pub mod keypad;
pub mod learn;
pub mod numbers;
#[cfg(feature = "captures")]
pub mod watch;

pub use misread_core as core;
pub use misread_core::{Bit, Bits, Decoded, Layout, Misfit, Turn, bits, layout, pulse};

/// The example of the guide for users compiles and holds.
#[cfg(doctest)]
#[doc = include_str!("../../../README.md")]
struct Readme;
