//! Captures of the two data lines: from a recorder's file to reads, with what
//! is wrong with their timing.
//!
//! [`read`] takes VCD (IEEE Std 1364-2005, clause 18), FST, or a table in one
//! of three shapes, told apart by its headings:
//!
//! - **levels**, sampled: `time_us,d0,d1`, one row a sample
//! - **changes**: `time_us,line,level`, one row a level change
//! - **pulses**: `time_us,line,width`, one row a pulse
//!
//! The unit of a table's time is in its heading, or given, or seconds. A level
//! is 0 or 1, or a voltage: then the threshold is given, or half way between
//! the two levels the lines are found to rest at.
//!
//! The two signals are found by their names, or given; where that is unclear,
//! the error lists every signal with what happens on it, the likeliest first.
//! A file that is damaged or cut gives the reads before the place, and the
//! place. A row of a table that cannot be read ends it there: what such a row
//! was is not known, so neither is what the reads behind it have lost.
//!
//! [`read`] holds the whole capture in memory. [`open`] does not, however long
//! it is, and [`reads`] goes through it once, for the bits alone.
//!
//! ```
//! use misread::capture::{Options, read};
//!
//! // Presented at the sail loft: 101.
//! let table = "time_us,line,width\n100,D1,50\n1100,D0,50\n2100,D1,48\n";
//! let capture = read(std::io::Cursor::new(table), &Options::default())?;
//! assert_eq!(capture.reads.len(), 1);
//! assert_eq!(capture.reads[0].bits.to_string(), "101");
//! assert_eq!(capture.rhythm.beat, Some(1_000_000));
//! # Ok::<(), misread::capture::CaptureError>(())
//! ```

mod annotate;
mod blocks;
mod contain;
mod error;
mod feed;
mod guard;
mod levels;
mod pass;
mod recording;
mod signals;
mod table;
mod volts;
mod wave;
mod write;

use std::io::{BufRead, Seek};

use crate::Bits;
use crate::pulse::{DEFAULT_SILENCE, Ended, Evidence, Finding, Level, Limits, Pulse, Rest, Rhythm};

pub use error::{CaptureError, Damage, Place};
pub(crate) use feed::Feed;
pub use pass::{Pass, reads};
pub use recording::{Overview, Recording, open};
pub use signals::Activity;
pub(crate) use signals::line_named;
pub use table::TimeUnit;
pub(crate) use table::cells;
pub use write::{Opening, WriteError, write_changes, write_levels, write_pulses, write_vcd};

/// How to read a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// How long both lines are still before a read is over, in nanoseconds.
    pub silence: u32,
    /// The level the lines rest at. Where that is [`Rest::Found`], [`read`] and
    /// [`open`] also find lines that rest at different levels, and go over the
    /// file once more.
    pub rest: Rest,
    /// What timing is allowed. A sample period of 0 is taken from the file: the
    /// time between the rows of a table sampled evenly, the step of a VCD or
    /// FST file's clock.
    pub limits: Limits,
    /// The name of the signal or column that is D0.
    pub d0: Option<String>,
    /// The name of the signal or column that is D1.
    pub d1: Option<String>,
    /// The unit of the times, where the heading of a table or the timescale of a
    /// VCD file does not say.
    pub unit: Option<TimeUnit>,
    /// In a table of voltages, what is high: this many volts or more.
    pub threshold: Option<f64>,
    /// How long the controller ignores the card it has just shown, in
    /// nanoseconds, where it is set to (common practice); see
    /// [`CaptureRead::repeat`].
    pub repeat_window: Option<u64>,
    /// How many pulses [`open`] keeps in memory at most; where a capture has
    /// more, it is gone over again for its reads.
    pub keep: usize,
}

/// How many pulses [`open`] keeps in memory: 8 MB of them.
pub const DEFAULT_KEEP: usize = 500_000;

impl Default for Options {
    fn default() -> Self {
        Options {
            silence: DEFAULT_SILENCE,
            rest: Rest::Found,
            limits: Limits::default(),
            d0: None,
            d1: None,
            unit: None,
            threshold: None,
            repeat_window: None,
            keep: DEFAULT_KEEP,
        }
    }
}

/// What a capture holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// The signals that were taken for D0 and D1.
    pub lines: [String; 2],
    /// The level each line rests at in most of the reads, D0 first. Of a line
    /// that never pulses, where it stands; `None` where that is not told.
    pub idle: [Option<Level>; 2],
    /// The reader's own timing.
    pub rhythm: Rhythm,
    /// The sample period that was reckoned with, in nanoseconds; 0 for exact
    /// times.
    pub sample_period: u32,
    /// In a table of voltages, what was taken for high: this many volts or
    /// more.
    pub threshold: Option<f64>,
    /// The reads, in order.
    pub reads: Vec<CaptureRead>,
    /// What is wrong with the capture as a whole.
    pub findings: Vec<Finding>,
    /// Where the file is damaged or cut, if it is; the reads are those before.
    pub damage: Option<Damage>,
}

/// A read in a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct CaptureRead {
    /// The bits.
    pub bits: Bits,
    /// Their pulses.
    pub pulses: Vec<Pulse>,
    /// The level each line rests at around it, D0 first.
    pub rest: [Level; 2],
    /// What ended it.
    pub ended: Ended,
    /// Whether it is the rest of a read that had too many pulses.
    pub follows_on: bool,
    /// Whether a controller that ignores repeats would not have shown it: it has
    /// the same bits as the last read that was shown, and began less than
    /// [`Options::repeat_window`] after that one began. A repeat does not begin
    /// the window anew (judgement: controllers differ). Without a window no read
    /// is one.
    pub repeat: bool,
    /// What is wrong with its timing, and with the gap before it.
    pub findings: Vec<Finding>,
    /// What its pulses say to a diagnosis.
    pub evidence: Evidence,
}

/// Reads a capture, all of it at once; for one that may be long, see [`open`].
/// The file may be gone over more than once.
///
/// # Errors
///
/// Where there is nothing to be read: input that is no capture, headings that
/// are not understood, signals that cannot be told, or damage before the first
/// change. Damage further on is part of the answer.
pub fn read<R>(input: R, options: &Options) -> Result<Capture, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    recording::read_all(input, options)
}
