//! Whole layouts, put together and weighed.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use misread_core::layout::{self, FieldSpec, FixedSpec, Kind, ParitySpec, Spec};

use super::claim::{inverts, reverses};
use super::frames::Span;
use super::product::Combinations;
use super::weigh::{Config, Weighed};
use super::weight::{NOTHING, plus};
use crate::Layout;
use crate::diagnose::gf2::Words;

/// Where the numbers stand is tried in this many ways, and the other bits in
/// this many for each.
const CONFIGS: usize = 24;
const COMBINATIONS: usize = 400;

/// Ways a single bit is tried.
const WAYS: usize = 64;

/// What one bit is in a candidate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Fixed,
    Unknown,
    /// A parity bit: it and the bits it covers.
    Parity(Words),
}

/// A whole layout, in the order received.
#[derive(Clone, Debug)]
pub(super) struct Whole {
    /// Which configuration.
    pub(super) config: usize,
    /// Each bit outside the numbers.
    pub(super) roles: Vec<(usize, Role)>,
    /// Its share of everything possible.
    pub(super) share: f64,
}

impl Whole {
    /// The parity rules: bit and group.
    pub(super) fn rules(&self) -> Vec<(usize, Words)> {
        let rules = self.roles.iter().filter_map(|(bit, role)| match role {
            Role::Parity(group) => Some((*bit, *group)),
            _ => None,
        });
        rules.collect()
    }

    /// Whether its rules say that the parity of these bits is always the same.
    pub(super) fn implies(&self, group: Words) -> bool {
        Span::of(self.rules().into_iter().map(|(_, group)| group)).holds(group)
    }

    /// Two layouts with the same frames are the same layout, described in two
    /// ways: a parity bit may cover another, or the bits that one covers.
    fn frames(&self) -> Frames {
        let mut sets = Vec::new();
        let mut unknown = Vec::new();
        for &(bit, role) in &self.roles {
            match role {
                Role::Unknown => unknown.push(bit),
                Role::Parity(group) => sets.push(group),
                Role::Fixed => {
                    let mut alone = Words::default();
                    alone.set(bit, true);
                    sets.push(alone);
                }
            }
        }
        (Span::of(sets).rows(), unknown)
    }

    /// How many bits its rules cover, all together.
    fn covered(&self) -> usize {
        self.rules().iter().map(|(_, group)| group.count()).sum()
    }
}

