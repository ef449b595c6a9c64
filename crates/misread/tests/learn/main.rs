//! Layouts learned from a few cards.

// Helpers outside the test functions fail as tests do.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod brute;
mod honesty;
mod known;
mod world;
