//! How the presentations of a case come, under one wire state.

use misread::cause::{Cause, Wire};

use super::card::Among;
use super::joint::{States, Table, comes_and_goes};

/// A wire state, with what suffers it.
pub(super) struct Mix<'a> {
    pub(super) states: &'a States<'a>,
    pub(super) wire: Wire,
    /// The presentation that is one of those that suffer.
    pub(super) suffers: Option<usize>,
    pub(super) tables: &'a [Table],
}

/// What holds for the case: the share that suffers, and the number of the rate
/// or way.
#[derive(Clone, Copy)]
pub(super) struct Held {
    share: f64,
    rate: usize,
}

impl Mix<'_> {
    /// The likelihood of all presentations, each of a card of its own.
    pub(super) fn own_cards(&self, layout: usize, among: &[Among]) -> f64 {
        self.mean(|held| {
            let unit = |(unit, among)| self.unit(layout, unit, among, held);
            among.iter().enumerate().map(unit).product()
        })
    }

    /// The same where each is of a layout of its own, too.
    pub(super) fn mixed_cards(&self, among: &[&[Among]]) -> f64 {
        self.mean(|held| {
            let of = |unit: usize| -> f64 {
                let layouts = self.states.layouts.iter().enumerate();
                layouts
                    .map(|(at, layout)| layout.prior * self.unit(at, unit, &among[at][unit], held))
                    .sum()
            };
            (0..among[0].len()).map(of).product()
        })
    }

    /// The same where all are of one card.
    pub(super) fn one_card(&self, layout: usize, among: &Among) -> f64 {
        let Some(among) = among else { return 0.0 };
        let together = |frame, held| -> f64 {
            (0..self.units()).map(|unit| self.of_frame(layout, unit, frame, held)).product()
        };
        self.mean(|held| {
            among.iter().map(|&frame| together(frame, held)).sum::<f64>() / among.len() as f64
        })
    }

    /// How many reads there are, or pairs.
    pub(super) fn units(&self) -> usize {
        match self.wire.cause() {
            Cause::FrameSplit => self.states.reads.len() / 2,
            _ => self.states.reads.len(),
        }
    }

    /// The mean over the frames that a unit can be of.
    pub(super) fn unit(&self, layout: usize, unit: usize, among: &Among, held: Held) -> f64 {
        among.as_ref().map_or(0.0, |among| {
            let of = |&frame: &usize| self.of_frame(layout, unit, frame, held);
            among.iter().map(of).sum::<f64>() / among.len() as f64
        })
    }

    pub(super) fn of_frame(&self, layout: usize, unit: usize, frame: usize, held: Held) -> f64 {
        let sound = self.states.sound[layout][0].get(unit).map_or(0.0, |by_frame| by_frame[frame]);
        let Wire::AtTimes(_) = self.wire else {
            return match self.wire {
                // Those that are missing are no reads.
                Wire::ReadsMissing => sound,
                _ => self.tables[layout][held.rate][unit][frame],
            };
        };
        let suffering = held.share * self.tables[layout][held.rate][unit][frame];
        if self.suffers == Some(self.states.places[unit]) {
            suffering
        } else {
            suffering + (1.0 - held.share) * sound
        }
    }

    /// The mean over what may hold for the case.
    fn mean(&self, likelihood: impl Fn(Held) -> f64) -> f64 {
        self.held().into_iter().map(|(weight, held)| weight * likelihood(held)).sum()
    }

    /// What may hold for the case, each with its weight: how likely it is, and
    /// as many empty presentations under it.
    pub(super) fn held(&self) -> Vec<(f64, Held)> {
        let rates = match self.wire {
            Wire::ReadsMissing => 1,
            _ => self.tables[0].len(),
        };
        let of_share = |share: f64, weight: f64| {
            (0..rates).map(move |rate| (weight / rates as f64, Held { share, rate }))
        };
        if !comes_and_goes(self.wire) {
            return of_share(1.0, self.states.empties(None)).collect();
        }
        let shares = &self.states.question.model.shares;
        let weight = |share| self.empties(share) / shares.len() as f64;
        shares.iter().flat_map(|&share| of_share(share, weight(share))).collect()
    }

    /// How likely as many presentations are empty, where a share suffers; with
    /// the one that is named, if it is one of them, among those that do.
    fn empties(&self, share: f64) -> f64 {
        let is_read = |at| self.states.places.contains(&at);
        let empty = self.states.question.model.empty;
        match (self.wire, self.suffers) {
            // A read is none of those that are missing.
            (Wire::ReadsMissing, Some(at)) if is_read(at) => 0.0,
            (Wire::ReadsMissing, Some(_)) => {
                let nothing = share + (1.0 - share) * empty;
                self.states.empties(Some(share)) * share / nothing
            }
            (Wire::ReadsMissing, None) => self.states.empties(Some(share)),
            (_, Some(at)) if !is_read(at) => self.states.empties(None) * share,
            _ => self.states.empties(None),
        }
    }
}
