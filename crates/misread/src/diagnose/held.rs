//! What of the expected cards still holds in each card state, read by read.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::case::{Expected, FACILITY};
use crate::cause::{CardState, IS_NEIGHBOUR, NEIGHBOUR_BITS};

/// What holds of one card, by field.
pub(crate) type Holds = BTreeMap<String, Held>;

/// A value that holds of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) struct Held {
    pub(crate) value: u64,
    /// How many of its lowest bits are any: those of a neighbour in the batch.
    pub(crate) loose: usize,
}

/// A card state as the sums see it: [`CardState::CardDiffers`] is two of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Leeway {
    None,
    Facility,
    Neighbour,
    Card,
    Everything,
}

impl Leeway {
    /// What a card state comes to, with the share of each.
    pub(crate) fn of(state: CardState) -> &'static [(Leeway, f64)] {
        match state {
            CardState::AsExpected => &[(Leeway::None, 1.0)],
            CardState::FacilityDiffers => &[(Leeway::Facility, 1.0)],
            CardState::CardDiffers => {
                &[(Leeway::Neighbour, IS_NEIGHBOUR), (Leeway::Card, 1.0 - IS_NEIGHBOUR)]
            }
            CardState::DifferentCard => &[(Leeway::Everything, 1.0)],
        }
    }

    /// What of an expected card still holds.
    pub(crate) fn holds(self, expected: &Expected) -> Holds {
        let of = |(name, &value): (&String, &u64)| {
            let is_facility = name == FACILITY;
            let held = |loose| Some((name.clone(), Held { value, loose }));
            match self {
                Leeway::None => held(0),
                Leeway::Facility if is_facility => None,
                Leeway::Facility => held(0),
                Leeway::Neighbour | Leeway::Card if is_facility => held(0),
                Leeway::Neighbour => held(NEIGHBOUR_BITS),
                Leeway::Card | Leeway::Everything => None,
            }
        };
        expected.iter().filter_map(of).collect()
    }
}

/// What is known of a card for sure, every bit.
pub(crate) fn wholly(expected: &Expected) -> Holds {
    Leeway::None.holds(expected)
}

/// Whether two say the same of the bits they tell: neighbours do that differ in
/// their loose bits only.
fn same(a: &Holds, b: &Holds) -> bool {
    let alike = |a: &Held, b: &Held| {
        let shift = |held: &Held| held.value.checked_shr(held.loose as u32).unwrap_or(0);
        a.loose == b.loose && shift(a) == shift(b)
    };
    a.len() == b.len() && a.iter().zip(b).all(|((m, a), (n, b))| m == n && alike(a, b))
}

/// Everything that may be known of a card of a case, each once, by number.
#[derive(Clone, Debug, Default)]
pub(crate) struct Knowns {
    pub(crate) all: Vec<Holds>,
    numbers: FxHashMap<Holds, usize>,
}

impl Knowns {
    pub(crate) fn number(&mut self, holds: Holds) -> usize {
        if let Some(&number) = self.numbers.get(&holds) {
            return number;
        }
        self.all.push(holds.clone());
        self.numbers.insert(holds, self.all.len() - 1);
        self.all.len() - 1
    }
}

/// A card state, or half of one, as the reads of a case see it.
#[derive(Clone, Debug)]
pub(crate) struct View {
    pub(crate) state: CardState,
    pub(crate) leeway: Leeway,
    /// Its share of the card state.
    pub(crate) share: f64,
    /// By expected card, the number of what is known.
    pub(crate) cards: Vec<usize>,
    /// By pair of reads, what is known where the two are one frame; `None`
    /// where reads do not pair up, or two of a pair contradict each other.
    pub(crate) pairs: Option<Vec<usize>>,
    /// What is known where all reads are of one card; `None` where different
    /// ones are expected.
    pub(crate) one: Option<usize>,
}

impl View {
    /// The card states of a case. `cards` are the different expected cards,
    /// `reads` says which each read has.
    pub(crate) fn all(cards: &[Expected], reads: &[usize], knowns: &mut Knowns) -> Vec<View> {
        let any_expected = reads.iter().any(|&card| !cards[card].is_empty());
        let states = if any_expected { &CardState::ALL[..] } else { &CardState::ALL[..1] };
        let mut views: Vec<View> = Vec::new();
        for &state in states {
            for &(leeway, share) in Leeway::of(state) {
                let holds: Vec<Holds> = cards.iter().map(|card| leeway.holds(card)).collect();
                let numbers = holds.iter().map(|holds| knowns.number(holds.clone())).collect();
                let mut view = View {
                    state,
                    leeway,
                    share,
                    cards: numbers,
                    pairs: pairs(&holds, reads, knowns),
                    one: one(cards, &holds, reads, knowns),
                };
                // Where no bit is loose but what is any anyway.
                if let Some(last) = views.last_mut()
                    && (last.state, &last.cards) == (view.state, &view.cards)
                {
                    last.share += view.share;
                    continue;
                }
                view.share = share;
                views.push(view);
            }
        }
        views
    }
}

fn pairs(holds: &[Holds], reads: &[usize], knowns: &mut Knowns) -> Option<Vec<usize>> {
    if !reads.len().is_multiple_of(2) {
        return None;
    }
    let of_pair = |pair: &[usize]| {
        let (first, second) = (&holds[*pair.first()?], &holds[*pair.last()?]);
        match (first.is_empty(), second.is_empty()) {
            (true, _) => Some(second.clone()),
            (_, true) => Some(first.clone()),
            _ => same(first, second).then(|| first.clone()),
        }
    };
    let holds: Option<Vec<Holds>> = reads.chunks_exact(2).map(of_pair).collect();
    Some(holds?.into_iter().map(|holds| knowns.number(holds)).collect())
}

fn one(cards: &[Expected], holds: &[Holds], reads: &[usize], knowns: &mut Knowns) -> Option<usize> {
    let mut card = None;
    for &read in reads.iter().filter(|&&read| !cards[read].is_empty()) {
        if card.is_some_and(|card| card != read) {
            return None;
        }
        card = Some(read);
    }
    Some(knowns.number(card.map(|card| holds[card].clone()).unwrap_or_default()))
}
