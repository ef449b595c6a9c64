//! What a read is, and what is wrong with it.

use misread::file::Entry;
use misread::layout::{Check, CheckOutcome, Code, Field};
use misread::{Bits, Decoded, Layout, Turn};

use crate::masking::Masking;
use crate::words;

/// Failing checks named in one sentence; more are counted.
const NAMED: usize = 3;

/// A read looked at with the layouts that are known.
#[derive(Clone, Debug)]
pub(crate) struct Answer<'a> {
    /// The layout it fits, or the one it was asked to fit.
    pub(crate) entry: Option<&'a Entry>,
    /// Whether it fits that layout.
    pub(crate) fits: bool,
    /// Whether every declared value and range holds as well.
    pub(crate) ok: bool,
    /// The other layouts that fit, best first.
    pub(crate) also: Vec<&'a Entry>,
    /// What is wrong.
    pub(crate) problem: Option<String>,
    /// The layout whose fields help to see what is wrong.
    pub(crate) nearest: Option<&'a Layout>,
}

/// Looks at a read. `entries` are best first; `chosen` is the only layout to
/// be tried, where there is one.
pub(crate) fn answer<'a>(
    read: &Bits,
    entries: &[&'a Entry],
    chosen: Option<&'a Entry>,
    masking: Masking,
) -> Answer<'a> {
    let all = fitting(read, entries);
    let best = chosen.or_else(|| all.first().copied());
    let also: Vec<&Entry> =
        all.into_iter().filter(|e| best.is_none_or(|b| b.name() != e.name())).collect();
    let Some(entry) = best else {
        let (says, nearest) = nearest(read, entries, masking);
        return Answer {
            entry: None,
            fits: false,
            ok: false,
            also,
            problem: Some(format!("fits no layout: {says}")),
            nearest,
        };
    };
    let layout = &entry.layout;
    let fits = layout.decode(read).is_ok();
    let problem = if fits {
        concerns(layout, read, masking)
    } else {
        let turned = turned(read, &[entry], masking).map(|says| format!("; {says}"));
        let says = misfit(layout, read, masking);
        Some(format!("does not fit {}: {says}{}", entry.name(), turned.unwrap_or_default()))
    };
    // A layout of another length has nothing to show.
    let nearest = Some(entry).filter(|entry| entry.layout.bits() == read.len());
    let nearest = nearest.or(also.first().copied()).map(|entry| &entry.layout);
    Answer { entry: Some(entry), fits, ok: fits && problem.is_none(), also, problem, nearest }
}

/// Which of the layouts a read is decoded with, by its index: the first that
/// fits with every declared value and range holding, else the first that fits;
/// and whether they hold.
#[inline]
pub(crate) fn best(read: &Bits, entries: &[&Entry]) -> Option<(usize, bool)> {
    let mut doubtful = None;
    for (index, entry) in entries.iter().enumerate() {
        let Ok(decoded) = entry.layout.decode(read) else { continue };
        if is_sound(decoded) {
            return Some((index, true));
        }
        doubtful = doubtful.or(Some((index, false)));
    }
    doubtful
}

/// Whether every declared value and range holds.
#[inline]
fn is_sound(decoded: Decoded<'_>) -> bool {
    let plain = |field: &Field| {
        field.value().is_none() && field.range().is_none() && field.code() == Code::Binary
    };
    // Nothing is declared about nearly every layout.
    decoded.layout().fields().iter().all(plain) || decoded.concerns().next().is_none()
}

/// What is declared about the fields and does not hold for a read that fits.
pub(crate) fn concerns(layout: &Layout, read: &Bits, masking: Masking) -> Option<String> {
    let concerns = layout.decode(read).into_iter().flat_map(|decoded| decoded.concerns());
    let says: Vec<String> = concerns.map(|check| failure(check, read, masking)).collect();
    (!says.is_empty()).then(|| words::list(&says))
}

/// The fields in words: `facility 42, card 1234`.
pub(crate) fn fields(layout: &Layout, read: &Bits, masking: Masking) -> String {
    let fields = layout.fields().iter().map(|field| match field.value_in(read) {
        Some(value) => format!("{} {}", field.name(), masking.number(value)),
        None => format!("{} unread", field.name()),
    });
    let fields: Vec<String> = fields.collect();
    if fields.is_empty() { "no fields".to_owned() } else { fields.join(", ") }
}

