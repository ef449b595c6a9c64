//! Sums over every frame a layout allows and every way its pulses could have
//! been lost or added.
//!
//! The frame is walked bit by bit, keeping the running parity of each check
//! that has begun and not yet ended (the *state*) and how many received bits
//! are used up: of one read, or of each of several reads of one card. Tables
//! are filled from the last bit to the first: an entry is the weight of
//! everything that can still follow from there.

use misread_core::Bits;

use super::code::Code;
use crate::channel::{Arrival, BITS_CHANGED, Chance, Pulses};

/// The most checks that may be open at once.
pub const MAX_OPEN_CHECKS: usize = 16;

/// More checks are open at one bit than the analysis follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TooManyOpen {
    /// The first position, from 1, after which too many are open.
    pub(crate) position: usize,
    /// How many are.
    pub(crate) open: usize,
}

/// The states of a code, bit by bit.
#[derive(Clone, Debug)]
pub(crate) struct Trellis {
    steps: Vec<Step>,
    states: usize,
    /// How many 1s a frame has, at the fewest and at the most.
    ones: (usize, usize),
}

#[derive(Clone, Copy, Debug, Default)]
struct Step {
    known: Option<bool>,
    /// The running checks this bit is part of.
    toggles: u32,
    /// Those of them that end here, and what they must come to.
    ends: u32,
    must_be: u32,
    /// The checks that begin here; they may take the place of one that ends.
    begins: u32,
}

impl Trellis {
    pub(crate) fn new(code: &Code) -> Result<Self, TooManyOpen> {
        let open = code.open_checks();
        if let Some(at) = open.iter().position(|&count| count > MAX_OPEN_CHECKS) {
            return Err(TooManyOpen { position: at + 1, open: open[at] });
        }
        let mut steps = vec![Step::default(); code.n];
        for (index, step) in steps.iter_mut().enumerate() {
            step.known = code.known.bits.contains(index).then(|| code.known.values.contains(index));
        }
        // Places are handed out first come, first served; a check takes the
        // place that one ending at its first bit gives up.
        let mut rows: Vec<_> = code
            .checks
            .iter()
            .filter_map(|check| Some((check.over.first_index()?, check.over.last_index()?, check)))
            .collect();
        rows.sort_by_key(|&(first, ..)| first);
        let mut busy_until = [0usize; MAX_OPEN_CHECKS];
        let mut states = 1;
        for (first, last, check) in rows {
            let place = busy_until.iter().position(|&until| until <= first).unwrap_or_default();
            busy_until[place] = last;
            let bit = 1u32 << place;
            states = states.max(1 << (place + 1));
            for index in check.over.indices() {
                if index == first {
                    steps[index].begins |= bit;
                } else {
                    steps[index].toggles |= bit;
                }
            }
            steps[last].ends |= bit;
            if check.odd {
                steps[last].must_be |= bit;
            }
        }
        let mut trellis = Trellis { steps, states, ones: (0, 0) };
        trellis.ones = trellis.count_ones();
        Ok(trellis)
    }

    /// How many 1s a frame has, at the fewest and at the most.
    pub(crate) fn ones(&self) -> (usize, usize) {
        self.ones
    }

    fn count_ones(&self) -> (usize, usize) {
        let mut counts: Vec<Option<(usize, usize)>> = vec![None; self.states];
        counts[0] = Some((0, 0));
        for index in 0..self.len() {
            let mut next: Vec<Option<(usize, usize)>> = vec![None; self.states];
            for (state, count) in counts.iter().enumerate() {
                let Some((fewest, most)) = *count else { continue };
                for &bit in self.choices(index) {
                    let Some(after) = self.next(index, state, bit) else { continue };
                    let one = usize::from(bit);
                    let (low, high) = (fewest + one, most + one);
                    next[after] = Some(match next[after] {
                        None => (low, high),
                        Some((a, b)) => (a.min(low), b.max(high)),
                    });
                }
            }
            counts = next;
        }
        counts[0].unwrap_or_default()
    }

    pub(crate) fn len(&self) -> usize {
        self.steps.len()
    }

    /// How many states there are at most; the first and the last is 0.
    pub(crate) fn states(&self) -> usize {
        self.states
    }

