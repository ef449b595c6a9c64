//! The machine-readable answer of `misread layout learn`.

use misread::file::LayoutDoc;
use schemars::JsonSchema;
use serde::Serialize;

use crate::json::Fields;

/// What `misread layout learn` answers, once for each length of reads.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutLearn {
    #[schemars(extend("const" = LayoutLearn::SCHEMA))]
    pub(crate) schema: &'static str,
    /// How many samples took part.
    pub(crate) samples: usize,
    /// How many bits the reads have.
    pub(crate) length: usize,
    /// The likeliest layouts, best first; their weights sum to 1.
    pub(crate) candidates: Vec<LearnCandidate>,
    /// What is settled, a sentence each.
    pub(crate) settled: Vec<String>,
    /// What is open.
    pub(crate) open: Vec<LearnOpen>,
    /// Samples that take no part.
    pub(crate) set_aside: Vec<LearnAside>,
    /// The share of everything possible that the listed candidates have
    /// together.
    pub(crate) listed: f64,
    /// How the reads were most likely taken; the layouts are given as they
    /// should be.
    pub(crate) taken: Taken,
    /// The card that would settle most; null where none would.
    pub(crate) next: Option<LearnNext>,
    /// The file the layout was written to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) written: Option<String>,
}

impl LayoutLearn {
    pub(crate) const SCHEMA: &str = "misread/layout-learn/1";
}

/// How reads are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Taken {
    AsReceived,
    Inverted,
    Reversed,
    InvertedReversed,
}

/// A layout the samples allow.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LearnCandidate {
    pub(crate) layout: LayoutDoc,
    /// Its share of the candidates listed.
    pub(crate) weight: f64,
    /// What is added to a field to give the number on the card, as decimal
    /// text; fields to which nothing is added are left out.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) added: Vec<LearnAdded>,
}

/// A constant between a field and the number on the card.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LearnAdded {
    pub(crate) field: String,
    pub(crate) constant: String,
}

/// Something open.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LearnOpen {
    /// What is not known, and what is known of it.
    pub(crate) question: String,
    /// The card that would tell best; null where none would.
    pub(crate) next_sample: Option<LearnNext>,
    /// Whether the numbers decoded depend on it.
    pub(crate) decoding: bool,
    /// The bits it is about, from 1.
    pub(crate) bits: Vec<usize>,
}

/// A card to present.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LearnNext {
    /// The numbers on it.
    pub(crate) card: Fields,
    /// How many bits of doubt it is expected to remove.
    pub(crate) gain_bits: f64,
}

/// A sample that takes no part.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LearnAside {
    /// Its line.
    pub(crate) line: u64,
    /// Why, in one sentence.
    pub(crate) says: String,
}
