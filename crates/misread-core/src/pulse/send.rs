//! The level changes of a frame, as a reader sends it.

use crate::bits::{Bit, Bits};

use super::{Change, Level, Line};

/// The timing of a reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// Pulse width, in nanoseconds.
    pub width: u32,
    /// Pulse interval, leading edge to leading edge, in nanoseconds.
    pub interval: u32,
}

/// 50 µs every 1 ms: a typical reader (common practice).
impl Default for Timing {
    fn default() -> Self {
        Timing { width: 50_000, interval: 1_000_000 }
    }
}

/// The level changes of a frame: two a bit, the first at `start`, in the order
/// of time if the width is not above the interval.
///
/// An unread bit takes its time and sends nothing. Moments past the last there
/// is stay at the last.
pub fn send(
    frame: &Bits,
    timing: Timing,
    start: i64,
    rest: Level,
) -> impl Iterator<Item = Change> + '_ {
    frame.iter().enumerate().flat_map(move |(index, bit)| {
        let line = match bit {
            Bit::Zero => Some(Line::D0),
            Bit::One => Some(Line::D1),
            Bit::Unread => None,
        };
        let offset = i64::from(timing.interval).saturating_mul(index as i64);
        let lead = start.saturating_add(offset);
        let trail = lead.saturating_add(i64::from(timing.width));
        line.into_iter().flat_map(move |line| {
            [
                Change { time: lead, line, level: rest.other() },
                Change { time: trail, line, level: rest },
            ]
        })
    })
}
