//! The machine-readable answers of `misread layout audit`, `misread layout
//! clash` and `misread numbers`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::json::Fields;

/// What `misread layout audit` answers, once a layout.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutAudit {
    #[schemars(extend("const" = LayoutAudit::SCHEMA))]
    pub(crate) schema: &'static str,
    pub(crate) layout: String,
    /// How many bits a frame has.
    pub(crate) bits: usize,
    /// How many checks are independent of one another.
    pub(crate) independent_checks: usize,
    /// The share of random reads of this length that pass parity and fixed
    /// bits.
    pub(crate) random_accept: f64,
    /// Entry w, as decimal text, is how many patterns of w wrong bits pass; w
    /// from 0 to `bits`.
    pub(crate) undetected_by_weight: Vec<String>,
    /// The causes that can keep the length of a frame.
    pub(crate) causes: Vec<CauseShare>,
    /// The positions that no check covers, from 1.
    pub(crate) uncovered: Vec<usize>,
    /// Other layouts that its frames can be taken for, best first.
    pub(crate) taken_for: Vec<TakenFor>,
    /// What to make of it, the weightiest sentence first.
    pub(crate) advice: Vec<String>,
}

impl LayoutAudit {
    pub(crate) const SCHEMA: &str = "misread/layout-audit/1";
}

/// What a cause does to the layout's own frames.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct CauseShare {
    pub(crate) cause: String,
    /// The share of the layout's own frames that still pass.
    pub(crate) undetected: f64,
}

/// Another layout that the frames can be taken for.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct TakenFor {
    pub(crate) layout: String,
    /// `none` for whole frames, `both-weak` for exactly one pulse lost,
    /// `both-noise` for exactly one extra pulse.
    pub(crate) cause: String,
    /// The share of the layout's own frames.
    pub(crate) share: f64,
}

/// What `misread layout clash` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutClash {
    #[schemars(extend("const" = LayoutClash::SCHEMA))]
    pub(crate) schema: &'static str,
    /// How many cards were read.
    pub(crate) cards: usize,
    /// How the panel reads them: `whole`, `no-facility`, `low-16`, `digits-5`,
    /// a layout, or a layout and one of these.
    pub(crate) setting: String,
    /// Cards that open as each other.
    pub(crate) groups: Vec<Group>,
    /// The same card enrolled more than once, by line.
    pub(crate) duplicates: Vec<Vec<u32>>,
    /// The lines of cards that do not open at all, since the panel's layout
    /// does not fit them.
    pub(crate) unseen: Vec<u32>,
    /// What each setting the panel offers would do.
    pub(crate) offers: Vec<Offer>,
    /// The safe setting that keeps the most; null where none is safe.
    pub(crate) largest_safe: Option<String>,
    /// Columns of the table that are no field.
    pub(crate) passed_over: Vec<String>,
}

impl LayoutClash {
    pub(crate) const SCHEMA: &str = "misread/layout-clash/1";
}

/// Cards that open as each other.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Group {
    /// What the panel sees of each: its fields, or one `number`.
    pub(crate) seen_as: Fields,
    pub(crate) cards: Vec<Card>,
}

/// An enrolled card.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Card {
    /// The line of the table.
    pub(crate) line: u32,
    pub(crate) layout: String,
    pub(crate) fields: Fields,
}

/// A setting that the panel offers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Offer {
    pub(crate) setting: String,
    /// How many bits of a card it keeps, of the layout where it keeps the
    /// fewest.
    pub(crate) kept_bits: f64,
    /// How many groups of cards would open as each other.
    pub(crate) groups: usize,
    /// How many cards are in these groups.
    pub(crate) clashing: usize,
    /// How many cards would not open at all.
    pub(crate) unseen: usize,
    /// Whether every card opens, and none as another.
    pub(crate) safe: bool,
}

/// What `misread numbers` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Numbers {
    #[schemars(extend("const" = Numbers::SCHEMA))]
    pub(crate) schema: &'static str,
    /// What is printed on the card; null where there are several pairs.
    pub(crate) printed: Option<String>,
    /// What the panel shows of it; null where there are several pairs.
    pub(crate) shown: Option<String>,
    /// Every pair.
    pub(crate) pairs: Vec<NumberPair>,
    /// The chains of steps that explain every pair, best first; empty where
    /// none does.
    pub(crate) paths: Vec<NumberPath>,
    /// What was tried.
    pub(crate) searched: Searched,
    /// What it takes to leave one chain with 99 %; null where there is none.
    pub(crate) further: Option<NumberFurther>,
}

impl Numbers {
    pub(crate) const SCHEMA: &str = "misread/numbers/1";
}

/// A card and what the panel shows of it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct NumberPair {
    pub(crate) printed: String,
    pub(crate) shown: String,
}

/// A chain of steps.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct NumberPath {
    /// The ids of the steps; none where the number is shown as printed.
    pub(crate) steps: Vec<String>,
    /// The chain in words.
    pub(crate) says: String,
    /// Its weight; those of all chains sum to 1.
    pub(crate) weight: f64,
    /// How many other chains came to the same on every number tried; their
    /// weight is counted in.
    pub(crate) alike: usize,
}

/// How far the search went: every chain of so many steps.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Searched {
    /// How many chains were tried.
    pub(crate) chains: u64,
    /// The most steps of a chain.
    pub(crate) most_steps: usize,
    /// The layouts whose frames were tried.
    pub(crate) layouts: Vec<String>,
    /// Layouts that were not.
    pub(crate) layouts_left_out: Vec<String>,
    /// For one pair, the share of unrelated numbers as long as the one shown
    /// that some chain would lead to by luck; null for several pairs.
    pub(crate) by_luck: Option<f64>,
    /// How many chains explain the pairs too, but were too many to list.
    pub(crate) chains_left_out: usize,
}

/// What it takes to leave one chain with 99 %.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct NumberFurther {
    /// The smallest number of further pairs.
    pub(crate) pairs: usize,
    /// Printed numbers of such pairs.
    pub(crate) examples: Vec<String>,
    /// The share of numbers tried that would do it alone.
    pub(crate) any: f64,
}
