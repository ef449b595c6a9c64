//! The exact posterior over wire, card and layout.

use rustc_hash::FxHashMap;
use std::borrow::Cow;
use std::ops::ControlFlow;

use misread_core::pulse::Evidence;

use super::case::{Candidates, Case, Expected, FACILITY, fits, holds_in};
use super::likelihood::{LONGEST, Posed, Received, ln_any_bits, ln_likelihood, variants};
use crate::cause::{CardState, Cause, Model};

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
    /// Only priors, rates or findings that leave nothing possible get here.
    #[error("the priors rule out every explanation of these reads")]
    RuledOut,
    /// The progress callback stopped it.
    #[error("stopped")]
    Stopped,
}

/// One combination of wire, card and layout with its probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Triple {
    /// What happened to the bits.
    pub cause: Cause,
    /// Whether the card is the one expected; `None` for a cause that says
    /// nothing of it.
    pub card: Option<CardState>,
    /// Which candidate layout; `None` for a cause that says nothing of it.
    pub layout: Option<usize>,
    /// Its probability, 0 to 1.
    pub probability: f64,
}

/// The posterior over wire, card and layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// Every combination, by cause, then card state, then layout, each in the
    /// order of its table. They sum to 1.
    pub joint: Vec<Triple>,
    /// The natural logarithm of the probability of the reads under the model,
    /// all combinations together.
    pub ln_evidence: f64,
    /// The probability of each cause by the bits alone, in the order of
    /// [`Cause::ALL`]: before the findings of a capture are weighed. Where there
    /// are none, that of [`of_cause`](Self::of_cause).
    pub by_bits: [f64; Cause::ALL.len()],
    /// Layouts (by index) and card states for which causes that lose or add
    /// pulses were left out, since too many checks are open at once.
    pub left_out: Vec<(usize, CardState)>,
}

impl Posterior {
    /// The probability of a cause.
    pub fn of_cause(&self, cause: Cause) -> f64 {
        self.sum(|triple| triple.cause == cause)
    }

    /// The probability of a card state. Causes that say nothing of the card
    /// are left out, so these may sum to less than 1.
    pub fn of_card(&self, state: CardState) -> f64 {
        self.sum(|triple| triple.card == Some(state))
    }

    /// The probability of the layout at `index`. Causes that say nothing of
    /// the layout are left out, so these may sum to less than 1.
    pub fn of_layout(&self, index: usize) -> f64 {
        self.sum(|triple| triple.layout == Some(index))
    }

    /// The most likely combination; of those within 1e-12 of one another, the
    /// first in the order of the tables.
    pub fn most_likely(&self) -> Option<&Triple> {
        self.joint.iter().fold(None, |best: Option<&Triple>, triple| match best {
            Some(best) if triple.probability <= best.probability + 1e-12 => Some(best),
            _ => Some(triple),
        })
    }

    fn sum(&self, of: impl Fn(&Triple) -> bool) -> f64 {
        self.joint.iter().filter(|triple| of(triple)).map(|triple| triple.probability).sum()
    }
}

/// The reads that are not empty, with what is expected of each; two by two for
/// [`Cause::FrameSplit`].
#[derive(Clone, Debug)]
pub(crate) struct Units {
    pub(crate) reads: Vec<(Received, Expected)>,
    /// `None` for an odd number of reads.
    pub(crate) pairs: Option<Vec<(Received, [Expected; 2])>>,
    pub(crate) states: &'static [CardState],
    /// Of each read, what its pulses say.
    pub(crate) pulses: Vec<Evidence>,
}

