//! The reads one by one: first those that suffer, then some of the others.

use misread::diagnose::{CardFound, Diagnosis, WireFound};

use super::super::question::Question;
use crate::draw::{Ink, Line, hanging};
use crate::masking::Masking;
use crate::words::percent;

/// How many reads are listed.
const MOST: usize = 10;

pub(super) fn lines(question: &Question, diagnosis: &Diagnosis, masking: Masking) -> Vec<Line> {
    let Some(found) = diagnosis.answer_wire() else { return Vec::new() };
    if found.wire.is_without_layout() || is_named(question, found) {
        return Vec::new();
    }
    let reads = &question.case.reads;
    let is_odd = diagnosis.showing.len() < reads.len();
    let suffers = |at: usize| is_odd && diagnosis.showing.binary_search(&at).is_ok();
    let mut order: Vec<usize> = (0..reads.len()).collect();
    order.sort_by_key(|&at| !suffers(at));
    let several = reads.len() > 1;
    let mut lines = vec![Line::default()];
    for &at in order.iter().take(MOST) {
        let length = reads[at].bits.len();
        let says = match found.decoded.get(at).and_then(Option::as_ref) {
            _ if reads[at].bits.is_empty() => "nothing arrived".to_owned(),
            _ if suffers(at) && found.wire.cause().is_without_layout() => {
                format!("{}, of no layout that is listed", bits(length))
            }
            Some(card) => of_card(question, card, masking),
            None => continue,
        };
        let lead = if several { format!("Read {}: ", at + 1) } else { "The card: ".to_owned() };
        let card = found.decoded.get(at).and_then(Option::as_ref);
        let layout = card.and_then(|card| question.layout(card.layout));
        let is_off = layout.is_some_and(|layout| layout.bits() != length);
        let off_frame = found.wire.cause().is_without_layout();
        let odd = match suffers(at) && is_off && !off_frame && length > 0 {
            true => format!(" ({})", bits(length)),
            false => String::new(),
        };
        lines.extend(hanging(Ink::Plain, &lead, &format!("{says}{odd}")));
    }
    if let Some(more) = order.len().checked_sub(MOST).filter(|&more| more > 0) {
        let those =
            if order[MOST..].iter().any(|&at| suffers(at)) { "reads" } else { "good reads" };
        let like = match diagnosis.suffers {
            Some(_) => format!("… and {more} more {those} like them"),
            None => format!("… and {more} more reads"),
        };
        lines.extend(hanging(Ink::Plain, "", &like));
    }
    lines
}

/// Whether the first line names the card of all reads.
fn is_named(question: &Question, found: &WireFound) -> bool {
    let mut cards = found.decoded.iter().flatten();
    let there = question.case.reads.iter().filter(|read| !read.bits.is_empty()).count();
    cards.clone().count() == there
        && cards
            .clone()
            .next()
            .is_some_and(|first| cards.all(|card| card.is_sure() && card.fields == first.fields))
}

fn of_card(question: &Question, card: &CardFound, masking: Masking) -> String {
    let Some(layout) = question.layout(card.layout) else { return String::new() };
    let values = masking.numbers().values(layout, &card.fields);
    match (card.fields.is_empty(), card.single) {
        (true, _) => "not certain; too many cards are possible".to_owned(),
        (false, true) if card.is_sure() => values,
        (false, true) => {
            format!("not certain; most likely {values} ({})", percent(card.probability))
        }
        (false, false) => format!("not certain; sure is {values}"),
    }
}

fn bits(n: usize) -> String {
    format!("{n} bit{}", if n == 1 { "" } else { "s" })
}
