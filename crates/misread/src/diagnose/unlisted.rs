//! Reads of a layout that is not among the candidates, and reads that mean
//! nothing.

use std::f64::consts::{LN_2, PI};

use misread_core::{Bit, Bits, Layout};

use super::likelihood::{LONGEST, ln_any_bits};
use super::likelihoods::ln_add;
use crate::cause::{Model, Whose};

/// How likely the length of a read is, of a layout that nobody listed.
#[derive(Clone, Debug)]
pub(crate) struct Unlisted<'m> {
    model: &'m Model,
    listed: Vec<usize>,
}

impl<'m> Unlisted<'m> {
    pub(crate) fn new<'l>(model: &'m Model, layouts: impl Iterator<Item = &'l Layout>) -> Self {
        Unlisted { model, listed: layouts.map(Layout::bits).collect() }
    }

    fn ln_length(&self, bits: usize) -> f64 {
        libm::log(self.model.unlisted.weight(bits, self.listed.contains(&bits)))
    }

    /// The logarithm of the probability of one read by itself.
    pub(crate) fn ln_read(&self, read: &Bits) -> f64 {
        self.ln_length(read.len()) + ln_sight(&Tally::of(read.iter()))
    }

    /// The same of all reads of a case.
    pub(crate) fn ln_reads(&self, reads: &[&Bits], whose: Whose) -> f64 {
        let Some(length) = reads.first().map(|read| read.len()) else { return 0.0 };
        let one_length = reads.iter().all(|read| read.len() == length);
        match whose {
            Whose::MixedCards => reads.iter().map(|read| self.ln_read(read)).sum(),
            _ if !one_length => f64::NEG_INFINITY,
            Whose::OwnCards => {
                let each: f64 = reads.iter().map(|read| Tally::of(read.iter()).ln_jeffreys()).sum();
                let place = |index: usize| {
                    Tally::of(reads.iter().filter_map(|read| read.get(index))).ln_jeffreys()
                };
                let places: f64 = (0..length).map(place).sum();
                self.ln_length(length) + ln_add(each, places) - LN_2
            }
            Whose::OneCard => {
                let mut frame = vec![Bit::Unread; length];
                for read in reads {
                    for (place, bit) in frame.iter_mut().zip(read.iter()) {
                        match (*place, bit) {
                            (_, Bit::Unread) => {}
                            (Bit::Unread, bit) => *place = bit,
                            (known, bit) if known != bit => return f64::NEG_INFINITY,
                            _ => {}
                        }
                    }
                }
                self.ln_length(length) + ln_sight(&Tally::of(frame.into_iter()))
            }
        }
    }
}

/// The logarithm of the probability of one read whose bits mean nothing.
pub(crate) fn ln_random(read: &Bits) -> f64 {
    ln_any_bits(read) - libm::log(LONGEST as f64)
}

/// Ones and zeros, unread bits left out.
struct Tally {
    ones: f64,
    zeros: f64,
}

impl Tally {
    fn of(bits: impl Iterator<Item = Bit>) -> Self {
        let mut tally = Tally { ones: 0.0, zeros: 0.0 };
        for bit in bits {
            match bit.value() {
                Some(true) => tally.ones += 1.0,
                Some(false) => tally.zeros += 1.0,
                None => {}
            }
        }
        tally
    }

    /// The logarithm of the probability of one given sequence whose share of
    /// ones has Jeffreys' prior: Γ(a+½)Γ(b+½)/(Γ(a+b+1)π).
    fn ln_jeffreys(&self) -> f64 {
        libm::lgamma(self.ones + 0.5) + libm::lgamma(self.zeros + 0.5)
            - libm::lgamma(self.ones + self.zeros + 1.0)
            - libm::log(PI)
    }
}

/// Half by Jeffreys' prior, half as if each bit were drawn by itself.
fn ln_sight(tally: &Tally) -> f64 {
    ln_add(tally.ln_jeffreys(), -LN_2 * (tally.ones + tally.zeros)) - LN_2
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: a single bit is ½ either way; 11 has Γ(2½)Γ(½)/(Γ(3)π)
    /// = ¾√π·√π/(2π) = ⅜.
    #[test]
    fn jeffreys_by_hand() {
        let ln = |ones, zeros| Tally { ones, zeros }.ln_jeffreys();
        assert!((libm::exp(ln(1.0, 0.0)) - 0.5).abs() < 1e-12);
        assert!((libm::exp(ln(2.0, 0.0)) - 0.375).abs() < 1e-12);
        assert!((libm::exp(ln(1.0, 1.0)) - 0.125).abs() < 1e-12);
    }
}
