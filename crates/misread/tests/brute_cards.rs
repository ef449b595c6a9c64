//! The card named behind a read, held against every card of little layouts.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Arc;

use little::{CARDS, CAUSES, Frame, Known, Little, Read, arrives, littles};
use misread::Bit;
use misread::cause::{Cause, Model};
use misread::channel::{Rng, draw_case, seeded};
use misread::diagnose::{Candidates, Case, CaseRead, CauseFound, Numbers, diagnose};

/// The probability of each card (its field bits) behind each read, under a
/// cause and a layout, given all reads of the case, over these card states. All
/// 0 where the case is impossible.
fn brute_cards(
    case: &Case,
    cause: &str,
    states: &[(&str, f64)],
    little: &Little,
) -> Vec<BTreeMap<Vec<bool>, f64>> {
    let frames = little.frames();
    let rates = CAUSES.iter().find(|(id, ..)| *id == cause).unwrap().2;
    let mut cards = vec![BTreeMap::new(); case.reads.len()];
    for &(state, prior) in states {
        if state.ends_with("-differs") && !little.has_field("facility") {
            continue;
        }
        for &rate in rates {
            let of_read = |read: &CaseRead| -> Vec<(&Frame, f64)> {
                let mut known: Known = read.expected.clone();
                known.retain(|name, _| match state {
                    "as-expected" => true,
                    "facility-differs" => name != "facility",
                    "card-differs" => name == "facility",
                    _ => false,
                });
                let bits: Read = read.bits.iter().map(Bit::value).collect();
                let carrying: Vec<&Frame> =
                    frames.iter().filter(|frame| little.carries(frame, &known)).collect();
                let share = 1.0 / carrying.len() as f64;
                let arrives = |frame| share * arrives(cause, rate, little, frame, &bits);
                carrying.into_iter().map(|frame| (frame, arrives(frame))).collect()
            };
            let by_read: Vec<Vec<(&Frame, f64)>> = case.reads.iter().map(of_read).collect();
            let sums: Vec<f64> =
                by_read.iter().map(|all| all.iter().map(|(_, p)| p).sum()).collect();
            for (at, all) in by_read.iter().enumerate() {
                let others = sums.iter().enumerate().filter(|&(i, _)| i != at);
                let others: f64 = others.map(|(_, sum)| sum).product();
                for (frame, probability) in all {
                    let bits = little.fields.iter().flat_map(|field| &field.bits);
                    let card: Vec<bool> = bits.map(|bit| frame[bit - 1]).collect();
                    *cards[at].entry(card).or_insert(0.0) += prior * probability * others;
                }
            }
        }
    }
    for by_card in &mut cards {
        let sum: f64 = by_card.values().sum();
        if sum > 0.0 {
            by_card.values_mut().for_each(|probability| *probability /= sum);
        }
    }
    cards
}

/// The field bits of a frame in which some may be unknown.
fn field_bits(found: &CauseFound, read: usize, little: &Little) -> Vec<Option<bool>> {
    let frame = found.decoded[read].as_ref().unwrap().frame;
    let bits = little.fields.iter().flat_map(|field| &field.bits);
    bits.map(|bit| frame.get(bit - 1).and_then(Bit::value)).collect()
}

#[test]
fn the_card_named_is_the_most_likely_of_all() {
    let littles = littles();
    let drawn_from = Model { causes: [0.04; 25], ..Model::default() };
    let (mut singles, mut open) = (0, 0);
    for number in 0..250 {
        let random = &mut seeded(27, number);
        let little = &littles[random.next_u32() as usize % littles.len()];
        let candidates = Candidates::weighted([(Arc::new(little.layout()), 1.0)]);
        let mut case = draw_case(&candidates, &drawn_from, random).unwrap().case;
        case.reads.retain(|read| !read.bits.is_empty());
        if number % 3 == 0 {
            for read in &mut case.reads {
                read.bits.set(random.next_u32() as usize % read.bits.len(), Bit::Unread);
            }
        }
        if case.reads.is_empty() {
            continue;
        }
        let model = Model::default();
        let go_on = &mut |_| ControlFlow::Continue(());
        let any_expected = case.reads.iter().any(|read| !read.expected.is_empty());
        let states = if any_expected { &CARDS[..] } else { &CARDS[..1] };
        let answer = diagnose(&case, &candidates, &model, Numbers::Shown, go_on).unwrap();
        for found in &answer.causes {
            // Frames that are split have tests of their own.
            if found.cause.is_without_layout() || found.cause == Cause::FrameSplit {
                continue;
            }
            let cards = brute_cards(&case, found.cause.id(), states, little);
            let by_state: Vec<_> = states
                .iter()
                .map(|&state| brute_cards(&case, found.cause.id(), &[state], little))
                .collect();
            for (read, by_card) in cards.iter().enumerate() {
                let told = field_bits(found, read, little);
                let about = || {
                    format!("{}, {}, {case:?}: {told:?} of {by_card:?}", found.cause, little.name)
                };
                let best = by_card.values().fold(0.0, |best: f64, &p| best.max(p));
                let bests = by_card
                    .iter()
                    .filter(|&(_, &p)| p >= best * (1.0 - 1e-9))
                    .map(|(card, _)| card);
                if found.decoded[read].as_ref().unwrap().single {
                    singles += 1;
                    // One card stands out, and it is the one that is named.
                    let bests: Vec<Vec<Option<bool>>> =
                        bests.map(|card| card.iter().map(|&bit| Some(bit)).collect()).collect();
                    assert_eq!(bests, std::slice::from_ref(&told), "{}", about());
                } else {
                    open += 1;
                    // What is told holds for all of the most likely cards, and
                    // for every possible card of a card state.
                    let agrees = |card: &Vec<bool>| {
                        card.iter().zip(&told).all(|(b, t)| t.is_none_or(|t| t == *b))
                    };
                    let holds = |by_card: &BTreeMap<Vec<bool>, f64>| {
                        by_card.values().any(|&p| p > 0.0)
                            && by_card.iter().all(|(card, &p)| p < 1e-8 || agrees(card))
                    };
                    assert!(bests.clone().all(agrees), "{}", about());
                    assert!(by_state.iter().any(|cards| holds(&cards[read])), "{}", about());
                    // And no card stands out. Not held to it: card states that
                    // only together make one stand out.
                    assert!(bests.count() > 1 || any_expected, "{}", about());
                }
            }
        }
    }
    assert!(singles > 1_500 && open > 300, "{singles} {open}");
}
