//! What a read's pulses say to a diagnosis.

use super::{FindingKind, Limits, Line, Pulse, Rhythm, findings};

/// Which of the findings that bear on a cause were looked for in a read, and
/// which were found: `None` was not looked for.
///
/// A finding about a line is looked for where that line pulses in the read,
/// overlapping lines where both do, and a missing beat where the read has at
/// least two intervals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Both lines active at once.
    pub lines_overlap: Option<bool>,
    /// A pulse narrower than half its line's median; on D0, on D1.
    pub short_pulse: [Option<bool>; 2],
    /// Two pulses closer than a quarter of the beat; on D0, on D1.
    pub double_pulse: [Option<bool>; 2],
    /// An interval of two or more beats.
    pub missing_beat: Option<bool>,
}

impl Evidence {
    /// The evidence in a read, in the rhythm of its capture.
    pub fn of(pulses: &[Pulse], rhythm: &Rhythm) -> Evidence {
        let pulsing = Line::BOTH.map(|line| pulses.iter().any(|pulse| pulse.line == line));
        let per_line = pulsing.map(|pulsing| pulsing.then_some(false));
        let mut evidence = Evidence {
            lines_overlap: (pulsing == [true; 2]).then_some(false),
            short_pulse: per_line,
            double_pulse: per_line,
            missing_beat: (pulses.len() > 2).then_some(false),
        };
        let find = |place: &mut Option<bool>| *place = place.map(|_| true);
        for finding in findings(0, pulses, &Limits::default(), rhythm) {
            let line = finding.line.map_or(0, Line::index);
            match finding.kind {
                FindingKind::LinesOverlap => find(&mut evidence.lines_overlap),
                FindingKind::ShortPulse => find(&mut evidence.short_pulse[line]),
                FindingKind::DoublePulse => find(&mut evidence.double_pulse[line]),
                FindingKind::MissingBeat => find(&mut evidence.missing_beat),
                _ => {}
            }
        }
        evidence
    }
}