/// The heaviest whole layouts, heaviest first.
pub(super) fn wholes(weighed: &Weighed) -> Vec<Whole> {
    let mut found = Vec::new();
    for (number, config) in weighed.configs.iter().enumerate().take(CONFIGS) {
        let share = config.weight - weighed.all_configs;
        if share < -20.0 && number > 0 {
            break;
        }
        let outside = Words::first(weighed.frames.bits).without(config.claims);
        let bits: Vec<usize> = outside.indices().collect();
        let ways: Vec<Vec<(Role, f64)>> = ways(weighed, outside, &bits);
        let weights: Vec<Vec<f64>> =
            ways.iter().map(|ways| ways.iter().map(|(_, weight)| *weight).collect()).collect();
        let mut combinations = Combinations::of(&weights);
        let mut alike: HashMap<Frames, usize> = HashMap::new();
        for _ in 0..COMBINATIONS {
            let Some(combination) = combinations.take() else { break };
            let roles: Vec<(usize, Role)> = bits
                .iter()
                .zip(&ways)
                .zip(&combination.picks)
                .map(|((&bit, ways), &pick)| (bit, ways[usize::from(pick)].0))
                .collect();
            let circle = circle(&roles);
            if !circle.is_empty() {
                let in_circle = (0..bits.len()).filter(|&i| circle.contains(bits[i]));
                combinations.step(&combination, in_circle);
                continue;
            }
            combinations.step(&combination, 0..bits.len());
            let share = libm::exp2(share + combination.weight);
            let whole = Whole { config: number, roles, share };
            match alike.entry(whole.frames()) {
                Entry::Vacant(place) => {
                    place.insert(found.len());
                    found.push(whole);
                }
                Entry::Occupied(place) => {
                    let same: &mut Whole = &mut found[*place.get()];
                    same.share += share;
                    if whole.covered() < same.covered() {
                        same.roles = whole.roles;
                    }
                }
            }
        }
    }
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

/// Which frames a layout allows: the rules and fixed bits, each solved for a
/// bit of its own, and the bits that are unknown.
type Frames = (Vec<Words>, Vec<usize>);

/// What each bit outside the numbers can be, with shares as logarithms.
fn ways(weighed: &Weighed, outside: Words, bits: &[usize]) -> Vec<Vec<(Role, f64)>> {
    let frames = &weighed.frames;
    let moving = outside.without(frames.constant);
    let (solved, rest) = frames.solved_for(moving);
    // Rules of no plain shape, where the frames leave only one for the bit.
    let only = rest.iter().all(|set| set.without(frames.constant).is_empty());
    bits.iter()
        .map(|&bit| {
            let choice = &weighed.bits[bit];
            let mut unknown = plus(plus(choice.unknown, choice.unlisted), choice.any_rule);
            let mut ways: Vec<(Role, f64)> =
                choice.rules.iter().map(|(group, w)| (Role::Parity(*group), *w)).collect();
            let other = solved.iter().find(|(pivot, _)| *pivot == bit).filter(|_| only);
            if let Some((_, group)) = other
                && group.count() > 1
                && !choice.rules.iter().any(|(rule, _)| rule == group)
            {
                let weight = super::prior::ANY_RULE - frames.bits as f64;
                unknown = super::weight::minus(unknown, weight);
                ways.push((Role::Parity(*group), weight));
            }
            ways.extend([(Role::Fixed, choice.fixed), (Role::Unknown, unknown)]);
            ways.retain(|(_, weight)| *weight > NOTHING);
            ways.sort_by(|a, b| b.1.total_cmp(&a.1));
            ways.truncate(WAYS);
            let total = weighed.totals[bit];
            ways.into_iter().map(|(role, weight)| (role, weight - total)).collect()
        })
        .collect()
}

/// The parity bits that cannot be worked out one after the other.
fn circle(roles: &[(usize, Role)]) -> Words {
    let mut left: Vec<(usize, Words)> = roles
        .iter()
        .filter_map(|(bit, role)| match role {
            Role::Parity(group) => Some((*bit, *group)),
            _ => None,
        })
        .collect();
    loop {
        let waiting = left.iter().fold(Words::default(), |mut waiting, (bit, _)| {
            waiting.set(*bit, true);
            waiting
        });
        let before = left.len();
        left.retain(|(_, group)| group.and(waiting).count() > 1);
        if left.is_empty() || left.len() == before {
            return if left.is_empty() { Words::default() } else { waiting };
        }
    }
}

/// The layout of the frame as it should be, with or without its fixed bits;
/// `keep` says which rules take part.
pub(super) fn layout(
    weighed: &Weighed,
    whole: &Whole,
    name: &str,
    with_fixed: bool,
    keep: impl Fn(usize) -> bool,
) -> Option<Layout> {
    let config = &weighed.configs[whole.config];
    let bits = weighed.frames.bits;
    let place = |index: usize| if reverses(config.turn) { bits - 1 - index } else { index };
    let inverted = inverts(config.turn);

    let named: Vec<(String, Vec<layout::Span>, &super::field::Form)> = config
        .picks
        .iter()
        .flat_map(|choice| &choice.fields)
        .map(|(name, form)| (name.clone(), form.listed(), form))
        .collect();
    let mut fields: Vec<FieldSpec<'_>> =
        named.iter().map(|(name, listed, form)| form.spec(name, listed)).collect();
    fields.sort_by_key(|field| field.bits.iter().map(|span| span.first).min());

    let mut fixed_bits: Vec<(usize, bool)> = whole
        .roles
        .iter()
        .filter(|(_, role)| with_fixed && *role == Role::Fixed)
        .map(|(index, _)| (place(*index), weighed.frames.first.contains(*index) != inverted))
        .collect();
    fixed_bits.sort_unstable();
    let runs: Vec<(Vec<layout::Span>, String)> = fixed_bits
        .chunk_by(|a, b| a.0 + 1 == b.0)
        .flat_map(|run| run.chunks(64))
        .map(|run| {
            let spans =
                vec![layout::Span::range(run[0].0 as u16 + 1, run[run.len() - 1].0 as u16 + 1)];
            (spans, run.iter().map(|(_, one)| if *one { '1' } else { '0' }).collect())
        })
        .collect();
    let fixed: Vec<FixedSpec<'_>> =
        runs.iter().map(|(bits, value)| FixedSpec { bits, value }).collect();

    let mut rules: Vec<(u16, Kind, Vec<layout::Span>)> = whole
        .rules()
        .into_iter()
        .filter(|(bit, _)| keep(*bit))
        .map(|(bit, group)| {
            let odd = group.and(weighed.frames.first).is_odd() != (inverted && group.is_odd());
            let mut over: Vec<usize> =
                group.indices().filter(|index| *index != bit).map(place).collect();
            over.sort_unstable();
            let over = over.into_iter().map(|index| layout::Span::one(index as u16 + 1)).collect();
            (place(bit) as u16 + 1, if odd { Kind::Odd } else { Kind::Even }, over)
        })
        .collect();
    rules.sort_by_key(|(bit, ..)| *bit);
    let parity: Vec<ParitySpec<'_>> =
        rules.iter().map(|(bit, kind, over)| ParitySpec { bit: *bit, kind: *kind, over }).collect();
    let spec = Spec { name, bits: bits as u16, fields: &fields, fixed: &fixed, parity: &parity };
    Layout::new(&spec).ok()
}

/// The constants to add to a field of the layout to give the number known.
pub(super) fn offsets(config: &Config) -> Vec<(String, i128)> {
    let fields = config.picks.iter().flat_map(|choice| &choice.fields);
    let added = fields.filter(|(_, form)| form.offset != 0);
    added.map(|(name, form)| (name.clone(), form.offset)).collect()
}