    /// The bits that may stand at `index`: one where it is known.
    pub(crate) fn choices(&self, index: usize) -> &'static [bool] {
        match self.steps[index].known {
            None => &[false, true],
            Some(false) => &[false],
            Some(true) => &[true],
        }
    }

    /// The state after this bit; `None` where a check that ends here fails.
    pub(crate) fn next(&self, index: usize, state: usize, bit: bool) -> Option<usize> {
        let step = &self.steps[index];
        let bits = if bit { u32::MAX } else { 0 };
        let state = state as u32 ^ (step.toggles & bits);
        (state & step.ends == step.must_be)
            .then_some(((state & !step.ends) ^ (step.begins & bits)) as usize)
    }
}

/// A cause's table at one rate, matched against one read.
pub(crate) struct Matched {
    /// Received bits.
    len: usize,
    bit: [Vec<MatchedArrival>; 2],
    tail: Vec<MatchedArrival>,
}

struct MatchedArrival {
    bits: &'static [bool],
    /// The weight of this arrival from each received bit on: 0 where the bits
    /// do not match.
    weight: Vec<f64>,
}

impl Matched {
    /// `happens` and `spared` are the weights of a chance taken and not taken.
    pub(crate) fn new(pulses: &Pulses, read: &Bits, happens: f64, spared: f64) -> Self {
        let received: Vec<Option<bool>> = read.iter().map(|bit| bit.value()).collect();
        let matched = |arrivals: &[Arrival]| {
            let one = |arrival: &Arrival| {
                let weight = arrival.factor
                    * match arrival.chance {
                        Chance::Sure => 1.0,
                        Chance::Happens => happens,
                        Chance::Spared => spared,
                    };
                let weight_at = |at: usize| {
                    let fits = received.get(at..at + arrival.bits.len()).is_some_and(|found| {
                        found.iter().zip(arrival.bits).all(|(f, b)| f.is_none_or(|f| f == *b))
                    });
                    if fits { weight } else { 0.0 }
                };
                MatchedArrival {
                    bits: arrival.bits,
                    weight: (0..=received.len()).map(weight_at).collect(),
                }
            };
            arrivals.iter().map(one).collect::<Vec<_>>()
        };
        Matched {
            len: received.len(),
            bit: [matched(pulses.bit[0]), matched(pulses.bit[1])],
            tail: matched(pulses.tail),
        }
    }

    fn of_bit(&self, bit: bool) -> &[MatchedArrival] {
        &self.bit[usize::from(bit)]
    }
}

/// Which received bits of each read can be used up after a bit of the frame.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Room {
    /// The fewest that can be used up, and how many more and one; a read each.
    reads: Vec<(usize, usize)>,
    /// The product of the latter.
    size: usize,
}

/// The weight of all that can follow a bit, by state and by how many received
/// bits of each read are used up.
#[derive(Clone, Debug, Default)]
pub(crate) struct Column {
    room: Room,
    /// By state, then by received bits used, the last read's fastest.
    weights: Vec<f64>,
    /// What the weights are to be multiplied by, as a power of two.
    pub(crate) exponent: i32,
}

impl Column {
    /// How many weights a state has.
    pub(crate) fn size(&self) -> usize {
        self.room.size
    }

    /// The sum of the weights of a state, each times that of a way there.
    pub(crate) fn dot(&self, state: usize, ways: &[f64]) -> f64 {
        self.of_state(state).iter().zip(ways).map(|(weight, way)| weight * way).sum()
    }

    fn of_state(&self, state: usize) -> &[f64] {
        &self.weights[state * self.room.size..][..self.room.size]
    }

    /// The weight of everything, of the first column: nothing is used up there.
    fn whole(&self) -> f64 {
        self.weights.first().copied().unwrap_or(0.0)
    }

    /// Moves a power of two out of the weights once they get small.
    fn rescale(&mut self) {
        const SMALL: f64 = 1e-100;
        const STEP: i32 = 300;
        let largest = self.weights.iter().fold(0.0, |max: f64, &w| max.max(w));
        if largest > 0.0 && largest < SMALL {
            let by = libm::ldexp(1.0, STEP);
            self.weights.iter_mut().for_each(|w| *w *= by);
            self.exponent -= STEP;
        }
    }
}

