//! What an installer can do to mend a fault, as data: how long each mend takes,
//! and of which faults it mends which share.
//!
//! All figures are judgement: from memory, common practice, no source. A row
//! says why where its share is not obvious. A fault has one reason, and one
//! mend meets it, so the shares of a fault over all mends are 1 at most; what
//! is missing to 1 (a dead reader, a panel's input) none of them mends.
//!
//! What mends a cause mends it at times as well, and behind swapped lines once
//! those are swapped too.

use super::Cause::{self, *};
use super::{CardState, Fault, Wire};

/// Something an installer can do to mend a fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SiteMend {
    /// Its id, as in answers: `fix-` and what is mended.
    pub id: &'static str,
    /// What to do, as one installer would say it to another.
    pub says: &'static str,
    /// How long it takes, in minutes, one more for presenting a card again
    /// included.
    pub minutes: f64,
    /// Whether a conductor is touched, so that the caution comes first.
    pub touches_wire: bool,
    /// What it mends.
    pub mends: &'static [Mended],
}

/// Faults that a mend mends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mended {
    /// These faults; of the wire only causes by themselves and
    /// [`Wire::ReadsMissing`].
    pub faults: &'static [Fault],
    /// The share of their cases that it mends, over 0, at most 1.
    pub share: f64,
    /// Why, where it is not obvious.
    pub why: &'static str,
}

/// The mend that swaps the data lines.
pub const SWAP: &str = "fix-lines-swapped";

/// How long it takes where none of the mends helps: to hang another reader on a
/// short cable at the panel, or to have somebody come and see; in minutes.
pub const UNMENDED_MINUTES: f64 = 30.0;

const fn mended(faults: &'static [Fault], share: f64, why: &'static str) -> Mended {
    Mended { faults, share, why }
}

const fn of(cause: Cause) -> Fault {
    Fault::Wire(Wire::Alone(cause))
}

const NO_READS: Fault = Fault::Wire(Wire::ReadsMissing);
const ONE_WEAK: &[Fault] = &[of(D0Weak), of(D1Weak)];
const NOISE: &[Fault] = &[of(D0Noise), of(D1Noise), of(BothNoise)];
const RINGING: &[Fault] = &[of(D0Ringing), of(D1Ringing), of(BothRinging)];

