//! The answer in sentences: the verdict, what the bits leave open, the caution.

mod at_times;

use misread_core::Layout;

use super::card::CardFound;
use super::case::{Candidates, Case};
use super::diagnosis::{Diagnosis, Verdict, WireFound};
use super::evidence::card_difference;
use super::likelihood::needs_trellis;
use super::posterior::LayoutUsed;
use super::wording::{Numbers, and, count, lower, sentence};
use crate::cause::catalogue::{WIRE_CAUTION, card_info, headline, wire_info};
use crate::cause::{Cause, ProbeAt, Wire};

/// What is declared about the fields and does not hold for a decoded card.
pub(super) fn concerns(
    found: Option<&WireFound>,
    candidates: &Candidates,
    numbers: Numbers,
) -> Vec<String> {
    let Some(found) = found else { return Vec::new() };
    let mut concerns: Vec<String> = Vec::new();
    for card in found.decoded.iter().flatten() {
        let Some(layout) = candidates.layouts().get(card.layout) else { continue };
        for field in layout.fields() {
            let Some(&number) = card.fields.get(field.name()) else { continue };
            let (name, shown) = (field.name(), numbers.text(number));
            if let Some(value) = field.value().filter(|&value| value != number) {
                let value = numbers.text(value);
                concerns.push(format!("{name} {shown} is not the {value} this site's cards carry"));
            }
            if let Some((low, high)) = field.range().filter(|(a, b)| !(*a..=*b).contains(&number)) {
                let range = format!("{} to {}", numbers.text(low), numbers.text(high));
                concerns
                    .push(format!("{name} {shown} is outside the range {range} that was ordered"));
            }
            let raw = field.raw_in(&card.frame);
            if raw.is_some_and(|raw| !field.digits_are_decimal(raw)) {
                concerns.push(format!("{name} has a digit over nine"));
            }
        }
    }
    concerns.dedup();
    concerns
}

/// The card the answer names: the same for every read, and likely enough.
fn named_card<'a>(
    found: &'a WireFound,
    candidates: &'a Candidates,
) -> Option<(&'a Layout, &'a CardFound)> {
    let mut cards = found.decoded.iter().flatten();
    let first = cards.next()?;
    let layout = candidates.layouts().get(first.layout)?;
    let same = first.is_sure() && cards.all(|card| card.is_sure() && card.fields == first.fields);
    (same && !first.fields.is_empty()).then_some((&**layout, first))
}

/// How a card is named.
struct Named {
    /// Behind "the read is good".
    good: String,
    /// Behind a fault.
    then: String,
}

impl Named {
    fn new(
        layout: &Layout,
        card: &CardFound,
        diagnosis: &Diagnosis,
        case: &Case,
        numbers: Numbers,
    ) -> Self {
        let values = numbers.values(layout, &card.fields);
        let alone = layout.fields().len() == 1;
        let number = card.fields.values().next().copied().filter(|_| alone);
        let short = number.map_or_else(|| values.clone(), |number| numbers.text(number));
        // Where nothing of the card came through it is only what was said of it.
        let hides = matches!(
            diagnosis.verdict.wire().cause(),
            Cause::LinesShorted | Cause::D0Open | Cause::D1Open
        );
        let said = case.reads.iter().any(|read| read.expected == card.fields);
        let then = match hides && said && !diagnosis.verdict.wire().comes_and_goes() {
            true => String::new(),
            false => format!("; the card is then {short}"),
        };
        Named { good: format!(": {values}"), then }
    }
}

pub(super) fn says(
    diagnosis: &Diagnosis,
    case: &Case,
    candidates: &Candidates,
    concerns: &[String],
    numbers: Numbers,
) -> String {
    let Some(found) = diagnosis.answer_wire() else { return String::new() };
    let card = named_card(found, candidates);
    let card = card.map(|(layout, card)| Named::new(layout, card, diagnosis, case, numbers));
    let all = case.reads.len();
    let empty = case.reads.iter().filter(|read| read.bits.is_empty()).count();
    let missing = (empty > 0).then(|| format!("{empty} of {all} cards gave nothing"));
    let verdict = of_verdict(diagnosis, found, case, candidates, card.as_ref(), concerns, numbers);
    let says = match (missing, diagnosis.verdict) {
        (None, Verdict::Wire(Wire::ReadsMissing)) => verdict,
        (Some(missing), Verdict::Wire(Wire::ReadsMissing)) => {
            format!("{missing}, since reads go missing; {}", others_good(all - empty))
        }
        (Some(missing), Verdict::None) if concerns.is_empty() => {
            let card = card.map(|card| card.good).unwrap_or_default();
            format!("{missing}; {}{card}", others_good(all - empty))
        }
        (Some(missing), _) => format!("{missing}; of the others: {}", lower(&verdict)),
        (None, _) => verdict,
    };
    says + "."
}

