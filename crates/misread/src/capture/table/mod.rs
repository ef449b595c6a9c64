//! Captures as tables, in three shapes told apart by their headings.

pub(crate) mod cells;
mod headings;
mod names;
mod rows;

use std::io::{BufRead, Seek};

use super::levels::{Enough, Levels, See};
use super::pass::Pass;
use super::signals::{Watch, unclear};
use super::volts;
use super::{Activity, CaptureError, Options};
use crate::pulse::{Level, Line, Rest};

use headings::{Headings, Shape};
use names::{LineNames, What};
use rows::{Stop, each_row};

/// The unit of a file's times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeUnit {
    /// s
    Seconds,
    /// ms
    Milliseconds,
    /// µs
    Microseconds,
    /// ns
    Nanoseconds,
    /// ps
    Picoseconds,
}

impl TimeUnit {
    /// The unit of that short name: `s`, `ms`, `us`, `ns` or `ps`.
    pub fn named(name: &str) -> Option<Self> {
        Some(match name {
            "s" | "sec" | "seconds" => TimeUnit::Seconds,
            "ms" => TimeUnit::Milliseconds,
            "us" | "µs" | "μs" => TimeUnit::Microseconds,
            "ns" => TimeUnit::Nanoseconds,
            "ps" => TimeUnit::Picoseconds,
            _ => return None,
        })
    }

    /// The name in full, in the plural: `microseconds`.
    pub fn name(self) -> &'static str {
        match self {
            TimeUnit::Seconds => "seconds",
            TimeUnit::Milliseconds => "milliseconds",
            TimeUnit::Microseconds => "microseconds",
            TimeUnit::Nanoseconds => "nanoseconds",
            TimeUnit::Picoseconds => "picoseconds",
        }
    }

    /// How many nanoseconds it is.
    pub(crate) fn nanoseconds(self) -> f64 {
        self.whole_nanoseconds().map_or(1e-3, |whole| whole as f64)
    }

    /// None for picoseconds.
    pub(in crate::capture) fn whole_nanoseconds(self) -> Option<u64> {
        match self {
            TimeUnit::Seconds => Some(1_000_000_000),
            TimeUnit::Milliseconds => Some(1_000_000),
            TimeUnit::Microseconds => Some(1_000),
            TimeUnit::Nanoseconds => Some(1),
            TimeUnit::Picoseconds => None,
        }
    }
}

pub(super) fn read<R: BufRead + Seek>(
    mut input: R,
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError> {
    let headings = headings::find(&mut input, options)?;
    match headings.shape {
        Shape::Unclear(ref found) => {
            let signals = activity(&mut input, &headings)?;
            Err(unclear(found.clone(), signals))
        }
        Shape::Levels(columns) => read_levels(&mut input, &headings, columns, options, see),
        Shape::Changes { line, level } => {
            read_changes(&mut input, &headings, [line, level], options, see)
        }
        Shape::Pulses { line, width, unit } => {
            let names = [line, width];
            read_pulses(&mut input, &headings, names, unit, options, see)
        }
    }
}

/// What each row so far says about how far apart samples are.
#[derive(Default)]
struct Spacing {
    first: Option<i64>,
    last: i64,
    rows: i64,
    shortest: Option<i64>,
    longest: i64,
}

impl Spacing {
    fn row(&mut self, time: i64) {
        if self.first.is_none() {
            self.first = Some(time);
        } else {
            let gap = time.saturating_sub(self.last);
            self.shortest = Some(self.shortest.map_or(gap, |shortest| shortest.min(gap)));
            self.longest = self.longest.max(gap);
            self.rows += 1;
        }
        self.last = time;
    }

    /// The sample period in nanoseconds, where the rows are evenly spaced; rows
    /// that are not are written as something changes.
    fn period(&self) -> u32 {
        let (Some(first), Some(shortest)) = (self.first, self.shortest) else { return 0 };
        if self.rows < 2 || self.longest > shortest.saturating_add(shortest / 2).max(1) {
            return 0;
        }
        let period = self.last.saturating_sub(first) / self.rows;
        u32::try_from(period).unwrap_or(u32::MAX)
    }
}

/// What a walk over the rows has given.
struct Walked<'a> {
    levels: Levels<'a>,
    names: [String; 2],
    sample_period: u32,
    stop: Option<Stop>,
}

fn read_levels<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    columns: [usize; 2],
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError> {
    with_threshold(input, headings, &columns, options, see, |input, see, threshold| {
        let mut levels = Levels::new(options, see);
        let mut spacing = Spacing::default();
        let mut before = [None; 2];
        let stop = each_row(input, headings, |row| {
            let time = row.time()?;
            let [d0, d1] = columns;
            let now = [
                row.level(d0, threshold, levels.has_given())?,
                row.level(d1, threshold, levels.has_given())?,
            ];
            spacing.row(time);
            for (line, level) in Line::BOTH.into_iter().zip(now) {
                if before[line.index()].replace(level) != Some(level) {
                    levels.level(time, line, level)?;
                }
            }
            Ok(())
        })?;
        // Where the rows stop at damage, the lines still stood so in the last.
        if spacing.first.is_some() && !matches!(stop, Some(Stop::Enough)) {
            let _ = levels.still_at(spacing.last);
        }
        let names = columns.map(|column| headings.name(column).to_owned());
        Ok(Walked { levels, names, sample_period: spacing.period(), stop })
    })
}

