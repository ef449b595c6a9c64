//! The machine-readable answer of `misread simulate`, and the truth it writes
//! beside a capture.

use schemars::JsonSchema;
use serde::Serialize;

use crate::json::Fields;

/// What `misread simulate` answers: what was made, and the truth about it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Simulate {
    #[schemars(extend("const" = Simulate::SCHEMA))]
    pub(crate) schema: &'static str,
    /// Where the reads were written; null where they were not.
    pub(crate) file: Option<String>,
    /// Where the truth was written; null where it was not.
    pub(crate) truth: Option<String>,
    /// The seed they were drawn with.
    pub(crate) seed: u64,
    /// The id of the wire state: a cause's, `lines-swapped+ID`, `ID-at-times` or
    /// `reads-missing`.
    pub(crate) cause: String,
    /// At which rate it happens, for a cause with a rate.
    pub(crate) rate: Option<f64>,
    /// How likely each presentation is to suffer it, 0 to 1, for what comes and
    /// goes.
    pub(crate) share: Option<f64>,
    /// What a receiver takes each bit for where the lines touch: `0`, `1`, `01`
    /// or `10`.
    pub(crate) taken_for: Option<String>,
    /// How each frame is filled up, for `padded`.
    pub(crate) padding: Option<Padding>,
    /// The state of the card, where the cause was drawn with it; null where it
    /// says nothing of it.
    pub(crate) card: Option<String>,
    /// Whose cards were presented, where that was drawn: `one-card`, `own-cards`
    /// or `mixed-cards`.
    pub(crate) presented: Option<String>,
    /// The layout of all cards; null where each has its own, and where the bits
    /// came from none.
    pub(crate) layout: Option<String>,
    /// What the card is said to carry; null where nothing is said.
    pub(crate) expected: Option<Fields>,
    /// The keys of a keypad; null for a card.
    pub(crate) keys: Option<Keys>,
    /// The frame of each presented card or key, in order; none where the bits
    /// came from no frame.
    pub(crate) frames: Vec<Frame>,
    /// What arrived of each presentation, in order; two reads of a frame that is
    /// split.
    pub(crate) reads: Vec<Read>,
}

/// How a frame is filled up with 0s.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Padding {
    /// `start` or `end`.
    pub(crate) at: String,
    /// Up to a multiple of so many bits: 8 or 32.
    pub(crate) to: usize,
}

impl Simulate {
    pub(crate) const SCHEMA: &str = "misread/simulate/1";
}

/// Keys as digits, `*` and `#`; • for hidden.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Keys {
    /// Those that are said to have been pressed.
    pub(crate) said: String,
    /// Those that were pressed; null where the bits came from none.
    pub(crate) pressed: Option<String>,
}

/// The frame of a card.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Frame {
    /// Its layout.
    pub(crate) layout: String,
    pub(crate) bits: String,
    /// Empty for a key where numbers are masked.
    pub(crate) fields: Fields,
}

/// A read as it arrived.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Read {
    /// 0 and 1, • for hidden; empty where no pulse arrived, which is silence in a
    /// capture.
    pub(crate) bits: String,
    pub(crate) length: usize,
    /// Which frame it came from, counted from 1; null where it came from
    /// none.
    pub(crate) frame: Option<usize>,
    /// Whether this presentation suffers what comes and goes; null where nothing
    /// does.
    pub(crate) suffers: Option<bool>,
    /// The findings its pulses show, each once.
    pub(crate) findings: Vec<String>,
}
