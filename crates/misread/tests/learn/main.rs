//! Layouts learned from a few cards.

mod brute;
mod honesty;
mod known;
mod world;
