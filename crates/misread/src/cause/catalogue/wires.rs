//! What the catalogue says of every wire state: of two at once and of what comes
//! at times it follows from what it says of the causes.

use std::borrow::Cow;

use super::{Step, WIRE_CAUTION, card_info, info, look, wire};
use crate::cause::{Cause, Fault, Wire};

/// What the catalogue says of a wire state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WireInfo {
    /// Which state.
    pub wire: Wire,
    /// The verdict, as a sentence without its full stop.
    pub headline: Cow<'static, str>,
    /// What it is and what it does to a read.
    pub what: Cow<'static, str>,
    /// How to make sure of it.
    pub confirm: Cow<'static, str>,
    /// What to do, in order.
    pub mend: Cow<'static, [Step]>,
    /// What can go wrong while mending it; `None` where no wire is touched.
    pub caution: Option<&'static str>,
}

/// What the catalogue says of a wire state.
///
/// ```
/// use misread::cause::catalogue::wire_info;
///
/// let both = wire_info("lines-swapped+d0-weak".parse()?);
/// assert_eq!(both.headline, "The data lines D0 and D1 are swapped, and D0 loses pulses");
/// # Ok::<(), misread::cause::NoSuchWire>(())
/// ```
pub fn wire_info(wire: Wire) -> WireInfo {
    let mend = mend(wire);
    let is_touched = mend.iter().any(|step| step.touches_wire);
    WireInfo {
        wire,
        headline: headline(wire.into()),
        what: what(wire),
        confirm: confirm(wire),
        caution: is_touched.then_some(WIRE_CAUTION),
        mend,
    }
}

/// The verdict on a fault, as a sentence without its full stop.
pub fn headline(fault: Fault) -> Cow<'static, str> {
    match fault {
        Fault::Card(state) => card_info(state).headline.into(),
        Fault::LayoutDiffers => {
            "The wiring is sound, but the card uses another layout than the panel is set to".into()
        }
        Fault::Wire(Wire::Alone(cause)) => info(cause).headline.into(),
        Fault::Wire(Wire::Swapped(cause)) => {
            let swapped = info(Cause::LinesSwapped).headline;
            format!("{swapped}, and {}", inside(info(cause).headline)).into()
        }
        Fault::Wire(Wire::AtTimes(Cause::UnknownLayout)) => {
            "Some cards use a layout that is not among those tried".into()
        }
        Fault::Wire(Wire::AtTimes(cause)) => {
            format!("Now and then {}", inside(info(cause).headline)).into()
        }
        Fault::Wire(Wire::ReadsMissing) => "Now and then a card gives no read at all".into(),
    }
}

/// A sentence that stands inside another one.
fn inside(sentence: &str) -> Cow<'_, str> {
    let mut letters = sentence.chars();
    match (letters.next(), letters.as_str()) {
        // A line's name stays as it is.
        (Some(first), rest) if rest.starts_with(char::is_lowercase) || rest.starts_with(' ') => {
            format!("{}{rest}", first.to_lowercase()).into()
        }
        _ => sentence.into(),
    }
}

fn what(wire: Wire) -> Cow<'static, str> {
    match wire {
        Wire::Alone(cause) => info(cause).what.into(),
        Wire::Swapped(cause) => format!(
            "Two faults at once: D0 and D1 are swapped between reader and panel, and one more. \
             The lines are named by the panel's terminals: its 0s are the card's 1s. {}",
            info(cause).what
        )
        .into(),
        Wire::AtTimes(Cause::LinesSwapped) => {
            "Some reads arrive with every bit turned over, the others as they were sent: two \
             joints that change places, or somebody who swapped the lines between two reads."
                .into()
        }
        Wire::AtTimes(Cause::UnknownLayout) => {
            "Most reads fit a layout that is known here, and some fit none: an odd batch, or a \
             card from elsewhere."
                .into()
        }
        Wire::AtTimes(cause) => format!(
            "Some reads suffer this, the others arrive as they were sent. {}",
            info(cause).what
        )
        .into(),
        Wire::ReadsMissing => {
            "Some presentations give nothing at all, the others arrive as they were sent: a loose \
             supply or common, or a panel that ignores a card it has just read."
                .into()
        }
    }
}

fn confirm(wire: Wire) -> Cow<'static, str> {
    match wire {
        Wire::Alone(cause) => info(cause).confirm.into(),
        Wire::Swapped(cause) => format!(
            "Swap the two data conductors at one end only and present the card again: what is \
             left is the other fault. {}",
            info(cause).confirm
        )
        .into(),
        Wire::AtTimes(Cause::LinesSwapped) => {
            "Present the same card ten times and touch nothing: if every read is alike, somebody \
             swapped the lines in between."
                .into()
        }
        Wire::AtTimes(Cause::UnknownLayout) => {
            "Present a card that reads right and one that does not, three times each: it is \
             always the same cards."
                .into()
        }
        Wire::AtTimes(_) => {
            "Present the same card ten times: some reads are right, and the others are wrong in \
             this way."
                .into()
        }
        Wire::ReadsMissing => {
            "Present cards half a minute apart: if every one comes, the panel was ignoring \
             repeats. If some still give nothing, see whether the reader shows that it read them."
                .into()
        }
    }
}

