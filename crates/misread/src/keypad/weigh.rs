//! The posterior over how a keypad sends and what is wrong with the wire.
//!
//! Keys are drawn one after another with a memory of one thing, whether a code
//! has begun; so the sum over all that could have been keyed is a walk with two
//! states.

use std::collections::HashMap;

use misread_core::Bits;
use misread_core::keypad::{Assembler, Key, Mode};
use misread_core::pulse::Evidence;

use super::codes::turn_of;
use super::{Habits, NUMBER, Sending, Setting};
use crate::cause::{Cause, Model};
use crate::channel::LONGEST_READ;
use crate::diagnose::{Posed, Received, ln_any_bits, ln_likelihood, ln_sum, variants};

/// A read of a keypad.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Press {
    /// What was received.
    pub bits: Bits,
    /// When it came, in nanoseconds from any moment; `None` where that is not
    /// known.
    pub at: Option<i64>,
    /// What its pulses say, where it comes from a capture of the lines.
    pub pulses: Evidence,
}

/// Bits alone.
impl From<Bits> for Press {
    fn from(bits: Bits) -> Self {
        Press { bits, ..Press::default() }
    }
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
/// // A 1 in eight bits, the data lines swapped: the halves still match, but
/// // 14 is no key.
/// let presses = [Press::from("00011110".parse::<misread::Bits>()?)];
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
    let shown = Cause::ALL.map(|cause| -> f64 {
        seen.pulses.iter().map(|evidence| model.ln_findings(cause, evidence)).sum()
    });
    let mut found = Vec::new();
    let mut add = |sending, cause: Cause, prior: f64, ln: f64| {
        let ln = ln + shown[cause.index()];
        if prior > 0.0 && ln > f64::NEG_INFINITY {
            let ln = libm::log(prior) + ln;
            found.push(Weighed { sending, cause, probability: ln });
        }
    };
    for (index, sending) in setting.sendings.iter().enumerate() {
        let anything = Frames::of(sending, None);
        let these = setting.expected.map(|keys| (keys, Frames::of(sending, Some(keys))));
        for cause in Cause::ALL {
            if cause.is_without_layout() || !anything.allow(cause) {
                continue;
            }
            let prior = habits.prior(sending) / prior_of_all * model.prior(cause);
            let ln = |frames, keyed| ln_presses(&seen, frames, cause, model, habits, keyed);
            let any = ln(&anything, Keyed::Anything);
            let ln = match &these {
                None => any,
                Some((keys, frames)) => {
                    let said = match frames {
                        Frames::Keys(..) => ln(frames, Keyed::These(keys)),
                        // A whole code's frame knows what it carries.
                        Frames::Whole(_) => ln(frames, Keyed::Anything),
                    };
                    let other = habits.otherwise;
                    ln_sum([said + libm::log(1.0 - other), any + libm::log(other)].into_iter())
                }
            };
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
    /// What the pulses of each say.
    pulses: Vec<Evidence>,
}

impl Seen {
    fn of(presses: &[Press], pause: u64) -> Self {
        let mut index = HashMap::new();
        let mut seen = Seen { different: Vec::new(), order: Vec::new(), pulses: Vec::new() };
        let mut clock = Assembler::new(pause);
        for press in presses.iter().filter(|press| !press.bits.is_empty()) {
            let at = *index.entry(press.bits).or_insert_with(|| {
                seen.different.push(Received { bits: press.bits, cut: None });
                seen.different.len() - 1
            });
            seen.order.push((at, press.at.is_some_and(|at| clock.is_over(at))));
            seen.pulses.push(press.pulses);
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
pub(super) enum Frames {
    /// One frame a key, and the frames as bits.
    Keys(Mode, Vec<Posed>),
    /// Any frame of the layout; `None` where it allows none.
    Whole(Option<Box<Posed>>),
}

impl Frames {
    pub(super) fn of(sending: &Sending, expected: Option<&[Key]>) -> Self {
        match sending {
            Sending::Keys(mode) => {
                let Ok(layout) = misread_core::Layout::new(mode.spec()) else {
                    return Frames::Whole(None);
                };
                let posed = |key: Key| {
                    Posed::of_values(&layout, [("key", u64::from(key.value()))].into_iter())
                };
                Frames::Keys(*mode, Key::ALL.into_iter().filter_map(posed).collect())
            }
            Sending::WholeCode(layout) => {
                let known = match expected.map(number_of) {
                    None => Some(None),
                    Some(number) => number.map(Some),
                };
                let posed = known.and_then(|known| {
                    Posed::of_values(layout, known.map(|number| (NUMBER, number)).into_iter())
                });
                Frames::Whole(posed.map(Box::new))
            }
        }
    }
}

impl Frames {
    /// Whether a cause can do anything to them at all.
    pub(super) fn allow(&self, cause: Cause) -> bool {
        match (cause, self) {
            // What a keypad sends is too short to be filled up.
            (Cause::FrameSplit | Cause::Padded, _) => false,
            (Cause::BytesReversed, Frames::Keys(..)) => false,
            (Cause::BytesReversed, Frames::Whole(posed)) => {
                posed.as_ref().is_some_and(|posed| posed.bytes_reversed.is_some())
            }
            _ => true,
        }
    }
}

/// The logarithm of the probability of all reads.
fn ln_presses(
    seen: &Seen,
    frames: &Frames,
    cause: Cause,
    model: &Model,
    habits: &Habits,
    keyed: Keyed<'_>,
) -> f64 {
    // One bit in all the reads together is changed: the others are sound.
    let (sound, changed) = match cause {
        Cause::BitsChanged => (Cause::None, Some(cause)),
        cause => (cause, None),
    };
    let arrivals = Arrivals::of(seen, frames, sound, model.rates(sound));
    let changed = changed.map(|cause| Arrivals::of(seen, frames, cause, &[]));
    let ln = |variant: usize| {
        let mut walk = Walk::new(habits, keyed, changed.is_some());
        for &(at, pause) in &seen.order {
            walk.pass_lost(&arrivals, variant);
            let changed = changed.as_ref().map(|arrivals| (arrivals, at, 0));
            walk.read(&seen.different[at].bits, (&arrivals, at, variant), changed, pause);
        }
        walk.pass_lost(&arrivals, variant);
        walk.ln(seen.order.len())
    };
    let lns: Vec<f64> = (0..arrivals.variants).map(ln).collect();
    ln_sum(lns.iter().copied()) - libm::log(lns.len() as f64)
}

/// How each different read can have come about under a cause.
struct Arrivals {
    variants: usize,
    /// For each frame, each different read, each variant: how likely the read
    /// is where that frame was sent.
    single: Vec<Vec<Vec<f64>>>,
    /// For each frame, each variant: how likely it is that nothing arrives.
    lost: Vec<Vec<f64>>,
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
        let nothing = Received { bits: Bits::new(), cut: None };
        let lost = |posed: &Posed| -> Vec<f64> {
            ln_likelihood(cause, rates, &nothing, posed).into_iter().map(libm::exp).collect()
        };
        let burst = |read: &Received| match frames {
            Frames::Keys(mode, _) => Burst::of(&read.bits.turned(turn_of(cause)?), *mode),
            Frames::Whole(_) => None,
        };
        let (keys, single, lost) = match frames {
            Frames::Keys(_, posed) => {
                (true, posed.iter().map(of_frame).collect(), posed.iter().map(lost).collect())
            }
            Frames::Whole(posed) => {
                (false, posed.iter().map(|posed| of_frame(posed)).collect(), Vec::new())
            }
        };
        Arrivals {
            variants: variants(cause, rates),
            single,
            lost,
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

/// What was keyed.
#[derive(Clone, Copy)]
enum Keyed<'a> {
    /// Nobody says: whatever people key.
    Anything,
    /// These keys, each once; a press may leave nothing behind.
    These(&'a [Key]),
}

/// Where anything may have been keyed: how likely it is that no code has begun,
/// and that one has; a whole code's frame begins none. Where the keys are known:
/// how likely it is that so many of them have been pressed.
type State = Vec<f64>;

fn sum(one: &State, other: &State) -> State {
    one.iter().zip(other).map(|(a, b)| a + b).collect()
}

/// Which read, under which variant.
type Arrival<'a> = (&'a Arrivals, usize, usize);

/// The walk over everything that could have been keyed.
struct Walk<'a> {
    habits: &'a Habits,
    keyed: Keyed<'a>,
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
    fn new(habits: &'a Habits, keyed: Keyed<'a>, must_change: bool) -> Self {
        let states = match keyed {
            Keyed::Anything => 2,
            Keyed::These(keys) => keys.len() + 1,
        };
        let changed = vec![0.0; states];
        let mut state = changed.clone();
        state[0] = 1.0;
        Walk { habits, keyed, state, changed, must_change, ln: 0.0 }
    }

    /// Goes over one read, which may be the one that is changed.
    fn read(
        &mut self,
        bits: &Bits,
        arrival: Arrival<'_>,
        changed: Option<Arrival<'_>>,
        pause: bool,
    ) {
        if let (true, Keyed::Anything) = (pause, self.keyed) {
            for state in [&mut self.state, &mut self.changed] {
                *state = vec![state.iter().sum(), 0.0];
            }
        }
        let was_changed = self.after_read(&self.changed, arrival, bits);
        self.changed = match changed {
            Some(arrival) => sum(&was_changed, &self.after_arrival(&self.state, arrival)),
            None => was_changed,
        };
        self.state = self.after_read(&self.state, arrival, bits);
        let sum: f64 = self.state.iter().chain(&self.changed).sum();
        if sum > 0.0 {
            self.ln += libm::log(sum);
            self.state.iter_mut().chain(&mut self.changed).for_each(|p| *p /= sum);
        }
    }

    /// Goes over the keys that may have been pressed and left nothing behind.
    /// Where nobody says what was keyed there is no telling, and such presses
    /// are not counted.
    fn pass_lost(&mut self, arrivals: &Arrivals, variant: usize) {
        let Keyed::These(keys) = self.keyed else { return };
        for state in [&mut self.state, &mut self.changed] {
            for (i, key) in keys.iter().enumerate() {
                let lost = arrivals.lost.get(usize::from(key.value()));
                let lost = lost.and_then(|variants| variants.get(variant)).copied();
                state[i + 1] += state[i] * lost.unwrap_or_default();
            }
        }
    }

    /// The logarithm of the probability of all `reads`.
    fn ln(&self, reads: usize) -> f64 {
        let state = if self.must_change { &self.changed } else { &self.state };
        let each = if self.must_change { reads as f64 } else { 1.0 };
        let all: f64 = match self.keyed {
            Keyed::Anything => state.iter().sum(),
            Keyed::These(_) => state.last().copied().unwrap_or_default(),
        };
        self.ln + libm::log(all / each)
    }

    /// After a read that the cause has let through, or a stray.
    fn after_read(&self, state: &State, arrival: Arrival<'_>, bits: &Bits) -> State {
        let stray = libm::exp(ln_any_bits(bits)) / LONGEST_READ as f64;
        let arrives = self.after_arrival(state, arrival);
        let keyed = match arrival.0.keys {
            true => self.after(state, |_| 1.0),
            false => state.clone(),
        };
        let either = |(arrives, keyed): (&f64, &f64)| {
            (1.0 - self.habits.stray) * arrives + self.habits.stray * stray * keyed
        };
        arrives.iter().zip(&keyed).map(either).collect()
    }

    /// After a read that the cause has let through.
    fn after_arrival(&self, state: &State, (arrivals, at, variant): Arrival<'_>) -> State {
        let single = |frame: usize| {
            let of_read = arrivals.single.get(frame).and_then(|reads| reads.get(at));
            of_read.and_then(|variants| variants.get(variant)).copied().unwrap_or_default()
        };
        if !arrivals.keys {
            return state.iter().map(|p| p * single(0)).collect();
        }
        let one = self.habits.keys_in_a_read(1);
        let mut next = self.after(state, single);
        next.iter_mut().for_each(|p| *p *= one);
        if let Some(Burst(chunks)) = arrivals.bursts.get(at).and_then(Option::as_ref) {
            let all = chunks.iter().fold(state.clone(), |state, keys| {
                self.after(&state, |key| if keys[key] { 1.0 } else { 0.0 })
            });
            let count = self.habits.keys_in_a_read(chunks.len());
            next.iter_mut().zip(all).for_each(|(p, all)| *p += all * count);
        }
        next
    }

    /// After one more key, each with its weight.
    fn after(&self, state: &State, weight: impl Fn(usize) -> f64) -> State {
        let mut next = vec![0.0; state.len()];
        match self.keyed {
            Keyed::Anything => {
                for (index, key) in Key::ALL.into_iter().enumerate() {
                    let from =
                        |within: bool| state[usize::from(within)] * self.habits.key(key, within);
                    let begun = usize::from(matches!(key, Key::Digit(_)));
                    next[begun] += weight(index) * (from(false) + from(true));
                }
            }
            Keyed::These(keys) => {
                for (i, key) in keys.iter().enumerate() {
                    next[i + 1] = state[i] * weight(usize::from(key.value()));
                }
            }
        }
        next
    }
}

/// The number that a whole code of these keys carries; `None` where they are no
/// single code, or one too long for a number.
pub(super) fn number_of(keys: &[Key]) -> Option<u64> {
    let mut assembler = Assembler::default();
    let mut codes: Vec<_> = keys.iter().flat_map(|&key| assembler.press(Some(key), None)).collect();
    codes.extend(assembler.finish());
    match codes.as_slice() {
        [code] => code.to_string().parse().ok(),
        _ => None,
    }
}