/// A check in words, whatever it says of a read.
pub(crate) fn describe(check: Check<'_>, masking: Masking) -> String {
    match check {
        Check::Parity(rule) => {
            format!("bit {}: {}", rule.bit() + 1, words::parity(rule, usize::MAX))
        }
        Check::Fixed(rule) => {
            let indices: Vec<usize> = rule.bits().map(|(index, _)| index).collect();
            let value: String = rule.bits().map(|(_, one)| if one { '1' } else { '0' }).collect();
            format!("{}: always {value}", words::bits(&indices))
        }
        Check::Value(field, value) => {
            format!("{} is {}", field.name(), masking.number(value))
        }
        Check::Range(field, (low, high)) => {
            format!("{} is {} to {}", field.name(), masking.number(low), masking.number(high))
        }
        Check::Digit(field) => format!("every digit of {} is at most nine", field.name()),
    }
}

/// Every layout that fits, those first whose declared values and ranges hold.
fn fitting<'a>(read: &Bits, entries: &[&'a Entry]) -> Vec<&'a Entry> {
    let fits = |entry: &&'a Entry| entry.layout.decode(read).is_ok();
    let sound = |entry: &&'a Entry| entry.layout.decode(read).is_ok_and(is_sound);
    let (mut sound, doubtful): (Vec<&Entry>, Vec<&Entry>) =
        entries.iter().copied().filter(fits).partition(sound);
    sound.extend(doubtful);
    sound
}

/// A check that fails, in words.
fn failure(check: Check<'_>, read: &Bits, masking: Masking) -> String {
    match check {
        Check::Parity(rule) => {
            let group: Vec<usize> = rule.group().indices().collect();
            let over = words::bits(&group);
            format!("{} parity in bit {} fails over {over}", rule.kind(), rule.bit() + 1)
        }
        Check::Fixed(rule) => {
            let wrong = rule.bits().filter(|&(index, value)| {
                read.get(index).and_then(|bit| bit.value()).is_some_and(|found| found != value)
            });
            let wrong: Vec<usize> = wrong.map(|(index, _)| index).collect();
            let verb = if wrong.len() == 1 { "has" } else { "have" };
            format!("fixed {} {verb} the other value", words::bits(&wrong))
        }
        Check::Value(field, value) => format!(
            "{} is {}, but this site's cards carry {}",
            field.name(),
            found(field.value_in(read), masking),
            masking.number(value)
        ),
        Check::Range(field, (low, high)) => format!(
            "{} {} is outside {} to {}, the cards that were ordered",
            field.name(),
            found(field.value_in(read), masking),
            masking.number(low),
            masking.number(high)
        ),
        Check::Digit(field) => format!("a digit of {} is over nine", field.name()),
    }
}

fn found(value: Option<u64>, masking: Masking) -> String {
    value.map_or_else(|| "unread".to_owned(), |value| masking.number(value))
}

/// Why a read does not fit.
fn misfit(layout: &Layout, read: &Bits, masking: Masking) -> String {
    if read.len() != layout.bits() {
        return format!("{}, and it has {}", arrived(read), layout.bits());
    }
    let fails: Vec<String> = layout
        .checks()
        .filter(|check| matches!(check, Check::Parity(_) | Check::Fixed(_)))
        .filter(|check| check.outcome(read) == CheckOutcome::Fails)
        .map(|check| failure(check, read, masking))
        .collect();
    let more = fails.len().saturating_sub(NAMED);
    let mut says: Vec<String> = fails.into_iter().take(NAMED).collect();
    if more > 0 {
        let verb = if more == 1 { "fails" } else { "fail" };
        says.push(format!("{more} more {verb}"));
    }
    words::list(&says)
}

fn arrived(read: &Bits) -> String {
    let verb = if read.len() == 1 { "arrived" } else { "have arrived" };
    format!("{} {verb}", words::count(read.len(), "bit"))
}

