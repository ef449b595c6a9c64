//! What is asked: the reads, the expected cards, the candidate layouts.

use std::collections::BTreeMap;
use std::sync::Arc;

use misread_core::pulse::Evidence;
use misread_core::{Bits, Layout};

use crate::cause::ProbeAt;

/// The values a presented card is said to carry, by field; empty where nothing
/// is said.
pub type Expected = BTreeMap<String, u64>;

/// The field that [`CardState::FacilityDiffers`](crate::cause::CardState::FacilityDiffers) and [`CardState::CardDiffers`](crate::cause::CardState::CardDiffers)
/// set apart from the others.
pub const FACILITY: &str = "facility";

/// A read as received, and the card it should have been.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseRead {
    /// The bits; none where a card was presented and nothing arrived.
    pub bits: Bits,
    /// The values the presented card is said to carry.
    pub expected: Expected,
    /// What its pulses say, in a capture; else nothing was looked for.
    pub pulses: Evidence,
}

/// Bits of which nothing more is known.
impl From<Bits> for CaseRead {
    fn from(bits: Bits) -> Self {
        CaseRead { bits, expected: Expected::new(), pulses: Evidence::default() }
    }
}

/// What the user says of whose cards were presented.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Presented {
    /// Nothing: one card and several are both weighed.
    #[default]
    Unsaid,
    /// One card, every time.
    One,
    /// A card of its own each time.
    Several,
}

/// One or more presentations at one reader, all suffering the same one wire
/// state at the same rate.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Case {
    /// The reads, in the order received; an empty one is a card that gave
    /// nothing.
    pub reads: Vec<CaseRead>,
    /// Where the reads were captured, if they come from a capture of the lines.
    pub captured: Option<ProbeAt>,
    /// Whose cards they are, where the user says so.
    pub presented: Presented,
}

impl Case {
    /// Reads of which nothing is expected.
    pub fn of(reads: impl IntoIterator<Item = Bits>) -> Self {
        Case { reads: reads.into_iter().map(CaseRead::from).collect(), ..Case::default() }
    }

    /// The same values expected of every read.
    pub fn expecting<'a>(mut self, values: impl IntoIterator<Item = (&'a str, u64)>) -> Self {
        let expected: Expected =
            values.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        for read in &mut self.reads {
            read.expected.clone_from(&expected);
        }
        self
    }
}

/// The layouts the card may use.
#[derive(Clone, Debug)]
pub struct Candidates {
    layouts: Vec<Arc<Layout>>,
    weights: Vec<f64>,
    configured: Option<usize>,
}

impl Candidates {
    /// Layouts with their weights, in the order in which ties are settled.
    /// Weights are relative; one that is negative or not finite counts as 0.
    pub fn weighted(layouts: impl IntoIterator<Item = (Arc<Layout>, f64)>) -> Self {
        let (layouts, weights) = layouts
            .into_iter()
            .map(|(layout, weight)| {
                (layout, if weight.is_finite() { weight.max(0.0) } else { 0.0 })
            })
            .unzip();
        Candidates { layouts, weights, configured: None }
    }

    /// The layout at `index` is what the panel is set to.
    pub fn configured(mut self, index: usize) -> Self {
        self.configured = Some(index).filter(|&index| index < self.layouts.len());
        self
    }

    /// The layouts.
    pub fn layouts(&self) -> &[Arc<Layout>] {
        &self.layouts
    }

    /// Which of them the panel is set to.
    pub fn configured_index(&self) -> Option<usize> {
        self.configured
    }

    /// The prior of each, given that of the configured one.
    pub fn priors(&self, configured: f64) -> Vec<f64> {
        let n = self.layouts.len();
        match self.configured {
            Some(_) if n == 1 => vec![1.0],
            Some(at) => {
                let other = (1.0 - configured) / (n - 1) as f64;
                (0..n).map(|i| if i == at { configured } else { other }).collect()
            }
            None => {
                let sum: f64 = self.weights.iter().sum();
                self.weights.iter().map(|w| if sum > 0.0 { w / sum } else { 0.0 }).collect()
            }
        }
    }
}

/// Whether a layout can carry these values at all.
pub(crate) fn fits(layout: &Layout, expected: &Expected) -> bool {
    expected.iter().all(|(name, &number)| {
        layout.field(name).is_some_and(|field| field.to_raw(number).is_some())
    })
}
