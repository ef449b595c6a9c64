//! One read being laid on the wires, pulse by pulse.

use misread_core::Bit;
use misread_core::pulse::{Bounds, DEFAULT_SILENCE, Evidence, Limits, Line, Pulse};
use rand_core::Rng;

use super::Shape;
use crate::cause::{Cause, Sought};
use crate::channel::random::{below, chance, unit};
use crate::channel::{Origin, SentRead};

/// What a read's pulses keep to where there is room.
const LIMITS: Limits = Limits::SIA_AC_01;

/// How much is kept clear of the shortest width and the shortest interval, as a
/// share of it.
const CLEAR: f64 = 1.025;

/// The share of a beat within which an extra pulse stays close to another: what
/// is left of the beat is still one, to within 15 %, and a whole beat is within
/// 15 % of that where most are cut so.
const CLOSE: f64 = 0.13;

/// The share of the shortest interval allowed below which an interval is no bit
/// period for certain, and the beat can be told whatever comes.
const NO_BEAT: f64 = 0.95;

/// A longer gap would end the read.
const LONGEST_GAP: i64 = DEFAULT_SILENCE as i64 * 4 / 5;

/// One read being laid on the wires.
pub(super) struct Wires<'s> {
    shape: &'s Shape,
    /// Whether the limits are kept to where there is room.
    within_limits: bool,
    pulses: Vec<Pulse>,
    /// Of each pulse, whether it is one that the reader did not send.
    extra: Vec<bool>,
}

impl<'s> Wires<'s> {
    fn new(shape: &'s Shape, within_limits: bool) -> Self {
        Wires { shape, within_limits, pulses: Vec::new(), extra: Vec::new() }
    }

    /// One pulse a beat, whatever became of the others.
    pub(super) fn even(
        read: &SentRead,
        shape: &'s Shape,
        within_limits: bool,
        random: &mut impl Rng,
    ) -> Self {
        let mut wires = Wires::new(shape, within_limits);
        for (at, bit) in read.bits.iter().enumerate() {
            let start = at as i64 * i64::from(shape.interval) + wires.off(random);
            wires.push(start, bit, false, random);
        }
        wires
    }

    /// Nothing drives the lines: pulses of any width that is allowed, at any
    /// moment at which their line is at rest.
    pub(super) fn adrift(read: &SentRead, shape: &'s Shape, random: &mut impl Rng) -> Self {
        let mut wires = Wires::new(shape, true);
        let (least, most) = widths_adrift(shape);
        let mut start = 0;
        let mut at_rest = [0; 2];
        for bit in read.bits.iter() {
            let at_rest = &mut at_rest[line_of(bit).index()];
            start = start.max(*at_rest);
            wires.push(start, bit, true, random);
            if let Some(pulse) = wires.pulses.last_mut() {
                pulse.width = (least + (most - least) * unit(random)) as u32;
                *at_rest = pulse.start + i64::from(pulse.width) * 6 / 5 + 1_000;
            }
            let wait = unit(random);
            let wait = (f64::from(shape.interval) * 3.0 * wait * wait) as i64;
            start += 1_000 + wait.min(LONGEST_GAP);
        }
        wires
    }

