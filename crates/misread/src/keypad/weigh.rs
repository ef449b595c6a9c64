//! The posterior over how a keypad sends and what is wrong with the wire.
//!
//! Keys are drawn one after another with a memory of one thing, whether a code
//! has begun; so the sum over all that could have been keyed is a walk with two
//! states.

use std::collections::HashMap;

use misread_core::Bits;
use misread_core::keypad::{Assembler, Key, Mode};

use super::codes::turn_of;
use super::{Habits, Sending, Setting};
use crate::cause::{Cause, Model};
use crate::channel::LONGEST_READ;
use crate::diagnose::{Posed, Received, ln_any_bits, ln_likelihood, variants};

/// A read of a keypad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Press {
    /// What was received.
    pub bits: Bits,
    /// When it came, in nanoseconds from any moment; `None` where that is not
    /// known.
    pub at: Option<i64>,
}

/// A way of sending and a cause, with their probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// The index among the ways that were asked about; `None` for a cause that
    /// knows of no keys.
    pub sending: Option<usize>,
    /// What happened on the wire.
    pub cause: Cause,
    /// How likely the two are together, given all reads.
    pub probability: f64,
}

/// Every way of sending with every cause that is possible, the likeliest first;
/// equally likely ones in the order of the ways asked about and of
/// [`Cause::ALL`]. Nothing where every read is empty or no way is asked about.
///
/// ```
/// use misread::cause::{Cause, Model};
/// use misread::keypad::{Press, Sending, Setting, weigh};
///
/// // A 1 in eight bits, the data lines exchanged: the halves still match, but
/// // 14 is no key.
/// let presses = [Press { bits: "00011110".parse()?, at: None }];
/// let sendings = Sending::all(None);
/// let weighed = weigh(&presses, &Setting::of(&sendings), &Model::default());
/// assert_eq!(sendings[weighed[0].sending.unwrap()].id(), "8");
/// assert_eq!(weighed[0].cause, Cause::LinesSwapped);
/// # Ok::<(), misread::bits::TextError>(())
/// ```
pub fn weigh(presses: &[Press], setting: &Setting<'_>, model: &Model) -> Vec<Weighed> {
    let seen = Seen::of(presses, setting.pause);
    let habits = &setting.habits;
    let prior_of_all: f64 = setting.sendings.iter().map(|way| habits.prior(way)).sum();
    if seen.order.is_empty() || prior_of_all <= 0.0 {
        return Vec::new();
    }
    let mut found = Vec::new();
    let mut add = |sending, cause, prior: f64, ln: f64| {
        if prior > 0.0 && ln > f64::NEG_INFINITY {
            let ln = libm::log(prior) + ln;
            found.push(Weighed { sending, cause, probability: ln });
        }
    };
    for (index, sending) in setting.sendings.iter().enumerate() {
        let frames = Frames::of(sending);
        for cause in Cause::ALL {
            if cause.is_without_layout() || !frames.allow(cause) {
                continue;
            }
            let prior = habits.prior(sending) / prior_of_all * model.prior(cause);
            let ln = ln_presses(&seen, &frames, cause, model, habits);
            add(Some(index), cause, prior, ln);
        }
    }
    for cause in [Cause::UnknownLayout, Cause::RandomBits] {
        add(None, cause, model.prior(cause), seen.ln_of_no_keys(cause));
    }
    // What was gathered are logarithms.
    let highest = found.iter().map(|w| w.probability).fold(f64::NEG_INFINITY, f64::max);
    for weighed in &mut found {
        weighed.probability = libm::exp(weighed.probability - highest);
    }
    let sum: f64 = found.iter().map(|w| w.probability).sum();
    for weighed in &mut found {
        weighed.probability /= sum;
    }
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    found
}

/// The reads that are not empty.
struct Seen {
    /// Each different read once.
    different: Vec<Received>,
    /// The reads in order: which, and whether a code begins there after a
    /// pause.
    order: Vec<(usize, bool)>,
}

impl Seen {
    fn of(presses: &[Press], pause: u64) -> Self {
        let mut index = HashMap::new();
        let mut seen = Seen { different: Vec::new(), order: Vec::new() };
        let mut clock = Assembler::new(pause);
        for press in presses.iter().filter(|press| !press.bits.is_empty()) {
            let at = *index.entry(press.bits).or_insert_with(|| {
                seen.different.push(Received { bits: press.bits, cut: None });
                seen.different.len() - 1
            });
            seen.order.push((at, press.at.is_some_and(|at| clock.is_over(at))));
            clock.press(None, press.at);
        }
        seen
    }

