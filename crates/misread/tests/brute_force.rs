//! The posterior held against one found by listing every card and following
//! every way a fault can turn its frame into the reads: an independent second
//! way to the same numbers.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::{HashMap, HashSet};
use std::ops::ControlFlow;
use std::sync::Arc;

use little::{
    CARDS, CAUSES, Frame, Known, Little, Read, arrives, arrives_split, littles, two_bytes,
};
use misread::cause::{Cause, Model};
use misread::channel::{Random, Rng, draw_case, seeded};
use misread::diagnose::{Candidates, Case, CaseRead, DiagnoseError, posterior};
use misread::{Bit, Bits};

/// A probability of each cause, card state and layout; the last two by number.
type Joint = HashMap<(&'static str, Option<usize>, Option<usize>), f64>;

fn brute_force(case: &Case, layouts: &[&Little], priors: &[f64]) -> Joint {
    let reads: Vec<(Read, &Known)> = case
        .reads
        .iter()
        .filter(|read| !read.bits.is_empty())
        .map(|read| (read.bits.iter().map(Bit::value).collect(), &read.expected))
        .collect();
    let any_expected = reads.iter().any(|(_, expected)| !expected.is_empty());
    let states = if any_expected { &CARDS[..] } else { &[("as-expected", 1.0)] };
    let mut joint = Joint::new();
    for (at, little) in layouts.iter().enumerate() {
        if !reads.iter().all(|(_, expected)| little.fits(expected)) {
            continue;
        }
        let frames = little.frames();
        for (cause, prior, rates) in CAUSES {
            if matches!(cause, "unknown-layout" | "random-bits") {
                continue;
            }
            let arrivals = Arrivals::of(cause, rates, little, &frames, &reads);
            for (state, &(_, card)) in states.iter().enumerate() {
                if matches!(state, 1 | 2) && !little.has_field("facility") {
                    continue;
                }
                let likelihood = match cause {
                    "frame-split" => split(little, &frames, &reads, state),
                    _ => arrivals.likelihood(little, &frames, &reads, state),
                };
                let weight = prior * card * priors[at] * likelihood;
                joint.insert((cause, Some(state), Some(at)), weight);
            }
        }
    }
    let same_length = reads.iter().all(|(read, _)| read.len() == reads[0].0.len());
    joint.insert(("unknown-layout", None, None), 0.010 * one_if(same_length) / 512.0);
    joint.insert(("random-bits", None, None), 0.005 / 512f64.powi(reads.len() as i32));
    let total: f64 = joint.values().sum();
    joint.values_mut().for_each(|weight| *weight /= total);
    joint
}

/// The probability of a read whose bits mean nothing, its length apart. All
/// others are held against it, so that long reads do not come to 0.
fn meaningless(read: &Read) -> f64 {
    0.5f64.powi(read.iter().flatten().count() as i32)
}

/// The probability that a frame arrives as a read, by rate, then read, then
/// frame. Empty for a cause that makes two reads of a frame.
struct Arrivals(Vec<Vec<Vec<f64>>>);

impl Arrivals {
    fn of(
        cause: &str,
        rates: &[f64],
        little: &Little,
        frames: &[Frame],
        reads: &[(Read, &Known)],
    ) -> Self {
        let mut by_rate = Vec::new();
        for &rate in rates.iter().filter(|_| cause != "frame-split") {
            let mut by_read = Vec::new();
            for (read, _) in reads {
                let of =
                    |frame: &Frame| arrives(cause, rate, little, frame, read) / meaningless(read);
                by_read.push(frames.iter().map(of).collect());
            }
            by_rate.push(by_read);
        }
        Arrivals(by_rate)
    }

    /// The mean over the rates of the product over the reads, against that of
    /// bits that mean nothing.
    fn likelihood(
        &self,
        little: &Little,
        frames: &[Frame],
        reads: &[(Read, &Known)],
        state: usize,
    ) -> f64 {
        let mut sum = 0.0;
        for by_read in &self.0 {
            let mut product = 1.0;
            for (by_frame, (_, expected)) in by_read.iter().zip(reads) {
                product *= mean(little, frames, by_frame, &holds(expected, state));
            }
            sum += product;
        }
        sum / self.0.len() as f64
    }
}

/// What of an expected card still holds in the card state of that number.
fn holds(expected: &Known, state: usize) -> Known {
    let mut known = expected.clone();
    known.retain(|name, _| match state {
        0 => true,
        1 => name != "facility",
        2 => name == "facility",
        _ => false,
    });
    known
}

/// The mean over the frames that carry what is known.
fn mean(little: &Little, frames: &[Frame], by_frame: &[f64], known: &Known) -> f64 {
    let all = frames.iter().zip(by_frame);
    let counted = all.filter(|(frame, _)| little.carries(frame, known));
    let (count, sum) = counted.fold((0u32, 0.0), |(count, sum), (_, p)| (count + 1, sum + p));
    sum / f64::from(count)
}

fn split(little: &Little, frames: &[Frame], reads: &[(Read, &Known)], state: usize) -> f64 {
    let mut likelihood = one_if(reads.len().is_multiple_of(2));
    for pair in reads.chunks(2).filter(|pair| pair.len() == 2) {
        let (first, second) = (holds(pair[0].1, state), holds(pair[1].1, state));
        if !first.is_empty() && !second.is_empty() && first != second {
            return 0.0;
        }
        let known = if first.is_empty() { second } else { first };
        let by_frame: Vec<f64> =
            frames.iter().map(|frame| arrives_split(frame, &pair[0].0, &pair[1].0)).collect();
        let meaningless = meaningless(&pair[0].0) * meaningless(&pair[1].0);
        likelihood *= mean(little, frames, &by_frame, &known) / meaningless;
    }
    likelihood
}

fn one_if(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

fn below(count: usize, random: &mut Random) -> usize {
    random.next_u32() as usize % count
}

/// Leaves bits unread, turns one over, drops a read or puts in one of any bits:
/// reads no fault of the model would give, too.
fn spoil(case: &mut Case, random: &mut Random) {
    for CaseRead { bits, .. } in &mut case.reads {
        match below(8, random) {
            0..3 => {
                for _ in 0..below(4, random) {
                    if !bits.is_empty() {
                        bits.set(below(bits.len(), random), Bit::Unread);
                    }
                }
            }
            3 if !bits.is_empty() => {
                let index = below(bits.len(), random);
                bits.set(index, Bit::from(bits.get(index) == Some(Bit::Zero)));
            }
            4 => {
                let length = below(14, random);
                *bits = (0..length).map(|_| Bit::from(below(2, random) == 1)).collect();
            }
            _ => {}
        }
    }
}

/// Holds every probability of the answer against brute force, to one part in
/// a thousand million, and gives what brute force found.
fn compare(case: &Case, layouts: &[&Little], candidates: &Candidates, priors: &[f64]) -> Joint {
    let brute = brute_force(case, layouts, priors);
    let found =
        posterior(case, candidates, &Model::default(), &mut |_| ControlFlow::Continue(())).unwrap();
    let sum: f64 = found.joint.iter().map(|triple| triple.probability).sum();
    assert!((sum - 1.0).abs() < 1e-12, "{sum}: {case:?}");
    for triple in &found.joint {
        let key = (triple.cause.id(), triple.card.map(|state| state.index()), triple.layout);
        let expected = brute.get(&key).copied().unwrap_or(0.0);
        assert!(
            (triple.probability - expected).abs() <= 1e-9 * expected,
            "{key:?}: {} found, {expected} expected, in {case:?}",
            triple.probability
        );
    }
    // Nothing possible is missing from the answer.
    assert!(brute.keys().all(|&(cause, card, layout)| {
        found.joint.iter().any(|triple| {
            triple.cause.id() == cause
                && triple.card.map(|state| state.index()) == card
                && triple.layout == layout
        })
    }));
    brute
}

#[test]
fn the_posterior_is_that_of_brute_force() {
    let littles = littles();
    // Every cause as likely as every other, so that all of them come up; more
    // so a split frame, which needs two reads that agree on the card.
    let mut drawn_from = Model { causes: [0.03; 25], ..Model::default() };
    drawn_from.causes[Cause::FrameSplit.index()] = 0.28;
    let mut possible: HashMap<&str, u32> = HashMap::new();
    let mut compared = 0;
    for number in 0..1_000 {
        let random = &mut seeded(26, number);
        // One or two different layouts; with two, one of them may be the
        // configured one.
        let first = below(littles.len(), random);
        let second = below(littles.len(), random);
        let layouts: Vec<&Little> = match second == first {
            true => vec![&littles[first]],
            false => vec![&littles[first], &littles[second]],
        };
        let weights = [4.0, 1.0];
        let candidates = Candidates::weighted(
            layouts.iter().zip(weights).map(|(l, weight)| (Arc::new(l.layout()), weight)),
        );
        let (candidates, priors) = match (below(3, random), layouts.len()) {
            (at @ 0..2, 2) => {
                let priors = if at == 0 { [0.9, 0.1] } else { [0.1, 0.9] };
                (candidates.configured(at), priors.to_vec())
            }
            (0, _) => (candidates.configured(0), vec![1.0]),
            (_, 2) => (candidates, vec![0.8, 0.2]),
            _ => (candidates, vec![1.0]),
        };
        let mut case = draw_case(&candidates, &drawn_from, random).unwrap().case;
        spoil(&mut case, random);
        if case.reads.iter().all(|read| read.bits.is_empty()) {
            let nothing =
                posterior(
                    &case,
                    &candidates,
                    &Model::default(),
                    &mut |_| ControlFlow::Continue(()),
                );
            assert_eq!(nothing, Err(DiagnoseError::Nothing));
            continue;
        }
        compared += 1;
        let brute = compare(&case, &layouts, &candidates, &priors);
        let causes: HashSet<&str> =
            brute.iter().filter(|(_, p)| **p > 0.0).map(|(&(cause, ..), _)| cause).collect();
        causes.into_iter().for_each(|cause| *possible.entry(cause).or_default() += 1);
    }
    assert!(compared > 900, "{compared}");
    // Bytes need a longer layout; see below.
    for cause in Cause::ALL.into_iter().filter(|&cause| cause != Cause::BytesReversed) {
        assert!(
            possible.get(cause.id()).is_some_and(|&count| count >= 20),
            "{cause}: {possible:?}"
        );
    }
}

#[test]
fn with_bytes_to_reverse_as_well() {
    let little = two_bytes();
    let candidates = Candidates::weighted([(Arc::new(little.layout()), 1.0)]);
    // Card 0x12a7, as it is sent with its bytes reversed.
    let layout = little.layout();
    let sent = layout.encode([("card", 0xa712)]).unwrap();
    let known = Known::from([("card".to_owned(), 0x12a7)]);
    let mut unread = sent;
    unread.set(0, Bit::Unread);
    unread.set(12, Bit::Unread);
    let shorter: Bits = sent.slice(0, 16);
    for (bits, expected) in
        [(sent, known.clone()), (sent, Known::new()), (unread, known.clone()), (shorter, known)]
    {
        let case =
            Case { reads: vec![CaseRead { expected, ..CaseRead::from(bits) }], captured: None };
        let brute = compare(&case, &[&little], &candidates, &[1.0]);
        let reversed = brute[&("bytes-reversed", Some(0), Some(0))];
        assert!((reversed > 0.0) == (bits.len() == 17), "{reversed}");
    }
}
