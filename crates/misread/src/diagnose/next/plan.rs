//! What is left to find out and to mend, while somebody is at it.

use super::order::{Job, put_in_order};
use super::{NextStep, OutcomeSays};
use crate::cause::mends::SWAP;
use crate::cause::{Fault, Model, TestTable};

/// Mends less likely to help than this are not spoken of, nor are tests that
/// save fewer minutes.
const LEAST: f64 = 1e-9;

/// What to do about a fault, as tests are done and mends tried.
///
/// ```
/// use misread::cause::{Cause, Model};
/// use misread::diagnose::Plan;
///
/// let model = Model::default();
/// let faults = [(Cause::LinesSwapped.into(), 0.8), (Cause::D0Open.into(), 0.2)];
/// let mut plan = Plan::new(&faults, &model);
/// assert_eq!(plan.steps()[0].id, "fix-lines-swapped");
/// // The lines were swapped, and it is no better.
/// plan.did_not_help("fix-lines-swapped");
/// assert_eq!(plan.faults().next(), Some((Cause::D0Open.into(), 1.0)));
/// ```
#[derive(Clone, Debug)]
pub struct Plan<'m> {
    model: &'m Model,
    faults: Vec<Open>,
    tests: Vec<&'m TestTable>,
    links: Vec<Link>,
    /// The mend that swaps the lines.
    swap: Option<usize>,
    /// By mend, whether it was tried.
    tried: Vec<bool>,
}

/// A fault that is not ruled out.
#[derive(Clone, Copy, Debug)]
struct Open {
    fault: Fault,
    /// Its weight before any mend was tried.
    weight: f64,
    /// The share of its cases that the mends tried did not mend.
    left: f64,
}

/// A mend and a fault of which it mends a share.
#[derive(Clone, Copy, Debug)]
struct Link {
    fault: usize,
    mend: usize,
    share: f64,
    with_swap: bool,
}

impl<'m> Plan<'m> {
    /// The plan for faults of these probabilities, of which one is there. What
    /// says that nothing is wrong is passed over, as is what has no probability.
    pub fn new(faults: &[(Fault, f64)], model: &'m Model) -> Self {
        let is_open = |&&(fault, p): &&(Fault, f64)| !fault.is_none() && p > 0.0 && p.is_finite();
        let sum: f64 = faults.iter().filter(is_open).map(|&(_, p)| p).sum();
        let faults: Vec<Open> = faults
            .iter()
            .filter(is_open)
            .map(|&(fault, p)| Open { fault, weight: p / sum, left: 1.0 })
            .collect();
        let shares: Vec<(Fault, Link)> = (model.mends.iter().enumerate())
            .flat_map(|(mend, of)| {
                of.shares.iter().map(move |&(cause, share)| (cause, mend, share))
            })
            .map(|(cause, mend, share)| (cause, Link { fault: 0, mend, share, with_swap: false }))
            .collect();
        let mut links = Vec::with_capacity(2 * faults.len());
        for (at, open) in faults.iter().enumerate() {
            let (cause, with_swap) = (open.fault.mended_as(), open.fault.is_behind_swap());
            let its = shares.iter().filter(|(of, _)| *of == cause);
            links.extend(its.map(|&(_, link)| Link { fault: at, with_swap, ..link }));
        }
        let swap = model.mends.iter().position(|mend| mend.id == SWAP);
        let tried = vec![false; model.mends.len()];
        Plan { model, faults, tests: model.tests.iter().collect(), links, swap, tried }
    }

    /// What to do next: the tests worth their time, then the mends.
    pub fn steps(&self) -> Vec<NextStep> {
        let most = self.minutes_to_save();
        let mut steps = self.tests_under(most);
        steps.retain(|test| test.saves_minutes > LEAST);
        steps.extend(self.mends());
        steps
    }

    /// The tests not done yet, the one that saves most first; `saves_minutes` is
    /// negative for one that takes more than it saves.
    pub fn tests(&self) -> Vec<NextStep> {
        self.tests_under(f64::INFINITY)
    }

    /// The mends not tried yet that can help, in the order in which they are
    /// best tried.
    pub fn mends(&self) -> Vec<NextStep> {
        let weights: Vec<f64> = self.faults.iter().map(|open| open.weight).collect();
        let mut jobs = Vec::new();
        self.jobs(&weights, LEAST * self.total(), &mut jobs);
        put_in_order(&mut jobs, self.total(), self.model.unmended_minutes);
        let mends = jobs.iter().filter_map(|job| self.model.mends.get(job.mend));
        mends
            .map(|mend| NextStep {
                id: mend.id.clone(),
                says: mend.says.clone(),
                minutes: mend.minutes,
                touches_wire: mend.touches_wire,
                gain_bits: 0.0,
                saves_minutes: 0.0,
                outcomes: Vec::new(),
            })
            .collect()
    }

