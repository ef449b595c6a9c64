//! The answer as people see it: the verdict, the bits, what to do, what else
//! it could be.

use misread::cause::Cause;
use misread::cause::catalogue::{Step, WIRE_CAUTION, card_info, info};
use misread::diagnose::{
    Aligned, CauseFound, Diagnosis, NextTest, Numbers, TakenAs, Verdict, align,
};
use misread::{Bit, Bits};

use super::question::{Question, Timing};
use crate::draw::{Alignment, Drawing, Ink, Line, Marked, hanging};
use crate::masking::Masking;
use crate::words::{list, lower, percent};

/// Other causes less likely than this are not worth a line.
const WORTH_A_LINE: f64 = 0.005;

/// Outcomes of a test less likely than this are not worth a line.
const WORTH_SAYING: f64 = 0.04;

/// How many other causes are shown.
const MOST_OTHERS: usize = 5;

/// How many reads' cards are listed.
const MOST_CARDS: usize = 20;

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
    let found = diagnosis.answer_cause();
    if !diagnosis.ok {
        if let Some(found) = found {
            page.gap();
            page.lines.extend(picture(question, found, masking));
        }
        cards(&mut page, question, found, masking);
        evidence(&mut page, found, diagnosis);
    } else if question.case.reads.len() > 1 {
        cards(&mut page, question, found, masking);
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
        others(&mut page, diagnosis);
        next(&mut page, &diagnosis.next, diagnosis);
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
    match diagnosis.answer {
        Some(_) => format!("{} sure: {}", percent(diagnosis.sure), lower(&diagnosis.says)),
        None => diagnosis.says.clone(),
    }
}

/// The bits of the first read that has any, drawn so that they show what the
/// verdict says.
fn picture(question: &Question, found: &CauseFound, masking: Masking) -> Vec<Line> {
    let reads = &question.case.reads;
    let Some(at) = reads.iter().position(|read| !read.bits.is_empty()) else { return Vec::new() };
    let read = reads[at].bits;
    let layout = found.layout.and_then(|index| question.layout(index));
    let plain = |bits: &Bits, marks: Vec<Marked>| Drawing { bits, layout, marks, masking }.lines();
    let Some(layout) = layout else { return plain(&read, Vec::new()) };
    let frame = found.decoded.get(at).and_then(Option::as_ref).map(|card| card.frame);
    let Some(frame) = frame else { return plain(&read, Vec::new()) };
    // Where a bit was lost or added on one line tells its value.
    if masking.is_on() && read.len() != layout.bits() {
        return plain(&read, Vec::new());
    }
    let way = match found.cause {
        Cause::HeadLost => Some(cut(layout.bits(), read.len(), layout.bits() - read.len())),
        Cause::TailLost => Some(cut(layout.bits(), read.len(), 0)),
        cause => align(cause, found.rate.unwrap_or(0.5), &frame, &read),
    };
    if let Some(way) = way.filter(|_| read.len() != layout.bits()) {
        return Alignment { frame: &frame, read: &read, way: &way, layout }.lines();
    }
    match found.cause {
        Cause::FrameSplit => {
            let next = reads[at + 1..].iter().find(|read| !read.bits.is_empty());
            let both = next.and_then(|next| read.concat(&next.bits).ok()).unwrap_or(read);
            let cut = Marked { bits: vec![read.len()], word: "the second read begins".to_owned() };
            plain(&both, vec![cut])
        }
        Cause::FramesMerged => plain(&read.slice(0, layout.bits()), Vec::new()),
        Cause::BitsChanged => {
            let differs = |&i: &usize| {
                let pair = (read.get(i).and_then(Bit::value), frame.get(i).and_then(Bit::value));
                matches!(pair, (Some(a), Some(b)) if a != b)
            };
            let bits: Vec<usize> = (0..read.len()).filter(differs).collect();
            let mut marks = Marked::failures(layout, &read);
            if !bits.is_empty() {
                marks = vec![Marked { bits, word: "should be the other value".to_owned() }];
            }
            plain(&read, marks)
        }
        _ => plain(&read, Marked::failures(layout, &read)),
    }
}

