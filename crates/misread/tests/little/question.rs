//! What is asked of a case: the wire states, whose cards, and the priors.

use misread::cause::{Cause, Model, ProbeAt, Whose, Wire};
use misread::pulse::Evidence;

use super::{Known, Little, Read};

/// What is asked.
#[derive(Clone)]
pub(crate) struct Question<'a> {
    /// The candidates, with the prior of each.
    pub(crate) layouts: Vec<(&'a Little, f64)>,
    /// The presentations.
    pub(crate) shown: Vec<Shown>,
    pub(crate) said: Said,
    pub(crate) captured: Option<ProbeAt>,
    pub(crate) model: &'a Model,
}

/// A card held to the reader; where nothing came there are no bits.
#[derive(Clone, Debug)]
pub(crate) struct Shown {
    pub(crate) bits: Read,
    pub(crate) expected: Known,
    pub(crate) pulses: Evidence,
}

/// What the user says of whose cards they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Said {
    Nothing,
    OneCard,
    Several,
}

/// Every wire state.
pub(crate) fn wires() -> Vec<Wire> {
    use Cause::*;
    let with = |make: fn(Cause) -> Wire, not: &[Cause]| -> Vec<Wire> {
        Cause::ALL.into_iter().filter(|cause| !not.contains(cause)).map(make).collect()
    };
    [
        with(Wire::Alone, &[]),
        with(
            Wire::Swapped,
            &[None, LinesSwapped, BitsInverted, LinesShorted, UnknownLayout, RandomBits],
        ),
        with(
            Wire::AtTimes,
            &[None, BitsInverted, BitOrderReversed, BytesReversed, Padded, FrameSplit],
        ),
        vec![Wire::ReadsMissing],
    ]
    .concat()
}

impl Question<'_> {
    /// The prior of a wire state.
    pub(crate) fn prior(&self, wire: Wire) -> f64 {
        let causes = self.causes();
        let of = |cause: Cause| causes[cause.index()];
        match wire {
            Wire::Alone(cause) => of(cause),
            Wire::Swapped(cause) => self.model.two_at_once * of(Cause::LinesSwapped) * of(cause),
            Wire::AtTimes(cause) => self.model.at_times * of(cause),
            Wire::ReadsMissing => self.model.reads_missing,
        }
    }

    /// The priors of the causes; where the lines were captured some are less
    /// likely, and all are scaled to sum to 1 again.
    fn causes(&self) -> [f64; Cause::ALL.len()] {
        let mut causes = self.model.causes;
        let Some(at) = self.captured else { return causes };
        causes[Cause::BitsInverted.index()] *= self.model.probe.bits_inverted;
        causes[Cause::Padded.index()] *= self.model.probe.padded;
        if at == ProbeAt::Reader {
            causes[Cause::LinesSwapped.index()] *= self.model.probe.lines_swapped_at_reader;
        }
        let sum: f64 = causes.iter().sum();
        causes.map(|prior| prior / sum)
    }

    /// The presentations that are not empty, and which those are.
    pub(crate) fn reads(&self) -> (Vec<&Shown>, Vec<usize>) {
        let all = self.shown.iter().enumerate();
        all.filter(|(_, shown)| !shown.bits.is_empty()).map(|(at, shown)| (shown, at)).unzip()
    }

    /// Whether two reads are given different expected cards.
    pub(crate) fn cards_differ(&self) -> bool {
        let (reads, _) = self.reads();
        let mut lists = reads.iter().map(|read| &read.expected).filter(|list| !list.is_empty());
        lists.next().is_some_and(|first| lists.any(|other| other != first))
    }

    /// Whether a candidate fits everything that is expected.
    pub(crate) fn fits(&self) -> bool {
        let (reads, _) = self.reads();
        let fits = |little: &Little| reads.iter().all(|read| little.fits(&read.expected));
        self.layouts.iter().any(|(little, _)| fits(little))
    }

    /// Whose cards are asked about, with weights that sum to 1.
    pub(crate) fn whose(&self) -> Vec<(Whose, f64)> {
        if self.reads().0.len() < 2 {
            return vec![(Whose::OwnCards, 1.0)];
        }
        let is_asked = |whose| {
            let said = match self.said {
                Said::Nothing => true,
                Said::OneCard => whose == Whose::OneCard,
                Said::Several => whose != Whose::OneCard,
            };
            said && match whose {
                Whose::OneCard => !self.cards_differ(),
                Whose::OwnCards => true,
                Whose::MixedCards => self.layouts.len() > 1,
            }
        };
        let weights = Whose::ALL.into_iter().zip(self.model.presented.0);
        let asked: Vec<(Whose, f64)> = weights.filter(|&(whose, _)| is_asked(whose)).collect();
        let sum: f64 = asked.iter().map(|(_, weight)| weight).sum();
        asked.into_iter().map(|(whose, weight)| (whose, weight / sum)).collect()
    }
}
