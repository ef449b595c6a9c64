//! Captures written: VCD, and tables in each of the three shapes.
//!
//! Everything goes to a [`Write`], as it comes. A file that must be whole or
//! not there at all is the caller's: write beside it, then rename.

use std::io::{self, Write};

use crate::pulse::{Change, Level, Line, Pulse};

/// Where the lines stand as a capture begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Opening {
    /// When, in nanoseconds.
    pub time: i64,
    /// The levels of D0 and D1.
    pub levels: [Level; 2],
}

/// Both lines high at 0.
impl Default for Opening {
    fn default() -> Self {
        Opening { time: 0, levels: [Level::High; 2] }
    }
}

/// Why a capture could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// It could not be written on.
    #[error("the capture could not be written: {0}")]
    Io(#[from] io::Error),
    /// A row is earlier than the one before.
    #[error("row {row} is at {time} ns, the one before at {before} ns; expected the order of time")]
    Back {
        /// Which of the changes or pulses, from 1.
        row: u64,
        /// Its time in nanoseconds.
        time: i64,
        /// The time of the one before, in nanoseconds.
        before: i64,
    },
    /// A VCD file has no times before 0.
    #[error("the capture begins at {time} ns; expected 0 or later: count from its beginning")]
    BeforeZero {
        /// The time in nanoseconds.
        time: i64,
    },
    /// The date has a word in it that would end it.
    #[error("found ‘$end’ in the date; expected a text without it")]
    Date,
    /// Samples without a period.
    #[error("found a sample period of 0; expected 1 ns or more")]
    Period,
}

/// Writes a VCD file (IEEE Std 1364-2005, clause 18): signals `d0` and `d1` of
/// one bit, a clock of 1 ns, the levels of the opening, then each change.
///
/// The bytes depend on nothing but what is given. Without a date none is
/// written.
///
/// ```
/// use misread::capture::{Opening, Options, read, write_vcd};
/// use misread::pulse::{Level, Timing, send};
///
/// let frame: misread::Bits = "1011".parse()?;
/// let changes = send(&frame, Timing::default(), 5_000_000, Level::High);
/// let mut file = Vec::new();
/// write_vcd(&mut file, None, Opening::default(), changes)?;
/// assert!(file.starts_with(b"$timescale 1 ns $end\n"));
///
/// let capture = read(std::io::Cursor::new(file), &Options::default())?;
/// assert_eq!(capture.reads[0].bits, frame);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
///
/// Where it cannot be written, where times are before 0 or go back, or where
/// the date holds `$end`. What came before has been written by then.
pub fn write_vcd(
    out: impl Write,
    date: Option<&str>,
    opening: Opening,
    changes: impl IntoIterator<Item = Change>,
) -> Result<(), WriteError> {
    let Opening { time: start, levels: [d0, d1] } = opening;
    let mut out = io::BufWriter::new(out);
    if date.is_some_and(|date| date.contains("$end")) {
        return Err(WriteError::Date);
    }
    if start < 0 {
        return Err(WriteError::BeforeZero { time: start });
    }
    if let Some(date) = date {
        writeln!(out, "$date {date} $end")?;
    }
    write!(
        out,
        "$timescale 1 ns $end\n\
         $scope module lines $end\n\
         $var wire 1 {D0} d0 $end\n\
         $var wire 1 {D1} d1 $end\n\
         $upscope $end\n\
         $enddefinitions $end\n\
         #{start}\n\
         $dumpvars\n\
         {}{D0}\n\
         {}{D1}\n\
         $end\n",
        digit(d0),
        digit(d1),
    )?;
    let mut order = Order::since(start);
    for Change { time, line, level } in changes {
        if order.next(time)? {
            writeln!(out, "#{time}")?;
        }
        let code = if line == Line::D0 { D0 } else { D1 };
        writeln!(out, "{}{code}", digit(level))?;
    }
    Ok(out.flush()?)
}

