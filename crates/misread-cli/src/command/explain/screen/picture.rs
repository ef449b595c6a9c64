//! The bits that show what the verdict says.

use misread::cause::{Cause, Wire};
use misread::diagnose::{Aligned, CardFound, Diagnosis, Whose, WireFound, align};
use misread::{Bit, Bits, Layout};

use super::super::question::Question;
use crate::draw::{Alignment, Drawing, Ink, Line, Marked};
use crate::masking::Masking;

/// How many reads of one card are drawn.
const MOST_DRAWN: usize = 3;

/// The first of the reads that the verdict is about, drawn; and the others of
/// one card, each against its frame.
pub(super) fn lines(
    question: &Question,
    diagnosis: &Diagnosis,
    found: &WireFound,
    masking: Masking,
) -> Vec<Line> {
    let reads = &question.case.reads;
    let those: Vec<usize> =
        diagnosis.showing.iter().copied().filter(|&at| !reads[at].bits.is_empty()).collect();
    let there = (0..reads.len()).find(|&at| !reads[at].bits.is_empty());
    let those = if those.is_empty() { there.into_iter().collect() } else { those };
    let Some(&first) = those.first() else { return Vec::new() };
    if found.wire == Wire::Alone(Cause::UnknownLayout) {
        let bits: Vec<&Bits> = those.iter().map(|&at| &reads[at].bits).collect();
        return after_gap(unlisted(&bits, masking));
    }
    let one_card = diagnosis.presented.first().is_some_and(|&(whose, _)| whose == Whose::OneCard);
    let is_walked = |at: &usize| {
        let layout = layout_of(question, found, *at);
        layout.is_some_and(|layout| layout.bits() != reads[*at].bits.len())
    };
    let mut lines = Vec::new();
    let is_split = found.wire.cause() == Cause::FrameSplit;
    let more = those.iter().skip(1).filter(|&at| one_card && !is_split && is_walked(at));
    let drawn: Vec<usize> = std::iter::once(first).chain(more.copied()).take(MOST_DRAWN).collect();
    let several = reads.len() > 1;
    for at in drawn {
        lines.push(Line::default());
        if several {
            lines.push(Line::new(Ink::Faint, format!("Read {}", at + 1)));
        }
        lines.extend(one(question, found, at, masking));
    }
    lines
}

fn after_gap(lines: Vec<Line>) -> Vec<Line> {
    [Line::default()].into_iter().chain(lines).collect()
}

fn card_of(found: &WireFound, at: usize) -> Option<&CardFound> {
    found.decoded.get(at).and_then(Option::as_ref)
}

fn layout_of<'q>(question: &'q Question, found: &WireFound, at: usize) -> Option<&'q Layout> {
    question.layout(card_of(found, at)?.layout)
}

/// What the bits of cards share and where they differ.
fn unlisted(reads: &[&Bits], masking: Masking) -> Vec<Line> {
    let Some(first) = reads.first() else { return Vec::new() };
    let differs = |index: &usize| {
        let bits = || reads.iter().filter_map(|read| read.get(*index)?.value());
        bits().any(|bit| Some(bit) != bits().next())
    };
    let one_length = reads.iter().all(|read| read.len() == first.len());
    let differing: Vec<usize> = (0..first.len()).filter(differs).collect();
    let mut marks = Vec::new();
    // Where cards differ tells of their numbers.
    if one_length && !differing.is_empty() && !masking.is_on() {
        marks.push(Marked { bits: differing, word: "differ from card to card".to_owned() });
    }
    Drawing { bits: first, layout: None, marks, masking }.lines()
}

/// One read, drawn so that it shows what the verdict says.
fn one(question: &Question, found: &WireFound, at: usize, masking: Masking) -> Vec<Line> {
    let reads = &question.case.reads;
    let read = reads[at].bits;
    let layout = layout_of(question, found, at);
    let plain = |bits: &Bits, marks: Vec<Marked>| Drawing { bits, layout, marks, masking }.lines();
    let Some(layout) = layout else { return plain(&read, Vec::new()) };
    let Some(frame) = card_of(found, at).map(|card| card.frame) else {
        return plain(&read, Vec::new());
    };
    // Where a bit was lost or added on one line tells its value.
    if masking.is_on() && read.len() != layout.bits() {
        return plain(&read, Vec::new());
    }
    // Behind swapped lines the frame arrives turned over.
    let is_turned = matches!(found.wire, Wire::Swapped(_));
    let frame = if is_turned { frame.complement() } else { frame };
    let cause = found.wire.cause();
    let n = layout.bits();
    let way = match cause {
        Cause::HeadLost => Some(cut(n, read.len(), n.saturating_sub(read.len()))),
        Cause::TailLost => Some(cut(n, read.len(), 0)),
        cause => align(cause, found.rate.unwrap_or(0.5), &frame, &read),
    };
    if let Some(way) = way.filter(|_| read.len() != layout.bits()) {
        return Alignment { frame: &frame, read: &read, way: &way, layout }.lines();
    }
    match cause {
        Cause::FrameSplit => {
            let next = reads[at + 1..].iter().find(|read| !read.bits.is_empty());
            let both = next.and_then(|next| read.concat(&next.bits).ok()).unwrap_or(read);
            let cut = Marked { bits: vec![read.len()], word: "the second read begins".to_owned() };
            plain(&both, vec![cut])
        }
        Cause::FramesMerged => plain(&read.slice(0, layout.bits()), Vec::new()),
        Cause::BitsChanged => {
            let differs = |&i: &usize| {
                let pair = (read.get(i).and_then(Bit::value), frame.get(i).and_then(Bit::value));
                matches!(pair, (Some(a), Some(b)) if a != b)
            };
            let bits: Vec<usize> = (0..read.len()).filter(differs).collect();
            let mut marks = Marked::failures(layout, &read);
            if !bits.is_empty() {
                marks = vec![Marked { bits, word: "should be the other value".to_owned() }];
            }
            plain(&read, marks)
        }
        _ => plain(&read, Marked::failures(layout, &read)),
    }
}

/// A frame of which only `arrived` bits from `from` on were received.
fn cut(n: usize, arrived: usize, from: usize) -> Vec<Aligned> {
    let step = |frame: usize| match frame.checked_sub(from).filter(|&read| read < arrived) {
        Some(read) => Aligned::Arrived { frame, read },
        None => Aligned::Lost { frame },
    };
    (0..n).map(step).collect()
}
