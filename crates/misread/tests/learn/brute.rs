//! The weights, by another way: every layout of a small family written out,
//! checked and asked for the samples one by one.
//!
//! Only the figures of the prior are shared. The forms and the shapes are
//! listed here from their description; layouts are built and frames decoded by
//! the layouts of the project.

use std::collections::BTreeMap;

use misread::layout::{Code, FieldSpec, FixedSpec, Kind, Layout, Order, ParitySpec, Span, Spec};
use misread::learn::{Sample, Wishes, learn, prior};
use misread::{Bit, Bits, Turn};
use prior::{Family, Shape};

use crate::world::Dice;

const N: usize = 7;

/// What a bit is said to be.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Role {
    Fixed(bool),
    Unknown,
    /// A plain shape, or any set, even or odd.
    Parity(Vec<usize>, bool),
}

fn shapes() -> Vec<(Shape, Vec<usize>)> {
    let mut shapes = Vec::new();
    for first in 0..N {
        for last in first..N {
            let (f, l) = (first as u8, last as u8);
            for stride in 1..=8usize {
                let bits: Vec<usize> = (first..=last).step_by(stride).collect();
                if bits.last() == Some(&last) && (stride == 1 || bits.len() > 1) {
                    shapes.push((Shape::Every { stride: stride as u8, first: f, last: l }, bits));
                }
            }
            for (split, pattern) in [(false, [true, true, false]), (true, [true, false, true])] {
                let bits: Vec<usize> =
                    (first..=last).filter(|index| pattern[(index - first) % 3]).collect();
                if bits.last() == Some(&last) && bits.len() > 2 {
                    shapes.push((Shape::TwoInThree { split, first: f, last: l }, bits));
                }
            }
        }
    }
    shapes
}

/// Every field of the family that could carry numbers of `used` bits: family,
/// bits with the most significant first.
fn forms() -> Vec<(Family, Vec<usize>)> {
    let mut forms = Vec::new();
    for first in 0..N {
        for end in first + 1..=N {
            forms.push((Family::MsbRun, (first..end).collect()));
            if end - first > 1 {
                forms.push((Family::LsbRun, (first..end).rev().collect()));
            }
            for second in 0..N {
                for stop in second + 1..=N {
                    if (stop <= first || second >= end) && second != end {
                        forms.push((Family::TwoRuns, (first..end).chain(second..stop).collect()));
                    }
                }
            }
        }
    }
    forms
}

struct Named<'a> {
    form: &'a (Family, Vec<usize>),
    offset: i128,
}

/// A key for what a layout says, so that the two ways can be compared: the
/// turn, the field, and every frame it allows.
fn key(layout: &Layout, turn: Turn, offset: i128) -> String {
    let fields: Vec<String> = layout
        .fields()
        .iter()
        .map(|field| format!("{:?}", field.indices().collect::<Vec<_>>()))
        .collect();
    let frames: String = (0..1u64 << N)
        .map(|value| {
            let bits = Bits::from_value(value, N).unwrap();
            if layout.decode(&bits).is_ok() { '1' } else { '0' }
        })
        .collect();
    format!("{turn:?} {fields:?} {offset} {frames}")
}

/// All layouts with their weights (not as logarithms), summed by key.
fn all(samples: &[Sample]) -> BTreeMap<String, f64> {
    let mut sums = BTreeMap::new();
    let shapes = shapes();
    let largest = samples.iter().map(|sample| sample.known[0].1).max().unwrap();
    let used = 64 - largest.leading_zeros() as usize;
    let mut different: Vec<u64> = samples.iter().map(|sample| sample.known[0].1).collect();
    different.sort_unstable();
    different.dedup();
    let mut frames: Vec<String> = samples.iter().map(|sample| sample.bits.to_string()).collect();
    frames.sort();
    frames.dedup();
    let power = |weight: f64| 2f64.powf(weight);
    for turn in Turn::ALL {
        let turned: Vec<Bits> = samples.iter().map(|sample| sample.bits.turned(turn)).collect();
        let carries = |index: usize, number: u64, place: usize, read: &Bits| {
            (read.get(index) == Some(Bit::One)) == (place < 64 && number >> place & 1 == 1)
        };
        let moves =
            |index: usize| turned.iter().any(|read| read.get(index) != turned[0].get(index));
        for form in &forms() {
            let (family, bits) = form;
            let own = |read: &Bits| {
                bits.iter()
                    .fold(0u64, |own, &i| own << 1 | u64::from(read.get(i) == Some(Bit::One)))
            };
            let offset = i128::from(samples[0].known[0].1) - i128::from(own(&turned[0]));
            let fits = samples.iter().zip(&turned).all(|(sample, read)| {
                i128::from(sample.known[0].1) - i128::from(own(read)) == offset
            });
            if !fits {
                continue;
            }
            let width = bits.len();
            let mut weight = prior::turn(turn) + prior::field(*family, width, N);
            if offset == 0 {
                if width < used {
                    continue;
                }
                weight += prior::unused(width - used, width, different.len());
                debug_assert!(carries(bits[width - 1], samples[0].known[0].1, 0, &turned[0]));
            } else {
                if *family == Family::TwoRuns || width < 2 || different.len() < 2 {
                    continue;
                }
                weight += prior::offset(offset);
            }
            if *family == Family::TwoRuns {
                // Where it is cut: the one break in the run.
                let cut = bits.windows(2).position(|pair| pair[0] + 1 != pair[1]).unwrap() + 1;
                if !bits[..cut].iter().any(|&i| moves(i)) || !bits[cut..].iter().any(|&i| moves(i))
                {
                    continue;
                }
            }
            outside(
                &mut sums,
                &turned,
                &frames,
                &Named { form, offset },
                turn,
                power(weight),
                &shapes,
            );
        }
    }
    sums
}

