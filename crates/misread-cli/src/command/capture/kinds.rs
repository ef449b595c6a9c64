//! Findings by kind: counted, with the worst of each.

use misread::pulse::{Finding, FindingKind};

use crate::words;

/// The order in which kinds are named: what breaks a read before what only
/// strains a limit.
const ORDER: [FindingKind; 12] = [
    FindingKind::LineSilent,
    FindingKind::LineHeld,
    FindingKind::LinesOverlap,
    FindingKind::DoublePulse,
    FindingKind::MissingBeat,
    FindingKind::ShortPulse,
    FindingKind::PulseTooShort,
    FindingKind::IntervalTooShort,
    FindingKind::IntervalTooLong,
    FindingKind::PulseTooLong,
    FindingKind::FramesTooClose,
    FindingKind::IdleLow,
];

/// The findings of one kind.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) kind: FindingKind,
    /// How many; not said of a read with hidden bits.
    pub(super) count: Option<usize>,
    /// At which bits, from 0.
    pub(super) bits: Vec<usize>,
    pub(super) worst: Finding,
}

impl Group {
    /// The worst, and how many there are, as said where the read is known.
    pub(super) fn says(&self) -> String {
        let says = self.worst.to_string();
        let worst = match self.worst.read {
            Some(read) => without(&says, &format!("Read {}", read + 1)),
            None => says,
        };
        match self.count {
            Some(count) if count > 1 => {
                format!("{}. The worst, {worst}", capital(&phrase(self.kind, self.count)))
            }
            _ => capital(&worst),
        }
    }
}

/// The kinds found, those first that matter most; of each the worst. `blurred`
/// findings are not counted.
pub(super) fn groups(findings: &[Finding], blurred: bool) -> Vec<Group> {
    let of_kind = |kind: FindingKind| {
        let all: Vec<&Finding> = findings.iter().filter(|finding| finding.kind == kind).collect();
        // The first of those that are as bad.
        let worst = all.iter().rev().copied().max_by_key(|finding| badness(finding))?;
        Some(Group {
            kind,
            count: (!blurred).then_some(all.len()),
            bits: all.iter().filter_map(|finding| finding.bit).collect(),
            worst: *worst,
        })
    };
    ORDER.into_iter().filter_map(of_kind).collect()
}

/// The place of a kind among the kinds.
pub(super) fn rank(kind: FindingKind) -> usize {
    ORDER.iter().position(|&other| other == kind).unwrap_or(ORDER.len())
}

/// A kind in a few words, counted where that is known.
pub(super) fn phrase(kind: FindingKind, count: Option<usize>) -> String {
    let (one, more) = match kind {
        FindingKind::IdleLow => return "the lines rest low".to_owned(),
        FindingKind::LineSilent => return "a line never pulses".to_owned(),
        FindingKind::LineHeld => return "something holds it".to_owned(),
        FindingKind::LinesOverlap => {
            let places = count.map(|count| format!(" in {}", words::count(count, "place")));
            return format!("D0 and D1 active at once{}", places.unwrap_or_default());
        }
        FindingKind::PulseTooShort => ("pulse too short", "pulses too short"),
        FindingKind::PulseTooLong => ("pulse too long", "pulses too long"),
        FindingKind::IntervalTooShort => ("interval too short", "intervals too short"),
        FindingKind::IntervalTooLong => ("interval too long", "intervals too long"),
        FindingKind::ShortPulse => {
            ("pulse under half its usual width", "pulses under half their usual width")
        }
        FindingKind::DoublePulse => ("pulse doubled", "pulses doubled"),
        FindingKind::MissingBeat => {
            ("gap where a bit may be missing", "gaps where a bit may be missing")
        }
        FindingKind::FramesTooClose => {
            ("read too close to the one before", "reads too close to the one before")
        }
    };
    match count {
        Some(1) => format!("1 {one}"),
        Some(count) => format!("{count} {more}"),
        None => more.to_owned(),
    }
}

/// The first words of what a kind means.
pub(super) fn title(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::IdleLow => "Lines that rest low",
        FindingKind::PulseTooShort => "Pulse too short",
        FindingKind::PulseTooLong => "Pulse too long",
        FindingKind::IntervalTooShort => "Interval too short",
        FindingKind::IntervalTooLong => "Interval too long",
        FindingKind::LinesOverlap => "Both lines active at once",
        FindingKind::ShortPulse => "Pulse under half its usual width",
        FindingKind::DoublePulse => "Doubled pulse",
        FindingKind::MissingBeat => "Missing bit",
        FindingKind::LineSilent => "A line that never pulses",
        FindingKind::LineHeld => "A line that is held",
        FindingKind::FramesTooClose => "Reads too close",
    }
}

/// The larger, the further from what is allowed.
fn badness(finding: &Finding) -> i64 {
    let value = finding.value.map_or(0, i64::from);
    match finding.kind {
        FindingKind::PulseTooShort
        | FindingKind::IntervalTooShort
        | FindingKind::ShortPulse
        | FindingKind::DoublePulse
        | FindingKind::FramesTooClose => -value,
        FindingKind::PulseTooLong
        | FindingKind::IntervalTooLong
        | FindingKind::LinesOverlap
        | FindingKind::MissingBeat
        | FindingKind::IdleLow
        | FindingKind::LineSilent
        | FindingKind::LineHeld => value,
    }
}

/// A sentence without the read it begins with, and what joins it.
fn without(says: &str, read: &str) -> String {
    let rest = says.strip_prefix(read).unwrap_or(says);
    let joined = rest.strip_prefix(", ").or_else(|| rest.strip_prefix(": "));
    joined.unwrap_or(says).to_owned()
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// Several kinds, the first three named.
pub(super) fn list(phrases: &[String]) -> String {
    const NAMED: usize = 3;
    match phrases.len() {
        ..=NAMED => words::list(phrases),
        _ => format!(
            "{} and more",
            phrases.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", ")
        ),
    }
}
