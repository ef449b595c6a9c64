//! Sums over every frame a layout allows and every way its pulses could have
//! been lost or added.
//!
//! The frame is walked bit by bit, keeping the running parity of each check
//! that has begun and not yet ended (the *state*) and how many received bits
//! are used up. Tables are filled from the last bit to the first: an entry is
//! the weight of everything that can still follow from there.

use misread_core::Bits;

use super::code::Code;
use crate::channel::{Arrival, Chance, Pulses};

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
        Ok(Trellis { steps, states })
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

pub(crate) struct MatchedArrival {
    pub(crate) bits: &'static [bool],
    /// The weight of this arrival from each received bit on: 0 where the bits
    /// do not match.
    pub(crate) weight: Vec<f64>,
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

    pub(crate) fn of_bit(&self, bit: bool) -> &[MatchedArrival] {
        &self.bit[usize::from(bit)]
    }
}

/// The weight of all that can follow a bit, by state and by how many received
/// bits are used up.
#[derive(Clone, Debug, Default)]
pub(crate) struct Column {
    low: usize,
    width: usize,
    /// By state, then by received bits used from `low` on.
    weights: Vec<f64>,
    /// What the weights are to be multiplied by, as a power of two.
    pub(crate) exponent: i32,
}

impl Column {
    /// The fewest received bits that can be used up here.
    pub(crate) fn low(&self) -> usize {
        self.low
    }

    /// How many more than the fewest can be used up here, and one.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    /// The sum of the weights of a state, each times that of a way there.
    pub(crate) fn dot(&self, state: usize, ways: &[f64]) -> f64 {
        let row = &self.weights[state * self.width..][..self.width];
        row.iter().zip(ways).map(|(weight, way)| weight * way).sum()
    }

    /// The weight of everything, of the first column.
    fn whole(&self) -> f64 {
        if self.low == 0 { self.weights.first().copied().unwrap_or(0.0) } else { 0.0 }
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

/// Walks the columns from the last to the first; `keep` is given each one when
/// the next is done with it. `None` where nothing can follow at all.
fn walk(trellis: &Trellis, matched: &Matched, mut keep: impl FnMut(Column)) -> Option<Column> {
    let windows = windows(trellis, matched)?;
    let n = trellis.len();
    let new = |index: usize| {
        let (low, high) = windows[index];
        let width = high - low + 1;
        Column { low, width, weights: vec![0.0; trellis.states * width], exponent: 0 }
    };
    let mut after = new(n);
    for arrival in &matched.tail {
        let used = matched.len.checked_sub(arrival.bits.len());
        if let Some(at) =
            used.and_then(|used| used.checked_sub(after.low)).filter(|&at| at < after.width)
        {
            after.weights[at] += arrival.weight[after.low + at];
        }
    }
    for index in (0..n).rev() {
        let mut column = new(index);
        column.exponent = after.exponent;
        let choices = trellis.choices(index);
        let prior = 1.0 / choices.len() as f64;
        for state in 0..trellis.states {
            let row = &mut column.weights[state * column.width..][..column.width];
            for &bit in choices {
                let Some(next) = trellis.next(index, state, bit) else { continue };
                let follow = &after.weights[next * after.width..][..after.width];
                for arrival in matched.of_bit(bit) {
                    // Received bits used before and after this arrival that
                    // lie in both windows.
                    let step = arrival.bits.len();
                    let from = column.low.max(after.low.saturating_sub(step));
                    let to = (column.low + column.width)
                        .min((after.low + after.width).saturating_sub(step));
                    if from >= to {
                        continue;
                    }
                    let row = &mut row[from - column.low..to - column.low];
                    let follow = &follow[from + step - after.low..to + step - after.low];
                    let weight = &arrival.weight[from..to];
                    for ((sum, follow), weight) in row.iter_mut().zip(follow).zip(weight) {
                        *sum += prior * weight * follow;
                    }
                }
            }
        }
        column.rescale();
        keep(std::mem::replace(&mut after, column));
    }
    Some(after)
}

/// The natural logarithm of the total weight; minus infinity for none.
pub(crate) fn ln_total(trellis: &Trellis, matched: &Matched) -> f64 {
    let first = walk(trellis, matched, drop);
    first.map_or(f64::NEG_INFINITY, |first| {
        libm::log(first.whole()) + f64::from(first.exponent) * std::f64::consts::LN_2
    })
}

/// Every column, first to last; `None` where the total is 0.
pub(crate) fn columns(trellis: &Trellis, matched: &Matched) -> Option<Vec<Column>> {
    let mut columns = Vec::with_capacity(trellis.len() + 1);
    let first = walk(trellis, matched, |column| columns.push(column))?;
    if first.whole() == 0.0 {
        return None;
    }
    columns.push(first);
    columns.reverse();
    Some(columns)
}
