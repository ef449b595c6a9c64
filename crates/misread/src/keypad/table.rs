//! Reads of a keypad from text and tables.

use std::collections::HashMap;
use std::io::BufRead;

use super::Press;
use crate::Bits;
use crate::bits::{HexRead, ReadText, TextError, parse_read_text};
use crate::file::{Line, LineError, LineProblem, Lines, RowReader, delimiter, shown};

/// The reads of a text or a table.
#[derive(Debug, Default)]
pub struct Presses {
    /// The reads in order.
    pub presses: Vec<Press>,
    /// The line of each, from 1.
    pub lines: Vec<u64>,
    /// The lines that could not be understood; the others were read.
    pub refused: Vec<LineError>,
}

/// Text that holds no reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoReads {
    /// Not bits, and where.
    Text(TextError),
    /// Hexadecimal without its length.
    Hex(Box<HexRead>),
}

/// The reads of one line or argument. Groups of 0, 1 and `?` between spaces are
/// reads of their own, since a key is a few bits; a word and a colon may stand
/// in front. Anything else is one read as [`parse_read_text`] takes it.
///
/// ```
/// use misread::keypad::reads_in;
///
/// let reads = reads_in("07:15 sail loft: 0100 0001 1011")?;
/// assert_eq!(reads.len(), 3);
/// assert_eq!(reads_in("0x4b/8")?[0].to_string(), "01001011");
/// # Ok::<(), misread::keypad::NoReads>(())
/// ```
///
/// # Errors
///
/// Text that is no read, or hexadecimal without a length.
pub fn reads_in(text: &str) -> Result<Vec<Bits>, NoReads> {
    let behind_word = text
        .rsplit_once(':')
        .filter(|(before, _)| before.chars().next_back().is_some_and(char::is_alphabetic));
    let groups = behind_word.map_or(text, |(_, groups)| groups);
    let groups: Result<Vec<Bits>, _> = groups.split_whitespace().map(str::parse).collect();
    match groups {
        Ok(reads) if !reads.is_empty() => return Ok(reads),
        _ => {}
    }
    match parse_read_text(text) {
        Ok(ReadText::Bits(bits)) => Ok(vec![bits]),
        Ok(ReadText::Hex(hex)) => Err(NoReads::Hex(Box::new(hex))),
        Err(error) => Err(NoReads::Text(error)),
    }
}

impl std::error::Error for NoReads {}

impl std::fmt::Display for NoReads {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NoReads::Text(error) => error.fmt(f),
            NoReads::Hex(_) => f.write_str("hexadecimal without its length"),
        }
    }
}

/// Reads presses from lines, as [`reads_in`] takes each, or from a table with a
/// heading `bits` and, where times are known, one of `time_s`, `time_ms`,
/// `time_us` or `time_ns` (`time` and `start_s` are taken as seconds). Blank
/// lines and lines that begin with `#` are passed over; other columns too.
///
/// ```
/// use misread::keypad::read_presses;
///
/// let found = read_presses("time_ms,bits\n0,0100\n350.5,0001\n,1011\n".as_bytes());
/// assert_eq!(found.presses[1].at, Some(350_500_000));
/// assert_eq!(found.presses[2].at, None);
/// ```
pub fn read_presses<R: BufRead>(input: R) -> Presses {
    let mut found = Presses::default();
    let mut rows: Option<Rows> = None;
    let mut begun = false;
    for Line { number, text } in Lines::new(input) {
        let text = match text {
            Ok(text) => text,
            Err(bad) => {
                found.refused.push(LineError::from_bad_line(number, bad));
                continue;
            }
        };
        if !std::mem::replace(&mut begun, true) {
            rows = Rows::of(&text);
            if rows.is_some() {
                continue;
            }
        }
        let read = match &mut rows {
            Some(rows) => rows.press(&text),
            None => reads_in(&text)
                .map(|reads| reads.into_iter().map(Press::from).collect())
                .map_err(|no_reads| Cell::of(&no_reads, &text)),
        };
        match read {
            Ok(presses) => {
                found.lines.extend(presses.iter().map(|_| number as u64));
                found.presses.extend(presses);
            }
            Err(Cell { heading, column, problem }) => {
                found.refused.push(LineError { line: number, cell: heading, column, problem });
            }
        }
    }
    found
}