impl Units {
    pub(crate) fn of(case: &Case) -> Self {
        let kept: Vec<_> = case.reads.iter().filter(|read| !read.bits.is_empty()).collect();
        let reads: Vec<_> = kept
            .iter()
            .map(|read| (Received { bits: read.bits, cut: None }, read.expected.clone()))
            .collect();
        let pairs = (kept.len() % 2 == 0).then(|| {
            kept.chunks_exact(2)
                .map(|pair| {
                    // Too long together for any layout: left without a cut.
                    let received = match pair[0].bits.concat(&pair[1].bits) {
                        Ok(bits) => Received { bits, cut: Some(pair[0].bits.len()) },
                        Err(_) => Received { bits: pair[0].bits, cut: None },
                    };
                    (received, [pair[0].expected.clone(), pair[1].expected.clone()])
                })
                .collect()
        });
        let any_expected = kept.iter().any(|read| !read.expected.is_empty());
        let states = if any_expected { &CardState::ALL[..] } else { &CardState::ALL[..1] };
        let pulses = kept.iter().map(|read| read.pulses).collect();
        Units { reads, pairs, states, pulses }
    }

    /// What is received and what is known of the card, for each unit, under a
    /// cause and a card state; `None` where that is impossible.
    pub(crate) fn under(
        &self,
        cause: Cause,
        state: CardState,
    ) -> Option<Vec<(Received, Expected)>> {
        if cause != Cause::FrameSplit {
            let read = |(received, expected): &(Received, Expected)| {
                (*received, holds_in(state, expected))
            };
            return Some(self.reads.iter().map(read).collect());
        }
        self.pairs
            .as_ref()?
            .iter()
            .map(|(received, [first, second])| {
                let (first, second) = (holds_in(state, first), holds_in(state, second));
                let expected = match (first.is_empty(), second.is_empty()) {
                    (true, _) => second,
                    (_, true) => first,
                    _ if first == second => first,
                    _ => return None,
                };
                Some((*received, expected))
            })
            .collect()
    }

    /// Whether a card state is possible for a layout.
    pub(crate) fn allows(&self, state: CardState, layout: &misread_core::Layout) -> bool {
        match state {
            CardState::FacilityDiffers | CardState::CardDiffers => layout.field(FACILITY).is_some(),
            CardState::AsExpected | CardState::DifferentCard => true,
        }
    }
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
/// let candidates = Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26)?), 4.0)]);
/// let case = Case::of(["01101010111111011001011011".parse()?])
///     .expecting([("facility", 42), ("card", 1234)]);
/// let posterior =
///     posterior(&case, &candidates, &Model::default(), &mut |_| ControlFlow::Continue(()))?;
/// assert!((posterior.of_cause(Cause::LinesSwapped) - 0.857143).abs() < 1e-6);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn posterior(
    case: &Case,
    candidates: &Candidates,
    model: &Model,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Posterior, DiagnoseError> {
    let model = captured(case, model);
    solve(&Units::of(case), candidates, &model, progress).map(|(posterior, _)| posterior)
}

/// The model that holds for a case: another one for a capture.
pub(crate) fn captured<'m>(case: &Case, model: &'m Model) -> Cow<'m, Model> {
    match case.captured {
        None => Cow::Borrowed(model),
        Some(at) => Cow::Owned(model.captured(at)),
    }
}

