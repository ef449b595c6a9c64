//! The most likely card behind a read, and what is certain where no single
//! card is.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use misread_core::{Bit, Bits, Layout};

use super::case::Expected;
use super::code::{Code, Known};
use super::gf2::Words;
use super::likelihood::{
    Chances, Posed, Received, all_agree, chances_of_all, changed, has_bytes, reverse_bytes, twice,
    unpadded,
};
use super::likelihoods::Base;
use super::trellis::{self, Column, Matched, Trellis, columns, nearest};
use crate::cause::Cause;
use crate::channel::{Padding, Pulses};

/// How many steps the search for a card may take before too many frames are
/// possible to say.
const MOST_STEPS: usize = 1024;

/// Where a likely card has less than this share of the probability, too many
/// frames are possible to say: the search is not begun.
const LEAST_SHARE: f64 = 1e-4;

/// How many weights a search may keep; where reads of one card come to more, too
/// many frames are possible to say.
pub(crate) const MOST_WEIGHTS: usize = 4_000_000;

/// How many places the search for changed bits may keep.
const MOST_PLACES: usize = 4_000_000;

/// Below this share of the probability a value counts as ruled out.
const RULED_OUT: f64 = 1e-9;

/// What can be said of the card behind one read, under one cause and layout.
#[derive(Clone, Debug, PartialEq)]
pub struct CardFound {
    /// The layout it is of, by index.
    pub layout: usize,
    /// The card's values: all its fields where one card is likelier than all
    /// others together, otherwise those that are certain.
    pub fields: Expected,
    /// The frame the reader sent, `?` where it is not known.
    pub frame: Bits,
    /// Whether one card is likelier than all others together.
    pub single: bool,
    /// How likely it is that card, 0 to 1, given the wire state; 0 where no
    /// single one is.
    pub probability: f64,
}

/// How likely a card must be to be named, given the wire state.
const SURE: f64 = 0.9;

impl CardFound {
    /// Whether it is a single card, and likely enough to be named.
    pub fn is_sure(&self) -> bool {
        self.single && self.probability >= SURE
    }

    pub(crate) fn new(layout: &Layout, cause: Cause, frame: Bits) -> Self {
        let mut fields = Expected::new();
        for field in layout.fields() {
            if let Some(mut raw) = field.raw_in(&frame) {
                if cause == Cause::BytesReversed && has_bytes(field.width()) {
                    raw = reverse_bytes(raw, field.width());
                }
                fields.insert(field.name().to_owned(), field.from_raw(raw));
            }
        }
        let single = fields.len() == layout.fields().len();
        CardFound { layout: 0, fields, frame, single, probability: 0.0 }
    }

    /// Nothing is known.
    pub(crate) fn unknown(layout: &Layout) -> Self {
        let frame = (0..layout.bits()).map(|_| Bit::Unread).collect();
        CardFound { layout: 0, fields: Expected::new(), frame, single: false, probability: 0.0 }
    }
}

/// The frames behind reads of one card, as a cause leaves them.
pub(crate) struct Behind {
    /// What is certain of them.
    pub(crate) certain: Known,
    /// A frame that is as likely as any, or some of its bits; `None` where there
    /// are too many to say.
    pub(crate) likely: Option<Known>,
}

/// What is behind reads of one card. `rates` come with the logarithm of the
/// weight that the other reads of the case give each. `None` where the reads are
/// ruled out.
pub(crate) fn behind(
    base: Base,
    rates: &[(f64, f64)],
    reads: &[Received],
    layout: &Layout,
    posed: &Posed,
    most_weights: usize,
) -> Option<Behind> {
    let turned: Vec<Received>;
    let (cause, reads) = match base.turned {
        false => (base.cause, reads),
        true => {
            turned = reads.iter().map(Received::turned).collect();
            (base.cause.on_the_other_line(), &turned[..])
        }
    };
    let code = &posed.code;
    let known = |known: Known| Some(Behind { certain: known, likely: Some(known) });
    if reads.is_empty() {
        return known(code.known);
    }
    match (Pulses::of(cause), &posed.trellis) {
        (Some(pulses), Ok(trellis)) => {
            frames_of_pulses(&pulses, rates, reads, layout, (code, trellis), most_weights)
        }
        (Some(_), Err(_)) => Some(Behind { certain: code.known, likely: None }),
        // Whichever bits are changed, what else is known stays.
        (None, _) if cause == Cause::BitsChanged => {
            let likely = match field_bits(layout).without(code.known.bits).is_empty() {
                true => Some(code.known),
                false => nearest_frame(reads, posed),
            };
            Some(Behind { certain: code.known, likely })
        }
        (None, _) => {
            let fill = base.turned;
            let frames = Padding::ALL.iter().filter_map(|&way| {
                let seen = |received: &Received| shown(cause, &received.bits, way, code.n, fill);
                let code = match cause {
                    Cause::BytesReversed => posed.bytes_reversed.as_ref()?,
                    _ => code,
                };
                code.narrowed(all_agree(reads.iter().map(seen))?)
            });
            known(common(frames)?)
        }
    }
}

