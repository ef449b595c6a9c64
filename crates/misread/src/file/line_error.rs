//! What is wrong with one line of reads or one row of a table.

use std::fmt;
use std::io;

use super::lines::{BadLine, MAX_LINE};
use super::value_text::ValueProblem;
use crate::bits::{HexRead, TextProblem};

/// A line of reads, or a row of a table, that could not be understood. The
/// ones after it still can, unless the input itself has failed.
#[derive(Debug)]
pub struct LineError {
    /// The line, from 1.
    pub line: usize,
    /// In a table, the heading of the cell.
    pub cell: Option<String>,
    /// The character in the line, or in the cell where there is one, from 1.
    pub column: Option<usize>,
    /// What is wrong there.
    pub problem: LineProblem,
}

/// What is wrong with a line or a row.
#[derive(Debug)]
pub enum LineProblem {
    /// Not a read.
    Text(Box<TextProblem>),
    /// Hexadecimal without its length. [`hex_readings`](super::hex_readings)
    /// lists what it can be.
    HexLength(Box<HexRead>),
    /// A cell that is no field value.
    Value {
        /// What the cell holds, shortened where it is long.
        found: String,
        /// What is wrong with it.
        problem: ValueProblem,
    },
    /// A cell that is no time.
    Time {
        /// What the cell holds, shortened where it is long.
        found: String,
    },
    /// A line of more than 64 KiB.
    TooLong,
    /// A byte that is not UTF-8 text.
    NotText,
    /// The whole input is UTF-16, as some editors save.
    Utf16,
    /// A quote that is not closed on its line.
    OpenQuote,
    /// A cell that does not hold what its heading says.
    Cell {
        /// What the cell holds, shortened where it is long.
        found: String,
        /// What would be accepted.
        expected: &'static str,
    },
    /// A row with more cells than there are headings.
    Cells {
        /// Cells in the row.
        found: usize,
        /// Headings.
        expected: usize,
    },
    /// A cell with something in it under no heading.
    NoHeading,
    /// A table without a heading `bits`.
    NoBitsHeading,
    /// Headings of a table that is not read as it comes; its rows are passed
    /// over.
    Headings,
    /// Times of level changes that are taken as seconds, for want of a word, and
    /// leave no pulse as short as a reader's; such reads are passed over.
    NoSeconds,
    /// Two headings that are the same, capitals aside.
    HeadingTwice,
    /// A table without a line.
    NoTable,
    /// The input could not be read; nothing follows.
    Io(io::Error),
}

impl LineError {
    pub(crate) fn at_line(line: usize, problem: LineProblem) -> Self {
        LineError { line, cell: None, column: None, problem }
    }

    pub(crate) fn from_bad_line(line: usize, bad: BadLine) -> Self {
        let (column, problem) = match bad {
            BadLine::TooLong => (None, LineProblem::TooLong),
            BadLine::NotText(column) => (Some(column), LineProblem::NotText),
            BadLine::Utf16 => (None, LineProblem::Utf16),
            BadLine::Io(error) => (None, LineProblem::Io(error)),
        };
        LineError { line, cell: None, column, problem }
    }

    /// What would be accepted.
    pub fn expected(&self) -> String {
        let text = match &self.problem {
            LineProblem::Text(problem) => problem.expected(),
            LineProblem::HexLength(hex) => {
                return format!(
                    "its length in bits behind it, such as /{}, or the bits as 0s and 1s",
                    hex.bits().len()
                );
            }
            LineProblem::Value { problem, .. } => problem.expected(),
            LineProblem::Time { .. } => "a time as a decimal number, such as 0.35",
            LineProblem::TooLong => return format!("a line of at most {MAX_LINE} bytes"),
            LineProblem::NotText | LineProblem::Utf16 => "text saved as UTF-8",
            LineProblem::OpenQuote => "a closing quote, and each row on one line",
            LineProblem::Cell { expected, .. } => expected,
            LineProblem::Cells { .. } => "no more cells than headings",
            LineProblem::NoHeading => "the name of a field at the top of the column",
            LineProblem::NoBitsHeading | LineProblem::NoTable => {
                "a first line of headings, such as bits,facility,card"
            }
            LineProblem::Headings => {
                "headings with bits among them, or such as time_us,line,level or time_us,d0,d1"
            }
            LineProblem::NoSeconds => "their unit in the heading, such as time_us",
            LineProblem::HeadingTwice => "every heading once",
            LineProblem::Io(_) => "input that can be read",
        };
        text.to_owned()
    }
}

impl std::error::Error for LineError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &self.problem {
            LineProblem::Io(error) => Some(error),
            _ => None,
        }
    }
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        match (&self.cell, self.column) {
            (Some(cell), Some(column)) => write!(f, ", cell {cell}, character {column}")?,
            (Some(cell), None) => write!(f, ", cell {cell}")?,
            (None, Some(column)) => write!(f, ", column {column}")?,
            (None, None) => {}
        }
        write!(f, ": {}", self.problem)
    }
}

impl fmt::Display for LineProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LineProblem::Text(problem) => problem.fmt(f),
            LineProblem::HexLength(hex) => write!(
                f,
                "hexadecimal without its length: the digits hold {} bits, and some may be padding",
                hex.bits().len()
            ),
            LineProblem::Value { found, problem } => write!(f, "‘{found}’ {problem}"),
            LineProblem::Time { found } => write!(f, "‘{found}’ is no time"),
            LineProblem::TooLong => write!(f, "has more than {MAX_LINE} bytes"),
            LineProblem::NotText => write!(f, "a byte that is not UTF-8 text"),
            LineProblem::Utf16 => write!(f, "the text is UTF-16"),
            LineProblem::OpenQuote => write!(f, "a quote is not closed on its line"),
            LineProblem::Cell { found, .. } if found.is_empty() => write!(f, "the cell is empty"),
            LineProblem::Cell { found, .. } => write!(f, "found ‘{found}’"),
            LineProblem::Cells { found, expected } => {
                let s = if *expected == 1 { "" } else { "s" };
                write!(f, "has {found} cells under {expected} heading{s}")
            }
            LineProblem::NoHeading => write!(f, "a cell without a heading is not empty"),
            LineProblem::NoBitsHeading => write!(f, "no heading is ‘bits’"),
            LineProblem::Headings => write!(
                f,
                "a table with these headings is not read as it comes; its rows are passed over"
            ),
            LineProblem::NoSeconds => write!(
                f,
                "taken as seconds, the times leave no pulse as short as a reader's; such reads \
                 are passed over"
            ),
            LineProblem::HeadingTwice => write!(f, "this heading is there twice"),
            LineProblem::NoTable => write!(f, "there is no table"),
            LineProblem::Io(error) => write!(f, "the input cannot be read: {error}"),
        }
    }
}
