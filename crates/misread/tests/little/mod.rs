//! A second way to the same numbers: little layouts, every frame of which is
//! listed, and every way a fault can turn one into a read, followed one by one.
//!
//! Written from the documentation of the fault model alone. It shares nothing
//! with the library but the names of things and the spec it hands over: no
//! table of arrivals, no parity states, no ranks, no logarithms.

// Each test file uses its own part.
#![allow(dead_code, unused_imports, clippy::unwrap_used, clippy::panic)]

mod asked;
mod behind;
mod card;
mod channel;
mod drawn;
mod joint;
mod mix;
mod question;
mod unlisted;

pub(crate) use asked::{Asked, as_bits, as_read, key};
pub(crate) use behind::{Card, cards_behind};
pub(crate) use channel::{arrives, arrives_by, arrives_split, nothing_arrives};
pub(crate) use drawn::{Dice, Drawn, Sending, draw, random_model};
pub(crate) use joint::{Key, Of, suffering, weigh};
pub(crate) use question::{Question, Said, Shown, wires};
pub(crate) use unlisted::{length_weight, stranger};

use std::collections::BTreeMap;

use misread::layout::{Code, FieldSpec, FixedSpec, Kind, Layout, Order, ParitySpec, Span, Spec};

/// Bits of a frame.
pub(crate) type Frame = Vec<bool>;

/// A read; `None` for an unread bit.
pub(crate) type Read = Vec<Option<bool>>;

/// What is known of a card.
pub(crate) type Known = BTreeMap<String, u64>;

/// The bits of a frame that are known, by position from 1.
pub(crate) type KnownBits = BTreeMap<usize, bool>;

/// A layout small enough to list all its frames. Positions from 1.
pub(crate) struct Little {
    pub(crate) name: &'static str,
    pub(crate) bits: usize,
    pub(crate) fields: Vec<LittleField>,
    pub(crate) fixed: Vec<(usize, bool)>,
    /// Parity bit, whether odd, bits covered. A rule that covers another's
    /// parity bit comes after it.
    pub(crate) parity: Vec<(usize, bool, Vec<usize>)>,
}

pub(crate) struct LittleField {
    pub(crate) name: &'static str,
    pub(crate) bits: Vec<usize>,
    pub(crate) lsb_first: bool,
    pub(crate) bcd: bool,
}

pub(crate) fn field(name: &'static str, bits: impl IntoIterator<Item = usize>) -> LittleField {
    LittleField { name, bits: bits.into_iter().collect(), lsb_first: false, bcd: false }
}

/// Layouts of 4 to 10 bits, with checks that overlap, that end together, that
/// cover one another, or none; with and without facility code, fixed bits and
/// bits that nothing claims.
pub(crate) fn littles() -> Vec<Little> {
    vec![
        Little {
            name: "winch-4",
            bits: 4,
            fields: vec![field("card", 1..=4)],
            fixed: vec![],
            parity: vec![],
        },
        Little {
            name: "shed-5",
            bits: 5,
            fields: vec![field("facility", [1]), field("card", 2..=4)],
            fixed: vec![],
            parity: vec![(5, true, vec![1, 2, 3, 4])],
        },
        Little {
            name: "crane-6",
            bits: 6,
            fields: vec![field("card", [5, 2, 3]), field("facility", [4])],
            fixed: vec![(6, true)],
            parity: vec![(1, false, vec![2, 3])],
        },
        Little {
            name: "jetty-7",
            bits: 7,
            // Bit 4 belongs to nothing, bit 7 to nothing but a check.
            fields: vec![field("card", [2, 3, 5])],
            fixed: vec![],
            parity: vec![(1, false, vec![2, 5, 7]), (6, true, vec![1, 2, 3])],
        },
        Little {
            name: "loft-8",
            bits: 8,
            fields: vec![
                LittleField { lsb_first: true, ..field("facility", [2, 3]) },
                LittleField { lsb_first: true, ..field("card", [4, 5, 6, 7]) },
            ],
            fixed: vec![],
            parity: vec![(1, false, vec![2, 3, 4]), (8, true, vec![5, 6, 7])],
        },
        Little {
            name: "key-8",
            bits: 8,
            fields: vec![field("key", 5..=8)],
            fixed: vec![],
            parity: (1..=4).map(|i| (i, true, vec![i + 4])).collect(),
        },
        Little {
            name: "slip-9",
            bits: 9,
            fields: vec![
                field("facility", [1, 4]),
                LittleField { bcd: true, lsb_first: true, ..field("card", [2, 3, 6, 7]) },
            ],
            fixed: vec![(5, false)],
            parity: vec![(9, false, vec![1, 2, 3, 4]), (8, true, vec![4, 5, 6, 7, 9])],
        },
        Little {
            name: "berth-10",
            bits: 10,
            fields: vec![field("facility", [2, 3]), field("card", 4..=8)],
            fixed: vec![],
            parity: vec![
                (1, false, vec![2, 4, 6, 8]),
                (9, true, vec![3, 4, 5, 6, 7]),
                (10, false, vec![1, 2, 3, 4, 5, 6, 7, 8, 9]),
            ],
        },
        // Nine bits of card, so that a neighbour keeps one of them.
        Little {
            name: "rope-10",
            bits: 10,
            fields: vec![LittleField { lsb_first: true, ..field("card", 2..=10) }],
            fixed: vec![],
            parity: vec![(1, false, vec![2, 3, 9, 10])],
        },
        Little {
            name: "quay-10",
            bits: 10,
            fields: vec![field("card", [10, 9, 1, 2, 3, 4, 5, 6, 7, 8])],
            fixed: vec![],
            parity: vec![],
        },
        Little {
            name: "boom-10",
            bits: 10,
            fields: vec![
                LittleField { bcd: true, ..field("card", 1..=8) },
                field("series", 9..=10),
            ],
            fixed: vec![],
            parity: vec![],
        },
    ]
}