/// A frame, or some of its bits, as a card.
pub(crate) fn card_of(layout: &Layout, cause: Cause, frame: Known) -> CardFound {
    CardFound::new(layout, cause, bits_of(frame, layout.bits()))
}

/// What a read shows of the frame, under a cause that keeps the length, cuts it
/// at an end or fills it up `way`.
fn shown(cause: Cause, read: &Bits, way: Padding, n: usize, fill: bool) -> Option<Known> {
    match cause {
        Cause::BitOrderReversed => Some(Known::of_read(&read.reverse(), 0)),
        Cause::HeadLost => Some(Known::of_read(read, n.saturating_sub(read.len()))),
        Cause::FramesMerged => twice(read, n),
        Cause::LinesShorted => Some(Known::default()),
        Cause::Padded => unpadded(way, read, n, fill),
        _ => Some(Known::of_read(read, 0)),
    }
}

/// A frame that the reads differ from as little as they can, or as is likeliest.
fn nearest_frame(reads: &[Received], posed: &Posed) -> Option<Known> {
    let trellis = posed.trellis.as_ref().ok()?;
    let bits: Vec<Bits> = reads.iter().map(|read| read.bits).collect();
    let (different, share) = changed(&bits)?;
    let frame = nearest(trellis, &different, share, MOST_PLACES)?;
    let mut known = Known::default();
    frame.into_iter().enumerate().for_each(|(index, bit)| known.insert(index, bit));
    Some(known)
}

pub(crate) fn field_bits(layout: &Layout) -> Words {
    layout.fields().iter().fold(Words::default(), |sum, field| sum.or(Words::of(&field.mask())))
}

/// What all of several sets of frames agree on.
fn common(sets: impl Iterator<Item = Code>) -> Option<Known> {
    sets.map(|code| code.known).reduce(Known::both)
}

fn bits_of(known: Known, n: usize) -> Bits {
    let bit = |index| match known.bits.contains(index) {
        true => Bit::from(known.values.contains(index)),
        false => Bit::Unread,
    };
    (0..n).map(bit).collect()
}

fn frames_of_pulses(
    pulses: &Pulses,
    rates: &[(f64, f64)],
    reads: &[Received],
    layout: &Layout,
    (code, trellis): (&Code, &Trellis),
    most_weights: usize,
) -> Option<Behind> {
    let matched = |spared: f64| -> Vec<Matched> {
        reads.iter().map(|read| Matched::new(pulses, &read.bits, 1.0, spared)).collect()
    };
    let heaviest = rates.iter().map(|&(_, ln)| ln).fold(f64::NEG_INFINITY, f64::max);
    let parts: Vec<Part> = match chances_of_all(pulses, code.n, reads) {
        Chances::Impossible => return None,
        // The rate is the same factor for every frame.
        Chances::Counted { .. } => {
            Part::new(trellis, matched(1.0), 1.0, most_weights).into_iter().collect()
        }
        Chances::Varying { happens } => rates
            .iter()
            .filter_map(|&(rate, ln)| {
                let weight = libm::exp(ln - heaviest) * libm::pow(rate, happens as f64);
                Part::new(trellis, matched(1.0 - rate), weight, most_weights)
            })
            .collect(),
    };
    if parts.is_empty() {
        // Ruled out, or too many ways to go through.
        return Some(Behind { certain: code.known, likely: None });
    }
    let branches = field_bits(layout).and(code.free_bits());
    let likely = match best_branch(trellis, &parts, branches) {
        Some(card) => code.narrowed(card).map(|code| code.known),
        None => None,
    };
    Some(Behind { certain: certain_bits(trellis, &parts), likely })
}

/// Reads at one rate (or at all, where the rate makes no difference), with the
/// weight of everything that can follow each bit.
struct Part {
    reads: Vec<Matched>,
    columns: Vec<Column>,
    weight: f64,
}

impl Part {
    fn new(trellis: &Trellis, reads: Vec<Matched>, weight: f64, most: usize) -> Option<Self> {
        let columns = columns(trellis, &reads, most)?;
        (weight > 0.0).then_some(Part { reads, columns, weight })
    }

    /// The weight of all frames that go on from `forward` after `index` bits.
    fn total(&self, index: usize, forward: &Forward) -> f64 {
        let column = &self.columns[index];
        let sum: f64 = forward.iter().map(|(state, row)| column.dot(*state, row)).sum();
        self.weight * libm::ldexp(sum, column.exponent)
    }
}

/// The weight of everything that led to a bit, by state and by received bits
/// used up, as in the column there.
type Forward = Vec<(usize, Vec<f64>)>;

fn start(part: &Part) -> Forward {
    let mut row = vec![0.0; part.columns[0].size()];
    if let Some(first) = row.first_mut() {
        *first = 1.0;
    }
    vec![(0, row)]
}

