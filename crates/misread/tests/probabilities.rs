//! What a wire state makes of a card is a probability: over everything that can
//! be presented it sums to 1, and an unread bit stands for both its values.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use little::{
    Asked, Dice, Frame, Known, Little, as_bits, draw, key, length_weight, littles, nothing_arrives,
    two_bytes, wires,
};
use misread::cause::{Cause, Model, Wire};
use misread::channel::seeded;
use misread::diagnose::{Candidates, Case, CaseRead, Expected, Presented};
use misread::layout::{Layout, Spec, built_in};
use misread::{Bit, Bits};
use proptest::prelude::*;

/// The likelihood of each wire state, summed over cases.
type Sums = BTreeMap<Wire, f64>;

fn unread(length: usize) -> Bits {
    (0..length).map(|_| Bit::Unread).collect()
}

/// All reads of one bit up to so many.
fn all_reads(longest: usize) -> impl Iterator<Item = Bits> + Clone {
    (1..=longest).flat_map(|length| {
        (0..1u64 << length).filter_map(move |value| Bits::from_value(value, length))
    })
}

/// Every card as expected, so that no other state takes a share.
fn model() -> Model {
    Model { cards: [1.0, 0.0, 0.0, 0.0], ..Model::default() }
}

fn one_layout(little: &Little) -> Candidates {
    Candidates::weighted([(Arc::new(little.layout()), 1.0)])
}

/// Cases with these reads each, the same expected of all of them.
fn sum(
    cases: impl Iterator<Item = Vec<Bits>>,
    known: &Expected,
    candidates: &Candidates,
    presented: Presented,
) -> Sums {
    let mut sums = Sums::new();
    let mut asked = Asked { case: Case::default(), candidates: candidates.clone(), model: model() };
    asked.case.presented = presented;
    for reads in cases {
        let read = |bits| CaseRead { expected: known.clone(), ..CaseRead::from(bits) };
        asked.case.reads = reads.into_iter().map(read).collect();
        let found = asked.posterior().unwrap();
        for wire in wires() {
            *sums.entry(wire).or_default() += asked.likelihood(&found, wire);
        }
    }
    sums
}

/// All that is known of some card of a layout, in steps: nothing, one field,
/// all fields.
fn knowns(layout: &Layout) -> Vec<Expected> {
    let value = |name: &str, max: u64| (name.to_owned(), 5.min(max));
    let all: Vec<_> =
        layout.fields().iter().map(|field| value(field.name(), field.max())).collect();
    vec![Expected::new(), all.iter().take(1).cloned().collect(), all.into_iter().collect()]
}

/// For each thing that can hold for the case, how likely nothing arrives of
/// each frame that the card can have: such a presentation is empty, and not one
/// of the reads that are summed.
fn lost(little: &Little, known: &Known, wire: Wire) -> Vec<Vec<f64>> {
    let frames: Vec<Frame> =
        little.frames().into_iter().filter(|frame| little.carries(frame, known)).collect();
    let model = Model::default();
    let rates: &[f64] = match wire.cause() {
        Cause::D0Weak | Cause::D1Weak | Cause::BothWeak => &model.rates.weak,
        _ => &[0.0],
    };
    let at = |&rate: &f64| frames.iter().map(|t| nothing_arrives(wire, rate, little, t)).collect();
    rates.iter().map(at).collect()
}

fn mean(values: impl IntoIterator<Item = f64>) -> f64 {
    let (count, sum) =
        values.into_iter().fold((0.0, 0.0), |(n, sum), value| (n + 1.0, sum + value));
    sum / count
}

/// What is fixed to whole bytes cannot be filled up to them.
fn padded_share(bits: usize) -> f64 {
    [8, 32].iter().filter(|whole| !bits.is_multiple_of(**whole)).count() as f64 / 2.0
}

/// The reads that frames of this layout arrive as when filled up to 32 bits.
fn padded_to_words(little: &Little) -> BTreeSet<Frame> {
    let zeros = vec![false; 32 - little.bits];
    let every = (0..1u32 << little.bits)
        .map(|word| (0..little.bits).map(|i| word >> i & 1 == 1).collect::<Frame>());
    every.flat_map(|t| [[&t[..], &zeros].concat(), [&zeros[..], &t].concat()]).collect()
}

/// Those that one presentation says something of.
fn says_of_one(wire: Wire) -> bool {
    !matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing)
        && wire.cause() != Cause::FrameSplit
        && !wire.is_without_layout()
}

