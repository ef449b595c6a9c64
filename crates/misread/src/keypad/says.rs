//! The answer in sentences.

use misread_core::Turn;
use misread_core::keypad::{Key, Mode};

use super::answer::{Answer, Class, Possible, Setting, Verdict};
use super::codes::{Code, Undo, codes, turn_of};
use super::{Press, Sending};
use crate::cause::Cause;
use crate::cause::catalogue::info;
use crate::diagnose::Numbers;
use crate::diagnose::wording::and;

/// How many codes a sentence names.
const MOST_CODES: usize = 3;

/// What is less likely than this is not worth a sentence.
const WORTH_SAYING: f64 = 0.05;

/// How many keys a sentence shows as received.
const MOST_KEYS: usize = 40;

pub(super) fn fill(
    answer: &mut Answer,
    presses: &[Press],
    setting: &Setting<'_>,
    numbers: Numbers,
) {
    let sending = answer.sending.and_then(|index| setting.sendings.get(index));
    answer.says = sentence(answer, setting, sending, numbers);
    answer.evidence = evidence(answer, presses, setting, sending, numbers);
    answer.notes = notes(answer, presses, setting, sending);
    answer.tells = tells(answer, setting, sending);
}

fn sentence(
    answer: &Answer,
    setting: &Setting<'_>,
    sending: Option<&Sending>,
    numbers: Numbers,
) -> String {
    let keyed = listed(&answer.codes, numbers);
    let how = sending.map(|sending| format!(" ({sending})")).unwrap_or_default();
    if let (Verdict::None | Verdict::Wire(_), Some(false)) = (answer.verdict, answer.as_keyed) {
        let what = match answer.verdict {
            Verdict::Wire(cause) => info(cause).headline,
            _ => "The wiring is sound",
        };
        let keys = setting.expected.unwrap_or_default().iter().map(Key::to_string);
        return match numbers {
            Numbers::Masked => format!("{what}{how}, but what arrived is not what was keyed."),
            Numbers::Shown => {
                let keys: String = keys.collect();
                format!("{what}{how}, but what arrived is {keyed}, not the {keys} keyed.")
            }
        };
    }
    match answer.verdict {
        Verdict::NoData => "Nothing arrived.".to_owned(),
        Verdict::None if answer.problems.is_empty() => {
            format!("The keypad is good: {keyed}{how}.")
        }
        Verdict::None => {
            format!("The wiring is sound{how}, but {}.", problems(answer, sending, numbers))
        }
        Verdict::Wire(Cause::UnknownLayout) => {
            let ways: Vec<String> = setting.sendings.iter().map(ToString::to_string).collect();
            let ways = ways.join(", ");
            format!("This keypad sends in a way that is not among those tried: {ways}.")
        }
        Verdict::Wire(cause)
            if turn_of(cause).is_some()
                || (answer.problems.is_empty() && !answer.codes.is_empty()) =>
        {
            format!("{}; what was keyed is {keyed}{how}.", info(cause).headline)
        }
        Verdict::Wire(cause) if answer.problems.is_empty() => {
            format!("{}{how}.", info(cause).headline)
        }
        Verdict::Wire(cause) => {
            let problems = problems(answer, sending, numbers);
            format!("{}{how}: {problems}.", info(cause).headline)
        }
        Verdict::Ambiguous => ambiguous(answer, setting, numbers),
    }
}

fn problems(answer: &Answer, sending: Option<&Sending>, numbers: Numbers) -> String {
    let Some(first) = answer.problems.first() else { return String::new() };
    let what = match sending {
        Some(Sending::WholeCode(_)) => ("is no code", "reads are no code"),
        _ => ("is no key", "presses are no key"),
    };
    let says = first.says(numbers);
    match answer.problems.len() {
        1 => format!("read {} {}: {says}", first.read, what.0),
        many => {
            format!(
                "{many} of {} {}, the first is read {}: {says}",
                answer.presses, what.1, first.read
            )
        }
    }
}

