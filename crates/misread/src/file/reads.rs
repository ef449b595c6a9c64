//! Reads as text, one a line.

use std::io::BufRead;

use super::line_error::{LineError, LineProblem};
use super::lines::Lines;
use crate::Bits;
use crate::bits::{ReadText, parse_read_text};

/// A read and the line it stood on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineRead {
    /// The line, from 1.
    pub line: usize,
    /// The read.
    pub bits: Bits,
}

/// Reads one read a line, as [`parse_read_text`] takes them; blank lines and
/// lines that begin with `#` are passed over.
///
/// A line that is no read is an error of its own, and the ones after it still
/// come. So is one of more than 64 KiB, or one that is not UTF-8. Only an
/// input that fails ends the reads.
///
/// ```
/// let log = "# slipway gate\n10010101000000100110100111\n1001x\n0x25409a7/26\n";
/// let reads: Vec<_> = misread::file::read_lines(log.as_bytes()).collect();
/// assert_eq!(reads[0].as_ref().unwrap().bits, reads[2].as_ref().unwrap().bits);
/// assert_eq!(reads[1].as_ref().unwrap_err().to_string(), "line 3, column 5: ‘x’ is not a bit");
/// ```
pub fn read_lines<R: BufRead>(input: R) -> ReadLines<R> {
    ReadLines { lines: Lines::new(input) }
}

/// The reads of a text, one a line: see [`read_lines`].
#[derive(Debug)]
pub struct ReadLines<R> {
    lines: Lines<R>,
}

impl<R: BufRead> ReadLines<R> {
    pub(super) fn of(lines: Lines<R>) -> Self {
        ReadLines { lines }
    }
}

impl<R: BufRead> Iterator for ReadLines<R> {
    type Item = Result<LineRead, LineError>;

    fn next(&mut self) -> Option<Self::Item> {
        let line = self.lines.next()?;
        let number = line.number;
        Some(match line.text {
            Err(bad) => Err(LineError::from_bad_line(number, bad)),
            Ok(text) => match read_of(&text) {
                Ok(bits) => Ok(LineRead { line: number, bits }),
                Err((column, problem)) => {
                    Err(LineError { line: number, cell: None, column, problem })
                }
            },
        })
    }
}

/// The read of a line or a cell, or the character that is wrong, from 1.
pub(crate) fn read_of(text: &str) -> Result<Bits, (Option<usize>, LineProblem)> {
    match parse_read_text(text) {
        Ok(ReadText::Bits(bits)) => Ok(bits),
        Ok(ReadText::Hex(hex)) => Err((None, LineProblem::HexLength(Box::new(hex)))),
        Err(error) => {
            let before = text.get(..error.at).unwrap_or(text);
            Err((Some(before.chars().count() + 1), LineProblem::Text(Box::new(error.problem))))
        }
    }
}
