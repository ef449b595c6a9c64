//! Layouts learned from a few cards.

mod honesty;
mod known;
mod world;
