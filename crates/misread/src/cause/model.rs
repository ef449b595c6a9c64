//! The numbers of the fault model: priors, rates, outcome tables.

use misread_core::bits::MAX_BITS as LONGEST_READ;
use misread_core::pulse::Evidence;

use super::mends::{SITE_MENDS, UNMENDED_MINUTES};
use super::site_tests::{CAPTURE, SITE_TESTS};
use super::table::{Mend, TestTable};
use super::{CardState, Cause, Sought, Whose, Wire};

/// The priors and rates the diagnosis works with.
///
/// The defaults are judgement (from memory, common practice, no source); the
/// arithmetic on them is exact.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The prior of each cause, in the order of [`Cause::ALL`]; they sum to 1.
    pub causes: [f64; Cause::ALL.len()],
    /// The prior of each card state, in the order of [`CardState::ALL`]; they
    /// sum to 1. Where no card is expected they are not used.
    pub cards: [f64; CardState::ALL.len()],
    /// κ: by how much two faults at once are likelier than their priors'
    /// product, since one mistake leads to another.
    pub two_at_once: f64,
    /// By what a cause's prior is multiplied for its coming at times.
    pub at_times: f64,
    /// The prior of [`Wire::ReadsMissing`].
    pub reads_missing: f64,
    /// ε: how likely a presentation gives nothing whatever is wrong; from 0 to
    /// under 1.
    pub empty: f64,
    /// Which share of the presentations may suffer what comes at times, each
    /// equally likely; over 0, under 1.
    pub shares: Vec<f64>,
    /// How long the frames of layouts are that nobody listed.
    pub unlisted: UnlistedLengths,
    /// Whose cards the reads are of, where that is asked.
    pub presented: WhoseWeights,
    /// The prior of the layout the panel is set to, where other candidates
    /// stand beside it; those share the rest equally. Between 0 and 1.
    pub configured: f64,
    /// At which rates things happen, each equally likely.
    pub rates: Rates,
    /// How likely each finding in a capture is, in a read in which it is looked
    /// for: by [`Sought::ALL`], then by [`Cause::ALL`]; from 0 to 1.
    pub findings: [[f64; Cause::ALL.len()]; Sought::ALL.len()],
    /// What it changes that the reads come from a capture.
    pub probe: ProbeFactors,
    /// The tests an installer can do, with their outcome tables.
    pub tests: Vec<TestTable>,
    /// What an installer can do to mend a fault.
    pub mends: Vec<Mend>,
    /// How long it takes where no mend helps, in minutes; over 0.
    pub unmended_minutes: f64,
}

/// λ: how likely a length is of a layout that is not among the candidates. The
/// three parts sum to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnlistedLengths {
    /// 32 to 40 bits, the usual strangers.
    pub usual: f64,
    /// 20 to 64 bits.
    pub near: f64,
    /// 1 to 512 bits.
    pub any: f64,
}

impl UnlistedLengths {
    /// λ(M), where no candidate layout has `bits` bits; a tenth of it where one
    /// has.
    pub fn weight(&self, bits: usize, is_listed: bool) -> f64 {
        let part = |share: f64, from: usize, to: usize| {
            if (from..=to).contains(&bits) { share / (to - from + 1) as f64 } else { 0.0 }
        };
        let all =
            part(self.usual, 32, 40) + part(self.near, 20, 64) + part(self.any, 1, LONGEST_READ);
        if is_listed { all / 10.0 } else { all }
    }
}

/// The weight of each of [`Whose::ALL`]; those asked are scaled to sum to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WhoseWeights(pub [f64; Whose::ALL.len()]);

/// Where a capture of the lines was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ProbeAt {
    /// At the panel's terminals.
    Panel,
    /// At the reader's conductors.
    Reader,
}

/// By how much a capture makes a cause less likely beforehand; 0 or more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProbeFactors {
    /// [`Cause::BitsInverted`]: the lines themselves were read, so no other
    /// software can have turned the bits over.
    pub bits_inverted: f64,
    /// [`Cause::Padded`]: nothing else handed the bits on.
    pub padded: f64,
    /// [`Cause::LinesSwapped`], in a capture at the reader's conductors, which
    /// cannot show a fault between there and the panel.
    pub lines_swapped_at_reader: f64,
}

/// At which rates things happen that happen now and then; each of a list is
/// equally likely, and one holds for all reads of a case. Over 0, at most 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Rates {
    /// A pulse on a weak line is lost.
    pub weak: Vec<f64>,
    /// An extra pulse appears in a gap.
    pub noise: Vec<f64>,
    /// A pulse on a ringing line is counted twice.
    pub ringing: Vec<f64>,
    /// A pulse is followed by one on the other line.
    pub crosstalk: Vec<f64>,
}