/// How many received bits can be used up after each bit, at the fewest and at
/// the most, given that all are in the end.
fn windows(trellis: &Trellis, matched: &Matched) -> Option<Vec<(usize, usize)>> {
    let lengths = |arrivals: &[MatchedArrival]| {
        let all = arrivals.iter().filter(|a| a.weight.iter().any(|&w| w > 0.0));
        let lens = all.map(|a| a.bits.len());
        lens.fold((usize::MAX, 0), |(low, high), len| (low.min(len), high.max(len)))
    };
    let by_bit = [lengths(&matched.bit[0]), lengths(&matched.bit[1])];
    let n = trellis.len();
    let of = |index: usize| {
        trellis.choices(index).iter().fold((usize::MAX, 0), |(low, high), &bit| {
            let (a, b) = by_bit[usize::from(bit)];
            (low.min(a), high.max(b))
        })
    };
    let mut windows = vec![(0, 0); n + 1];
    for index in 0..n {
        let (low, high) = windows[index];
        let (a, b) = of(index);
        if a == usize::MAX {
            return None;
        }
        windows[index + 1] = (low + a, high + b);
    }
    let (mut low, mut high) = lengths(&matched.tail);
    if low == usize::MAX {
        return None;
    }
    for index in (0..=n).rev() {
        let window = &mut windows[index];
        window.0 = window.0.max(matched.len.saturating_sub(high));
        window.1 = window.1.min(matched.len.checked_sub(low)?);
        if window.0 > window.1 {
            return None;
        }
        if index > 0 {
            let (a, b) = of(index - 1);
            low += a;
            high += b;
        }
    }
    Some(windows)
}

/// The room after each bit; `None` where some read cannot be used up.
fn rooms(trellis: &Trellis, reads: &[Matched]) -> Option<Vec<Room>> {
    let windows: Vec<_> = reads.iter().map(|read| windows(trellis, read)).collect::<Option<_>>()?;
    let room = |index: usize| {
        let reads: Vec<(usize, usize)> = windows
            .iter()
            .map(|windows| (windows[index].0, windows[index].1 - windows[index].0 + 1))
            .collect();
        let size = reads.iter().map(|&(_, width)| width).product();
        Room { reads, size }
    };
    Some((0..=trellis.len()).map(room).collect())
}

/// Which way weights are moved along the frame.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    /// From behind a bit to before it.
    Back,
    /// From before a bit to behind it.
    On,
}

/// Moves the weights of some states past one bit, for all reads: each may take
/// any of its arrivals. What comes is put in the first of `scratch`.
fn pass<'s>(
    arrivals: impl Fn(usize) -> &'s [MatchedArrival],
    before: &Room,
    behind: &Room,
    way: Way,
    weights: &[f64],
    scratch: &mut [Vec<f64>; 2],
) {
    let (from, to) = match way {
        Way::Back => (behind, before),
        Way::On => (before, behind),
    };
    let reads = from.reads.len();
    let mut outer = weights.len() / from.size.max(1);
    let mut inner: usize = from.size;
    scratch[0].clear();
    scratch[0].extend_from_slice(weights);
    for read in 0..reads {
        let ((low_before, _), (low_behind, _)) = (before.reads[read], behind.reads[read]);
        let (width_from, width_to) = (from.reads[read].1, to.reads[read].1);
        inner /= width_from;
        let [source, target] = scratch;
        target.clear();
        target.resize(outer * width_to * inner, 0.0);
        for arrival in arrivals(read) {
            let len = arrival.bits.len();
            // Used before the bit from `first` on to `end`, and as many more
            // behind it.
            let (width_before, width_behind) = match way {
                Way::Back => (width_to, width_from),
                Way::On => (width_from, width_to),
            };
            let first = low_before.max(low_behind.saturating_sub(len));
            let end =
                (low_before + width_before).min((low_behind + width_behind).saturating_sub(len));
            if first >= end {
                continue;
            }
            let (at_before, at_behind) = (first - low_before, first + len - low_behind);
            let (at_from, at_to) = match way {
                Way::Back => (at_behind, at_before),
                Way::On => (at_before, at_behind),
            };
            let factors = &arrival.weight[first..end];
            for block in 0..outer {
                let source = &source[(block * width_from + at_from) * inner..];
                let target = &mut target[(block * width_to + at_to) * inner..];
                if inner == 1 {
                    for ((sum, weight), factor) in target.iter_mut().zip(source).zip(factors) {
                        *sum += factor * weight;
                    }
                    continue;
                }
                let rows = target.chunks_exact_mut(inner).zip(source.chunks_exact(inner));
                for ((target, source), &factor) in rows.zip(factors) {
                    if factor != 0.0 {
                        for (sum, weight) in target.iter_mut().zip(source) {
                            *sum += factor * weight;
                        }
                    }
                }
            }
        }
        outer *= width_to;
        scratch.swap(0, 1);
    }
}

