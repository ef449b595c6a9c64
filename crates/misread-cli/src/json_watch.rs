//! The machine-readable answer of `misread watch`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::json::Fields;
use crate::json_explain::Answer;

/// What `misread watch` answers, once for each thing that happens. A line that
/// is no read gives `misread/error/1`, the full answer `misread/explain/1`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Watch {
    #[schemars(extend("const" = Watch::SCHEMA))]
    pub(crate) schema: &'static str,
    /// When, in seconds since the start; by the stream's own times where it
    /// has them.
    pub(crate) time_s: f64,
    #[serde(flatten)]
    pub(crate) happened: Happened,
}

impl Watch {
    pub(crate) const SCHEMA: &str = "misread/watch/1";

    /// `at` in nanoseconds since the start.
    pub(crate) fn at(at: i64, happened: Happened) -> Self {
        // To the microsecond.
        let time_s = (at as f64 / 1e3).round() / 1e6;
        Watch { schema: Watch::SCHEMA, time_s, happened }
    }
}

/// What happened.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(crate) enum Happened {
    /// A read came.
    Read(Box<Read>),
    /// The device is gone.
    Lost { says: String },
    /// The device is back.
    Back { says: String },
    /// The reads so far were forgotten, as was asked for.
    Forgotten { says: String },
}

impl Happened {
    /// It in one sentence.
    pub(crate) fn says(&self) -> &str {
        match self {
            Happened::Read(read) => &read.answer.says,
            Happened::Lost { says } | Happened::Back { says } | Happened::Forgotten { says } => {
                says
            }
        }
    }
}

/// A read, weighed alone.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Read {
    /// The line of the input that ended it, from 1.
    pub(crate) line: u64,
    /// 0, 1, ? for unread, • for hidden.
    pub(crate) bits: String,
    pub(crate) length: usize,
    /// Whether the same bits came shortly before.
    pub(crate) repeat: bool,
    /// The id of a cause or a card state, `layout-differs`, `none` or
    /// `no-data`.
    pub(crate) verdict: String,
    /// Whether it is good.
    pub(crate) ok: bool,
    /// The most likely combination of wire, card and layout.
    pub(crate) answer: Answer,
    /// The card's values under the answer: all where one card is the
    /// likeliest, else those that are certain; null where none is.
    pub(crate) fields: Option<Fields>,
    /// What its pulses changed, the strongest first, where it came as pulses.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) pulses: Vec<String>,
}
