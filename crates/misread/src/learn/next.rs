//! Which card to present next.

use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::candidate::{Role, Whole};
use super::claim::inverts;
use super::sample::{Group, Wishes, plain};
use super::weigh::{Weighed, received};
use crate::diagnose::gf2::Words;

/// Whole layouts that take part, at most.
const TAKE_PART: usize = 200;

/// Cards of any number that are tried.
const TRIED: usize = 160;

/// A card to present, and what its read is expected to tell.
#[derive(Clone, Debug, PartialEq)]
pub struct NextSample {
    /// The numbers on the card.
    pub card: Vec<(String, u64)>,
    /// How many bits of doubt between the candidates it is expected to remove.
    pub gain_bits: f64,
}

/// Finds cards that split what is left.
pub(super) struct Splitter<'a> {
    group: &'a Group,
    weighed: &'a Weighed,
    wholes: &'a [Whole],
    cards: Vec<Vec<(String, u64)>>,
    /// For each card, which read each whole layout foresees.
    foreseen: Vec<Vec<u64>>,
}

impl<'a> Splitter<'a> {
    pub(super) fn new(
        group: &'a Group,
        weighed: &'a Weighed,
        wholes: &'a [Whole],
        wishes: &Wishes,
    ) -> Self {
        let wholes = &wholes[..wholes.len().min(TAKE_PART)];
        let cards = if group.columns.is_empty() {
            Vec::new()
        } else if wishes.cards.is_empty() {
            any_cards(group, weighed)
        } else {
            let plainly = |card: &Vec<(String, u64)>| {
                card.iter().map(|(name, number)| (plain(name), *number)).collect()
            };
            wishes.cards.iter().map(plainly).collect()
        };
        let foreseen = cards
            .iter()
            .map(|card| wholes.iter().map(|whole| foresee(group, weighed, whole, card)).collect())
            .collect();
        Splitter { group, weighed, wholes, cards, foreseen }
    }

    /// The card that splits all that is left best.
    pub(super) fn best(&self) -> Option<NextSample> {
        let total: f64 = self.wholes.iter().map(|whole| whole.share).sum();
        self.heaviest(|foreseen| {
            let mut by_read: BTreeMap<u64, f64> = BTreeMap::new();
            for (read, whole) in foreseen.iter().zip(self.wholes) {
                *by_read.entry(*read).or_default() += whole.share / total;
            }
            by_read.values().map(|share| share * -libm::log2(*share)).sum()
        })
    }

    /// The card that tells best what a bit outside the numbers is.
    pub(super) fn for_bit(&self, bit: usize) -> Option<NextSample> {
        let role = |whole: &Whole| {
            whole.roles.iter().find(|(index, _)| *index == bit).map(|(_, role)| *role)
        };
        let first = self.wholes.first().map(role)?;
        self.best_between(|whole| role(whole) == first)
    }

    /// The card that tells best where a column's number stands.
    pub(super) fn for_column(&self, column: usize) -> Option<NextSample> {
        let fields = |whole: &Whole| &self.weighed.configs[whole.config].picks[column].fields;
        let first = self.wholes.first().map(fields)?;
        self.best_between(|whole| fields(whole) == first)
    }

    /// The card that best tells the layouts that `like` says yes to from the
    /// others.
    fn best_between(&self, like: impl Fn(&Whole) -> bool) -> Option<NextSample> {
        let sides: Vec<bool> = self.wholes.iter().map(like).collect();
        let total: f64 = self.wholes.iter().map(|whole| whole.share).sum();
        let gain = |foreseen: &[u64]| {
            let mut by_read: BTreeMap<u64, [f64; 2]> = BTreeMap::new();
            for ((read, side), whole) in foreseen.iter().zip(&sides).zip(self.wholes) {
                by_read.entry(*read).or_default()[usize::from(*side)] += whole.share / total;
            }
            let all = by_read.values().fold([0.0; 2], |all, [a, b]| [all[0] + a, all[1] + b]);
            let left = |[a, b]: &[f64; 2]| -> f64 {
                [*a, *b].iter().filter(|p| **p > 0.0).map(|p| p * libm::log2((a + b) / p)).sum()
            };
            left(&all) - by_read.values().map(left).sum::<f64>()
        };
        self.heaviest(gain)
    }

    fn heaviest(&self, gain: impl Fn(&[u64]) -> f64) -> Option<NextSample> {
        let mut best: Option<NextSample> = None;
        for (card, foreseen) in self.cards.iter().zip(&self.foreseen) {
            let gain_bits = gain(foreseen);
            // The first of equals: plain cards stand before others.
            if gain_bits > best.as_ref().map_or(1e-3, |best| best.gain_bits + 1e-9) {
                best = Some(NextSample { card: self.in_order(card), gain_bits });
            }
        }
        best
    }