#[test]
fn all_reads_of_a_little_layout_sum_to_1() {
    for little in littles().iter().filter(|little| little.bits <= 6) {
        let candidates = one_layout(little);
        for known in knowns(&little.layout()).into_iter().take(if little.bits < 6 { 3 } else { 1 })
        {
            let words = padded_to_words(little).into_iter();
            let words = words.map(|bits| bits.into_iter().map(Bit::from).collect::<Bits>());
            let reads = all_reads(2 * little.bits + 1).chain(words).map(|read| vec![read]);
            let sums = sum(reads, &known, &candidates, Presented::Unsaid);
            for wire in wires().into_iter().filter(|&wire| says_of_one(wire)) {
                let nothing = mean(lost(little, &known, wire).into_iter().map(mean));
                let share = match wire.cause() {
                    Cause::BytesReversed => 0.0,
                    Cause::Padded => padded_share(little.bits),
                    _ => 1.0,
                };
                let expected = 0.95 * share * (1.0 - nothing);
                let found = sums[&wire];
                assert!(
                    (found - expected).abs() < 1e-9,
                    "{}, {wire}, {known:?}: {found}, not {expected}",
                    little.name
                );
            }
        }
    }
}

#[test]
fn all_lengths_sum_to_1_for_the_built_in_layouts() {
    for spec in built_in::SPECS.iter().filter(|spec| spec.bits <= 64) {
        hold_all_lengths(spec);
    }
}

/// Five hundred reads of which nothing is known are much to sum.
#[test]
#[ignore = "over a minute; who changes the model runs it"]
fn all_lengths_sum_to_1_for_long_layouts() {
    for spec in built_in::SPECS.iter().filter(|spec| spec.bits > 64) {
        hold_all_lengths(spec);
    }
}

/// A read with no bit read has the probability of its length alone.
fn hold_all_lengths(spec: &Spec<'_>) {
    let layout = Layout::new(spec).unwrap();
    let n = layout.bits();
    let candidates = Candidates::weighted([(Arc::new(layout.clone()), 1.0)]);
    let knowns = knowns(&layout);
    let all_known = &knowns[2];
    let values = all_known.iter().map(|(name, &value)| (name.as_str(), value));
    let frame = layout.encode(values).unwrap();
    let has_bytes =
        layout.fields().iter().any(|field| [16, 24, 32, 40, 48, 56, 64].contains(&field.width()));
    for known in [&knowns[0], all_known] {
        let sums = sum(
            (1..=512).map(|length| vec![unread(length)]),
            known,
            &candidates,
            Presented::Unsaid,
        );
        for wire in wires() {
            let at_times = matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing);
            let swapped = matches!(wire, Wire::Swapped(_));
            let pulses = match wire.cause() {
                // Which pulses there are is known with the card only.
                Cause::D0Open | Cause::D1Open | Cause::D0Weak | Cause::D1Weak
                    if known.is_empty() =>
                {
                    continue;
                }
                Cause::D0Open | Cause::D0Weak if swapped => frame.count_ones(),
                Cause::D1Open | Cause::D1Weak if swapped => frame.count_zeros(),
                Cause::D0Open | Cause::D0Weak => frame.count_zeros(),
                Cause::D1Open | Cause::D1Weak => frame.count_ones(),
                _ => n,
            };
            // What the other line carries arrives.
            let nothing = match wire.cause() {
                _ if pulses < n => 0.0,
                Cause::D0Weak | Cause::D1Weak | Cause::BothWeak => {
                    mean([0.05f64, 0.15, 0.3, 0.5, 0.7].map(|rate| rate.powi(n as i32)))
                }
                Cause::D0Open | Cause::D1Open => 1.0,
                _ => 0.0,
            };
            let share = match wire.cause() {
                _ if at_times => 0.0,
                // One read is no two.
                Cause::FrameSplit => 0.0,
                Cause::BytesReversed if !has_bytes => 0.0,
                Cause::Padded => padded_share(n),
                Cause::UnknownLayout => (1..=512).map(|m| listed(m, n)).sum(),
                _ => 1.0,
            };
            let expected = 0.95 * share * (1.0 - nothing);
            let found = sums[&wire];
            assert!((found - expected).abs() < 1e-9, "{}, {wire}: {found}", spec.name);
        }
    }
}

/// λ, where a candidate has `n` bits.
fn listed(bits: usize, n: usize) -> f64 {
    let candidate = Little { name: "", bits: n, fields: vec![], fixed: vec![], parity: vec![] };
    length_weight(bits, &[&candidate], &Model::default())
}

/// What two presentations sum to but for both being empty, given for each
/// share, each rate and each frame how likely nothing arrives of one.
fn two_presentations(wire: Wire, one_card: bool, lost: &[Vec<f64>]) -> f64 {
    let (empty, read) = (0.05, 0.95);
    let shares = [0.1, 0.3, 0.7];
    let both = |lost: f64| read * (1.0 - lost) * (read * (1.0 - lost) + 2.0 * empty);
    let of_lost = |share: f64| match one_card {
        true => mean(lost.iter().flatten().map(|lost| both(share * lost))),
        // Two reads may be of two cards; of one read there is nothing to ask.
        false => mean(lost.iter().map(|lost| both(share * mean(lost.iter().copied())))),
    };
    match wire {
        Wire::ReadsMissing => {
            mean(shares.map(|share| 1.0 - (share + (1.0 - share) * empty).powi(2)))
        }
        Wire::AtTimes(_) => mean(shares.map(of_lost)),
        _ if wire.cause() == Cause::FrameSplit => read * read,
        _ => of_lost(1.0),
    }
}

