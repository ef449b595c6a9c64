//! What a capture of the lines says of a cause: which findings are looked for
//! in a read, and how likely each is under each cause.

use misread_core::pulse::{Evidence, FindingKind, Line};

use super::Cause;

/// A finding that bears on the cause, as it is looked for in one read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sought {
    /// Both lines active at once.
    LinesOverlap,
    /// A pulse on this line narrower than half its median.
    ShortPulse(Line),
    /// Two pulses on this line closer than a quarter of the beat.
    DoublePulse(Line),
    /// An interval of two or more beats.
    MissingBeat,
}

impl Sought {
    /// Everything that is looked for.
    pub const ALL: [Sought; 6] = [
        Sought::LinesOverlap,
        Sought::ShortPulse(Line::D0),
        Sought::ShortPulse(Line::D1),
        Sought::DoublePulse(Line::D0),
        Sought::DoublePulse(Line::D1),
        Sought::MissingBeat,
    ];

    /// Its id, as in a priors file: that of the finding, and the line where it
    /// is looked for on each.
    pub const fn id(self) -> &'static str {
        match self {
            Sought::LinesOverlap => "lines-overlap",
            Sought::ShortPulse(Line::D0) => "short-pulse-d0",
            Sought::ShortPulse(Line::D1) => "short-pulse-d1",
            Sought::DoublePulse(Line::D0) => "double-pulse-d0",
            Sought::DoublePulse(Line::D1) => "double-pulse-d1",
            Sought::MissingBeat => "missing-beat",
        }
    }

    /// The finding.
    pub const fn kind(self) -> FindingKind {
        match self {
            Sought::LinesOverlap => FindingKind::LinesOverlap,
            Sought::ShortPulse(_) => FindingKind::ShortPulse,
            Sought::DoublePulse(_) => FindingKind::DoublePulse,
            Sought::MissingBeat => FindingKind::MissingBeat,
        }
    }

    /// What is seen where it is found: "a pulse on D0 is unusually narrow".
    pub fn says(self) -> String {
        match self {
            Sought::LinesOverlap => "both lines are active at once".to_owned(),
            Sought::ShortPulse(line) => format!("a pulse on {line} is unusually narrow"),
            Sought::DoublePulse(line) => format!("{line} pulses twice in short order"),
            Sought::MissingBeat => "a beat of the reader is missing".to_owned(),
        }
    }

    /// The same where it is not: "no pulse on D0 is unusually narrow".
    pub fn says_not(self) -> String {
        match self {
            Sought::LinesOverlap => "the lines are never active at once".to_owned(),
            Sought::ShortPulse(line) => format!("no pulse on {line} is unusually narrow"),
            Sought::DoublePulse(line) => format!("{line} never pulses twice in short order"),
            Sought::MissingBeat => "no beat of the reader is missing".to_owned(),
        }
    }

    /// Its place in [`Sought::ALL`].
    pub const fn index(self) -> usize {
        match self {
            Sought::LinesOverlap => 0,
            Sought::ShortPulse(line) => 1 + line.index(),
            Sought::DoublePulse(line) => 3 + line.index(),
            Sought::MissingBeat => 5,
        }
    }

    /// Whether it was found in a read; `None` where it was not looked for.
    pub const fn found_in(self, evidence: &Evidence) -> Option<bool> {
        match self {
            Sought::LinesOverlap => evidence.lines_overlap,
            Sought::ShortPulse(line) => evidence.short_pulse[line.index()],
            Sought::DoublePulse(line) => evidence.double_pulse[line.index()],
            Sought::MissingBeat => evidence.missing_beat,
        }
    }

    /// The same where it was not looked for.
    pub const fn left_out_of(self, mut evidence: Evidence) -> Evidence {
        match self {
            Sought::LinesOverlap => evidence.lines_overlap = None,
            Sought::ShortPulse(line) => evidence.short_pulse[line.index()] = None,
            Sought::DoublePulse(line) => evidence.double_pulse[line.index()] = None,
            Sought::MissingBeat => evidence.missing_beat = None,
        }
        evidence
    }

    /// How likely it is to be found in a read under a cause, from 0 to 1
    /// (judgement, no source).
    pub(super) fn usual(self, cause: Cause) -> f64 {
        use Cause::*;
        let (weak, noise, ringing) = match self {
            Sought::ShortPulse(Line::D0) | Sought::DoublePulse(Line::D0) => {
                (D0Weak, D0Noise, D0Ringing)
            }
            _ => (D1Weak, D1Noise, D1Ringing),
        };
        let (weak, noise, ringing) = (
            cause == weak || cause == BothWeak,
            cause == noise || cause == BothNoise,
            cause == ringing || cause == BothRinging,
        );
        match (self, cause) {
            (Sought::LinesOverlap, LinesShorted) => 0.95,
            (Sought::LinesOverlap, Crosstalk) => 0.6,
            (Sought::LinesOverlap, RandomBits) => 0.3,
            (Sought::LinesOverlap, _) => 0.01,
            (Sought::ShortPulse(_), Crosstalk | RandomBits) => 0.5,
            (Sought::ShortPulse(_), _) if weak => 0.7,
            (Sought::ShortPulse(_), _) if noise => 0.6,
            (Sought::ShortPulse(_), _) if ringing => 0.4,
            (Sought::ShortPulse(_), _) => 0.02,
            (Sought::DoublePulse(_), RandomBits) => 0.4,
            (Sought::DoublePulse(_), _) if ringing => 0.95,
            (Sought::DoublePulse(_), _) if noise => 0.3,
            (Sought::DoublePulse(_), _) => 0.01,
            (Sought::MissingBeat, D0Weak | D1Weak | BothWeak) => 0.9,
            (Sought::MissingBeat, D0Open | D1Open) => 0.98,
            (Sought::MissingBeat, RandomBits) => 0.5,
            (Sought::MissingBeat, _) => 0.02,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_knows_its_place() {
        for (index, sought) in Sought::ALL.into_iter().enumerate() {
            assert_eq!(sought.index(), index);
            assert!(sought.id().starts_with(sought.kind().id()));
        }
    }
}
