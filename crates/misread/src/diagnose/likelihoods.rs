//! Everything that can be asked of one read by itself, each worked out once:
//! sums and products of these are the likelihoods of a case.

use misread_core::Bits;

use super::likelihood::{Posed, Received, ln_together};
use crate::cause::{Cause, Model, Wire};

/// A cause, on the read as received or turned over: what a read by itself is
/// held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Base {
    pub(crate) turned: bool,
    /// Its lines are those of the panel's terminals.
    pub(crate) cause: Cause,
}

impl Base {
    /// What a read suffers under a wire state, if it does.
    pub(crate) fn of(wire: Wire) -> Self {
        match wire {
            Wire::Alone(Cause::LinesSwapped | Cause::BitsInverted)
            | Wire::AtTimes(Cause::LinesSwapped) => Base { turned: true, cause: Cause::None },
            Wire::Alone(cause) | Wire::AtTimes(cause) => Base { turned: false, cause },
            Wire::Swapped(cause) => Base { turned: true, cause },
            Wire::ReadsMissing => Base::SOUND,
        }
    }

    /// As it was sent.
    pub(crate) const SOUND: Base = Base { turned: false, cause: Cause::None };

    /// The logarithm of the probability of reads of one card, by what holds for
    /// the case. The lines that are swapped are the reads turned over, and the
    /// other cause's lines renamed.
    pub(crate) fn ln_together(self, rates: &[f64], reads: &[Received], posed: &Posed) -> Vec<f64> {
        if !self.turned {
            return ln_together(self.cause, rates, reads, false, posed);
        }
        let reads: Vec<Received> = reads.iter().map(Received::turned).collect();
        ln_together(self.cause.on_the_other_line(), rates, &reads, true, posed)
    }
}

/// The logarithms of the probabilities of a read under every [`Base`] that takes
/// a read by itself and a layout.
#[derive(Clone, Debug)]
pub(crate) struct Likelihoods {
    starts: [[u16; Cause::ALL.len()]; 2],
    ends: [[u16; Cause::ALL.len()]; 2],
    values: Vec<f64>,
}

impl Likelihoods {
    /// Nothing is possible.
    pub(crate) fn never() -> Self {
        Likelihoods {
            starts: [[0; Cause::ALL.len()]; 2],
            ends: [[0; Cause::ALL.len()]; 2],
            values: Vec::new(),
        }
    }

    /// Those of one read, of a card that is posed so.
    pub(crate) fn of(read: &Bits, posed: &Posed, model: &Model) -> Self {
        let mut all = Likelihoods::never();
        let read = [Received::from(*read)];
        for turned in [false, true] {
            for cause in Cause::ALL {
                // An open line is one that loses all its pulses: worked out with
                // the weak one.
                let (open, rates): (_, &[f64]) = match cause {
                    Cause::D0Weak => (Some(Cause::D0Open), model.rates(cause)),
                    Cause::D1Weak => (Some(Cause::D1Open), model.rates(cause)),
                    Cause::D0Open | Cause::D1Open | Cause::FrameSplit => continue,
                    Cause::LinesSwapped | Cause::BitsInverted => continue,
                    _ if cause.is_without_layout() => continue,
                    Cause::LinesShorted if turned => continue,
                    _ => (None, model.rates(cause)),
                };
                let base = Base { turned, cause };
                match open {
                    None => all.push(base, &base.ln_together(rates, &read, posed)),
                    Some(open) => {
                        let rates: Vec<f64> = rates.iter().copied().chain([1.0]).collect();
                        let lns = base.ln_together(&rates, &read, posed);
                        if let [weak @ .., last] = &lns[..] {
                            all.push(base, weak);
                            all.push(Base { turned, cause: open }, &[*last]);
                        }
                    }
                }
            }
        }
        all
    }

    /// By what holds for the case; empty where it cannot be.
    pub(crate) fn get(&self, base: Base) -> &[f64] {
        let (turned, cause) = (usize::from(base.turned), base.cause.index());
        let (start, end) = (self.starts[turned][cause], self.ends[turned][cause]);
        &self.values[usize::from(start)..usize::from(end)]
    }

    /// With those of another layout, each as likely as that: the sum over
    /// layouts of what a read comes to.
    pub(crate) fn plus(&self, other: &Likelihoods, ln_share: f64) -> Self {
        let mut sum = Likelihoods::never();
        for turned in [false, true] {
            for cause in Cause::ALL {
                let base = Base { turned, cause };
                let (mine, its) = (self.get(base), other.get(base));
                let its = its.iter().map(|ln| ln + ln_share);
                let both: Vec<f64> = match mine.is_empty() {
                    true => its.collect(),
                    false if its.len() == 0 => mine.to_vec(),
                    false => mine.iter().zip(its).map(|(&a, b)| ln_add(a, b)).collect(),
                };
                sum.push(base, &both);
            }
        }
        sum
    }

    fn push(&mut self, base: Base, lns: &[f64]) {
        if lns.iter().all(|&ln| ln == f64::NEG_INFINITY) {
            return;
        }
        let (turned, cause) = (usize::from(base.turned), base.cause.index());
        self.starts[turned][cause] = self.values.len() as u16;
        self.values.extend_from_slice(lns);
        self.ends[turned][cause] = self.values.len() as u16;
    }
}

/// The logarithm of a sum of two exponentials.
pub(crate) fn ln_add(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY { high } else { high + libm::log1p(libm::exp(low - high)) }
}