/// Writes a table of changes: `time_ns,line,level`, the levels of the opening
/// in its first two rows.
///
/// Read back, times are exact up to 104 days.
///
/// # Errors
///
/// Where it cannot be written, or where times go back.
pub fn write_changes(
    out: impl Write,
    opening: Opening,
    changes: impl IntoIterator<Item = Change>,
) -> Result<(), WriteError> {
    let mut table = table(out, ["time_ns", "line", "level"])?;
    let mut row = |Change { time, line, level }: Change| {
        let name = if line == Line::D0 { "d0" } else { "d1" };
        record(&mut table, [&time.to_string(), name, digit(level)])
    };
    for line in Line::BOTH {
        row(Change { time: opening.time, line, level: opening.levels[line.index()] })?;
    }
    let mut order = Order::since(opening.time);
    for change in changes {
        order.next(change.time)?;
        row(change)?;
    }
    Ok(table.flush()?)
}

/// Writes a table of pulses: `time_ns,line,width`. It does not say where the
/// lines rest, nor whether the end of a pulse was seen.
///
/// # Errors
///
/// Where it cannot be written, or where the pulses are not in the order of
/// their leading edges.
pub fn write_pulses(
    out: impl Write,
    pulses: impl IntoIterator<Item = Pulse>,
) -> Result<(), WriteError> {
    let mut table = table(out, ["time_ns", "line", "width"])?;
    let mut order = Order::since(i64::MIN);
    for Pulse { start, width, line, .. } in pulses {
        order.next(start)?;
        let name = if line == Line::D0 { "d0" } else { "d1" };
        record(&mut table, [&start.to_string(), name, &width.to_string()])?;
    }
    Ok(table.flush()?)
}

/// Writes a table of samples: `time_ns,d0,d1`, one row every period of that many
/// nanoseconds, from the opening until all changes are seen. A pulse that falls
/// between two samples is lost, as it is to a recorder.
///
/// # Errors
///
/// Where it cannot be written, where times go back, or where the period is 0.
pub fn write_levels(
    out: impl Write,
    opening: Opening,
    period: u32,
    changes: impl IntoIterator<Item = Change>,
) -> Result<(), WriteError> {
    if period == 0 {
        return Err(WriteError::Period);
    }
    let mut table = table(out, ["time_ns", "d0", "d1"])?;
    let Opening { time: mut now, mut levels } = opening;
    let mut order = Order::since(now);
    let mut row = |now: i64, [d0, d1]: [Level; 2]| {
        record(&mut table, [&now.to_string(), digit(d0), digit(d1)])
    };
    for change in changes {
        order.next(change.time)?;
        while now < change.time {
            row(now, levels)?;
            now = now.saturating_add(i64::from(period));
        }
        levels[change.line.index()] = change.level;
    }
    row(now, levels)?;
    Ok(table.flush()?)
}

/// Short names of the two signals in a VCD file.
const D0: char = '!';
const D1: char = '"';

fn digit(level: Level) -> &'static str {
    match level {
        Level::Low => "0",
        Level::High => "1",
    }
}

/// Sees to it that times do not go back.
struct Order {
    row: u64,
    before: i64,
}

impl Order {
    fn since(before: i64) -> Order {
        Order { row: 0, before }
    }

    /// Whether this time is later than the one before.
    fn next(&mut self, time: i64) -> Result<bool, WriteError> {
        let before = std::mem::replace(&mut self.before, time);
        self.row += 1;
        if time < before {
            return Err(WriteError::Back { row: self.row, time, before });
        }
        Ok(time > before)
    }
}

fn table<W: Write>(out: W, headings: [&str; 3]) -> io::Result<csv::Writer<W>> {
    let mut table = csv::Writer::from_writer(out);
    record(&mut table, headings)?;
    Ok(table)
}

fn record<W: Write>(table: &mut csv::Writer<W>, cells: [&str; 3]) -> io::Result<()> {
    table.write_record(cells).map_err(|error| match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    })
}
