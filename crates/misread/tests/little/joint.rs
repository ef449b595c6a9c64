//! The whole joint of wire, card, layout and whose cards, from the words of the
//! fault model: every frame of every candidate, one after the other.

use std::collections::BTreeMap;

use misread::cause::{CardState, Cause, Whose, Wire};

use super::card::{Among, Behind, DRAWS, Frames};
use super::channel::{Sent, Through};
use super::mix::Mix;
use super::{Frame, Little, Question, Read, Shown, unlisted, wires};

/// What a combination says of the layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Of {
    /// Nothing.
    Nothing,
    /// This candidate's number.
    Layout(usize),
    /// That each read has one of its own.
    Mixed,
}

/// One combination.
pub(crate) type Key = (Wire, Option<CardState>, Of, Whose);

/// The weight of each combination, priors and all, as the fault model writes
/// it. What is impossible has 0, or is left out.
pub(crate) fn weigh(question: &Question<'_>) -> BTreeMap<Key, f64> {
    let states = States::new(question);
    wires().into_iter().flat_map(|wire| states.weigh(wire, None)).collect()
}

/// For each presentation how likely it is one of those that suffer; `None`
/// where the wire state is impossible.
pub(crate) fn suffering(question: &Question<'_>, wire: Wire) -> Option<Vec<f64>> {
    let states = States::new(question);
    let sum = |suffers| states.weigh(wire, suffers).values().sum::<f64>();
    let all = sum(None);
    (all > 0.0).then(|| (0..question.shown.len()).map(|at| sum(Some(at)) / all).collect())
}

/// What every wire state needs of a question.
pub(super) struct States<'a> {
    pub(super) question: &'a Question<'a>,
    /// Those presentations that are not empty, and which those are.
    pub(super) reads: Vec<&'a Shown>,
    pub(super) places: Vec<usize>,
    pub(super) cards: Vec<(CardState, f64)>,
    pub(super) whose: Vec<(Whose, f64)>,
    pub(super) layouts: Vec<Frames<'a>>,
    /// How likely each read is of each frame with nothing wrong, by layout.
    pub(super) sound: Vec<Table>,
}

/// How likely each unit is of each frame: by what holds for the case, then by
/// unit, then by frame. A unit is a read; of frames that are split, a pair.
pub(super) type Table = Vec<Vec<Vec<f64>>>;

impl<'a> States<'a> {
    pub(super) fn new(question: &'a Question<'a>) -> Self {
        let (reads, places) = question.reads();
        let cards = match reads.iter().any(|read| !read.expected.is_empty()) {
            true => CardState::ALL.into_iter().zip(question.model.cards).collect(),
            false => vec![(CardState::AsExpected, 1.0)],
        };
        let frames = |&(little, prior)| Frames::new(little, prior, &reads);
        let layouts = question.layouts.iter().map(frames).collect();
        let whose = question.whose();
        let mut states =
            States { question, reads, places, cards, whose, layouts, sound: Vec::new() };
        states.sound = states.tables(Wire::Alone(Cause::None));
        states
    }

    /// The weights of this wire state; where a presentation is named, only with
    /// it among those that suffer.
    fn weigh(&self, wire: Wire, suffers: Option<usize>) -> BTreeMap<Key, f64> {
        let mut weights = BTreeMap::new();
        let reads = self.reads.len();
        let is_asked = !comes_and_goes(wire) || self.question.shown.len() >= 2;
        let is_split = wire.cause() == Cause::FrameSplit;
        if !is_asked || is_split && !reads.is_multiple_of(2) {
            return weights;
        }
        let prior = self.question.prior(wire);
        if let Wire::Alone(cause @ (Cause::UnknownLayout | Cause::RandomBits)) = wire {
            for &(whose, weight) in &self.whose {
                let likelihood = self.empties(None) * self.without_layout(cause, whose);
                weights.insert((wire, None, Of::Nothing, whose), prior * weight * likelihood);
            }
            return weights;
        }
        let tables = self.tables(wire);
        for &(whose, weight) in &self.whose {
            for &(card, card_prior) in &self.cards {
                for (at, (_, _, share)) in
                    DRAWS.iter().enumerate().filter(|(_, (_, of, _))| *of == card)
                {
                    let mut tell = |of: Of, likelihood: f64| {
                        let weight = prior * weight * card_prior * share * likelihood;
                        *weights.entry((wire, Some(card), of, whose)).or_insert(0.0) += weight;
                    };
                    let mix = Mix { states: self, wire, suffers, tables: &tables };
                    let behind = self.layouts.iter().map(|layout| &layout.behind[at]);
                    let among: Vec<&[Among]> = behind
                        .map(|behind| if is_split { &behind.pair[..] } else { &behind.read })
                        .collect();
                    if whose == Whose::MixedCards {
                        tell(Of::Mixed, mix.mixed_cards(&among));
                        continue;
                    }
                    for (number, layout) in self.layouts.iter().enumerate() {
                        let likelihood = match whose {
                            _ if !layout.fits => 0.0,
                            Whose::OneCard if !self.is_within(wire.cause(), layout.little) => 0.0,
                            Whose::OneCard => mix.one_card(number, &layout.behind[at].one),
                            _ => mix.own_cards(number, among[number]),
                        };
                        tell(Of::Layout(number), layout.prior * likelihood);
                    }
                }
            }
        }
        weights
    }

    /// How likely as many presentations are empty and the others not; where a
    /// share of them comes missing, of this share.
    pub(super) fn empties(&self, missing: Option<f64>) -> f64 {
        let empty = self.question.model.empty;
        let there = 1.0 - missing.unwrap_or(0.0);
        let nothing = missing.unwrap_or(0.0) + there * empty;
        nothing.powi(self.empty_count()) * (there * (1.0 - empty)).powi(self.reads.len() as i32)
    }