/// "the other 3 are good".
fn others_good(reads: usize) -> String {
    match reads {
        1 => "the other one is good".to_owned(),
        reads => format!("the other {reads} are good"),
    }
}

/// The verdict on the reads that came, without its full stop.
fn of_verdict(
    diagnosis: &Diagnosis,
    found: &WireFound,
    case: &Case,
    candidates: &Candidates,
    card: Option<&Named>,
    concerns: &[String],
    numbers: Numbers,
) -> String {
    let layout = match found.layout {
        Some(LayoutUsed::Candidate(index)) => candidates.layouts().get(index),
        _ => None,
    };
    let full = || case.reads.iter().zip(&found.decoded).filter_map(|(r, c)| Some((r, c.as_ref()?)));
    let by_card = card.map(|card| card.good.as_str()).unwrap_or_default();
    let then = card.map(|card| card.then.as_str()).unwrap_or_default();
    match diagnosis.verdict {
        Verdict::None => {
            let name = layout.map_or("layouts of their own", |layout| layout.name());
            if !concerns.is_empty() {
                return format!("The wiring is sound, but {}", and(concerns));
            }
            let reads = full().count();
            let unchecked = layout.is_some_and(|layout| layout.independent_checks() == 0);
            let expected = full().any(|(read, _)| !read.expected.is_empty());
            match (reads, unchecked && !expected) {
                (1, true) => format!("The read has the length of {name}{by_card}"),
                (_, true) => format!("The reads have the length of {name}{by_card}"),
                (1, false) => format!("The read is good{by_card} ({name})"),
                (_, false) => format!("The {reads} reads are good{by_card} ({name})"),
            }
        }
        Verdict::LayoutDiffers => {
            let set = candidates.configured_index().and_then(|set| candidates.layouts().get(set));
            format!(
                "The wiring is sound, but the card uses {}, not the panel's {}{by_card}",
                layout.map_or("another layout", |layout| layout.name()),
                set.map_or("layout", |layout| layout.name())
            )
        }
        Verdict::Card(state) => {
            let differences = full().filter_map(|(read, card)| {
                let layout = candidates.layouts().get(card.layout)?;
                let says = card_difference(layout, &read.expected, card, numbers);
                (!says.is_empty()).then_some(says)
            });
            match differences.into_iter().next() {
                Some(difference) => format!("{}: {difference}", card_info(state).headline),
                None => card_info(state).headline.to_owned(),
            }
        }
        Verdict::Wire(Wire::Alone(Cause::UnknownLayout)) => unlisted(case),
        Verdict::Wire(Wire::Alone(Cause::BitsChanged)) if case.reads.len() == 1 => {
            let says = match at_times::changed(found, case, 0) {
                None => headline(Cause::BitsChanged.into()).into_owned(),
                Some(1) => "One bit has the wrong value".to_owned(),
                Some(n) => sentence(&format!("{} have the wrong value", count(n, "bit"))),
            };
            format!("{says}{then}")
        }
        Verdict::Wire(wire) => {
            let some = at_times::says(found, &diagnosis.showing, case, candidates);
            format!("{}{then}", some.unwrap_or_else(|| headline(wire.into()).into_owned()))
        }
        Verdict::NoData => String::new(),
    }
}

/// "These cards use a layout that is not listed: 37 bits, 3 cards".
fn unlisted(case: &Case) -> String {
    let reads: Vec<_> = case.reads.iter().filter(|read| !read.bits.is_empty()).collect();
    let mut different: Vec<_> = reads.iter().map(|read| read.bits).collect();
    different.dedup();
    let lengths: Vec<usize> = different.iter().map(|bits| bits.len()).collect();
    let length = match (lengths.iter().min(), lengths.iter().max()) {
        (Some(low), Some(high)) if low != high => format!("{low} to {high} bits"),
        (Some(length), _) => format!("{length} bits"),
        _ => String::new(),
    };
    match (different.len(), reads.len()) {
        (1, 1) => format!("This card uses a layout that is not listed: {length}"),
        (1, times) => {
            format!("This card uses a layout that is not listed: {length}, {times} times the same")
        }
        (cards, _) => {
            format!("These cards use a layout that is not listed: {length}, {cards} cards")
        }
    }
}