/// One bit further, with any of `choices`.
fn advance(
    trellis: &Trellis,
    part: &Part,
    index: usize,
    forward: &Forward,
    choices: &[bool],
) -> Forward {
    let columns = (&part.columns[index], &part.columns[index + 1]);
    let prior = 1.0 / trellis.choices(index).len() as f64;
    let mut scratch = [Vec::new(), Vec::new()];
    let mut next: Forward = Vec::new();
    for (state, row) in forward {
        for &bit in choices {
            let Some(after) = trellis.next(index, *state, bit) else { continue };
            trellis::advance(&part.reads, bit, columns, row, &mut scratch);
            let weights = scratch[0].iter().map(|weight| weight * prior);
            match next.iter_mut().find(|(s, _)| *s == after) {
                Some((_, into)) => into.iter_mut().zip(weights).for_each(|(sum, w)| *sum += w),
                None => next.push((after, weights.collect())),
            }
        }
    }
    next.retain(|(_, row)| row.iter().any(|&w| w > 0.0));
    next
}

/// A choice of the first branch bits, and all that can come of it.
#[derive(Clone)]
struct Node {
    total: f64,
    index: usize,
    chosen: Known,
    forward: Vec<Forward>,
}

impl Ord for Node {
    /// The heaviest first; of equals, the one furthest along.
    fn cmp(&self, other: &Self) -> Ordering {
        self.total.total_cmp(&other.total).then(self.index.cmp(&other.index))
    }
}

impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Node {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Node {}

/// The values of the branch bits that carry the most weight; `None` where two
/// choices carry the same or the search grows too long.
///
/// Best first: what all frames behind a choice weigh together is never less
/// than what one of them weighs, so the first choice that is complete when it
/// comes up is the heaviest.
fn best_branch(trellis: &Trellis, parts: &[Part], branches: Words) -> Option<Known> {
    const EQUAL: f64 = 1.0 - 1e-9;
    let n = trellis.len();
    let first = Node::first(parts);
    if likely_share(trellis, parts, branches, &first) < LEAST_SHARE {
        return None;
    }
    let mut open = BinaryHeap::from([first]);
    let mut best: Option<Node> = None;
    for _ in 0..MOST_STEPS {
        let Some(node) = open.pop() else { return best.map(|best| best.chosen) };
        if let Some(best) = &best
            && node.total < best.total * EQUAL
        {
            return Some(best.chosen);
        }
        let node = node.up_to_branch(trellis, parts, branches);
        if node.index < n {
            open.extend(node.branch(trellis, parts));
        } else if best.is_some() {
            return None;
        } else {
            best = Some(node);
        }
    }
    None
}

/// The share of the probability that a card has which takes the heavier value
/// of each bit in turn.
fn likely_share(trellis: &Trellis, parts: &[Part], branches: Words, first: &Node) -> f64 {
    let mut node = first.clone();
    loop {
        node = node.up_to_branch(trellis, parts, branches);
        if node.index == trellis.len() {
            return node.total / first.total;
        }
        match node.branch(trellis, parts).max() {
            Some(next) => node = next,
            None => return 0.0,
        }
    }
}

impl Node {
    fn first(parts: &[Part]) -> Self {
        let forward: Vec<Forward> = parts.iter().map(start).collect();
        let total = parts.iter().zip(&forward).map(|(part, f)| part.total(0, f)).sum();
        Node { total, index: 0, chosen: Known::default(), forward }
    }

    /// Further along, up to the next bit that is branched at or the end.
    fn up_to_branch(mut self, trellis: &Trellis, parts: &[Part], branches: Words) -> Self {
        while self.index < trellis.len() && !branches.contains(self.index) {
            let index = self.index;
            for (part, forward) in parts.iter().zip(&mut self.forward) {
                *forward = advance(trellis, part, index, forward, trellis.choices(index));
            }
            self.index += 1;
        }
        self
    }

    /// One bit further, by each of its values that anything goes on from.
    fn branch(&self, trellis: &Trellis, parts: &[Part]) -> impl Iterator<Item = Node> {
        let index = self.index + 1;
        trellis.choices(self.index).iter().filter_map(move |&bit| {
            let step = |(part, forward)| advance(trellis, part, self.index, forward, &[bit]);
            let forward: Vec<Forward> = parts.iter().zip(&self.forward).map(step).collect();
            let total = parts.iter().zip(&forward).map(|(part, f)| part.total(index, f)).sum();
            let mut chosen = self.chosen;
            chosen.insert(self.index, bit);
            (total > 0.0).then_some(Node { total, index, chosen, forward })
        })
    }
}

/// The bits that are the same in every frame that is not ruled out.
fn certain_bits(trellis: &Trellis, parts: &[Part]) -> Known {
    let n = trellis.len();
    let mut weights = vec![[0.0; 2]; n];
    for part in parts {
        let mut forward = start(part);
        for (index, weights) in weights.iter_mut().enumerate() {
            for &bit in trellis.choices(index) {
                let after = advance(trellis, part, index, &forward, &[bit]);
                weights[usize::from(bit)] += part.total(index + 1, &after);
            }
            forward = advance(trellis, part, index, &forward, trellis.choices(index));
        }
    }
    let mut known = Known::default();
    for (index, [zero, one]) in weights.into_iter().enumerate() {
        if one <= RULED_OUT * zero {
            known.insert(index, false);
        } else if zero <= RULED_OUT * one {
            known.insert(index, true);
        }
    }
    known
}
