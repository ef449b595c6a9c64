//! The heaviest combinations of independent choices, heaviest first.

use std::cmp::Ordering;
use std::collections::{BinaryHeap, HashSet};

/// One of each list of weights (logarithms, each list heaviest first): the
/// combinations by falling weight, as indices into the lists.
pub(super) struct Combinations<'a> {
    lists: &'a [Vec<f64>],
    heap: BinaryHeap<Combination>,
    seen: HashSet<Vec<u16>>,
}

/// One of each list.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Combination {
    pub(super) weight: f64,
    pub(super) picks: Vec<u16>,
}

impl<'a> Combinations<'a> {
    pub(super) fn of(lists: &'a [Vec<f64>]) -> Self {
        let mut combinations =
            Combinations { lists, heap: BinaryHeap::new(), seen: HashSet::new() };
        if lists.iter().all(|list| !list.is_empty()) {
            combinations.push(vec![0; lists.len()]);
        }
        combinations
    }

    /// The heaviest one not taken yet, of those stepped to.
    pub(super) fn take(&mut self) -> Option<Combination> {
        self.heap.pop()
    }

    /// Goes on from a combination: to those with the next choice of one of the
    /// lists in `of`. Where the combination is sound, all lists; where it is
    /// not, those of which one must change to make it so: none that is sound
    /// is then missed.
    pub(super) fn step(&mut self, from: &Combination, of: impl IntoIterator<Item = usize>) {
        for list in of {
            let mut picks = from.picks.clone();
            picks[list] += 1;
            if usize::from(picks[list]) < self.lists[list].len() {
                self.push(picks);
            }
        }
    }

    fn push(&mut self, picks: Vec<u16>) {
        let weight = self.lists.iter().zip(&picks).map(|(list, &i)| list[usize::from(i)]).sum();
        if self.seen.insert(picks.clone()) {
            self.heap.push(Combination { weight, picks });
        }
    }
}

impl Eq for Combination {}

impl PartialOrd for Combination {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Combination {
    fn cmp(&self, other: &Self) -> Ordering {
        self.weight.total_cmp(&other.weight).then_with(|| other.picks.cmp(&self.picks))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Against all combinations, sorted.
        #[test]
        fn all_combinations_come_by_falling_weight(
            lists in proptest::collection::vec(proptest::collection::vec(-9f64..0.0, 1..5), 1..4),
        ) {
            let lists: Vec<Vec<f64>> = lists
                .into_iter()
                .map(|mut list| {
                    list.sort_by(|a, b| b.total_cmp(a));
                    list
                })
                .collect();
            let mut all = vec![0.0];
            for list in &lists {
                all = all.iter().flat_map(|sum| list.iter().map(move |w| sum + w)).collect();
            }
            all.sort_by(|a: &f64, b| b.total_cmp(a));
            let mut combinations = Combinations::of(&lists);
            let mut found = Vec::new();
            while let Some(combination) = combinations.take() {
                combinations.step(&combination, 0..lists.len());
                found.push(combination.weight);
            }
            prop_assert_eq!(found.len(), all.len());
            for (found, all) in found.iter().zip(&all) {
                prop_assert!((found - all).abs() < 1e-9);
            }
        }
    }
}