/// The posterior, and for each layout the likelihoods it was made from; `None`
/// for a layout that cannot carry the expected values.
pub(crate) fn solve<'c>(
    units: &Units,
    candidates: &'c Candidates,
    model: &Model,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<(Posterior, Vec<Option<PosedCards<'c>>>), DiagnoseError> {
    let layouts = candidates.layouts();
    if units.reads.is_empty() || layouts.is_empty() {
        return Err(DiagnoseError::Nothing);
    }
    if let Some(short) = layouts.iter().find(|layout| layout.bits() < SHORTEST_LAYOUT) {
        return Err(DiagnoseError::LayoutTooShort {
            layout: short.name().to_owned(),
            bits: short.bits(),
        });
    }
    let fitting: Vec<bool> = layouts
        .iter()
        .map(|layout| units.reads.iter().all(|(_, expected)| fits(layout, expected)))
        .collect();
    if !fitting.contains(&true) {
        return Err(DiagnoseError::ExpectedFitsNoLayout { why: why_none_fits(units, candidates) });
    }

    let priors = candidates.priors(model.configured);
    let causes = Cause::ALL.into_iter().filter(|cause| !cause.is_without_layout());
    let of = fitting.iter().filter(|&&fits| fits).count() * units.states.len();
    let mut done = 0;
    let mut weights: FxHashMap<(Cause, CardState, usize), f64> = FxHashMap::default();
    let mut left_out = Vec::new();
    let mut likelihoods = Vec::new();
    for (index, layout) in layouts.iter().enumerate() {
        if !fitting[index] {
            likelihoods.push(None);
            continue;
        }
        let mut posed = PosedCards::new(layout);
        for &state in units.states {
            if progress(Progress { done, of }).is_break() {
                return Err(DiagnoseError::Stopped);
            }
            done += 1;
            if !units.allows(state, layout) {
                continue;
            }
            let card_prior = if units.states.len() > 1 { model.card_prior(state) } else { 1.0 };
            for cause in causes.clone() {
                let prior = model.prior(cause) * card_prior * priors[index];
                if prior == 0.0 {
                    continue;
                }
                let Some(received) = units.under(cause, state) else { continue };
                let ln = posed.ln_case(cause, model.rates(cause), &received);
                weights.insert((cause, state, index), libm::log(prior) + ln);
            }
            if let Some((position, open)) = posed.too_many_open(units, state) {
                if state == CardState::AsExpected {
                    let layout = layout.name().to_owned();
                    return Err(DiagnoseError::TooManyOpen { layout, position, open });
                }
                left_out.push((index, state));
            }
        }
        likelihoods.push(Some(posed));
    }
    let mut joint = Vec::new();
    for cause in causes {
        for &state in units.states {
            for index in 0..layouts.len() {
                let ln = weights.get(&(cause, state, index)).copied();
                joint.push((cause, Some(state), Some(index), ln.unwrap_or(f64::NEG_INFINITY)));
            }
        }
    }
    for cause in [Cause::UnknownLayout, Cause::RandomBits] {
        let ln = libm::log(model.prior(cause)) + ln_without_layout(cause, units);
        joint.push((cause, None, None, ln));
    }
    let by_bits = by_bits(&joint);
    let found = Cause::ALL.map(|cause| -> f64 {
        units.pulses.iter().map(|evidence| model.ln_findings(cause, evidence)).sum()
    });
    for (cause, .., ln) in &mut joint {
        *ln += found[cause.index()];
    }
    let total = ln_sum(joint.iter().map(|&(.., ln)| ln));
    if total == f64::NEG_INFINITY {
        return Err(DiagnoseError::RuledOut);
    }
    let joint = joint
        .into_iter()
        .map(|(cause, card, layout, ln)| Triple {
            cause,
            card,
            layout,
            probability: libm::exp(ln - total),
        })
        .collect();
    Ok((Posterior { joint, ln_evidence: total, by_bits, left_out }, likelihoods))
}

type Weighed = (Cause, Option<CardState>, Option<usize>, f64);

/// The probability of each cause, from the logarithms of the weights.
fn by_bits(joint: &[Weighed]) -> [f64; Cause::ALL.len()] {
    let total = ln_sum(joint.iter().map(|&(.., ln)| ln));
    let mut shares = [0.0; Cause::ALL.len()];
    if total > f64::NEG_INFINITY {
        for &(cause, .., ln) in joint {
            shares[cause.index()] += libm::exp(ln - total);
        }
    }
    shares
}

/// Likelihoods under one layout, each worked out once.
pub(crate) struct PosedCards<'l> {
    layout: &'l misread_core::Layout,
    cards: FxHashMap<Expected, PosedCard>,
}

/// A card of which something is expected.
struct PosedCard {
    /// `None` where the layout cannot carry it.
    posed: Option<Posed>,
    known: FxHashMap<(Cause, Received), Vec<f64>>,
}