/// What comes closest to fitting, and its layout where the length is the same.
fn nearest<'a>(
    read: &Bits,
    entries: &[&'a Entry],
    masking: Masking,
) -> (String, Option<&'a Layout>) {
    let failing = |entry: &&&Entry| {
        entry.layout.checks().filter(|check| check.outcome(read) == CheckOutcome::Fails).count()
    };
    let same = entries.iter().filter(|entry| entry.layout.bits() == read.len()).min_by_key(failing);
    if let Some(entry) = same {
        let says = turned(read, entries, masking).map_or_else(
            || {
                format!(
                    "the nearest is {}, but {}",
                    entry.name(),
                    misfit(&entry.layout, read, masking)
                )
            },
            |says| format!("{}, but {says}", misfit(&entry.layout, read, masking)),
        );
        return (says, Some(&entry.layout));
    }
    let apart = |entry: &&&Entry| entry.layout.bits().abs_diff(read.len());
    let says = match entries.iter().min_by_key(apart) {
        Some(entry) => {
            let bits = entry.layout.bits();
            format!("{}; the nearest is {} with {bits}", arrived(read), entry.name())
        }
        None => "no layout is known".to_owned(),
    };
    (says, None)
}

/// How the read would fit, sound in every way, when turned around; for layouts
/// that can tell.
fn turned(read: &Bits, entries: &[&Entry], masking: Masking) -> Option<String> {
    let can_tell = |entry: &&&Entry| entry.layout.independent_checks() > 0;
    entries.iter().filter(can_tell).find_map(|entry| {
        let layout = &entry.layout;
        let turn = layout
            .fitting_turns(read)
            .iter()
            .filter(|turn| *turn != Turn::AsReceived)
            .find(|turn| layout.decode(&read.turned(*turn)).is_ok_and(is_sound))?;
        let (how, why) = match turn {
            Turn::AsReceived | Turn::Inverted => {
                ("with every bit turned over", " (D0 and D1 swapped?)")
            }
            Turn::Reversed => ("read last bit first", ""),
            Turn::InvertedReversed => ("with every bit turned over and last bit first", ""),
        };
        let fields = fields(layout, &read.turned(turn), masking);
        Some(format!("{how} it fits {}: {fields}{why}", entry.name()))
    })
}

#[cfg(test)]
mod tests {
    use misread::file::{Catalogue, LayoutDoc, Source};
    use proptest::prelude::*;

    use super::*;

    fn entries() -> Vec<Entry> {
        let mut entries = Catalogue::built_in().entries().to_vec();
        let own = r#"
            name = "slipway-34"
            bits = 34
            weight = 9.0
            [[field]]
            name = "card"
            bits = ["2-33"]
            range = [1, 2000000000]
        "#;
        let doc = LayoutDoc::from_toml(own).unwrap();
        entries.insert(0, doc.into_entry(Source::BuiltIn).unwrap());
        entries
    }

    proptest! {
        #[test]
        fn the_quick_choice_is_the_first_of_all(bits in "[01?]{4}|[01]{8}|[01]{24,26}|[01]{32,34}") {
            let entries = entries();
            let entries: Vec<&Entry> = entries.iter().collect();
            let read: Bits = bits.parse().unwrap();
            let quick = best(&read, &entries);
            let whole = answer(&read, &entries, None, Masking::Off);
            prop_assert_eq!(quick.map(|(i, _)| entries[i].name()), whole.entry.map(Entry::name));
            prop_assert_eq!(quick.is_some_and(|(_, sound)| sound), whole.ok);
            prop_assert_eq!(whole.ok, whole.problem.is_none());
        }
    }

    #[test]
    fn a_layout_whose_range_fails_gives_way() {
        let entries = entries();
        let entries: Vec<&Entry> = entries.iter().collect();
        let site = entries.iter().find(|entry| entry.name() == "site-34").unwrap();
        let chosen = |facility: u64| {
            let frame = site.layout.encode([("facility", facility), ("card", 1234)]).unwrap();
            answer(&frame, &entries, None, Masking::Off).entry.map(|e| e.name().to_owned())
        };
        assert_eq!(chosen(42).as_deref(), Some("slipway-34"));
        // 60000 * 65536 is over two thousand million.
        assert_eq!(chosen(60_000).as_deref(), Some("site-34"));
    }
}
