//! What is wrong with the timing, where, by how much, and what it usually
//! means.

use core::fmt;

use super::Line;

/// A kind of finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FindingKind {
    /// The lines rest low and pulse high, or one of them does.
    IdleLow,
    /// A pulse narrower than allowed.
    PulseTooShort,
    /// A pulse wider than allowed.
    PulseTooLong,
    /// Two pulses closer than allowed.
    IntervalTooShort,
    /// Two pulses further apart than allowed.
    IntervalTooLong,
    /// Both lines active at once.
    LinesOverlap,
    /// A pulse narrower than half its line's median.
    ShortPulse,
    /// Two pulses of a line closer than a quarter of the beat.
    DoublePulse,
    /// An interval of two or more beats.
    MissingBeat,
    /// A line without a pulse in the whole capture.
    LineSilent,
    /// A line that has the level of a pulse throughout.
    LineHeld,
    /// Two reads with a gap that some receivers do not see.
    FramesTooClose,
}

impl FindingKind {
    /// Every kind.
    pub const ALL: [FindingKind; 12] = [
        FindingKind::IdleLow,
        FindingKind::PulseTooShort,
        FindingKind::PulseTooLong,
        FindingKind::IntervalTooShort,
        FindingKind::IntervalTooLong,
        FindingKind::LinesOverlap,
        FindingKind::ShortPulse,
        FindingKind::DoublePulse,
        FindingKind::MissingBeat,
        FindingKind::LineSilent,
        FindingKind::LineHeld,
        FindingKind::FramesTooClose,
    ];

    /// Its id, as in answers.
    pub const fn id(self) -> &'static str {
        match self {
            FindingKind::IdleLow => "idle-low",
            FindingKind::PulseTooShort => "pulse-too-short",
            FindingKind::PulseTooLong => "pulse-too-long",
            FindingKind::IntervalTooShort => "interval-too-short",
            FindingKind::IntervalTooLong => "interval-too-long",
            FindingKind::LinesOverlap => "lines-overlap",
            FindingKind::ShortPulse => "short-pulse",
            FindingKind::DoublePulse => "double-pulse",
            FindingKind::MissingBeat => "missing-beat",
            FindingKind::LineSilent => "line-silent",
            FindingKind::LineHeld => "line-held",
            FindingKind::FramesTooClose => "frames-too-close",
        }
    }

    /// What it usually means (judgement).
    pub const fn meaning(self) -> &'static str {
        match self {
            FindingKind::IdleLow => {
                "The capture was taken behind an inverting stage, such as an opto-isolator or a \
                 transistor level shifter. The bits here are read by their true sense. A panel \
                 wired behind that stage must be set to, or made for, lines that rest low."
            }
            FindingKind::PulseTooShort => {
                "Noise taken for a pulse, a pulse eaten away by a long or thin cable, or a reader \
                 set to pulses shorter than the standard allows. A panel may miss it."
            }
            FindingKind::PulseTooLong => {
                "A slow rising edge (long cable, weak pull-up) or a reader set to pulses longer \
                 than the standard allows. Most panels take a little more; a line that stays \
                 active for milliseconds is held by a fault."
            }
            FindingKind::IntervalTooShort => {
                "A pulse counted twice, noise between two bits, or a reader faster than the \
                 standard allows. A panel may miss the second pulse or take an extra one."
            }
            FindingKind::IntervalTooLong => {
                "Bits lost in between, two frames run together, or a reader slower than the \
                 standard allows. A panel may take the frame to be over and split it."
            }
            FindingKind::LinesOverlap => {
                "D0 and D1 touch, or one couples into the other along the cable. Sound readers \
                 never pulse both at once."
            }
            FindingKind::ShortPulse => {
                "A pulse that barely makes it: a poor joint, a low supply or a poor common; or \
                 noise that is no bit at all."
            }
            FindingKind::DoublePulse => {
                "One pulse seen as two: ringing on the edges, or a receiver that counts both \
                 edges; or noise."
            }
            FindingKind::MissingBeat => {
                "A bit was sent and did not arrive: an open or poor conductor, a low supply or a \
                 poor common."
            }
            FindingKind::LineSilent => {
                "Its conductor is open or on the wrong terminal, or something holds the line at \
                 one level. A card whose bits are all alike looks the same: present another."
            }
            FindingKind::LineHeld => {
                "It touches common or another conductor, or what should send on it is stuck. \
                 Recorded at the reader's end, with no path to the panel, nothing pulls it to \
                 where it should rest."
            }
            FindingKind::FramesTooClose => {
                "A receiver that waits longer than this for the end of a frame takes the two for \
                 one long read."
            }
        }
    }
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