fn ambiguous(answer: &Answer, setting: &Setting<'_>, numbers: Numbers) -> String {
    // Masked, where one reading has a hash key and another none would tell.
    let with_codes = |what: String, possible: &Possible| match possible.codes.is_empty()
        || numbers == Numbers::Masked
    {
        true => what,
        false => format!("{what}, {} keyed", listed(&possible.codes, numbers)),
    };
    let sent = |possible: &Possible| Some(setting.sendings.get(possible.sending?)?.to_string());
    let ways = worth_saying(answer, |possible| possible.sending);
    if answer.sending.is_none() && ways.len() > 1 {
        let ways = ways.into_iter().filter_map(|one| Some(with_codes(sent(one)?, one)));
        let ways: Vec<String> = ways.collect();
        return format!("These reads leave open how the keypad sends: {}.", ways.join("; or "));
    }
    let ways =
        worth_saying(answer, |possible| possible.class).into_iter().map(|possible| match possible
            .class
        {
            Class::AsReceived => with_codes("sound wiring".to_owned(), possible),
            Class::TurnedOver => with_codes("swapped data lines".to_owned(), possible),
            Class::LastBitFirst => with_codes("bits in reverse order".to_owned(), possible),
            Class::Bent => "bits lost, added or wrong".to_owned(),
            Class::NoKeys => "no keys at all".to_owned(),
        });
    let ways: Vec<String> = ways.collect();
    format!("These reads leave it open: {}.", ways.join("; or "))
}

/// The likeliest of each sort that is likely enough for a sentence.
fn worth_saying<T: PartialEq>(answer: &Answer, sort: impl Fn(&Possible) -> T) -> Vec<&Possible> {
    let mut first: Vec<&Possible> = Vec::new();
    for possible in &answer.possible {
        let is_new = first.iter().all(|other| sort(other) != sort(possible));
        let same = answer.possible.iter().filter(|other| sort(other) == sort(possible));
        let share: f64 = same.map(|other| other.probability).sum();
        if is_new && share >= WORTH_SAYING {
            first.push(possible);
        }
    }
    first
}

/// Codes in a sentence: "417#, 52# and 3 more codes".
fn listed(codes: &[Code], numbers: Numbers) -> String {
    if codes.is_empty() {
        return "no code".to_owned();
    }
    let with_others = |code: &Code| {
        let others = code.others.iter().filter(|_| numbers == Numbers::Shown);
        let others: Vec<String> = others.map(|(name, value)| format!(", {name} {value}")).collect();
        code.text(numbers) + &others.concat()
    };
    let mut texts: Vec<String> = codes.iter().take(MOST_CODES).map(with_others).collect();
    match codes.len().saturating_sub(MOST_CODES) {
        0 => {}
        1 => texts.push("one more code".to_owned()),
        more => texts.push(format!("{more} more codes")),
    }
    and(&texts)
}

