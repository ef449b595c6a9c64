//! What a bit outside the given numbers can be: fixed, a parity bit, unknown.

use std::collections::HashMap;

use super::frames::{Column, Frames, Span};
use super::prior;
use super::shape;
use super::weight::{NOTHING, plus, sum};
use crate::diagnose::gf2::Words;

/// Rules kept for each bit; the weight of the others is kept as a sum.
const KEPT: usize = 256;

/// What one bit can be, by weight.
#[derive(Clone, Debug)]
pub(super) struct BitChoices {
    /// Fixed at the value it has in every frame.
    pub(super) fixed: f64,
    /// Part of something unknown.
    pub(super) unknown: f64,
    /// The parity bit of any set of bits that holds, all sets together.
    pub(super) any_rule: f64,
    /// The parity bit of a rule of a plain shape: bit and covered bits
    /// together, heaviest first.
    pub(super) rules: Vec<(Words, f64)>,
    /// The rules of plain shapes that are not listed, together.
    pub(super) unlisted: f64,
}

impl BitChoices {
    /// Everything together.
    pub(super) fn total(&self) -> f64 {
        let listed = self.rules.iter().map(|(_, weight)| *weight);
        sum(listed.chain([self.fixed, self.unknown, self.any_rule, self.unlisted]))
    }
}

/// What each bit can be.
pub(super) fn choices(frames: &Frames) -> Vec<BitChoices> {
    let bits = frames.bits;
    let any_rule = prior::ANY_RULE - frames.rank() as f64;
    let mut choices: Vec<BitChoices> = (0..bits)
        .map(|index| BitChoices {
            fixed: if frames.constant.contains(index) { prior::FIXED } else { NOTHING },
            unknown: prior::UNKNOWN - frames.count as f64,
            any_rule: if frames.is_in_a_rule(index) { any_rule } else { NOTHING },
            rules: Vec::new(),
            unlisted: NOTHING,
        })
        .collect();

    let (columns, ones) = (frames.columns(), frames.ones());
    let mut alike: HashMap<Column, Vec<usize>> = HashMap::new();
    for (index, column) in columns.iter().enumerate() {
        alike.entry(column.beginning_with_zero(&ones).0).or_default().push(index);
    }
    let (mut column, mut set) = (Column::default(), Words::default());
    shape::for_each(bits, |growing| {
        if growing.fresh {
            (column, set) = (Column::default(), Words::default());
        }
        column.add(&columns[growing.added]);
        set.set(growing.added, true);
        if !growing.whole {
            return;
        }
        for &index in alike.get(&column.beginning_with_zero(&ones).0).into_iter().flatten() {
            if !set.contains(index) {
                let mut group = set;
                group.set(index, true);
                let weight = prior::RULE + prior::shape(growing.shape, index, bits);
                keep(&mut choices[index], group, weight);
            }
        }
    });
    for choice in &mut choices {
        choice.rules.sort_by(|a, b| b.1.total_cmp(&a.1));
    }
    choices
}

/// Lists a rule, or adds it to those that are not listed.
fn keep(choice: &mut BitChoices, group: Words, weight: f64) {
    choice.rules.push((group, weight));
    // Twice as many before the lightest half goes: no list is sorted often.
    if choice.rules.len() == 2 * KEPT {
        choice.rules.sort_by(|a, b| b.1.total_cmp(&a.1));
        for (_, weight) in choice.rules.drain(KEPT..) {
            choice.unlisted = plus(choice.unlisted, weight);
        }
    }
}

/// A rule that holds on every frame as far as the reads can tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Settled {
    pub(super) bit: usize,
    /// The parity bit and the bits it covers. Bits that never moved stand in
    /// it only where `whole`.
    pub(super) group: Words,
    /// Whether it is settled for the bits that never moved as well.
    pub(super) whole: bool,
}