/// Walks the columns from the last to the first; `keep` is given each one when
/// the next is done with it. `None` where nothing can follow at all.
fn walk(trellis: &Trellis, reads: &[Matched], mut keep: impl FnMut(Column)) -> Option<Column> {
    let rooms = rooms(trellis, reads)?;
    let n = trellis.len();
    let new = |index: usize| {
        let room = rooms[index].clone();
        Column { weights: vec![0.0; trellis.states * room.size], room, exponent: 0 }
    };
    let mut scratch = [Vec::new(), Vec::new()];
    let mut packed: Vec<f64> = Vec::new();
    let mut place = vec![usize::MAX; trellis.states];
    let mut after = new(n);
    // Behind the last bit: only what a tail adds, and then all is used up.
    let all = Room { reads: reads.iter().map(|read| (read.len, 1)).collect(), size: 1 };
    pass(|read| &reads[read].tail, &rooms[n], &all, Way::Back, &[1.0], &mut scratch);
    after.weights[..rooms[n].size].copy_from_slice(&scratch[0]);
    for index in (0..n).rev() {
        let mut column = new(index);
        column.exponent = after.exponent;
        let choices = trellis.choices(index);
        let prior = 1.0 / choices.len() as f64;
        let size = column.room.size;
        // Only some states lead anywhere: their weights stand together.
        place.fill(usize::MAX);
        packed.clear();
        for (state, row) in after.weights.chunks_exact(after.room.size).enumerate() {
            if row.iter().any(|&weight| weight > 0.0) {
                place[state] = packed.len() / after.room.size;
                packed.extend_from_slice(row);
            }
        }
        for &bit in choices {
            // What follows a state with this bit, for all of them at once.
            let arrivals = |read: usize| reads[read].of_bit(bit);
            pass(arrivals, &column.room, &after.room, Way::Back, &packed, &mut scratch);
            let follow = &scratch[0];
            for (state, row) in column.weights.chunks_exact_mut(size).enumerate() {
                let next = trellis.next(index, state, bit).map(|next| place[next]);
                let Some(next) = next.filter(|&next| next != usize::MAX) else { continue };
                let follow = &follow[next * size..][..size];
                for (sum, follow) in row.iter_mut().zip(follow) {
                    *sum += prior * follow;
                }
            }
        }
        column.rescale();
        keep(std::mem::replace(&mut after, column));
    }
    Some(after)
}

/// The natural logarithm of the total weight; minus infinity for none.
pub(crate) fn ln_total(trellis: &Trellis, reads: &[Matched]) -> f64 {
    let first = walk(trellis, reads, drop);
    first.map_or(f64::NEG_INFINITY, |first| {
        libm::log(first.whole()) + f64::from(first.exponent) * std::f64::consts::LN_2
    })
}

/// Every column, first to last; `None` where the total is 0, or where they are
/// more than `most` weights.
pub(crate) fn columns(trellis: &Trellis, reads: &[Matched], most: usize) -> Option<Vec<Column>> {
    let sizes = rooms(trellis, reads)?.iter().map(|room| room.size).sum::<usize>();
    if sizes.saturating_mul(trellis.states) > most {
        return None;
    }
    let mut columns = Vec::with_capacity(trellis.len() + 1);
    let first = walk(trellis, reads, |column| columns.push(column))?;
    if first.whole() == 0.0 {
        return None;
    }
    columns.push(first);
    columns.reverse();
    Some(columns)
}

