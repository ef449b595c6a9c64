//! The catalogue of causes: what can come between a card and a panel.
//!
//! Three things can be off, independently of one another: **the wire**
//! ([`Wire`]: a [`Cause`] by itself, behind swapped lines, or at times), **the
//! card** ([`CardState`]), and the panel's layout. A fourth question is only
//! whose cards were read ([`Whose`]). The ids and the order are those of the
//! tables in the documentation; ties between equally likely answers keep that
//! order.

pub mod catalogue;
mod fault;
pub mod mends;
mod model;
mod priors;
pub mod site_tests;
mod sought;
mod table;
mod wire;

pub use fault::{Fault, NoSuchFault};
pub use model::{Model, ProbeAt, ProbeFactors, Rates, UnlistedLengths, WhoseWeights};
pub use priors::PriorsError;
pub use sought::Sought;
pub use table::{Mend, TestOutcome, TestTable};
pub use wire::{NoSuchWire, Whose, Wire};

/// What happened to the bits on their way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// The read is the frame.
    None,
    /// D0 and D1 swapped: every bit turned over.
    LinesSwapped,
    /// Whatever recorded the bits wrote 0 for 1: every bit turned over.
    BitsInverted,
    /// Last bit first.
    BitOrderReversed,
    /// Each field of 16, 24, 32 … 64 bits sent with its bytes in reverse order.
    BytesReversed,
    /// Whatever hands the bits on fills them up with 0s to whole bytes or words.
    Padded,
    /// Nothing arrives on D0: only the 1s are received.
    D0Open,
    /// Nothing arrives on D1: only the 0s are received.
    D1Open,
    /// D0 and D1 touch.
    LinesShorted,
    /// Pulses on D0 are lost now and then.
    D0Weak,
    /// Pulses on D1 are lost now and then.
    D1Weak,
    /// Pulses on both lines are lost now and then.
    BothWeak,
    /// Extra pulses appear on D0.
    D0Noise,
    /// Extra pulses appear on D1.
    D1Noise,
    /// Extra pulses appear on either line.
    BothNoise,
    /// Pulses on D0 are counted twice now and then.
    D0Ringing,
    /// Pulses on D1 are counted twice now and then.
    D1Ringing,
    /// Pulses on either line are counted twice now and then.
    BothRinging,
    /// Pulses on one line cause a pulse on the other.
    Crosstalk,
    /// The first bits are missing.
    HeadLost,
    /// The last bits are missing.
    TailLost,
    /// One frame arrives as two reads.
    FrameSplit,
    /// The same frame twice with no gap between.
    FramesMerged,
    /// One to three bits have the other value.
    BitsChanged,
    /// The card uses a layout that is not among the candidates.
    UnknownLayout,
    /// The bits mean nothing: a floating line or a missing common.
    RandomBits,
}

impl Cause {
    /// Every cause, in the order of the tables.
    pub const ALL: [Cause; 26] = [
        Cause::None,
        Cause::LinesSwapped,
        Cause::BitsInverted,
        Cause::BitOrderReversed,
        Cause::BytesReversed,
        Cause::Padded,
        Cause::D0Open,
        Cause::D1Open,
        Cause::LinesShorted,
        Cause::D0Weak,
        Cause::D1Weak,
        Cause::BothWeak,
        Cause::D0Noise,
        Cause::D1Noise,
        Cause::BothNoise,
        Cause::D0Ringing,
        Cause::D1Ringing,
        Cause::BothRinging,
        Cause::Crosstalk,
        Cause::HeadLost,
        Cause::TailLost,
        Cause::FrameSplit,
        Cause::FramesMerged,
        Cause::BitsChanged,
        Cause::UnknownLayout,
        Cause::RandomBits,
    ];

