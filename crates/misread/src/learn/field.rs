//! Where a number stands in the frame: every field of a plain form that gives
//! it on every card.

use std::collections::HashMap;

use misread_core::layout::{Code, FieldSpec, Order, Span};

use super::prior::{self, Family};
use super::weight::plus;
use crate::diagnose::gf2::Words;

/// The widest field.
const WIDEST: usize = 64;

/// A field, in the coordinates of the frame as it should be.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Form {
    pub(super) family: Family,
    /// Indices into the frame, from 0, most significant bit first.
    pub(super) bits: Vec<u8>,
    /// What is added to the field's number to give the number on the card.
    pub(super) offset: i128,
}

impl Form {
    pub(super) fn code(&self) -> Code {
        match self.family {
            Family::Digits { .. } | Family::LsbDigits { .. } => Code::Bcd,
            _ => Code::Binary,
        }
    }

    pub(super) fn order(&self) -> Order {
        match self.family {
            Family::LsbRun | Family::LsbDigits { .. } => Order::LsbFirst,
            _ => Order::MsbFirst,
        }
    }

    /// The positions in the order a layout lists them.
    pub(super) fn listed(&self) -> Vec<Span> {
        let width = self.bits.len();
        (0..width)
            .map(|i| match (self.order(), self.code()) {
                (Order::MsbFirst, _) => self.bits[i],
                (Order::LsbFirst, Code::Binary) => self.bits[width - 1 - i],
                (Order::LsbFirst, Code::Bcd) => self.bits[i ^ 3],
            })
            .map(|index| Span::one(u16::from(index) + 1))
            .collect()
    }

    /// As part of a layout.
    pub(super) fn spec<'a>(&self, name: &'a str, listed: &'a [Span]) -> FieldSpec<'a> {
        FieldSpec { order: self.order(), code: self.code(), ..FieldSpec::plain(name, listed) }
    }

    /// Each of its bits with the place in the number it stands for: a binary
    /// place, or a digit's.
    pub(super) fn places(&self) -> impl Iterator<Item = (u8, Place)> + '_ {
        let width = self.bits.len();
        self.bits.iter().enumerate().map(move |(i, &index)| {
            let place = width - 1 - i;
            (index, Place { digits: self.code() == Code::Bcd, place: place as u8 })
        })
    }

    pub(super) fn mask(&self) -> Words {
        self.bits.iter().fold(Words::default(), |mut mask, &index| {
            mask.set(usize::from(index), true);
            mask
        })
    }

    /// The field's own number for a card's number; `None` where it does not
    /// fit.
    pub(super) fn number(&self, number: u64) -> Option<u64> {
        let own = i128::from(number) - self.offset;
        let own = u64::try_from(own).ok()?;
        let width = self.bits.len();
        let fits = match self.code() {
            Code::Binary => width >= 64 || own >> width == 0,
            Code::Bcd => u128::from(own) < 10u128.pow((width / 4) as u32),
        };
        fits.then_some(own)
    }
}

/// One bit of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// Whether the number is taken as decimal digits of four bits each.
    pub digits: bool,
    /// Which bit, 0 the lowest; with `digits`, bit `place % 4` of the digit
    /// `place / 4`, 0 the last digit.
    pub place: u8,
}

impl Place {
    /// The bit's value in a number.
    pub fn of(self, number: u64) -> bool {
        if !self.digits {
            return self.place < 64 && number >> self.place & 1 == 1;
        }
        let digit = number.checked_div(10u64.checked_pow(u32::from(self.place / 4)).unwrap_or(0));
        digit.is_some_and(|digit| (digit % 10) >> (self.place % 4) & 1 == 1)
    }
}

/// One column of numbers beside the frames they belong to.
pub(super) struct Numbers<'a> {
    /// Bits of a frame.
    pub(super) bits: usize,
    /// For each card whose number is known: its frame, turned as it should
    /// be, and the number.
    pub(super) cards: &'a [(Words, u64)],
}

/// For each place of the numbers, the bits of the frame that carry it; nothing
/// where there are no numbers, or only 0.
pub(super) fn carriers(numbers: &Numbers<'_>) -> Vec<Vec<usize>> {
    let Some(search) = Search::new(numbers) else { return Vec::new() };
    (0..search.binary.len())
        .map(|place| (0..numbers.bits).filter(|&index| search.carries(index, place)).collect())
        .collect()
}

