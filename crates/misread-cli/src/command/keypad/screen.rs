//! The answer as people see it: the verdict, the codes, what to do.

use misread::cause::Cause;
use misread::cause::catalogue::{Step, WIRE_CAUTION, info};
use misread::diagnose::Numbers;
use misread::keypad::{Answer, Code, Ended, Possible, Verdict};

use super::question::Question;
use crate::draw::{Ink, Line, hanging};
use crate::words::{count, lower, percent};

/// What is less likely than this is not worth a line.
const WORTH_A_LINE: f64 = 0.01;

/// How many codes, problems and other causes are listed.
const MOST_CODES: usize = 40;
const MOST_PROBLEMS: usize = 10;
const MOST_OTHERS: usize = 6;

pub(super) fn lines(
    question: &Question,
    answer: &Answer,
    fitting: &[&str],
    numbers: Numbers,
) -> Vec<Line> {
    let mut lines = hanging(Ink::Strong, "", &first_line(answer));
    codes(&mut lines, answer, numbers);
    problems(&mut lines, answer, numbers);
    section(&mut lines, "Why");
    for says in &answer.evidence {
        lines.extend(hanging(Ink::Plain, "  - ", says));
    }
    drop_empty_section(&mut lines);
    for note in question.notes(answer) {
        lines.push(Line::default());
        lines.extend(hanging(Ink::Plain, "", note));
    }
    if !answer.ok {
        what_to_do(&mut lines, answer, fitting);
        others(&mut lines, question, answer, numbers);
        if let Some(tells) = &answer.tells {
            section(&mut lines, "The quickest way to tell");
            lines.extend(hanging(Ink::Plain, "  ", tells));
        }
    }
    lines
}

fn first_line(answer: &Answer) -> String {
    match answer.verdict {
        Verdict::NoData | Verdict::Ambiguous => answer.says.clone(),
        _ => format!("{} sure: {}", percent(answer.probability), lower(&answer.says)),
    }
}

fn section(lines: &mut Vec<Line>, heading: &str) {
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, heading));
}

/// Takes a heading back under which nothing stands.
fn drop_empty_section(lines: &mut Vec<Line>) {
    let [.., gap, _] = lines.as_slice() else { return };
    if *gap == Line::default() {
        lines.truncate(lines.len() - 2);
    }
}

/// Every code on a line of its own, where the first line does not say it all.
fn codes(lines: &mut Vec<Line>, answer: &Answer, numbers: Numbers) {
    let plain = |code: &Code| code.ended == Ended::Hash && code.cleared == 0;
    if answer.codes.is_empty() || (answer.codes.len() <= 3 && answer.codes.iter().all(plain)) {
        return;
    }
    let width = answer.codes.iter().map(|code| code.keys.len() + 1).max().unwrap_or(0).min(24);
    section(lines, "Codes keyed");
    for code in answer.codes.iter().take(MOST_CODES) {
        let mut says = match code.ended {
            Ended::Hash => String::new(),
            Ended::Pause => "a pause ended it".to_owned(),
            Ended::StreamEnd => "no # yet".to_owned(),
            Ended::TooManyKeys => "cut: no code is longer".to_owned(),
        };
        if code.cleared > 0 {
            let cleared = format!("* cleared {} before it", count(code.cleared, "key"));
            says = if says.is_empty() { cleared } else { format!("{says}; {cleared}") };
        }
        let lead = format!("  {:width$}  ", code.text(numbers));
        match says.is_empty() {
            true => lines.push(Line::new(Ink::Plain, lead.trim_end())),
            false => lines.extend(hanging(Ink::Plain, &lead, &says)),
        }
    }
    more(lines, answer.codes.len(), MOST_CODES, "code");
}

fn problems(lines: &mut Vec<Line>, answer: &Answer, numbers: Numbers) {
    // The first line names a single one.
    if answer.problems.len() < 2 {
        return;
    }
    section(lines, "What is no key");
    for problem in answer.problems.iter().take(MOST_PROBLEMS) {
        let lead = format!("  read {}: ", problem.read);
        lines.extend(hanging(Ink::Plain, &lead, &problem.says(numbers)));
    }
    more(lines, answer.problems.len(), MOST_PROBLEMS, "other");
}

fn more(lines: &mut Vec<Line>, all: usize, shown: usize, noun: &str) {
    if let Some(more) = all.checked_sub(shown).filter(|&more| more > 0) {
        lines.push(Line::new(Ink::Plain, format!("  … and {} more", count(more, noun))));
    }
}

const NOTHING: &[Step] = &[
    Step {
        says: "See whether the keypad lights or sounds when a key is pressed; measure the supply \
               at its terminals.",
        touches_wire: false,
    },
    Step {
        says: "It may send nothing until # is pressed: key a whole code and #.",
        touches_wire: false,
    },
    Step {
        says: "Measure each data line at rest against common, at the panel and at the keypad.",
        touches_wire: false,
    },
    Step {
        says: "With the supply off, check common and both data conductors end to end.",
        touches_wire: true,
    },
];