/// Layouts with a field of two bytes, so that they can be reversed.
pub(crate) fn two_bytes() -> Vec<Little> {
    vec![
        Little {
            name: "stores-17",
            bits: 17,
            fields: vec![field("card", 2..=17)],
            fixed: vec![],
            parity: vec![(1, false, (2..=9).collect())],
        },
        Little {
            name: "sheer-18",
            bits: 18,
            fields: vec![LittleField { lsb_first: true, ..field("card", 2..=17) }],
            fixed: vec![],
            parity: vec![(1, true, (2..=6).collect()), (18, false, (1..=17).collect())],
        },
    ]
}

impl Little {
    pub(crate) fn layout(&self) -> Layout {
        let spans = |bits: &[usize]| -> Vec<Span> {
            bits.iter().map(|&bit| Span::one(bit as u16)).collect()
        };
        let field_bits: Vec<_> = self.fields.iter().map(|field| spans(&field.bits)).collect();
        let fields: Vec<_> = self
            .fields
            .iter()
            .zip(&field_bits)
            .map(|(field, bits)| FieldSpec {
                order: if field.lsb_first { Order::LsbFirst } else { Order::MsbFirst },
                code: if field.bcd { Code::Bcd } else { Code::Binary },
                ..FieldSpec::plain(field.name, bits)
            })
            .collect();
        let fixed_bits: Vec<_> = self.fixed.iter().map(|&(bit, _)| spans(&[bit])).collect();
        let fixed: Vec<_> = self
            .fixed
            .iter()
            .zip(&fixed_bits)
            .map(|(&(_, value), bits)| FixedSpec { bits, value: if value { "1" } else { "0" } })
            .collect();
        let over: Vec<_> = self.parity.iter().map(|(.., over)| spans(over)).collect();
        let parity: Vec<_> = self
            .parity
            .iter()
            .zip(&over)
            .map(|(&(bit, odd, _), over)| ParitySpec {
                bit: bit as u16,
                kind: if odd { Kind::Odd } else { Kind::Even },
                over,
            })
            .collect();
        let spec = Spec {
            name: self.name,
            bits: self.bits as u16,
            fields: &fields,
            fixed: &fixed,
            parity: &parity,
        };
        Layout::new(&spec).unwrap()
    }

    /// Every frame that passes the checks.
    pub(crate) fn frames(&self) -> Vec<Frame> {
        let all = (0..1u32 << self.bits)
            .map(|word| (0..self.bits).map(|i| word >> i & 1 == 1).collect::<Frame>());
        let passes = |frame: &Frame| {
            self.fixed.iter().all(|&(bit, value)| frame[bit - 1] == value)
                && self.parity.iter().all(|(bit, odd, over)| {
                    let ones = over.iter().chain([bit]).filter(|&&bit| frame[bit - 1]).count();
                    (ones % 2 == 1) == *odd
                })
        };
        all.filter(passes).collect()
    }

    /// The bits that carry these values; `None` where a value does not fit.
    pub(crate) fn known_bits(&self, known: &Known) -> Option<KnownBits> {
        let mut bits = KnownBits::new();
        for (name, &value) in known {
            bits.extend(self.field(name)?.carrying(value)?);
        }
        Some(bits)
    }

    /// Whether a frame carries these values.
    pub(crate) fn carries(&self, frame: &Frame, known: &Known) -> bool {
        self.known_bits(known).is_some_and(|bits| has(frame, &bits))
    }

    /// Whether there are values like these at all.
    pub(crate) fn fits(&self, known: &Known) -> bool {
        self.known_bits(known).is_some()
    }

    pub(crate) fn field(&self, name: &str) -> Option<&LittleField> {
        self.fields.iter().find(|field| field.name == name)
    }

    pub(crate) fn has_field(&self, name: &str) -> bool {
        self.field(name).is_some()
    }

