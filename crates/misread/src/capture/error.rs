//! What is wrong with a capture file, and where.

use std::fmt;
use std::io;

use super::Activity;

/// Why nothing could be read from a capture.
#[derive(Debug, thiserror::Error)]
pub enum CaptureError {
    /// The file could not be read.
    #[error("the capture could not be read: {0}")]
    Io(#[from] io::Error),
    /// There is nothing in it.
    #[error("the capture is empty; expected a VCD file, an FST file or a table")]
    Empty,
    /// It is none of the kinds that are understood.
    #[error("found {found}; expected a VCD file, an FST file or a table in UTF-8")]
    Unknown {
        /// What it looks like.
        found: String,
    },
    /// A table's headings are not understood.
    #[error("line {line}: {found}; expected {expected}")]
    Headings {
        /// The line, from 1.
        line: u64,
        /// What was found.
        found: String,
        /// What would be accepted.
        expected: String,
    },
    /// The two data lines cannot be told among the signals.
    #[error("{found}; say which is D0 and which is D1{}", Listed(.signals))]
    Signals {
        /// What is unclear.
        found: String,
        /// Every signal, the likeliest pair first.
        signals: Vec<Activity>,
    },
    /// The voltages do not move enough for two levels.
    #[error(
        "the voltages run from {lowest} V to {highest} V, too close for two levels; \
         expected a capture with a card presented, or a threshold"
    )]
    Flat {
        /// The lowest, in volts.
        lowest: f64,
        /// The highest, in volts.
        highest: f64,
    },
    /// A recording holds fewer reads than when it was first gone over.
    #[error(
        "the capture held {reads} reads at first and {now} the second time; \
         expected a file that does not change while it is read"
    )]
    Changed {
        /// How many it had.
        reads: u64,
        /// How many there are now.
        now: u64,
    },
    /// The file is damaged or cut before anything could be read.
    #[error("nothing could be read: {0}")]
    Damaged(Damage),
}

/// Where a capture is damaged or cut, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// Where.
    pub place: Place,
    /// What was found there.
    pub found: String,
    /// What was expected.
    pub expected: String,
}

impl Damage {
    /// A text file that ends before a line does.
    pub(super) fn cut(line: u64) -> Self {
        Damage {
            place: Place::Line { line, cell: None },
            found: "the file ends in the middle of this line".to_owned(),
            expected: "the end of a line; the file may be cut".to_owned(),
        }
    }
}

/// A place in a capture file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A line of a text file, from 1, and the heading of the cell if it is a
    /// table.
    Line {
        /// The line, from 1.
        line: u64,
        /// The heading.
        cell: Option<String>,
    },
    /// A byte of a binary file, from 0.
    Byte(u64),
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Line { line, cell: Some(cell) } => write!(f, "line {line}, {cell}"),
            Place::Line { line, cell: None } => write!(f, "line {line}"),
            Place::Byte(byte) => write!(f, "byte {byte}"),
        }
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; expected {}", self.place, self.found, self.expected)
    }
}

struct Listed<'a>(&'a [Activity]);

impl fmt::Display for Listed<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, signal) in self.0.iter().enumerate() {
            write!(f, "{}{signal}", if index == 0 { ": " } else { ", " })?;
        }
        Ok(())
    }
}

/// Text from the file, as a message shows it: without control characters, and
/// cut where it is long.
pub(super) fn shown(text: &str) -> String {
    const MOST: usize = 60;
    let mut short: String =
        text.chars().take(MOST).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}
