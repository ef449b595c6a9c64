//! The rows of a table, one after the other, up to the first that is damaged.

use std::cell::Cell;
use std::io::{self, BufRead, Read, Seek};

use super::TimeUnit;
use super::cells::{self, FURTHEST};
use super::headings::Headings;
use crate::capture::error::shown;
use crate::capture::levels::Enough;
use crate::capture::{Damage, Place};
use crate::pulse::Level;

/// Why a walk over the rows stopped before the end.
#[derive(Debug)]
pub(super) enum Stop {
    /// The rest cannot be relied on.
    Damage(Damage),
    /// A level is a voltage, and there is no threshold.
    Voltage,
    /// It is not clear which lines the rows are about; said why.
    Unclear(String),
    /// Nobody wants more.
    Enough,
}

impl From<Enough> for Stop {
    fn from(_: Enough) -> Self {
        Stop::Enough
    }
}

/// One row.
pub(super) struct Row<'a> {
    headings: &'a Headings,
    cells: &'a csv::ByteRecord,
    /// The line it ends in, from 1.
    last_line: u64,
    /// Whether the file ends without an end of this line.
    open: bool,
    before: &'a Cell<Option<i64>>,
}

/// Hands every row behind the headings to `see`, from the start of the input,
/// until the end or until one is refused.
pub(super) fn each_row<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    mut see: impl FnMut(&Row<'_>) -> Result<(), Stop>,
) -> io::Result<Option<Stop>> {
    input.rewind()?;
    let given = Given::default();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(headings.delimiter)
        .comment(Some(b'#'))
        // With any other, a row begins in the line before where lines end in a
        // carriage return and a line feed. The carriage return is white space
        // behind the last cell.
        .terminator(csv::Terminator::Any(b'\n'))
        .buffer_capacity(PIECE)
        .from_reader(Rationed { inner: input, given: &given });
    let mut cells = csv::ByteRecord::new();
    let before = Cell::new(None);
    loop {
        let start = reader.position().line();
        match reader.read_byte_record(&mut cells) {
            Ok(false) => return Ok(None),
            Ok(true) => given.left.set(LONGEST),
            Err(_) if given.left.get() == 0 => {
                return Ok(Some(Stop::Damage(Damage {
                    place: Place::Line { line: start, cell: None },
                    found: "a row without an end".to_owned(),
                    expected: "rows of at most 1 MB; look for a quotation mark".to_owned(),
                })));
            }
            Err(error) => match error.into_kind() {
                csv::ErrorKind::Io(error) => return Err(error),
                _ => return Ok(None),
            },
        }
        // The reader has counted the line feed behind the row, if there is one.
        let end = reader.position();
        let open = end.byte() == given.bytes.get() && given.last.get() != b'\n';
        let last_line = end.line() - u64::from(!open);
        let blank = cells.len() == 1 && cells.as_slice().trim_ascii().is_empty();
        if last_line <= headings.line || blank {
            continue;
        }
        let row = Row { headings, cells: &cells, last_line, open, before: &before };
        if let Err(stop) = see(&row) {
            return Ok(Some(stop));
        }
    }
}

/// How much is read at once, in bytes.
const PIECE: usize = 1 << 16;

/// The longest row, in bytes: a cell that is opened by a quotation mark and not
/// closed would hold the rest of the file.
const LONGEST: usize = 1 << 20;

/// What has been given out.
struct Given {
    /// How many bytes of the ration are left.
    left: Cell<usize>,
    bytes: Cell<u64>,
    last: Cell<u8>,
}

impl Default for Given {
    fn default() -> Self {
        Given { left: Cell::new(LONGEST), bytes: Cell::new(0), last: Cell::new(b'\n') }
    }
}

/// Gives no more than a ration, until it is renewed.
struct Rationed<'a, R> {
    inner: R,
    given: &'a Given,
}

impl<R: Read> Read for Rationed<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let left = self.given.left.get();
        if left == 0 {
            return Err(io::Error::other("a row without an end"));
        }
        let wanted = buffer.len().min(left);
        let read = self.inner.read(&mut buffer[..wanted])?;
        self.given.left.set(left - read);
        self.given.bytes.set(self.given.bytes.get() + read as u64);
        if let Some(&last) = buffer[..read].last() {
            self.given.last.set(last);
        }
        Ok(read)
    }
}