/// A finding: what, where, and by how much. Shown as one plain sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Finding {
    /// What.
    pub kind: FindingKind,
    /// On which line; `None` where it is about both or about the gap between.
    pub line: Option<Line>,
    /// In which read, from 0; `None` for the whole capture.
    pub read: Option<usize>,
    /// At which bit, from 0: the later one, where it is about two.
    pub bit: Option<usize>,
    /// What was measured, in nanoseconds.
    pub value: Option<u32>,
    /// What it was held against, in nanoseconds: the limit, half the median
    /// width, a quarter of the beat, or the beat.
    pub limit: Option<u32>,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = OrElse(self.line, "a line");
        let value = OrElse(self.value.map(Time), "some time");
        let limit = OrElse(self.limit.map(Time), "some time");
        if self.kind == FindingKind::FramesTooClose {
            return match self.read {
                Some(read) => write!(
                    f,
                    "Read {} begins {value} after read {read} ends; a gap under {limit} may go \
                     unseen.",
                    read + 1
                ),
                None => write!(f, "Two reads are {value} apart; under {limit} may go unseen."),
            };
        }
        if let Some(read) = self.read {
            write!(f, "Read {}", read.saturating_add(1))?;
            if let Some(bit) = self.bit {
                write!(f, ", bit {}", bit.saturating_add(1))?;
            }
            f.write_str(": ")?;
        }
        match self.kind {
            FindingKind::IdleLow => match self.line {
                None => f.write_str("The lines rest low and pulse high."),
                Some(line) => write!(
                    f,
                    "{line} rests low and pulses high, {} the other way round.",
                    line.other()
                ),
            },
            FindingKind::PulseTooShort => {
                write!(f, "the pulse on {line} lasts {value}; the shortest allowed is {limit}.")
            }
            FindingKind::PulseTooLong => {
                write!(f, "the pulse on {line} lasts {value}; the longest allowed is {limit}.")
            }
            FindingKind::IntervalTooShort => write!(
                f,
                "the pulse comes {value} after the one before; the shortest allowed is {limit}."
            ),
            FindingKind::IntervalTooLong => write!(
                f,
                "the pulse comes {value} after the one before; the longest allowed is {limit}."
            ),
            FindingKind::LinesOverlap => {
                write!(f, "D0 and D1 are active at once for {value}.")
            }
            FindingKind::ShortPulse => write!(
                f,
                "the pulse on {line} lasts {value}; half of what is usual on {line} is {limit}."
            ),
            FindingKind::DoublePulse => write!(
                f,
                "{line} pulses again after {value}; a quarter of the reader's beat is {limit}."
            ),
            FindingKind::MissingBeat => write!(
                f,
                "the pulse comes {value} after the one before; the reader's beat is {limit}, so \
                 a bit may be missing."
            ),
            FindingKind::LineSilent => {
                let line = OrElse(self.line, "A line");
                write!(f, "{line} never pulses in this capture.")
            }
            FindingKind::LineHeld => {
                let line = OrElse(self.line, "A line");
                write!(f, "{line} has the level of a pulse throughout.")
            }
            FindingKind::FramesTooClose => Ok(()),
        }
    }
}

struct OrElse<T>(Option<T>, &'static str);

impl<T: fmt::Display> fmt::Display for OrElse<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0 {
            Some(value) => value.fmt(f),
            None => f.write_str(self.1),
        }
    }
}

/// A duration in nanoseconds, shown in µs below 1 ms, in ms below 1 s, and in
/// s: exact in µs, to the last whole thousandth in the others.
struct Time(u32);

impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (thousandths, unit) = match self.0 {
            ns if ns < 1_000_000 => (ns, "µs"),
            ns if ns < 1_000_000_000 => (ns / 1_000, "ms"),
            ns => (ns / 1_000_000, "s"),
        };
        let (whole, part) = (thousandths / 1000, thousandths % 1000);
        match part {
            0 => write!(f, "{whole} {unit}"),
            _ if part % 100 == 0 => write!(f, "{whole}.{} {unit}", part / 100),
            _ if part % 10 == 0 => write!(f, "{whole}.{:02} {unit}", part / 10),
            _ => write!(f, "{whole}.{part:03} {unit}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::string::ToString;

    use super::*;

    #[test]
    fn durations_are_shown_in_the_nearest_unit() {
        let shown = |ns| Time(ns).to_string();
        assert_eq!(shown(0), "0 µs");
        assert_eq!(shown(1), "0.001 µs");
        assert_eq!(shown(12_500), "12.5 µs");
        assert_eq!(shown(12_050), "12.05 µs");
        assert_eq!(shown(999_999), "999.999 µs");
        assert_eq!(shown(1_000_000), "1 ms");
        assert_eq!(shown(20_400_000), "20.4 ms");
        assert_eq!(shown(u32::MAX), "4.294 s");
    }

    #[test]
    fn each_kind_has_an_id_a_meaning_and_a_sentence() {
        let mut ids = std::collections::BTreeSet::new();
        for kind in FindingKind::ALL {
            assert!(ids.insert(kind.id()));
            assert!(kind.meaning().ends_with('.') && !kind.meaning().contains("  "), "{kind}");
            for (line, read, value) in
                [(None, None, None), (Some(Line::D1), Some(1), Some(12_000)), (None, Some(0), None)]
            {
                let finding = Finding { kind, line, read, bit: read, value, limit: value };
                let says = finding.to_string();
                assert!(says.ends_with('.') && !says.contains("  "), "{says}");
            }
        }
    }

    #[test]
    fn positions_in_sentences_count_from_1() {
        let finding = Finding {
            kind: FindingKind::PulseTooShort,
            line: Some(Line::D1),
            read: Some(1),
            bit: Some(4),
            value: Some(12_000),
            limit: Some(20_000),
        };
        assert_eq!(
            finding.to_string(),
            "Read 2, bit 5: the pulse on D1 lasts 12 µs; the shortest allowed is 20 µs."
        );
        let finding =
            Finding { kind: FindingKind::FramesTooClose, line: None, bit: Some(0), ..finding };
        assert_eq!(
            finding.to_string(),
            "Read 2 begins 12 µs after read 1 ends; a gap under 20 µs may go unseen."
        );
    }
}
