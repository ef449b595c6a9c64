//! The machine-readable answer of `misread capture`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::json::{Fields, Place};

/// What `misread capture` answers. Times are in the unit their name ends in.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Capture<R> {
    #[schemars(extend("const" = SCHEMA))]
    pub(crate) schema: &'static str,
    /// The signals that were taken for the two lines.
    pub(crate) lines: Lines,
    /// The level the lines rest at.
    pub(crate) idle: Idle,
    /// The reader's own bit period; null where there are too few pulses.
    pub(crate) beat_us: Option<f64>,
    /// The sample period that was reckoned with; 0 for exact times.
    pub(crate) sample_period_us: f64,
    /// In a table of voltages, what was taken for high.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) threshold_v: Option<f64>,
    /// Every read, in order.
    pub(crate) reads: R,
    /// What is wrong with the capture as a whole.
    pub(crate) findings: Vec<Finding>,
    /// Where the file is damaged or cut; the reads are those before. Null where
    /// it is not.
    pub(crate) damage: Option<Damage>,
}

pub(crate) const SCHEMA: &str = "misread/capture/1";

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Lines {
    pub(crate) d0: String,
    pub(crate) d1: String,
}

#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Idle {
    High,
    Low,
}

/// A read in a capture.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Read {
    /// The leading edge of its first pulse, on the capture's own clock.
    pub(crate) start_s: f64,
    /// The bits in the order received: 0, 1, • for hidden.
    pub(crate) bits: String,
    /// How many bits.
    pub(crate) length: usize,
    /// Whether a controller that ignores repeats would not show it.
    pub(crate) repeat: bool,
    /// How it came to an end that is none of its own, such as more pulses than
    /// any card sends, in a few words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) note: Option<&'static str>,
    pub(crate) pulse_width_us: Widths,
    /// Leading edge to leading edge; null for a single pulse.
    pub(crate) interval_us: Option<Spread>,
    /// What is wrong with its timing and with the gap before it. Where bits
    /// are hidden, the worst of each kind, without line and bit.
    pub(crate) findings: Vec<Finding>,
    /// The values of the layout that was named; empty where it does not fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fields: Option<Fields>,
    /// Whether it is good in the layout that was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) ok: Option<bool>,
    /// What is wrong in the layout that was named, in one sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) problem: Option<String>,
}

/// The pulse widths of a read. Those of one line are null where it has no whole
/// pulse, and where bits are hidden.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Widths {
    pub(crate) d0: Option<Spread>,
    pub(crate) d1: Option<Spread>,
    /// Of both lines together.
    pub(crate) both: Option<Spread>,
}

#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub(crate) struct Spread {
    pub(crate) min: f64,
    pub(crate) median: f64,
    pub(crate) max: f64,
}

/// Something wrong with the timing.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Finding {
    /// Its id, such as `pulse-too-long`.
    pub(crate) finding: String,
    /// `d0` or `d1`; null where it is about both, about a gap, or hidden.
    pub(crate) line: Option<DataLine>,
    /// At which bit, from 1: the later one, where it is about two.
    pub(crate) bit: Option<usize>,
    /// What was measured.
    pub(crate) value_us: Option<f64>,
    /// What it was held against.
    pub(crate) limit_us: Option<f64>,
    /// The finding in one sentence.
    pub(crate) says: String,
}

#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum DataLine {
    D0,
    D1,
}

/// Where a capture is damaged or cut, and how.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Damage {
    pub(crate) place: Place,
    pub(crate) found: String,
    pub(crate) expected: String,
}