    /// Each pulse where the reader and the fault put it. Of `wanted`, a missing
    /// beat says whether lost pulses leave a gap, and overlapping lines and
    /// double pulses where an extra pulse goes.
    pub(super) fn by_cause(
        read: &SentRead,
        wanted: &Evidence,
        shape: &'s Shape,
        within_limits: bool,
        random: &mut impl Rng,
    ) -> Self {
        let cause = read.cause;
        let mut wires = Wires::new(shape, within_limits);
        let beat = i64::from(shape.interval);
        // Of the slowest readers, a gap of two beats is over the limit and still
        // ends no read.
        let longest = (LONGEST_GAP / beat).max(2) as usize;
        let apart = within_limits && leaves_the_beat(read);
        let overlap = wanted.lines_overlap == Some(true);
        let mut slot = 0;
        let mut before: Option<(usize, Line)> = None;
        // How far off its beat the next pulse of the reader is.
        let mut off = wires.off(random);
        let mut origins = read.origins.iter().zip(read.bits.iter()).peekable();
        while let Some((&origin, bit)) = origins.next() {
            let line = line_of(bit);
            match origin {
                Origin::Bit(index) => {
                    slot += match before {
                        Some((last, _)) if wanted.missing_beat == Some(true) && index > last => {
                            (index - last).min(longest) as i64 * beat
                        }
                        Some(_) => beat,
                        None => 0,
                    };
                    before = Some((index, line));
                    wires.push(slot + off, bit, false, random);
                    off = wires.off(random);
                }
                Origin::After(_) => {
                    let touching = matches!(cause, Cause::LinesShorted | Cause::Crosstalk);
                    let away = wires.away(overlap && touching, random);
                    let from = wires.pulses.last().map_or(slot, |pulse| pulse.start);
                    wires.push(from + away, bit, true, random);
                }
                Origin::Before(index) => {
                    let next = origins.peek().map(|&(_, bit)| line_of(bit));
                    let gap = match before {
                        Some((last, _)) if wanted.missing_beat == Some(true) && index > last => {
                            (index - last).min(longest) as i64 * beat
                        }
                        _ => beat,
                    };
                    let shorted = cause == Cause::LinesShorted;
                    let double = wanted.double_pulse[line.index()] == Some(true);
                    let away = match wires.apart(double) {
                        Some(range) if apart && !shorted => between(range, random),
                        _ => wires.away(overlap && shorted, random),
                    };
                    let after_last = match (before.map(|(_, line)| line), next) {
                        _ if shorted => false,
                        (None, _) => false,
                        (Some(_), None) => true,
                        (Some(last), Some(next)) if last != next => (last == line) == double,
                        _ => chance(0.5, random),
                    };
                    let lead = if before.is_none() { 0 } else { gap };
                    let start = match wires.pulses.last() {
                        Some(last) if after_last => last.start + away,
                        _ => slot + lead + off - away,
                    };
                    wires.push(start, bit, true, random);
                }
                Origin::Nowhere => {
                    slot += if before.is_some() { beat } else { 0 };
                    before = Some((0, line));
                    wires.push(slot + off, bit, false, random);
                    off = wires.off(random);
                }
            }
        }
        wires
    }

    fn push(&mut self, start: i64, bit: Bit, extra: bool, random: &mut impl Rng) {
        // Whatever jitter says, the order stays.
        let least = self.pulses.last().map_or(i64::MIN, |last| last.start + 1_000);
        let usual = self.shape.width;
        let width = f64::from(usual) * (1.0 + self.shape.jitter * (2.0 * unit(random) - 1.0));
        let Bounds { shortest, longest } = LIMITS.width;
        let width = match usual {
            _ if (shortest..=longest).contains(&usual) => (width as u32).clamp(shortest, longest),
            _ => width as u32,
        };
        self.pulses.push(Pulse {
            start: start.max(least),
            width,
            line: line_of(bit),
            complete: true,
        });
        self.extra.push(extra);
    }

    /// By how much the reader is off its beat.
    fn off(&self, random: &mut impl Rng) -> i64 {
        let most = self.shape.off() * f64::from(self.shape.interval);
        (most * (2.0 * unit(random) - 1.0)) as i64
    }

    /// How far an extra pulse is from the one that brings it about, or beside
    /// which it happens to come.
    fn away(&self, at_once: bool, random: &mut impl Rng) -> i64 {
        let width = f64::from(self.shape.width);
        let range = match at_once {
            true => (0.1 * width, 0.5 * width),
            false => {
                let least = 1.1 * width;
                let no_beat = f64::from(LIMITS.interval.shortest) * NO_BEAT;
                let close = CLOSE - 2.0 * self.shape.off();
                let most = no_beat.min(close * f64::from(self.shape.interval));
                (least, least.max(most))
            }
        };
        between(range, random)
    }