impl<'l> PosedCards<'l> {
    pub(crate) fn new(layout: &'l misread_core::Layout) -> Self {
        PosedCards { layout, cards: FxHashMap::default() }
    }

    pub(crate) fn posed(&mut self, expected: &Expected) -> Option<&Posed> {
        self.card(expected)?.posed.as_ref()
    }

    fn card(&mut self, expected: &Expected) -> Option<&mut PosedCard> {
        if !self.cards.contains_key(expected) {
            let values = expected.iter().map(|(name, &number)| (name.as_str(), number));
            let posed = Posed::new(self.layout, values);
            self.cards.insert(expected.clone(), PosedCard { posed, known: FxHashMap::default() });
        }
        self.cards.get_mut(expected)
    }

    /// The logarithm of the likelihood of each unit at each rate.
    pub(crate) fn ln_unit(
        &mut self,
        cause: Cause,
        rates: &[f64],
        received: &Received,
        expected: &Expected,
    ) -> &[f64] {
        // There is always a card: the lookup puts it there.
        let Some(PosedCard { posed, known }) = self.card(expected) else { return &[] };
        known.entry((cause, *received)).or_insert_with(|| match posed {
            Some(posed) => ln_likelihood(cause, rates, received, posed),
            None => vec![f64::NEG_INFINITY; variants(cause, rates)],
        })
    }

    /// The logarithm of the mean over the rates of the product over the units.
    fn ln_case(&mut self, cause: Cause, rates: &[f64], units: &[(Received, Expected)]) -> f64 {
        let mut sums = vec![0.0; variants(cause, rates)];
        for (received, expected) in units {
            for (sum, ln) in sums.iter_mut().zip(self.ln_unit(cause, rates, received, expected)) {
                *sum += ln;
            }
            if sums.iter().all(|&sum| sum == f64::NEG_INFINITY) {
                return f64::NEG_INFINITY;
            }
        }
        ln_sum(sums.iter().copied()) - libm::log(sums.len() as f64)
    }

    fn too_many_open(&mut self, units: &Units, state: CardState) -> Option<(usize, usize)> {
        units.reads.iter().find_map(|(_, expected)| {
            let posed = self.posed(&holds_in(state, expected))?;
            posed.trellis.as_ref().err().map(|error| (error.position, error.open))
        })
    }
}

fn ln_without_layout(cause: Cause, units: &Units) -> f64 {
    let reads = units.reads.iter().map(|(received, _)| &received.bits);
    let bits: f64 = reads.clone().map(ln_any_bits).sum();
    let ln_length = libm::log(LONGEST as f64);
    if cause == Cause::RandomBits {
        return bits - ln_length * units.reads.len() as f64;
    }
    let mut lengths: Vec<usize> = reads.map(|bits| bits.len()).collect();
    lengths.dedup();
    if lengths.len() == 1 { bits - ln_length } else { f64::NEG_INFINITY }
}

/// The logarithm of a sum of exponentials.
pub(crate) fn ln_sum(lns: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = lns.clone().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + libm::log(lns.map(|ln| libm::exp(ln - most)).sum::<f64>())
}

fn why_none_fits(units: &Units, candidates: &Candidates) -> String {
    let why = |layout: &misread_core::Layout| {
        let values = units.reads.iter().flat_map(|(_, expected)| expected);
        for (name, &number) in values {
            match layout.field(name) {
                None => return format!("{} has no field {name}", layout.name()),
                Some(field) if field.to_raw(number).is_none() => {
                    return format!(
                        "{}: {name} is at most {}, not {number}",
                        layout.name(),
                        field.max()
                    );
                }
                Some(_) => {}
            }
        }
        layout.name().to_owned()
    };
    let all: Vec<String> = candidates.layouts().iter().map(|layout| why(layout)).collect();
    all.join("; ")
}
