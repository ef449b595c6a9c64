//! The least minutes to a verified fix that any way of going about it takes,
//! by dynamic programming over all of them: tests and mends in any order, given
//! up at any time. It knows the model's figures and nothing of how the library
//! ranks. Beside it, what following the library's steps takes.

use misread::cause::{Fault, Model};
use misread::diagnose::Plan;
use rustc_hash::FxHashMap;

/// What is to be found out and mended.
pub(crate) struct Site {
    unmended_minutes: f64,
    /// The mends that can help, by their minutes.
    mends: Vec<f64>,
    /// Which of them swaps the lines.
    swap: Option<usize>,
    /// By fault, the shares of its cases that mends mend.
    shares: Vec<Vec<(usize, f64)>>,
    /// By fault, whether the lines are swapped beside it.
    behind_swap: Vec<bool>,
    tests: Vec<Test>,
    /// By the outcomes seen and the mends tried.
    known: FxHashMap<(u32, u32), f64>,
}

struct Test {
    minutes: f64,
    /// By outcome, by fault.
    odds: Vec<Vec<f64>>,
    /// What seeing its first outcome adds to the number of the outcomes seen.
    place: u32,
}

impl Site {
    /// What these faults and the tests of the model leave to do.
    pub(crate) fn new(faults: &[(Fault, f64)], model: &Model) -> Self {
        const SWAP: &str = "fix-lines-swapped";
        let behind_swap: Vec<bool> =
            faults.iter().map(|(fault, _)| fault.is_behind_swap()).collect();
        let can_help = model.mends.iter().filter(|mend| {
            let any = faults.iter().any(|&(fault, _)| mend.share(fault) > 0.0);
            any || mend.id == SWAP && behind_swap.contains(&true)
        });
        let mends: Vec<_> = can_help.collect();
        let shares = |fault: Fault| {
            let shares = mends.iter().map(|mend| mend.share(fault)).enumerate();
            shares.filter(|&(_, share)| share > 0.0).collect()
        };
        let mut place = 1;
        let tests = model.tests.iter().map(|table| {
            let row = |outcome: usize| {
                faults.iter().map(|&(fault, _)| table.odds(fault)[outcome]).collect()
            };
            let odds: Vec<Vec<f64>> = (0..table.outcomes.len()).map(row).collect();
            let test = Test { minutes: table.minutes, place, odds };
            place *= table.outcomes.len() as u32 + 1;
            test
        });
        Site {
            unmended_minutes: model.unmended_minutes,
            shares: faults.iter().map(|&(fault, _)| shares(fault)).collect(),
            tests: tests.collect(),
            swap: mends.iter().position(|mend| mend.id == SWAP),
            mends: mends.iter().map(|mend| mend.minutes).collect(),
            behind_swap,
            known: FxHashMap::default(),
        }
    }

    /// The least minutes, where the faults have these probabilities.
    pub(crate) fn least_minutes(&mut self, probabilities: &[f64]) -> f64 {
        self.least(probabilities, 0, 0, 0)
    }

    /// `weights` by fault, the outcomes seen taken account of; `seen` the number
    /// of those outcomes, `done` the tests by bit; `tried` mends by bit.
    fn least(&mut self, weights: &[f64], seen: u32, done: u32, tried: u32) -> f64 {
        let left = self.left(weights, tried);
        if left < 1e-14 {
            return 0.0;
        }
        if let Some(&known) = self.known.get(&(seen, tried)) {
            return known;
        }
        let mut best = self.unmended_minutes * left;
        let mut mends: Vec<(f64, usize)> = (0..self.mends.len())
            .filter(|mend| tried >> mend & 1 == 0)
            .map(|mend| {
                let mended = left - self.left(weights, tried | 1 << mend);
                (mended / self.mends[mend], mend)
            })
            .collect();
        mends.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (_, mend) in mends {
            let now = self.mends[mend] * left;
            if now + self.at_least(weights, tried | 1 << mend) < best {
                best = best.min(now + self.least(weights, seen, done, tried | 1 << mend));
            }
        }
        for test in 0..self.tests.len() {
            let now = self.tests[test].minutes * left;
            // What is at least needed does not change by being told.
            if done >> test & 1 == 1 || now + self.at_least(weights, tried) >= best {
                continue;
            }
            let mut sum = now;
            for outcome in 0..self.tests[test].odds.len() {
                let odds = &self.tests[test].odds[outcome];
                let then: Vec<f64> = weights.iter().zip(odds).map(|(w, odds)| w * odds).collect();
                let seen = seen + (outcome as u32 + 1) * self.tests[test].place;
                sum += self.least(&then, seen, done | 1 << test, tried);
            }
            best = best.min(sum);
        }
        self.known.insert((seen, tried), best);
        best
    }

    fn needs_swap(&self, fault: usize, tried: u32) -> bool {
        self.behind_swap[fault] && self.swap.is_none_or(|swap| tried >> swap & 1 == 0)
    }

    fn left(&self, weights: &[f64], tried: u32) -> f64 {
        let of = |fault: usize| {
            if self.needs_swap(fault, tried) {
                return weights[fault];
            }
            let shares = self.shares[fault].iter();
            let mended = shares.filter(|(mend, _)| tried >> mend & 1 == 1);
            weights[fault] * (1.0 - mended.map(|(_, share)| share).sum::<f64>())
        };
        (0..weights.len()).map(of).sum()
    }

    /// What the rest takes for somebody who knows fault and mend.
    fn at_least(&self, weights: &[f64], tried: u32) -> f64 {
        let of = |fault: usize| {
            let swap = match self.swap {
                Some(swap) if self.needs_swap(fault, tried) => self.mends[swap],
                _ => 0.0,
            };
            let (mut rest, mut minutes) = (1.0, 0.0);
            for &(mend, share) in &self.shares[fault] {
                let its = if tried >> mend & 1 == 0 { self.mends[mend] } else { 0.0 };
                minutes += share * (its + swap).min(self.unmended_minutes);
                rest -= share;
            }
            weights[fault] * (minutes + f64::max(rest, 0.0) * self.unmended_minutes)
        };
        (0..weights.len()).map(of).sum()
    }
}

/// The minutes that following the first of the steps is expected to take.
pub(crate) fn followed(plan: &Plan<'_>, model: &Model) -> f64 {
    let steps = plan.steps();
    let Some(step) = steps.first() else { return model.unmended_minutes };
    if !step.is_mend() {
        let Some(table) = model.tests.iter().find(|table| table.id == step.id) else {
            return f64::NAN;
        };
        let after = (0..table.outcomes.len()).map(|outcome| {
            let chance: f64 = plan.faults().map(|(fault, p)| p * table.odds(fault)[outcome]).sum();
            if chance < 1e-12 {
                return 0.0;
            }
            let mut plan = plan.clone();
            plan.saw(&step.id, outcome);
            chance * followed(&plan, model)
        });
        return step.minutes + after.sum::<f64>();
    }
    if plan.is_hopeless() {
        return model.unmended_minutes;
    }
    let mut then = plan.clone();
    then.did_not_help(&step.id);
    let left = plan.left_after(&step.id);
    if left < 1e-12 { step.minutes } else { step.minutes + left * followed(&then, model) }
}
