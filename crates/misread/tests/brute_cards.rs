//! The card named behind a read, held against every card of little layouts.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use little::{Card, Little, cards_behind, draw, littles, two_bytes, wires};
use misread::Bit;
use misread::cause::Cause;
use misread::diagnose::{CardFound, Numbers, diagnose};

/// A card that is less likely than this is none of those that can be, and
/// probabilities are said to as much.
const RULED_OUT: f64 = 1e-6;

/// The field bits of a frame in which some may be unknown.
fn told(found: &CardFound, little: &Little) -> Vec<Option<bool>> {
    let bits = little.fields.iter().flat_map(|field| &field.bits);
    bits.map(|bit| found.frame.get(bit - 1).and_then(Bit::value)).collect()
}

/// What is wrong with what was found, if anything.
fn judge(found: &CardFound, little: &Little, cards: &BTreeMap<Card, f64>) -> Option<&'static str> {
    let told = told(found, little);
    let agrees = |card: &Card| {
        card.iter().zip(&told).all(|(bit, told)| told.is_none_or(|told| told == *bit))
    };
    let best = cards.values().fold(0.0, |best: f64, &p| best.max(p));
    let bests: Vec<&Card> =
        cards.iter().filter(|&(_, &p)| p >= best * (1.0 - 1e-9)).map(|(card, _)| card).collect();
    if found.single {
        return match () {
            () if told.contains(&None) => Some("one card, with bits open"),
            () if best <= 0.5 => Some("a card that others together are as likely as"),
            () if !agrees(bests[0]) => Some("not the most likely card"),
            () if (found.probability - best).abs() > RULED_OUT => Some("its probability"),
            () => None,
        };
    }
    match () {
        () if best > 0.5 + RULED_OUT => Some("the likeliest card is not named"),
        () if cards.iter().any(|(card, &p)| p > RULED_OUT && !agrees(card)) => Some("not certain"),
        () if found.probability != 0.0 => Some("a probability of no card"),
        () => None,
    }
}

/// How many cards were named, and how many left open.
fn hold(littles: &[Little], seed: u64, numbers: impl Iterator<Item = u64>) -> (u32, u32) {
    let (mut singles, mut open) = (0, 0);
    let mut off: Vec<String> = Vec::new();
    let all = wires();
    for number in numbers {
        let mut drawn = draw(all[number as usize % all.len()], littles, seed, number);
        // Under one layout there is nothing to mix.
        drawn.layouts.truncate(1);
        drawn.weights.truncate(1);
        drawn.configured = None;
        let question = drawn.question(littles);
        let asked = drawn.asked(littles);
        let go_on = &mut |_| ControlFlow::Continue(());
        let answer = diagnose(&asked.case, &asked.candidates, &asked.model, Numbers::Shown, go_on);
        let Ok(answer) = answer else { continue };
        let little = &littles[drawn.layouts[0]];
        let (_, places) = question.reads();
        for found in &answer.causes {
            if found.wire.is_without_layout() {
                assert!(found.decoded.iter().all(Option::is_none), "{}", found.wire);
                continue;
            }
            // What is that unlikely is listed and not looked at.
            if found.probability < 1e-3 && found.wire != answer.verdict.wire() {
                continue;
            }
            let behind = cards_behind(&question, found.wire).unwrap();
            for (cards, &place) in behind.iter().zip(&places) {
                let read = asked.case.reads[place].bits;
                let Some(card) = &found.decoded[place] else {
                    off.push(format!("{number} {}: nothing of {read}", found.wire));
                    continue;
                };
                if card.single {
                    singles += 1
                } else {
                    open += 1
                }
                if let Some(what) = judge(card, little, cards) {
                    let reads: Vec<String> = asked
                        .case
                        .reads
                        .iter()
                        .map(|r| format!("‘{}’ {:?}", r.bits, r.expected))
                        .collect();
                    let mut likely: Vec<_> =
                        cards.iter().filter(|(_, p)| **p > RULED_OUT).collect();
                    likely.sort_by(|a, b| b.1.total_cmp(a.1));
                    likely.truncate(3);
                    off.push(format!(
                        "{what}: {number} {} {} {:?} {reads:?} {read}: {card:?} {likely:?}",
                        found.wire, little.name, drawn.said
                    ));
                }
            }
        }
    }
    off.sort_by_key(String::len);
    assert!(
        off.is_empty(),
        "{} of {} are off: {}",
        off.len(),
        singles + open,
        off[..off.len().min(30)].join("\n")
    );
    (singles, open)
}

#[test]
fn the_card_named_is_the_most_likely_of_all() {
    let littles: Vec<Little> = littles().into_iter().chain(two_bytes()).collect();
    // Two bytes have too many cards to go through.
    let is_short = |number: &u64| {
        let all = wires();
        all[*number as usize % all.len()].cause() != Cause::BytesReversed
    };
    let (singles, open) = hold(&littles, 27, (0..2 * 67).filter(is_short));
    assert!(singles > 300 && open > 100, "{singles} {open}");
}
