//! Invented layouts and cards, as the boatyard at Brindle Quay might have
//! them: where the truth is known, what is learned can be held against it.
//!
//! Nothing here uses the learner or the layouts of the project.
#![allow(dead_code, unreachable_pub)]

use misread::learn::{Claim, Learned, Sample};
use misread::{Bit, Bits, Turn};

/// Numbers in a fixed sequence.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x2545_f491_4f6c_dd1d)
    }

    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, end: usize) -> usize {
        (self.roll() % end as u64) as usize
    }

    pub fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len())]
    }
}

/// A field as it truly is.
#[derive(Clone, Debug)]
pub struct TrueField {
    pub name: &'static str,
    /// Indices, lowest place of the number first.
    pub bits: Vec<usize>,
    pub digits: bool,
    /// Number on the card less number in the frame.
    pub offset: i64,
    /// Whether anyone knows the number.
    pub known: bool,
}

impl TrueField {
    /// One more than the largest number the frame can carry, below 2^40.
    pub fn numbers(&self) -> u64 {
        match self.digits {
            true => 10u64.pow(self.bits.len() as u32 / 4),
            false => 1 << self.bits.len(),
        }
    }
}

/// A layout as it truly is, and how its reads are taken.
#[derive(Clone, Debug)]
pub struct World {
    pub bits: usize,
    pub fields: Vec<TrueField>,
    pub fixed: Vec<(usize, bool)>,
    /// Parity bit, bits covered, whether odd; in an order in which they can be
    /// worked out.
    pub parity: Vec<(usize, Vec<usize>, bool)>,
    pub turn: Turn,
}

/// Which cards the installer has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cards {
    /// Any facility, any number.
    Random,
    /// One box: one facility, one number after another.
    Box,
}

enum Part {
    Field(usize, usize),
    Check,
    Fixed,
}

impl World {
    /// A layout of one or two known numbers, at times an unknown one, up to
    /// four parity bits of plain shapes and up to two fixed bits.
    pub fn random(dice: &mut Dice) -> World {
        loop {
            if let Some(world) = World::try_random(dice) {
                return world;
            }
        }
    }

