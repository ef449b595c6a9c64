//! What is said of a case of which some reads suffer and the others are sound.

use misread_core::Bit;

use crate::cause::catalogue::headline;
use crate::cause::{Cause, Wire};
use crate::diagnose::case::{Candidates, Case};
use crate::diagnose::diagnosis::WireFound;
use crate::diagnose::wording::{and, count, lower, number_word};

/// How many reads are named one by one.
const MOST_NAMED: usize = 4;

/// What is said of some of the reads and of the others; `None` where all are
/// alike.
///
/// At times: "Read 38 of 50 lost two pulses on D1; the other 49 are good". Of a
/// fault that is there all the time: "D0 loses pulses: read 4 of 5 lost one".
pub(super) fn says(
    found: &WireFound,
    those: &[usize],
    case: &Case,
    candidates: &Candidates,
) -> Option<String> {
    let cause = found.wire.cause();
    // Nothing was decoded of what is empty or was set aside.
    let there = (0..case.reads.len()).filter(|&at| found.decoded[at].is_some());
    let others: Vec<usize> = there.filter(|at| those.binary_search(at).is_err()).collect();
    let which = which(those, case.reads.len());
    match found.wire {
        Wire::AtTimes(_) => {
            let what = what(cause, those, found, case, candidates, true);
            Some(match rest(those, &others) {
                Some(rest) => format!("{which} {what}; {rest}"),
                None => format!("{which} {what}"),
            })
        }
        Wire::Alone(_) if !others.is_empty() && !those.is_empty() => {
            let what = what(cause, those, found, case, candidates, false);
            Some(format!("{}: {} {what}", headline(found.wire.into()), lower(&which)))
        }
        _ => None,
    }
}

/// "Read 38 of 50", "Reads 4 to 9 of 12", "12 of 50 reads".
fn which(those: &[usize], all: usize) -> String {
    let number = |at: &usize| (at + 1).to_string();
    match those {
        [one] => format!("Read {} of {all}", number(one)),
        [first, _, .., last] if last - first + 1 == those.len() => {
            format!("Reads {} to {} of {all}", number(first), number(last))
        }
        _ if those.len() <= MOST_NAMED => {
            format!("Reads {} of {all}", and(&those.iter().map(number).collect::<Vec<_>>()))
        }
        _ => format!("{} of {all} reads", those.len()),
    }
}

/// "the other 49 are good", "good from read 4 on".
fn rest(those: &[usize], others: &[usize]) -> Option<String> {
    let (first, last) = (those.first()?, those.last()?);
    let (good, until) = (others.first()?, others.last()?);
    Some(match others.len() {
        1 => "the other one is good".to_owned(),
        _ if last < good => format!("good from read {} on", good + 1),
        _ if until < first => format!("good up to read {}", until + 1),
        more => format!("the other {more} are good"),
    })
}

/// What happened to them.
fn what(
    cause: Cause,
    those: &[usize],
    found: &WireFound,
    case: &Case,
    candidates: &Candidates,
    names_line: bool,
) -> String {
    let several = those.len() > 1;
    let line = match cause {
        _ if !names_line => "",
        Cause::D0Weak | Cause::D0Noise | Cause::D0Ringing => " on D0",
        Cause::D1Weak | Cause::D1Noise | Cause::D1Ringing => " on D1",
        _ => "",
    };
    // How many bits are too few or too many, where that is the same for all.
    let off = |at: &usize| {
        let layout = found.decoded.get(*at)?.as_ref()?.layout;
        Some(case.reads[*at].bits.len().abs_diff(candidates.layouts().get(layout)?.bits()))
    };
    let mut offs = those.iter().map(off);
    let first = offs.next().flatten().filter(|&off| off > 0);
    let off = first.filter(|_| offs.all(|off| off == first));
    let each = if several { " each" } else { "" };
    let pulses = |kind: &str| match off {
        Some(off) => format!("{}{each}{line}", count(off, &format!("{kind}pulse"))),
        None => format!("{kind}pulses{line}"),
    };
    let bits = |which: &str| match off {
        Some(1) => format!("the {which} bit"),
        Some(off) => format!("the {which} {} bits", number_word(off)),
        None => format!("the {which} bits"),
    };
    match cause {
        Cause::LinesSwapped => "came with D0 and D1 swapped".to_owned(),
        Cause::D0Open => "came without the pulses on D0".to_owned(),
        Cause::D1Open => "came without the pulses on D1".to_owned(),
        Cause::LinesShorted => "came with D0 and D1 touching".to_owned(),
        Cause::D0Weak | Cause::D1Weak | Cause::BothWeak if off.is_none() && !names_line => {
            "came short".to_owned()
        }
        Cause::D0Weak | Cause::D1Weak | Cause::BothWeak => format!("lost {}", pulses("")),
        Cause::D0Noise
        | Cause::D1Noise
        | Cause::BothNoise
        | Cause::D0Ringing
        | Cause::D1Ringing
        | Cause::BothRinging
        | Cause::Crosstalk
            if off.is_none() && !names_line =>
        {
            "came long".to_owned()
        }
        Cause::D0Noise | Cause::D1Noise | Cause::BothNoise => {
            format!("had {}", pulses("extra "))
        }
        Cause::D0Ringing | Cause::D1Ringing | Cause::BothRinging => {
            format!("had {} counted twice", pulses(""))
        }
        Cause::Crosstalk => format!("had {} caused by the other line", pulses("extra ")),
        Cause::HeadLost => format!("lost {}", bits("first")),
        Cause::TailLost => format!("lost {}", bits("last")),
        Cause::FramesMerged => "came twice over in one".to_owned(),
        Cause::BitsChanged => match those {
            [at] => match changed(found, case, *at) {
                Some(n) => format!("came with {}", count(n, "wrong bit")),
                None => "came with a wrong bit".to_owned(),
            },
            _ => "came with wrong bits".to_owned(),
        },
        Cause::UnknownLayout => {
            let lengths: Vec<usize> = those.iter().map(|&at| case.reads[at].bits.len()).collect();
            let same = lengths.iter().all(|length| Some(length) == lengths.first());
            let length = match lengths.first() {
                Some(length) if same => format!(": {length} bits"),
                _ => String::new(),
            };
            let verb = if several { "are" } else { "is" };
            format!("{verb} of a layout that is not listed{length}")
        }
        _ if several => "mean nothing".to_owned(),
        _ => "means nothing".to_owned(),
    }
}

/// How many bits of a read are not those of its card.
pub(super) fn changed(found: &WireFound, case: &Case, at: usize) -> Option<usize> {
    let frame = &found.decoded.get(at)?.as_ref().filter(|card| card.single)?.frame;
    let pairs = frame.iter().map(Bit::value).zip(case.reads[at].bits.iter().map(Bit::value));
    let differ = |(a, b): &(Option<bool>, Option<bool>)| a.is_some() && b.is_some() && a != b;
    Some(pairs.filter(differ).count()).filter(|&n| n > 0)
}
