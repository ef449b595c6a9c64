//! The machine-readable answer of `misread keypad`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::json::Fields;
use crate::json_explain::Probability;

/// What `misread keypad` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Keypad {
    #[schemars(extend("const" = Keypad::SCHEMA))]
    pub(crate) schema: &'static str,
    /// How the keypad sends: `4`, `6` or `8` bits a key, or `whole-code`; null
    /// where the reads leave that open.
    pub(crate) mode: Option<String>,
    /// The layout of a whole code's frame.
    pub(crate) layout: Option<String>,
    /// The keys that are said to have been pressed, • for hidden; null where
    /// nobody says.
    pub(crate) expected: Option<String>,
    /// The codes as they were keyed, whatever the wire made of them; none
    /// where that cannot be told.
    pub(crate) codes: Vec<Code>,
    /// The id of a cause, `none`, `no-data`, or `ambiguous` where the reads
    /// leave open how they must be read.
    pub(crate) verdict: String,
    /// Whether the wiring is sound, every press is a key, and what arrived is
    /// what was keyed where that is known.
    pub(crate) ok: bool,
    /// How likely verdict and mode are together; null for `no-data`; for
    /// `ambiguous`, how likely the first of `possible` is.
    pub(crate) probability: Option<Probability>,
    /// The verdict in one sentence.
    pub(crate) says: String,
    /// How many presses there were.
    pub(crate) presses: usize,
    /// What is no key, or no frame.
    pub(crate) problems: Vec<Problem>,
    /// What is possible, of probability 0.001 or more, best first. Masked,
    /// probabilities here and above have two decimals, since more would tell
    /// which keys they are of, and there are no codes here.
    pub(crate) possible: Vec<Possible>,
    /// What speaks for the verdict.
    pub(crate) evidence: Vec<String>,
    /// What the reads leave open.
    pub(crate) notes: Vec<String>,
    /// What to press to be surer; null where there is no need.
    pub(crate) tells: Option<String>,
    /// How to make sure of the cause; null where nothing is wrong on the wire.
    pub(crate) confirm: Option<String>,
    /// How to mend it, in order.
    pub(crate) mend: Vec<String>,
    /// What can go wrong while mending it.
    pub(crate) cautions: Vec<String>,
}

impl Keypad {
    pub(crate) const SCHEMA: &str = "misread/keypad/1";
}

/// A code as it was keyed.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Code {
    /// Its digits: ? for a press that could not be read, • for hidden. Empty
    /// where the hash key was pressed alone.
    pub(crate) keys: String,
    pub(crate) ended_by: EndedBy,
    /// How many presses the star key cleared before it.
    pub(crate) cleared: usize,
    /// What the other fields of a whole code's frame carry; empty where numbers
    /// are masked.
    pub(crate) fields: Fields,
}

/// What ended a code.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum EndedBy {
    /// The hash key.
    Hash,
    /// A pause.
    Pause,
    /// There was no more to come.
    End,
    /// More keys than a code can hold.
    TooManyKeys,
}

/// A read, or a part of one, that is no key or no frame.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Problem {
    /// Which read, from 1.
    pub(crate) read: usize,
    pub(crate) says: String,
}

/// Something that is possible, and what it would mean.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Possible {
    /// How the keypad sends then; null for a cause that knows of no keys.
    pub(crate) mode: Option<String>,
    pub(crate) cause: String,
    pub(crate) probability: Probability,
    /// The codes keyed in that case; none where that cannot be told.
    pub(crate) codes: Vec<Code>,
}
