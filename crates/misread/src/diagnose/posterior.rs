//! The exact posterior over wire, card, layout and whose cards were read.

use std::borrow::Cow;
use std::ops::ControlFlow;

use super::case::{Candidates, Case};
use super::solve::Solver;
use super::units::Units;
use crate::cause::{CardState, Model, Sought, Whose, Wire};

/// Layouts shorter than this are not diagnosed: nearly any read fits them.
pub const SHORTEST_LAYOUT: usize = 4;

/// How far a diagnosis has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Steps done.
    pub done: usize,
    /// Steps in all.
    pub of: usize,
}

/// A case that is not diagnosed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DiagnoseError {
    /// There are no reads, or no candidate layouts.
    #[error("there is nothing to diagnose: at least one read and one candidate layout are needed")]
    Nothing,
    /// A layout of fewer than four bits.
    #[error(
        "layout {layout} has {bits} bits; a layout under {SHORTEST_LAYOUT} bits says too little \
         to diagnose a read with: leave it out of the candidates"
    )]
    LayoutTooShort {
        /// Its name.
        layout: String,
        /// How many bits it has.
        bits: usize,
    },
    /// No single candidate layout can carry all the expected values.
    #[error("no candidate layout can carry all the expected values: {why}")]
    ExpectedFitsNoLayout {
        /// For each candidate, the value it cannot carry.
        why: String,
    },
    /// More checks are open at once than the analysis follows.
    #[error(
        "layout {layout} has {open} parity checks open after bit {position}; the analysis follows \
         {max}. Decoding works; to diagnose a read, say what the card should be, all its fields",
        max = super::trellis::MAX_OPEN_CHECKS
    )]
    TooManyOpen {
        /// The layout's name.
        layout: String,
        /// The position, from 1.
        position: usize,
        /// How many checks are open there.
        open: usize,
    },
    /// It is said to be one card, and different ones are expected.
    #[error(
        "the reads are said to be of one card, and different cards are expected of them; say \
         that several were presented, or expect the same of every read"
    )]
    OneCardDiffers,
    /// Only priors, rates or findings that leave nothing possible get here.
    #[error("the priors rule out every explanation of these reads")]
    RuledOut,
    /// The progress callback stopped it.
    #[error("stopped")]
    Stopped,
}

/// Which layout the cards of a case have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LayoutUsed {
    /// This candidate, by index.
    Candidate(usize),
    /// Each card one of its own: [`Whose::MixedCards`].
    Mixed,
}

impl LayoutUsed {
    /// The candidate, if it is one.
    pub fn candidate(self) -> Option<usize> {
        match self {
            LayoutUsed::Candidate(index) => Some(index),
            LayoutUsed::Mixed => None,
        }
    }
}

/// One combination of wire, card, layout and whose cards, with its probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combination {
    /// What happened to the bits.
    pub wire: Wire,
    /// Whether the card is the one expected; `None` for a cause that says
    /// nothing of it.
    pub card: Option<CardState>,
    /// Which layout; `None` for a cause that says nothing of it.
    pub layout: Option<LayoutUsed>,
    /// Whose cards were read.
    pub whose: Whose,
    /// Its probability, 0 to 1; all of a posterior sum to 1.
    pub probability: f64,
}

/// A card state and a layout under a wire state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Whether the card is the one expected; `None` for a cause that says
    /// nothing of it.
    pub card: Option<CardState>,
    /// Which layout, likewise.
    pub layout: Option<LayoutUsed>,
    /// The probability of wire state, card state and layout together, 0 to 1.
    pub probability: f64,
}

/// Every combination that is possible, with its probability.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// The combinations, those of one wire state together and in the order of
    /// [`Wire::all`].
    pub joint: Vec<Combination>,
    /// The natural logarithm of the probability of the reads under the model.
    pub ln_evidence: f64,
    /// Layouts (by index) and card states for which causes that lose, add or
    /// change bits were left out, since too many checks are open at once.
    pub left_out: Vec<(usize, CardState)>,
    /// Layouts (by index) for which the reads were too many, or too far from
    /// its length, to ask whether pulses of one card were lost or added.
    pub beyond_one_card: Vec<usize>,
    wires: Vec<f64>,
}

impl Posterior {
    pub(crate) fn new(mut joint: Vec<Combination>, ln_evidence: f64) -> Self {
        let mut wires = vec![0.0; Wire::COUNT];
        joint.sort_by_key(|found| found.wire.index());
        for found in &joint {
            wires[found.wire.index()] += found.probability;
        }
        Posterior { joint, ln_evidence, left_out: Vec::new(), beyond_one_card: Vec::new(), wires }
    }

    /// The probability of a wire state.
    pub fn of_wire(&self, wire: impl Into<Wire>) -> f64 {
        self.wires.get(wire.into().index()).copied().unwrap_or(0.0)
    }

    /// The probability of a card state. Causes that say nothing of the card
    /// are left out, so these may sum to less than 1.
    pub fn of_card(&self, state: CardState) -> f64 {
        self.sum(|found| found.card == Some(state))
    }