/// The weights of ways to a bit, moved past it; `columns` are those before and
/// behind it.
pub(crate) fn advance(
    reads: &[Matched],
    bit: bool,
    columns: (&Column, &Column),
    weights: &[f64],
    scratch: &mut [Vec<f64>; 2],
) {
    let (before, behind) = (&columns.0.room, &columns.1.room);
    pass(|read| reads[read].of_bit(bit), before, behind, Way::On, weights, scratch);
}

/// The most bits of a frame that are said to be changed.
pub(crate) const MOST_CHANGED: usize = BITS_CHANGED.len();

/// How many of a read's bits differ from the frame: a weight for 0 to
/// [`MOST_CHANGED`] of each read, the last read's fastest. The weights are the
/// probabilities of all frames that differ so, before the checks are divided
/// out.
pub(crate) fn distances(trellis: &Trellis, reads: &[Bits]) -> Vec<f64> {
    let size = DIFFER.pow(reads.len() as u32);
    let mut weights = vec![0.0; trellis.states * size];
    weights[0] = 1.0;
    for index in 0..trellis.len() {
        let mut next = vec![0.0; weights.len()];
        let prior = 1.0 / trellis.choices(index).len() as f64;
        each_differing(
            trellis,
            reads,
            index,
            |at| weights[at] > 0.0,
            |_, from, to| {
                next[to] += prior * weights[from];
            },
        );
        weights = next;
    }
    weights.truncate(size);
    weights
}

/// A frame that differs from the reads so that `share` of how many bits differ,
/// as in [`distances`], is the most there is; `None` for no frame, or where more
/// than `most` steps would have to be kept.
pub(crate) fn nearest(
    trellis: &Trellis,
    reads: &[Bits],
    share: impl Fn(usize) -> f64,
    most: usize,
) -> Option<Vec<bool>> {
    let size = DIFFER.pow(reads.len() as u32);
    let all = trellis.states * size;
    if all.saturating_mul(trellis.len()) > most {
        return None;
    }
    // By bit, where each place was come to from, and with which value.
    let mut back: Vec<Vec<Option<(u32, bool)>>> = Vec::with_capacity(trellis.len());
    for index in 0..trellis.len() {
        let mut came = vec![None; all];
        let is_reached = |at: usize| match back.last() {
            None => at == 0,
            Some(before) => before[at].is_some(),
        };
        each_differing(trellis, reads, index, is_reached, |bit, from, to| {
            came[to].get_or_insert((from as u32, bit));
        });
        back.push(came);
    }
    let last = back.last()?;
    let reached = (0..size).filter(|&at| last[at].is_some() && share(at) > 0.0);
    let mut at = reached.max_by(|&a, &b| share(a).total_cmp(&share(b)))?;
    let mut frame = vec![false; trellis.len()];
    for (bit, came) in frame.iter_mut().zip(&back).rev() {
        let (from, value) = came[at]?;
        *bit = value;
        at = from as usize;
    }
    Some(frame)
}

/// How many bits of a read may differ from the frame, and none.
pub(crate) const DIFFER: usize = MOST_CHANGED + 1;

/// Goes on from every place before a bit that `is_reached`, with each value of
/// the bit: the value, the place, the place behind. A place is a state and how
/// many bits of each read differ so far.
fn each_differing(
    trellis: &Trellis,
    reads: &[Bits],
    index: usize,
    is_reached: impl Fn(usize) -> bool,
    mut see: impl FnMut(bool, usize, usize),
) {
    let size = DIFFER.pow(reads.len() as u32);
    for &bit in trellis.choices(index) {
        let differs: Vec<bool> = reads
            .iter()
            .map(|read| read.get(index).and_then(|b| b.value()).is_some_and(|b| b != bit))
            .collect();
        let step = differs.iter().fold(0, |step, &is| step * DIFFER + usize::from(is));
        for state in 0..trellis.states {
            let Some(after) = trellis.next(index, state, bit) else { continue };
            for at in (0..size).filter(|&at| is_reached(state * size + at)) {
                let mut rest = at;
                let is_over = differs.iter().rev().any(|&is| {
                    let count = rest % DIFFER;
                    rest /= DIFFER;
                    is && count == MOST_CHANGED
                });
                if !is_over {
                    see(bit, state * size + at, after * size + at + step);
                }
            }
        }
    }
}
