//! Tables with a row a change or a pulse: which of the lines a row is about.

use std::io::{BufRead, Seek};

use super::TimeUnit;
use super::cells::line_in;
use super::headings::Headings;
use super::rows::{Row, Stop, each_row};
use crate::capture::error::shown;
use crate::capture::signals::Watch;
use crate::capture::{Activity, CaptureError, Options};
use crate::pulse::Line;

/// What the lines are called in the cells of a column.
pub(super) struct LineNames<'a> {
    /// The names that were given.
    given: [Option<&'a str>; 2],
    seen: [Option<String>; 2],
    /// Whether rows about other signals were passed over.
    passed: bool,
}

impl<'a> LineNames<'a> {
    pub(super) fn new(options: &'a Options) -> Self {
        let given = [options.d0.as_deref(), options.d1.as_deref()];
        LineNames { given, seen: [None, None], passed: false }
    }

    /// The line a row is about; none where both lines have been given and it is
    /// about neither. A name that says nothing is damage behind rows of both
    /// lines or behind a read, and in a row that is cut.
    #[inline(always)]
    pub(super) fn line(
        &mut self,
        row: &Row<'_>,
        column: usize,
        made_reads: bool,
    ) -> Result<Option<Line>, Stop> {
        let cell = row.as_written(column);
        // Byte by byte: names are short, and this is done for every row.
        let is = |line: &Line| {
            self.seen[line.index()].as_ref().is_some_and(|name| cell.iter().eq(name.as_bytes()))
        };
        match Line::BOTH.into_iter().find(is) {
            Some(line) => Ok(Some(line)),
            None => self.another(row, column, made_reads),
        }
    }

    fn another(
        &mut self,
        row: &Row<'_>,
        column: usize,
        made_reads: bool,
    ) -> Result<Option<Line>, Stop> {
        let name = row.text(column)?;
        // As in most rows, but for white space around it.
        let seen = |line: &Line| self.seen[line.index()].as_deref() == Some(name);
        if let Some(line) = Line::BOTH.into_iter().find(seen) {
            return Ok(Some(line));
        }
        match self.told_by(name) {
            Ok(Some(line)) => {
                self.seen[line.index()] = Some(name.to_owned());
                Ok(Some(line))
            }
            Ok(None) => {
                self.passed = true;
                Ok(None)
            }
            Err(found)
                if made_reads
                    || self.seen.iter().all(Option::is_some)
                    || name.is_empty()
                    || !row.is_whole() =>
            {
                Err(row.refuse(column, found, "the name of D0 or of D1"))
            }
            Err(found) => Err(Stop::Unclear(found)),
        }
    }

    /// What is unclear at the end. A name that was given and is on no row is not
    /// the line's where rows were passed over.
    pub(super) fn trouble(&self, stop: Option<&Stop>) -> Option<String> {
        match stop {
            Some(Stop::Unclear(found)) => Some(found.clone()),
            Some(_) => None,
            None => self.missing(),
        }
    }

    fn missing(&self) -> Option<String> {
        let mut lines = self.given.iter().zip(&self.seen);
        let (name, _) = lines.find(|(_, seen)| seen.is_none())?;
        name.filter(|_| self.passed).map(|name| format!("no signal is named ‘{}’", shown(name)))
    }

    pub(super) fn into_names(self) -> [String; 2] {
        let [d0, d1] = self.seen;
        [d0.unwrap_or_else(|| Line::D0.to_string()), d1.unwrap_or_else(|| Line::D1.to_string())]
    }

    fn told_by(&self, name: &str) -> Result<Option<Line>, String> {
        match self.given.map(|given| given == Some(name)) {
            [true, true] => {
                return Err(format!("‘{}’ cannot be both data lines", shown(name)));
            }
            [true, false] => return Ok(Some(Line::D0)),
            [false, true] => return Ok(Some(Line::D1)),
            [false, false] if self.given.iter().all(Option::is_some) => return Ok(None),
            [false, false] => {}
        }
        let line = line_in(name).ok_or_else(|| format!("found ‘{}’", shown(name)))?;
        let taken = self.given[line.index()].or(self.seen[line.index()].as_deref());
        match taken {
            Some(other) => {
                Err(format!("{line} is ‘{}’, and by its name ‘{}’ too", shown(other), shown(name)))
            }
            None => Ok(Some(line)),
        }
    }
}

/// The column that says what happens on the line of a row.
#[derive(Clone, Copy)]
pub(super) enum What {
    Level(usize),
    Width(usize, TimeUnit),
}

/// What happens on each line of a table with a row a change or a pulse; rows
/// that cannot be read are left out.
pub(super) fn activity<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    line: usize,
    what: What,
) -> Result<Vec<Activity>, CaptureError> {
    let mut signals = Signals::default();
    if let What::Level(level) = what {
        each_row(input, headings, |row| {
            if let (Ok(name), Ok(value)) = (row.text(line), row.number(level))
                && row.is_whole()
                && let Some(signal) = signals.named(name)
            {
                signal.low = signal.low.min(value);
                signal.high = signal.high.max(value);
            }
            Ok(())
        })?;
    }
    each_row(input, headings, |row| {
        let time = row.time()?;
        let name = row.text(line).ok().filter(|_| row.is_whole());
        let Some(signal) = name.and_then(|name| signals.named(name)) else { return Ok(()) };
        match what {
            What::Level(level) => {
                if let Ok(value) = row.number(level) {
                    signal.watch.see(time, value > (signal.low + signal.high) / 2.0);
                }
            }
            What::Width(width, unit) => {
                if let Ok(width) = row.duration(width, unit) {
                    signal.watch.see(time, false);
                    signal.watch.see(time, true);
                    signal.watch.see(time.saturating_add(width), false);
                }
            }
        }
        Ok(())
    })?;
    let Signals(signals) = signals;
    Ok(signals.into_iter().map(|signal| signal.watch.into_activity(&signal.name)).collect())
}

#[derive(Default)]
struct Signals(Vec<Signal>);

struct Signal {
    name: String,
    low: f64,
    high: f64,
    watch: Watch,
}

impl Signals {
    /// The signal of that name, unless there are too many to look for two lines
    /// among.
    fn named(&mut self, name: &str) -> Option<&mut Signal> {
        const MOST: usize = 64;
        let at = self.0.iter().position(|signal| signal.name == name).unwrap_or(self.0.len());
        if at == self.0.len() && at < MOST {
            let (low, high) = (f64::INFINITY, f64::NEG_INFINITY);
            self.0.push(Signal { name: name.to_owned(), low, high, watch: Watch::default() });
        }
        self.0.get_mut(at)
    }
}
