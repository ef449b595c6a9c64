//! Of frames too long to go through them all: what is not known of a card comes
//! to the mean over what it can be. This holds the walk over all reads of one
//! card, which has bounds from both ends, to the walk with every bit known.

#![allow(clippy::unwrap_used)]

mod little;

use std::sync::Arc;

use little::{Asked, Dice, Frame, Little, Sending, as_bits, field, wires};
use misread::Bit;
use misread::cause::{Cause, Model, Whose, Wire};
use misread::channel::seeded;
use misread::diagnose::{Candidates, Case, CaseRead, Expected, Posterior, Presented};
use proptest::prelude::*;

/// Twenty-six bits with two checks, thirty-one with three that overlap, and
/// twenty-two in an order of their own.
fn layouts() -> [Little; 3] {
    [
        Little {
            name: "basin-26",
            bits: 26,
            fields: vec![field("facility", 2..=9), field("block", 10..=21), field("card", 22..=25)],
            fixed: vec![],
            parity: vec![(1, false, (2..=13).collect()), (26, true, (14..=25).collect())],
        },
        Little {
            name: "basin-31",
            bits: 31,
            fields: vec![field("facility", 2..=9), field("block", 11..=22), field("card", 23..=26)],
            fixed: vec![(10, true), (27, false)],
            parity: vec![
                (1, false, (2..=20).step_by(2).collect()),
                (31, true, (9..=30).collect()),
                (28, true, (3..=26).step_by(3).collect()),
            ],
        },
        Little {
            name: "basin-22",
            bits: 22,
            fields: vec![
                field("card", [20, 1, 11, 5]),
                field("facility", [2, 3, 4, 6, 7, 8]),
                field("block", [9, 10, 12, 13, 14, 15, 16, 17, 18, 19]),
            ],
            fixed: vec![],
            parity: vec![(21, false, (1..=10).collect()), (22, true, (8..=21).collect())],
        },
    ]
}

/// Reads of one card of a layout, and what is known of all but its card field.
fn one_card(little: &Little, wire: Wire, dice: &mut Dice) -> (Case, Expected) {
    let layout = little.layout();
    let values =
        layout.fields().iter().map(|field| (field.name(), dice.below(1 << field.width()) as u64));
    let values: Vec<(&str, u64)> = values.collect();
    let frame = layout.encode(values.iter().copied()).unwrap();
    let frame: Frame = frame.iter().map(|bit| bit == Bit::One).collect();
    let turned: Frame = frame.iter().map(|bit| !bit).collect();
    let sending = Sending::drawn(wire.cause(), &Model::default(), dice);
    let length = 20 + dice.below(20);
    let mut case = Case { presented: Presented::One, ..Case::default() };
    for _ in 0..2 + dice.below(2) {
        let suffers = !wire.comes_and_goes() || dice.chance(0.5);
        let reads = match wire {
            Wire::ReadsMissing if suffers => vec![vec![]],
            _ if !suffers => vec![frame.clone()],
            Wire::Swapped(_) => sending.reads(little, &turned, length, dice),
            _ => sending.reads(little, &frame, length, dice),
        };
        for bits in reads {
            let mut read: Vec<Option<bool>> = bits.into_iter().map(Some).collect();
            if !read.is_empty() && dice.chance(0.3) {
                let at = dice.below(read.len());
                read[at] = None;
            }
            case.reads.push(CaseRead::from(as_bits(&read)));
        }
    }
    let known = values.iter().filter(|(name, _)| *name != "card");
    (case, known.map(|&(name, value)| (name.to_owned(), value)).collect())
}

/// The likelihood of each wire state, of the reads of one card.
fn likelihoods(asked: &Asked) -> (Posterior, Vec<f64>) {
    let found = asked.posterior().unwrap();
    let of = wires().into_iter().map(|wire| asked.likelihood(&found, wire)).collect();
    (found, of)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(14))]

    #[test]
    fn what_is_not_known_is_the_mean_over_what_it_can_be(
        wire in prop::sample::select(wires()),
        at in 0..3usize,
        number in any::<u64>(),
    ) {
        prop_assume!(wire.cause() != Cause::BytesReversed);
        let little = &layouts()[at];
        let dice = &mut Dice(seeded(61, number));
        let (case, known) = one_card(little, wire, dice);
        prop_assume!(case.reads.iter().filter(|read| !read.bits.is_empty()).count() > 1);
        let candidates = Candidates::weighted([(Arc::new(little.layout()), 1.0)]);
        let model = Model { cards: [1.0, 0.0, 0.0, 0.0], ..Model::default() };
        let mut asked = Asked { case, candidates, model };
        let expect = |asked: &mut Asked, known: &Expected| {
            asked.case.reads.iter_mut().for_each(|read| read.expected.clone_from(known));
        };
        expect(&mut asked, &known);
        let (found, whole) = likelihoods(&asked);
        prop_assert!((found.of_whose(Whose::OneCard) - 1.0).abs() < 1e-12);
        let suffers = asked.suffers(wire).unwrap();
        let mut parts = vec![0.0; whole.len()];
        let mut suffering = vec![0.0; asked.case.reads.len()];
        for card in 0..16 {
            let mut known = known.clone();
            known.insert("card".to_owned(), card);
            expect(&mut asked, &known);
            let (_, part) = likelihoods(&asked);
            parts.iter_mut().zip(&part).for_each(|(sum, part)| *sum += part / 16.0);
            if let Some(suffers) = asked.suffers(wire).unwrap() {
                let weight = part[wire.index()] / 16.0;
                suffering.iter_mut().zip(suffers).for_each(|(sum, p)| *sum += weight * p);
            }
        }
        for ((wire, whole), parts) in wires().into_iter().zip(&whole).zip(&parts) {
            prop_assert!((whole - parts).abs() <= 1e-9 * parts, "{}: {} {}", wire, whole, parts);
        }
        prop_assert!(!wire.comes_and_goes() || suffers.is_some(), "what was made is possible");
        for (found, weight) in suffers.into_iter().flatten().zip(&suffering) {
            let expected = weight / parts[wire.index()];
            prop_assert!((found - expected).abs() < 1e-9, "{}: {} {}", wire, found, expected);
        }
    }
}
