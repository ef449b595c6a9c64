//! What a fault makes of a frame is a probability: it sums to 1, an unread bit
//! stands for both its values, and what is drawn comes as often as it says.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::sync::Arc;

use little::{Frame, Known, Little, Read, arrives, arrives_split, littles, two_bytes};
use misread::cause::{CardState, Cause, Model};
use misread::channel::{
    Fault, Held, Short, bytes_reversed, draw_case_expecting, draw_frame, seeded, send,
};
use misread::diagnose::{Candidates, Case, Expected, posterior, read_probability};
use misread::layout::{Layout, Spec, built_in};
use misread::{Bit, Bits};
use proptest::prelude::*;

/// Every cause that has a layout, with everything that can hold for it.
fn faults() -> Vec<Fault> {
    let model = Model::default();
    let mut faults = Vec::new();
    for cause in Cause::ALL.into_iter().filter(|cause| !cause.is_without_layout()) {
        if let Ok(fault) = Fault::new(cause, Held::Nothing) {
            faults.push(fault);
        }
        let rates = model.rates(cause).iter().map(|&rate| Held::Rate(rate));
        let held = rates.chain(Short::ALL.map(Held::Short));
        faults.extend(held.filter_map(|held| Fault::new(cause, held).ok()));
    }
    faults
}

fn unread(length: usize) -> Bits {
    (0..length).map(|_| Bit::Unread).collect()
}

/// All reads of up to so many bits.
fn all_reads(longest: usize) -> impl Iterator<Item = Bits> {
    (0..=longest).flat_map(|length| {
        (0..1u64 << length).filter_map(move |value| Bits::from_value(value, length))
    })
}

/// The probability of what arrives of one frame; where the lines touch, the mean
/// over the ways the receiver may take them.
fn probability(fault: &Fault, layout: &Layout, known: &Expected, reads: &[Bits]) -> f64 {
    let rate = match fault.held() {
        Held::Rate(rate) => rate,
        _ => 0.0,
    };
    match reads {
        [first, second] => split_probability(layout, known, [first, second]),
        reads => {
            let known: Vec<_> = known.iter().map(|(name, &value)| (name.as_str(), value)).collect();
            read_probability(fault.cause(), rate, layout, &known, &reads[0]).unwrap()
        }
    }
}

/// The probability that a frame arrives as these two reads, out of the odds
/// against bits that mean nothing, whose probability is plain.
fn split_probability(layout: &Layout, known: &Expected, reads: [&Bits; 2]) -> f64 {
    if reads.iter().any(|read| read.is_empty()) {
        return 0.0;
    }
    let mut model =
        Model { causes: [0.0; Cause::ALL.len()], cards: [1.0, 0.0, 0.0, 0.0], ..Model::default() };
    model.causes[Cause::FrameSplit.index()] = 0.5;
    model.causes[Cause::RandomBits.index()] = 0.5;
    let candidates = Candidates::weighted([(Arc::new(layout.clone()), 1.0)]);
    let mut case = Case::of(reads.map(|read| *read));
    case.reads[1].expected.clone_from(known);
    let found = posterior(&case, &candidates, &model, &mut |_| ControlFlow::Continue(())).unwrap();
    let meaningless = |read: &&Bits| 0.5f64.powi((read.len() - read.unread_count()) as i32) / 512.0;
    let odds = found.of_cause(Cause::FrameSplit) / found.of_cause(Cause::RandomBits);
    odds * reads.iter().map(meaningless).product::<f64>()
}

/// All that is known of some card of a layout, in steps: nothing, one field,
/// all fields.
fn knowns(layout: &Layout) -> Vec<Expected> {
    let value = |name: &str, max: u64| (name.to_owned(), 5.min(max));
    let all: Vec<_> =
        layout.fields().iter().map(|field| value(field.name(), field.max())).collect();
    vec![Expected::new(), all.iter().take(1).cloned().collect(), all.into_iter().collect()]
}

#[test]
fn all_reads_of_a_little_layout_sum_to_1() {
    for little in littles().iter().filter(|little| little.bits <= 5) {
        let layout = little.layout();
        for known in knowns(&layout) {
            for fault in faults() {
                let sum: f64 = match fault.cause() {
                    Cause::BytesReversed => continue,
                    Cause::FrameSplit => all_reads(little.bits)
                        .flat_map(|first| all_reads(little.bits).map(move |second| [first, second]))
                        .map(|reads| probability(&fault, &layout, &known, &reads))
                        .sum(),
                    _ => all_reads(2 * little.bits + 1)
                        .map(|read| probability(&fault, &layout, &known, &[read]))
                        .sum(),
                };
                assert!((sum - 1.0).abs() < 1e-12, "{}, {fault:?}, {known:?}: {sum}", little.name);
            }
        }
    }
}