impl Row<'_> {
    /// A cell, without white space around it; empty where the row has none.
    #[inline]
    pub(super) fn cell(&self, column: usize) -> &[u8] {
        self.as_written(column).trim_ascii()
    }

    /// A cell with any white space around it, to be looked at before the white
    /// space is: there is seldom any.
    #[inline(always)]
    pub(super) fn as_written(&self, column: usize) -> &[u8] {
        self.cells.get(column).unwrap_or_default()
    }

    /// Whether it has as many cells as there are headings.
    pub(super) fn is_whole(&self) -> bool {
        self.cells.len() >= self.headings.count()
    }

    /// The text of a cell.
    pub(super) fn text(&self, column: usize) -> Result<&str, Stop> {
        if column >= self.cells.len() {
            let found = match self.cells.len() {
                1 => "the row has 1 cell".to_owned(),
                cells => format!("the row has {cells} cells"),
            };
            return Err(self.refuse(column, found, &format!("{} cells", self.headings.count())));
        }
        std::str::from_utf8(self.cell(column))
            .map_err(|_| self.refuse(column, "found bytes that are no text".to_owned(), "a number"))
    }

    /// The number in a cell. Where commas do not part the cells, one may be the
    /// decimal point.
    #[inline]
    pub(super) fn number(&self, column: usize) -> Result<f64, Stop> {
        match plain_number(self.cell(column)) {
            Some(number) => Ok(number),
            None => self.any_number(column),
        }
    }

    fn any_number(&self, column: usize) -> Result<f64, Stop> {
        let text = self.text(column)?;
        cells::number_in(text, self.headings.delimiter)
            .ok_or_else(|| self.refuse(column, format!("found ‘{}’", shown(text)), "a number"))
    }

    /// The time of the row in nanoseconds, no earlier than that of the one
    /// before.
    #[inline(always)]
    pub(super) fn time(&self) -> Result<i64, Stop> {
        let column = self.headings.time;
        let time = self.nanoseconds(column, self.headings.unit)?;
        if self.before.replace(Some(time)).is_some_and(|before| time < before) {
            return Err(self.goes_back(column));
        }
        Ok(time)
    }

    #[cold]
    fn goes_back(&self, column: usize) -> Stop {
        self.refuse(column, "the time goes back".to_owned(), "rows in the order of time")
    }

    /// A duration in nanoseconds, 0 or more.
    pub(super) fn duration(&self, column: usize, unit: TimeUnit) -> Result<i64, Stop> {
        let duration = self.nanoseconds(column, unit)?;
        if duration < 0 {
            return Err(self.refuse(column, "found less than 0".to_owned(), "a duration"));
        }
        Ok(duration)
    }

    /// The level in a cell: 0 or 1, or a voltage against the threshold. Where
    /// reads have been made of 0 and 1, a voltage is no level.
    #[inline(always)]
    pub(super) fn level(
        &self,
        column: usize,
        threshold: Option<f64>,
        made_reads: bool,
    ) -> Result<Level, Stop> {
        match (threshold, self.as_written(column)) {
            (None, b"0") => Ok(Level::Low),
            (None, b"1") => Ok(Level::High),
            _ => self.any_level(column, threshold, made_reads),
        }
    }

    fn any_level(
        &self,
        column: usize,
        threshold: Option<f64>,
        made_reads: bool,
    ) -> Result<Level, Stop> {
        let number = self.number(column)?;
        match threshold {
            Some(threshold) => Ok(Level::from(number >= threshold)),
            None if number == 0.0 => Ok(Level::Low),
            None if number == 1.0 => Ok(Level::High),
            None if made_reads => {
                Err(self.refuse(column, format!("found {number}"), "0 or 1, as in the rows before"))
            }
            None => Err(Stop::Voltage),
        }
    }

    /// Says that a cell is not as it should be.
    pub(super) fn refuse(&self, column: usize, found: String, expected: &str) -> Stop {
        // A cell in quotation marks may hold line feeds.
        let within = self.cells.as_slice().iter().filter(|&&byte| byte == b'\n').count() as u64;
        let line = self.last_line.saturating_sub(within);
        // What is wrong with a row that is cut is that it is cut.
        if self.open && !self.is_whole() {
            return Stop::Damage(Damage::cut(line));
        }
        Stop::Damage(Damage {
            place: Place::Line { line, cell: Some(shown(self.headings.name(column))) },
            found,
            expected: expected.to_owned(),
        })
    }

    #[inline(always)]
    fn nanoseconds(&self, column: usize, unit: TimeUnit) -> Result<i64, Stop> {
        let whole = plain_whole(self.as_written(column)).zip(unit.whole_nanoseconds());
        match whole.and_then(|(whole, unit)| whole.checked_mul(unit)) {
            Some(nanoseconds) if nanoseconds <= FURTHEST => Ok(nanoseconds as i64),
            _ => self.any_nanoseconds(column, unit),
        }
    }

    fn any_nanoseconds(&self, column: usize, unit: TimeUnit) -> Result<i64, Stop> {
        cells::nanoseconds(self.number(column)?, unit).ok_or_else(|| {
            self.refuse(column, "a time too far off".to_owned(), "less than 1000 days")
        })
    }
}

