//! Pulses on D0 and D1: assembling them into reads, and whether their timing
//! is sound.
//!
//! Both lines rest at one level, high as a rule. A pulse on D0 is a 0, a pulse
//! on D1 is a 1; a read ends when both have been still for a while.
//!
//! 1. An [`Assembler`] takes level [`Change`]s as they happen and gives out
//!    finished [`Read`]s, each bit with its [`Pulse`]. It keeps its pulses in
//!    place, in a buffer that never grows, and takes whatever comes.
//! 2. [`Limits`] say what timing is allowed, [`Rhythm`] what this reader's own
//!    is. [`findings`] and [`between`] hold a read against both, [`Tally`] looks
//!    at a capture as a whole, and [`Evidence`] is what a diagnosis needs of it.
//! 3. [`send`] goes the other way: the level changes of a frame.
//!
//! Moments are integer nanoseconds in an `i64`, from any zero the caller likes.
//! Durations are integer nanoseconds in a `u32`, up to 4.29 seconds; longer
//! ones stay at [`u32::MAX`].
//!
//! ```
//! use misread_core::pulse::{
//!     Assembler, Level, Limits, Line, Rhythm, Settings, Timing, findings, send,
//! };
//!
//! let frame = "10010101000000100110100100".parse()?;
//! let mut assembler = Assembler::new(Settings::default());
//! for change in send(&frame, Timing::default(), 0, Level::High) {
//!     assert!(assembler.feed(change).is_none());
//! }
//! // 25 ms after the last change the read is finished.
//! let read = assembler.tick(60_000_000).expect("the lines have been still for long");
//! assert_eq!(read.bits(), frame);
//! assert_eq!(read.pulses()[1].start, 1_000_000);
//! assert_eq!(read.rest(Line::D0), Level::High);
//! assert_eq!(findings(0, read.pulses(), &Limits::default(), &Rhythm::default()).count(), 0);
//! # Ok::<(), misread_core::bits::TextError>(())
//! ```

mod assembler;
mod evidence;
mod finding;
mod limits;
mod look;
mod read;
mod rhythm;
mod send;
mod spread;
#[cfg(test)]
mod tests;

use core::fmt;

use crate::bits::{Bit, Bits, MAX_BITS};

pub use assembler::{Assembler, DEFAULT_SILENCE, Rest, Settings};
pub use evidence::Evidence;
pub use finding::{Finding, FindingKind};
pub use limits::{Bounds, Limits};
pub use look::{Tally, between, findings};
pub use read::{Ended, Read};
pub use rhythm::{Rhythm, multiple_of};
pub use send::{Timing, send};
pub use spread::{Spread, median};

#[cfg(feature = "alloc")]
pub use rhythm::{RhythmTally, beat};

/// The most pulses in one read; more end it.
pub const MAX_PULSES: usize = MAX_BITS;

/// One of the two data lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Line {
    /// Pulses for 0.
    D0 = 0,
    /// Pulses for 1.
    D1 = 1,
}

impl Line {
    /// D0, then D1.
    pub const BOTH: [Line; 2] = [Line::D0, Line::D1];

    /// 0 for D0, 1 for D1: its place in an array of two.
    #[inline]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The bit a pulse on this line stands for.
    #[inline]
    pub const fn bit(self) -> Bit {
        match self {
            Line::D0 => Bit::Zero,
            Line::D1 => Bit::One,
        }
    }

    /// The other one.
    pub const fn other(self) -> Line {
        match self {
            Line::D0 => Line::D1,
            Line::D1 => Line::D0,
        }
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Line::D0 => "D0",
            Line::D1 => "D1",
        })
    }
}

/// The level of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Level {
    /// Near common.
    Low = 0,
    /// Near the supply of the pull-up.
    High = 1,
}

impl Level {
    /// The other one.
    #[inline]
    pub const fn other(self) -> Level {
        match self {
            Level::Low => Level::High,
            Level::High => Level::Low,
        }
    }
}

/// `true` is high.
impl From<bool> for Level {
    #[inline]
    fn from(high: bool) -> Self {
        if high { Level::High } else { Level::Low }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Level::Low => "low",
            Level::High => "high",
        })
    }
}

/// A line taking a level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Change {
    /// When, in nanoseconds.
    pub time: i64,
    /// Which line.
    pub line: Line,
    /// The level from then on.
    pub level: Level,
}

/// One line away from its resting level for a while: one bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pulse {
    /// The leading edge, in nanoseconds.
    pub start: i64,
    /// Leading to trailing edge, in nanoseconds; [`u32::MAX`] for anything
    /// longer than that.
    pub width: u32,
    /// Which line.
    pub line: Line,
    /// Whether the trailing edge was seen. Where it was not, `width` is how
    /// long the pulse had lasted when the read ended.
    pub complete: bool,
}

impl Pulse {
    /// The trailing edge, in nanoseconds; held at the last moment there is.
    pub fn end(&self) -> i64 {
        self.start.saturating_add(i64::from(self.width))
    }

    /// How long both pulses were active at once, in nanoseconds.
    pub fn overlap(&self, other: &Pulse) -> u32 {
        duration(self.start.max(other.start), self.end().min(other.end()))
    }
}

/// The bits of pulses in the order of their leading edges; what is over
/// [`MAX_PULSES`] is left out.
pub fn bits_of(pulses: &[Pulse]) -> Bits {
    pulses.iter().map(|pulse| pulse.line.bit()).collect()
}

/// Leading edge to leading edge of one pulse and the next, in nanoseconds.
pub fn intervals(pulses: &[Pulse]) -> impl Iterator<Item = u32> + '_ {
    pulses.windows(2).filter_map(|pair| match pair {
        [first, second] => Some(duration(first.start, second.start)),
        _ => None,
    })
}

/// From one moment to a later one, at most [`u32::MAX`]; 0 if it is not later.
fn duration(from: i64, to: i64) -> u32 {
    if to <= from { 0 } else { u32::try_from(elapsed(from, to)).unwrap_or(u32::MAX) }
}

/// From one moment to a later one. For an earlier one, a number above
/// [`i64::MAX`] unless they are more than that apart.
#[inline]
const fn elapsed(from: i64, to: i64) -> u64 {
    (to as u64).wrapping_sub(from as u64)
}