/// Whether reads of these wire states are no longer than the frame.
fn adds_nothing(wire: Wire) -> bool {
    use Cause::*;
    !matches!(
        wire.cause(),
        Padded
            | LinesShorted
            | D0Noise
            | D1Noise
            | BothNoise
            | D0Ringing
            | D1Ringing
            | BothRinging
            | Crosstalk
            | FramesMerged
            | BytesReversed
            | UnknownLayout
            | RandomBits
    )
}

fn pairs<'a>(
    first: impl Iterator<Item = Bits> + Clone + 'a,
    second: impl Iterator<Item = Bits> + Clone + 'a,
) -> impl Iterator<Item = Vec<Bits>> + 'a {
    let second = [Bits::new()].into_iter().chain(second);
    [Bits::new()]
        .into_iter()
        .chain(first)
        .flat_map(move |first| second.clone().map(move |second| vec![first, second]))
        .filter(|pair| pair.iter().any(|read| !read.is_empty()))
}

#[test]
fn two_presentations_of_a_little_layout_sum_to_1() {
    for little in littles().iter().filter(|little| little.bits <= 5) {
        let candidates = one_layout(little);
        for known in [Expected::new(), knowns(&little.layout()).swap_remove(1)] {
            for (presented, one_card) in [(Presented::One, true), (Presented::Several, false)] {
                let reads = pairs(all_reads(little.bits), all_reads(little.bits));
                let sums = sum(reads, &known, &candidates, presented);
                for wire in wires().into_iter().filter(|&wire| adds_nothing(wire)) {
                    let lost = lost(little, &known, wire);
                    let expected = two_presentations(wire, one_card, &lost);
                    let found = sums[&wire];
                    assert!(
                        (found - expected).abs() < 1e-9,
                        "{}, {wire}, {known:?}, {presented:?}: {found}, not {expected}",
                        little.name
                    );
                }
            }
        }
    }
}

/// Each read with all lengths of a second one, of which no bit was read: the
/// sum over its bits. That reads are longer than a frame takes too many pairs
/// to go through bit by bit; see below.
#[test]
fn a_read_and_an_unread_one_sum_to_1() {
    let little = &littles()[0];
    let longest = 2 * little.bits + 1;
    let seconds = (1..=longest).chain([32]).map(unread);
    for (presented, one_card) in [(Presented::One, true), (Presented::Several, false)] {
        let reads = pairs(all_reads(longest), seconds.clone());
        let sums = sum(reads, &Expected::new(), &one_layout(little), presented);
        hold_two_presentations(little, &sums, one_card, |wire| wire.cause() != Cause::Padded);
    }
}

/// A million pairs. `cargo test --release -p misread --test probabilities --
/// --ignored`
#[test]
#[ignore = "some minutes; who changes the model runs it"]
fn two_presentations_with_more_than_a_frame_sum_to_1() {
    let little = &littles()[0];
    let longest = 2 * little.bits + 1;
    for (presented, one_card) in [(Presented::One, true), (Presented::Several, false)] {
        let reads = pairs(all_reads(longest), all_reads(longest));
        let sums = sum(reads, &Expected::new(), &one_layout(little), presented);
        hold_two_presentations(little, &sums, one_card, |wire| wire.cause() != Cause::Padded);
    }
}

fn hold_two_presentations(
    little: &Little,
    sums: &Sums,
    one_card: bool,
    is_bounded: impl Fn(Wire) -> bool,
) {
    use Cause::*;
    let endless = [UnknownLayout, RandomBits, BytesReversed];
    let held = |&wire: &Wire| is_bounded(wire) && !endless.contains(&wire.cause());
    for wire in wires().into_iter().filter(held) {
        let expected = two_presentations(wire, one_card, &lost(little, &Known::new(), wire));
        let found = sums[&wire];
        assert!(
            (found - expected).abs() < 1e-9,
            "{wire}, one card {one_card}: {found}, not {expected}"
        );
    }
}

