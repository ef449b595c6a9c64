//! What holds of every posterior, whatever is drawn.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::BTreeMap;
use std::sync::Arc;

use little::{Asked, Drawn, Key, Little, as_bits, draw, key, littles, two_bytes, wires};
use misread::Bits;
use misread::cause::{Cause, Model, Whose, Wire};
use misread::diagnose::{Candidates, Case, Presented};
use misread::layout::{Layout, built_in};
use proptest::prelude::*;

fn all_littles() -> Vec<Little> {
    littles().into_iter().chain(two_bytes()).collect()
}

/// The weight of each combination, priors and all.
fn weights(asked: &Asked) -> BTreeMap<Key, f64> {
    let found = asked.posterior().unwrap();
    let evidence = found.ln_evidence.exp();
    found.joint.iter().map(|one| (key(one), one.probability * evidence)).collect()
}

/// The same with the prior of the wire state taken off.
fn likelihoods(asked: &Asked) -> BTreeMap<Key, f64> {
    let model = match asked.case.captured {
        Some(at) => asked.model.captured(at),
        None => asked.model.clone(),
    };
    let mut weights = weights(asked);
    weights.iter_mut().for_each(|(key, weight)| *weight /= model.wire_prior(key.0));
    weights
}

fn is_close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.max(b) + 1e-250
}

/// A cause with its two lines renamed.
fn renamed(cause: Cause) -> Cause {
    use Cause::*;
    match cause {
        D0Open => D1Open,
        D1Open => D0Open,
        D0Weak => D1Weak,
        D1Weak => D0Weak,
        D0Noise => D1Noise,
        D1Noise => D0Noise,
        D0Ringing => D1Ringing,
        D1Ringing => D0Ringing,
        other => other,
    }
}

fn drawn(wire: Wire, number: u64, littles: &[Little]) -> Option<Drawn> {
    let drawn = draw(wire, littles, 41, number);
    drawn.asked(littles).posterior().is_ok().then_some(drawn)
}

/// A permutation of so many, out of a number.
fn permutation(count: usize, mut number: u64) -> Vec<usize> {
    let mut left: Vec<usize> = (0..count).collect();
    let mut order = Vec::new();
    while !left.is_empty() {
        order.push(left.remove((number % left.len() as u64) as usize));
        number = number.rotate_right(7).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
    order
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// But for frames that are split, which take reads in pairs.
    #[test]
    fn the_order_of_the_reads_says_nothing(
        wire in prop::sample::select(wires()),
        number in any::<u64>(),
        shuffled in any::<u64>(),
    ) {
        let littles = all_littles();
        let Some(mut drawn) = drawn(wire, number, &littles) else { return Ok(()) };
        let before = drawn.asked(&littles);
        let order = permutation(drawn.shown.len(), shuffled);
        drawn.shown = order.iter().map(|&at| drawn.shown[at].clone()).collect();
        let after = drawn.asked(&littles);
        let (first, second) = (weights(&before), weights(&after));
        let of = |weights: &BTreeMap<Key, f64>, key| weights.get(key).copied().unwrap_or(0.0);
        let all = first.keys().chain(second.keys());
        for key in all.filter(|key| key.0.cause() != Cause::FrameSplit) {
            let (first, second) = (of(&first, key), of(&second, key));
            prop_assert!(is_close(first, second), "{:?}: {} {}", key, first, second);
        }
        for wire in [wire, Wire::ReadsMissing, Wire::AtTimes(Cause::LinesSwapped)] {
            let comes_and_goes = matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing);
            let is_possible = first.iter().any(|(key, &weight)| key.0 == wire && weight > 1e-200);
            if !comes_and_goes || !is_possible {
                continue;
            }
            let (first, second) = (before.suffers(wire).unwrap().unwrap(), after.suffers(wire).unwrap().unwrap());
            for (now, &then) in second.iter().zip(&order) {
                prop_assert!((now - first[then]).abs() < 1e-9, "{}: {:?} {:?}", wire, first, second);
            }
        }
    }

    /// Reads turned over are of lines swapped: what was two at once is one with
    /// its lines renamed. Not so where something is filled up with 0s, since
    /// those stay 0s.
    #[test]
    fn reads_turned_over_are_of_swapped_lines(
        wire in prop::sample::select(wires()),
        number in any::<u64>(),
    ) {
        let littles = all_littles();
        let Some(mut drawn) = drawn(wire, number, &littles) else { return Ok(()) };
        // What was found in the pulses is found on lines of a name.
        drawn.shown.iter_mut().for_each(|shown| shown.pulses = Default::default());
        let before = likelihoods(&drawn.asked(&littles));
        for shown in &mut drawn.shown {
            shown.bits = shown.bits.iter().map(|bit| bit.map(|bit| !bit)).collect();
        }
        let after = likelihoods(&drawn.asked(&littles));
        let same = [(Wire::Alone(Cause::None), Wire::Alone(Cause::LinesSwapped))];
        let two = Cause::ALL
            .into_iter()
            .filter(|&cause| cause != Cause::Padded)
            .filter_map(|cause| Some((Wire::swapped(cause)?, Wire::Alone(renamed(cause)))));
        for (turned, plain) in same.into_iter().chain(two) {
            for (key, weight) in before.iter().filter(|(key, _)| key.0 == turned) {
                let other = (plain, key.1, key.2, key.3);
                let other = after.get(&other).copied().unwrap_or(0.0);
                prop_assert!(is_close(*weight, other), "{:?}: {} {}", key, weight, other);
            }
            for (key, weight) in after.iter().filter(|(key, _)| key.0 == turned) {
                let other = before.get(&(plain, key.1, key.2, key.3)).copied().unwrap_or(0.0);
                prop_assert!(is_close(*weight, other), "{:?}: {} {}", key, weight, other);
            }
        }
    }

    /// However often a card was held to the reader: of one read there is
    /// nothing to ask.
    #[test]
    fn one_card_read_once_is_a_card_of_its_own(
        wire in prop::sample::select(wires()),
        number in any::<u64>(),
        presented in prop::sample::select(&[Presented::Unsaid, Presented::One, Presented::Several][..]),
        empty in 0..3usize,
    ) {
        let littles = all_littles();
        let Some(mut drawn) = drawn(wire, number, &littles) else { return Ok(()) };
        let Some(one) = drawn.shown.iter().find(|shown| !shown.bits.is_empty()).cloned() else {
            return Ok(());
        };
        let mut nothing = one.clone();
        nothing.bits.clear();
        drawn.shown = vec![nothing; empty];
        drawn.shown.push(one);
        let mut asked = drawn.asked(&littles);
        asked.case.presented = presented;
        let Ok(found) = asked.posterior() else { return Ok(()) };
        prop_assert!(found.joint.iter().all(|one| one.whose == Whose::OwnCards));
        prop_assert!((found.of_whose(Whose::OwnCards) - 1.0).abs() < 1e-12);
        prop_assert_eq!(found.of_mixed(), 0.0);
    }

    /// Marginals are sums of the joint, and all of it is 1.
    #[test]
    fn the_marginals_are_those_of_the_joint(
        wire in prop::sample::select(wires()),
        number in any::<u64>(),
    ) {
        let littles = all_littles();
        let Some(drawn) = drawn(wire, number, &littles) else { return Ok(()) };
        let found = drawn.asked(&littles).posterior().unwrap();
        let all: f64 = found.joint.iter().map(|one| one.probability).sum();
        let by_wire: f64 = Wire::all().map(|wire| found.of_wire(wire)).sum();
        let by_whose: f64 = Whose::ALL.into_iter().map(|whose| found.of_whose(whose)).sum();
        let placed: f64 = (0..drawn.layouts.len()).map(|at| found.of_layout(at)).sum();
        let cards: f64 =
            misread::cause::CardState::ALL.into_iter().map(|card| found.of_card(card)).sum();
        let placeless = found.of_wire(Wire::Alone(Cause::UnknownLayout))
            + found.of_wire(Wire::Alone(Cause::RandomBits));
        for sum in [all, by_wire, by_whose, placed + found.of_mixed() + placeless, cards + placeless] {
            prop_assert!((sum - 1.0).abs() < 1e-12, "{}", sum);
        }
    }
}