impl Default for Model {
    fn default() -> Self {
        Model {
            causes: Cause::ALL.map(|cause| super::catalogue::info(cause).prior),
            cards: [0.950, 0.025, 0.015, 0.010],
            two_at_once: 0.25,
            at_times: 0.04,
            reads_missing: 0.01,
            empty: 0.05,
            shares: vec![0.1, 0.3, 0.7],
            unlisted: UnlistedLengths { usual: 0.6, near: 0.3, any: 0.1 },
            presented: WhoseWeights([0.45, 0.45, 0.10]),
            configured: 0.9,
            rates: Rates {
                weak: vec![0.05, 0.15, 0.3, 0.5, 0.7],
                noise: vec![0.02, 0.05, 0.1, 0.2],
                ringing: vec![0.2, 0.5, 0.8, 1.0],
                crosstalk: vec![0.1, 0.3, 0.6, 1.0],
            },
            findings: Sought::ALL.map(|sought| Cause::ALL.map(|cause| sought.usual(cause))),
            probe: ProbeFactors {
                bits_inverted: 0.02,
                padded: 0.02,
                lines_swapped_at_reader: 0.02,
            },
            tests: SITE_TESTS.iter().map(TestTable::of).collect(),
            mends: SITE_MENDS.iter().map(Mend::of).collect(),
            unmended_minutes: UNMENDED_MINUTES,
        }
    }
}

impl Model {
    /// The rates of a cause; empty for one that happens or does not.
    pub fn rates(&self, cause: Cause) -> &[f64] {
        match cause {
            Cause::D0Open | Cause::D1Open => &[1.0],
            Cause::D0Weak | Cause::D1Weak | Cause::BothWeak => &self.rates.weak,
            Cause::D0Noise | Cause::D1Noise | Cause::BothNoise => &self.rates.noise,
            Cause::D0Ringing | Cause::D1Ringing | Cause::BothRinging => &self.rates.ringing,
            Cause::Crosstalk => &self.rates.crosstalk,
            _ => &[],
        }
    }

    /// The prior of a cause.
    pub fn prior(&self, cause: Cause) -> f64 {
        self.causes[cause.index()]
    }

    /// The prior of a wire state. Those of two at once, at times and
    /// [`Wire::ReadsMissing`] come on top of those of the causes, which sum to
    /// 1.
    pub fn wire_prior(&self, wire: Wire) -> f64 {
        match wire {
            Wire::Alone(cause) => self.prior(cause),
            Wire::Swapped(cause) => {
                self.two_at_once * self.prior(Cause::LinesSwapped) * self.prior(cause)
            }
            Wire::AtTimes(cause) => self.at_times * self.prior(cause),
            Wire::ReadsMissing => self.reads_missing,
        }
    }

    /// The prior of a card state.
    pub fn card_prior(&self, state: CardState) -> f64 {
        self.cards[state.index()]
    }

    /// How likely a finding is in a read in which it is looked for.
    pub fn finding(&self, sought: Sought, cause: Cause) -> f64 {
        self.findings[sought.index()][cause.index()]
    }

    /// The logarithm of the probability of what was found, and of what was
    /// looked for and not found, in one read; 0 where nothing was looked for.
    pub fn ln_findings(&self, cause: Cause, evidence: &Evidence) -> f64 {
        Sought::ALL.into_iter().map(|sought| self.ln_finding(sought, cause, evidence)).sum()
    }

    pub(crate) fn ln_finding(&self, sought: Sought, cause: Cause, evidence: &Evidence) -> f64 {
        match sought.found_in(evidence) {
            None => 0.0,
            Some(true) => libm::log(self.finding(sought, cause)),
            Some(false) => libm::log(1.0 - self.finding(sought, cause)),
        }
    }

    /// The model for reads captured there: what the capture makes less likely
    /// beforehand, and without the test that has been done by it.
    pub fn captured(&self, at: ProbeAt) -> Model {
        let ProbeFactors { bits_inverted, padded, lines_swapped_at_reader } = self.probe;
        let mut factors = vec![(Cause::BitsInverted, bits_inverted), (Cause::Padded, padded)];
        match at {
            ProbeAt::Panel => {}
            ProbeAt::Reader => factors.push((Cause::LinesSwapped, lines_swapped_at_reader)),
        }
        let mut model = self.scaled(&factors);
        if at == ProbeAt::Panel {
            model.tests.retain(|test| test.id != CAPTURE);
        }
        model
    }

    /// The same model with some priors multiplied, scaled to sum to 1 again.
    /// This is how what is known of where the reads came from enters; factors
    /// that are negative, not finite, or leave nothing are passed over.
    pub fn scaled(&self, factors: &[(Cause, f64)]) -> Model {
        let mut causes = self.causes;
        for &(cause, factor) in factors {
            if factor.is_finite() && factor >= 0.0 {
                causes[cause.index()] *= factor;
            }
        }
        let sum: f64 = causes.iter().sum();
        if sum.is_nan() || sum <= 0.0 {
            return self.clone();
        }
        Model { causes: causes.map(|prior| prior / sum), ..self.clone() }
    }
}
