//! The answer as people see it: the verdict, the bits, what to do, what else
//! it could be.

mod picture;
mod reads;

use misread::cause::CardState;
use misread::cause::catalogue::{WIRE_CAUTION, card_info, headline};
use misread::diagnose::{
    CardFound, Diagnosis, LayoutUsed, Numbers, Pair, TakenAs, Verdict, WireFound,
};

use super::question::{Question, Timing};
use crate::draw::{Ink, Line, hanging};
use crate::masking::Masking;
use crate::words::{list, lower, percent};

/// Other causes less likely than this are not worth a line.
const WORTH_A_LINE: f64 = 0.005;

/// Outcomes of a test less likely than this are not worth a line.
const WORTH_SAYING: f64 = 0.04;

/// How many other causes are shown.
const MOST_OTHERS: usize = 5;

pub(super) fn lines(
    question: &Question,
    diagnosis: &Diagnosis,
    taken: &[TakenAs],
    masking: Masking,
) -> Vec<Line> {
    let mut page = Page::default();
    page.say(Ink::Strong, "", &first_line(diagnosis));
    if let Some(groups) = question.joined {
        page.say(
            Ink::Plain,
            "",
            &format!("{groups} groups joined into one read; --separate takes them apart."),
        );
    }
    printed(&mut page, question, taken, masking);
    let found = diagnosis.answer_wire();
    if !diagnosis.ok {
        if let Some(found) = found {
            page.lines.extend(picture::lines(question, diagnosis, found, masking));
        }
        page.lines.extend(reads::lines(question, diagnosis, masking));
        evidence(&mut page, found, diagnosis);
    } else if question.case.reads.len() > 1 {
        page.lines.extend(reads::lines(question, diagnosis, masking));
    }
    timing(&mut page, question);
    if !diagnosis.notes.is_empty() {
        page.gap();
        for note in &diagnosis.notes {
            page.say(Ink::Plain, "", note);
        }
    }
    if !diagnosis.ok {
        mend(&mut page, diagnosis);
        others(&mut page, question, diagnosis, masking);
        next(&mut page, diagnosis);
    }
    page.lines
}

/// A page of text and drawings.
#[derive(Default)]
struct Page {
    lines: Vec<Line>,
}

impl Page {
    fn gap(&mut self) {
        self.lines.push(Line::default());
    }

    fn heading(&mut self, text: &str) {
        self.gap();
        self.lines.push(Line::new(Ink::Strong, text));
    }

    /// Wrapped text behind a lead such as "  1. ", later lines set in as far.
    fn say(&mut self, ink: Ink, lead: &str, text: &str) {
        self.lines.extend(hanging(ink, lead, text));
    }
}

fn first_line(diagnosis: &Diagnosis) -> String {
    match diagnosis.verdict {
        Verdict::NoData => diagnosis.says.clone(),
        _ => format!("{} sure: {}", percent(diagnosis.probability), lower(&diagnosis.says)),
    }
}

/// How a printed number was taken, and how else it could be.
fn printed(page: &mut Page, question: &Question, taken: &[TakenAs], masking: Masking) {
    const MOST: usize = 3;
    let numbers = if masking.is_on() { Numbers::Masked } else { Numbers::Shown };
    let says = |taken: &TakenAs| {
        let layout = question.layout(taken.layout)?;
        let fields = numbers.values(layout, &taken.fields);
        Some(format!("{fields} in {} ({})", layout.name(), percent(taken.probability)))
    };
    let mut ways = taken.iter().filter(|taken| taken.probability >= WORTH_A_LINE);
    let Some(first) = ways.next().and_then(says) else { return };
    let others: Vec<String> = ways.take(MOST).filter_map(says).collect();
    let or = match others.is_empty() {
        true => String::new(),
        false => format!(" It could also be {}.", others.join("; ")),
    };
    page.say(Ink::Plain, "", &format!("The printed number is taken as {first}.{or}"));
}

fn evidence(page: &mut Page, found: Option<&WireFound>, diagnosis: &Diagnosis) {
    let of_bits = found.map_or(&[][..], |found| found.evidence.as_slice());
    let of_pulses = diagnosis.moved.iter().map(|moved| &moved.says);
    let mut says = of_bits.iter().chain(of_pulses).peekable();
    if says.peek().is_none() {
        return;
    }
    page.heading("Why");
    for says in says {
        page.say(Ink::Plain, "  - ", says);
    }
}

/// What a capture shows beside what was weighed.
fn timing(page: &mut Page, question: &Question) {
    let Timing { whole, cut, limits } = &question.timing;
    if whole.is_empty() && limits.is_empty() && cut.is_none() {
        return;
    }
    page.heading("Timing");
    if let Some(cut) = cut {
        page.say(Ink::Plain, "  - ", cut.says());
    }
    for finding in whole {
        page.say(Ink::Plain, "  - ", &format!("{finding} {}", finding.kind.meaning()));
    }
    let counts: Vec<String> =
        limits.iter().map(|(kind, &n)| format!("{kind} {}", times(n))).collect();
    if !counts.is_empty() {
        let says = format!("Outside the limits: {}. misread capture shows where.", list(&counts));
        page.say(Ink::Plain, "  - ", &says);
    }
}

