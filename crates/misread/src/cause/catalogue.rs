//! The catalogue of causes, as data: what each is, how to confirm it, how to
//! mend it, and the caution that goes with it; and, from that, of every wire
//! state.
//!
//! Priors are judgement: from memory, common practice, no source. That
//! swapped data lines are the most common wiring fault, and that a wrong or
//! blank number means wiring first, are common practice. Conductor colours are
//! common practice too, and are only ever a hint.

mod wires;

pub use wires::{WireInfo, headline, wire_info};

use super::{CardState, Cause};

/// What the catalogue says of a cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CauseInfo {
    /// Which cause.
    pub cause: Cause,
    /// How likely it is before a read is seen; all priors sum to 1.
    pub prior: f64,
    /// The verdict, as a sentence without its full stop.
    pub headline: &'static str,
    /// What it is and what it does to a read.
    pub what: &'static str,
    /// How to make sure of it.
    pub confirm: &'static str,
    /// What to do, in order.
    pub mend: &'static [Step],
    /// What can go wrong while mending it; `None` where no wire is touched.
    pub caution: Option<&'static str>,
}

/// One step of mending.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// What to do.
    pub says: &'static str,
    /// Whether a conductor is touched: the caution comes before it.
    pub touches_wire: bool,
}

const fn look(says: &'static str) -> Step {
    Step { says, touches_wire: false }
}

const fn wire(says: &'static str) -> Step {
    Step { says, touches_wire: true }
}

/// The caution before any step that touches a conductor.
pub const WIRE_CAUTION: &str = "Switch the controller's supply off first, standby battery \
    included. Know what the lock does when the supply drops. A gate or door may move when power \
    returns: keep people clear. The way out must keep working throughout. Mains, fire and egress \
    work follow local codes and licensed practice.";

const WIRE: Option<&str> = Some(WIRE_CAUTION);

/// What the catalogue says of a cause.
pub fn info(cause: Cause) -> &'static CauseInfo {
    &CAUSES[cause.index()]
}

