//! Tables of reads with the cards they should be.

use std::io::{BufRead, BufReader, Read};

use super::line_error::{LineError, LineProblem};
use super::lines::Lines;
use super::reads::read_of;
use super::shorten::shown;
use super::value_text::parse_value;
use crate::Bits;

/// A read of a table, with what its card should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableRead {
    /// The line, from 1.
    pub line: u64,
    /// The read; empty where the cell is, as when nothing arrived.
    pub bits: Bits,
    /// The field values that are known, in the order of the columns.
    pub expected: Vec<(String, u64)>,
}

/// Reads a table: comma-separated, a line of headings first. One heading is
/// `bits`; the others are field names, whose columns say which card was
/// presented, and one that says when, such as `time_s`, is passed over. An empty
/// cell is a value nobody knows. A table separated by semicolons or tabs, as
/// some spreadsheets write them, is taken as well.
///
/// Every row stands on one line. One that cannot be understood is an error of
/// its own, and the ones after it still come.
///
/// ```
/// let table = "bits,facility,card\n\
///              01101010111111011001011000,42,1234\n\
///              01101010111111011001011011,42,\"1,235\"\n";
/// let mut rows = misread::file::read_table(table.as_bytes())?;
/// let first = rows.next().unwrap()?;
/// assert_eq!(first.expected, [("facility".to_owned(), 42), ("card".to_owned(), 1234)]);
/// assert_eq!(
///     rows.next().unwrap().unwrap_err().to_string(),
///     "line 3, cell card: ‘1,235’ has a thousands separator"
/// );
/// # Ok::<(), misread::file::LineError>(())
/// ```
///
/// # Errors
///
/// No headings, none of them `bits`, or one there twice.
pub fn read_table<R: Read>(input: R) -> Result<Table<BufReader<R>>, LineError> {
    Table::of(Lines::new(BufReader::new(input)))
}

/// Reads a table of cards without reads: as [`read_table`], without the column
/// `bits`. Every row's [`TableRead::bits`] is empty.
///
/// ```
/// let table = "facility,card\n42,1234\n42,1235\n";
/// let cards: Vec<_> =
///     misread::file::read_cards(table.as_bytes())?.collect::<Result<_, _>>()?;
/// assert_eq!(cards[1].expected, [("facility".to_owned(), 42), ("card".to_owned(), 1235)]);
/// # Ok::<(), misread::file::LineError>(())
/// ```
///
/// # Errors
///
/// No headings, or one there twice.
pub fn read_cards<R: Read>(input: R) -> Result<Table<BufReader<R>>, LineError> {
    Table::with_headings(Lines::new(BufReader::new(input))).map(|(table, _)| table)
}

/// The rows of a table: see [`read_table`].
#[derive(Debug)]
pub struct Table<R> {
    lines: Lines<R>,
    columns: Columns,
}

impl<R: BufRead> Table<R> {
    pub(super) fn of(lines: Lines<R>) -> Result<Self, LineError> {
        let (table, line) = Self::with_headings(lines)?;
        match table.columns.bits {
            Some(_) => Ok(table),
            None => Err(LineError::at_line(line, LineProblem::NoBitsHeading)),
        }
    }

    /// The table, and the line its headings stand on.
    fn with_headings(mut lines: Lines<R>) -> Result<(Self, usize), LineError> {
        let line = lines.next().ok_or_else(|| LineError::at_line(1, LineProblem::NoTable))?;
        let text = line.text.map_err(|bad| LineError::from_bad_line(line.number, bad))?;
        let columns = Columns::of(line.number, &text)?;
        Ok((Table { lines, columns }, line.number))
    }

    /// The names of the fields that have a column, in the order of the
    /// columns.
    pub fn fields(&self) -> impl Iterator<Item = &str> {
        let named = self.columns.headings.iter().enumerate();
        named.filter(|(i, name)| self.columns.is_field(*i, name)).map(|(_, name)| name.as_str())
    }
}

impl<R: BufRead> Iterator for Table<R> {
    type Item = Result<TableRead, LineError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let line = self.lines.next()?;
            let row = match line.text {
                Ok(text) => self.columns.read_row(line.number, &text),
                Err(bad) => Some(Err(LineError::from_bad_line(line.number, bad))),
            };
            if row.is_some() {
                return row;
            }
        }
    }
}

/// The columns of a table, by its headings.
#[derive(Debug)]
pub(crate) struct Columns {
    row: RowReader,
    /// What parts the cells.
    #[cfg(feature = "captures")]
    pub(crate) delimiter: u8,
    headings: Vec<String>,
    /// Which heading is `bits`, where one is.
    bits: Option<usize>,
    /// Which heading says when, where one does.
    time: Option<usize>,
}