/// A read with no bit read has the probability of its length alone.
#[test]
fn all_lengths_sum_to_1_for_every_built_in_layout() {
    for spec in built_in::SPECS {
        let layout = Layout::new(spec).unwrap();
        let n = layout.bits();
        for known in knowns(&layout) {
            let mut faults = faults();
            if n > 64 {
                // One rate for each cause is enough of a long layout.
                faults.dedup_by_key(|fault| fault.cause());
            }
            for fault in faults {
                let sum: f64 = match fault.cause() {
                    Cause::FrameSplit => (1..n)
                        .map(|k| probability(&fault, &layout, &known, &[unread(k), unread(n - k)]))
                        .sum(),
                    _ => (0..=(2 * n + 1).min(512))
                        .map(|length| probability(&fault, &layout, &known, &[unread(length)]))
                        .sum(),
                };
                let has_bytes = layout
                    .fields()
                    .iter()
                    .any(|field| [16, 24, 32, 40, 48, 56, 64].contains(&field.width()));
                let possible = fault.cause() != Cause::BytesReversed || has_bytes;
                let expected = if possible { 1.0 } else { 0.0 };
                assert!((sum - expected).abs() < 1e-9, "{}, {fault:?}: {sum}", spec.name);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// An unread bit counts for both its values, wherever it stands and
    /// whatever else is unread.
    #[test]
    fn an_unread_bit_is_the_sum_over_its_values(
        seed in any::<u64>(),
        at in any::<prop::sample::Index>(),
        others in prop::collection::vec(any::<prop::sample::Index>(), 0..5),
        spec in prop::sample::select(&built_in::SPECS[..]),
    ) {
        let layout = Layout::new(spec).unwrap();
        let random = &mut seeded(seed, 0);
        for known in knowns(&layout) {
            for fault in faults() {
                let values = known.iter().map(|(name, &value)| (name.as_str(), value));
                let frame = draw_frame(&layout, values, random).unwrap();
                let Ok(sent) = send(&fault, &layout, &frame, random) else { continue };
                let mut reads: Vec<Bits> = sent.reads.iter().map(|read| read.bits).collect();
                if reads[0].is_empty() {
                    continue;
                }
                for index in &others {
                    let index = index.index(reads[0].len());
                    reads[0].set(index, Bit::Unread);
                }
                let index = at.index(reads[0].len());
                let mut with = |bit| {
                    reads[0].set(index, bit);
                    probability(&fault, &layout, &known, &reads)
                };
                let (zero, one, both) = (with(Bit::Zero), with(Bit::One), with(Bit::Unread));
                prop_assert!(both > 0.0, "{:?}: what was sent is impossible", fault);
                prop_assert!((zero + one - both).abs() <= 1e-9 * both, "{:?}", fault);
            }
        }
    }
}

/// Pearson's chi-squared statistic, as standard deviations over its mean, for
/// counts held against probabilities; what is expected fewer than 8 times is
/// taken together.
fn chi_squared(counts: &HashMap<Vec<Bits>, u32>, probabilities: &[(Vec<Bits>, f64)]) -> f64 {
    let total = f64::from(counts.values().sum::<u32>());
    let (mut rare, mut rare_expected, mut sum, mut cells) = (0.0, 0.0, 0.0, 0.0);
    for (reads, probability) in probabilities {
        let (count, expected) =
            (f64::from(counts.get(reads).copied().unwrap_or(0)), total * probability);
        if expected < 8.0 {
            rare += count;
            rare_expected += expected;
        } else {
            sum += (count - expected).powi(2) / expected;
            cells += 1.0;
        }
    }
    if rare_expected >= 8.0 {
        sum += (rare - rare_expected).powi(2) / rare_expected;
        cells += 1.0;
    }
    let freedom: f64 = cells - 1.0;
    if freedom < 1.0 { 0.0 } else { (sum - freedom) / (2.0 * freedom).sqrt() }
}

/// What is sent, held against the second way of following a frame through a
/// fault.
#[test]
fn what_is_drawn_comes_as_often_as_it_should() {
    const FRAMES: u64 = 20_000;
    let littles = littles();
    let shed: &Little = littles.iter().find(|little| little.name == "shed-5").unwrap();
    let layout = shed.layout();
    let frames = shed.frames();
    let known = Known::from([("facility".to_owned(), 1)]);
    let allowed: Vec<&Frame> = frames.iter().filter(|frame| shed.carries(frame, &known)).collect();
    let as_read = |bits: &Bits| -> Read { bits.iter().map(Bit::value).collect() };
    for (number, fault) in faults().into_iter().enumerate() {
        let cause = fault.cause();
        let rate = match fault.held() {
            Held::Rate(rate) => rate,
            Held::Short(short) => Short::ALL.iter().position(|&s| s == short).unwrap() as f64,
            _ => 0.0,
        };
        if cause == Cause::BytesReversed {
            continue;
        }
        let mean = |value: &dyn Fn(&Frame) -> f64| {
            allowed.iter().map(|frame| value(frame)).sum::<f64>() / allowed.len() as f64
        };
        let probabilities: Vec<(Vec<Bits>, f64)> = match cause {
            Cause::FrameSplit => all_reads(5)
                .flat_map(|first| all_reads(5).map(move |second| vec![first, second]))
                .map(|reads| {
                    let (first, second) = (as_read(&reads[0]), as_read(&reads[1]));
                    (reads, mean(&|frame| arrives_split(frame, &first, &second)))
                })
                .collect(),
            _ => all_reads(11)
                .map(|bits| {
                    let read = as_read(&bits);
                    (vec![bits], mean(&|frame| arrives(cause.id(), rate, shed, frame, &read)))
                })
                .collect(),
        };
        let possible: HashMap<&Vec<Bits>, f64> =
            probabilities.iter().map(|(reads, probability)| (reads, *probability)).collect();
        let random = &mut seeded(5, number as u64);
        let mut counts: HashMap<Vec<Bits>, u32> = HashMap::new();
        for _ in 0..FRAMES {
            let frame = draw_frame(&layout, [("facility", 1)], random).unwrap();
            let sent = send(&fault, &layout, &frame, random).unwrap();
            *counts.entry(sent.reads.iter().map(|read| read.bits).collect()).or_default() += 1;
        }
        assert!(counts.keys().all(|reads| possible[reads] > 0.0), "{fault:?}");
        let off = chi_squared(&counts, &probabilities);
        assert!(off < 5.0, "{fault:?}: {off} standard deviations off");
    }
}

#[test]
fn reversed_bytes_are_those_of_the_second_way() {
    let little = two_bytes();
    let layout = little.layout();
    let random = &mut seeded(8, 0);
    for _ in 0..200 {
        let frame = draw_frame(&layout, [], random).unwrap();
        let bits: Frame = frame.iter().map(|bit| bit == Bit::One).collect();
        let sent: Bits = little.bytes_reversed(&bits).unwrap().into_iter().map(Bit::from).collect();
        assert_eq!(bytes_reversed(&layout, &frame), Some(sent));
    }
}

/// Causes, card states and layouts of drawn cases, held against the priors.
#[test]
fn drawn_cases_follow_the_priors() {
    const CASES: u32 = 20_000;
    let specs: [&Spec<'_>; 2] = [&built_in::OPEN_26, &built_in::SITE_34];
    let layouts = specs.map(|spec| Arc::new(Layout::new(spec).unwrap()));
    let candidates = Candidates::weighted(layouts.into_iter().zip([4.0, 1.0]));
    let model = Model::default();
    let known = Expected::from([("facility".to_owned(), 42)]);
    let mut causes = HashMap::new();
    let mut cards = HashMap::new();
    let mut layouts = HashMap::new();
    for number in 0..u64::from(CASES) {
        let random = &mut seeded(9, number);
        let expected = [known.clone(), Expected::new()];
        let drawn = draw_case_expecting(&expected, &candidates, &model, random).unwrap();
        assert_eq!(drawn.case.reads.len(), 2);
        *causes.entry(drawn.truth.fault.cause()).or_insert(0u32) += 1;
        *cards.entry(drawn.truth.card).or_insert(0u32) += 1;
        *layouts.entry(drawn.truth.layout).or_insert(0u32) += 1;
    }
    // Two reads, and layouts with facility code and bytes: all is possible.
    let check = |what: &str, count: u32, probability: f64| {
        let expected = f64::from(CASES) * probability;
        let deviation = (expected * (1.0 - probability)).sqrt();
        let off = (f64::from(count) - expected) / deviation;
        assert!(off.abs() < 5.0, "{what}: {count}, {expected} expected");
    };
    for cause in Cause::ALL {
        let count = causes.get(&cause).copied().unwrap_or(0);
        check(cause.id(), count, model.prior(cause));
    }
    let placed = 1.0 - model.prior(Cause::UnknownLayout) - model.prior(Cause::RandomBits);
    for state in CardState::ALL {
        check(state.id(), cards[&Some(state)], placed * model.card_prior(state));
    }
    check("open-26", layouts[&Some(0)], placed * 0.8);
    check("site-34", layouts[&Some(1)], placed * 0.2);
}
