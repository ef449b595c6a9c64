//! The machine-readable answers of `misread explain` and `misread causes`.

use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use crate::json::Fields;

/// What `misread explain` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Explain {
    #[schemars(extend("const" = Explain::SCHEMA))]
    pub(crate) schema: &'static str,
    /// The reads, in the order given.
    pub(crate) reads: Vec<Read>,
    /// What each read's card should carry; null where nothing was expected.
    pub(crate) expected: Option<Vec<Fields>>,
    /// The id of a wire state (a cause, `lines-swapped+CAUSE`, `CAUSE-at-times`,
    /// `reads-missing`) or of a card state, `layout-differs`, `none` or
    /// `no-data`.
    pub(crate) verdict: String,
    /// Whether the reads are good.
    pub(crate) ok: bool,
    /// What the verdict says, in full.
    pub(crate) answer: Answer,
    /// Every wire state of probability 1e-9 or more, the likeliest first.
    pub(crate) causes: Vec<CauseFound>,
    /// The card states, best first.
    pub(crate) cards: Vec<CardFound>,
    /// The candidate layouts, best first.
    pub(crate) layouts: Vec<LayoutFound>,
    /// Whose cards the reads are, best first.
    pub(crate) presented: Vec<Presented>,
    /// The wire states that the bits cannot tell from the answer's, and what does.
    pub(crate) alike: Vec<Alike>,
    /// What to do next: tests that shorten the way to a fix, best first, then
    /// mends in the order in which they are best tried.
    pub(crate) next: Vec<Next>,
    /// What can go wrong while mending it or doing the tests.
    pub(crate) cautions: Vec<String>,
    /// What the bits leave open.
    pub(crate) notes: Vec<String>,
    /// What a capture shows beside that: about the whole of it, and how often its
    /// reads are outside the limits.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) timing: Vec<TimingFound>,
    /// What the pulses of the reads changed, the strongest first, where the
    /// reads came as pulses.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) pulses: Vec<String>,
    /// With `--printed`, the ways to take the number, best first; the answer is
    /// that of the first.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) printed: Vec<TakenAs>,
    /// How many arguments were joined into one read, where more than one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) joined: Option<usize>,
}

impl Explain {
    pub(crate) const SCHEMA: &str = "misread/explain/1";
}

/// What is wrong with the timing of a capture.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct TimingFound {
    /// The id of the finding.
    pub(crate) finding: String,
    /// The line it is about, `D0` or `D1`.
    pub(crate) line: Option<String>,
    /// How often it is there.
    pub(crate) times: usize,
    /// What it usually means.
    pub(crate) means: String,
}

/// One way to take a printed number.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct TakenAs {
    /// The layout it is taken for.
    pub(crate) layout: String,
    pub(crate) fields: Fields,
    /// From the printed number to the fields, in words.
    pub(crate) steps: Vec<String>,
    pub(crate) probability: Probability,
}

/// A read as received.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Read {
    /// 0, 1, ? for unread, • for hidden.
    pub(crate) bits: String,
    pub(crate) length: usize,
    /// The probability that this presentation suffers what the verdict says
    /// comes at times; null where it says no such thing.
    pub(crate) suffers: Option<Probability>,
}

/// Whose cards the reads are.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Presented {
    /// `one-card`, `own-cards` or `mixed-cards`.
    pub(crate) cards: String,
    pub(crate) probability: Probability,
}

/// The answer; all but `says` and `steps` are null where no read has bits.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Answer {
    /// The wire state.
    pub(crate) cause: Option<String>,
    pub(crate) card: Option<String>,
    /// `mixed` where each card has its own.
    pub(crate) layout: Option<String>,
    /// That of the wire state; of a sound wire together with card state and
    /// layout.
    pub(crate) probability: Option<Probability>,
    /// The verdict in one sentence.
    pub(crate) says: String,
    /// What to do, in order.
    pub(crate) steps: Vec<String>,
}

/// A wire state that is not ruled out.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct CauseFound {
    /// Its id.
    pub(crate) cause: String,
    pub(crate) probability: Probability,
    /// The likeliest layout under it.
    pub(crate) layout: Option<String>,
    /// For each read the card's values under this cause: all where one card
    /// is the likeliest, else those that are certain; null where none is.
    pub(crate) decoded: Vec<Option<Fields>>,
    pub(crate) evidence: Vec<String>,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct CardFound {
    pub(crate) card: String,
    pub(crate) probability: Probability,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutFound {
    pub(crate) layout: String,
    pub(crate) probability: Probability,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Alike {
    pub(crate) cause: String,
    /// The test that tells them apart; null where none is known.
    pub(crate) test: Option<String>,
    pub(crate) says: String,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Next {
    /// The id of a test, `fix-` and what is mended, or `whose-cards`.
    pub(crate) test: String,
    pub(crate) says: String,
    pub(crate) minutes: f64,
    /// The expected information about the fault, in bits; 0 for a mend.
    pub(crate) gain_bits: Probability,
    /// By how many minutes it is expected to shorten the way to a fix, its own
    /// taken off; 0 for a mend.
    pub(crate) saves_minutes: Probability,
}

/// What `misread causes` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Causes {
    #[schemars(extend("const" = Causes::SCHEMA))]
    pub(crate) schema: &'static str,
    pub(crate) causes: Vec<Cause>,
}

impl Causes {
    pub(crate) const SCHEMA: &str = "misread/causes/1";
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Cause {
    /// The id of a wire state: a cause's, lines-swapped+ID, ID-at-times or
    /// reads-missing.
    pub(crate) cause: String,
    pub(crate) prior: Probability,
    /// The verdict in one sentence, without its full stop.
    pub(crate) headline: String,
    pub(crate) what: String,
    pub(crate) confirm: String,
    pub(crate) mend: String,
    /// Null where no wire is touched.
    pub(crate) caution: Option<String>,
    /// How likely each finding is in a recording of a read, where it is looked
    /// for.
    pub(crate) recording: Vec<Recorded>,
    /// How likely each outcome of each test is under this cause.
    pub(crate) tests: Vec<Test>,
    /// What mends it; behind swapped lines, once those are swapped too.
    pub(crate) mends: Vec<Mend>,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Mend {
    /// Its id, as in a priors file.
    pub(crate) mend: String,
    pub(crate) says: String,
    /// How long it takes, presenting a card again included.
    pub(crate) minutes: f64,
    /// The share of the cases that it mends.
    pub(crate) share: Probability,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Recorded {
    /// Its id, as in a priors file.
    pub(crate) finding: String,
    pub(crate) probability: Probability,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Test {
    pub(crate) test: String,
    pub(crate) outcomes: Vec<Outcome>,
}

#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Outcome {
    pub(crate) outcome: String,
    pub(crate) says: String,
    pub(crate) probability: Probability,
}

/// A number rounded to nine decimals, the same on every platform.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema)]
#[schemars(transparent)]
pub(crate) struct Probability(pub(crate) f64);

impl Serialize for Probability {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64((self.0 * 1e9).round() / 1e9)
    }
}
