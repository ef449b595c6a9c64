//! The presentations of a case as the sums see them: equal reads once.

use misread_core::Bits;
use misread_core::pulse::Evidence;
use rustc_hash::FxHashMap;

use super::case::{Case, Expected, Presented};
use super::held::{Knowns, View};
use super::likelihood::Received;
use crate::cause::{CardState, Cause, Model, Whose, Wire};

/// The reads that are not empty, with what is expected of each.
#[derive(Clone, Debug)]
pub(crate) struct Units {
    /// By read that is not empty, in order: which kind, and where it stands
    /// among the presentations.
    pub(crate) reads: Vec<(usize, usize)>,
    /// The different kinds of reads.
    pub(crate) kinds: Vec<Kind>,
    /// The different expected cards.
    pub(crate) cards: Vec<Expected>,
    /// Two reads each, one behind the other, where reads pair up.
    pub(crate) pairs: Option<Vec<Received>>,
    pub(crate) knowns: Knowns,
    pub(crate) views: Vec<View>,
    /// How many presentations gave nothing.
    pub(crate) empty: usize,
    pub(crate) presented: Presented,
}

/// Reads with the same bits, the same card expected and the same findings.
#[derive(Clone, Debug)]
pub(crate) struct Kind {
    pub(crate) bits: Bits,
    /// The number of the expected card.
    pub(crate) card: usize,
    pub(crate) pulses: Evidence,
    pub(crate) times: usize,
}

impl Units {
    pub(crate) fn of(case: &Case) -> Self {
        let mut cards: Vec<Expected> = Vec::new();
        let mut card_numbers: FxHashMap<&Expected, usize> = FxHashMap::default();
        let mut kinds: Vec<Kind> = Vec::new();
        let mut kind_numbers: FxHashMap<(Bits, usize, Found), usize> = FxHashMap::default();
        let mut reads = Vec::new();
        for (at, read) in case.reads.iter().enumerate().filter(|(_, read)| !read.bits.is_empty()) {
            let card = *card_numbers.entry(&read.expected).or_insert_with(|| {
                cards.push(read.expected.clone());
                cards.len() - 1
            });
            let kind =
                *kind_numbers.entry((read.bits, card, found(&read.pulses))).or_insert_with(|| {
                    kinds.push(Kind { bits: read.bits, card, pulses: read.pulses, times: 0 });
                    kinds.len() - 1
                });
            kinds[kind].times += 1;
            reads.push((kind, at));
        }
        let pairs = reads.len().is_multiple_of(2).then(|| {
            reads
                .chunks_exact(2)
                .filter_map(|pair| {
                    let (first, second) = (pair.first()?, pair.last()?);
                    let (first, second) = (&kinds[first.0].bits, &kinds[second.0].bits);
                    // Too long together for any layout: left without a cut.
                    Some(match first.concat(second) {
                        Ok(bits) => Received { bits, cut: Some(first.len()) },
                        Err(_) => Received { bits: *first, cut: None },
                    })
                })
                .collect()
        });
        let mut knowns = Knowns::default();
        let of_reads: Vec<usize> = reads.iter().map(|&(kind, _)| kinds[kind].card).collect();
        let views = View::all(&cards, &of_reads, &mut knowns);
        let empty = case.reads.len() - reads.len();
        Units { reads, kinds, cards, pairs, knowns, views, empty, presented: case.presented }
    }

    /// How many presentations there are, empty ones counted.
    pub(crate) fn presentations(&self) -> usize {
        self.reads.len() + self.empty
    }

    /// The card states that are asked about.
    pub(crate) fn states(&self) -> impl Iterator<Item = CardState> + Clone + '_ {
        CardState::ALL.into_iter().filter(|&state| self.views.iter().any(|v| v.state == state))
    }

    /// Whether two reads are given different expected cards.
    pub(crate) fn cards_differ(&self) -> bool {
        self.cards.iter().filter(|card| !card.is_empty()).count() > 1
    }

    /// Whether a wire state is asked about: one presentation says nothing of
    /// coming and going.
    pub(crate) fn asks(&self, wire: Wire) -> bool {
        !wire.comes_and_goes() || self.presentations() >= 2
    }

    /// Whose cards is asked about, with the weights.
    pub(crate) fn whose(&self, layouts: usize, model: &Model) -> Vec<(Whose, f64)> {
        if self.reads.len() < 2 {
            return vec![(Whose::OwnCards, 1.0)];
        }
        let asks = |whose: Whose| match whose {
            Whose::OneCard => self.presented != Presented::Several && !self.cards_differ(),
            Whose::OwnCards => self.presented != Presented::One,
            Whose::MixedCards => self.presented != Presented::One && layouts > 1,
        };
        let asked = || Whose::ALL.into_iter().filter(|&whose| asks(whose));
        let weight = |whose: Whose| model.presented.0[whose.index()];
        let sum: f64 = asked().map(weight).sum();
        asked().map(|whose| (whose, if sum > 0.0 { weight(whose) / sum } else { 0.0 })).collect()
    }

    /// The logarithm of the probability that just these presentations are
    /// empty.
    pub(crate) fn ln_empty(&self, wire: Wire, model: &Model) -> f64 {
        let (read, empty) = (self.reads.len() as f64, self.empty as f64);
        let ln =
            |missing: f64| times(empty, libm::log(missing)) + times(read, libm::log(1.0 - missing));
        if wire != Wire::ReadsMissing {
            return ln(model.empty);
        }
        let of_share = |share: &f64| ln(share + (1.0 - share) * model.empty);
        let shares: Vec<f64> = model.shares.iter().map(of_share).collect();
        super::posterior::ln_sum(shares.iter().copied()) - libm::log(shares.len() as f64)
    }

    /// By kind and by cause, the logarithm of the probability of its findings,
    /// those of `counted` alone.
    pub(crate) fn ln_findings(&self, ln: impl Fn(Cause, &Evidence) -> f64) -> Vec<Findings> {
        let nothing = Evidence::default();
        let of_kind = |kind: &Kind| match kind.pulses == nothing {
            true => [0.0; Cause::ALL.len()],
            false => Cause::ALL.map(|cause| ln(cause, &kind.pulses)),
        };
        self.kinds.iter().map(of_kind).collect()
    }
}

/// The logarithm of the probability of a read's findings, by cause.
pub(crate) type Findings = [f64; Cause::ALL.len()];

/// What was looked for and what was found, as a key.
type Found = [Option<bool>; 6];

fn found(evidence: &Evidence) -> Found {
    crate::cause::Sought::ALL.map(|sought| sought.found_in(evidence))
}

/// So many times a logarithm; none at all is 0 even where that is infinite.
pub(crate) fn times(count: f64, ln: f64) -> f64 {
    if count == 0.0 { 0.0 } else { count * ln }
}
