//! What is asked of a wire state once the posterior is there: what it comes to,
//! part by part, and who suffers.

use super::Solver;
use crate::cause::{Sought, Whose, Wire};
use crate::diagnose::likelihoods::Base;
use crate::diagnose::posterior::{LayoutUsed, Posterior, ln_sum};
use crate::diagnose::sums::{Row, Suffering};
use crate::diagnose::units::Findings;

/// One of the things a wire state comes to: a card state or half of one, a
/// layout, whose cards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Part {
    /// The number of the view.
    pub(crate) view: usize,
    pub(crate) layout: LayoutUsed,
    pub(crate) whose: Whose,
}

impl Solver<'_> {
    /// By presentation, the probability that it suffers, given a wire state that
    /// comes and goes; `None` for another, or one that is ruled out.
    pub(crate) fn suffers(&mut self, wire: Wire, posterior: &Posterior) -> Option<Vec<f64>> {
        if posterior.of_wire(wire) <= 0.0 {
            return None;
        }
        let mut suffers = vec![0.0; self.units.presentations()];
        match wire {
            Wire::ReadsMissing => self.missing(&mut suffers),
            Wire::AtTimes(_) => {
                let findings = self.findings(&Sought::ALL);
                let (mut all, mut share) = (0.0, 0.0);
                for (part, weight) in self.parts_of(wire, posterior) {
                    let Some(found) = self.suffers_in(wire, part, &findings) else { continue };
                    all += weight;
                    share += weight * found.share;
                    for &(kind, at) in &self.units.reads {
                        suffers[at] += weight * found.by_kind[kind];
                    }
                }
                if all <= 0.0 {
                    return None;
                }
                // What is empty may suffer as well as any other.
                let mut is_empty = vec![true; suffers.len()];
                self.units.reads.iter().for_each(|&(_, at)| is_empty[at] = false);
                for (suffers, is_empty) in suffers.iter_mut().zip(is_empty) {
                    let weight = if is_empty { share } else { *suffers };
                    *suffers = (weight / all).clamp(0.0, 1.0);
                }
            }
            _ => return None,
        }
        Some(suffers)
    }

    /// How likely each presentation gave nothing since it is missing.
    fn missing(&self, suffers: &mut [f64]) {
        let (read, empty) = (self.units.reads.len() as i32, self.units.empty as i32);
        let (mut all, mut those) = (0.0, 0.0);
        for &share in &self.model.shares {
            let none = share + (1.0 - share) * self.model.empty;
            let weight = none.powi(empty) * (1.0 - share).powi(read);
            all += weight;
            those += weight * share / none;
        }
        suffers.fill(if all > 0.0 { those / all } else { 0.0 });
        for &(_, at) in &self.units.reads {
            suffers[at] = 0.0;
        }
    }

    /// What a wire state comes to, part by part, with the weight of each.
    pub(crate) fn parts_of(&mut self, wire: Wire, posterior: &Posterior) -> Vec<(Part, f64)> {
        let findings = self.findings(&Sought::ALL);
        let mut parts = Vec::new();
        for found in posterior.joint.iter().filter(|found| found.wire == wire) {
            let (Some(state), Some(layout)) = (found.card, found.layout) else { continue };
            let part = |view| Part { view, layout, whose: found.whose };
            let views: Vec<usize> = (0..self.units.views.len())
                .filter(|&view| self.units.views[view].state == state)
                .collect();
            if let [view] = views[..] {
                parts.push((part(view), found.probability));
                continue;
            }
            let ln = |view: &usize| {
                let share = self.units.views[*view].share;
                libm::log(share) + self.ln_in(wire, part(*view), &findings)
            };
            let lns: Vec<f64> = views.iter().map(ln).collect();
            let total = ln_sum(lns.iter().copied());
            let each = views.into_iter().zip(lns);
            parts.extend(
                each.map(|(view, ln)| (part(view), found.probability * libm::exp(ln - total))),
            );
        }
        parts
    }

    /// The logarithm of the probability of all reads, in one part.
    pub(crate) fn ln_in(&mut self, wire: Wire, part: Part, findings: &[Findings]) -> f64 {
        let view = &self.units.views[part.view];
        match (part.layout, part.whose, view.one) {
            (LayoutUsed::Candidate(layout), Whose::OneCard, Some(known)) => {
                self.one_card_lns(layout, known, findings)[wire.index()]
            }
            (LayoutUsed::Candidate(layout), ..) => {
                self.own_lns(layout, view, findings, &[wire])[wire.index()]
            }
            (LayoutUsed::Mixed, ..) => match self.mixed.get(&part.view).cloned() {
                Some(mixed) => self.mixed_lns(&mixed, findings, &[wire])[wire.index()],
                None => f64::NEG_INFINITY,
            },
        }
    }

    fn suffers_in(&mut self, wire: Wire, part: Part, findings: &[Findings]) -> Option<Suffering> {
        let view = &self.units.views[part.view];
        if let (LayoutUsed::Candidate(layout), Whose::OneCard, Some(known)) =
            (part.layout, part.whose, view.one)
        {
            let posed = self.posed(layout, known)?;
            return self.one_card(&posed, findings).suffers(wire);
        }
        let rows = self.rows_of(part)?;
        self.own(&rows, findings).suffers(wire)
    }

    /// Every kind of read in a part where each is of a card of its own.
    pub(crate) fn rows_of(&mut self, part: Part) -> Option<Vec<Row>> {
        let view = &self.units.views[part.view];
        match part.layout {
            LayoutUsed::Candidate(layout) => self.rows(layout, view),
            LayoutUsed::Mixed => Some(self.mixed.get(&part.view)?.rows(self.units)),
        }
    }

    /// The layout under which a read by itself is likeliest, whether it suffers
    /// or not; of equals the first.
    pub(crate) fn likeliest_layout(&self, wire: Wire, kind: usize) -> usize {
        let kind = &self.units.kinds[kind];
        let mut best = (f64::NEG_INFINITY, 0);
        for layout in (0..self.layouts.len()).rev() {
            for view in &self.units.views {
                let known = view.cards[kind.card];
                let Some(of) = self.likelihoods.get(&(layout, known, kind.bits)) else { continue };
                let bases = match wire {
                    Wire::AtTimes(_) => vec![Base::SOUND, Base::of(wire)],
                    _ => vec![Base::of(wire)],
                };
                let lns = bases.iter().flat_map(|&base| of.get(base).iter().copied());
                let ln = lns.fold(f64::NEG_INFINITY, f64::max) + libm::log(self.priors[layout]);
                if ln >= best.0 {
                    best = (ln, layout);
                }
            }
        }
        best.1
    }

    /// The first layout of so many bits; the first of all where there is none.
    pub(crate) fn layout_of_length(&self, bits: usize) -> usize {
        self.layouts.iter().position(|layout| layout.bits() == bits).unwrap_or(0)
    }
}