fn evidence(
    answer: &Answer,
    presses: &[Press],
    setting: &Setting<'_>,
    sending: Option<&Sending>,
    numbers: Numbers,
) -> Vec<String> {
    let Some(sending) = sending else { return Vec::new() };
    let Verdict::Wire(cause) = answer.verdict else { return Vec::new() };
    let received = codes(presses, sending, Turn::AsReceived, setting.pause);
    let (one, several) = match sending {
        Sending::Keys(_) => ("a key", "keys"),
        Sending::WholeCode(_) => ("a code", "codes"),
    };
    // The noun stands where it is first spoken of.
    let of = |reading: usize, problems: usize, noun: bool| {
        let sound = reading.saturating_sub(problems);
        let says = match (sound, reading) {
            (0, 1) => "it is not".to_owned(),
            (0, _) => "none are".to_owned(),
            (1, 1) => "it is".to_owned(),
            (2, 2) => "both are".to_owned(),
            (all, of) if all == of => format!("all {of} are"),
            (some, of) => format!("{some} of {of} are"),
        };
        match noun {
            true => format!("{says} {}", if reading == 1 { one } else { several }),
            false => says,
        }
    };
    let wrong = of(received.presses, received.problems.len(), true);
    let undo = Undo::of(cause).filter(|&undo| undo != Undo::Turn(Turn::AsReceived));
    let undone = match undo {
        None => return vec![format!("As received, {wrong}.")],
        Some(Undo::Turn(Turn::Inverted | Turn::InvertedReversed)) => "with every bit turned over",
        Some(Undo::Turn(_)) => "from the last bit to the first",
        Some(Undo::FirstHalf) => "the first half of each read alone",
        Some(Undo::Bytes) => "with the bytes in order",
    };
    let left = of(answer.presses, answer.problems.len(), false);
    let mut evidence = vec![format!("As received, {wrong}; {undone}, {left}.")];
    if let (Sending::Keys(_), Some(undo), Numbers::Shown) = (sending, undo, numbers) {
        let first = keys_as(presses, sending, Undo::Turn(Turn::AsReceived));
        let then = keys_as(presses, sending, undo);
        evidence.push(format!("As received: {first}; {undone}: {then}."));
    }
    evidence
}

/// The keys of the first reads, `?` where there is none.
fn keys_as(presses: &[Press], sending: &Sending, undo: Undo) -> String {
    let Sending::Keys(mode) = sending else { return String::new() };
    let mut text = String::new();
    for press in presses {
        let bits = undo.frame(&press.bits, sending);
        for key in mode.keys(&bits) {
            if text.chars().count() == MOST_KEYS {
                return text + "…";
            }
            text.push(key.map_or('?', |key| key.as_char()));
        }
    }
    text
}

fn notes(
    answer: &Answer,
    presses: &[Press],
    setting: &Setting<'_>,
    sending: Option<&Sending>,
) -> Vec<String> {
    let mut notes = Vec::new();
    if let Verdict::Wire(Cause::LinesSwapped | Cause::BitsInverted) = answer.verdict
        && setting.captured.is_none()
    {
        notes.push(
            "Swapped data lines and a recorder that turns bits over give the same bits always; \
             swapping the conductors cures both at the recorder, so only a recording of the two \
             lines tells them apart."
                .to_owned(),
        );
    }
    if let Some(Sending::WholeCode(_)) = sending {
        notes.push(
            "The frame carries the code as a number: zeros in front of it are not seen.".to_owned(),
        );
    }
    let asked = |mode: Mode| setting.sendings.contains(&Sending::Keys(mode));
    if !answer.ok {
        for mode in Mode::ALL.into_iter().filter(|&mode| !asked(mode)) {
            let other = codes(presses, &Sending::Keys(mode), Turn::AsReceived, setting.pause);
            if other.problems.is_empty() && other.presses > 0 {
                notes.push(format!("Sent with {mode}, every read would be a key as received."));
            }
        }
    }
    notes
}

fn tells(answer: &Answer, setting: &Setting<'_>, sending: Option<&Sending>) -> Option<String> {
    let says = match (answer.verdict, sending) {
        (Verdict::Wire(_) | Verdict::NoData | Verdict::None, _) => return None,
        (Verdict::Ambiguous, Some(Sending::WholeCode(_))) => {
            "Key a code whose digits you know, give that read and say the code with --expect."
        }
        (Verdict::Ambiguous, None) if setting.sendings.len() > 1 => {
            "Press 0, 1, 2, 3 and #, a second apart, and give each press as a read of its own: \
             its length and its checks say how the keypad sends."
        }
        (Verdict::Ambiguous, _) => {
            "Press 0, 1, 2, 3 and #, and give those reads: with the data lines swapped, 0 to 3 \
             become values that no key sends. Or say with --expect what was keyed."
        }
    };
    Some(says.to_owned())
}
