//! Every chain of steps that explains all pairs.

use std::collections::HashMap;

use super::further::{Further, further, merged};
use super::step::{Form, Step, Steps};
use super::steps::{State, digits};
use super::written::Written;
use crate::Layout;

/// The longest chain that is tried.
pub const MOST_STEPS: usize = 3;

/// The most chains that are weighed against one another; more are left out,
/// those that take the most words first.
const MOST_WEIGHED: usize = 2000;

/// What is printed on one card, and what the panel shows of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// What is printed.
    pub printed: Written,
    /// What is shown.
    pub shown: Written,
}

/// A chain of steps that explains every pair.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// The steps in order; none where the number is shown as printed.
    pub steps: Vec<Step>,
    /// Its weight among those found, 0 to 1; together with any left out they
    /// are 1.
    pub weight: f64,
    /// How many longer or rarer chains come to the same on every number tried;
    /// their weight is counted in.
    pub alike: usize,
    /// The chain in one sentence.
    pub says: String,
}

impl Path {
    /// The ids of the steps.
    pub fn ids(&self) -> Vec<String> {
        self.steps.iter().map(Step::id).collect()
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Explained {
    /// The chains that explain every pair, the heaviest first; empty where
    /// none does.
    pub paths: Vec<Path>,
    /// How many chains were tried: every one of up to [`MOST_STEPS`] steps,
    /// but none behind a step that does not apply or that comes back to where
    /// the chain was.
    pub tried: u64,
    /// How many chains explain the pairs as well but were too many to weigh.
    pub left_out: usize,
    /// The layouts whose frames were tried.
    pub layouts: Vec<String>,
    /// Those that are not: over 64 bits, or other fields than one, or than
    /// facility and card.
    pub layouts_left_out: Vec<String>,
    /// What it takes to leave one chain with 99 %; `None` where no chain was
    /// found.
    pub further: Option<Further>,
}

/// Tries every chain of up to [`MOST_STEPS`] steps on every pair. Without a
/// pair there is nothing to explain, and nothing is found.
pub fn explain(pairs: &[Pair], layouts: &[&Layout]) -> Explained {
    let forms: Vec<Form> =
        layouts.iter().enumerate().filter_map(|(at, layout)| Form::of(layout, at)).collect();
    let used = |at: &usize| forms.iter().any(|form| form.at == *at);
    let name = |at: usize| layouts[at].name().to_owned();
    let steps = Steps::new(&forms);
    let mut search = Search { pairs, steps: &steps, tried: 0, found: Vec::new() };
    if !pairs.is_empty() {
        search.run();
    }
    let Search { tried, found, .. } = search;
    let mut weighed = steps.weighed(found);
    let left_out = weighed.len().saturating_sub(MOST_WEIGHED);
    weighed.truncate(MOST_WEIGHED);
    let (paths, outcomes) = merged(weighed, pairs);
    Explained {
        further: further(&paths, &outcomes),
        paths,
        tried,
        left_out,
        layouts: (0..layouts.len()).filter(used).map(name).collect(),
        layouts_left_out: (0..layouts.len()).filter(|at| !used(at)).map(name).collect(),
    }
}

struct Search<'a> {
    pairs: &'a [Pair],
    steps: &'a Steps,
    tried: u64,
    found: Vec<Vec<Step>>,
}

impl Search<'_> {
    fn run(&mut self) {
        let states = |of: fn(&Written) -> Option<State>| -> Option<Vec<State>> {
            self.pairs.iter().map(|pair| of(&pair.printed)).collect()
        };
        if let Some(states) = states(State::of) {
            self.as_printed(&states);
            self.from(&mut Vec::new(), &mut vec![states]);
        }
        let reread = self.pairs.iter().map(|pair| State::reread(&pair.printed)).collect();
        if let Some(states) = reread {
            let states: Vec<State> = states;
            self.from(&mut vec![Step::ReadHexadecimal], &mut vec![states]);
        }
    }

    /// Shown as printed, zeros in front aside or not.
    fn as_printed(&mut self, states: &[State]) {
        self.tried += 2;
        let mut both = states.iter().zip(self.pairs);
        if both.clone().all(|(s, p)| s.end(digits(&p.printed)).is_shown_as(&p.shown)) {
            self.found.push(Vec::new());
        } else if both.all(|(s, p)| s.end(None).is_shown_as(&p.shown)) {
            self.found.push(vec![Step::LeadingZeros]);
        }
    }

    /// Everything that continues a chain. `passed` holds the numbers of every
    /// pair at each of its stops, and is as it was when this returns.
    fn from(&mut self, chain: &mut Vec<Step>, passed: &mut Vec<Vec<State>>) {
        let Some(states) = passed.last().cloned() else { return };
        let is_shown = |state: &State, pair: &Pair| state.end(None).is_shown_as(&pair.shown);
        let all_shown = |states: &[State]| {
            states.iter().zip(self.pairs).all(|(state, pair)| is_shown(state, pair))
        };
        let as_is = all_shown(&states);
        if as_is && !chain.is_empty() {
            self.found.push(chain.clone());
        }
        if chain.len() == MOST_STEPS {
            return;
        }
        for last in [Step::Decimal, Step::Hexadecimal] {
            self.tried += 1;
            let turned: Option<Vec<State>> = states.iter().map(|s| s.in_base_of(&last)).collect();
            // Read in hexadecimal and shown so, digits are what they were; and
            // numbers below ten look the same in both.
            let is_back = last == Step::Hexadecimal && *chain == [Step::ReadHexadecimal];
            if !as_is && !is_back && turned.is_some_and(|turned| all_shown(&turned)) {
                self.found.push(chain.iter().cloned().chain([last]).collect());
            }
        }
        let steps = self.steps;
        let is_last = chain.len() + 1 == MOST_STEPS;
        for step in &steps.anywhere {
            self.tried += 1;
            if is_last
                && let (Some(&state), Some(pair)) = (states.first(), self.pairs.first())
                && !step.apply(state).is_some_and(|next| is_shown(&next, pair))
            {
                continue;
            }
            let next: Option<Vec<State>> = states.iter().map(|&s| step.apply(s)).collect();
            let Some(next) = next.filter(|next| !passed.contains(next)) else { continue };
            chain.push(step.clone());
            passed.push(next);
            self.from(chain, passed);
            passed.pop();
            chain.pop();
        }
    }
}

impl Steps {
    /// Chains with their weights, the heaviest first; together they are 1.
    fn weighed(&self, chains: Vec<Vec<Step>>) -> Vec<(Vec<Step>, f64)> {
        let mut bits_of: HashMap<String, f64> = HashMap::new();
        let mut bits =
            |step: &Step| *bits_of.entry(step.id()).or_insert_with(|| self.description_bits(step));
        let mut weighed: Vec<(Vec<Step>, f64)> = chains
            .into_iter()
            .map(|chain| {
                let length: f64 = chain.iter().map(&mut bits).sum();
                (chain, libm::exp2(-length))
            })
            .collect();
        let sum: f64 = weighed.iter().map(|(_, weight)| weight).sum();
        weighed.iter_mut().for_each(|(_, weight)| *weight /= sum);
        // Stable: of equal weights, the chain that was tried first.
        weighed.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.len().cmp(&b.0.len())));
        weighed
    }

    /// A step's description length, and one bit for there being another step.
    pub(super) fn description_bits(&self, step: &Step) -> f64 {
        let choices = self.anywhere.iter().filter(|other| other.is_like(step)).count();
        step.description_bits(choices) + 1.0
    }
}
