//! A reader's own timing: its beat and how wide its pulses are.

#[cfg(feature = "alloc")]
mod durations;
#[cfg(feature = "alloc")]
mod find;

use super::Line;
#[cfg(feature = "alloc")]
use super::{Limits, Pulse, intervals, spread};

#[cfg(feature = "alloc")]
pub use find::beat;

#[cfg(feature = "alloc")]
use durations::Durations;

/// A reader's own timing, as a whole capture shows it, in nanoseconds.
///
/// [`Rhythm::of`] finds it, or [`RhythmTally`] read by read (with the `alloc`
/// feature). Without it, or for a reader whose timing is known, fill it in. What is `None` is not looked at.
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

/// Finds the rhythm of a capture of any length, read by read, in at most some
/// 2 MB.
///
/// It is that of [`Rhythm::of`], to the nanosecond, while there are no more than
/// 16 384 different intervals, and as many widths of each line. Beyond that they
/// are told apart in steps of 2 ns, 4 ns and so on, and the rhythm may be off by
/// half a step.
///
/// ```
/// use misread_core::pulse::{Limits, Line, Pulse, Rhythm, RhythmTally};
///
/// let pulse = |start, line| Pulse { start, width: 50_000, line, complete: true };
/// let read = [pulse(0, Line::D1), pulse(1_000_000, Line::D0), pulse(2_000_000, Line::D0)];
/// let mut tally = RhythmTally::default();
/// tally.count(&read);
/// let rhythm = tally.rhythm(&Limits::default());
/// assert_eq!(rhythm, Rhythm { beat: Some(1_000_000), width: [Some(50_000); 2] });
/// assert_eq!(rhythm, Rhythm::of([&read[..]], &Limits::default()));
/// ```
#[cfg(feature = "alloc")]
#[derive(Clone, Debug, Default)]
pub struct RhythmTally {
    intervals: Durations,
    widths: [Durations; 2],
}

#[cfg(feature = "alloc")]
impl RhythmTally {
    /// Counts the pulses of a read in.
    pub fn count(&mut self, pulses: &[Pulse]) {
        intervals(pulses).for_each(|interval| self.intervals.add(interval));
        for pulse in pulses.iter().filter(|pulse| pulse.complete) {
            self.widths[pulse.line.index()].add(pulse.width);
        }
    }

    /// The rhythm of the reads so far; the limits say which intervals are too
    /// short to be a bit period.
    pub fn rhythm(&mut self, limits: &Limits) -> Rhythm {
        let all = self.intervals.counted();
        let shortest = limits.interval.shortest;
        let too_short = all.partition_point(|&(interval, _)| limits.is_below(interval, shortest));
        Rhythm {
            beat: find::beat_counted(all.get(too_short..).unwrap_or_default()),
            width: self.widths.each_mut().map(|widths| spread::median_counted(widths.counted())),
        }
    }

    /// The step in which the intervals are told apart, in nanoseconds: 1 unless
    /// there are too many different ones.
    pub fn step(&self) -> u32 {
        self.intervals.step()
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