/// The whole number that a few digits are, and nothing else.
#[inline(always)]
fn plain_whole(cell: &[u8]) -> Option<u64> {
    if cell.is_empty() || cell.len() > MOST_PLAIN {
        return None;
    }
    let (eights, rest) = cell.as_chunks();
    let mut whole = 0;
    for eight in eights {
        whole = whole * 100_000_000 + eight_digits(*eight)?;
    }
    for byte in rest {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            return None;
        }
        whole = whole * 10 + u64::from(digit);
    }
    Some(whole)
}

/// Eight digits at once: digits become pairs, pairs fours, and fours the number,
/// each in its own part of one word.
#[inline]
fn eight_digits(digits: [u8; 8]) -> Option<u64> {
    const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);
    const HIGH: u64 = u64::from_le_bytes([0xf0; 8]);
    let word = u64::from_le_bytes(digits);
    // A digit has the high half of ‘0’, and still has it with 6 added to it.
    let past_nine = word.wrapping_add(u64::from_le_bytes([6; 8]));
    if word & HIGH != ZEROS || past_nine & HIGH != ZEROS {
        return None;
    }
    let ones = word - ZEROS;
    let pairs = (ones * 10 + (ones >> 8)) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs * 100 + (pairs >> 16)) & 0x0000_ffff_0000_ffff;
    Some((fours * 10_000 + (fours >> 32)) & 0xffff_ffff)
}

/// The number that a few digits are, with a decimal point or without, rounded as
/// any number in text is: both the digits and the power of ten are exact, so
/// there is one rounding, that of the division.
fn plain_number(cell: &[u8]) -> Option<f64> {
    const POWERS: [f64; MOST_PLAIN] =
        [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14];
    if cell.len() > MOST_PLAIN {
        return None;
    }
    let Some(point) = cell.iter().position(|&byte| byte == b'.') else {
        return plain_whole(cell).map(|whole| whole as f64);
    };
    let (before, behind) = (&cell[..point], &cell[point + 1..]);
    let whole = if before.is_empty() { 0 } else { plain_whole(before)? };
    let part = plain_whole(behind)?;
    let power = POWERS.get(behind.len())?;
    // Up to 14 digits: exact.
    Some((whole as f64 * power + part as f64) / power)
}

/// The most characters of a number that is read at a glance: its digits are
/// exact in an `f64`.
const MOST_PLAIN: usize = 15;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::{eight_digits, plain_number};

    proptest! {
        #[test]
        fn plain_numbers_are_those_of_the_standard_library(text in "[0-9]{0,8}[.]?[0-9]{0,8}") {
            match plain_number(text.as_bytes()) {
                Some(number) => prop_assert_eq!(Ok(number), text.parse()),
                None => prop_assert!(
                    text.len() > 15 || text.ends_with('.') || text.parse::<f64>().is_err(),
                    "{}", text
                ),
            }
        }

        #[test]
        fn eight_digits_are_those_of_the_standard_library(
            text in "[0-9]{8}", at in 0usize..8, byte: u8,
        ) {
            let mut digits: [u8; 8] = text.as_bytes().try_into().unwrap();
            prop_assert_eq!(eight_digits(digits), text.parse().ok());
            digits[at] = byte;
            let expected = str::from_utf8(&digits)
                .ok()
                .filter(|text| text.bytes().all(|byte| byte.is_ascii_digit()))
                .and_then(|text| text.parse().ok());
            prop_assert_eq!(eight_digits(digits), expected);
        }

        #[test]
        fn nothing_else_is_plain(text in "[-+0-9.e ,]{0,6}") {
            if let Some(number) = plain_number(text.as_bytes()) {
                prop_assert_eq!(Ok(number), text.parse());
            }
        }
    }
}
