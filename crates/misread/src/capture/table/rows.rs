//! The rows of a table, one after the other, up to the first that is damaged.

use std::cell::Cell;
use std::io::{self, BufRead, Seek};

use super::TimeUnit;
use super::headings::Headings;
use crate::capture::error::shown;
use crate::capture::{Damage, Place};
use crate::pulse::Level;

/// Why a walk over the rows stopped before the end.
#[derive(Debug)]
pub(super) enum Stop {
    /// The rest cannot be relied on.
    Damage(Damage),
    /// A level is a voltage, and there is no threshold.
    Voltage,
}

/// One row.
pub(super) struct Row<'a> {
    headings: &'a Headings,
    cells: &'a csv::ByteRecord,
    line: u64,
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
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(headings.delimiter)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(input);
    let mut cells = csv::ByteRecord::new();
    let before = Cell::new(None);
    loop {
        match reader.read_byte_record(&mut cells) {
            Ok(false) => return Ok(None),
            Ok(true) => {}
            Err(error) => match error.into_kind() {
                csv::ErrorKind::Io(error) => return Err(error),
                _ => return Ok(None),
            },
        }
        let line = cells.position().map_or(0, csv::Position::line);
        if line <= headings.line {
            continue;
        }
        let row = Row { headings, cells: &cells, line, before: &before };
        if let Err(stop) = see(&row) {
            return Ok(Some(stop));
        }
    }
}

impl Row<'_> {
    /// The text of a cell.
    pub(super) fn text(&self, column: usize) -> Result<&str, Stop> {
        let Some(cell) = self.cells.get(column) else {
            let found = match self.cells.len() {
                1 => "the row has 1 cell".to_owned(),
                cells => format!("the row has {cells} cells"),
            };
            return Err(self.refuse(column, found, &format!("{} cells", self.headings.count())));
        };
        std::str::from_utf8(cell)
            .map_err(|_| self.refuse(column, "found bytes that are no text".to_owned(), "a number"))
    }

    /// The number in a cell. Where commas do not part the cells, one may be the
    /// decimal point.
    pub(super) fn number(&self, column: usize) -> Result<f64, Stop> {
        let text = self.text(column)?;
        let number = if self.headings.delimiter == b',' || text.contains('.') {
            text.parse().ok()
        } else {
            text.replacen(',', ".", 1).parse().ok()
        };
        number
            .filter(|number: &f64| number.is_finite())
            .ok_or_else(|| self.refuse(column, format!("found ‘{}’", shown(text)), "a number"))
    }

    /// The time of the row in nanoseconds, no earlier than that of the one
    /// before.
    pub(super) fn time(&self) -> Result<i64, Stop> {
        let column = self.headings.time;
        let time = self.nanoseconds(column, self.headings.unit)?;
        if self.before.replace(Some(time)).is_some_and(|before| time < before) {
            return Err(self.refuse(
                column,
                "the time goes back".to_owned(),
                "rows in the order of time",
            ));
        }
        Ok(time)
    }

    /// A duration in nanoseconds, 0 or more.
    pub(super) fn duration(&self, column: usize, unit: TimeUnit) -> Result<i64, Stop> {
        let duration = self.nanoseconds(column, unit)?;
        if duration < 0 {
            return Err(self.refuse(column, "found less than 0".to_owned(), "a duration"));
        }
        Ok(duration)
    }

    /// The level in a cell: 0 or 1, or a voltage against the threshold.
    pub(super) fn level(&self, column: usize, threshold: Option<f64>) -> Result<Level, Stop> {
        let number = self.number(column)?;
        match threshold {
            Some(threshold) => Ok(Level::from(number >= threshold)),
            None if number == 0.0 => Ok(Level::Low),
            None if number == 1.0 => Ok(Level::High),
            None => Err(Stop::Voltage),
        }
    }

    /// Says that a cell is not as it should be.
    pub(super) fn refuse(&self, column: usize, found: String, expected: &str) -> Stop {
        Stop::Damage(Damage {
            place: Place::Line { line: self.line, cell: Some(shown(self.headings.name(column))) },
            found,
            expected: expected.to_owned(),
        })
    }

    fn nanoseconds(&self, column: usize, unit: TimeUnit) -> Result<i64, Stop> {
        // A year and more; exact to the nanosecond up to 104 days.
        const FURTHEST: f64 = 9e16;
        let nanoseconds = (self.number(column)? * unit.nanoseconds()).round();
        if nanoseconds.abs() > FURTHEST {
            return Err(self.refuse(
                column,
                "a time too far off".to_owned(),
                "less than 1000 days",
            ));
        }
        Ok(nanoseconds as i64)
    }
}
