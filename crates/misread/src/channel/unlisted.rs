//! Reads of layouts that are not among the candidates, and of bits that mean
//! nothing.

use misread_core::{Bit, Bits};
use rand_core::Rng;

use super::LONGEST_READ;
use super::random::{between, coin, unit, weighted};
use crate::cause::UnlistedLengths;

/// A length of a layout that is not among the candidates, 1 to
/// [`LONGEST_READ`] bits. Lengths that a candidate has weigh a tenth, and nothing
/// is renormalised: `None` for the nine tenths that are left, or where nothing
/// has weight.
pub fn draw_unlisted_length(
    lengths: &UnlistedLengths,
    is_listed: impl Fn(usize) -> bool,
    random: &mut impl Rng,
) -> Option<usize> {
    let weights: Vec<f64> =
        (1..=LONGEST_READ).map(|bits| lengths.weight(bits, is_listed(bits))).collect();
    let all: f64 = (1..=LONGEST_READ).map(|bits| lengths.weight(bits, false)).sum();
    let left = (all - weights.iter().sum::<f64>()).max(0.0);
    let drawn = weighted(weights.iter().copied().chain([left]), random)?;
    (drawn < LONGEST_READ).then_some(drawn + 1)
}

/// The bits of one frame, of an unlisted layout of so many bits: half the time
/// with a share of ones of its own, half the time even.
pub fn draw_unlisted(length: usize, random: &mut impl Rng) -> Bits {
    match coin(random) {
        true => {
            let mut share = Share::default();
            (0..length).map(|_| share.draw(random)).collect()
        }
        false => even(length, random),
    }
}

/// The frames of so many cards of one unlisted layout of so many bits: half the
/// time each frame has a share of ones of its own, half the time each place of
/// them has, since cards of one site share most of their bits. Fewer cards of
/// the same randomness are the first of these.
pub fn draw_unlisted_cards(length: usize, count: usize, random: &mut impl Rng) -> Vec<Bits> {
    let by_card = coin(random);
    let mut by_place = vec![Share::default(); length];
    let card = |_| {
        let mut share = Share::default();
        let place = |place: &mut Share| match by_card {
            true => share.draw(random),
            false => place.draw(random),
        };
        by_place.iter_mut().map(place).collect()
    };
    (0..count).map(card).collect()
}

/// Bits that mean nothing: of any length, each 0 or 1 with ½.
pub(super) fn draw_random_bits(random: &mut impl Rng) -> Bits {
    even(between(1, LONGEST_READ, random), random)
}

/// So many bits, each 0 or 1 with ½.
pub(crate) fn even(length: usize, random: &mut impl Rng) -> Bits {
    (0..length).map(|_| Bit::from(coin(random))).collect()
}

/// Bits drawn one after another, whose share of ones has Jeffreys' prior: the
/// next one is 1 with (ones so far + ½) of (all so far + 1).
#[derive(Clone, Copy, Default)]
struct Share {
    ones: u32,
    all: u32,
}

impl Share {
    fn draw(&mut self, random: &mut impl Rng) -> Bit {
        let one = unit(random) * f64::from(self.all + 1) < f64::from(self.ones) + 0.5;
        self.all += 1;
        self.ones += u32::from(one);
        Bit::from(one)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::Model;
    use crate::channel::seeded;

    /// Worked by hand: two bits by Jeffreys' prior are alike with ¾, by even
    /// bits with ½, so with ⅝ together. Over 20 000 draws five standard
    /// deviations are 0.0171.
    #[test]
    fn two_bits_are_alike_as_often_as_they_should_be() {
        let random = &mut seeded(1, 0);
        let alike = |bits: &Bits| bits.get(0) == bits.get(1);
        let one = (0..20_000).filter(|_| alike(&draw_unlisted(2, random))).count();
        assert!((one as f64 / 20_000.0 - 0.625).abs() < 0.0171, "{one}");
        // Two cards at one place: alike by place with ¾, by card with ½.
        let two = |random: &mut _| {
            let cards = draw_unlisted_cards(1, 2, random);
            cards[0] == cards[1]
        };
        let two = (0..20_000).filter(|_| two(random)).count();
        assert!((two as f64 / 20_000.0 - 0.625).abs() < 0.0171, "{two}");
    }

    /// Of the weights 0.6 on 32 to 40 bits, 0.3 on 20 to 64 and 0.1 on all: 34
    /// has 0.6/9 + 0.3/45 + 0.1/512, of which nine tenths come to nothing
    /// where it is listed.
    #[test]
    fn a_listed_length_comes_a_tenth_as_often() {
        let lengths = Model::default().unlisted;
        let random = &mut seeded(2, 0);
        let (mut at_34, mut nothing) = (0.0, 0.0);
        const DRAWS: f64 = 20_000.0;
        for _ in 0..DRAWS as usize {
            match draw_unlisted_length(&lengths, |bits| bits == 34, random) {
                Some(34) => at_34 += 1.0,
                Some(bits) => assert!((1..=512).contains(&bits)),
                None => nothing += 1.0,
            }
        }
        let weight = 0.6 / 9.0 + 0.3 / 45.0 + 0.1 / 512.0;
        // Five standard deviations.
        let near = |count: f64, p: f64| (count / DRAWS - p).abs() < 5.0 * (p / DRAWS).sqrt();
        assert!(near(at_34, weight / 10.0), "{at_34}");
        assert!(near(nothing, weight * 0.9), "{nothing}");
    }
}
