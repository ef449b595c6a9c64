//! What a line is: a read, a row of a table, headings.

use super::level_rows::{LevelRows, TIME, column_named};
use crate::capture::TimeUnit;
use crate::capture::cells::{TIMES, nanoseconds, number_in, unit_in, words};
use crate::file::{
    Columns, LineError, LineProblem, RowReader, TableRead, delimiter, is_bits, read_of, shown,
};
use crate::pulse::{Change, Line};

/// What the lines of a stream are, as the last headings say.
#[derive(Debug)]
pub(super) enum Form {
    /// There have been no headings.
    Plain,
    /// Rows of a table of reads.
    Reads { columns: Box<Columns>, time: Option<(usize, TimeUnit)> },
    /// Rows with the levels of the lines.
    Levels(LevelRows),
    /// Rows of a table that is not understood.
    Passed(Passed),
}

/// The headings of a table that is not understood.
#[derive(Debug)]
pub(super) struct Passed {
    delimiter: u8,
    headings: Vec<String>,
    /// Whether one of them says when.
    timed: bool,
}

/// What a line says.
#[derive(Debug)]
pub(super) enum Row {
    /// Headings, or a row without anything in it.
    Nothing,
    /// A read, and when it was by the stream's own time in nanoseconds.
    Read(TableRead, Option<i64>),
    /// A level change, or the levels of both lines at a time.
    Levels(Change, Option<Change>),
}

impl Form {
    /// What a line says; times are in that unit where nothing else is said.
    /// Headings change the form.
    pub(super) fn row(
        &mut self,
        number: usize,
        text: &str,
        unit: Option<TimeUnit>,
    ) -> Result<Row, LineError> {
        // Samples come by the hundred thousand a second.
        if text.contains(char::is_alphabetic) {
            if let Some(form) = Form::of_headings(number, text, unit) {
                *self = form?;
                return Ok(Row::Nothing);
            }
            if let Some(passed) = self.not_understood(text) {
                // Said once, however often they come.
                if matches!(self, Form::Passed(before) if before.headings == passed.headings) {
                    return Ok(Row::Nothing);
                }
                *self = Form::Passed(passed);
                return Err(LineError::at_line(number, LineProblem::Headings));
            }
        }
        match self {
            Form::Plain => without_headings(number, text, unit),
            Form::Reads { columns, time } => {
                let own = match time {
                    Some((column, unit)) => time_in(columns, number, text, *column, *unit)?,
                    None => None,
                };
                let read = columns.read_row(number, text).transpose()?;
                Ok(read.map_or(Row::Nothing, |read| Row::Read(read, own)))
            }
            Form::Levels(rows) => {
                // A device may tell finished reads among the levels.
                let alone = !text.as_bytes().contains(&rows.delimiter);
                let read = alone.then(|| plain(number, text).ok()).flatten();
                read.map_or_else(|| rows.row(number, text), Ok)
            }
            Form::Passed(passed) if passed.is_row(text) => Ok(Row::Nothing),
            Form::Passed(_) => without_headings(number, text, unit),
        }
    }

    /// Whether times are taken as seconds for want of a word.
    pub(super) fn seconds_taken(&self) -> bool {
        matches!(self, Form::Levels(rows) if rows.seconds_taken)
    }

    fn of_headings(
        number: usize,
        text: &str,
        unit: Option<TimeUnit>,
    ) -> Option<Result<Form, LineError>> {
        let headings = RowReader::new(delimiter(text)).cells(text).ok()?;
        if let Some(rows) = LevelRows::of_changes(delimiter(text), headings.clone(), unit) {
            return Some(Ok(Form::Levels(rows)));
        }
        if headings.iter().any(|heading| is_bits(heading)) {
            return Some(Columns::of(number, text).map(|columns| {
                let time = columns.time().map(|(column, heading)| {
                    (column, unit_in(heading).unwrap_or(TimeUnit::Seconds))
                });
                Form::Reads { columns: Box::new(columns), time }
            }));
        }
        LevelRows::of_levels(delimiter(text), headings, unit).map(|rows| Ok(Form::Levels(rows)))
    }

    /// The headings of a line that can only be headings, of another kind of
    /// table. What a device says of itself may have a comma in it too: such a
    /// line says when, or names both lines, or is nothing but names where no
    /// table has been understood.
    fn not_understood(&self, text: &str) -> Option<Passed> {
        let delimiter = delimiter(text);
        let headings = RowReader::new(delimiter).cells(text).ok()?;
        let is_time = |heading: &String| {
            let words = words(heading);
            let mut words = words.iter().map(String::as_str);
            words.next().is_some_and(|word| TIMES.contains(&word))
                && words.next().is_none_or(|word| TimeUnit::named(word).is_some())
        };
        let timed = headings.iter().any(is_time);
        let both = || Line::BOTH.iter().all(|&line| column_named(&headings, line).is_some());
        let names = || matches!(self, Form::Plain | Form::Passed(_)) && !text.trim().contains(' ');
        (headings.len() > 1
            && headings.iter().all(|heading| is_name(heading))
            && read_of(text).is_err()
            && (timed || both() || names()))
        .then_some(Passed { delimiter, headings, timed })
    }
}

impl Passed {
    /// Whether a line has the shape of the table's rows. That of a level change
    /// without headings is one where the table says nothing of time.
    fn is_row(&self, text: &str) -> bool {
        let count = |cells: Vec<String>| cells.len() == self.headings.len();
        RowReader::new(self.delimiter).cells(text).is_ok_and(count)
            && (self.timed || LevelRows::without_headings(text, None).is_none())
    }
}

/// A name as in a heading, its unit in brackets perhaps.
fn is_name(heading: &str) -> bool {
    heading.starts_with(char::is_alphabetic)
        && heading.chars().all(|c| c.is_alphanumeric() || "-_./ ()[]".contains(c))
}

/// A line that stands under no headings.
fn without_headings(number: usize, text: &str, unit: Option<TimeUnit>) -> Result<Row, LineError> {
    match LevelRows::without_headings(text, unit) {
        Some(mut rows) => rows.row(number, text),
        None => plain(number, text),
    }
}

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
