//! One installer at work on one fault.

use misread::cause::mends::SWAP;
use misread::cause::{Fault, Model, TestTable};
use misread::channel::{Random, Rng};
use misread::diagnose::{NextStep, Plan};

/// How sure is sure enough to stop testing, where nothing else says so.
const SURE: f64 = 0.99;

/// The order in which a sheet on the cabinet door would have it: what takes no
/// tool first, what moves a conductor last.
const CHECKLIST: [&str; 7] = [
    "same-card-thrice",
    "known-card",
    "supply",
    "rest-voltage",
    "continuity",
    "exchange-lines",
    "capture",
];

/// What an installer goes by.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Way {
    /// The first of the steps that misread lists.
    Next,
    /// The sheet, until one fault is sure; then the mends in their order.
    Checklist,
    /// The test that tells most a minute, until one fault is sure or nothing
    /// tells more; then the mends.
    Information,
    /// The mends, and no test.
    Mending,
}

/// What is really so.
pub(crate) struct Job {
    fault: Fault,
    /// The mend that meets it, beside swapping the lines; `None` where none does.
    mend: Option<String>,
    /// What each test shows, by its place in the model.
    outcomes: Vec<usize>,
}

impl Job {
    pub(crate) fn draw(fault: Fault, model: &Model, random: &mut Random) -> Self {
        let shares = model.mends.iter().map(|mend| mend.share(fault));
        let mend = drawn(shares, random).map(|at| model.mends[at].id.clone());
        let mut shows = |table: &TestTable| {
            drawn(table.odds(fault).iter().copied(), random).unwrap_or_default()
        };
        Job { fault, mend, outcomes: model.tests.iter().map(&mut shows).collect() }
    }

    fn is_mended(&self, tried: &[String]) -> bool {
        let was_tried = |id: &str| tried.iter().any(|tried| tried == id);
        self.mend.as_deref().is_some_and(was_tried)
            && (!self.fault.is_behind_swap() || was_tried(SWAP))
    }
}

/// The place of a share drawn with its probability; `None` for what the shares
/// leave to 1.
fn drawn(shares: impl Iterator<Item = f64>, random: &mut Random) -> Option<usize> {
    let mut rest = (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    shares.enumerate().find_map(|(at, share)| {
        rest -= share;
        (rest < 0.0).then_some(at)
    })
}

/// How many minutes it takes until the fix is verified, or help was found; and
/// in how many steps.
pub(crate) fn work(way: Way, faults: &[(Fault, f64)], job: &Job, model: &Model) -> (f64, u32) {
    let mut plan = Plan::new(faults, model);
    let mut tried = Vec::new();
    let (mut minutes, mut steps) = (0.0, 0);
    loop {
        let step = match next(way, &plan, tried.is_empty()) {
            Some(step) if !step.is_mend() || !plan.is_hopeless() => step,
            _ => return (minutes + model.unmended_minutes, steps),
        };
        minutes += step.minutes;
        steps += 1;
        if step.is_mend() {
            plan.did_not_help(&step.id);
            tried.push(step.id);
            if job.is_mended(&tried) {
                return (minutes, steps);
            }
        } else if let Some(at) = model.tests.iter().position(|table| table.id == step.id) {
            plan.saw(&step.id, job.outcomes[at]);
        }
    }
}

fn next(way: Way, plan: &Plan<'_>, is_testing: bool) -> Option<NextStep> {
    let is_testing = is_testing && !plan.faults().any(|(_, probability)| probability >= SURE);
    let tests = || if is_testing { plan.tests() } else { Vec::new() };
    let rate = |test: &NextStep| test.gain_bits / test.minutes;
    let test = match way {
        Way::Next => return plan.steps().into_iter().next(),
        Way::Mending => None,
        Way::Checklist => {
            let mut tests = tests();
            let at = CHECKLIST.iter().find_map(|id| tests.iter().position(|test| test.id == *id));
            at.map(|at| tests.swap_remove(at))
        }
        Way::Information => tests()
            .into_iter()
            .filter(|test| test.gain_bits > 0.0)
            .reduce(|best, test| if rate(&test) > rate(&best) { test } else { best }),
    };
    test.or_else(|| plan.mends().into_iter().next())
}
