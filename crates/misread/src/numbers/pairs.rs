//! Pairs of numbers from a table.

use std::fmt;

use super::search::Pair;
use super::written::{WrittenError, parse_written};
use crate::file::{RowReader, delimiter, shown};

/// What a table of pairs held.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReadPairs {
    /// The pairs with their texts.
    pub pairs: Vec<TablePair>,
    /// The lines that are no pairs. Where there are no headings, that is all
    /// there is.
    pub refused: Vec<PairError>,
}

/// A pair of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TablePair {
    /// The line, from 1.
    pub line: u64,
    /// What is printed, as it stands there.
    pub printed: String,
    /// What is shown, as it stands there.
    pub shown: String,
    /// What both are read as.
    pub pair: Pair,
}

/// A line that is no pair.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PairError {
    /// The line, from 1.
    pub line: u64,
    /// The heading of the cell, where it is one cell.
    pub cell: Option<String>,
    /// What is wrong there.
    pub problem: PairProblem,
}

/// What is wrong with a line of pairs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PairProblem {
    /// No headings `printed` and `shown`.
    NoHeadings,
    /// A byte that is not UTF-8 text.
    NotText,
    /// A quote that is not closed.
    OpenQuote,
    /// More cells than headings.
    Cells {
        /// Cells in the row.
        found: usize,
        /// Headings.
        expected: usize,
    },
    /// Not a number.
    Written {
        /// What the cell holds.
        found: String,
        /// What is wrong with it.
        error: WrittenError,
    },
}

impl PairError {
    /// What would be accepted.
    pub fn expected(&self) -> &'static str {
        match &self.problem {
            PairProblem::NoHeadings => "a first line of headings: printed,shown",
            PairProblem::NotText => "text saved as UTF-8",
            PairProblem::OpenQuote => "a closing quote, and each row on one line",
            PairProblem::Cells { .. } => {
                "no more cells than headings; \"188,24910\" in quotes, or tabs between cells"
            }
            PairProblem::Written { error, .. } => error.expected(),
        }
    }
}

impl std::error::Error for PairError {}

impl fmt::Display for PairError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(cell) = &self.cell {
            write!(f, ", cell {cell}")?;
        }
        write!(f, ": {}", self.problem)
    }
}

impl fmt::Display for PairProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PairProblem::NoHeadings => write!(f, "no headings are ‘printed’ and ‘shown’"),
            PairProblem::NotText => write!(f, "a byte that is not UTF-8 text"),
            PairProblem::OpenQuote => write!(f, "a quote is not closed on its line"),
            PairProblem::Cells { found, expected } => {
                write!(f, "{found} cells stand under {expected} headings")
            }
            PairProblem::Written { found, error } if found.is_empty() => write!(f, "{error}"),
            PairProblem::Written { found, error } => write!(f, "‘{found}’: {error}"),
        }
    }
}

/// Reads pairs from a table with the headings `printed` and `shown`, separated
/// by commas, semicolons or tabs, a pair a line. Other columns, blank lines and
/// lines that begin with `#` are passed over. A line that is no pair is told,
/// and the others are read.
///
/// ```
/// use misread::numbers::read_pairs;
///
/// let read = read_pairs(b"printed,shown\n0012345678,\"188,24910\"\n12x,1\n");
/// assert_eq!(read.pairs[0].shown, "188,24910");
/// assert_eq!(
///     read.refused[0].to_string(),
///     "line 3, cell printed: ‘12x’: character 3: ‘x’ is no part of a number"
/// );
/// ```
pub fn read_pairs(table: &[u8]) -> ReadPairs {
    let table = table.strip_prefix(b"\xef\xbb\xbf").unwrap_or(table);
    let mut read = ReadPairs::default();
    let mut rows: Option<Rows> = None;
    for (line, text) in (1..).zip(table.split(|&b| b == b'\n')) {
        let mut refuse = |cell, problem| read.refused.push(PairError { line, cell, problem });
        let Ok(text) = std::str::from_utf8(text) else {
            refuse(None, PairProblem::NotText);
            continue;
        };
        if text.trim().is_empty() || text.trim_start().starts_with('#') {
            continue;
        }
        let Some(rows) = &mut rows else {
            match Rows::of(text) {
                Some(of) => rows = Some(of),
                None => {
                    refuse(None, PairProblem::NoHeadings);
                    return read;
                }
            }
            continue;
        };
        match rows.pair(text) {
            Ok(None) => {}
            Ok(Some((printed, shown, pair))) => {
                read.pairs.push(TablePair { line, printed, shown, pair });
            }
            Err((cell, problem)) => refuse(cell, problem),
        }
    }
    if rows.is_none() {
        let problem = PairProblem::NoHeadings;
        read.refused.push(PairError { line: 1, cell: None, problem });
    }
    read
}

struct Rows {
    reader: RowReader,
    headings: Vec<String>,
    printed: usize,
    shown: usize,
}

impl Rows {
    fn of(headings: &str) -> Option<Self> {
        let mut reader = RowReader::new(delimiter(headings));
        let headings = reader.cells(headings).ok()?;
        let column = |name: &str| headings.iter().position(|h| h.eq_ignore_ascii_case(name));
        Some(Rows { printed: column("printed")?, shown: column("shown")?, reader, headings })
    }

    /// `None` for a row in which every cell is empty.
    fn pair(
        &mut self,
        text: &str,
    ) -> Result<Option<(String, String, Pair)>, (Option<String>, PairProblem)> {
        let mut cells = self.reader.cells(text).map_err(|_| (None, PairProblem::OpenQuote))?;
        while cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        if cells.is_empty() {
            return Ok(None);
        }
        let expected = self.headings.len();
        if cells.len() > expected {
            return Err((None, PairProblem::Cells { found: cells.len(), expected }));
        }
        let written = |at: usize| {
            let text = cells.get(at).cloned().unwrap_or_default();
            match parse_written(&text) {
                Ok(written) => Ok((text, written)),
                Err(error) => {
                    let heading = self.headings.get(at).map(|heading| shown(heading));
                    Err((heading, PairProblem::Written { found: shown(&text), error }))
                }
            }
        };
        let (printed, shown) = (written(self.printed)?, written(self.shown)?);
        let pair = Pair { printed: printed.1, shown: shown.1 };
        Ok(Some((printed.0, shown.0, pair)))
    }
}