    fn in_order(&self, card: &[(String, u64)]) -> Vec<(String, u64)> {
        let mut card = card.to_vec();
        card.sort_by_key(|(name, _)| self.group.columns.iter().position(|c| c == name));
        card
    }
}

/// Cards of any number worth trying: the last one seen with one number changed,
/// and some with all of them changed.
fn any_cards(group: &Group, weighed: &Weighed) -> Vec<Vec<(String, u64)>> {
    let mut last: HashMap<&str, u64> = HashMap::new();
    for (name, number) in group.samples.iter().flat_map(|sample| &sample.known) {
        last.insert(name, *number);
    }
    let now = |name: &str| last.get(name).copied().unwrap_or(0);
    let mut tried: Vec<Vec<u64>> = Vec::new();
    for (column, name) in group.columns.iter().enumerate() {
        let seen = now(name);
        // What the likeliest field can carry: a card that can be had.
        let likeliest =
            weighed.configs.iter().flat_map(|config| &config.picks[column].fields).next();
        let width = likeliest.map_or(16, |(_, form)| form.bits.len()).min(63);
        let used = 64 - seen.leading_zeros() as usize;
        let all = (1u64 << width) - 1;
        let mut numbers = vec![all];
        numbers.extend((used..=width).rev().map(|bits| (1u64 << bits) - 1));
        numbers.extend((0..width).map(|bit| (seen ^ 1 << bit) & all));
        // A fixed sequence of numbers from the whole width.
        let mut state = 0x9e37_79b9_7f4a_7c15_u64 ^ column as u64;
        numbers.extend((0..48).map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) & all
        }));
        numbers.retain(|number| {
            *number != seen && likeliest.is_none_or(|(_, form)| form.number(*number).is_some())
        });
        tried.push(numbers);
    }
    let mut cards = Vec::new();
    let card = |pick: &dyn Fn(usize, &str) -> u64| -> Vec<(String, u64)> {
        let columns = group.columns.iter().enumerate();
        columns.map(|(column, name)| (name.clone(), pick(column, name))).collect()
    };
    for (column, numbers) in tried.iter().enumerate() {
        for number in numbers {
            cards.push(card(&|other, name| {
                if other == column { *number } else { now(name) }
            }));
        }
    }
    cards.truncate(TRIED);
    for i in 0..TRIED / 2 {
        cards.push(card(&|column, name| {
            let numbers = &tried[column];
            numbers.get(i % numbers.len().max(1)).copied().unwrap_or_else(|| now(name))
        }));
    }
    cards
}

/// The read a layout foresees for a card, as a mark: equal marks are equal
/// reads, a bit nobody can foresee counted as one of its own.
fn foresee(group: &Group, weighed: &Weighed, whole: &Whole, card: &[(String, u64)]) -> u64 {
    let config = &weighed.configs[whole.config];
    let bits = weighed.frames.bits;
    let (mut values, mut known) = (Words::default(), Words::default());
    let mut fits = true;
    for (column, choice) in group.columns.iter().zip(&config.picks) {
        let Some((_, number)) = card.iter().find(|(name, _)| name == column) else { continue };
        let parts: Vec<u64> = match choice.run_together.and_then(|d| 10u64.checked_pow(d)) {
            Some(cut) => vec![number / cut, number % cut],
            None => vec![*number],
        };
        for ((_, form), part) in choice.fields.iter().zip(parts) {
            let Some(own) = form.number(part) else {
                fits = false;
                continue;
            };
            for (index, place) in form.places() {
                let mut at = Words::default();
                at.set(usize::from(index), true);
                let Some(at) = received(at, bits, config.turn).first_index() else { continue };
                values.set(at, place.of(own) != inverts(config.turn));
                known.set(at, true);
            }
        }
    }
    // What a batch has in common stays as it is where nothing is said.
    for (bit, role) in &whole.roles {
        if *role == Role::Fixed {
            values.set(*bit, weighed.frames.first.contains(*bit));
            known.set(*bit, true);
        }
    }
    let mut rules = whole.rules();
    loop {
        let before = rules.len();
        rules.retain(|(bit, group)| {
            let mut over = *group;
            over.set(*bit, false);
            if !over.without(known).is_empty() {
                return true;
            }
            let odd = group.and(weighed.frames.first).is_odd();
            values.set(*bit, over.and(values).is_odd() != odd);
            known.set(*bit, true);
            false
        });
        if rules.len() == before {
            break;
        }
    }
    let mut hasher = DefaultHasher::new();
    (fits, values, known).hash(&mut hasher);
    hasher.finish()
}
