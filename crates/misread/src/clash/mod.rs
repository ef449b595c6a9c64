//! Two cards that become one: which enrolled cards a panel takes for each
//! other.
//!
//! A panel that keeps only part of what a card carries cannot tell all cards
//! apart, and the wrong one opens. [`read_cards`] reads the enrolled cards from
//! a table; [`clashes`] lists the groups that become one under a [`Setting`];
//! [`offers`] weighs the settings a panel has, and [`largest_safe`] picks one.
//!
//! ```
//! use misread::clash::{Setting, clashes, largest_safe, offers, read_cards};
//! use misread::layout::{Layout, built_in};
//! use std::ops::ControlFlow;
//!
//! let site_34 = Layout::new(&built_in::SITE_34)?;
//! let table = "facility,card\n42,1234\n42,1235\n298,1234\n";
//! let on = &mut |_| ControlFlow::Continue(());
//! let read = read_cards(table.as_bytes(), &[&site_34], Some(&site_34), on)?;
//! let low_16 = Setting::parse("low-16", &[])?;
//! let found = clashes(&read.cards, &low_16, on)?;
//! assert_eq!(found.groups.len(), 1);
//! assert_eq!(found.groups[0].cards, [0, 2]);
//!
//! let whole = Setting::parse("whole", &[])?;
//! let low_24 = Setting::parse("low-24", &[])?;
//! let offers = offers(&read.cards, &[low_16, low_24, whole], on)?;
//! assert_eq!(largest_safe(&offers), Some(2));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod cards;
mod error;
mod groups;
mod setting;

pub use cards::{Cards, ReadCards, read_cards};
pub use error::{CardError, CardProblem, ReadError};
pub use groups::{Clashes, Group, Offer, clashes, largest_safe, offers};
pub use setting::{Keep, Setting, SettingError};

pub use crate::diagnose::Progress;

/// Whoever watches the progress asked to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("stopped")]
pub struct Stopped;
