//! What is wrong with a table of cards.

use std::fmt;

use super::Stopped;
use crate::file::ValueProblem;

/// Why a table of cards gives no cards at all.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// There is no line of headings, or none of its headings is a field of a
    /// layout.
    #[error(transparent)]
    Headings(CardError),
    /// Whoever watches asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}

/// A row that is no card. The rows after it are still read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CardError {
    /// The line, from 1.
    pub line: u64,
    /// The heading of the cell, where it is one cell.
    pub cell: Option<String>,
    /// What is wrong there.
    pub problem: CardProblem,
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CardProblem {
    /// There is no table.
    NoTable,
    /// No heading is a field of a layout.
    NoFields {
        /// The fields there could be.
        fields: Vec<String>,
    },
    /// Two headings are the same, capitals aside.
    HeadingTwice,
    /// A byte that is not UTF-8 text.
    NotText,
    /// A quote is not closed on its line.
    OpenQuote,
    /// More cells than headings.
    Cells {
        /// Cells in the row.
        found: usize,
        /// Headings.
        expected: usize,
    },
    /// No layout of that name is known.
    UnknownLayout {
        /// The name.
        found: String,
    },
    /// The row names no layout and there is none for all.
    NoLayout,
    /// A field of the layout has no value.
    Missing {
        /// The layout.
        layout: String,
    },
    /// The layout has no such field.
    NoSuchField {
        /// The layout.
        layout: String,
    },
    /// Not a number.
    Value {
        /// What the cell holds.
        found: String,
        /// What is wrong with it.
        problem: ValueProblem,
    },
    /// A number too large for its field.
    DoesNotFit {
        /// The layout.
        layout: String,
        /// The number.
        found: u64,
        /// The largest the field can carry.
        max: u64,
    },
    /// More cards than are compared.
    TooMany,
}

impl CardError {
    /// What would be accepted.
    pub fn expected(&self) -> String {
        match &self.problem {
            CardProblem::NoTable => "a first line of headings, such as facility,card".to_owned(),
            CardProblem::NoFields { fields } => {
                format!("a heading for each field, of {}", fields.join(", "))
            }
            CardProblem::HeadingTwice => "every heading once".to_owned(),
            CardProblem::NotText => "text saved as UTF-8".to_owned(),
            CardProblem::OpenQuote => "a closing quote, and each row on one line".to_owned(),
            CardProblem::Cells { .. } => "no more cells than headings".to_owned(),
            CardProblem::UnknownLayout { .. } => {
                "the name of a built-in layout or of one in the catalogue".to_owned()
            }
            CardProblem::NoLayout => {
                "a column layout that names one, or one layout for all cards".to_owned()
            }
            CardProblem::Missing { .. } => "a whole number".to_owned(),
            CardProblem::NoSuchField { .. } => {
                "an empty cell, or a layout that has this field".to_owned()
            }
            CardProblem::Value { problem, .. } => problem.expected().to_owned(),
            CardProblem::DoesNotFit { max, .. } => format!("a number of at most {max}"),
            CardProblem::TooMany => format!("at most {} cards", u32::MAX),
        }
    }
}

impl std::error::Error for CardError {}

impl fmt::Display for CardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(cell) = &self.cell {
            write!(f, ", cell {cell}")?;
        }
        write!(f, ": {}", self.problem)
    }
}

impl fmt::Display for CardProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CardProblem::NoTable => write!(f, "there is no table"),
            CardProblem::NoFields { .. } => write!(f, "no heading is a field of a layout"),
            CardProblem::HeadingTwice => write!(f, "this heading is there twice"),
            CardProblem::NotText => write!(f, "a byte that is not UTF-8 text"),
            CardProblem::OpenQuote => write!(f, "a quote is not closed on its line"),
            CardProblem::Cells { found, expected } => {
                write!(f, "{found} cells stand under {expected} headings")
            }
            CardProblem::UnknownLayout { found } => write!(f, "no layout is named ‘{found}’"),
            CardProblem::NoLayout => write!(f, "nothing says which layout this card has"),
            CardProblem::Missing { layout } => {
                write!(f, "is empty, and a card of {layout} needs it")
            }
            CardProblem::NoSuchField { layout } => {
                write!(f, "is filled in, but {layout} has no such field")
            }
            CardProblem::Value { found, problem } => write!(f, "‘{found}’ {problem}"),
            CardProblem::DoesNotFit { layout, found, max } => {
                write!(f, "{found} is over {max}, the largest that {layout} carries there")
            }
            CardProblem::TooMany => write!(f, "there are more cards than are compared"),
        }
    }
}
