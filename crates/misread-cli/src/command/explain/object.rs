//! The answer as JSON.

use misread::Layout;
use misread::diagnose::{CardFound, Diagnosis, Expected, LayoutUsed, TakenAs, Verdict};
use misread::pulse::{self, FindingKind};

use super::question::{Question, Timing};
use crate::json::{FieldValue, Fields};
use crate::json_explain::{self as json, Explain, Probability};
use crate::masking::Masking;

pub(super) fn of(
    question: &Question,
    diagnosis: &Diagnosis,
    taken: &[TakenAs],
    masking: Masking,
) -> Explain {
    let name = |index: Option<usize>| {
        index.and_then(|index| question.layout(index)).map(|layout| layout.name().to_owned())
    };
    let layout = layout(question, diagnosis);
    let reads = question.case.reads.iter().enumerate().map(|(at, read)| json::Read {
        bits: masking.bits(&read.bits, layout),
        length: read.bits.len(),
        suffers: diagnosis.suffers.as_ref().and_then(|all| all.get(at)).map(|&p| Probability(p)),
    });
    let nothing_expected = question.case.reads.iter().all(|read| read.expected.is_empty());
    let expected = question.case.reads.iter().map(|read| expected_fields(&read.expected, masking));
    Explain {
        schema: Explain::SCHEMA,
        reads: reads.collect(),
        expected: (!nothing_expected).then(|| expected.collect()),
        verdict: diagnosis.verdict.to_string(),
        ok: diagnosis.ok,
        answer: answer(question, diagnosis),
        causes: diagnosis
            .causes
            .iter()
            .map(|found| json::CauseFound {
                cause: found.wire.to_string(),
                probability: Probability(found.probability),
                layout: layout_name(question, found.layout),
                decoded: found
                    .decoded
                    .iter()
                    .map(|card| {
                        let card = card.as_ref()?;
                        card_fields(card, question.layout(card.layout)?, masking)
                    })
                    .collect(),
                evidence: found.evidence.clone(),
            })
            .collect(),
        cards: diagnosis
            .cards
            .iter()
            .map(|&(card, probability)| json::CardFound {
                card: card.id().to_owned(),
                probability: Probability(probability),
            })
            .collect(),
        layouts: diagnosis
            .layouts
            .iter()
            .map(|&(index, probability)| json::LayoutFound {
                layout: name(Some(index)).unwrap_or_default(),
                probability: Probability(probability),
            })
            .collect(),
        presented: diagnosis
            .presented
            .iter()
            .map(|&(cards, probability)| json::Presented {
                cards: cards.id().to_owned(),
                probability: Probability(probability),
            })
            .collect(),
        alike: diagnosis
            .alike
            .iter()
            .map(|alike| json::Alike {
                cause: alike.wire.to_string(),
                test: alike.test.clone(),
                says: alike.says.clone(),
            })
            .collect(),
        next: diagnosis
            .next
            .iter()
            .map(|test| json::Next {
                test: test.id.clone(),
                says: test.says.clone(),
                minutes: test.minutes,
                gain_bits: Probability(test.gain_bits),
                saves_minutes: Probability(test.saves_minutes),
            })
            .collect(),
        cautions: diagnosis.cautions.clone(),
        notes: notes(question, diagnosis),
        timing: timing(&question.timing),
        pulses: diagnosis.moved.iter().map(|moved| moved.says.clone()).collect(),
        printed: taken
            .iter()
            .map(|taken| json::TakenAs {
                layout: name(Some(taken.layout)).unwrap_or_default(),
                fields: expected_fields(&taken.fields, masking),
                steps: taken.steps.clone(),
                probability: Probability(taken.probability),
            })
            .collect(),
        joined: question.joined,
    }
}

/// The answer in short.
pub(crate) fn answer(question: &Question, diagnosis: &Diagnosis) -> json::Answer {
    let weighed = diagnosis.verdict != Verdict::NoData;
    json::Answer {
        cause: weighed.then(|| diagnosis.verdict.wire().to_string()),
        card: diagnosis.card.map(|card| card.id().to_owned()),
        layout: layout_name(question, diagnosis.layout),
        probability: weighed.then_some(Probability(diagnosis.probability)),
        says: diagnosis.says.clone(),
        steps: diagnosis.steps.iter().map(|step| step.says.to_string()).collect(),
    }
}

/// The layout of the answer, where it is one.
fn layout<'q>(question: &'q Question, diagnosis: &Diagnosis) -> Option<&'q Layout> {
    question.layout(diagnosis.layout?.candidate()?)
}

/// The name of a layout; `mixed` where each card has its own.
fn layout_name(question: &Question, used: Option<LayoutUsed>) -> Option<String> {
    match used? {
        LayoutUsed::Mixed => Some("mixed".to_owned()),
        LayoutUsed::Candidate(index) => Some(question.layout(index)?.name().to_owned()),
    }
}

fn expected_fields(values: &Expected, masking: Masking) -> Fields {
    let value =
        |(name, &value): (&String, &u64)| (name.clone(), FieldValue::new(Some(value), masking));
    Fields(values.iter().map(value).collect())
}

/// The values of a card: all, or those that are certain; `None` where none is.
pub(crate) fn card_fields(card: &CardFound, layout: &Layout, masking: Masking) -> Option<Fields> {
    let fields = layout.fields().iter().filter_map(|field| {
        let value = *card.fields.get(field.name())?;
        Some((field.name().to_owned(), FieldValue::new(Some(value), masking)))
    });
    let fields: Vec<_> = fields.collect();
    (!fields.is_empty()).then_some(Fields(fields))
}

fn notes(question: &Question, diagnosis: &Diagnosis) -> Vec<String> {
    let cut = question.timing.cut.map(|cut| cut.says().to_owned());
    diagnosis.notes.iter().cloned().chain(cut).collect()
}

fn timing(timing: &Timing) -> Vec<json::TimingFound> {
    let found = |kind: FindingKind, line: Option<pulse::Line>, times| json::TimingFound {
        finding: kind.id().to_owned(),
        line: line.map(|line| line.to_string()),
        times,
        means: kind.meaning().to_owned(),
    };
    let whole = timing.whole.iter().map(|finding| found(finding.kind, finding.line, 1));
    whole.chain(timing.limits.iter().map(|(&kind, &times)| found(kind, None, times))).collect()
}