/// Bits of any kind and any length, some of them unread.
fn any_bits() -> impl Strategy<Value = Bits> {
    let bit = prop_oneof![4 => Just(Some(false)), 4 => Just(Some(true)), 1 => Just(None)];
    let lengths = prop_oneof![4 => 0..60usize, 1 => 60..513usize];
    lengths.prop_flat_map(move |length| {
        prop::collection::vec(bit.clone(), length).prop_map(|bits| as_bits(&bits))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Every built-in layout at once.
    #[test]
    fn no_bits_are_too_much(
        reads in prop::collection::vec(any_bits(), 0..7),
        spoken in prop::sample::select(&[Presented::Unsaid, Presented::One, Presented::Several][..]),
        card in prop::option::of(0..100_000u64),
        configured in prop::option::of(0..built_in::SPECS.len()),
    ) {
        let layouts = built_in::SPECS.iter().map(|spec| (Arc::new(Layout::new(spec).unwrap()), 1.0));
        let candidates = Candidates::weighted(layouts);
        let candidates = match configured {
            Some(at) => candidates.configured(at),
            None => candidates,
        };
        let mut case = Case::of(reads);
        if let Some(card) = card {
            case = case.expecting([("card", card)]);
        }
        case.presented = spoken;
        let asked = Asked { case, candidates, model: Model::default() };
        match asked.posterior() {
            Ok(found) => {
                let sum: f64 = found.joint.iter().map(|one| one.probability).sum();
                prop_assert!((sum - 1.0).abs() < 1e-9, "{}", sum);
                prop_assert!(found.joint.iter().all(|one| (0.0..=1.0).contains(&one.probability)));
                prop_assert!(found.ln_evidence.is_finite());
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
        for wire in [Wire::ReadsMissing, Wire::AtTimes(Cause::BothNoise), Wire::AtTimes(Cause::UnknownLayout)] {
            if let Ok(Some(suffers)) = asked.suffers(wire) {
                prop_assert_eq!(suffers.len(), asked.case.reads.len());
                prop_assert!(suffers.iter().all(|p| (0.0..=1.0).contains(p)), "{:?}", suffers);
            }
        }
    }
}
