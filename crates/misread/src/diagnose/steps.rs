//! What to do about a verdict, in order.

use super::case::{Candidates, Case};
use super::diagnosis::{Verdict, WireFound};
use super::wording::Numbers;
use crate::cause::catalogue::{Step, card_info, wire_info};
use crate::cause::{Cause, Wire};

const NOTHING: &[(&str, bool)] = &[
    (
        "See whether the reader lights or sounds when a card is presented; measure the supply at \
         its terminals.",
        false,
    ),
    ("Measure each data line at rest against common, at the panel and at the reader.", false),
    ("Wait longer than the panel's time for ignoring repeats and present another card.", false),
    ("With the supply off, check common and both data conductors end to end.", true),
];

const LAYOUT: &str = "Set the panel to the card's layout, or use cards of the panel's. Then \
    present two cards whose numbers you know.";

const DECLARED: &str = "Compare the card with the order: it may belong to another site or another \
    batch.";

const MISSING: &str = "Present the card again that gave nothing, after the time for which the \
    panel ignores repeats; if it stays silent, measure the supply at the reader while it reads.";

/// Something to do about a verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToDo {
    /// What to do, in a sentence.
    pub says: String,
    /// Whether a conductor is touched: the caution comes before it.
    pub touches_wire: bool,
}

impl From<&Step> for ToDo {
    fn from(step: &Step) -> Self {
        ToDo { says: step.says.to_owned(), touches_wire: step.touches_wire }
    }
}

/// The steps. What is filled up is shown as it should be pasted.
pub(super) fn steps(
    verdict: Verdict,
    found: Option<&WireFound>,
    showing: &[usize],
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Vec<ToDo> {
    let look = |says: &str| ToDo { says: says.to_owned(), touches_wire: false };
    let empty = case.reads.iter().any(|read| read.bits.is_empty());
    let mut steps: Vec<ToDo> = match verdict {
        Verdict::NoData => {
            let step =
                |&(says, touches_wire): &(&str, bool)| ToDo { says: says.to_owned(), touches_wire };
            NOTHING.iter().map(step).collect()
        }
        Verdict::Wire(wire) => wire_info(wire).mend.iter().map(ToDo::from).collect(),
        Verdict::Card(state) => card_info(state).mend.iter().map(ToDo::from).collect(),
        Verdict::LayoutDiffers => vec![look(LAYOUT)],
        Verdict::None if empty => vec![look(MISSING)],
        Verdict::None => vec![look(DECLARED)],
    };
    if let (Wire::AtTimes(_), Some(at)) = (verdict.wire(), parted(showing, case)) {
        let says =
            format!("Ask what was done between reads {at} and {}: there it changed.", at + 1);
        steps.insert(0, look(&says));
    }
    if verdict.wire() == Wire::Alone(Cause::Padded)
        && let Some(says) = found.and_then(|f| unpadded(f, case, candidates, numbers))
    {
        steps.insert(0, look(&says));
    }
    steps
}

/// The last read before all changes, from 1, where those that show the fault and
/// the others part at one place in time; `None` else.
fn parted(showing: &[usize], case: &Case) -> Option<usize> {
    let there: Vec<bool> = (0..case.reads.len())
        .filter(|&at| !case.reads[at].bits.is_empty())
        .map(|at| showing.binary_search(&at).is_ok())
        .collect();
    let turns = there.windows(2).filter(|pair| pair[0] != pair[1]).count();
    let at = there.windows(2).position(|pair| pair[0] != pair[1])?;
    (turns == 1 && there.len() == case.reads.len()).then_some(at + 1)
}

/// What to paste in place of bits that are filled up.
fn unpadded(
    found: &WireFound,
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Option<String> {
    let (at, card) =
        found.decoded.iter().enumerate().find_map(|(at, card)| Some((at, card.as_ref()?)))?;
    let read = &case.reads.get(at)?.bits;
    let n = candidates.layouts().get(card.layout)?.bits();
    let behind = read.len() >= n && read.slice(0, n).agrees_with(&card.frame);
    let end = if behind { "first" } else { "last" };
    Some(match numbers {
        Numbers::Shown => {
            let bits =
                if behind { read.slice(0, n) } else { read.slice(read.len() - n, read.len()) };
            format!("Paste the {end} {n} bits alone: {bits}")
        }
        Numbers::Masked => format!("Paste the {end} {n} bits alone."),
    })
}