    fn try_random(dice: &mut Dice) -> Option<World> {
        let mut widths: Vec<(&'static str, usize, bool)> = Vec::new();
        if dice.chance(80) {
            widths.push(("facility", dice.pick(&[8, 8, 8, 10, 12, 13, 16]), true));
        }
        widths.push(("card", dice.pick(&[12, 16, 16, 16, 17, 19, 20, 20, 24, 32]), true));
        if dice.chance(10) {
            widths.push(("issue", dice.pick(&[2, 3, 4]), false));
        }
        let mut parts: Vec<Part> = Vec::new();
        let mut fields: Vec<TrueField> = Vec::new();
        for (name, width, known) in widths {
            let number = fields.len();
            let kind = if known { dice.below(100) } else { 0 };
            let digits = (90..95).contains(&kind);
            let width = if digits { width / 4 * 4 } else { width };
            let offset = if kind >= 95 { 1 + dice.below(2000) as i64 } else { 0 };
            fields.push(TrueField { name, bits: vec![kind; width], digits, offset, known });
            // At times a number is cut in two by something in between.
            if kind < 80 && width > 5 && dice.chance(5) {
                let cut = 2 + dice.below(width - 3);
                parts.push(Part::Field(number, width - cut));
                parts.push(if dice.chance(50) { Part::Check } else { Part::Fixed });
                parts.push(Part::Field(number, cut));
            } else {
                parts.push(Part::Field(number, width));
            }
        }
        if dice.chance(30) && parts.len() > 1 {
            let last = parts.pop()?;
            parts.insert(0, last);
        }
        for _ in 0..dice.pick(&[0, 1, 2, 2, 2, 3, 4]) {
            let at = match dice.below(3) {
                0 => 0,
                1 => parts.len(),
                _ => dice.below(parts.len() + 1),
            };
            parts.insert(at, Part::Check);
        }
        for _ in 0..dice.pick(&[0, 0, 0, 1, 2]) {
            let at = dice.below(parts.len() + 1);
            parts.insert(at, Part::Fixed);
        }
        let (mut next, mut checks, mut fixed) = (0, Vec::new(), Vec::new());
        let mut places: Vec<Vec<usize>> = vec![Vec::new(); fields.len()];
        for part in parts {
            match part {
                Part::Field(number, width) => {
                    places[number].extend(next..next + width);
                    next += width;
                }
                Part::Check => {
                    checks.push(next);
                    next += 1;
                }
                Part::Fixed => {
                    fixed.push((next, dice.chance(50)));
                    next += 1;
                }
            }
        }
        for (field, mut places) in fields.iter_mut().zip(places) {
            let width = places.len();
            let kind = field.bits[0];
            places.reverse();
            let in_one = places[0] + 1 - places[width - 1] == width;
            if in_one && (80..86).contains(&kind) {
                places.reverse();
            } else if in_one && (86..90).contains(&kind) && width % 8 == 0 && width >= 16 {
                let first = places[width - 1];
                places = (0..width).map(|k| first + k / 8 * 8 + (7 - k % 8)).collect();
            }
            field.bits = places;
        }
        let bits = next;
        let mut parity: Vec<(usize, Vec<usize>, bool)> = Vec::new();
        let mut waiting = checks.clone();
        for _ in 0..waiting.len() {
            let bit = waiting.remove(dice.below(waiting.len()));
            let over = (0..50).find_map(|_| {
                let over = shape(dice, bit, bits);
                let fits = !over.is_empty()
                    && !over.contains(&bit)
                    && !over.iter().any(|index| waiting.contains(index));
                fits.then_some(over)
            })?;
            parity.push((bit, over, dice.chance(50)));
        }
        let turn = match dice.below(100) {
            0..75 => Turn::AsReceived,
            75..93 => Turn::Inverted,
            93..99 => Turn::Reversed,
            _ => Turn::InvertedReversed,
        };
        (bits <= 64).then_some(World { bits, fields, fixed, parity, turn })
    }

    /// The frame of numbers in the frame, one for each field.
    pub fn frame(&self, own: &[u64]) -> Vec<bool> {
        let mut frame = vec![false; self.bits];
        for (field, &own) in self.fields.iter().zip(own) {
            for (place, &index) in field.bits.iter().enumerate() {
                frame[index] = match field.digits {
                    false => own >> place & 1 == 1,
                    true => (own / 10u64.pow(place as u32 / 4) % 10) >> (place % 4) & 1 == 1,
                };
            }
        }
        for &(index, value) in &self.fixed {
            frame[index] = value;
        }
        for (bit, over, odd) in &self.parity {
            let ones = over.iter().filter(|&&index| frame[index]).count();
            frame[*bit] = (ones % 2 == 1) != *odd;
        }
        frame
    }

    /// A sample as received.
    pub fn sample(&self, line: usize, own: &[u64]) -> Sample {
        let bits: Bits = self.frame(own).into_iter().map(Bit::from).collect();
        let known = self
            .fields
            .iter()
            .zip(own)
            .filter(|(field, _)| field.known)
            .map(|(field, own)| (field.name.to_owned(), own + field.offset as u64))
            .collect();
        Sample { line: line as u64, bits: bits.turned(self.turn), known }
    }

    pub fn samples(&self, dice: &mut Dice, cards: Cards, count: usize) -> Vec<Sample> {
        let numbers = |dice: &mut Dice| -> Vec<u64> {
            self.fields.iter().map(|field| dice.roll() % field.numbers()).collect()
        };
        let first = numbers(dice);
        (0..count)
            .map(|i| {
                let own = match cards {
                    Cards::Random => numbers(dice),
                    Cards::Box => {
                        let mut own = first.clone();
                        for (own, field) in own.iter_mut().zip(&self.fields) {
                            if field.name == "card" {
                                // A new box: numbers from the first few thousand.
                                let from = *own % (field.numbers() / 8).max(1);
                                *own = (from + i as u64) % field.numbers();
                            }
                        }
                        own
                    }
                };
                self.sample(i + 2, &own)
            })
            .collect()
    }

    /// The first thing settled that is false, if anything is.
    pub fn false_statement(&self, learned: &Learned, fresh: &[Sample]) -> Option<String> {
        let inverted = matches!(self.turn, Turn::Inverted | Turn::InvertedReversed);
        learned.settled.iter().find_map(|statement| {
            let holds = match &statement.claim {
                Claim::Inverted => inverted,
                Claim::Parity { group, whole: false, unmoved, .. } => {
                    some_also(group, unmoved, fresh)
                }
                claim => fresh.iter().all(|s| claim.agrees(&s.bits, &s.known) == Some(true)),
            };
            (!holds).then(|| statement.says.clone())
        })
    }

    /// Whether the best candidate gives every known number of fresh cards.
    pub fn numbers_right(&self, learned: &Learned, fresh: &[Sample]) -> bool {
        let Some(best) = learned.candidates.first() else { return false };
        fresh.iter().all(|sample| {
            let read = sample.bits.turned(learned.turn);
            sample.known.iter().all(|(name, number)| {
                let Some(field) = best.layout.field(name) else { return false };
                let offset =
                    best.offsets.iter().find(|(n, _)| n == name).map_or(0, |(_, offset)| *offset);
                let raw = field.indices().fold(0u64, |raw, index| {
                    raw << 1 | u64::from(read.get(index) == Some(Bit::One))
                });
                i128::from(field.from_raw(raw)) + offset == i128::from(*number)
            })
        })
    }

    /// For each true parity bit: whether the best candidate's rule for it is
    /// right, and whether the answer lists it as open.
    pub fn parity_right(&self, learned: &Learned, fresh: &[Sample]) -> Vec<(bool, bool)> {
        let reversed = |turn| matches!(turn, Turn::Reversed | Turn::InvertedReversed);
        let flip = reversed(self.turn) != reversed(learned.turn);
        let Some(best) = learned.candidates.first() else { return vec![(false, false)] };
        self.parity
            .iter()
            .map(|(bit, ..)| {
                let at = if flip { self.bits - 1 - bit } else { *bit };
                let rule = best.layout.parity().iter().find(|rule| rule.bit() == at);
                let right = rule.is_some_and(|rule| {
                    fresh.iter().all(|sample| {
                        let read = sample.bits.turned(learned.turn);
                        let ones = rule.group().indices();
                        let ones = ones.filter(|&i| read.get(i) == Some(Bit::One)).count();
                        (ones % 2 == 1) == (rule.kind() == misread::layout::Kind::Odd)
                    })
                });
                (right, learned.open.iter().any(|open| open.bits.contains(&at)))
            })
            .collect()
    }
}

/// A plain shape that may hold the bit; the caller looks.
fn shape(dice: &mut Dice, bit: usize, bits: usize) -> Vec<usize> {
    let within = |first: usize, last: usize, keep: &dyn Fn(usize) -> bool| -> Vec<usize> {
        (first..=last.min(bits - 1)).filter(|i| keep(i - first)).collect()
    };
    let side = dice.chance(50);
    match dice.below(100) {
        0..50 => {
            // A run beside the parity bit.
            let room = if side { bit } else { bits - 1 - bit };
            if room < 2 {
                return Vec::new();
            }
            let length = 2 + dice.below(room - 1);
            if side { (bit - length..bit).collect() } else { (bit + 1..=bit + length).collect() }
        }
        50..65 => {
            if side {
                (0..bit).collect()
            } else {
                (bit + 1..bits).collect()
            }
        }
        65..80 => {
            let first = dice.below(bits - 4);
            within(first, first + 2 + dice.below(bits - first), &|_| true)
        }
        80..92 => {
            let stride = dice.pick(&[2, 3]);
            let first = dice.below(bits - 6);
            within(first, first + 3 + dice.below(bits - first), &|i| i % stride == 0)
        }
        _ => {
            let left_out = dice.pick(&[1, 2]);
            let first = dice.below(bits - 6);
            within(first, first + 5 + dice.below(bits - first), &|i| i % 3 != left_out)
        }
    }
}

/// Whether, with some of the bits that never moved, the parity of the group is
/// the same on all fresh frames: linear equations, solved by hand.
fn some_also(group: &[usize], unmoved: &[usize], fresh: &[Sample]) -> bool {
    let one = |sample: &Sample, index: usize| sample.bits.get(index) == Some(Bit::One);
    let mut rows: Vec<Vec<bool>> = fresh
        .iter()
        .map(|sample| {
            let sum = group.iter().filter(|&&index| one(sample, index)).count() % 2 == 1;
            let unknowns = unmoved.iter().map(|&index| one(sample, index));
            unknowns.chain([true, sum]).collect()
        })
        .collect();
    let unknowns = unmoved.len() + 1;
    let mut solved = 0;
    for column in 0..unknowns {
        let Some(pivot) = (solved..rows.len()).find(|&row| rows[row][column]) else { continue };
        rows.swap(solved, pivot);
        let by = rows[solved].clone();
        for (i, row) in rows.iter_mut().enumerate() {
            if i != solved && row[column] {
                row.iter_mut().zip(&by).for_each(|(bit, by)| *bit ^= by);
            }
        }
        solved += 1;
    }
    rows[solved..].iter().all(|row| !row[unknowns])
}