/// The rules of `chosen` (bit, group) that are settled: everything else the
/// bits of `outside` could be weighs less than [`prior::DOUBT`] of what agrees
/// with them.
///
/// A rule agrees with the chosen ones where it is a sum of them, since it then
/// says the same of every frame. Not every choice of agreeing rules is a
/// layout (two bits may not both be worked out from one another), so the
/// choices in which every rule covers only bits before its own, or only bits
/// after, stand for all of them: fewer, so the doubt is never understated.
pub(super) fn settled(
    frames: &Frames,
    choices: &[BitChoices],
    chosen: &[(usize, Words)],
) -> Vec<Settled> {
    let moving: Vec<(usize, Words)> =
        chosen.iter().copied().filter(|(bit, _)| !frames.constant.contains(*bit)).collect();
    let whole = surviving(frames, choices, &moving, Words::default());
    let partly = surviving(frames, choices, &moving, frames.constant);
    moving
        .into_iter()
        .filter(|(bit, _)| whole.contains(bit) || partly.contains(bit))
        .map(|(bit, group)| match whole.contains(&bit) {
            true => Settled { bit, group, whole: true },
            false => Settled { bit, group: group.without(frames.constant), whole: false },
        })
        .collect()
}

/// Which bits' rules are settled, rules that differ only in bits of `aside`
/// counted as one.
fn surviving(
    frames: &Frames,
    choices: &[BitChoices],
    chosen: &[(usize, Words)],
    aside: Words,
) -> Vec<usize> {
    let mut left = chosen.to_vec();
    loop {
        let alone = aside.indices().map(|index| {
            let mut alone = Words::default();
            alone.set(index, true);
            alone
        });
        let span = Span::of(left.iter().map(|(_, group)| *group).chain(alone));
        let own = left.iter().fold(Words::default(), |mut own, (bit, _)| {
            own.set(*bit, true);
            own
        });
        let mut doubts = Vec::new();
        let (mut upward, mut downward) = (0.0, 0.0);
        for (bit, _) in &left {
            let choice = &choices[*bit];
            let mut good = NOTHING;
            let (mut bad, mut up, mut down) = (choice.unlisted, NOTHING, NOTHING);
            bad = plus(bad, plus(choice.unknown, choice.fixed));
            bad = plus(bad, other_rules(frames, &span, *bit, choice.any_rule));
            for (group, weight) in &choice.rules {
                if !span.holds(*group) {
                    bad = plus(bad, *weight);
                    continue;
                }
                good = plus(good, *weight);
                let others = group.and(own);
                if others.last_index() == Some(*bit) {
                    up = plus(up, *weight);
                }
                if others.first_index() == Some(*bit) {
                    down = plus(down, *weight);
                }
            }
            if good == NOTHING {
                // The rule itself is of no plain shape.
                good = prior::ANY_RULE - frames.bits as f64;
                (up, down) = (good, good);
            }
            upward += good - up;
            downward += good - down;
            doubts.push((*bit, bad - good));
        }
        let worst = doubts.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((worst, _)) = worst else { return Vec::new() };
        let doubt = sum(doubts.iter().map(|(_, doubt)| *doubt)) + upward.min(downward);
        // Half of the doubt is left for the fields.
        if doubt <= libm::log2(prior::DOUBT / 2.0) {
            return left.into_iter().map(|(bit, _)| bit).collect();
        }
        left.retain(|(bit, _)| *bit != worst);
    }
}

/// The weight of the rules of no plain shape that are no sum of the agreed
/// ones.
fn other_rules(frames: &Frames, span: &Span, bit: usize, any_rule: f64) -> f64 {
    let (all, agreed) = (frames.rules(), span.dimension());
    if any_rule == NOTHING || (all == agreed && span.reaches(bit)) {
        NOTHING
    } else if span.reaches(bit) {
        // A power of two less a smaller one.
        any_rule + libm::log2(1.0 - libm::exp2(agreed as f64 - all as f64))
    } else {
        any_rule
    }
}
