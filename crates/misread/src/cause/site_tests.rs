//! The tests an installer can do on site, as data: what each costs, and how
//! likely each outcome is under each cause.
//!
//! Under a cause behind swapped lines the outcomes are those under the cause,
//! unless a row of [`SiteTest::swapped`] says otherwise; at times, half those
//! under the cause and half those where nothing is wrong.
//!
//! All figures are judgement: from memory, common practice, no source. A row
//! says why where its figures are not obvious. Small shares everywhere stand
//! for a slip of the installer or a fault that hides for once: no outcome
//! rules a cause out for good unless it cannot happen at all.

use super::Cause::{self, *};

/// A test an installer can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SiteTest {
    /// Its id, as in answers.
    pub id: &'static str,
    /// What to do, as one installer would say it to another.
    pub says: &'static str,
    /// How long it takes, in minutes.
    pub minutes: f64,
    /// Whether a conductor is touched, so that the caution comes first.
    pub touches_wire: bool,
    /// What can come of it.
    pub outcomes: &'static [Outcome],
    /// How likely each outcome is under each cause; every cause is in one row.
    pub rows: &'static [Row],
    /// How likely each outcome is under a cause behind swapped lines, where that
    /// is not as under the cause by itself; every such cause is in one row, or
    /// there is none.
    pub swapped: &'static [Row],
    /// How likely each outcome is where some presentations give nothing at all.
    pub reads_missing: Row,
}

/// What can come of a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// Its id, as in a priors file.
    pub id: &'static str,
    /// What is seen.
    pub says: &'static str,
}

/// The same likelihoods for some causes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Under these causes.
    pub causes: &'static [Cause],
    /// The probability of each outcome, in the test's order; they sum to 1.
    pub outcomes: &'static [f64],
    /// Why, where it is not obvious.
    pub why: &'static str,
}

/// The test that presents a card whose number is known.
pub(crate) const KNOWN_CARD: &str = "known-card";

/// The test that records both lines at the panel.
pub(super) const CAPTURE: &str = "capture";

const fn outcome(id: &'static str, says: &'static str) -> Outcome {
    Outcome { id, says }
}

const fn row(causes: &'static [Cause], outcomes: &'static [f64], why: &'static str) -> Row {
    Row { causes, outcomes, why }
}

const fn reads_missing(outcomes: &'static [f64], why: &'static str) -> Row {
    row(&[], outcomes, why)
}

const LOSSES: &[Cause] = &[D0Weak, D1Weak, BothWeak];
const EXTRAS: &[Cause] =
    &[D0Noise, D1Noise, BothNoise, D0Ringing, D1Ringing, BothRinging, Crosstalk];