/// Every form that gives the numbers, with its weight in the prior.
pub(super) fn forms(numbers: &Numbers<'_>) -> Vec<(Form, f64)> {
    let Some(search) = Search::new(numbers) else { return Vec::new() };
    let mut found = Vec::new();
    search.runs(&mut found);
    search.groups(&mut found);
    search.digits(&mut found);
    search.two_runs(&mut found);
    search.with_offset(&mut found);
    found
}

struct Search<'a> {
    numbers: &'a Numbers<'a>,
    /// How many different numbers there are.
    different: usize,
    /// For each bit of the frame, which column of values it is; 0 for a bit
    /// that is always 0.
    frame: Vec<u32>,
    /// The same for each binary place of the numbers, up to the highest used.
    binary: Vec<u32>,
    /// The same for each place of their decimal digits.
    decimal: Vec<u32>,
    /// Whether a column moves.
    moves: Vec<bool>,
}

impl<'a> Search<'a> {
    fn new(numbers: &'a Numbers<'a>) -> Option<Self> {
        let cards = numbers.cards;
        let largest = cards.iter().map(|(_, number)| *number).max()?;
        if largest == 0 {
            // 0 on every card: any bits that are always 0 would do.
            return None;
        }
        let mut ids: HashMap<Vec<u64>, u32> = HashMap::new();
        let mut moves = Vec::new();
        let mut id = |value: &dyn Fn(&(Words, u64)) -> bool| {
            let mut column = vec![0u64; cards.len().div_ceil(64)];
            let mut ones = 0;
            for (i, card) in cards.iter().enumerate() {
                if value(card) {
                    column[i / 64] |= 1 << (i % 64);
                    ones += 1;
                }
            }
            let next = ids.len() as u32;
            *ids.entry(column).or_insert_with(|| {
                moves.push(ones > 0 && ones < cards.len());
                next
            })
        };
        id(&|_| false);
        let frame = (0..numbers.bits).map(|i| id(&|(frame, _)| frame.contains(i))).collect();
        let used = 64 - largest.leading_zeros() as u8;
        let binary = (0..used)
            .map(|place| id(&|(_, number)| Place { digits: false, place }.of(*number)))
            .collect();
        let digits = largest.checked_ilog10().unwrap_or(0) as u8 + 1;
        let decimal = (0..4 * digits)
            .map(|place| id(&|(_, number)| Place { digits: true, place }.of(*number)))
            .collect();
        let mut different: Vec<u64> = cards.iter().map(|(_, number)| *number).collect();
        different.sort_unstable();
        different.dedup();
        Some(Search { numbers, different: different.len(), frame, binary, decimal, moves })
    }

    fn bits(&self) -> usize {
        self.numbers.bits
    }

    /// Whether the frame's bit carries that place of the number.
    fn carries(&self, index: usize, place: usize) -> bool {
        self.frame[index] == self.binary.get(place).copied().unwrap_or(0)
    }

    fn moves(&self, place: usize) -> bool {
        self.binary.get(place).is_some_and(|id| self.moves[*id as usize])
    }

    fn add(&self, found: &mut Vec<(Form, f64)>, family: Family, bits: Vec<u8>, offset: i128) {
        let width = bits.len();
        let digits = matches!(family, Family::Digits { .. } | Family::LsbDigits { .. });
        let used = if digits { self.decimal.len() } else { self.binary.len() };
        let mut weight = prior::field(family, width, self.bits()) + prior::offset(offset);
        if offset == 0 {
            weight += prior::unused(width.saturating_sub(used), width, self.different);
        }
        found.push((Form { family, bits, offset }, weight));
    }

    fn runs(&self, found: &mut Vec<(Form, f64)>) {
        let (bits, used) = (self.bits(), self.binary.len());
        for lowest in 0..bits {
            // Upwards in the frame's order of sending is towards its front.
            let msb = (0..=lowest).rev().take(WIDEST);
            let reach = msb.enumerate().take_while(|(k, i)| self.carries(*i, *k)).count();
            for width in used..=reach {
                let run = (lowest + 1 - width..=lowest).map(|i| i as u8).collect();
                self.add(found, Family::MsbRun, run, 0);
            }
            let lsb = (lowest..bits).take(WIDEST);
            let reach = lsb.enumerate().take_while(|(k, i)| self.carries(*i, *k)).count();
            for width in used.max(2)..=reach {
                let run = (lowest..lowest + width).rev().map(|i| i as u8).collect();
                self.add(found, Family::LsbRun, run, 0);
            }
        }
    }