    /// How long mending alone is expected to take from here, in minutes, where
    /// it is given up once that takes less.
    pub fn minutes_by_mending(&self) -> f64 {
        let weights: Vec<f64> = self.faults.iter().map(|open| open.weight).collect();
        let total = self.total();
        let minutes = self.minutes(&weights, total, &mut Vec::new());
        if total > 0.0 { minutes / total } else { 0.0 }
    }

    /// Whether it takes no longer to give up than to try any mend that is left.
    pub fn is_hopeless(&self) -> bool {
        self.minutes_by_mending() >= self.model.unmended_minutes
    }

    /// How likely it is that trying a mend does not help.
    pub fn left_after(&self, mend: &str) -> f64 {
        let mut then = self.clone();
        then.did_not_help(mend);
        then.total() / self.total()
    }

    /// The faults that are not ruled out, with their probabilities; they sum to
    /// 1.
    pub fn faults(&self) -> impl Iterator<Item = (Fault, f64)> + '_ {
        let total = self.total();
        let left =
            self.faults.iter().map(move |open| (open.fault, open.weight * open.left / total));
        left.filter(|&(_, p)| p > 0.0)
    }

    /// A test was done, and this outcome seen, by its index. Nothing changes for
    /// a test that the model does not have or an outcome that cannot be.
    pub fn saw(&mut self, test: &str, outcome: usize) {
        let Some(at) = self.tests.iter().position(|table| table.id == test) else { return };
        let table = self.tests.remove(at);
        let seen = |open: &Open| open.weight * table.odds(open.fault).get(outcome).unwrap_or(&0.0);
        let sum: f64 = self.faults.iter().map(|open| seen(open) * open.left).sum();
        if sum > 0.0 {
            for open in &mut self.faults {
                open.weight = seen(open) / sum;
            }
        }
    }

    /// A mend was tried, and it did not help. Nothing changes for one that the
    /// model does not have.
    pub fn did_not_help(&mut self, mend: &str) {
        let known = self.model.mends.iter().position(|known| known.id == mend);
        let Some(tried) = known.and_then(|at| self.tried.get_mut(at)) else { return };
        *tried = true;
        let is_swapped = self.is_swapped();
        for open in &mut self.faults {
            open.left = 1.0;
        }
        for link in &self.links {
            if self.tried[link.mend] && (is_swapped || !link.with_swap) {
                self.faults[link.fault].left -= link.share;
            }
        }
        // Of what is mended throughout, rounding leaves nothing.
        for open in &mut self.faults {
            open.left = if open.left < 1e-12 { 0.0 } else { open.left };
        }
    }

    /// See [`tells_apart`](super::tells_apart).
    pub(super) fn quickest_to_tell(&self) -> Option<&'m TestTable> {
        let total = self.total();
        let told = |table: &'m TestTable| (table, self.tell(table, total).gain_bits);
        let mut told: Vec<_> = self.tests.iter().map(|table| told(table)).collect();
        told.retain(|&(_, gain)| gain > 0.0);
        let rate = |&(table, gain): &(&TestTable, f64)| gain / table.minutes;
        let tells = told.iter().filter(|&&(_, gain)| gain >= 0.5);
        let quickest = tells.min_by(|a, b| a.0.minutes.total_cmp(&b.0.minutes));
        let best = || told.iter().reduce(|a, b| if rate(b) > rate(a) { b } else { a });
        quickest.or_else(best).map(|&(table, _)| table)
    }

    fn total(&self) -> f64 {
        self.faults.iter().map(|open| open.weight * open.left).sum()
    }

    fn is_swapped(&self) -> bool {
        self.swap.is_some_and(|swap| self.tried[swap])
    }

    /// The tests that take less than this, as [`Plan::tests`].
    fn tests_under(&self, minutes: f64) -> Vec<NextStep> {
        let total = self.total();
        if total <= 0.0 {
            return Vec::new();
        }
        let now = self.minutes_by_mending();
        let tests = self.tests.iter().filter(|table| table.minutes < minutes);
        let mut steps: Vec<NextStep> = tests
            .map(|table| NextStep {
                saves_minutes: now - table.minutes - self.minutes_told(table, total),
                ..self.tell(table, total)
            })
            .collect();
        steps.sort_by(|a, b| b.saves_minutes.total_cmp(&a.saves_minutes));
        steps
    }

    /// By how much knowing fault and mend would shorten mending, at most: no test
    /// that takes as long is worth it.
    fn minutes_to_save(&self) -> f64 {
        let total = self.total();
        let unmended = self.model.unmended_minutes;
        let is_swapped = self.is_swapped();
        let mut known = unmended * total;
        for link in &self.links {
            let weight = self.faults[link.fault].weight * link.share;
            if !self.tried[link.mend] {
                known -= weight * (unmended - self.model.mends[link.mend].minutes).max(0.0);
            } else if link.with_swap && !is_swapped {
                known -= weight * unmended;
            }
        }
        if total > 0.0 { self.minutes_by_mending() - known / total } else { 0.0 }
    }

    /// How long mending is expected to take once the outcome of a test is known.
    fn minutes_told(&self, table: &TestTable, total: f64) -> f64 {
        let odds: Vec<&[f64]> = self.faults.iter().map(|open| table.odds(open.fault)).collect();
        let mut weights = vec![0.0; self.faults.len()];
        let mut jobs = Vec::new();
        let mut then = 0.0;
        for outcome in 0..table.outcomes.len() {
            let mut left = 0.0;
            for ((weight, open), odds) in weights.iter_mut().zip(&self.faults).zip(&odds) {
                *weight = open.weight * odds[outcome];
                left += *weight * open.left;
            }
            if left > 0.0 {
                then += self.minutes(&weights, left, &mut jobs);
            }
        }
        then / total
    }

    /// A test with what its outcomes say.
    fn tell(&self, table: &TestTable, total: f64) -> NextStep {
        let now = |open: &Open| open.weight * open.left;
        // What fault and outcome say of each other, in bits.
        let known = self.faults.iter().map(|open| now(open) * table.information(open.fault));
        let mut gain: f64 = known.sum();
        let odds: Vec<(Fault, f64, &[f64])> = self
            .faults
            .iter()
            .map(|open| (open.fault, now(open), table.odds(open.fault)))
            .collect();
        let mut outcomes = Vec::with_capacity(table.outcomes.len());
        for (index, outcome) in table.outcomes.iter().enumerate() {
            let (mut sum, mut most) = (0.0, None);
            for &(fault, now, odds) in &odds {
                let weight = now * odds[index];
                sum += weight;
                if weight > most.map_or(0.0, |(_, most)| most) {
                    most = Some((fault, weight));
                }
            }
            let Some((fault, weight)) = most else { continue };
            gain -= sum * libm::log2(sum / total);
            outcomes.push(OutcomeSays {
                says: outcome.says.clone(),
                probability: sum / total,
                fault,
                fault_probability: weight / sum,
            });
        }
        outcomes.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        let gain = gain / total;
        NextStep {
            id: table.id.clone(),
            says: table.says.clone(),
            minutes: table.minutes,
            touches_wire: table.touches_wire,
            gain_bits: if gain < 1e-12 { 0.0 } else { gain },
            saves_minutes: 0.0,
            outcomes,
        }
    }

    /// The minutes of mending faults of these weights, times the weight `total`
    /// of what is left of them.
    fn minutes(&self, weights: &[f64], total: f64, jobs: &mut Vec<Job>) -> f64 {
        // What is left out would add less than a thousandth of a minute.
        self.jobs(weights, 1e-6 * total, jobs);
        put_in_order(jobs, total, self.model.unmended_minutes)
    }

    /// The mends not tried yet, with what of faults of these weights they would
    /// mend, where that is over `least`.
    fn jobs(&self, weights: &[f64], least: f64, jobs: &mut Vec<Job>) {
        jobs.clear();
        jobs.extend(self.model.mends.iter().enumerate().map(|(mend, of)| Job {
            mend,
            minutes: of.minutes,
            alone: 0.0,
            with_swap: 0.0,
            is_swap: self.swap == Some(mend),
            rate: 0.0,
        }));
        let is_swapped = self.is_swapped();
        let mut waits = 0.0;
        for link in &self.links {
            let (Some(weight), Some(job)) = (weights.get(link.fault), jobs.get_mut(link.mend))
            else {
                continue;
            };
            let weight = weight * link.share;
            match (link.with_swap && !is_swapped, self.tried[link.mend]) {
                (false, _) => job.alone += weight,
                (true, false) => job.with_swap += weight,
                // It was tried with the lines as they are: swapping them mends it.
                (true, true) => waits += weight,
            }
        }
        if let Some(job) = self.swap.and_then(|swap| jobs.get_mut(swap)) {
            job.alone += waits;
        }
        let swap_mends = jobs.iter().any(|job| job.with_swap > least);
        jobs.retain(|job| {
            let helps = job.alone + job.with_swap > least || (job.is_swap && swap_mends);
            helps && !self.tried[job.mend]
        });
    }
}