/// Goes through everything the other bits can be.
fn outside(
    sums: &mut BTreeMap<String, f64>,
    turned: &[Bits],
    frames: &[String],
    named: &Named<'_>,
    turn: Turn,
    weight: f64,
    shapes: &[(Shape, Vec<usize>)],
) {
    let bits = &named.form.1;
    let free: Vec<usize> = (0..N).filter(|index| !bits.contains(index)).collect();
    let power = |weight: f64| 2f64.powf(weight);
    let one = |read: &Bits, index: usize| read.get(index) == Some(Bit::One);
    let mut roles: Vec<Vec<(Role, f64)>> = Vec::new();
    for &bit in &free {
        let mut ways: Vec<(Role, f64)> = Vec::new();
        for value in [false, true] {
            if turned.iter().all(|read| one(read, bit) == value) {
                ways.push((Role::Fixed(value), power(prior::FIXED)));
            }
        }
        ways.push((Role::Unknown, power(prior::UNKNOWN) * 0.5f64.powi(frames.len() as i32)));
        let rule = |over: &[usize], weight: f64, ways: &mut Vec<(Role, f64)>| {
            for odd in [false, true] {
                let holds = turned.iter().all(|read| {
                    let ones = over.iter().chain([&bit]).filter(|&&i| one(read, i)).count();
                    (ones % 2 == 1) == odd
                });
                if holds {
                    ways.push((Role::Parity(over.to_vec(), odd), weight));
                }
            }
        };
        for (shape, over) in shapes.iter().filter(|(_, over)| !over.contains(&bit)) {
            // The prior describes frames as received; a mirrored shape has its
            // mirror's weight.
            let weight = power(prior::RULE + prior::shape(*shape, bit, N));
            rule(over, weight, &mut ways);
        }
        // A layout says nothing of a rule over no bits.
        for set in 0u32..1 << N {
            if set >> bit & 1 == 0 {
                let over: Vec<usize> = (0..N).filter(|index| set >> index & 1 == 1).collect();
                let weight = power(prior::ANY_RULE - N as f64);
                let mut any = Vec::new();
                rule(&over, weight, &mut any);
                // All of them together count as something unknown.
                for (_, weight) in any {
                    ways.push((Role::Unknown, weight));
                }
            }
        }
        let mut merged: BTreeMap<Role, f64> = BTreeMap::new();
        for (role, weight) in ways {
            *merged.entry(role).or_default() += weight;
        }
        roles.push(merged.into_iter().collect());
    }
    let mut picks = vec![0; free.len()];
    loop {
        let chosen: Vec<(usize, &Role)> =
            free.iter().zip(&picks).zip(&roles).map(|((&bit, &p), r)| (bit, &r[p].0)).collect();
        let share: f64 = picks.iter().zip(&roles).map(|(&p, r)| r[p].1).product();
        if let Some(layout) = build(named, &chosen) {
            let unknown: Vec<usize> = chosen
                .iter()
                .filter(|(_, role)| **role == Role::Unknown)
                .map(|(bit, _)| *bit)
                .collect();
            let key = format!("{} {unknown:?}", key(&layout, turn, named.offset));
            *sums.entry(key).or_default() += weight * share;
        }
        let Some(next) = (0..picks.len()).find(|&i| picks[i] + 1 < roles[i].len()) else { break };
        picks[..next].fill(0);
        picks[next] += 1;
    }
}

