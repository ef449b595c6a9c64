//! Reads from a stream that may be lines or a table.

use std::io::BufRead;

use super::line_error::LineError;
use super::lines::Lines;
use super::reads::ReadLines;
use super::tables::{Table, TableRead, is_headings};

/// Reads either one read a line, as [`read_lines`](super::read_lines), or a
/// table, as [`read_table`](super::read_table): the first line that is not
/// blank and no comment decides. It is a table's where one of its cells is
/// `bits`, or where it is no read and all its cells are names.
///
/// ```
/// use misread::file::read_any;
///
/// for text in ["1011\n", "bits,card\n1011,5\n"] {
///     let read = read_any(text.as_bytes())?.next().unwrap()?;
///     assert_eq!(read.bits.to_string(), "1011");
/// }
/// # Ok::<(), misread::file::LineError>(())
/// ```
///
/// # Errors
///
/// A table whose headings are wrong.
pub fn read_any<R: BufRead>(input: R) -> Result<AnyReads<R>, LineError> {
    let mut lines = Lines::new(input);
    let Some(first) = lines.next() else { return Ok(AnyReads::Lines(ReadLines::of(lines))) };
    let is_table = first.text.as_ref().is_ok_and(|text| is_headings(text));
    lines.put_back(first);
    if is_table {
        Table::of(lines).map(AnyReads::Table)
    } else {
        Ok(AnyReads::Lines(ReadLines::of(lines)))
    }
}

/// Reads from lines or from a table: see [`read_any`]. A read from a line has
/// no expected values.
#[derive(Debug)]
pub enum AnyReads<R> {
    /// One read a line.
    Lines(ReadLines<R>),
    /// A table.
    Table(Table<R>),
}

impl<R: BufRead> Iterator for AnyReads<R> {
    type Item = Result<TableRead, LineError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self {
            AnyReads::Table(table) => table.next(),
            AnyReads::Lines(lines) => lines.next().map(|read| {
                read.map(|read| TableRead {
                    line: read.line as u64,
                    bits: read.bits,
                    expected: Vec::new(),
                })
            }),
        }
    }
}
