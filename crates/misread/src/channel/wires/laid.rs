//! One read being laid on the wires, pulse by pulse.

use misread_core::Bit;
use misread_core::pulse::{DEFAULT_SILENCE, Evidence, Limits, Line, Pulse};
use rand_core::Rng;

use super::Shape;
use crate::cause::{Cause, Sought};
use crate::channel::random::{below, chance, unit};
use crate::channel::{Origin, SentRead};

/// The share of a beat within which an extra pulse stays close to another: what
/// is left of the beat is still one, to within 15 %.
const CLOSE: f64 = 0.14;

/// A longer gap would end the read.
const LONGEST_GAP: i64 = DEFAULT_SILENCE as i64 * 4 / 5;

/// One read being laid on the wires.
pub(super) struct Wires<'s> {
    shape: &'s Shape,
    pulses: Vec<Pulse>,
    /// Of each pulse, whether it is one that the reader did not send.
    extra: Vec<bool>,
}

impl<'s> Wires<'s> {
    /// One pulse a beat, whatever became of the others.
    pub(super) fn even(read: &SentRead, shape: &'s Shape, random: &mut impl Rng) -> Self {
        let mut wires = Wires { shape, pulses: Vec::new(), extra: Vec::new() };
        for (at, bit) in read.bits.iter().enumerate() {
            let start = at as i64 * i64::from(shape.interval) + wires.off(random);
            wires.push(start, bit, false, random);
        }
        wires
    }

    /// Nothing drives the lines: pulses of any width at any moment.
    pub(super) fn adrift(read: &SentRead, shape: &'s Shape, random: &mut impl Rng) -> Self {
        let mut wires = Wires { shape, pulses: Vec::new(), extra: Vec::new() };
        let mut start = 0;
        for bit in read.bits.iter() {
            wires.push(start, bit, true, random);
            if let Some(pulse) = wires.pulses.last_mut() {
                pulse.width = (f64::from(shape.width) * (0.2 + 1.6 * unit(random))) as u32;
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
        cause: Cause,
        read: &SentRead,
        wanted: &Evidence,
        shape: &'s Shape,
        random: &mut impl Rng,
    ) -> Self {
        let mut wires = Wires { shape, pulses: Vec::new(), extra: Vec::new() };
        let beat = i64::from(shape.interval);
        let longest = (LONGEST_GAP / beat).max(1) as usize;
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
                    let away = wires.away(overlap && shorted, random);
                    let double = wanted.double_pulse[line.index()] == Some(true);
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
        let width = f64::from(self.shape.width);
        let width = (width * (1.0 + self.shape.jitter * (2.0 * unit(random) - 1.0))) as u32;
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
        let most = f64::from(self.shape.interval) * self.shape.jitter / 2.0;
        (most * (2.0 * unit(random) - 1.0)) as i64
    }

    /// How far an extra pulse is from the one beside it.
    fn away(&self, at_once: bool, random: &mut impl Rng) -> i64 {
        let width = f64::from(self.shape.width);
        let (least, most) = match at_once {
            true => (0.1 * width, 0.5 * width),
            false => {
                let least = 1.1 * width;
                (least, least.max(CLOSE * f64::from(self.shape.interval)))
            }
        };
        (least + (most - least) * unit(random)) as i64
    }

    fn shows(&self, sought: Sought) -> bool {
        sought.found_in(&Evidence::of(&self.pulses, &self.shape.rhythm())) == Some(true)
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
        // Short of a quarter, and of the 200 µs from which an interval counts
        // as one between bits.
        let quarter = i64::from(self.shape.interval) / 4;
        let total = (quarter * 9 / 10).min(i64::from(Limits::SIA_AC_01.interval.shortest) * 9 / 10);
        let each = total / least as i64;
        for at in first..first + least {
            self.bring(at, each);
        }
    }

    /// Makes some pulses of a line a quarter as wide as they should be: extra
    /// ones first, fewer than half of all.
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
                let share = 0.2 + 0.1 * unit(random);
                self.pulses[at].width = (f64::from(self.shape.width) * share) as u32;
            }
        }
    }

    /// The pulses: the first at 0, and none into the next one of its line.
    pub(super) fn finish(mut self) -> Vec<Pulse> {
        let first = self.pulses.first().map_or(0, |pulse| pulse.start);
        let mut next: [Option<i64>; 2] = [None; 2];
        for pulse in self.pulses.iter_mut().rev() {
            pulse.start -= first;
            if let Some(next) = next[pulse.line.index()].replace(pulse.start) {
                let room = (next - pulse.start) / 2;
                pulse.width = pulse.width.min(u32::try_from(room).unwrap_or(u32::MAX));
            }
            pulse.width = pulse.width.max(1);
        }
        self.pulses
    }
}

pub(super) fn line_of(bit: Bit) -> Line {
    if bit == Bit::One { Line::D1 } else { Line::D0 }
}