    fn empty_count(&self) -> i32 {
        (self.question.shown.len() - self.reads.len()) as i32
    }

    fn without_layout(&self, cause: Cause, whose: Whose) -> f64 {
        let found: f64 = self.reads.iter().map(|read| self.findings(cause, read)).product();
        let reads: Vec<&Read> = self.reads.iter().map(|read| &read.bits).collect();
        let model = self.question.model;
        found
            * match (cause, whose) {
                (Cause::UnknownLayout, Whose::OneCard) => {
                    unlisted::one_card(&reads, &self.candidates(), model)
                }
                (Cause::UnknownLayout, Whose::OwnCards) => {
                    unlisted::own_cards(&reads, &self.candidates(), model)
                }
                _ => reads.iter().map(|read| self.frameless(cause, read)).product(),
            }
    }

    /// A read by itself that came of no frame of a candidate.
    fn frameless(&self, cause: Cause, read: &Read) -> f64 {
        match cause {
            Cause::UnknownLayout => unlisted::alone(read, &self.candidates(), self.question.model),
            _ => 0.5f64.powi(read.iter().flatten().count() as i32) / 512.0,
        }
    }

    fn candidates(&self) -> Vec<&Little> {
        self.question.layouts.iter().map(|&(little, _)| little).collect()
    }

    /// What was found in a read's pulses, and what was looked for and was not.
    fn findings(&self, cause: Cause, read: &Shown) -> f64 {
        let pulses = &read.pulses;
        let looked_for = [
            pulses.lines_overlap,
            pulses.short_pulse[0],
            pulses.short_pulse[1],
            pulses.double_pulse[0],
            pulses.double_pulse[1],
            pulses.missing_beat,
        ];
        let rates = self.question.model.findings.iter().map(|by_cause| by_cause[cause.index()]);
        let of = |(looked_for, rate): (Option<bool>, f64)| match looked_for {
            None => 1.0,
            Some(true) => rate,
            Some(false) => 1.0 - rate,
        };
        looked_for.into_iter().zip(rates).map(of).product()
    }

    /// Under one card: whether the cause is asked of the layout at all.
    pub(super) fn is_within(&self, cause: Cause, little: &Little) -> bool {
        use Cause::*;
        match cause {
            BitsChanged => self.reads.len() <= 6,
            D0Open | D1Open | D0Weak | D1Weak | BothWeak | D0Noise | D1Noise | BothNoise
            | D0Ringing | D1Ringing | BothRinging | Crosstalk => {
                let of =
                    |read: &&Shown| read.bits.len().min(little.bits.abs_diff(read.bits.len())) + 1;
                self.reads.iter().map(of).product::<usize>() <= 10_000
            }
            _ => true,
        }
    }

    /// A table a layout, of presentations that suffer.
    pub(super) fn tables(&self, wire: Wire) -> Vec<Table> {
        if wire == Wire::ReadsMissing {
            return Vec::new();
        }
        self.layouts.iter().map(|layout| self.table(layout, wire)).collect()
    }

    fn table(&self, layout: &Frames<'_>, wire: Wire) -> Table {
        let swapped = matches!(wire, Wire::Swapped(_));
        let cause = wire.cause();
        let sent = |read: &Shown, way: usize| -> Vec<Sent> {
            let found = self.findings(cause, read);
            if matches!(cause, Cause::UnknownLayout | Cause::RandomBits) {
                let sent = Sent::surely(found * self.frameless(cause, &read.bits));
                return vec![sent; layout.frames.len()];
            }
            let through = Through { swapped, cause, way };
            let of = |frame| through.sent(layout.little, frame, &read.bits).times(found);
            layout.frames.iter().map(of).collect()
        };
        let at = |sent: &[Sent], rate: f64| sent.iter().map(|sent| sent.at(rate)).collect();
        match cause {
            Cause::FrameSplit => {
                let pair_of = |pair: &[&Shown]| -> Vec<f64> {
                    let found: f64 = pair.iter().map(|read| self.findings(cause, read)).product();
                    let through = Through { swapped, cause, way: 0 };
                    let split = |frame| through.split(frame, &pair[0].bits, &pair[1].bits);
                    layout.frames.iter().map(|frame| found * split(frame)).collect()
                };
                vec![self.reads.chunks(2).map(pair_of).collect()]
            }
            Cause::LinesShorted | Cause::Padded => {
                let of = |way| self.reads.iter().map(|read| at(&sent(read, way), 0.0)).collect();
                (0..4).map(of).collect()
            }
            _ => {
                let sent: Vec<_> = self.reads.iter().map(|read| sent(read, 0)).collect();
                let of = |&rate| sent.iter().map(|sent| at(sent, rate)).collect();
                self.rates(cause).iter().map(of).collect()
            }
        }
    }

    /// At which rates it may happen, each as likely as the other.
    fn rates(&self, cause: Cause) -> &'a [f64] {
        use Cause::*;
        let rates = &self.question.model.rates;
        match cause {
            D0Weak | D1Weak | BothWeak => &rates.weak,
            D0Noise | D1Noise | BothNoise => &rates.noise,
            D0Ringing | D1Ringing | BothRinging => &rates.ringing,
            Crosstalk => &rates.crosstalk,
            _ => &[0.0],
        }
    }
}

/// Whether it holds of some presentations and not of others.
pub(super) fn comes_and_goes(wire: Wire) -> bool {
    matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing)
}