    /// The probability of the layout at `index`. Causes that say nothing of
    /// the layout are left out, and so are cards of several layouts.
    pub fn of_layout(&self, index: usize) -> f64 {
        self.sum(|found| found.layout == Some(LayoutUsed::Candidate(index)))
    }

    /// The probability that the cards have each a layout of its own.
    pub fn of_mixed(&self) -> f64 {
        self.sum(|found| found.layout == Some(LayoutUsed::Mixed))
    }

    /// The probability of whose cards the reads are of.
    pub fn of_whose(&self, whose: Whose) -> f64 {
        self.sum(|found| found.whose == whose)
    }

    /// The most likely wire state; of those within 1e-12 of one another, the
    /// first in the order of the tables.
    pub fn most_likely_wire(&self) -> Wire {
        first_best(Wire::all().map(|wire| (wire, self.of_wire(wire))))
            .unwrap_or(Wire::Alone(crate::cause::Cause::None))
    }

    /// The most likely card state and layout under a wire state, with the
    /// probability of all three; `None` for both where it says nothing of them.
    pub fn most_likely_under(&self, wire: Wire) -> Pair {
        let pairs = self.pairs_under(wire);
        let best = first_best(pairs.iter().map(|pair| (*pair, pair.probability)));
        best.unwrap_or(Pair { card: None, layout: None, probability: 0.0 })
    }

    /// Every card state and layout under a wire state, with the probability of
    /// all three: in the order of the tables and of the candidates.
    pub fn pairs_under(&self, wire: Wire) -> Vec<Pair> {
        let mut pairs: Vec<Pair> = Vec::new();
        for found in self.joint.iter().filter(|found| found.wire == wire) {
            let is = |pair: &&mut Pair| (pair.card, pair.layout) == (found.card, found.layout);
            match pairs.iter_mut().find(is) {
                Some(pair) => pair.probability += found.probability,
                None => pairs.push(Pair {
                    card: found.card,
                    layout: found.layout,
                    probability: found.probability,
                }),
            }
        }
        pairs.sort_by_key(|pair| {
            let layout = pair.layout.and_then(LayoutUsed::candidate);
            (pair.card, layout.unwrap_or(usize::MAX))
        });
        pairs
    }

    pub(crate) fn sum(&self, of: impl Fn(&Combination) -> bool) -> f64 {
        self.joint.iter().filter(|found| of(found)).map(|found| found.probability).sum()
    }
}

/// The first of the best, where what is within 1e-12 is as good.
fn first_best<T: Copy>(all: impl Iterator<Item = (T, f64)>) -> Option<T> {
    let best = all.fold(None, |best: Option<(T, f64)>, (this, probability)| match best {
        Some((_, most)) if probability <= most + 1e-12 => best,
        _ => Some((this, probability)),
    });
    best.map(|(best, _)| best)
}

/// The exact posterior of a case whose reads are not all empty.
///
/// `progress` is called between steps and may stop the work.
///
/// # Errors
///
/// See [`DiagnoseError`].
///
/// ```
/// use misread::cause::{Cause, Model};
/// use misread::diagnose::{Candidates, Case, posterior};
/// use misread::layout::{Layout, built_in};
/// use std::{ops::ControlFlow, sync::Arc};
///
/// let candidates = Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26)?), 12.0)]);
/// let case = Case::of(["01101010111111011001011011".parse()?])
///     .expecting([("facility", 42), ("card", 1234)]);
/// let posterior =
///     posterior(&case, &candidates, &Model::default(), &mut |_| ControlFlow::Continue(()))?;
/// assert!((posterior.of_wire(Cause::LinesSwapped) - 0.847637).abs() < 1e-6);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn posterior(
    case: &Case,
    candidates: &Candidates,
    model: &Model,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Posterior, DiagnoseError> {
    let model = captured(case, model);
    let units = Units::of(case);
    let mut solver = Solver::new(&units, candidates, &model)?;
    solver.posterior(&Sought::ALL, progress)
}

/// For each presentation of a case, empty ones too, the probability that it is
/// one of those that suffer, given that the wire is in a state that comes and
/// goes; `None` for another state, or where that is ruled out.
///
/// # Errors
///
/// See [`DiagnoseError`].
pub fn suffers(
    case: &Case,
    candidates: &Candidates,
    model: &Model,
    wire: Wire,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Option<Vec<f64>>, DiagnoseError> {
    let model = captured(case, model);
    let units = Units::of(case);
    let mut solver = Solver::new(&units, candidates, &model)?;
    let posterior = solver.posterior(&Sought::ALL, progress)?;
    Ok(solver.suffers(wire, &posterior))
}

/// The model that holds for a case: another one for a capture.
pub(crate) fn captured<'m>(case: &Case, model: &'m Model) -> Cow<'m, Model> {
    match case.captured {
        None => Cow::Borrowed(model),
        Some(at) => Cow::Owned(model.captured(at)),
    }
}

/// The logarithm of a sum of exponentials.
pub(crate) fn ln_sum(lns: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = lns.clone().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + libm::log(lns.map(|ln| libm::exp(ln - most)).sum::<f64>())
}