pub(super) fn notes(diagnosis: &Diagnosis, case: &Case, candidates: &Candidates) -> Vec<String> {
    let mut notes = Vec::new();
    let layout = diagnosis.layout.and_then(LayoutUsed::candidate);
    let layout = layout.and_then(|index| candidates.layouts().get(index));
    let unexpected = case.reads.iter().all(|read| read.expected.is_empty());
    if let Some(layout) = layout
        && layout.independent_checks() == 0
        && unexpected
    {
        notes.push(format!(
            "{} has no checks: any {} bits fit it, so sound wiring, swapped lines and bits in \
             reverse order all look alike. Say what the card should be with --expect.",
            layout.name(),
            layout.bits()
        ));
    }
    notes.extend(of_capture(diagnosis, case));
    let turns = |wire: Wire| matches!(wire, Wire::Alone(Cause::LinesSwapped | Cause::BitsInverted));
    if turns(diagnosis.verdict.wire())
        && case.captured.is_none()
        && diagnosis.alike.iter().any(|alike| turns(alike.wire))
    {
        notes.push(
            "Swapped data lines and a recorder that turns bits over give the same bits always; \
             swapping the conductors cures both at the recorder, so only a recording of the two \
             lines tells them apart."
                .to_owned(),
        );
    }
    if diagnosis.verdict == Verdict::Wire(Wire::Alone(Cause::UnknownLayout)) {
        notes.push(
            "Whether such bits came as they were sent, turned over (as with swapped lines) or last \
             bit first cannot be told before the layout is known."
                .to_owned(),
        );
    }
    if !diagnosis.set_aside.is_empty() {
        let numbers: Vec<String> =
            diagnosis.set_aside.iter().map(|at| (at + 1).to_string()).collect();
        notes.push(format!(
            "{} {} set aside: too far from any layout's length to be weighed with the others as \
             reads of one card.",
            if numbers.len() == 1 { "Read" } else { "Reads" }.to_owned() + " " + &and(&numbers),
            if numbers.len() == 1 { "is" } else { "are" },
        ));
    }
    if let Some(posterior) = &diagnosis.posterior {
        let used = diagnosis.layout.and_then(LayoutUsed::candidate);
        let asked = posterior.beyond_one_card.iter().any(|&layout| Some(layout) == used);
        if asked && needs_trellis(diagnosis.verdict.wire().cause()) {
            notes.push(
                "The reads are too many, or too far from the layout's length, to be walked \
                 together as reads of one card: they were weighed as cards of their own."
                    .to_owned(),
            );
        }
        let mut names: Vec<&str> = posterior
            .left_out
            .iter()
            .filter_map(|&(index, _)| candidates.layouts().get(index))
            .map(|layout| layout.name())
            .collect();
        names.dedup();
        for name in names {
            notes.push(format!(
                "{name} has too many parity checks open at once to weigh lost or added pulses on \
                 a card other than the one expected; those were left out of account."
            ));
        }
    }
    notes
}

/// What it means that the reads come from a capture.
fn of_capture(diagnosis: &Diagnosis, case: &Case) -> Vec<String> {
    let Some(at) = case.captured else { return Vec::new() };
    let mut notes = Vec::new();
    let sound = !matches!(diagnosis.verdict, Verdict::Wire(_));
    if at == ProbeAt::Reader && sound {
        notes.push(
            "The lines are sound at the reader's conductors, where this was captured: the fault, \
             if any, lies towards the panel."
                .to_owned(),
        );
    }
    if at == ProbeAt::Reader && !sound {
        notes.push(
            "This was captured at the reader's conductors, so the fault is there or in the \
             reader: its tail, its joints, its supply."
                .to_owned(),
        );
    }
    notes
}

pub(super) fn cautions(diagnosis: &Diagnosis) -> Vec<String> {
    let mends = match diagnosis.verdict {
        Verdict::Wire(wire) => wire_info(wire).caution.is_some(),
        Verdict::NoData => true,
        _ => false,
    };
    let tests = diagnosis.next.iter().any(|test| test.touches_wire && test.gain_bits > 0.0);
    if mends || tests { vec![WIRE_CAUTION.to_owned()] } else { Vec::new() }
}