impl Columns {
    /// # Errors
    ///
    /// A heading that is there twice.
    pub(crate) fn of(line: usize, text: &str) -> Result<Self, LineError> {
        let refuse = |problem| LineError::at_line(line, problem);
        let mut row = RowReader::new(delimiter(text));
        let headings = row.cells(text).map_err(refuse)?;
        for (i, heading) in headings.iter().enumerate() {
            let taken = headings[..i].iter().any(|other| other.eq_ignore_ascii_case(heading));
            if taken && !heading.is_empty() {
                let cell = Some(shown(heading));
                return Err(LineError { cell, ..refuse(LineProblem::HeadingTwice) });
            }
        }
        let bits = headings.iter().position(|heading| is_bits(heading));
        let time = headings.iter().position(|heading| is_time(heading));
        Ok(Columns {
            row,
            #[cfg(feature = "captures")]
            delimiter: delimiter(text),
            headings,
            bits,
            time,
        })
    }

    /// The heading that says when, and its place.
    #[cfg(feature = "captures")]
    pub(crate) fn time(&self) -> Option<(usize, &str)> {
        let time = self.time?;
        Some((time, self.headings.get(time)?))
    }

    /// The cells of a row.
    #[cfg(feature = "captures")]
    pub(crate) fn cells(&mut self, text: &str) -> Result<Vec<String>, LineProblem> {
        self.row.cells(text)
    }

    /// `None` for a row in which every cell is empty.
    pub(crate) fn read_row(
        &mut self,
        number: usize,
        text: &str,
    ) -> Option<Result<TableRead, LineError>> {
        let refuse = |problem| LineError::at_line(number, problem);
        let mut cells = match self.row.cells(text) {
            Ok(cells) => cells,
            Err(problem) => return Some(Err(refuse(problem))),
        };
        // Spreadsheets fill rows up with empty cells.
        while cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        if cells.is_empty() {
            return None;
        }
        let expected = self.headings.len();
        if cells.len() > expected {
            return Some(Err(refuse(LineProblem::Cells { found: cells.len(), expected })));
        }
        let mut read = TableRead { line: number as u64, bits: Bits::new(), expected: Vec::new() };
        for (i, (cell, heading)) in cells.iter().zip(&self.headings).enumerate() {
            let refuse_cell = |column, problem| {
                Some(Err(LineError { cell: Some(shown(heading)), column, ..refuse(problem) }))
            };
            if cell.is_empty() || Some(i) == self.time {
                continue;
            } else if Some(i) == self.bits {
                match read_of(cell) {
                    Ok(bits) => read.bits = bits,
                    Err((column, problem)) => return refuse_cell(column, problem),
                }
            } else if heading.is_empty() {
                return Some(Err(refuse(LineProblem::NoHeading)));
            } else {
                match parse_value(cell) {
                    Ok(value) => read.expected.push((heading.clone(), value)),
                    Err(problem) => {
                        let found = shown(cell);
                        return refuse_cell(None, LineProblem::Value { found, problem });
                    }
                }
            }
        }
        Some(Ok(read))
    }

    fn is_field(&self, column: usize, name: &str) -> bool {
        Some(column) != self.bits && Some(column) != self.time && !name.is_empty()
    }
}

/// Whether a line is a table's line of headings: one cell is `bits`, or it is
/// no read and all its cells are names.
pub(super) fn is_headings(text: &str) -> bool {
    let Ok(cells) = RowReader::new(delimiter(text)).cells(text) else { return false };
    let is_name = |cell: &String| {
        cell.starts_with(|c: char| c.is_ascii_alphabetic())
            && cell.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.' | ' '))
    };
    cells.iter().any(|cell| is_bits(cell))
        || (cells.len() > 1 && cells.iter().all(is_name) && read_of(text).is_err())
}

pub(crate) fn is_bits(heading: &str) -> bool {
    heading.eq_ignore_ascii_case("bits")
}

/// A time and its unit: `time_s`, `Timestamp [ms]`.
fn is_time(heading: &str) -> bool {
    let heading = heading.to_lowercase();
    let mut words = heading.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    matches!(words.next(), Some("time" | "timestamp"))
        && matches!(words.next(), Some("s" | "sec" | "seconds" | "ms" | "us" | "µs" | "μs" | "ns"))
}

/// What stands between the cells of the headings.
pub(crate) fn delimiter(headings: &str) -> u8 {
    [b',', b';', b'\t']
        .into_iter()
        .find(|delimiter| headings.as_bytes().contains(delimiter))
        .unwrap_or(b',')
}

/// Takes rows apart one line at a time, so that a quote left open spoils its
/// own line and not the rest of the table.
#[derive(Debug)]
pub(crate) struct RowReader {
    builder: csv::ReaderBuilder,
}

impl RowReader {
    pub(crate) fn new(delimiter: u8) -> Self {
        let mut builder = csv::ReaderBuilder::new();
        builder
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .buffer_capacity(256);
        RowReader { builder }
    }

    pub(crate) fn cells(&mut self, line: &str) -> Result<Vec<String>, LineProblem> {
        if line.matches('"').count() % 2 == 1 {
            return Err(LineProblem::OpenQuote);
        }
        let mut cells = csv::StringRecord::new();
        match self
            .builder
            .from_reader(line.trim_end_matches('\r').as_bytes())
            .read_record(&mut cells)
        {
            Ok(_) => Ok(cells.iter().map(str::to_owned).collect()),
            Err(error) => Err(LineProblem::Io(error.into())),
        }
    }
}