    fn groups(&self, found: &mut Vec<(Form, f64)>) {
        for (family, group) in [(Family::Bytes, 8), (Family::Nibbles, 4)] {
            for width in (2 * group..=WIDEST.min(self.bits())).step_by(group) {
                if width < self.binary.len() {
                    continue;
                }
                for first in 0..=self.bits() - width {
                    let index = |k: usize| first + group * (k / group) + (group - 1 - k % group);
                    if (0..width).all(|k| self.carries(index(k), k)) {
                        let run = (0..width).rev().map(|k| index(k) as u8).collect();
                        self.add(found, family, run, 0);
                    }
                }
            }
        }
    }

    fn digits(&self, found: &mut Vec<(Form, f64)>) {
        let used = self.decimal.len() / 4;
        let carries =
            |index: usize, k: usize| self.frame[index] == self.decimal.get(k).copied().unwrap_or(0);
        for apart in [0u8, 1] {
            let step = 4 + usize::from(apart);
            for digits in used.max(2)..=16 {
                let length = digits * step - usize::from(apart);
                if length > self.bits() {
                    break;
                }
                for first in 0..=self.bits() - length {
                    for lsb in [false, true] {
                        let index = |k: usize| {
                            let start = first + step * (digits - 1 - k / 4);
                            start + if lsb { k % 4 } else { 3 - k % 4 }
                        };
                        if (0..4 * digits).all(|k| carries(index(k), k)) {
                            let run = (0..4 * digits).rev().map(|k| index(k) as u8).collect();
                            let family = match lsb {
                                true => Family::LsbDigits { apart },
                                false => Family::Digits { apart },
                            };
                            self.add(found, family, run, 0);
                        }
                    }
                }
            }
        }
    }

    /// The high part ends at `high`, the low part at `low`; both move, or
    /// nothing would speak for the cut.
    fn two_runs(&self, found: &mut Vec<(Form, f64)>) {
        let (bits, used) = (self.bits(), self.binary.len());
        for low in 0..bits {
            let back = (0..=low).rev().take(WIDEST).enumerate();
            let reach = back.take_while(|(k, i)| self.carries(*i, *k)).count();
            for cut in 1..=reach.min(used.saturating_sub(1)) {
                if !(0..cut).any(|k| self.moves(k)) || !(cut..used).any(|k| self.moves(k)) {
                    continue;
                }
                for high in (0..bits).filter(|high| *high + cut != low) {
                    let back = (0..=high).rev().take(WIDEST - cut).enumerate();
                    let free = back
                        .take_while(|(k, i)| {
                            self.carries(*i, cut + *k) && !(low + 1 - cut..=low).contains(i)
                        })
                        .count();
                    for more in (used - cut).max(1)..=free {
                        let run = (high + 1 - more..=high).chain(low + 1 - cut..=low);
                        let run = run.map(|i| i as u8).collect();
                        self.add(found, Family::TwoRuns, run, 0);
                    }
                }
            }
        }
    }

    fn with_offset(&self, found: &mut Vec<(Form, f64)>) {
        let cards = self.numbers.cards;
        if self.different < 2 {
            return;
        }
        for first in 0..self.bits() {
            for end in first + 2..=self.bits().min(first + WIDEST) {
                for family in [Family::MsbRun, Family::LsbRun] {
                    let run: Vec<u8> = match family {
                        Family::LsbRun => (first..end).rev().map(|i| i as u8).collect(),
                        _ => (first..end).map(|i| i as u8).collect(),
                    };
                    let difference = |(frame, number): &(Words, u64)| {
                        let own = run.iter().fold(0u64, |own, &index| {
                            own << 1 | u64::from(frame.contains(usize::from(index)))
                        });
                        i128::from(*number) - i128::from(own)
                    };
                    let offset = difference(&cards[0]);
                    if offset != 0 && cards[1..].iter().all(|card| difference(card) == offset) {
                        self.add(found, family, run, offset);
                    }
                }
            }
        }
    }
}

/// A choice of where one column's number stands.
#[derive(Clone, Debug)]
pub(super) struct FieldChoice {
    /// The fields: one, two for a printed number of two parts, none where the
    /// number is not in the frame.
    pub(super) fields: Vec<(String, Form)>,
    /// For two parts run together in decimal: the digits of the second.
    pub(super) run_together: Option<u32>,
    /// The bits they take, in the order received.
    pub(super) claims: Words,
    /// The prior's weight, against that of the bits being something else.
    pub(super) weight: f64,
}

/// The heaviest choices and the weight of the rest together.
pub(super) fn keep_heaviest(choices: &mut Vec<FieldChoice>, most: usize) -> f64 {
    choices.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let rest = choices.drain(most.min(choices.len())..);
    rest.fold(super::weight::NOTHING, |sum, choice| plus(sum, choice.weight))
}