/// Where in a line, and what is wrong there.
struct Cell {
    heading: Option<String>,
    column: Option<usize>,
    problem: LineProblem,
}

impl Cell {
    fn of(no_reads: &NoReads, text: &str) -> Self {
        let (column, problem) = match no_reads {
            NoReads::Text(error) => {
                let before = text.get(..error.at).unwrap_or(text).chars().count();
                (Some(before + 1), LineProblem::Text(Box::new(error.problem)))
            }
            NoReads::Hex(hex) => (None, LineProblem::HexLength(hex.clone())),
        };
        Cell { heading: None, column, problem }
    }
}

struct Rows {
    reader: RowReader,
    headings: Vec<String>,
    bits: usize,
    /// The column of times, and how many nanoseconds its unit is.
    time: Option<(usize, f64)>,
}

impl Rows {
    /// `None` where the line is no table's headings.
    fn of(headings: &str) -> Option<Self> {
        let mut reader = RowReader::new(delimiter(headings));
        let headings = reader.cells(headings).ok()?;
        let bits = headings.iter().position(|heading| heading.eq_ignore_ascii_case("bits"))?;
        let units: HashMap<&str, f64> = HashMap::from([
            ("time", 1e9),
            ("time_s", 1e9),
            ("start_s", 1e9),
            ("time_ms", 1e6),
            ("time_us", 1e3),
            ("time_ns", 1.0),
        ]);
        let unit = |heading: &String| units.get(heading.to_ascii_lowercase().as_str()).copied();
        let time = headings.iter().enumerate().find_map(|(i, h)| Some((i, unit(h)?)));
        Some(Rows { reader, headings, bits, time })
    }

    fn press(&mut self, text: &str) -> Result<Vec<Press>, Cell> {
        let refuse = |problem| Cell { heading: None, column: None, problem };
        let mut cells = self.reader.cells(text).map_err(refuse)?;
        // Spreadsheets fill rows up with empty cells.
        while cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        let expected = self.headings.len();
        if cells.len() > expected {
            return Err(refuse(LineProblem::Cells { found: cells.len(), expected }));
        }
        if cells.is_empty() {
            return Ok(Vec::new());
        }
        let cell = |at: usize| cells.get(at).map_or("", String::as_str);
        let heading = |at: usize| self.headings.get(at).map(|heading| shown(heading));
        let at = match self.time {
            Some((column, unit)) if !cell(column).is_empty() => {
                let time = nanoseconds(cell(column), unit).ok_or_else(|| Cell {
                    heading: heading(column),
                    ..refuse(LineProblem::Time { found: shown(cell(column)) })
                })?;
                Some(time)
            }
            _ => None,
        };
        let text = cell(self.bits);
        if text.is_empty() {
            return Ok(vec![Press { at, ..Press::default() }]);
        }
        match parse_read_text(text) {
            Ok(ReadText::Bits(bits)) => Ok(vec![Press { at, ..Press::from(bits) }]),
            Ok(ReadText::Hex(hex)) => Err(NoReads::Hex(Box::new(hex))),
            Err(error) => Err(NoReads::Text(error)),
        }
        .map_err(|no_reads| Cell { heading: heading(self.bits), ..Cell::of(&no_reads, text) })
    }
}

/// A time in nanoseconds, with a decimal point or comma; `None` for text that
/// is no number, or one too large.
fn nanoseconds(text: &str, unit: f64) -> Option<i64> {
    let time = text.trim().replace(',', ".").parse::<f64>().ok()? * unit;
    // Beyond this a number of nanoseconds is not exact.
    (time.abs() < 2f64.powi(62)).then_some(time.round() as i64)
}