/// Every cause, in the order of [`Cause::ALL`].
pub static CAUSES: [CauseInfo; Cause::ALL.len()] = [
    CauseInfo {
        cause: Cause::None,
        prior: 0.374,
        headline: "The wiring is sound",
        what: "What the reader sent is what was received.",
        confirm: "Present the same card three times; the same number must come each time.",
        mend: &[look("Nothing to mend on the wire. Note the number and go on to the next card.")],
        caution: None,
    },
    CauseInfo {
        cause: Cause::LinesSwapped,
        prior: 0.170,
        headline: "The data lines D0 and D1 are swapped",
        what: "D0 and D1 are swapped somewhere between reader and panel, so every 0 arrives as \
               a 1 and every 1 as a 0. The most common wiring fault there is.",
        confirm: "Swap the two data conductors at one end only and present the card again: \
                  the number comes right.",
        mend: &[
            wire("With the supply off, swap D0 and D1 at one end only."),
            look("Present two cards whose numbers you know."),
            wire("If the numbers are no better, put the two back where they were."),
            look(
                "Green is usually D0 and white D1, but go by the terminals' marking, and mark \
                  the cable for whoever comes next.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::BitsInverted,
        prior: 0.030,
        headline: "Whatever recorded the bits wrote 0 for 1 and 1 for 0",
        what: "The wiring may be right, but the software or recorder that wrote the bits down \
               took one level for the other, so every bit is turned over.",
        confirm: "Record the two lines themselves: if low pulses on D0 are where your text has \
                  1s, the recorder turned them over.",
        mend: &[
            look(
                "Look for an input map, an \"invert\" setting or an opto-isolator in whatever \
                  recorded the bits.",
            ),
            look(
                "Set it right there. Do not swap the conductors to please a recorder: the \
                  panel would then be wrong.",
            ),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::BitOrderReversed,
        prior: 0.020,
        headline: "The bits arrive last one first",
        what: "The frame is sent or recorded from its last bit to its first.",
        confirm: "Present a card whose number you know: its frame, read from the back, is what \
                  arrived.",
        mend: &[
            look(
                "Look for a bit-order or least-significant-first setting in the reader, a \
                  converter between reader and panel, or the recorder.",
            ),
            look("Set it to most significant bit first and present the card again."),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::BytesReversed,
        prior: 0.010,
        headline: "The number's bytes arrive in reverse order",
        what: "The reader sends the bytes of a number last one first, with parity to match. Usual \
               with readers that send a chip's serial number.",
        confirm: "Write the number in hexadecimal and turn its pairs of digits round: that is the \
                  number expected.",
        mend: &[
            look(
                "Set the byte order in the reader (often by a configuration card or its \
                  software), the same for every reader on the site.",
            ),
            look(
                "If it cannot be set, enrol the cards through this very reader type, and note \
                  it.",
            ),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::Padded,
        prior: 0.020,
        headline: "The bits are filled up with 0s to whole bytes",
        what: "Whatever hands the bits on writes them as whole bytes or words and fills up with 0s, \
               behind the frame or in front of it.",
        confirm: "Count the bits: they are a multiple of 8, and take away the 0s at one end and \
                  a known layout's frame is left.",
        mend: &[
            look(
                "Paste the bits without the 0s that fill them up, or paste them as hexadecimal \
                  with the frame's length.",
            ),
            look("The recorder can stay as it is."),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::D0Open,
        prior: 0.035,
        headline: "Nothing arrives on D0",
        what: "The D0 conductor is open, or held at one level: only 1s are received.",
        confirm: "With the reader powered, measure D0 against common at the panel: it should rest \
                  near the reader's data voltage and dip when a card is presented.",
        mend: &[
            look(
                "Measure D0 against common at the panel and at the reader: where it changes \
                  from right to wrong, the break lies between.",
            ),
            wire(
                "With the supply off, check D0's conductor for continuity end to end and \
                  against common for a short.",
            ),
            wire("Remake the terminal or joint, or use a spare conductor."),
            look("Present two cards whose numbers you know."),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D1Open,
        prior: 0.035,
        headline: "Nothing arrives on D1",
        what: "The D1 conductor is open, or held at one level: only 0s are received.",
        confirm: "With the reader powered, measure D1 against common at the panel: it should rest \
                  near the reader's data voltage and dip when a card is presented.",
        mend: &[
            look(
                "Measure D1 against common at the panel and at the reader: where it changes \
                  from right to wrong, the break lies between.",
            ),
            wire(
                "With the supply off, check D1's conductor for continuity end to end and \
                  against common for a short.",
            ),
            wire("Remake the terminal or joint, or use a spare conductor."),
            look("Present two cards whose numbers you know."),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::LinesShorted,
        prior: 0.020,
        headline: "D0 and D1 touch each other",
        what: "Every pulse appears on both lines, so the panel takes each bit as both, or only as \
               0, or only as 1, whatever the card.",
        confirm: "With the supply off, measure between D0 and D1: a dead short says so.",
        mend: &[
            wire(
                "With the supply off and both ends off their terminals, measure between D0 and \
                  D1, then free the ends one joint at a time until the short goes.",
            ),
            wire("Look for a whisker at a terminal, a crushed cable, water in a joint box."),
            look("Present two cards whose numbers you know."),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D0Weak,
        prior: 0.025,
        headline: "D0 loses pulses",
        what: "Some pulses on D0 do not reach the panel, so 0s go missing, other ones at each \
               read.",
        confirm: "Present the same card three times: the number of bits changes and every 1 is \
                  always there.",
        mend: &[
            look(
                "Measure the supply at the reader while it reads, and D0 against common at \
                  rest.",
            ),
            wire(
                "With the supply off, remake D0's terminals and joints; look for corrosion and strands outside the \
                  terminal.",
            ),
            wire(
                "Make sure reader and panel share one common, and that the cable is not too \
                  long or too thin for the run.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D1Weak,
        prior: 0.025,
        headline: "D1 loses pulses",
        what: "Some pulses on D1 do not reach the panel, so 1s go missing, other ones at each \
               read.",
        confirm: "Present the same card three times: the number of bits changes and every 0 is \
                  always there.",
        mend: &[
            look(
                "Measure the supply at the reader while it reads, and D1 against common at \
                  rest.",
            ),
            wire(
                "With the supply off, remake D1's terminals and joints; look for corrosion and strands outside the \
                  terminal.",
            ),
            wire(
                "Make sure reader and panel share one common, and that the cable is not too \
                  long or too thin for the run.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::BothWeak,
        prior: 0.035,
        headline: "Pulses are lost on both data lines",
        what: "A low supply, a poor common or a receiver that misses pulses: bits of either value \
               go missing, other ones at each read.",
        confirm: "Measure the supply voltage at the reader while it reads; present the same card \
                  three times and see the number of bits change.",
        mend: &[
            look(
                "Measure the supply at the reader's end while a card is read: at the panel it \
                  may look right and still drop along the cable.",
            ),
            wire(
                "With the supply off, remake the common between reader and panel: they must share one.",
            ),
            wire("Use thicker conductors or a shorter run where the supply drops too far."),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D0Noise,
        prior: 0.006,
        headline: "Extra pulses appear on D0",
        what: "Something couples onto D0: 0s appear that no card sent.",
        confirm: "Record both lines: short pulses on D0 between the card's own.",
        mend: &[
            look(
                "See what runs beside the cable: motors, lock supplies, mains. Switch the \
                  suspect off and read again.",
            ),
            wire(
                "With the supply off, ground the shield at the panel's end only; keep the data cable away from the \
                  others.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D1Noise,
        prior: 0.006,
        headline: "Extra pulses appear on D1",
        what: "Something couples onto D1: 1s appear that no card sent.",
        confirm: "Record both lines: short pulses on D1 between the card's own.",
        mend: &[
            look(
                "See what runs beside the cable: motors, lock supplies, mains. Switch the \
                  suspect off and read again.",
            ),
            wire(
                "With the supply off, ground the shield at the panel's end only; keep the data cable away from the \
                  others.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::BothNoise,
        prior: 0.006,
        headline: "Extra pulses appear on both data lines",
        what: "Something couples onto the cable: bits appear that no card sent, 0s and 1s alike.",
        confirm: "Record both lines: short pulses between the card's own, on either line.",
        mend: &[
            look(
                "See what runs beside the cable: motors, lock supplies, mains. Switch the \
                  suspect off and read again.",
            ),
            wire(
                "With the supply off, ground the shield at the panel's end only; keep the data cable away from the \
                  others.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D0Ringing,
        prior: 0.004,
        headline: "Pulses on D0 are counted twice",
        what: "D0's edges ring, so one pulse is taken for two: 0s come double.",
        confirm: "Record both lines: two pulses on D0 far closer together than the reader's own \
                  beat.",
        mend: &[
            look("Set the panel's input filter, if it has one."),
            wire(
                "Shorten or replace the cable; do not run the two data conductors as one \
                  twisted pair with each other.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::D1Ringing,
        prior: 0.004,
        headline: "Pulses on D1 are counted twice",
        what: "D1's edges ring, so one pulse is taken for two: 1s come double.",
        confirm: "Record both lines: two pulses on D1 far closer together than the reader's own \
                  beat.",
        mend: &[
            look("Set the panel's input filter, if it has one."),
            wire(
                "Shorten or replace the cable; do not run the two data conductors as one \
                  twisted pair with each other.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::BothRinging,
        prior: 0.004,
        headline: "Pulses on both lines are counted twice",
        what: "Both lines ring, or the receiver counts both edges of a pulse: bits come double.",
        confirm: "Record both lines: if each pulse is single there, the receiver counts both \
                  edges.",
        mend: &[
            look("Set the receiver to count falling edges only, or set its input filter."),
            wire(
                "Shorten or replace the cable; do not run the two data conductors as one \
                  twisted pair with each other.",
            ),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::Crosstalk,
        prior: 0.004,
        headline: "A pulse on one data line causes one on the other",
        what: "The two data conductors couple: behind a bit the opposite one appears.",
        confirm: "Record both lines: the extra pulses come with, or right after, a pulse on the \
                  other line.",
        mend: &[
            wire(
                "With the supply off, undo D0 and D1 from one twisted pair, if they share one: pair each with \
                  common or supply.",
            ),
            wire("Shorten or replace the cable; ground the shield at the panel's end only."),
        ],
        caution: WIRE,
    },
    CauseInfo {
        cause: Cause::HeadLost,
        prior: 0.030,
        headline: "The first bits are missing",
        what: "The receiver starts listening late, or the first pulses are too weak: up to eight \
               bits are missing in front.",
        confirm: "Present the same card three times: the end is always the same, the beginning \
                  varies.",
        mend: &[
            look(
                "Look for a receiver that wakes up late, or one that is busy when the read \
                  begins.",
            ),
            look(
                "Measure the supply at the reader as the card comes near: it may dip when the \
                  reader starts to send.",
            ),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::TailLost,
        prior: 0.015,
        headline: "The last bits are missing",
        what: "The receiver stops listening early: up to eight bits are missing at the end.",
        confirm: "Present the same card three times: the beginning is always the same.",
        mend: &[look(
            "Look for a bit count or an end-of-frame time that is set too short in the \
                  panel or recorder; 25 ms of silence or more is usual.",
        )],
        caution: None,
    },
    CauseInfo {
        cause: Cause::FrameSplit,
        prior: 0.010,
        headline: "One frame arrives as two reads",
        what: "The receiver takes a pause inside the frame for its end.",
        confirm: "Put two reads that come together one behind the other: they make one frame.",
        mend: &[
            look("Set the end-of-frame time longer: 25 ms of silence or more is usual."),
            look("If the reader pauses inside its frames, set its pulse interval shorter."),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::FramesMerged,
        prior: 0.015,
        headline: "The same frame arrives twice in one read",
        what: "The reader repeats the frame before the receiver takes the first for finished.",
        confirm: "The first half of the bits equals the second.",
        mend: &[
            look("Set the end-of-frame time shorter, or the reader to send a card once."),
            look("Take the card away from the reader sooner and see whether it stops."),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::BitsChanged,
        prior: 0.001,
        headline: "Bits have the wrong value",
        what: "One bit, seldom two or three, was mistaken on the wire or when it was copied down.",
        confirm: "Present the same card again: the other read is right.",
        mend: &[
            look("Present the card three times. If two reads agree, note it and go on."),
            look("If you typed the bits, compare them once more."),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::UnknownLayout,
        prior: 0.090,
        headline: "The card uses a layout that is not among those tried",
        what: "The bits fit no layout that is known here, in no way a wire could have bent them.",
        confirm: "Present the card three times: the same bits come each time.",
        mend: &[
            look(
                "Ask whoever ordered the cards for the layout, or try the layouts of the \
                  catalogue that have this length.",
            ),
            look(
                "Read a few cards whose numbers you know and write both into a table: misread \
                  layout learn works the layout out.",
            ),
        ],
        caution: None,
    },
    CauseInfo {
        cause: Cause::RandomBits,
        prior: 0.006,
        headline: "The bits mean nothing: a data line or the common is floating",
        what: "A line that nothing drives, or a missing common: bits come without a card, or \
               other ones each time.",
        confirm: "Present the same card three times: every read is different. See whether reads \
                  come with no card at all.",
        mend: &[
            look(
                "Measure each data line at rest against common: it should rest steadily near \
                  the reader's data voltage.",
            ),
            wire(
                "With the supply off, check that reader and panel share one common, and that both data conductors \
                  are in their terminals.",
            ),
        ],
        caution: WIRE,
    },
];

/// What the catalogue says of a card state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CardInfo {
    /// Which state.
    pub state: CardState,
    /// The verdict, as a sentence without its full stop.
    pub headline: &'static str,
    /// What to do, in order.
    pub mend: &'static [Step],
}

/// What the catalogue says of a card state.
pub fn card_info(state: CardState) -> &'static CardInfo {
    &CARD_STATES[state.index()]
}

/// Every card state, in the order of [`CardState::ALL`].
pub static CARD_STATES: [CardInfo; CardState::ALL.len()] = [
    CardInfo { state: CardState::AsExpected, headline: "The card is the one expected", mend: &[] },
    CardInfo {
        state: CardState::FacilityDiffers,
        headline: "The wiring is sound, but the card carries another facility code",
        mend: &[
            look("Compare the facility code with the order: the batch may carry another one."),
            look("Enrol the batch with the code it carries, or have it replaced."),
        ],
    },
    CardInfo {
        state: CardState::CardDiffers,
        headline: "The wiring is sound, but the card carries another number",
        mend: &[
            look(
                "Compare the number printed on the card with the one you expected: perhaps it \
                  is another card, or the same number written another way.",
            ),
            look("Present the card again and note the number that arrives."),
        ],
    },
    CardInfo {
        state: CardState::DifferentCard,
        headline: "The wiring is sound, but it is another card",
        mend: &[
            look(
                "See whether another card was near the reader, or whether the expected number \
                  belongs to another card.",
            ),
            look("Present the card alone and note the number that arrives."),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_catalogue_is_in_order_and_whole() {
        for (info, cause) in CAUSES.iter().zip(Cause::ALL) {
            assert_eq!(info.cause, cause);
            assert_eq!(Cause::from_id(cause.id()), Some(cause));
            let touches = info.mend.iter().any(|step| step.touches_wire);
            assert_eq!(info.caution.is_some(), touches, "{cause}");
        }
        for (info, state) in CARD_STATES.iter().zip(CardState::ALL) {
            assert_eq!(info.state, state);
        }
        let sum: f64 = CAUSES.iter().map(|info| info.prior).sum();
        assert!((sum - 1.0).abs() < 1e-12);
    }
}