    fn ln_of_no_keys(&self, cause: Cause) -> f64 {
        let reads = || self.order.iter().map(|&(at, _)| &self.different[at].bits);
        let bits: f64 = reads().map(ln_any_bits).sum();
        let one_length = self.different.windows(2).all(|w| w[0].bits.len() == w[1].bits.len());
        let lengths = match cause {
            Cause::UnknownLayout if !one_length => return f64::NEG_INFINITY,
            Cause::UnknownLayout => 1.0,
            _ => self.order.len() as f64,
        };
        bits - lengths * libm::log(LONGEST_READ as f64)
    }
}

/// What a way of sending can send in one read.
enum Frames {
    /// One frame a key, and the frames as bits.
    Keys(Mode, Vec<Posed>),
    /// Any frame of the layout; `None` where it allows none.
    Whole(Option<Box<Posed>>),
}

impl Frames {
    fn of(sending: &Sending) -> Self {
        match sending {
            Sending::Keys(mode) => {
                let Ok(layout) = misread_core::Layout::new(mode.spec()) else {
                    return Frames::Whole(None);
                };
                let posed =
                    |key: Key| Posed::new(&layout, [("key", u64::from(key.value()))].into_iter());
                Frames::Keys(*mode, Key::ALL.into_iter().filter_map(posed).collect())
            }
            Sending::WholeCode(layout) => {
                Frames::Whole(Posed::new(layout, std::iter::empty()).map(Box::new))
            }
        }
    }
}

impl Frames {
    /// Whether a cause can do anything to them at all.
    fn allow(&self, cause: Cause) -> bool {
        match (cause, self) {
            (Cause::FrameSplit, _) => false,
            (Cause::BytesReversed, Frames::Keys(..)) => false,
            (Cause::BytesReversed, Frames::Whole(posed)) => {
                posed.as_ref().is_some_and(|posed| posed.bytes_reversed.is_some())
            }
            _ => true,
        }
    }
}

/// The logarithm of the probability of all reads.
fn ln_presses(seen: &Seen, frames: &Frames, cause: Cause, model: &Model, habits: &Habits) -> f64 {
    // One bit in all the reads together is changed: the others are sound.
    let (sound, changed) = match cause {
        Cause::OneBitChanged => (Cause::None, Some(cause)),
        cause => (cause, None),
    };
    let arrivals = Arrivals::of(seen, frames, sound, model.rates(sound));
    let changed = changed.map(|cause| Arrivals::of(seen, frames, cause, &[]));
    let ln = |variant: usize| {
        let mut walk = Walk::new(habits, changed.is_some());
        for &(at, pause) in &seen.order {
            let changed = changed.as_ref().map(|arrivals| (arrivals, at, 0));
            walk.read(&seen.different[at].bits, (&arrivals, at, variant), changed, pause);
        }
        walk.ln(seen.order.len())
    };
    ln_mean(&(0..arrivals.variants).map(ln).collect::<Vec<_>>())
}

fn ln_mean(lns: &[f64]) -> f64 {
    let highest = lns.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if highest == f64::NEG_INFINITY {
        return highest;
    }
    let sum: f64 = lns.iter().map(|ln| libm::exp(ln - highest)).sum();
    highest + libm::log(sum / lns.len() as f64)
}

/// How each different read can have come about under a cause.
struct Arrivals {
    variants: usize,
    /// For each frame, each different read, each variant: how likely the read
    /// is where that frame was sent.
    single: Vec<Vec<Vec<f64>>>,
    /// For each different read.
    bursts: Vec<Option<Burst>>,
    /// Whether the frames are keys.
    keys: bool,
}

impl Arrivals {
    fn of(seen: &Seen, frames: &Frames, cause: Cause, rates: &[f64]) -> Self {
        let of_frame = |posed: &Posed| -> Vec<Vec<f64>> {
            let of_read = |read: &Received| {
                // No cause makes more of a frame: every pulse doubled, and a
                // last extra one.
                if read.bits.len() > 2 * posed.code.n + 1 {
                    return Vec::new();
                }
                let lns = ln_likelihood(cause, rates, read, posed);
                lns.into_iter().map(libm::exp).collect()
            };
            seen.different.iter().map(of_read).collect()
        };
        let burst = |read: &Received| match frames {
            Frames::Keys(mode, _) => Burst::of(&read.bits.turned(turn_of(cause)?), *mode),
            Frames::Whole(_) => None,
        };
        let (keys, single) = match frames {
            Frames::Keys(_, posed) => (true, posed.iter().map(of_frame).collect()),
            Frames::Whole(posed) => (false, posed.iter().map(|posed| of_frame(posed)).collect()),
        };
        Arrivals {
            variants: variants(cause, rates),
            single,
            bursts: seen.different.iter().map(burst).collect(),
            keys,
        }
    }
}