fn read_changes<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    [line, level]: [usize; 2],
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError> {
    with_threshold(input, headings, &[level], options, see, |input, see, threshold| {
        let mut levels = Levels::new(options, see);
        let mut names = LineNames::new(options);
        let stop = each_row(input, headings, |row| {
            let time = row.time()?;
            let Some(line) = names.line(row, line, levels.has_given())? else { return Ok(()) };
            let level = row.level(level, threshold, levels.has_given())?;
            levels.level(time, line, level)?;
            Ok(())
        })?;
        if let Some(found) = names.trouble(stop.as_ref()) {
            return Err(unclear(
                found,
                names::activity(input, headings, line, What::Level(level))?,
            ));
        }
        Ok(Walked { levels, names: names.into_names(), sample_period: 0, stop })
    })
}

/// Walks once; where voltages are met, finds their threshold and walks again.
fn with_threshold<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    columns: &[usize],
    options: &Options,
    see: &mut See<'_>,
    walk: impl for<'s> Fn(&mut R, &'s mut See<'_>, Option<f64>) -> Result<Walked<'s>, CaptureError>,
) -> Result<Pass, CaptureError> {
    let walked = walk(input, see, options.threshold)?;
    if !matches!(walked.stop, Some(Stop::Voltage)) {
        return finish(walked, headings, options.threshold);
    }
    let threshold = volts::threshold(|see| {
        each_row(input, headings, |row| {
            columns.iter().try_for_each(|&column| row.number(column).map(&mut *see))
        })
        .map(|_| ())
    })?;
    finish(walk(input, see, Some(threshold))?, headings, Some(threshold))
}

fn read_pulses<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
    [line, width]: [usize; 2],
    unit: TimeUnit,
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError> {
    let rest = match options.rest {
        Rest::At(level) => [level; 2],
        Rest::Each(levels) => levels,
        // A table of pulses does not say which way they go.
        Rest::Found => [Level::High; 2],
    };
    let mut levels = Levels::new(options, see);
    let mut names = LineNames::new(options);
    // When each line's pulse is over, if it is not yet.
    let mut ends: [Option<i64>; 2] = [None; 2];
    let stop = each_row(input, headings, |row| {
        let time = row.time()?;
        let Some(line) = names.line(row, line, levels.has_given())? else { return Ok(()) };
        let end = time.saturating_add(row.duration(width, unit)?);
        if !levels.has_any() {
            for line in Line::BOTH {
                levels.level(time, line, rest[line.index()])?;
            }
        }
        end_pulses(&mut levels, &mut ends, time, rest)?;
        if ends[line.index()].is_some_and(|end| end > time) {
            return Err(row.refuse(
                headings.time,
                format!("{line} pulses again before its pulse is over"),
                "pulses of a line one after the other",
            ));
        }
        levels.level(time, line, rest[line.index()].other())?;
        ends[line.index()] = Some(end);
        Ok(())
    })?;
    if let Some(found) = names.trouble(stop.as_ref()) {
        return Err(unclear(
            found,
            names::activity(input, headings, line, What::Width(width, unit))?,
        ));
    }
    if !matches!(stop, Some(Stop::Enough)) {
        let _ = end_pulses(&mut levels, &mut ends, i64::MAX, rest);
    }
    finish(Walked { levels, names: names.into_names(), sample_period: 0, stop }, headings, None)
}

/// Brings the lines whose pulse is over by then back to rest, in order.
fn end_pulses(
    levels: &mut Levels<'_>,
    ends: &mut [Option<i64>; 2],
    by: i64,
    rest: [Level; 2],
) -> Result<(), Enough> {
    let mut lines = Line::BOTH;
    lines.sort_by_key(|line| ends[line.index()]);
    for line in lines {
        if let Some(end) = ends[line.index()].take_if(|end| *end <= by) {
            levels.level(end, line, rest[line.index()])?;
        }
    }
    Ok(())
}

fn finish(
    walked: Walked<'_>,
    headings: &Headings,
    threshold: Option<f64>,
) -> Result<Pass, CaptureError> {
    let Walked { levels, names: lines, sample_period, stop } = walked;
    let damage = match stop {
        Some(Stop::Damage(damage)) => Some(damage),
        Some(Stop::Voltage | Stop::Unclear(_) | Stop::Enough) | None => None,
    };
    let damage = levels.finish(damage)?;
    let unit_taken = headings.unit_taken.then_some(TimeUnit::Seconds);
    Ok(Pass { lines, sample_period, threshold, unit_taken, damage })
}

/// What happens in each column but the time; one with a cell that is no number
/// is left out.
fn activity<R: BufRead + Seek>(
    input: &mut R,
    headings: &Headings,
) -> Result<Vec<Activity>, CaptureError> {
    let columns: Vec<usize> = (0..headings.count()).filter(|&c| c != headings.time).collect();
    let mut ranges = vec![Some((f64::INFINITY, f64::NEG_INFINITY)); columns.len()];
    each_row(input, headings, |row| {
        for (range, &column) in ranges.iter_mut().zip(&columns) {
            *range = match (*range, row.number(column)) {
                (Some((low, high)), Ok(value)) => Some((low.min(value), high.max(value))),
                _ => None,
            };
        }
        Ok(())
    })?;
    let mut watches = vec![Watch::default(); columns.len()];
    each_row(input, headings, |row| {
        let time = row.time()?;
        for ((watch, range), &column) in watches.iter_mut().zip(&ranges).zip(&columns) {
            if let (Some((low, high)), Ok(value)) = (range, row.number(column)) {
                watch.see(time, value > (low + high) / 2.0);
            }
        }
        Ok(())
    })?;
    Ok(watches
        .into_iter()
        .zip(ranges)
        .zip(columns)
        .filter(|((_, range), _)| range.is_some())
        .map(|((watch, _), column)| watch.into_activity(headings.name(column)))
        .collect())
}
