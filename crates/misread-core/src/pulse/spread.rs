//! Shortest, median and longest of the durations in a read.

use arrayvec::ArrayVec;

use super::{Line, MAX_PULSES, Pulse, intervals};

/// The shortest, the median and the longest of some durations, in nanoseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spread {
    /// The shortest.
    pub min: u32,
    /// The median; see [`median`].
    pub median: u32,
    /// The longest.
    pub max: u32,
}

impl Spread {
    /// The pulse widths of a line in a read; `None` if it has no complete pulse.
    pub fn of_widths(pulses: &[Pulse], line: Line) -> Option<Self> {
        Self::of(widths(pulses, line))
    }

    /// The pulse intervals of a read; `None` if it has fewer than two pulses.
    pub fn of_intervals(pulses: &[Pulse]) -> Option<Self> {
        Self::of(intervals(pulses))
    }

    /// Of the first [`MAX_PULSES`] durations.
    fn of(durations: impl Iterator<Item = u32>) -> Option<Self> {
        let mut sorted: ArrayVec<u32, MAX_PULSES> = durations.take(MAX_PULSES).collect();
        let median = median(&mut sorted)?;
        Some(Spread { min: *sorted.first()?, median, max: *sorted.last()? })
    }
}

/// The widths of a line's complete pulses.
pub(super) fn widths(pulses: &[Pulse], line: Line) -> impl Iterator<Item = u32> + '_ {
    pulses.iter().filter(move |pulse| pulse.line == line && pulse.complete).map(|pulse| pulse.width)
}

/// The middle one; for an even number of values the mean of the middle two,
/// half a nanosecond rounded down. Sorts the values. `None` if there are none.
pub fn median(values: &mut [u32]) -> Option<u32> {
    values.sort_unstable();
    let upper = *values.get(values.len() / 2)?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = *values.get(values.len() / 2 - 1)?;
    Some(lower + (upper - lower) / 2)
}

/// The [`median`] of values, each with how often it came, the lowest first.
#[cfg(feature = "alloc")]
pub(super) fn median_counted(values: &[(u32, u64)]) -> Option<u32> {
    let all: u64 = values.iter().map(|&(_, count)| count).sum();
    let at = |place: u64| {
        let mut before = 0;
        let found = values.iter().find(|&&(_, count)| {
            before += count;
            before > place
        });
        found.map(|&(value, _)| value)
    };
    let upper = at(all / 2)?;
    if all % 2 == 1 {
        return Some(upper);
    }
    let lower = at(all / 2 - 1)?;
    Some(lower + (upper - lower) / 2)
}
