//! The answer as JSON.

use misread::cause::catalogue::{WIRE_CAUTION, info};
use misread::diagnose::Numbers;
use misread::keypad::{Answer, Code, Ended, Key, Sending, Verdict};

use super::question::Question;
use super::screen::mend;
use crate::json::{FieldValue, Fields};
use crate::json_explain::Probability;
use crate::json_keypad as json;
use crate::masking::{HIDDEN, Masking};

pub(super) fn of(question: &Question, answer: &Answer, numbers: Numbers) -> json::Keypad {
    let sending = |index: Option<usize>| question.sendings.get(index?);
    let mode = |index| sending(index).map(|sending| sending.id().to_owned());
    let codes = |codes: &[Code]| codes.iter().map(|code| code_of(code, numbers)).collect();
    let wire = matches!(answer.verdict, Verdict::Wire(cause) if info(cause).caution.is_some());
    let touches_wire = wire || answer.verdict == Verdict::NoData;
    let probability = |p: f64| match numbers {
        Numbers::Shown => Probability(p),
        Numbers::Masked => Probability((p * 100.0).round() / 100.0),
    };
    let cause = match answer.verdict {
        Verdict::Wire(cause) => Some(cause),
        _ => None,
    };
    json::Keypad {
        schema: json::Keypad::SCHEMA,
        mode: mode(answer.sending),
        layout: match sending(answer.sending) {
            Some(Sending::WholeCode(layout)) => Some(layout.name().to_owned()),
            _ => None,
        },
        expected: question.expected.as_ref().map(|keys| {
            let shown = |key: &Key| match numbers {
                Numbers::Shown => key.as_char(),
                Numbers::Masked => HIDDEN,
            };
            keys.iter().map(shown).collect()
        }),
        codes: codes(&answer.codes),
        verdict: answer.verdict.id().to_owned(),
        ok: answer.ok,
        probability: (answer.verdict != Verdict::NoData).then(|| probability(answer.probability)),
        says: answer.says.clone(),
        presses: answer.presses,
        problems: answer
            .problems
            .iter()
            .map(|problem| json::Problem { read: problem.read, says: problem.says(numbers) })
            .collect(),
        possible: answer
            .possible
            .iter()
            .map(|possible| json::Possible {
                mode: mode(possible.sending),
                cause: possible.cause.id().to_owned(),
                probability: probability(possible.probability),
                codes: match numbers {
                    Numbers::Shown => codes(&possible.codes),
                    Numbers::Masked => Vec::new(),
                },
            })
            .collect(),
        evidence: answer.evidence.clone(),
        notes: question.notes(answer).map(str::to_owned).collect(),
        tells: answer.tells.clone(),
        confirm: cause.map(|cause| info(cause).confirm.to_owned()),
        mend: cause.map_or_else(Vec::new, |cause| {
            mend(cause).iter().map(|step| step.says.to_owned()).collect()
        }),
        cautions: if touches_wire { vec![WIRE_CAUTION.to_owned()] } else { Vec::new() },
    }
}

fn code_of(code: &Code, numbers: Numbers) -> json::Code {
    let field =
        |(name, value): &(String, u64)| (name.clone(), FieldValue::new(Some(*value), Masking::Off));
    // Masked, not even the last digits are left.
    let others = if numbers == Numbers::Shown { code.others.as_slice() } else { &[] };
    json::Code {
        keys: code.digits(numbers),
        ended_by: match code.ended {
            Ended::Hash => json::EndedBy::Hash,
            Ended::Pause => json::EndedBy::Pause,
            Ended::StreamEnd => json::EndedBy::End,
            Ended::TooManyKeys => json::EndedBy::TooManyKeys,
        },
        cleared: code.cleared,
        fields: Fields(others.iter().map(field).collect()),
    }
}
