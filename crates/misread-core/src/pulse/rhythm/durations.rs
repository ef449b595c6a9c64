//! Durations counted in bounded memory.

use alloc::vec::Vec;

/// How many durations are told apart before their step grows coarser.
pub(super) const MOST_DISTINCT: usize = 1 << 14;

/// How often each duration came. Exact while there are at most
/// [`MOST_DISTINCT`] different ones; beyond that they are taken together in
/// steps of 2 ns, 4 ns and so on: the finest with which there are no more, in
/// whatever order they come.
#[derive(Clone, Debug, Default)]
pub(super) struct Durations {
    /// In order; what is taken together stands at the middle of its step.
    counted: Vec<(u32, u64)>,
    /// Not counted yet.
    fresh: Vec<u32>,
    /// The step is two to the power of this, in nanoseconds.
    coarseness: u32,
}

impl Durations {
    pub(super) fn add(&mut self, duration: u32) {
        self.fresh.push(duration);
        if self.fresh.len() >= MOST_DISTINCT {
            self.count();
        }
    }

    /// Each duration and how often it came, the shortest first.
    pub(super) fn counted(&mut self) -> &[(u32, u64)] {
        self.count();
        &self.counted
    }

    /// The step in which durations are told apart, in nanoseconds.
    pub(super) fn step(&self) -> u32 {
        1 << self.coarseness
    }

    fn count(&mut self) {
        let coarseness = self.coarseness;
        self.fresh.iter_mut().for_each(|duration| *duration = middle(*duration, coarseness));
        self.fresh.sort_unstable();
        let mut merged = Vec::with_capacity(self.counted.len().max(MOST_DISTINCT / 8));
        let mut known = self.counted.iter().copied().peekable();
        for group in self.fresh.chunk_by(|a, b| a == b) {
            let Some(&duration) = group.first() else { continue };
            while let Some(before) = known.next_if(|&(other, _)| other < duration) {
                merged.push(before);
            }
            let same = known.next_if(|&(other, _)| other == duration);
            merged.push((duration, group.len() as u64 + same.map_or(0, |(_, count)| count)));
        }
        merged.extend(known);
        self.counted = merged;
        self.fresh.clear();
        while self.counted.len() > MOST_DISTINCT {
            self.coarsen();
        }
    }

    fn coarsen(&mut self) {
        self.coarseness += 1;
        let coarseness = self.coarseness;
        self.counted.iter_mut().for_each(|(duration, _)| *duration = middle(*duration, coarseness));
        self.counted.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            if same {
                kept.1 += next.1;
            }
            same
        });
    }
}

/// The middle of the step in which a duration lies, half a nanosecond rounded
/// down. The middle of a finer step lies in the same coarser one.
fn middle(duration: u32, coarseness: u32) -> u32 {
    let within = (1u32 << coarseness) - 1;
    (duration & !within) | (within / 2)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;

    fn counted(durations: &[u32]) -> (Vec<(u32, u64)>, u32) {
        let mut all = Durations::default();
        durations.iter().for_each(|&duration| all.add(duration));
        (all.counted().to_vec(), all.step())
    }

    #[test]
    fn few_durations_are_counted_exactly() {
        let durations: Vec<u32> = (0..100_000).map(|i| i * 7_919 % 10_007).collect();
        let mut expected = BTreeMap::new();
        durations.iter().for_each(|&duration| *expected.entry(duration).or_insert(0u64) += 1);
        assert_eq!(counted(&durations), (expected.into_iter().collect(), 1));
    }

    #[test]
    fn many_are_taken_together_in_the_finest_step_that_serves() {
        let most = MOST_DISTINCT as u32;
        let (list, step) = counted(&(0..most).collect::<Vec<_>>());
        assert_eq!((list.len(), step), (MOST_DISTINCT, 1));
        let (list, step) = counted(&(0..=most).collect::<Vec<_>>());
        assert_eq!((list.len(), step), (MOST_DISTINCT / 2 + 1, 2));
        assert_eq!((list[0], list[MOST_DISTINCT / 2]), ((0, 2), (most, 1)));
        // All that a duration can be, far apart.
        let (list, step) =
            counted(&(0..=u32::MAX / 10_000).map(|i| i * 10_000).collect::<Vec<_>>());
        assert_eq!(step, 1 << 18);
        assert_eq!(list.iter().map(|&(_, count)| count).sum::<u64>(), 429_497);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(8))]

        #[test]
        fn the_order_does_not_matter(seed in 1u32.., spread in 1u32..40) {
            let mut state = seed;
            let mut durations: Vec<u32> = (0..60_000)
                .map(|_| {
                    // Xorshift: Marsaglia, Journal of Statistical Software 8 (2003).
                    state ^= state << 13;
                    state ^= state >> 17;
                    state ^= state << 5;
                    state % (spread * 10_000)
                })
                .collect();
            let drawn = counted(&durations);
            for &(duration, _) in &drawn.0 {
                prop_assert!(drawn.1 == 1 || duration % drawn.1 == drawn.1 / 2 - 1);
            }
            durations.sort_unstable();
            prop_assert_eq!(&counted(&durations), &drawn);
            durations.reverse();
            prop_assert_eq!(&counted(&durations), &drawn);
        }
    }
}
