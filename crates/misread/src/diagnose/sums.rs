//! The likelihood of a case whose reads are each of a card of its own: sums and
//! products of what each read comes to by itself.

use std::rc::Rc;

use misread_core::Bits;

use super::likelihood::variants;
use super::likelihoods::{Base, Likelihoods, ln_add};
use super::posterior::ln_sum;
use super::units::{Findings, times};
use crate::cause::{Cause, Model, Wire};

/// A kind of read, as one layout or several together see it.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) likelihoods: Rc<Likelihoods>,
    /// The logarithm of the weight of the layouts its expected card fits: of a
    /// single layout, 0.
    pub(crate) ln_fits: f64,
    /// The same for reads that mean nothing, and of an unlisted layout.
    pub(crate) bits: Bits,
    pub(crate) times: f64,
}

/// What a read comes to that suffers what is not of any frame.
pub(crate) trait OffFrame {
    /// The logarithm of its probability.
    fn ln(&self, cause: Cause, read: &Bits) -> f64;
}

/// The reads of a case, each of a card of its own.
pub(crate) struct Own<'a> {
    pub(crate) rows: &'a [Row],
    pub(crate) findings: &'a [Findings],
    pub(crate) model: &'a Model,
    pub(crate) off_frame: &'a dyn OffFrame,
}

impl Own<'_> {
    /// The logarithm of the probability of all reads under a wire state. Not for
    /// [`Cause::FrameSplit`], nor for a cause without a layout by itself.
    pub(crate) fn ln(&self, wire: Wire) -> f64 {
        let lns = self.ln_by_case(wire);
        match lns.is_empty() {
            true => f64::NEG_INFINITY,
            false => ln_sum(lns.iter().copied()) - libm::log(lns.len() as f64),
        }
    }

    /// The same by what holds for the case: rate or way, and by share where it
    /// comes at times (the share fastest). Empty where it cannot be.
    pub(crate) fn ln_by_case(&self, wire: Wire) -> Vec<f64> {
        let base = Base::of(wire);
        match wire {
            Wire::AtTimes(_) => self.at_times(wire.cause(), base),
            _ => self.always(wire, base),
        }
    }

    fn always(&self, wire: Wire, base: Base) -> Vec<f64> {
        let cause = wire.cause();
        let mut sums = vec![0.0; variants(base.cause, self.model.rates(base.cause))];
        for (row, findings) in self.rows.iter().zip(self.findings) {
            let lns = row.likelihoods.get(base);
            if lns.is_empty() {
                return Vec::new();
            }
            for (sum, ln) in sums.iter_mut().zip(lns) {
                *sum += row.times * (ln + findings[cause.index()]);
            }
        }
        sums
    }

    fn at_times(&self, cause: Cause, base: Base) -> Vec<f64> {
        let variants = variants(base.cause, self.model.rates(base.cause));
        let shares = &self.model.shares;
        let mut sums = vec![0.0; variants * shares.len()];
        let mut of_read = vec![f64::NEG_INFINITY; variants];
        for (row, findings) in self.rows.iter().zip(self.findings) {
            let sound = self.ln_sound(row, findings);
            self.ln_suffers(cause, base, row, findings, &mut of_read);
            let mut possible = false;
            for (sums, &suffers) in sums.chunks_exact_mut(shares.len()).zip(&of_read) {
                for (sum, &share) in sums.iter_mut().zip(shares) {
                    *sum += times(row.times, ln_mixed(suffers, sound, share));
                    possible |= *sum > f64::NEG_INFINITY;
                }
            }
            if !possible {
                return Vec::new();
            }
        }
        sums
    }

    /// What one row comes to by itself, by what holds for the case.
    pub(crate) fn ln_row(&self, wire: Wire, row: usize) -> Vec<f64> {
        let (rows, findings) = (&self.rows[row..=row], &self.findings[row..=row]);
        let one = [Row { times: 1.0, ..rows[0].clone() }];
        Own { rows: &one, findings, ..*self }.ln_by_case(wire)
    }

    fn ln_sound(&self, row: &Row, findings: &Findings) -> f64 {
        let ln = row.likelihoods.get(Base::SOUND).first().copied();
        ln.unwrap_or(f64::NEG_INFINITY) + findings[Cause::None.index()]
    }

    fn ln_suffers(
        &self,
        cause: Cause,
        base: Base,
        row: &Row,
        findings: &Findings,
        into: &mut [f64],
    ) {
        let found = findings[cause.index()];
        if cause.is_without_layout() {
            into.fill(self.off_frame.ln(cause, &row.bits) + row.ln_fits + found);
            return;
        }
        let lns = row.likelihoods.get(base);
        if lns.is_empty() {
            into.fill(f64::NEG_INFINITY);
        }
        for (into, ln) in into.iter_mut().zip(lns) {
            *into = ln + found;
        }
    }

    /// Who suffers what comes at times, given all reads; `None` where that cannot
    /// be.
    pub(crate) fn suffers(&self, wire: Wire) -> Option<Suffering> {
        let (cause, base) = (wire.cause(), Base::of(wire));
        let by_case = self.ln_by_case(wire);
        let total = ln_sum(by_case.iter().copied());
        if by_case.is_empty() || total == f64::NEG_INFINITY {
            return None;
        }
        let shares = &self.model.shares;
        let cases = by_case.iter().zip(shares.iter().cycle());
        let share = cases.map(|(ln, share)| libm::exp(ln - total) * share).sum();
        let mut of_read = vec![f64::NEG_INFINITY; by_case.len() / shares.len().max(1)];
        let rows = self.rows.iter().zip(self.findings);
        let by_kind = rows.map(|(row, findings)| {
            let sound = self.ln_sound(row, findings);
            self.ln_suffers(cause, base, row, findings, &mut of_read);
            let cases = of_read.iter().flat_map(|ln| shares.iter().map(move |share| (*ln, *share)));
            let given = cases.zip(&by_case).filter(|&(_, &ln)| ln > f64::NEG_INFINITY);
            given
                .map(|((suffers, share), ln)| {
                    let this = suffers + libm::log(share) - ln_mixed(suffers, sound, share);
                    libm::exp(ln - total + this)
                })
                .sum()
        });
        Some(Suffering { by_kind: by_kind.collect(), share })
    }
}

/// Who suffers what comes at times.
#[derive(Clone, Debug)]
pub(crate) struct Suffering {
    /// By kind of read, the probability that one of it does.
    pub(crate) by_kind: Vec<f64>,
    /// The same of a presentation of which nothing came.
    pub(crate) share: f64,
}

/// The logarithm of a probability that is one thing for a share and another for
/// the rest.
pub(crate) fn ln_mixed(suffers: f64, sound: f64, share: f64) -> f64 {
    ln_add(suffers + libm::log(share), sound + libm::log(1.0 - share))
}