fn times(n: usize) -> String {
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

fn mend(page: &mut Page, diagnosis: &Diagnosis) {
    page.heading("What to do");
    let mut cautioned = false;
    for (i, step) in diagnosis.steps.iter().enumerate() {
        if step.touches_wire && !cautioned {
            cautioned = true;
            page.say(Ink::Alert, "  CAUTION: ", WIRE_CAUTION);
        }
        page.say(Ink::Plain, &format!("  {}. ", i + 1), &step.says);
    }
}

fn others(page: &mut Page, question: &Question, diagnosis: &Diagnosis, masking: Masking) {
    let answer = diagnosis.verdict.wire();
    let fields = |found: &WireFound| diagnosis_card(found).map(|card| card.fields.clone());
    let mine = diagnosis.answer_wire().and_then(fields);
    let wires = diagnosis
        .causes
        .iter()
        .filter(|found| found.wire != answer && found.probability >= WORTH_A_LINE)
        .map(|found| (found.probability, Other::Wire(found)));
    let sound = other_pairs(question, diagnosis).into_iter();
    let mut others: Vec<(f64, Other<'_>)> =
        wires.chain(sound.map(|(says, probability)| (probability, Other::Sound(says)))).collect();
    if others.is_empty() {
        return;
    }
    others.sort_by(|a, b| b.0.total_cmp(&a.0));
    let more = others.len().saturating_sub(MOST_OTHERS);
    page.heading("What else it could be");
    let numbers = masking.numbers();
    for (probability, other) in others.into_iter().take(MOST_OTHERS) {
        let lead = format!("  {:>6}  ", percent(probability));
        let found = match other {
            Other::Wire(found) => found,
            Other::Sound(says) => {
                page.say(Ink::Plain, &lead, &says);
                continue;
            }
        };
        // Where it would name another card, that is what changes.
        let card = diagnosis_card(found).filter(|card| Some(&card.fields) != mine.as_ref());
        let card = card.and_then(|card| {
            Some(format!(": {}", numbers.values(question.layout(card.layout)?, &card.fields)))
        });
        let says = headline(found.wire.into());
        page.say(Ink::Plain, &lead, &format!("{says}{}.", card.unwrap_or_default()));
        if let Some(alike) = diagnosis.alike.iter().find(|alike| alike.wire == found.wire) {
            let tells = match alike.test {
                Some(_) => format!("The bits cannot tell; this can: {}.", lower(&alike.says)),
                None => "The bits cannot tell, and no test that is known here can.".to_owned(),
            };
            page.say(Ink::Plain, &" ".repeat(lead.len()), &tells);
        }
    }
    if more > 0 {
        page.say(Ink::Plain, "          ", &format!("… and {more} more; --json has all."));
    }
}

/// What else it could be.
enum Other<'a> {
    Wire(&'a WireFound),
    /// A sound wire, with another card state or layout.
    Sound(String),
}

/// What else may be so where the wire is sound, as the verdict says it is: other
/// card states and layouts.
fn other_pairs(question: &Question, diagnosis: &Diagnosis) -> Vec<(String, f64)> {
    let Some(posterior) = &diagnosis.posterior else { return Vec::new() };
    if !diagnosis.verdict.wire().is_none() {
        return Vec::new();
    }
    let mut pairs = posterior.pairs_under(diagnosis.verdict.wire());
    pairs.retain(|pair| {
        (pair.card, pair.layout) != (diagnosis.card, diagnosis.layout)
            && pair.probability >= WORTH_A_LINE
    });
    pairs.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let says = |pair: &Pair| {
        let card = pair.card.filter(|&state| state != CardState::AsExpected);
        let sound = card.map_or("The wiring is sound", |state| card_info(state).headline);
        let layout = match pair.layout {
            Some(LayoutUsed::Mixed) => " (each of a layout of its own)".to_owned(),
            Some(LayoutUsed::Candidate(index)) => {
                question.layout(index).map_or_else(String::new, |l| format!(" ({})", l.name()))
            }
            None => String::new(),
        };
        (format!("{sound}{layout}."), pair.probability)
    };
    pairs.iter().map(says).collect()
}

/// The card a wire state names: the same behind every read, and likely enough.
fn diagnosis_card(found: &WireFound) -> Option<&CardFound> {
    let mut cards = found.decoded.iter().flatten();
    let first = cards.next().filter(|card| card.is_sure())?;
    cards.all(|card| card.is_sure() && card.fields == first.fields).then_some(first)
}

fn next(page: &mut Page, diagnosis: &Diagnosis) {
    // What an outcome would say is said of something that is wrong.
    if diagnosis.verdict == Verdict::None {
        return;
    }
    let Some(step) = diagnosis.next.first().filter(|step| !step.is_mend()) else { return };
    page.heading("The quickest way to tell");
    let touches = if step.touches_wire { ", supply off first: see the caution" } else { "" };
    let minutes = step.minutes;
    let takes = match minutes > 0.0 {
        true => format!(" ({minutes} min{touches})"),
        false => String::new(),
    };
    page.say(Ink::Plain, "  ", &format!("{}{takes}.", step.says));
    for outcome in step.outcomes.iter().take(4).filter(|o| o.probability >= WORTH_SAYING) {
        page.say(
            Ink::Plain,
            "  - ",
            &format!(
                "If {}: {} ({}).",
                outcome.says,
                lower(&headline(outcome.fault)),
                percent(outcome.fault_probability)
            ),
        );
    }
    let mends = diagnosis.steps.iter().any(|step| step.touches_wire);
    if step.touches_wire && !mends {
        page.say(Ink::Alert, "  CAUTION: ", WIRE_CAUTION);
    }
}
