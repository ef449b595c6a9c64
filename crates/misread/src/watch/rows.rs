//! What a line is: a read, a row of a table, a level change, headings.

use crate::capture::cells::{
    LEVELS, LINES, TIMES, column_of, line_in, nanoseconds, number_in, unit_in,
};
use crate::capture::{TimeUnit, line_named};
use crate::file::{
    Columns, LineError, LineProblem, RowReader, TableRead, delimiter, is_bits, read_of, shown,
};
use crate::pulse::{Change, Level};

/// What the lines of a stream are, as the last headings say.
#[derive(Debug)]
pub(super) enum Form {
    /// There have been no headings.
    Plain,
    /// Rows of a table of reads.
    Reads { columns: Box<Columns>, time: Option<(usize, TimeUnit)> },
    /// Level changes.
    Changes(Changes),
}

/// What a line says.
#[derive(Debug)]
pub(super) enum Row {
    /// Headings, or a row without anything in it.
    Nothing,
    /// A read, and when it was by the stream's own time in nanoseconds.
    Read(TableRead, Option<i64>),
    /// A level change.
    Change(Change),
}

impl Form {
    /// What a line says. Headings change the form.
    pub(super) fn row(&mut self, number: usize, text: &str) -> Result<Row, LineError> {
        if let Some(form) = Form::of_headings(number, text) {
            *self = form?;
            return Ok(Row::Nothing);
        }
        match self {
            Form::Plain => match Changes::without_headings(text) {
                Some(mut changes) => changes.row(number, text).map(Row::Change),
                None => plain(number, text),
            },
            Form::Reads { columns, time } => {
                let own = match time {
                    Some((column, unit)) => time_in(columns, number, text, *column, *unit)?,
                    None => None,
                };
                let read = columns.read_row(number, text).transpose()?;
                Ok(read.map_or(Row::Nothing, |read| Row::Read(read, own)))
            }
            Form::Changes(changes) => {
                // A device may tell finished reads among the changes.
                let alone = !text.as_bytes().contains(&changes.delimiter);
                match plain(number, text) {
                    Ok(read) if alone => Ok(read),
                    _ => changes.row(number, text).map(Row::Change),
                }
            }
        }
    }

    fn of_headings(number: usize, text: &str) -> Option<Result<Form, LineError>> {
        let headings = RowReader::new(delimiter(text)).cells(text).ok()?;
        if let Some(changes) = Changes::of(delimiter(text), headings.clone()) {
            return Some(Ok(Form::Changes(changes)));
        }
        if !headings.iter().any(|heading| is_bits(heading)) {
            return None;
        }
        Some(Columns::of(number, text).map(|columns| {
            let time = columns.time().map(|(column, heading)| (column, unit_of(heading)));
            Form::Reads { columns: Box::new(columns), time }
        }))
    }
}

/// The columns of level changes.
#[derive(Debug)]
pub(super) struct Changes {
    row: RowReader,
    delimiter: u8,
    headings: Vec<String>,
    time: usize,
    unit: TimeUnit,
    line: usize,
    level: usize,
}

impl Changes {
    /// By headings, where they are those of level changes in a capture.
    fn of(delimiter: u8, headings: Vec<String>) -> Option<Self> {
        let time = column_of(&headings, TIMES)?;
        let line = column_of(&headings, LINES)?;
        let level = column_of(&headings, LEVELS)?;
        let unit = unit_of(headings.get(time)?);
        let row = RowReader::new(delimiter);
        Some(Changes { row, delimiter, headings, time, unit, line, level })
    }

    /// The usual columns, for a row that must be a level change: it has three
    /// cells, the first a number and the second a line's name.
    fn without_headings(text: &str) -> Option<Self> {
        let delimiter = delimiter(text);
        let cells = RowReader::new(delimiter).cells(text).ok()?;
        let [time, line, _] = cells.as_slice() else { return None };
        line_named(line)?;
        number_in(time, delimiter)?;
        let headings = ["time_us", "line", "level"].map(str::to_owned).to_vec();
        Changes::of(delimiter, headings)
    }

    fn row(&mut self, number: usize, text: &str) -> Result<Change, LineError> {
        let cells = self.row.cells(text).map_err(|problem| LineError::at_line(number, problem))?;
        let expected = self.headings.len();
        let filled = cells.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1);
        if filled > expected {
            let problem = LineProblem::Cells { found: filled, expected };
            return Err(LineError::at_line(number, problem));
        }
        let cell = |column: usize| cells.get(column).map_or("", String::as_str);
        let refuse = |column: usize, expected: &'static str| LineError {
            cell: self.headings.get(column).map(|heading| shown(heading)),
            ..LineError::at_line(number, LineProblem::Cell { found: shown(cell(column)), expected })
        };
        let time = number_in(cell(self.time), self.delimiter)
            .and_then(|time| nanoseconds(time, self.unit))
            .ok_or_else(|| refuse(self.time, TIME))?;
        let line =
            line_in(cell(self.line)).ok_or_else(|| refuse(self.line, "the name of D0 or of D1"))?;
        let level = match number_in(cell(self.level), self.delimiter) {
            Some(0.0) => Level::Low,
            Some(1.0) => Level::High,
            _ => return Err(refuse(self.level, "a level, 0 or 1")),
        };
        Ok(Change { time, line, level })
    }
}

const TIME: &str = "a time, less than 1000 days off";

/// A line that is a read.
fn plain(number: usize, text: &str) -> Result<Row, LineError> {
    match read_of(text) {
        Ok(bits) => {
            Ok(Row::Read(TableRead { line: number as u64, bits, expected: Vec::new() }, None))
        }
        Err((column, problem)) => Err(LineError { column, ..LineError::at_line(number, problem) }),
    }
}

/// When a row of a table says it was, in nanoseconds.
fn time_in(
    columns: &mut Columns,
    number: usize,
    text: &str,
    column: usize,
    unit: TimeUnit,
) -> Result<Option<i64>, LineError> {
    let refuse = |problem| LineError::at_line(number, problem);
    let cells = columns.cells(text).map_err(refuse)?;
    let Some(cell) = cells.get(column).filter(|cell| !cell.is_empty()) else { return Ok(None) };
    match number_in(cell, columns.delimiter).and_then(|time| nanoseconds(time, unit)) {
        Some(time) => Ok(Some(time)),
        None => {
            let problem = LineProblem::Cell { found: shown(cell), expected: TIME };
            let heading = columns.time().map(|(_, heading)| shown(heading));
            Err(LineError { cell: heading, ..refuse(problem) })
        }
    }
}

/// The unit of a time's heading: its own, or seconds.
fn unit_of(heading: &str) -> TimeUnit {
    unit_in(heading).unwrap_or(TimeUnit::Seconds)
}
