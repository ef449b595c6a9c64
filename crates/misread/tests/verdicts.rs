//! The verdict, from the whole joint of the second way and the words of the
//! fault model.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Arc;

use little::{Key, Little, Of, draw, littles, two_bytes, weigh, wires};
use misread::cause::{CardState, Cause, Model, Wire};
use misread::diagnose::{Candidates, Case, Numbers, Presented, Verdict, diagnose};

/// What is said, with its probability; `None` where two are as likely.
fn verdict(weights: &BTreeMap<Key, f64>, configured: Option<usize>) -> Option<(Verdict, f64)> {
    let sum: f64 = weights.values().sum();
    let none = Wire::Alone(Cause::None);
    let mut by_wire = BTreeMap::new();
    let mut by_pair = BTreeMap::new();
    for ((wire, card, of, _), weight) in weights {
        *by_wire.entry(*wire).or_insert(0.0) += weight / sum;
        if *wire == none {
            *by_pair.entry((*card, *of)).or_insert(0.0) += weight / sum;
        }
    }
    let (wire, probability) = best(by_wire)?;
    if wire != none {
        return Some((Verdict::Wire(wire), probability));
    }
    let ((card, of), probability) = best(by_pair)?;
    let verdict = match card {
        Some(state) if state != CardState::AsExpected => Verdict::Card(state),
        _ if configured.is_some_and(|at| of != Of::Layout(at)) => Verdict::LayoutDiffers,
        _ => Verdict::None,
    };
    Some((verdict, probability))
}

fn best<T: Ord + Copy>(all: BTreeMap<T, f64>) -> Option<(T, f64)> {
    let mut all: Vec<(T, f64)> = all.into_iter().collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    match all[..] {
        [(_, first), (_, second), ..] if first - second < 1e-9 => None,
        [first, ..] => Some(first),
        [] => None,
    }
}

#[test]
fn the_verdict_is_that_of_the_joint() {
    let littles: Vec<Little> = littles().into_iter().chain(two_bytes()).collect();
    let all = wires();
    let mut verdicts: BTreeMap<String, u32> = BTreeMap::new();
    // Two of each wire state, and as many again with a sound wire and the usual
    // priors, so that card and layout have their say.
    for number in 0..4 * all.len() as u64 {
        let is_sound = number % 2 == 1;
        let wire = match is_sound {
            false => all[number as usize / 2 % all.len()],
            true => Wire::Alone(Cause::None),
        };
        if wire.cause() == Cause::BytesReversed {
            continue;
        }
        let mut drawn = draw(wire, &littles, 51, number);
        if is_sound {
            drawn.model = Model::default();
        }
        let asked = drawn.asked(&littles);
        let go_on = &mut |_| ControlFlow::Continue(());
        let answer = diagnose(&asked.case, &asked.candidates, &asked.model, Numbers::Shown, go_on);
        let Ok(answer) = answer else { continue };
        let mut question = drawn.question(&littles);
        // What is set aside, where it is said to be one card and the reads are
        // too many for that, is out of the case.
        let mut at = 0..;
        question.shown.retain(|_| !answer.set_aside.contains(&at.next().unwrap()));
        if question.reads().0.is_empty() {
            assert_eq!((answer.verdict, answer.ok), (Verdict::NoData, false));
            continue;
        }
        let weights = weigh(&question);
        let Some((verdict, probability)) = verdict(&weights, drawn.configured) else { continue };
        assert_eq!(answer.verdict, verdict, "case {number}");
        assert!((answer.probability - probability).abs() < 1e-9, "case {number}: {probability}");
        let is_empty = question.reads().0.len() < question.shown.len();
        assert!(!answer.ok || verdict == Verdict::None && !is_empty, "case {number}");
        *verdicts.entry(verdict.to_string()).or_default() += 1;
    }
    for verdict in ["none", "layout-differs", "facility-differs", "card-differs", "different-card"]
    {
        assert!(verdicts.contains_key(verdict), "{verdict}: {verdicts:?}");
    }
    assert!(verdicts.len() > 35, "{verdicts:?}");
}

/// Half a layout's length is as far as a read can be from what is asked of one
/// card: of 6⁶ · 5 ways to be used up, 6⁵ are within 10,000.
#[test]
fn what_is_set_aside_is_furthest_from_the_length() {
    let littles = littles();
    let berth = littles.iter().find(|little| little.name == "berth-10").unwrap();
    let candidates = Candidates::weighted([(Arc::new(berth.layout()), 1.0)]);
    let bits = ["10000", "10010", "00000", "1000", "10000", "10000", "00010"];
    let mut case = Case::of(bits.map(|bits| bits.parse().unwrap()));
    let mut aside = |presented| {
        case.presented = presented;
        let go_on = &mut |_| ControlFlow::Continue(());
        let answer = diagnose(&case, &candidates, &Model::default(), Numbers::Shown, go_on);
        answer.unwrap().set_aside
    };
    let said = aside(Presented::One);
    assert!(said.len() == 2 && said.contains(&3), "{said:?}");
    assert!(aside(Presented::Unsaid).is_empty());
    assert!(aside(Presented::Several).is_empty());
}