/// A frame of which only `arrived` bits from `from` on were received.
fn cut(n: usize, arrived: usize, from: usize) -> Vec<Aligned> {
    let step = |frame: usize| match frame.checked_sub(from).filter(|&read| read < arrived) {
        Some(read) => Aligned::Arrived { frame, read },
        None => Aligned::Lost { frame },
    };
    (0..n).map(step).collect()
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

fn cards(page: &mut Page, question: &Question, found: Option<&CauseFound>, masking: Masking) {
    let Some(found) = found else { return };
    let Some(layout) = found.layout.and_then(|index| question.layout(index)) else { return };
    let numbers = if masking.is_on() { Numbers::Masked } else { Numbers::Shown };
    let several = found.decoded.len() > 1;
    let mut found_cards = found.decoded.iter().flatten();
    let first = found_cards.next();
    let named = first
        .is_some_and(|first| first.single && found_cards.all(|card| card.fields == first.fields));
    if named && found.decoded.iter().all(Option::is_some) {
        // The first line names the card.
        return;
    }
    page.gap();
    for (i, card) in found.decoded.iter().enumerate().take(MOST_CARDS) {
        let says = match card {
            Some(card) if card.fields.is_empty() => {
                "too many are possible to say; no field is certain".to_owned()
            }
            Some(card) if card.single => numbers.values(layout, &card.fields),
            Some(card) => {
                format!("several are possible; certain is {}", numbers.values(layout, &card.fields))
            }
            None if question.case.reads[i].bits.is_empty() => "empty, set aside".to_owned(),
            None => continue,
        };
        let name = if several { format!("Read {}: ", i + 1) } else { "The card: ".to_owned() };
        page.say(Ink::Plain, &name, &says);
    }
    if let Some(more) = found.decoded.len().checked_sub(MOST_CARDS).filter(|&more| more > 0) {
        page.say(Ink::Plain, "", &format!("… and {more} more reads"));
    }
}

fn evidence(page: &mut Page, found: Option<&CauseFound>, diagnosis: &Diagnosis) {
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
    const NOTHING: &[Step] = &[
        Step {
            says: "See whether the reader lights or sounds when a card is presented; measure the \
                   supply at its terminals.",
            touches_wire: false,
        },
        Step {
            says: "Measure each data line at rest against common, at the panel and at the reader.",
            touches_wire: false,
        },
        Step {
            says: "Wait longer than the panel's time for ignoring repeats and present another \
                   card.",
            touches_wire: false,
        },
        Step {
            says: "With the supply off, check common and both data conductors end to end.",
            touches_wire: true,
        },
    ];
    const LAYOUT: &[Step] = &[Step {
        says: "Set the panel to the card's layout, or use cards of the panel's. Then present two \
               cards whose numbers you know.",
        touches_wire: false,
    }];
    const DECLARED: &[Step] = &[Step {
        says: "Compare the card with the order: it may belong to another site or another batch.",
        touches_wire: false,
    }];
    let steps = match diagnosis.verdict {
        Verdict::NoData => NOTHING,
        Verdict::Wire(cause) => info(cause).mend,
        Verdict::Card(state) => card_info(state).mend,
        Verdict::LayoutDiffers => LAYOUT,
        Verdict::None => DECLARED,
    };
    page.heading("What to do");
    let mut cautioned = false;
    for (i, step) in steps.iter().enumerate() {
        if step.touches_wire && !cautioned {
            cautioned = true;
            page.say(Ink::Alert, "  CAUTION: ", WIRE_CAUTION);
        }
        page.say(Ink::Plain, &format!("  {}. ", i + 1), step.says);
    }
}

fn others(page: &mut Page, diagnosis: &Diagnosis) {
    let answer = diagnosis.answer.map(|answer| answer.cause);
    let others: Vec<&CauseFound> = diagnosis
        .causes
        .iter()
        .filter(|found| Some(found.cause) != answer && found.probability >= WORTH_A_LINE)
        .take(MOST_OTHERS)
        .collect();
    if others.is_empty() {
        return;
    }
    page.heading("What else it could be");
    for found in others {
        let lead = format!("  {:>6}  ", percent(found.probability));
        page.say(Ink::Plain, &lead, &format!("{}.", info(found.cause).headline));
        if let Some(alike) = diagnosis.alike.iter().find(|alike| alike.cause == found.cause) {
            let tells = format!("The bits cannot tell; this can: {}.", lower(&alike.says));
            let tells = match alike.test {
                Some(_) => tells,
                None => "The bits cannot tell, and no test that is known here can.".to_owned(),
            };
            page.say(Ink::Plain, &" ".repeat(lead.len()), &tells);
        }
    }
}

fn next(page: &mut Page, tests: &[NextTest], diagnosis: &Diagnosis) {
    let sure = diagnosis.sure >= 0.99;
    let Some(test) = tests.first().filter(|test| test.gain_bits > 0.005 && !sure) else { return };
    page.heading("The quickest way to tell");
    let touches = if test.touches_wire { ", supply off first: see the caution" } else { "" };
    let minutes = test.minutes;
    page.say(Ink::Plain, "  ", &format!("{} ({minutes} min{touches}).", test.says));
    for outcome in test.outcomes.iter().take(4).filter(|o| o.probability >= WORTH_SAYING) {
        page.say(
            Ink::Plain,
            "  - ",
            &format!(
                "If {}: {} ({}).",
                outcome.says,
                lower(info(outcome.cause).headline),
                percent(outcome.cause_probability)
            ),
        );
    }
    let mends = matches!(diagnosis.verdict, Verdict::Wire(cause) if info(cause).caution.is_some());
    if test.touches_wire && !mends {
        page.say(Ink::Alert, "  CAUTION: ", WIRE_CAUTION);
    }
}
