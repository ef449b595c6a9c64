//! Why a card reader's number arrives wrong, and what to do.
#![forbid(unsafe_code)]

pub mod capture;
pub mod cause;
pub mod channel;
pub mod diagnose;
pub mod file;

pub use misread_core as core;
pub use misread_core::{Bit, Bits, Decoded, Layout, Misfit, Turn, bits, layout, pulse};