/// The mends, in the order they are listed where they are equally good.
pub static SITE_MENDS: [SiteMend; 23] = [
    SiteMend {
        id: SWAP,
        says: "With the supply off, swap D0 and D1 at one end, and present the card again",
        minutes: 5.0,
        touches_wire: true,
        mends: &[mended(&[of(LinesSwapped)], 1.0, "Swapped twice is not swapped.")],
    },
    SiteMend {
        id: "fix-bits-inverted",
        says: "Set the input map or the \"invert\" setting right in whatever recorded the bits",
        minutes: 10.0,
        touches_wire: false,
        mends: &[mended(&[of(BitsInverted)], 0.95, "")],
    },
    SiteMend {
        id: "fix-bit-order-reversed",
        says: "Set reader, converter or recorder to most significant bit first",
        minutes: 10.0,
        touches_wire: false,
        mends: &[mended(&[of(BitOrderReversed)], 0.9, "Not every reader has the setting.")],
    },
    SiteMend {
        id: "fix-bytes-reversed",
        says: "Set the byte order in the reader, or enrol the card through this reader",
        minutes: 10.0,
        touches_wire: false,
        mends: &[mended(&[of(BytesReversed)], 0.95, "")],
    },
    SiteMend {
        id: "fix-padded",
        says: "Take away the 0s that fill up the bits, and paste them again",
        minutes: 3.0,
        touches_wire: false,
        mends: &[mended(&[of(Padded)], 0.95, "")],
    },
    SiteMend {
        id: "fix-d0-conductor",
        says: "With the supply off, remake D0's terminals and joints, or use a spare conductor",
        minutes: 15.0,
        touches_wire: true,
        mends: &[
            mended(&[of(D0Open)], 0.85, "The rest is a dead output or input."),
            mended(&[of(D0Weak)], 0.7, "One weak line is most often a poor joint."),
            mended(&[of(RandomBits)], 0.2, "A data line in no terminal floats."),
        ],
    },
    SiteMend {
        id: "fix-d1-conductor",
        says: "With the supply off, remake D1's terminals and joints, or use a spare conductor",
        minutes: 15.0,
        touches_wire: true,
        mends: &[
            mended(&[of(D1Open)], 0.85, "As for D0."),
            mended(&[of(D1Weak)], 0.7, "As for D0."),
            mended(&[of(RandomBits)], 0.2, "As for D0."),
        ],
    },
    SiteMend {
        id: "fix-lines-shorted",
        says: "With the supply off, find where D0 and D1 touch, one joint at a time, and part them",
        minutes: 20.0,
        touches_wire: true,
        mends: &[mended(&[of(LinesShorted)], 0.85, "The rest is inside the reader or the cable.")],
    },
    SiteMend {
        id: "fix-supply",
        says: "Bring the reader's supply up to its range: remake its terminals, use thicker \
               conductors or a supply nearby",
        minutes: 15.0,
        touches_wire: true,
        mends: &[
            mended(&[of(BothWeak)], 0.5, "The most common reason for both lines being weak."),
            mended(ONE_WEAK, 0.05, "A low supply rarely weakens one line alone."),
            mended(&[of(HeadLost)], 0.25, "The supply may dip just as the reader starts to send."),
            mended(&[NO_READS], 0.35, "A loose supply stops the reader now and then."),
        ],
    },
    SiteMend {
        id: "fix-common",
        says: "With the supply off, remake the common between reader and panel",
        minutes: 8.0,
        touches_wire: true,
        mends: &[
            mended(&[of(BothWeak)], 0.35, "A poor common weakens both lines."),
            mended(ONE_WEAK, 0.1, "It seldom shows on one line alone."),
            mended(&[of(RandomBits)], 0.5, "Without a common, both lines float."),
            mended(NOISE, 0.05, ""),
            mended(&[NO_READS], 0.3, "A loose common stops the reader now and then."),
        ],
    },
    SiteMend {
        id: "fix-noise",
        says: "Keep the data cable away from motors, lock supplies and mains, and ground its \
               shield at the panel's end only",
        minutes: 20.0,
        touches_wire: true,
        mends: &[
            mended(NOISE, 0.7, ""),
            mended(&[of(BitsChanged)], 0.05, "Seldom more than a slip."),
        ],
    },
    SiteMend {
        id: "fix-input-filter",
        says: "Set the panel's input filter, or the receiver to count falling edges only",
        minutes: 6.0,
        touches_wire: false,
        mends: &[
            mended(RINGING, 0.55, "Where the panel has such a setting."),
            mended(NOISE, 0.1, "It passes over what is shorter than a reader's pulse."),
            mended(&[of(Crosstalk)], 0.1, "As for noise."),
        ],
    },
    SiteMend {
        id: "fix-cable",
        says: "With the supply off, pair D0 and D1 each with common or supply, or use another \
               cable or a shorter run",
        minutes: 25.0,
        touches_wire: true,
        mends: &[
            mended(&[of(Crosstalk)], 0.8, "D0 and D1 in one twisted pair is the usual reason."),
            mended(RINGING, 0.35, "A long run, or D0 and D1 in one twisted pair."),
            mended(ONE_WEAK, 0.05, "A conductor broken inside."),
            mended(&[of(BothWeak)], 0.1, "Too long or too thin for the run."),
            mended(&[of(D0Open), of(D1Open), of(LinesShorted)], 0.1, "A crushed cable."),
        ],
    },
    SiteMend {
        id: "fix-head-lost",
        says: "Set the receiver to be awake and free when a read begins",
        minutes: 10.0,
        touches_wire: false,
        mends: &[mended(&[of(HeadLost)], 0.6, "")],
    },
    SiteMend {
        id: "fix-end-of-frame",
        says: "Set the end-of-frame time longer, and the bit count to the card's",
        minutes: 6.0,
        touches_wire: false,
        mends: &[mended(&[of(TailLost), of(FrameSplit)], 0.85, "The rest pauses in the reader.")],
    },
    SiteMend {
        id: "fix-frames-merged",
        says: "Set the end-of-frame time shorter, or the reader to send a card once",
        minutes: 6.0,
        touches_wire: false,
        mends: &[mended(&[of(FramesMerged)], 0.9, "")],
    },
    SiteMend {
        id: "fix-bits-changed",
        says: "Compare the bits with where they were copied from, and present the card again",
        minutes: 3.0,
        touches_wire: false,
        mends: &[mended(&[of(BitsChanged)], 0.9, "Usually a slip that does not come again.")],
    },
    SiteMend {
        id: "fix-unknown-layout",
        says: "Ask whoever ordered the cards for the layout, or work it out from a few known cards",
        minutes: 20.0,
        touches_wire: false,
        mends: &[mended(&[of(UnknownLayout)], 0.85, "Not every layout is told.")],
    },
    SiteMend {
        id: "fix-reads-missing",
        says: "Wait longer than the panel's time for ignoring repeats, or set that time shorter",
        minutes: 4.0,
        touches_wire: false,
        mends: &[mended(&[NO_READS], 0.3, "The panel may ignore the same card twice.")],
    },
    SiteMend {
        id: "fix-facility-differs",
        says: "Compare the facility code with the order, and enrol the cards with the one they carry",
        minutes: 8.0,
        touches_wire: false,
        mends: &[mended(&[Fault::Card(CardState::FacilityDiffers)], 0.95, "")],
    },
    SiteMend {
        id: "fix-card-differs",
        says: "Compare the number printed on the card with the one expected, and enrol what arrives",
        minutes: 4.0,
        touches_wire: false,
        mends: &[mended(&[Fault::Card(CardState::CardDiffers)], 0.95, "")],
    },
    SiteMend {
        id: "fix-different-card",
        says: "Present the right card alone, away from any other",
        minutes: 3.0,
        touches_wire: false,
        mends: &[mended(&[Fault::Card(CardState::DifferentCard)], 0.95, "")],
    },
    SiteMend {
        id: "fix-layout-differs",
        says: "Set the panel to the card's layout, or use cards of the panel's",
        minutes: 8.0,
        touches_wire: false,
        mends: &[mended(&[Fault::LayoutDiffers], 0.95, "")],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Every fault is mended in most of its cases, and in no more than all.
    #[test]
    fn every_fault_has_a_mend_and_shares_sum_to_one_at_most() {
        let cards = CardState::ALL.into_iter().map(Fault::Card);
        let faults = Wire::all().map(Fault::Wire).chain(cards).chain([Fault::LayoutDiffers]);
        for fault in faults.filter(|fault| !fault.is_none()) {
            let of = |mend: &SiteMend| -> f64 {
                let rows = mend.mends.iter().filter(|row| row.faults.contains(&fault.mended_as()));
                rows.map(|row| row.share).sum()
            };
            let sum: f64 = SITE_MENDS.iter().map(of).sum();
            assert!((0.8..=1.0 + 1e-12).contains(&sum), "{fault}: {sum}");
        }
    }

    #[test]
    fn rows_speak_of_faults_that_are_mended_as_themselves() {
        for mend in &SITE_MENDS {
            assert!(mend.id.starts_with("fix-") && mend.minutes > 0.0, "{}", mend.id);
            for fault in mend.mends.iter().flat_map(|row| row.faults) {
                assert!(fault.mended_as() == *fault && !fault.is_none(), "{} {fault}", mend.id);
            }
        }
    }
}