    /// Its id, as in answers and on the command line.
    pub fn id(self) -> &'static str {
        match self {
            Cause::None => "none",
            Cause::LinesSwapped => "lines-swapped",
            Cause::BitsInverted => "bits-inverted",
            Cause::BitOrderReversed => "bit-order-reversed",
            Cause::BytesReversed => "bytes-reversed",
            Cause::Padded => "padded",
            Cause::D0Open => "d0-open",
            Cause::D1Open => "d1-open",
            Cause::LinesShorted => "lines-shorted",
            Cause::D0Weak => "d0-weak",
            Cause::D1Weak => "d1-weak",
            Cause::BothWeak => "both-weak",
            Cause::D0Noise => "d0-noise",
            Cause::D1Noise => "d1-noise",
            Cause::BothNoise => "both-noise",
            Cause::D0Ringing => "d0-ringing",
            Cause::D1Ringing => "d1-ringing",
            Cause::BothRinging => "both-ringing",
            Cause::Crosstalk => "crosstalk",
            Cause::HeadLost => "head-lost",
            Cause::TailLost => "tail-lost",
            Cause::FrameSplit => "frame-split",
            Cause::FramesMerged => "frames-merged",
            Cause::BitsChanged => "bits-changed",
            Cause::UnknownLayout => "unknown-layout",
            Cause::RandomBits => "random-bits",
        }
    }

    /// The cause of that id.
    pub fn from_id(id: &str) -> Option<Self> {
        // What `bits-changed` was called before.
        let id = if id == "one-bit-changed" { "bits-changed" } else { id };
        Cause::ALL.into_iter().find(|cause| cause.id() == id)
    }

    /// Its place in [`Cause::ALL`].
    pub fn index(self) -> usize {
        self as usize
    }

    /// The same on the other line: what it is to whoever takes D0 for D1.
    pub fn on_the_other_line(self) -> Self {
        match self {
            Cause::D0Open => Cause::D1Open,
            Cause::D1Open => Cause::D0Open,
            Cause::D0Weak => Cause::D1Weak,
            Cause::D1Weak => Cause::D0Weak,
            Cause::D0Noise => Cause::D1Noise,
            Cause::D1Noise => Cause::D0Noise,
            Cause::D0Ringing => Cause::D1Ringing,
            Cause::D1Ringing => Cause::D0Ringing,
            other => other,
        }
    }

    /// Whether it says nothing of card and layout: the bits came from no
    /// frame of a candidate layout.
    pub fn is_without_layout(self) -> bool {
        matches!(self, Cause::UnknownLayout | Cause::RandomBits)
    }
}

impl std::fmt::Display for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.id())
    }
}

/// How many of a field's lowest bits are any where a card is a neighbour of the
/// one expected; all of a field that has no more.
pub const NEIGHBOUR_BITS: usize = 8;

/// How likely a card that differs is a neighbour of the one expected.
pub const IS_NEIGHBOUR: f64 = 2.0 / 3.0;

/// Whether the presented card is the one the user thinks it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CardState {
    /// It carries the expected values.
    AsExpected,
    /// Its facility code is any value; the other expected values hold.
    FacilityDiffers,
    /// Its facility code is as expected; every other expected field is a
    /// neighbour of the expected value (all but its lowest 8 bits hold) or any
    /// value.
    CardDiffers,
    /// Every field is any value.
    DifferentCard,
}

impl CardState {
    /// Every state, in the order of the tables.
    pub const ALL: [CardState; 4] = [
        CardState::AsExpected,
        CardState::FacilityDiffers,
        CardState::CardDiffers,
        CardState::DifferentCard,
    ];

    /// Its id, as in answers.
    pub fn id(self) -> &'static str {
        match self {
            CardState::AsExpected => "as-expected",
            CardState::FacilityDiffers => "facility-differs",
            CardState::CardDiffers => "card-differs",
            CardState::DifferentCard => "different-card",
        }
    }

    /// Its place in [`CardState::ALL`].
    pub fn index(self) -> usize {
        self as usize
    }
}

impl std::fmt::Display for CardState {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.id())
    }
}
