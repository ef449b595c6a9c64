//! What is known of a capture before its reads are looked at.

use misread::capture::{Damage, TimeUnit};
use misread::pulse::{Ended, Finding, FindingKind, Level, Limits, Line, Rhythm};

/// What is known of a capture before its reads are looked at.
pub(crate) struct Overview {
    /// The signals that were taken for D0 and D1.
    pub(crate) lines: [String; 2],
    /// Where each line rests; of one that never pulses, where it stands.
    pub(crate) idle: [Option<Level>; 2],
    pub(crate) rhythm: Rhythm,
    /// What timing is allowed, with the sample period that was reckoned with.
    pub(crate) limits: Limits,
    pub(crate) threshold: Option<f64>,
    /// The unit that its times were taken to be in for want of a word.
    pub(crate) unit_taken: Option<TimeUnit>,
    /// What is wrong with the capture as a whole.
    pub(crate) findings: Vec<Finding>,
    /// Where the file is damaged or cut; the reads are those before.
    pub(crate) damage: Option<Damage>,
}

/// A last read that may be no whole one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Cut {
    /// Damage has cut it, as the reads before it show: it takes no part.
    LeftOut,
    /// It may be.
    Perhaps,
}

impl Cut {
    pub(crate) fn says(self) -> &'static str {
        match self {
            Cut::LeftOut => "The last read is cut by the damage and was left out.",
            Cut::Perhaps => {
                "The capture ends in the last read, which may be cut short: bits that are missing \
                 at its end may have been sent."
            }
        }
    }
}

impl Overview {
    /// Whether a line has no pulse in the whole capture; not told when masked.
    pub(crate) fn is_silent(&self, line: Line) -> bool {
        let silent = |found: &Finding| found.kind == FindingKind::LineSilent;
        self.findings.iter().any(|found| silent(found) && found.line == Some(line))
    }

    /// The level at which the lines that pulse rest: high where one does.
    pub(crate) fn rests(&self) -> Level {
        let pulsing = Line::BOTH.into_iter().filter(|&line| !self.is_silent(line));
        let levels: Vec<Level> = pulsing.filter_map(|line| self.idle[line.index()]).collect();
        Level::from(levels.is_empty() || levels.contains(&Level::High))
    }

    /// The level each line is drawn at between pulses.
    pub(crate) fn drawn_at(&self) -> [Level; 2] {
        self.idle.map(|level| level.unwrap_or(self.rests()))
    }

    /// Whether the last read, which ended like this, its last pulse open or not,
    /// is a whole one, beside reads of these lengths: damage ends the read it
    /// falls into.
    pub(crate) fn cut(
        &self,
        ended: Ended,
        open: bool,
        length: usize,
        mut before: impl Iterator<Item = usize> + Clone,
    ) -> Option<Cut> {
        let damaged = self.damage.is_some();
        if ended != Ended::StreamEnd || !(damaged || open) {
            return None;
        }
        if damaged && before.clone().min().is_some_and(|shortest| length < shortest) {
            return Some(Cut::LeftOut);
        }
        (!before.any(|other| other == length)).then_some(Cut::Perhaps)
    }
}