    /// The frame a reader sends that reverses the bytes of the fields that
    /// have them; `None` for a layout without.
    pub(crate) fn bytes_reversed(&self, frame: &Frame) -> Option<Frame> {
        let mut sent = frame.clone();
        let mut any = false;
        let bytes = |field: &&LittleField| {
            (16..=64).contains(&field.bits.len()) && field.bits.len().is_multiple_of(8)
        };
        for field in self.fields.iter().filter(bytes) {
            any = true;
            for (to, from) in field.bits.chunks(8).zip(field.bits.chunks(8).rev()) {
                to.iter().zip(from).for_each(|(to, from)| sent[to - 1] = frame[from - 1]);
            }
        }
        for (bit, odd, over) in &self.parity {
            let ones = over.iter().filter(|&&bit| sent[bit - 1]).count();
            sent[bit - 1] = (ones % 2 == 1) != *odd;
        }
        any.then_some(sent)
    }
}

/// Whether a frame has these bits.
pub(crate) fn has(frame: &Frame, bits: &KnownBits) -> bool {
    bits.iter().all(|(bit, &value)| frame[bit - 1] == value)
}

impl LittleField {
    /// Its positions, that of the least significant bit first.
    pub(crate) fn lowest_first(&self) -> Vec<usize> {
        let group = if self.bcd { 4 } else { self.bits.len() };
        let in_group = |bits: &[usize]| {
            let mut bits = bits.to_vec();
            if !self.lsb_first {
                bits.reverse();
            }
            bits
        };
        self.bits.chunks(group).rev().flat_map(in_group).collect()
    }

    /// The largest value it can carry.
    pub(crate) fn most(&self) -> u64 {
        let width = self.bits.len() as u32;
        if self.bcd { 10u64.pow(width / 4) - 1 } else { (1 << width) - 1 }
    }

    /// The bits that carry a value, the least significant first.
    pub(crate) fn carrying(&self, value: u64) -> Option<Vec<(usize, bool)>> {
        let bit = |(i, position)| {
            let bit = match self.bcd {
                true => (value / 10u64.pow(i as u32 / 4) % 10) >> (i % 4) & 1,
                false => value >> i & 1,
            };
            (position, bit == 1)
        };
        (value <= self.most())
            .then(|| self.lowest_first().into_iter().enumerate().map(bit).collect())
    }

    /// The value that a frame carries; a digit over nine is none.
    pub(crate) fn value(&self, frame: &Frame) -> Option<u64> {
        let positions = self.lowest_first();
        let bits = positions.iter().map(|bit| u64::from(frame[bit - 1]));
        let word = bits.enumerate().map(|(i, bit)| bit << i).sum::<u64>();
        if !self.bcd {
            return Some(word);
        }
        let digits = (0..positions.len() / 4).rev().map(|group| word >> (4 * group) & 15);
        digits.clone().all(|digit| digit < 10).then(|| digits.fold(0, |sum, d| 10 * sum + d))
    }
}

/// The four ways of being shorted, or padded, numbered.
const FOUR_WAYS: &[f64] = &[0.0, 1.0, 2.0, 3.0];

/// The priors and rates, copied from the documentation.
pub(crate) const CAUSES: [(&str, f64, &[f64]); 26] = [
    ("none", 0.374, &[0.0]),
    ("lines-swapped", 0.170, &[0.0]),
    ("bits-inverted", 0.030, &[0.0]),
    ("bit-order-reversed", 0.020, &[0.0]),
    ("bytes-reversed", 0.010, &[0.0]),
    ("padded", 0.020, FOUR_WAYS),
    ("d0-open", 0.035, &[0.0]),
    ("d1-open", 0.035, &[0.0]),
    ("lines-shorted", 0.020, FOUR_WAYS),
    ("d0-weak", 0.025, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("d1-weak", 0.025, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("both-weak", 0.035, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("d0-noise", 0.006, &[0.02, 0.05, 0.1, 0.2]),
    ("d1-noise", 0.006, &[0.02, 0.05, 0.1, 0.2]),
    ("both-noise", 0.006, &[0.02, 0.05, 0.1, 0.2]),
    ("d0-ringing", 0.004, &[0.2, 0.5, 0.8, 1.0]),
    ("d1-ringing", 0.004, &[0.2, 0.5, 0.8, 1.0]),
    ("both-ringing", 0.004, &[0.2, 0.5, 0.8, 1.0]),
    ("crosstalk", 0.004, &[0.1, 0.3, 0.6, 1.0]),
    ("head-lost", 0.030, &[0.0]),
    ("tail-lost", 0.015, &[0.0]),
    ("frame-split", 0.010, &[0.0]),
    ("frames-merged", 0.015, &[0.0]),
    ("bits-changed", 0.001, &[0.0]),
    ("unknown-layout", 0.090, &[0.0]),
    ("random-bits", 0.006, &[0.0]),
];

/// The priors of the card states, copied from the documentation.
pub(crate) const CARDS: [(&str, f64); 4] = [
    ("as-expected", 0.950),
    ("facility-differs", 0.025),
    ("card-differs", 0.015),
    ("different-card", 0.010),
];