    /// How far an extra pulse between two beats is from one of them so that it
    /// is as far from either as is allowed, and closer than a quarter of the
    /// beat or not. `None` where the beat leaves no room for that.
    fn apart(&self, double: bool) -> Option<(f64, f64)> {
        let beat = f64::from(self.shape.interval);
        let allowed = f64::from(LIMITS.interval.shortest) * CLEAR;
        let least = allowed.max(1.1 * f64::from(self.shape.width));
        let range = match double {
            true => (least, 0.24 * beat),
            false => {
                let least = (least + 2.0 * self.shape.off() * beat).max(0.3 * beat);
                (least, beat - least)
            }
        };
        (range.0 <= range.1).then_some(range)
    }

    fn shows(&self, sought: Sought) -> bool {
        sought.found_in(&Evidence::of(&self.pulses, &self.shape.rhythm())) == Some(true)
    }

    /// How many pulses a line has, and how many of them are extra.
    pub(super) fn count(&self, line: Line) -> (usize, usize) {
        let on = || self.pulses.iter().zip(&self.extra).filter(|(pulse, _)| pulse.line == line);
        (on().count(), on().filter(|&(_, &extra)| extra).count())
    }

    /// Puts in what is wanted and not there.
    pub(super) fn put_in(&mut self, wanted: &Evidence, random: &mut impl Rng) {
        let missing = |wires: &Self, sought: Sought| {
            sought.found_in(wanted) == Some(true) && !wires.shows(sought)
        };
        if missing(self, Sought::LinesOverlap) {
            let different = |at: &usize| self.pulses[*at].line != self.pulses[at + 1].line;
            let places: Vec<usize> = self.places().filter(different).collect();
            if !places.is_empty() {
                let at = places[below(places.len(), random)];
                self.bring(at, i64::from(self.shape.width) * 2 / 5);
            }
        }
        for line in Line::BOTH {
            if missing(self, Sought::DoublePulse(line)) {
                self.bring_two(line, random);
            }
        }
        if missing(self, Sought::MissingBeat) {
            let beat = i64::from(self.shape.interval);
            let whole = |at: &usize| {
                let interval = self.pulses[at + 1].start - self.pulses[*at].start;
                interval * 20 > beat * 17
            };
            let places: Vec<usize> = self.places().filter(whole).collect();
            if !places.is_empty() {
                let at = places[below(places.len(), random)];
                let interval = self.pulses[at + 1].start - self.pulses[at].start;
                self.bring(at, interval + beat);
            }
        }
        for line in Line::BOTH {
            if missing(self, Sought::ShortPulse(line)) {
                self.add_runts(line, random);
            }
        }
    }

    /// The pulses that another one follows.
    fn places(&self) -> std::ops::Range<usize> {
        0..self.pulses.len().saturating_sub(1)
    }

    /// Moves the pulses behind one so that the next comes after that time.
    fn bring(&mut self, at: usize, interval: i64) {
        let by = self.pulses[at].start + interval - self.pulses[at + 1].start;
        self.pulses[at + 1..].iter_mut().for_each(|pulse| pulse.start += by);
    }

    /// Two pulses of a line closer than a quarter of the beat, those with the
    /// fewest others between.
    fn bring_two(&mut self, line: Line, random: &mut impl Rng) {
        let on: Vec<usize> =
            (0..self.pulses.len()).filter(|&at| self.pulses[at].line == line).collect();
        let Some(least) = on.windows(2).map(|pair| pair[1] - pair[0]).min() else { return };
        let pairs: Vec<usize> =
            on.windows(2).filter(|pair| pair[1] - pair[0] == least).map(|pair| pair[0]).collect();
        let first = pairs[below(pairs.len(), random)];
        // Short of a quarter; and of the 200 µs from which an interval counts as
        // one between bits, unless it can be further from both and the beat is
        // still told.
        let allowed = self.apart(true).filter(|_| {
            self.within_limits && least == 1 && self.pulses.len() >= PULSES_WITH_ONE_APART
        });
        let total = match allowed {
            Some(range) => between(range, random),
            None => {
                let quarter = i64::from(self.shape.interval) / 4;
                (quarter * 9 / 10).min(i64::from(LIMITS.interval.shortest) * 9 / 10)
            }
        };
        let each = total / least as i64;
        for at in first..first + least {
            self.bring(at, each);
        }
    }