/// The tests, in the order they are listed where they are equally good.
pub static SITE_TESTS: [SiteTest; 7] = [
    SiteTest {
        id: KNOWN_CARD,
        says: "Present a card whose number you know, and compare",
        minutes: 2.0,
        touches_wire: false,
        outcomes: &[
            outcome("right", "its number arrives"),
            outcome("turned-over", "every field arrives as its largest value minus itself"),
            outcome("last-bit-first", "its frame arrives last bit first"),
            outcome("bytes-turned", "its number arrives with the bytes in reverse order"),
            outcome("wrong-count", "too few or too many bits arrive"),
            outcome("other", "the right number of bits, but no number that can be explained"),
        ],
        rows: &[
            row(&[None], &[0.97, 0.0, 0.0, 0.0, 0.01, 0.02], ""),
            row(
                &[LinesSwapped, BitsInverted],
                &[0.0, 0.98, 0.0, 0.0, 0.01, 0.01],
                "Both turn every bit over, so the screen shows the same.",
            ),
            row(&[BitOrderReversed], &[0.0, 0.0, 0.98, 0.0, 0.01, 0.01], ""),
            row(&[BytesReversed], &[0.0, 0.0, 0.0, 0.98, 0.01, 0.01], ""),
            row(&[Padded], &[0.0, 0.0, 0.0, 0.0, 0.99, 0.01], "The 0s that fill up count as bits."),
            row(&[D0Open, D1Open], &[0.0, 0.0, 0.0, 0.0, 0.99, 0.01], ""),
            row(
                &[LinesShorted],
                &[0.0, 0.0, 0.0, 0.0, 0.5, 0.5],
                "Half of the ways a receiver takes a short keep the number of bits.",
            ),
            row(
                LOSSES,
                &[0.1, 0.0, 0.0, 0.0, 0.88, 0.02],
                "At a low rate a read may get through whole.",
            ),
            row(EXTRAS, &[0.1, 0.0, 0.0, 0.0, 0.88, 0.02], "As for lost pulses."),
            row(
                &[HeadLost, TailLost, FrameSplit, FramesMerged],
                &[0.02, 0.0, 0.0, 0.0, 0.97, 0.01],
                "",
            ),
            row(
                &[BitsChanged],
                &[0.7, 0.0, 0.0, 0.0, 0.0, 0.3],
                "A single wrong bit is usually a slip that does not come again.",
            ),
            row(
                &[UnknownLayout],
                &[0.0, 0.0, 0.0, 0.0, 0.6, 0.4],
                "A layout nobody listed most often has another length.",
            ),
            row(&[RandomBits], &[0.0, 0.0, 0.0, 0.0, 0.95, 0.05], ""),
        ],
        swapped: &[],
        reads_missing: reads_missing(
            &[0.64, 0.0, 0.0, 0.0, 0.34, 0.02],
            "Nothing at all is too few bits; about a third of the presentations give it.",
        ),
    },
    SiteTest {
        id: "same-card-thrice",
        says: "Present the same card three times, and compare the three reads",
        minutes: 1.0,
        touches_wire: false,
        outcomes: &[
            outcome("same-whole", "three equal reads, of the layout's length"),
            outcome("same-count-off", "three equal reads, too short or too long"),
            outcome("same-end", "too short, the end always the same"),
            outcome("same-start", "too short, the beginning always the same"),
            outcome("varying", "the reads differ in other ways"),
        ],
        rows: &[
            row(
                &[None, LinesSwapped, BitsInverted, BitOrderReversed, BytesReversed],
                &[0.97, 0.01, 0.0, 0.0, 0.02],
                "",
            ),
            row(
                &[D0Open, D1Open],
                &[0.0, 0.97, 0.01, 0.0, 0.02],
                "The same bits are missing each time.",
            ),
            row(&[Padded], &[0.0, 0.98, 0.0, 0.0, 0.02], ""),
            row(
                &[LinesShorted],
                &[0.48, 0.48, 0.0, 0.0, 0.04],
                "One way of taking it, held throughout.",
            ),
            row(
                LOSSES,
                &[0.07, 0.08, 0.02, 0.03, 0.8],
                "At a low rate all three may come whole, or lose the same bit.",
            ),
            row(
                EXTRAS,
                &[0.1, 0.08, 0.01, 0.01, 0.8],
                "As for lost pulses; at rate 1 every pulse doubles.",
            ),
            row(
                &[HeadLost],
                &[0.0, 0.15, 0.83, 0.0, 0.02],
                "Three reads may lose as much each time.",
            ),
            row(&[TailLost], &[0.0, 0.15, 0.0, 0.83, 0.02], "As for the head."),
            row(
                &[FrameSplit],
                &[0.01, 0.05, 0.02, 0.02, 0.9],
                "Two reads come for each card, cut anywhere.",
            ),
            row(&[FramesMerged], &[0.1, 0.88, 0.0, 0.0, 0.02], ""),
            row(&[BitsChanged], &[0.5, 0.0, 0.0, 0.0, 0.5], ""),
            row(
                &[UnknownLayout],
                &[0.4, 0.58, 0.0, 0.0, 0.02],
                "Equal each time; the length may be one that is known.",
            ),
            row(&[RandomBits], &[0.0, 0.0, 0.01, 0.01, 0.98], ""),
        ],
        swapped: &[],
        reads_missing: reads_missing(
            &[0.35, 0.1, 0.0, 0.0, 0.55],
            "All three may come, or none; mostly some do.",
        ),
    },
    SiteTest {
        id: "exchange-lines",
        says: "Swap the two data conductors at one end, and present the card again",
        minutes: 6.0,
        touches_wire: true,
        outcomes: &[
            outcome("comes-right", "the number is right now"),
            outcome("still-wrong", "it is wrong, as it was or otherwise"),
        ],
        rows: &[
            row(
                &[LinesSwapped, BitsInverted],
                &[0.97, 0.03],
                "Swapping the conductors cures both at the recorder, so it tells nothing between them.",
            ),
            row(&[None], &[0.0, 1.0], "What was right is turned over."),
            row(
                &[
                    BitOrderReversed,
                    BytesReversed,
                    Padded,
                    D0Open,
                    D1Open,
                    LinesShorted,
                    HeadLost,
                    TailLost,
                    FrameSplit,
                    FramesMerged,
                    UnknownLayout,
                    RandomBits,
                ],
                &[0.0, 1.0],
                "",
            ),
            row(LOSSES, &[0.05, 0.95], "Remaking the terminals may cure a poor one."),
            row(EXTRAS, &[0.02, 0.98], "As for lost pulses, more seldom."),
            row(&[BitsChanged], &[0.0, 1.0], ""),
        ],
        swapped: &[
            row(
                LOSSES,
                &[0.1, 0.9],
                "What is left is the cause by itself, which lets a read through.",
            ),
            row(EXTRAS, &[0.1, 0.9], "As for lost pulses."),
            row(
                &[HeadLost, TailLost, FrameSplit, FramesMerged],
                &[0.02, 0.98],
                "As for lost pulses, more seldom.",
            ),
            row(&[BitsChanged], &[0.7, 0.3], "Usually a slip that does not come again."),
            row(&[BitOrderReversed, BytesReversed, Padded, D0Open, D1Open], &[0.0, 1.0], ""),
        ],
        reads_missing: reads_missing(&[0.0, 1.0], "What was right is turned over."),
    },
    SiteTest {
        id: "rest-voltage",
        says: "Measure each data line's resting voltage against common, at the panel",
        minutes: 3.0,
        touches_wire: false,
        outcomes: &[
            outcome("both-high", "both rest near the reader's data voltage"),
            outcome("d0-off", "D0 rests low or wanders, D1 is right"),
            outcome("d1-off", "D1 rests low or wanders, D0 is right"),
            outcome("both-off", "both rest low, or wander"),
        ],
        rows: &[
            row(
                &[
                    None,
                    LinesSwapped,
                    BitsInverted,
                    BitOrderReversed,
                    BytesReversed,
                    Padded,
                    HeadLost,
                    TailLost,
                    FrameSplit,
                    FramesMerged,
                    BitsChanged,
                    UnknownLayout,
                ],
                &[0.96, 0.01, 0.01, 0.02],
                "",
            ),
            row(
                &[D0Open],
                &[0.35, 0.63, 0.0, 0.02],
                "A panel's own pull-up holds an open line high, so a third look right.",
            ),
            row(&[D1Open], &[0.35, 0.0, 0.63, 0.02], "As for D0."),
            row(&[LinesShorted], &[0.85, 0.02, 0.02, 0.11], "Two touching lines both rest high."),
            row(
                &[D0Weak],
                &[0.7, 0.28, 0.0, 0.02],
                "A poor joint carries a voltmeter's current well enough.",
            ),
            row(&[D1Weak], &[0.7, 0.0, 0.28, 0.02], "As for D0."),
            row(
                &[BothWeak],
                &[0.6, 0.03, 0.03, 0.34],
                "A low supply or poor common pulls both down.",
            ),
            row(&[D0Noise, D0Ringing], &[0.9, 0.08, 0.0, 0.02], ""),
            row(&[D1Noise, D1Ringing], &[0.9, 0.0, 0.08, 0.02], ""),
            row(&[BothNoise, BothRinging, Crosstalk], &[0.9, 0.02, 0.02, 0.06], ""),
            row(&[RandomBits], &[0.05, 0.15, 0.15, 0.65], "A floating line or a missing common."),
        ],
        swapped: &[],
        reads_missing: reads_missing(
            &[0.79, 0.03, 0.03, 0.15],
            "A loose supply or common shows only while it is off.",
        ),
    },
    SiteTest {
        id: "continuity",
        says: "With the supply off, measure each conductor end to end, and D0 against D1",
        minutes: 10.0,
        touches_wire: true,
        outcomes: &[
            outcome("sound", "every conductor runs through, none touches another"),
            outcome("d0-open", "D0 does not run through, or badly"),
            outcome("d1-open", "D1 does not run through, or badly"),
            outcome("touching", "D0 and D1 touch"),
            outcome("crossed", "D0 at one end is D1 at the other"),
            outcome("common", "the common does not run through, or badly"),
        ],
        rows: &[
            row(
                &[
                    None,
                    BitsInverted,
                    BitOrderReversed,
                    BytesReversed,
                    Padded,
                    HeadLost,
                    TailLost,
                    FrameSplit,
                    FramesMerged,
                    BitsChanged,
                    UnknownLayout,
                ],
                &[0.97, 0.005, 0.005, 0.005, 0.005, 0.01],
                "",
            ),
            row(
                &[LinesSwapped],
                &[0.44, 0.0, 0.0, 0.0, 0.55, 0.01],
                "Conductors in each other's terminals show; a reader marked the wrong way round does not.",
            ),
            row(
                &[D0Open],
                &[0.15, 0.83, 0.0, 0.01, 0.0, 0.01],
                "The break may be inside the reader.",
            ),
            row(&[D1Open], &[0.15, 0.0, 0.83, 0.01, 0.0, 0.01], "As for D0."),
            row(
                &[LinesShorted],
                &[0.1, 0.0, 0.0, 0.89, 0.0, 0.01],
                "The short may be inside the reader.",
            ),
            row(&[D0Weak], &[0.5, 0.48, 0.0, 0.0, 0.0, 0.02], "A poor joint often measures well."),
            row(&[D1Weak], &[0.5, 0.0, 0.48, 0.0, 0.0, 0.02], "As for D0."),
            row(
                &[BothWeak],
                &[0.5, 0.05, 0.05, 0.0, 0.0, 0.4],
                "A poor common weakens both lines.",
            ),
            row(EXTRAS, &[0.93, 0.01, 0.01, 0.02, 0.0, 0.03], ""),
            row(
                &[RandomBits],
                &[0.2, 0.15, 0.15, 0.0, 0.0, 0.5],
                "A missing common, or a line in no terminal.",
            ),
        ],
        swapped: &[],
        reads_missing: reads_missing(
            &[0.75, 0.005, 0.005, 0.005, 0.005, 0.23],
            "A loose common may measure well just then.",
        ),
    },
    SiteTest {
        id: CAPTURE,
        says: "Record both lines at the panel's terminals, and read the recording",
        minutes: 15.0,
        touches_wire: true,
        outcomes: &[
            outcome("as-text", "clean pulses, the same bits as before"),
            outcome("turned-over", "clean pulses, every bit the other way than before"),
            outcome("d0-silent", "no pulse on D0"),
            outcome("d1-silent", "no pulse on D1"),
            outcome("overlap", "both lines pulse together"),
            outcome("d0-gaps", "beats are missing, short pulses on D0"),
            outcome("d1-gaps", "beats are missing, short pulses on D1"),
            outcome("both-gaps", "beats are missing, short pulses on both"),
            outcome("d0-extra", "extra pulses on D0"),
            outcome("d1-extra", "extra pulses on D1"),
            outcome("both-extra", "extra pulses on both lines"),
            outcome("whole", "clean pulses, the whole frame once, unlike the bits before"),
        ],
        rows: &[
            row(
                &[None, LinesSwapped, BitOrderReversed, BytesReversed, UnknownLayout],
                &[0.96, 0.0, 0.0, 0.0, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005],
                "The recording shows what the panel gets: swapped conductors look as they did.",
            ),
            row(
                &[BitsInverted],
                &[0.0, 0.96, 0.0, 0.0, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005],
                "The only fault that the wires do not show: the recorder turned the bits over.",
            ),
            row(&[D0Open], &[0.0, 0.0, 0.98, 0.0, 0.0, 0.01, 0.0, 0.01, 0.0, 0.0, 0.0, 0.0], ""),
            row(&[D1Open], &[0.0, 0.0, 0.0, 0.98, 0.0, 0.0, 0.01, 0.01, 0.0, 0.0, 0.0, 0.0], ""),
            row(
                &[LinesShorted],
                &[0.02, 0.0, 0.01, 0.01, 0.95, 0.0, 0.0, 0.0, 0.0, 0.0, 0.01, 0.0],
                "",
            ),
            row(
                &[D0Weak],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.85, 0.0, 0.05, 0.0, 0.0, 0.0, 0.05],
                "At a low rate the frame may come whole.",
            ),
            row(
                &[D1Weak],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.0, 0.85, 0.05, 0.0, 0.0, 0.0, 0.05],
                "As for D0.",
            ),
            row(
                &[BothWeak],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.1, 0.1, 0.7, 0.0, 0.0, 0.0, 0.05],
                "As for D0.",
            ),
            row(
                &[D0Noise, D0Ringing],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.85, 0.0, 0.05, 0.05],
                "As for lost pulses.",
            ),
            row(
                &[D1Noise, D1Ringing],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.85, 0.05, 0.05],
                "As for lost pulses.",
            ),
            row(
                &[BothNoise, BothRinging],
                &[0.05, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.1, 0.7, 0.05],
                "As for lost pulses; a receiver that counts both edges sees single pulses here.",
            ),
            row(
                &[Crosstalk],
                &[0.05, 0.0, 0.0, 0.0, 0.6, 0.0, 0.0, 0.0, 0.05, 0.05, 0.2, 0.05],
                "The echo stands on the other line, mostly together with the pulse.",
            ),
            row(
                &[Padded, HeadLost, TailLost, FrameSplit, FramesMerged, BitsChanged],
                &[0.3, 0.0, 0.0, 0.0, 0.0, 0.005, 0.005, 0.01, 0.005, 0.005, 0.01, 0.66],
                "Most often the receiver's doing, so the wires show the frame whole.",
            ),
            row(
                &[RandomBits],
                &[0.05, 0.05, 0.05, 0.05, 0.3, 0.05, 0.05, 0.1, 0.05, 0.05, 0.2, 0.0],
                "",
            ),
        ],
        swapped: &[],
        reads_missing: reads_missing(
            &[0.93, 0.0, 0.01, 0.01, 0.005, 0.005, 0.005, 0.01, 0.005, 0.005, 0.005, 0.01],
            "The presentations that give anything give what was sent.",
        ),
    },
    SiteTest {
        id: "supply",
        says: "Measure the supply voltage at the reader while it reads a card",
        minutes: 4.0,
        touches_wire: false,
        outcomes: &[
            outcome("steady", "within the reader's range, and steady"),
            outcome("low", "under the reader's range, or it dips as the card is read"),
        ],
        rows: &[
            row(
                &[
                    None,
                    LinesSwapped,
                    BitsInverted,
                    BitOrderReversed,
                    BytesReversed,
                    Padded,
                    D0Open,
                    D1Open,
                    LinesShorted,
                    TailLost,
                    FrameSplit,
                    FramesMerged,
                    BitsChanged,
                    UnknownLayout,
                ],
                &[0.95, 0.05],
                "",
            ),
            row(
                &[D0Weak, D1Weak],
                &[0.85, 0.15],
                "A low supply weakens both lines, rarely one alone.",
            ),
            row(&[BothWeak], &[0.45, 0.55], "The most common reason for both lines being weak."),
            row(EXTRAS, &[0.88, 0.12], ""),
            row(&[HeadLost], &[0.7, 0.3], "The supply may dip just as the reader starts to send."),
            row(&[RandomBits], &[0.6, 0.4], ""),
        ],
        swapped: &[],
        reads_missing: reads_missing(&[0.65, 0.35], "A loose supply is one of the three reasons."),
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::Wire;

    #[test]
    fn every_cause_is_in_one_row_of_every_test_and_rows_sum_to_one() {
        for test in &SITE_TESTS {
            for cause in Cause::ALL {
                let rows = test.rows.iter().filter(|row| row.causes.contains(&cause)).count();
                assert_eq!(rows, 1, "{} {cause}", test.id);
            }
            assert!(test.reads_missing.causes.is_empty());
            for row in test.rows.iter().chain(test.swapped).chain([&test.reads_missing]) {
                assert_eq!(row.outcomes.len(), test.outcomes.len(), "{} {:?}", test.id, row.causes);
                let sum: f64 = row.outcomes.iter().sum();
                assert!((sum - 1.0).abs() < 1e-9, "{} {:?}: {sum}", test.id, row.causes);
            }
        }
    }

    /// Swapping the conductors leaves the other one of two causes by itself, so
    /// the number is right then as often as that cause lets a known card's
    /// through.
    #[test]
    fn behind_swapped_lines_the_cause_is_left_by_itself() {
        let right = |cause| {
            let known = SITE_TESTS.iter().find(|test| test.id == "known-card").unwrap();
            known.rows.iter().find(|row| row.causes.contains(&cause)).unwrap().outcomes[0]
        };
        for test in &SITE_TESTS {
            for cause in Cause::ALL.into_iter().filter(|&cause| Wire::swapped(cause).is_some()) {
                let rows: Vec<&Row> =
                    test.swapped.iter().filter(|row| row.causes.contains(&cause)).collect();
                assert_eq!(rows.len(), usize::from(test.id == "exchange-lines"), "{cause}");
                assert!(rows.iter().all(|row| row.outcomes[0] == right(cause)), "{cause}");
            }
        }
    }
}
