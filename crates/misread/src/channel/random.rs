//! Randomness that is the same everywhere.

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// The generator that [`seeded`] makes: ChaCha with 8 rounds, a published
/// algorithm, so that its numbers stay what they are.
pub type Random = ChaCha8Rng;

/// A generator for the case of that number under that seed. Each number has a
/// generator of its own, so cases can be drawn in any order, or side by side.
pub fn seeded(seed: u64, number: u64) -> Random {
    // Put in place by hand: how a generator stretches a short seed may change
    // from one version to the next, the meaning of a whole key may not.
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8..16].copy_from_slice(&number.to_le_bytes());
    Random::from_seed(key)
}

// Drawn from the generator's words directly: these few lines fix which word
// gives which outcome, which no distribution library promises across versions.

/// A number of at least 0 and under 1, in steps of 2⁻⁵³.
pub(super) fn unit(random: &mut impl Rng) -> f64 {
    const STEP: f64 = 1.0 / (1u64 << 53) as f64;
    (random.next_u64() >> 11) as f64 * STEP
}

/// True with this probability.
pub(crate) fn chance(probability: f64, random: &mut impl Rng) -> bool {
    unit(random) < probability
}

/// True or false, each with ½.
pub(super) fn coin(random: &mut impl Rng) -> bool {
    random.next_u64() >> 63 == 1
}

/// A number under `count`, each equally likely; 0 where `count` is 0.
pub(crate) fn below(count: usize, random: &mut impl Rng) -> usize {
    let count = count as u64;
    // The words that would favour the low numbers are drawn again.
    let unfair = count.wrapping_neg().checked_rem(count).unwrap_or(0);
    loop {
        let wide = u128::from(random.next_u64()) * u128::from(count);
        if wide as u64 >= unfair {
            return (wide >> 64) as usize;
        }
    }
}

/// A number from `first` to `last`, each equally likely.
pub(crate) fn between(first: usize, last: usize, random: &mut impl Rng) -> usize {
    first + below(last - first + 1, random)
}

/// An index with the probability of its weight; `None` where no weight is
/// over 0.
pub(crate) fn weighted(
    weights: impl Iterator<Item = f64> + Clone,
    random: &mut impl Rng,
) -> Option<usize> {
    let sum: f64 = weights.clone().sum();
    let mut left = unit(random) * sum;
    let mut last = None;
    for (index, weight) in weights.enumerate().filter(|&(_, weight)| weight > 0.0) {
        if left < weight {
            return Some(index);
        }
        left -= weight;
        // What rounding leaves over falls to the last one.
        last = Some(index);
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: draft-strombergson-chacha-test-vectors-01, ChaCha with 8
    /// rounds, a 256-bit key of zeros and an IV of zeros; from memory.
    #[test]
    fn the_generator_is_the_published_one() {
        let mut bytes = [0; 32];
        seeded(0, 0).fill_bytes(&mut bytes);
        let published = [
            0x3e, 0x00, 0xef, 0x2f, 0x89, 0x5f, 0x40, 0xd6, 0x7f, 0x5b, 0xb8, 0xe8, 0x1f, 0x09,
            0xa5, 0xa1, 0x2c, 0x84, 0x0e, 0xc3, 0xce, 0x9a, 0x7f, 0x3b, 0x18, 0x1b, 0xe1, 0x88,
            0xef, 0x71, 0x1a, 0x1e,
        ];
        assert_eq!(bytes, published);
    }

    #[test]
    fn numbers_are_spread_evenly() {
        let random = &mut seeded(1, 0);
        let mut counts = [0u32; 7];
        (0..70_000).for_each(|_| counts[below(7, random)] += 1);
        // Five standard deviations of a binomial count: √(70000·1/7·6/7) ≈ 93.
        assert!(counts.iter().all(|count| count.abs_diff(10_000) < 465), "{counts:?}");
        let mut counts = [0u32; 4];
        let weights = [1.0, 0.0, 2.0, 5.0].into_iter();
        (0..80_000).for_each(|_| counts[weighted(weights.clone(), random).unwrap()] += 1);
        assert_eq!(counts[1], 0);
        for (count, expected) in [(counts[0], 10_000), (counts[2], 20_000), (counts[3], 50_000)] {
            assert!(count.abs_diff(expected) < 700, "{counts:?}");
        }
        assert!((0..1000).all(|_| unit(random) < 1.0 && chance(1.0, random)));
        assert!((0..1000).all(|_| !chance(0.0, random) && between(3, 3, random) == 3));
        assert_eq!(weighted([0.0, 0.0].into_iter(), random), None);
    }
}
