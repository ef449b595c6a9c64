//! A row of a drawing along time: where its pulses stand and what is written
//! over and under them.

use std::fmt::Write;

use misread::pulse::{Level, Line as DataLine};

use super::{APART, CHAR, LEFT, ROOM};
use crate::draw::timeline::{Drawn, Place, Train};

/// A stretch of a read that fits the page.
pub(super) struct Row<'a, 'b> {
    pub(super) train: &'a Train<'b>,
    pub(super) places: &'a [Place],
    pub(super) idle: [Level; 2],
    /// In steps, which are pixels.
    pub(super) from: usize,
    pub(super) to: usize,
}

impl Row<'_, '_> {
    pub(super) fn x(&self, at: usize) -> usize {
        LEFT + at.saturating_sub(self.from)
    }

    pub(super) fn has(&self, place: &Place) -> bool {
        (self.from..self.to).contains(&place.at)
    }

    pub(super) fn shown(&self) -> impl Iterator<Item = (usize, &Place)> {
        self.places.iter().enumerate().filter(|(_, place)| self.has(place))
    }

    /// Its pulses, each with the level its digit stands at: those too close to
    /// the one before, one higher.
    pub(super) fn levels(&self) -> Vec<(usize, usize)> {
        let mut ends: Vec<usize> = Vec::new();
        let level = |place: &Place| {
            let free = ends.iter().position(|&end| end <= place.at).unwrap_or(ends.len());
            let end = place.at + CHAR;
            match ends.get_mut(free) {
                Some(last) => *last = end,
                None => ends.push(end),
            }
            free
        };
        let (indices, places): (Vec<usize>, Vec<&Place>) = self.shown().unzip();
        indices.into_iter().zip(places.into_iter().map(level)).collect()
    }

    /// The level of a line along the row, as a path.
    pub(super) fn waveform(&self, line: DataLine, high: usize, low: usize) -> String {
        let (rest, active) = match self.idle[line.index()] {
            Level::High => (high, low),
            Level::Low => (low, high),
        };
        let mut path = format!("M{LEFT} {rest}");
        for (pulse, place) in self.train.pulses.iter().zip(self.places) {
            let (start, end) = (place.at, place.end());
            if pulse.line != Some(line) || end <= self.from || start >= self.to {
                continue;
            }
            // Writing to a string cannot fail.
            let _ = write!(path, "H{}V{active}", self.x(start.max(self.from)));
            let _ = write!(path, "H{}", self.x(end.min(self.to)));
            if end <= self.to && pulse.complete {
                let _ = write!(path, "V{rest}");
            } else {
                return path;
            }
        }
        let _ = write!(path, "H{}", self.x(self.to));
        path
    }

    /// Round moments from the first pulse on, and where they are.
    pub(super) fn ticks(&self) -> Vec<(usize, i64)> {
        let mut ticks = Vec::new();
        let first = self.train.pulses.first().map_or(0, |pulse| pulse.start);
        let pairs = self.train.pulses.windows(2).zip(self.places.windows(2));
        // The widest pulse interval that is drawn to time gives the scale.
        let scale = pairs.clone().filter(|(_, places)| !places[1].after_cut);
        let scale = scale.max_by_key(|(_, places)| places[1].at - places[0].at);
        let Some((pulses, places)) = scale else { return vec![(BEFORE, 0)] };
        let time = pulses[0].start.abs_diff(pulses[1].start).max(1);
        let step = nice(time.saturating_mul(80) / (places[1].at - places[0].at).max(1) as u64);
        let Ok(step) = i64::try_from(step) else { return ticks };
        for (pulses, places) in pairs {
            let ([a, b], [from, to]) = (pulses, places) else { continue };
            if to.after_cut || b.start <= a.start {
                continue;
            }
            let since = |pulse: &Drawn| pulse.start.saturating_sub(first);
            let (begin, end) = (since(a), since(b));
            let mut moment = begin.div_euclid(step) * step;
            if moment < begin {
                moment += step;
            }
            while moment < end {
                let part = (moment - begin) as u128 * (to.at - from.at) as u128;
                let at = from.at + usize::try_from(part / (end - begin) as u128).unwrap_or(0);
                if (self.from..self.to).contains(&at) {
                    ticks.push((at, moment));
                }
                moment += step;
            }
        }
        ticks
    }
}

/// Room before the first pulse.
pub(super) const BEFORE: usize = 8;

/// Stretches that fit the page, none of which begins between a pulse and its
/// digit.
pub(super) fn rows(places: &[Place]) -> Vec<(usize, usize)> {
    let mut rows = Vec::new();
    let mut from = 0;
    let mut break_at = |from: &mut usize, to: usize| {
        rows.push((*from, to));
        *from = to;
    };
    for place in places {
        while place.at + APART > from + ROOM {
            let to = (place.at - BEFORE).min(from + ROOM);
            break_at(&mut from, to);
        }
    }
    let end = places.iter().map(Place::end).max().unwrap_or(0) + APART;
    while end > from + ROOM {
        let to = from + ROOM;
        break_at(&mut from, to);
    }
    rows.push((from, end));
    rows
}

/// The next 1, 2 or 5 with noughts; at least 1.
pub(super) fn nice(number: u64) -> u64 {
    let power = 10u64.saturating_pow(number.max(1).ilog10());
    [1, 2, 5, 10]
        .into_iter()
        .map(|factor: u64| factor.saturating_mul(power))
        .find(|&nice| nice >= number)
        .unwrap_or(number)
        .max(1)
}
