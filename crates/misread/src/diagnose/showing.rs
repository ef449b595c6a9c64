//! Which presentations show what a wire state does.

use super::case::{Candidates, Case};
use super::diagnosis::WireFound;
use super::likelihood::needs_trellis;
use crate::cause::{Cause, Wire};

/// The presentations that show it, by index: those that suffer what comes at
/// times, those that are too short or too long where others are not, those that
/// gave nothing; else all that gave something.
pub(super) fn showing(
    found: &WireFound,
    suffers: Option<&[f64]>,
    case: &Case,
    candidates: &Candidates,
) -> Vec<usize> {
    let reads = &case.reads;
    let there = || (0..reads.len()).filter(|&at| !reads[at].bits.is_empty());
    let is_off = |&at: &usize| {
        let card = found.decoded.get(at).and_then(Option::as_ref);
        let layout = card.and_then(|card| candidates.layouts().get(card.layout));
        layout.is_some_and(|layout| layout.bits() != reads[at].bits.len())
    };
    let cause = found.wire.cause();
    let by_length = needs_trellis(cause) || matches!(cause, Cause::HeadLost | Cause::TailLost);
    let those: Vec<usize> = match (found.wire, suffers) {
        (Wire::ReadsMissing, _) => {
            (0..reads.len()).filter(|&at| reads[at].bits.is_empty()).collect()
        }
        (Wire::AtTimes(_), Some(suffers)) => {
            there().filter(|&at| suffers.get(at).is_some_and(|&p| p >= 0.5)).collect()
        }
        _ if by_length => there().filter(is_off).collect(),
        _ => Vec::new(),
    };
    if those.is_empty() { there().collect() } else { those }
}