const TEN_RIGHT: Step = look("Present the same card ten times: every read must be right.");

fn mend(wire_state: Wire) -> Cow<'static, [Step]> {
    const SWAP_FIRST: [Step; 2] = [
        wire("With the supply off, swap D0 and D1 at one end only."),
        look("Present the card again. If the number is still wrong, go on."),
    ];
    const SWAPPED_AT_TIMES: &[Step] = &[
        wire(
            "With the supply off, see that D0 and D1 are in the terminals of their names at every \
             joint, and firm there.",
        ),
        look("Ask whether somebody swapped the lines between two reads."),
        TEN_RIGHT,
    ];
    const ODD_CARDS: Step = look("Sort out the cards that read wrong; the others are good.");
    const WHERE: Step = wire(
        "Present the same card again and again, and move the cable a little at each joint: where \
         reads turn wrong is the place.",
    );
    const WHICH: Step = look("Present the same card ten times, and note which reads are wrong.");
    const NO_READ: &[Step] = &[
        look(
            "Wait longer than the panel's time for ignoring repeats, or set that time shorter, \
             and present the card again.",
        ),
        look("Measure the supply at the reader while cards are presented: it must not drop."),
        wire("With the supply off, remake the reader's supply and common at both ends."),
        look("Present the same card ten times, half a minute apart: it must come each time."),
    ];
    match wire_state {
        Wire::Alone(cause) => info(cause).mend.into(),
        Wire::Swapped(cause) => [&SWAP_FIRST, info(cause).mend].concat().into(),
        Wire::AtTimes(Cause::LinesSwapped) => SWAPPED_AT_TIMES.into(),
        Wire::AtTimes(Cause::UnknownLayout) => {
            [&[ODD_CARDS], info(Cause::UnknownLayout).mend].concat().into()
        }
        Wire::AtTimes(cause) => {
            let first = if info(cause).caution.is_some() { WHERE } else { WHICH };
            // Ten cards instead of the one or two at the end.
            let steps = info(cause).mend.iter().filter(|step| !step.says.starts_with("Present "));
            [first].into_iter().chain(steps.copied()).chain([TEN_RIGHT]).collect()
        }
        Wire::ReadsMissing => NO_READ.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::CardState;

    #[test]
    fn headlines_are_what_an_installer_would_say() {
        for (id, says) in [
            ("lines-swapped+d0-weak", "The data lines D0 and D1 are swapped, and D0 loses pulses"),
            (
                "lines-swapped+crosstalk",
                "The data lines D0 and D1 are swapped, and a pulse on one data line causes one on \
                 the other",
            ),
            ("d0-weak-at-times", "Now and then D0 loses pulses"),
            ("d0-open-at-times", "Now and then nothing arrives on D0"),
            ("lines-swapped-at-times", "Now and then the data lines D0 and D1 are swapped"),
            ("unknown-layout-at-times", "Some cards use a layout that is not among those tried"),
            ("reads-missing", "Now and then a card gives no read at all"),
        ] {
            assert_eq!(headline(id.parse().unwrap()), says);
        }
    }

    #[test]
    fn everything_is_said_of_every_state() {
        for wire in Wire::all() {
            let info = wire_info(wire);
            for text in [&info.headline, &info.what, &info.confirm] {
                assert!(!text.is_empty() && !text.contains("  "), "{wire}: {text}");
            }
            assert!(!info.headline.ends_with('.') && info.what.ends_with('.'), "{wire}");
            assert!(!info.mend.is_empty(), "{wire}");
            let touched = info.mend.iter().any(|step| step.touches_wire);
            assert_eq!(info.caution.is_some(), touched, "{wire}");
        }
        let mut all: Vec<_> = Wire::all().map(|wire| headline(wire.into())).collect();
        all.extend(CardState::ALL.map(|state| headline(Fault::Card(state))));
        all.push(headline(Fault::LayoutDiffers));
        let count = all.len();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), count, "two faults are said alike");
    }

    #[test]
    fn swapped_lines_come_first_and_their_wires_with_the_supply_off() {
        for wire in Wire::all().filter(|wire| matches!(wire, Wire::Swapped(_))) {
            assert!(wire_info(wire).mend[0].says.contains("supply off, swap D0 and D1"), "{wire}");
        }
        assert!(info(Cause::LinesSwapped).mend[0].says.contains("supply off, swap D0 and D1"));
    }
}