/// Two layouts, and each read of a layout of its own: one at random, so what is
/// lost is lost on average.
#[test]
fn two_presentations_of_two_layouts_sum_to_1() {
    let littles = littles();
    let layouts = [&littles[0], &littles[1]];
    let priors = [0.75, 0.25];
    let weighted =
        layouts.iter().zip(priors).map(|(little, prior)| (Arc::new(little.layout()), prior));
    let candidates = Candidates::weighted(weighted);
    let presented = Presented::Several;
    let sums = sum(pairs(all_reads(5), all_reads(5)), &Expected::new(), &candidates, presented);
    // Own cards 0.45, mixed cards 0.10, scaled.
    let [own, mixed] = [0.45 / 0.55, 0.10 / 0.55];
    for wire in wires().into_iter().filter(|&wire| adds_nothing(wire)) {
        let lost = layouts.map(|little| {
            let by_rate = lost(little, &Known::new(), wire).into_iter();
            by_rate.map(mean).collect::<Vec<f64>>()
        });
        let of_own: f64 = lost
            .iter()
            .zip(priors)
            .map(|(by_rate, prior)| {
                let by_rate: Vec<Vec<f64>> = by_rate.iter().map(|&lost| vec![lost]).collect();
                prior * two_presentations(wire, false, &by_rate)
            })
            .sum();
        let on_average: Vec<Vec<f64>> = (0..lost[0].len())
            .map(|rate| vec![priors[0] * lost[0][rate] + priors[1] * lost[1][rate]])
            .collect();
        let of_mixed = two_presentations(wire, false, &on_average);
        // A read beside an empty presentation is one read: there each layout
        // has its prior, whoever's the card.
        let expected = own * of_own + mixed * of_mixed;
        let found = sums[&wire];
        assert!((found - expected).abs() < 1e-9, "{wire}: {found}, not {expected}");
    }
}

/// The weights of all combinations.
fn weights(asked: &Asked) -> BTreeMap<little::Key, f64> {
    let found = asked.posterior().unwrap();
    let evidence = found.ln_evidence.exp();
    found.joint.iter().map(|one| (key(one), one.probability * evidence)).collect()
}

/// Held for every combination: an unread bit counts for both its values.
fn hold_unread(asked: &mut Asked, read: usize, index: usize) -> Result<(), TestCaseError> {
    let mut with = |bit| {
        asked.case.reads[read].bits.set(index, bit);
        weights(asked)
    };
    let (zero, one, both) = (with(Bit::Zero), with(Bit::One), with(Bit::Unread));
    for (key, weight) in &both {
        let of = |weights: &BTreeMap<little::Key, f64>| weights.get(key).copied().unwrap_or(0.0);
        let sum = of(&zero) + of(&one);
        prop_assert!(
            (sum - weight).abs() <= 1e-9 * weight,
            "{:?}: {} + {} is not {}",
            key,
            of(&zero),
            of(&one),
            weight
        );
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn an_unread_bit_is_the_sum_over_its_values(
        number in any::<u64>(),
        wire in prop::sample::select(wires()),
        read in any::<prop::sample::Index>(),
        index in any::<prop::sample::Index>(),
    ) {
        let littles: Vec<Little> = littles().into_iter().chain(two_bytes()).collect();
        let drawn = draw(wire, &littles, 31, number);
        let mut asked = drawn.asked(&littles);
        prop_assume!(asked.posterior().is_ok());
        let reads: Vec<usize> = (0..asked.case.reads.len())
            .filter(|&at| !asked.case.reads[at].bits.is_empty())
            .collect();
        let read = reads[read.index(reads.len())];
        let index = index.index(asked.case.reads[read].bits.len());
        hold_unread(&mut asked, read, index)?;
    }

    /// The same of the layouts that cards really have, with bits lost, added
    /// and turned over.
    #[test]
    fn an_unread_bit_of_a_long_read_is_the_sum_over_its_values(
        number in any::<u64>(),
        spec in prop::sample::select(&built_in::SPECS[..]),
        complement in any::<bool>(),
        reads in 1..3usize,
    ) {
        let layout = Layout::new(spec).unwrap();
        let dice = &mut Dice(seeded(32, number));
        let mut case = Case::default();
        for _ in 0..reads {
            let values = layout.fields().iter().map(|field| (field.name(), dice.below(1000) as u64 % (field.max() + 1)));
            let frame = layout.encode(values.collect::<Vec<_>>()).unwrap();
            let mut bits: Vec<Option<bool>> = frame.iter().map(|bit| Some((bit == Bit::One) != complement)).collect();
            for _ in 0..dice.below(3) {
                match (dice.below(3), dice.below(bits.len())) {
                    (0, at) => { bits.remove(at); }
                    (1, at) => bits.insert(at, Some(dice.chance(0.5))),
                    (_, at) => bits[at] = None,
                }
            }
            case.reads.push(CaseRead::from(as_bits(&bits)));
        }
        let candidates = Candidates::weighted([(Arc::new(layout), 1.0)]);
        let index = dice.below(case.reads[0].bits.len());
        hold_unread(&mut Asked { case, candidates, model: Model::default() }, 0, index)?;
    }
}