const UNKNOWN: &[Step] = &[
    Step {
        says: "Press 1, 2, 3 and # one at a time, a second apart, and give each read by itself.",
        touches_wire: false,
    },
    Step {
        says: "Look in the keypad's paper for how it sends: 4, 6 or 8 bits a key, or the whole \
               code in a frame. Many can be set to either.",
        touches_wire: false,
    },
];

const AGAIN: &[Step] = &[Step {
    says: "Press the same keys again. If the same one comes wrong each time, look at the keypad; \
           if another one does, look at the cable and its joints.",
    touches_wire: false,
}];

const TRY_IT: Step = Step {
    says: "At the keypad, press 1, 2, 3 and #: they must arrive as 123#.",
    touches_wire: false,
};

/// The steps of the catalogue; a card that it would present is a key here.
pub(super) fn mend(cause: Cause) -> Vec<Step> {
    let steps = info(cause).mend.iter().filter(|step| !step.says.starts_with("Present "));
    let last = if cause == Cause::BitsChanged { AGAIN } else { &[TRY_IT] };
    steps.chain(last).copied().collect()
}

fn what_to_do(lines: &mut Vec<Line>, answer: &Answer, fitting: &[&str]) {
    let steps: Vec<Step> = match answer.verdict {
        Verdict::Ambiguous => return,
        Verdict::NoData => NOTHING.to_vec(),
        Verdict::None => AGAIN.to_vec(),
        Verdict::Wire(Cause::UnknownLayout) => UNKNOWN.to_vec(),
        Verdict::Wire(cause) => mend(cause),
    };
    section(lines, "What to do");
    let mut cautioned = false;
    for (i, step) in steps.iter().enumerate() {
        if step.touches_wire && !cautioned {
            cautioned = true;
            lines.extend(hanging(Ink::Alert, "  CAUTION: ", WIRE_CAUTION));
        }
        lines.extend(hanging(Ink::Plain, &format!("  {}. ", i + 1), step.says));
    }
    if let Verdict::Wire(cause) = answer.verdict
        && cause != Cause::UnknownLayout
    {
        lines.extend(hanging(Ink::Plain, "  To make sure: ", info(cause).confirm));
        let speaks_of_card = |text: &str| text.contains("card");
        if speaks_of_card(info(cause).confirm) || steps.iter().any(|s| speaks_of_card(s.says)) {
            let says = "Where this speaks of a card, press a key whose bits you know.";
            lines.push(Line::new(Ink::Plain, format!("  {says}")));
        }
    }
    if answer.verdict == Verdict::Wire(Cause::UnknownLayout)
        && let [first, ..] = fitting
    {
        let says = format!(
            "The first read could be a whole code in a frame of {}: if that is the panel's \
             layout, say --layout {first}.",
            fitting.join(" or ")
        );
        lines.extend(hanging(Ink::Plain, &format!("  {}. ", steps.len() + 1), &says));
    }
}

fn others(lines: &mut Vec<Line>, question: &Question, answer: &Answer, numbers: Numbers) {
    let is_answer = |possible: &Possible| {
        matches!(answer.verdict, Verdict::Wire(cause) if cause == possible.cause)
            || (answer.verdict == Verdict::None && possible.cause == Cause::None)
    };
    let others: Vec<&Possible> = answer
        .possible
        .iter()
        .filter(|possible| possible.probability >= WORTH_A_LINE && !is_answer(possible))
        .take(MOST_OTHERS)
        .collect();
    if others.is_empty() {
        return;
    }
    section(
        lines,
        match answer.verdict {
            Verdict::Ambiguous => "What it may be",
            _ => "What else it could be",
        },
    );
    for possible in others {
        let lead = format!("  {:>6}  ", percent(possible.probability));
        let sending = possible.sending.and_then(|index| question.sendings.get(index));
        // Masked, where a hash key would stand in one of them would tell.
        let codes = possible.codes.iter().filter(|_| numbers == Numbers::Shown);
        let codes: Vec<String> = codes.take(3).map(|code| code.text(numbers)).collect();
        let mut says = info(possible.cause).headline.to_owned();
        if possible.cause == Cause::UnknownLayout {
            says = "It sends in a way that is not among those tried".to_owned();
        }
        if let Some(sending) = sending.filter(|_| possible.sending != answer.sending) {
            says += &format!(" ({sending})");
        }
        if !codes.is_empty() {
            says += &format!(": {}", codes.join(", "));
        }
        lines.extend(hanging(Ink::Plain, &lead, &(says + ".")));
    }
}