fn build(named: &Named<'_>, chosen: &[(usize, &Role)]) -> Option<Layout> {
    let span = |index: &usize| Span::one(*index as u16 + 1);
    let listed: Vec<Span> = match named.form.0 {
        Family::LsbRun => named.form.1.iter().rev().map(span).collect(),
        _ => named.form.1.iter().map(span).collect(),
    };
    let order = match named.form.0 {
        Family::LsbRun => Order::LsbFirst,
        _ => Order::MsbFirst,
    };
    let fields = [FieldSpec { order, code: Code::Binary, ..FieldSpec::plain("card", &listed) }];
    let mut fixed: Vec<([Span; 1], &str)> = Vec::new();
    let mut parity: Vec<(u16, Kind, Vec<Span>)> = Vec::new();
    for (bit, role) in chosen {
        match role {
            Role::Fixed(value) => fixed.push(([span(bit)], if *value { "1" } else { "0" })),
            Role::Unknown => {}
            Role::Parity(over, odd) => {
                let kind = if *odd { Kind::Odd } else { Kind::Even };
                parity.push((*bit as u16 + 1, kind, over.iter().map(span).collect()));
            }
        }
    }
    let fixed: Vec<FixedSpec<'_>> =
        fixed.iter().map(|(bits, value)| FixedSpec { bits, value }).collect();
    let parity: Vec<ParitySpec<'_>> = parity
        .iter()
        .map(|(bit, kind, over)| ParitySpec { bit: *bit, kind: *kind, over })
        .collect();
    // The layout's own check refuses parity bits that go in a circle.
    Layout::new(&Spec {
        name: "all",
        bits: N as u16,
        fields: &fields,
        fixed: &fixed,
        parity: &parity,
    })
    .ok()
}

#[test]
fn every_layout_of_a_small_family_has_the_same_weight() {
    for seed in 0..6 {
        let mut dice = Dice::new(70 + seed);
        // Bits 2 to 6 carry the number; even parity in front, bit 7 odd.
        let samples: Vec<Sample> = (0..5 + dice.below(6))
            .map(|i| {
                let card = dice.below(32);
                let ones = card.count_ones() as usize;
                let frame =
                    (ones % 2) << 6 | card << 1 | (1 - (card & 7).count_ones() as usize % 2);
                let bits = Bits::from_value(frame as u64, N).unwrap();
                let known = vec![("card".to_owned(), card as u64)];
                Sample { line: i as u64 + 2, bits, known }
            })
            .collect();
        let learned = &learn(&samples, &Wishes::default()).unwrap()[0];
        let sums = all(&samples);
        assert!(!learned.candidates.is_empty());
        // The shares of the candidates against one another; the best is the
        // measure.
        let by_key = |candidate: &misread::learn::Candidate, turn| {
            let offset = candidate.offsets.first().map_or(0, |(_, offset)| *offset);
            let unknown: Vec<usize> = (0..N)
                .filter(|&index| {
                    let layout = &candidate.layout;
                    !layout.fields().iter().any(|field| field.mask().contains(index))
                        && !layout.fixed().iter().any(|fixed| fixed.mask().contains(index))
                        && !layout.parity().iter().any(|rule| rule.bit() == index)
                })
                .collect();
            format!("{} {unknown:?}", key(&candidate.layout, turn, offset))
        };
        let mut compared = 0;
        let mut measure = None;
        for candidate in &learned.candidates {
            if candidate.layout.fields().is_empty() {
                continue;
            }
            // The list does not say how each candidate's reads were taken: the
            // turn under which it takes all samples, its field giving the
            // numbers, is the one.
            let turn = Turn::ALL.into_iter().find(|turn| {
                samples.iter().all(|sample| {
                    let read = sample.bits.turned(*turn);
                    candidate.layout.decode(&read).is_ok_and(|decoded| {
                        let offset = candidate.offsets.first().map_or(0, |(_, offset)| *offset);
                        let number = decoded.value("card").unwrap();
                        i128::from(number) + offset == i128::from(sample.known[0].1)
                    })
                })
            });
            let turn = turn.expect("a candidate takes every sample");
            let brute = sums.get(&by_key(candidate, turn)).copied();
            let brute = brute.unwrap_or_else(|| panic!("not found by brute force: {candidate:?}"));
            let (first, weight) = *measure.get_or_insert((brute, candidate.weight));
            let (expected, found) = (brute / first, candidate.weight / weight);
            assert!(
                (expected - found).abs() <= 1e-6 * expected,
                "{expected} is found as {found}: {candidate:?}"
            );
            compared += 1;
        }
        assert!(compared >= 5, "only {compared} candidates");
    }
}
