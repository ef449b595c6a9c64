//! Rows with the levels of the two lines: a change of one, or both at a time.

use std::borrow::Cow;

use super::rows::Row;
use crate::capture::cells::{
    LEVELS, LINES, TIMES, column_of, line_in, nanoseconds, number_in, unit_in,
};
use crate::capture::{TimeUnit, line_named};
use crate::file::{LineError, LineProblem, RowReader, delimiter, shown};
use crate::pulse::{Change, Level, Line};

/// The columns of such rows.
#[derive(Debug)]
pub(super) struct LevelRows {
    row: RowReader,
    pub(super) delimiter: u8,
    headings: Vec<String>,
    time: usize,
    unit: TimeUnit,
    /// Whether nothing says that it is.
    pub(super) seconds_taken: bool,
    shape: Shape,
}

/// Which columns hold what.
#[derive(Clone, Copy, Debug)]
enum Shape {
    /// The name of a line, and its level.
    Change { line: usize, level: usize },
    /// The levels of D0 and D1.
    Levels([usize; 2]),
}

impl LevelRows {
    /// By headings, where they are those of level changes in a capture.
    pub(super) fn of_changes(
        delimiter: u8,
        headings: Vec<String>,
        unit: Option<TimeUnit>,
    ) -> Option<Self> {
        let line = column_of(&headings, LINES)?;
        let level = column_of(&headings, LEVELS)?;
        LevelRows::of(delimiter, headings, unit, Shape::Change { line, level })
    }

    /// By headings, where they are those of sampled levels in a capture.
    pub(super) fn of_levels(
        delimiter: u8,
        headings: Vec<String>,
        unit: Option<TimeUnit>,
    ) -> Option<Self> {
        let columns = [column_named(&headings, Line::D0)?, column_named(&headings, Line::D1)?];
        LevelRows::of(delimiter, headings, unit, Shape::Levels(columns))
    }

    fn of(
        delimiter: u8,
        headings: Vec<String>,
        unit: Option<TimeUnit>,
        shape: Shape,
    ) -> Option<Self> {
        let time = column_of(&headings, TIMES)?;
        let said = unit_in(headings.get(time)?).or(unit);
        Some(LevelRows {
            row: RowReader::new(delimiter),
            delimiter,
            headings,
            time,
            unit: said.unwrap_or(TimeUnit::Seconds),
            seconds_taken: said.is_none(),
            shape,
        })
    }

    /// The usual columns, for a row that must be a level change: it has three
    /// cells, the first a number and the second a line's name.
    pub(super) fn without_headings(text: &str, unit: Option<TimeUnit>) -> Option<Self> {
        let delimiter = delimiter(text);
        let cells = RowReader::new(delimiter).cells(text).ok()?;
        let [time, line, _] = cells.as_slice() else { return None };
        line_named(line)?;
        number_in(time, delimiter)?;
        let time = if unit.is_some() { "time" } else { "time_us" };
        let headings = [time, "line", "level"].map(str::to_owned).to_vec();
        LevelRows::of_changes(delimiter, headings, unit)
    }

    /// The cells of a row. Nearly all rows are plain, and samples come by the
    /// hundred thousand a second.
    fn cells<'a>(&mut self, text: &'a str) -> Result<Vec<Cow<'a, str>>, LineProblem> {
        if text.contains(['"', '\r']) {
            return Ok(self.row.cells(text)?.into_iter().map(Cow::Owned).collect());
        }
        let cells = text.split(char::from(self.delimiter));
        Ok(cells.map(|cell| Cow::Borrowed(cell.trim())).collect())
    }

    pub(super) fn row(&mut self, number: usize, text: &str) -> Result<Row, LineError> {
        let cells = self.cells(text).map_err(|problem| LineError::at_line(number, problem))?;
        let expected = self.headings.len();
        let filled = cells.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1);
        if filled > expected {
            let problem = LineProblem::Cells { found: filled, expected };
            return Err(LineError::at_line(number, problem));
        }
        let cell = |column: usize| cells.get(column).map_or("", |cell| &**cell);
        let refuse = |column: usize, expected: &'static str| LineError {
            cell: self.headings.get(column).map(|heading| shown(heading)),
            ..LineError::at_line(number, LineProblem::Cell { found: shown(cell(column)), expected })
        };
        let level_in = |column: usize| match number_in(cell(column), self.delimiter) {
            Some(0.0) => Ok(Level::Low),
            Some(1.0) => Ok(Level::High),
            _ => Err(refuse(column, "a level, 0 or 1")),
        };
        let time = number_in(cell(self.time), self.delimiter)
            .and_then(|time| nanoseconds(time, self.unit))
            .ok_or_else(|| refuse(self.time, if self.seconds_taken { TIME_TAKEN } else { TIME }))?;
        match self.shape {
            Shape::Change { line, level } => {
                let named = line_in(cell(line));
                let line = named.ok_or_else(|| refuse(line, "the name of D0 or of D1"))?;
                Ok(Row::Levels(Change { time, line, level: level_in(level)? }, None))
            }
            Shape::Levels([d0, d1]) => {
                let change = |line, column| Ok(Change { time, line, level: level_in(column)? });
                Ok(Row::Levels(change(Line::D0, d0)?, Some(change(Line::D1, d1)?)))
            }
        }
    }
}

/// What a cell with a time holds.
pub(super) const TIME: &str = "a time, less than 1000 days off";

/// The same where it is taken as seconds for want of a word.
const TIME_TAKEN: &str = "a time, less than 1000 days off; where that is not in seconds, the \
                          heading with its unit, such as time_us";

/// The column with the name of a line, where there is just one.
pub(super) fn column_named(headings: &[String], line: Line) -> Option<usize> {
    let is_it = |heading: &String| line_named(heading) == Some(line);
    let at = headings.iter().position(is_it)?;
    (!headings.iter().skip(at + 1).any(is_it)).then_some(at)
}