    /// Makes some pulses of a line less than half as wide as they should be:
    /// extra ones first, fewer than half of all.
    pub(super) fn add_runts(&mut self, line: Line, random: &mut impl Rng) {
        let on = |wires: &Self, extra: bool| -> Vec<usize> {
            (0..wires.pulses.len())
                .filter(|&at| wires.pulses[at].line == line && wires.extra[at] == extra)
                .collect()
        };
        let (mut extra, sent) = (on(self, true), on(self, false));
        let most = ((extra.len() + sent.len()).saturating_sub(1) / 2).max(1);
        let among = if extra.is_empty() { sent } else { std::mem::take(&mut extra) };
        if among.is_empty() {
            return;
        }
        let sure = among[below(among.len(), random)];
        let mut left = most - 1;
        for at in among {
            let too = at != sure && left > 0 && chance(0.3, random);
            left -= usize::from(too);
            if at == sure || too {
                self.pulses[at].width = between(self.runt(), random) as u32;
            }
        }
    }

    fn runt(&self) -> (f64, f64) {
        let usual = f64::from(self.shape.width);
        runt_allowed(self.shape)
            .filter(|_| self.within_limits)
            .unwrap_or((0.2 * usual, 0.3 * usual))
    }

    /// The pulses: the first at 0, and none into the next one of its line.
    pub(super) fn finish(mut self) -> Vec<Pulse> {
        let first = self.pulses.first().map_or(0, |pulse| pulse.start);
        let mut next: [Option<i64>; 2] = [None; 2];
        for pulse in self.pulses.iter_mut().rev() {
            pulse.start -= first;
            if let Some(next) = next[pulse.line.index()].replace(pulse.start) {
                let room = (next - pulse.start) * 9 / 10;
                pulse.width = pulse.width.min(u32::try_from(room).unwrap_or(u32::MAX));
            }
            pulse.width = pulse.width.max(1);
        }
        self.pulses
    }
}

/// From these on, one interval that is no beat leaves nine in ten that are.
const PULSES_WITH_ONE_APART: usize = 11;

/// Whether the extra pulses of a read are so few that the beat can be told
/// wherever they come: each makes two intervals that are no beat of one that is,
/// and nine in ten have to be.
fn leaves_the_beat(read: &SentRead) -> bool {
    let extra = |origin: &&Origin| matches!(origin, Origin::Before(_));
    let extra = read.origins.iter().filter(extra).count();
    20 * extra < read.bits.len()
}

/// How wide a runt is that is as wide as is allowed and under half as wide as is
/// usual; `None` where there is no such width.
fn runt_allowed(shape: &Shape) -> Option<(f64, f64)> {
    let usual = f64::from(shape.width);
    let least = (f64::from(LIMITS.width.shortest) * CLEAR).max(0.2 * usual);
    let most = 0.49 * (1.0 - shape.jitter) * usual;
    (least <= most).then_some((least, most))
}

/// How wide the pulses of lines that nothing drives are.
fn widths_adrift(shape: &Shape) -> (f64, f64) {
    let usual = f64::from(shape.width);
    let least = runt_allowed(shape).map_or(0.2 * usual, |(least, _)| least);
    let longest = f64::from(LIMITS.width.longest);
    let most = 1.8 * usual;
    (least, if usual <= longest { most.min(longest) } else { most })
}

fn between((least, most): (f64, f64), random: &mut impl Rng) -> i64 {
    (least + (most - least) * unit(random)) as i64
}

pub(super) fn line_of(bit: Bit) -> Line {
    if bit == Bit::One { Line::D1 } else { Line::D0 }
}