/// A read of several keys: for each, which keys the bits can be.
struct Burst(Vec<[bool; Key::ALL.len()]>);

impl Burst {
    /// `None` for a read that is not several keys long.
    fn of(read: &Bits, mode: Mode) -> Option<Self> {
        let each = mode.bits();
        let count = read.len() / each;
        if count < 2 || !read.len().is_multiple_of(each) {
            return None;
        }
        let chunk = |i: usize| {
            let bits = read.slice(i * each, (i + 1) * each);
            Key::ALL.map(|key| mode.encode(key).agrees_with(&bits))
        };
        Some(Burst((0..count).map(chunk).collect()))
    }
}

/// How likely it is that no code has begun, and that one has. A whole code's
/// frame begins none.
type State = [f64; 2];

/// Which read, under which variant.
type Arrival<'a> = (&'a Arrivals, usize, usize);

/// The walk over everything that could have been keyed.
struct Walk<'a> {
    habits: &'a Habits,
    /// With every bit so far as the cause leaves it.
    state: State,
    /// With one bit among them changed beside that.
    changed: State,
    /// Whether one has to be.
    must_change: bool,
    /// The logarithm of what the states were divided by.
    ln: f64,
}

impl<'a> Walk<'a> {
    fn new(habits: &'a Habits, must_change: bool) -> Self {
        Walk { habits, state: [1.0, 0.0], changed: [0.0; 2], must_change, ln: 0.0 }
    }

    /// Goes over one read, which may be the one that is changed.
    fn read(
        &mut self,
        bits: &Bits,
        arrival: Arrival<'_>,
        changed: Option<Arrival<'_>>,
        pause: bool,
    ) {
        if pause {
            self.state = [self.state[0] + self.state[1], 0.0];
            self.changed = [self.changed[0] + self.changed[1], 0.0];
        }
        let was_changed = self.after_read(self.changed, arrival, bits);
        let is_changed = match changed {
            Some(arrival) => self.after_arrival(self.state, arrival),
            None => [0.0; 2],
        };
        self.changed = [was_changed[0] + is_changed[0], was_changed[1] + is_changed[1]];
        self.state = self.after_read(self.state, arrival, bits);
        let sum = self.state[0] + self.state[1] + self.changed[0] + self.changed[1];
        if sum > 0.0 {
            self.ln += libm::log(sum);
            self.state = self.state.map(|p| p / sum);
            self.changed = self.changed.map(|p| p / sum);
        }
    }

    /// The logarithm of the probability of all `reads`.
    fn ln(&self, reads: usize) -> f64 {
        let [begun, none] = if self.must_change { self.changed } else { self.state };
        let each = if self.must_change { reads as f64 } else { 1.0 };
        self.ln + libm::log((begun + none) / each)
    }

    /// After a read that the cause has let through, or a stray.
    fn after_read(&self, state: State, arrival: Arrival<'_>, bits: &Bits) -> State {
        let stray = libm::exp(ln_any_bits(bits)) / LONGEST_READ as f64;
        let arrives = self.after_arrival(state, arrival);
        let keyed = match arrival.0.keys {
            true => self.after(state, |_| 1.0),
            false => state,
        };
        [0, 1]
            .map(|i| (1.0 - self.habits.stray) * arrives[i] + self.habits.stray * stray * keyed[i])
    }

    /// After a read that the cause has let through.
    fn after_arrival(&self, state: State, (arrivals, at, variant): Arrival<'_>) -> State {
        let single = |frame: usize| {
            let of_read = arrivals.single.get(frame).and_then(|reads| reads.get(at));
            of_read.and_then(|variants| variants.get(variant)).copied().unwrap_or_default()
        };
        if !arrivals.keys {
            return state.map(|p| p * single(0));
        }
        let one = self.habits.keys_in_a_read(1);
        let mut next = self.after(state, single).map(|p| p * one);
        if let Some(Burst(chunks)) = arrivals.bursts.get(at).and_then(Option::as_ref) {
            let all = chunks.iter().fold(state, |state, keys| {
                self.after(state, |key| if keys[key] { 1.0 } else { 0.0 })
            });
            let count = self.habits.keys_in_a_read(chunks.len());
            next = [next[0] + all[0] * count, next[1] + all[1] * count];
        }
        next
    }

    /// After one more key, each with its weight.
    fn after(&self, state: State, weight: impl Fn(usize) -> f64) -> State {
        let mut next = [0.0; 2];
        for (index, key) in Key::ALL.into_iter().enumerate() {
            let weight = weight(index);
            let from = |within: bool| state[usize::from(within)] * self.habits.key(key, within);
            next[usize::from(matches!(key, Key::Digit(_)))] += weight * (from(false) + from(true));
        }
        next
    }
}
