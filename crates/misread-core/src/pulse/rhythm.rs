//! A reader's own timing: its beat and how wide its pulses are.

#[cfg(feature = "alloc")]
mod find;

use super::Line;
#[cfg(feature = "alloc")]
use super::{Limits, Pulse, intervals, spread};

#[cfg(feature = "alloc")]
pub use find::beat;

/// A reader's own timing, as a whole capture shows it, in nanoseconds.
///
/// [`Rhythm::of`] finds it (with the `alloc` feature). Without it, or for a
/// reader whose timing is known, fill it in. What is `None` is not looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rhythm {
    /// The beat: the period in which the reader sends its bits.
    pub beat: Option<u32>,
    /// The median pulse width of each line, D0 first.
    pub width: [Option<u32>; 2],
}

impl Rhythm {
    /// The rhythm of all the reads of a capture.
    ///
    /// Intervals below the shortest one allowed are no bit period and are left
    /// out. A pulse whose end was not seen has no width.
    #[cfg(feature = "alloc")]
    pub fn of<'a>(reads: impl IntoIterator<Item = &'a [Pulse]>, limits: &Limits) -> Rhythm {
        let mut periods = alloc::vec::Vec::new();
        let mut widths = [alloc::vec::Vec::new(), alloc::vec::Vec::new()];
        for pulses in reads {
            periods.extend(
                intervals(pulses)
                    .filter(|&interval| !limits.is_below(interval, limits.interval.shortest)),
            );
            for line in Line::BOTH {
                widths[line.index()].extend(spread::widths(pulses, line));
            }
        }
        Rhythm {
            beat: beat(&mut periods),
            width: widths.map(|mut widths| super::median(&mut widths)),
        }
    }

    /// The median pulse width of a line.
    pub fn width_of(&self, line: Line) -> Option<u32> {
        self.width[line.index()]
    }
}

/// How many beats an interval is: its nearest multiple of the beat, 1 or more,
/// if that is within 15 % of a beat.
pub fn multiple_of(interval: u32, beat: u32) -> Option<u32> {
    if beat == 0 {
        return None;
    }
    let nearest = (u64::from(interval) + u64::from(beat) / 2) / u64::from(beat);
    let nearest = nearest.max(1);
    let off = u64::from(interval).abs_diff(nearest * u64::from(beat));
    if off * 20 <= u64::from(beat) * 3 { u32::try_from(nearest).ok() } else { None }
}
