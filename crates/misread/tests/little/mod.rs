//! A second way to the same numbers: little layouts, every frame of which is
//! listed, and every way a fault can turn one into a read, followed one by one.
//!
//! Written from the documentation of the fault model alone. It shares nothing
//! with the library but the spec it hands over: no table of arrivals, no
//! parity states, no ranks.

// Each test file uses its own part.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeMap;

use misread::layout::{Code, FieldSpec, FixedSpec, Kind, Layout, Order, ParitySpec, Span, Spec};

/// Bits of a frame.
pub(crate) type Frame = Vec<bool>;

/// A read; `None` for an unread bit.
pub(crate) type Read = Vec<Option<bool>>;

/// What is known of a card.
pub(crate) type Known = BTreeMap<String, u64>;

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

/// A layout with a field of two bytes, so that they can be reversed.
pub(crate) fn two_bytes() -> Little {
    Little {
        name: "stores-17",
        bits: 17,
        fields: vec![field("card", 2..=17)],
        fixed: vec![],
        parity: vec![(1, false, (2..=9).collect())],
    }
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

    /// Whether a frame carries these values; a digit over nine is none.
    pub(crate) fn carries(&self, frame: &Frame, known: &Known) -> bool {
        known.iter().all(|(name, &value)| {
            let field = self.fields.iter().find(|field| field.name == name);
            field.is_some_and(|field| field.value(frame) == Some(value))
        })
    }

    /// Whether there is a value like this at all.
    pub(crate) fn fits(&self, known: &Known) -> bool {
        known.iter().all(|(name, &value)| {
            self.fields.iter().any(|field| {
                field.name == name
                    && value
                        < if field.bcd {
                            10u64.pow(field.bits.len() as u32 / 4)
                        } else {
                            1 << field.bits.len()
                        }
            })
        })
    }

    pub(crate) fn has_field(&self, name: &str) -> bool {
        self.fields.iter().any(|field| field.name == name)
    }

    /// The frame a reader sends that reverses the bytes of the fields that
    /// have them; `None` for a layout without.
    pub(crate) fn bytes_reversed(&self, frame: &Frame) -> Option<Frame> {
        let mut sent = frame.clone();
        let mut any = false;
        for field in self.fields.iter().filter(|field| [16, 24, 32].contains(&field.bits.len())) {
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

impl LittleField {
    fn value(&self, frame: &Frame) -> Option<u64> {
        let bits: Vec<u64> = self.bits.iter().map(|bit| u64::from(frame[bit - 1])).collect();
        let number = |bits: &[u64]| {
            let weight = |i: usize| if self.lsb_first { i } else { bits.len() - 1 - i };
            bits.iter().enumerate().map(|(i, bit)| bit << weight(i)).sum::<u64>()
        };
        if !self.bcd {
            return Some(number(&bits));
        }
        let digits = bits.chunks(4).map(number);
        digits.clone().all(|digit| digit < 10).then(|| digits.fold(0, |sum, d| 10 * sum + d))
    }
}

/// The priors and rates, copied from the documentation.
pub(crate) const CAUSES: [(&str, f64, &[f64]); 25] = [
    ("none", 0.400, &[0.0]),
    ("lines-swapped", 0.180, &[0.0]),
    ("bits-inverted", 0.030, &[0.0]),
    ("bit-order-reversed", 0.020, &[0.0]),
    ("bytes-reversed", 0.020, &[0.0]),
    ("d0-open", 0.035, &[0.0]),
    ("d1-open", 0.035, &[0.0]),
    // Here the four ways of taking a bit, numbered.
    ("lines-shorted", 0.020, &[0.0, 1.0, 2.0, 3.0]),
    ("d0-weak", 0.025, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("d1-weak", 0.025, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("both-weak", 0.035, &[0.05, 0.15, 0.3, 0.5, 0.7]),
    ("d0-noise", 0.015, &[0.02, 0.05, 0.1, 0.2]),
    ("d1-noise", 0.015, &[0.02, 0.05, 0.1, 0.2]),
    ("both-noise", 0.015, &[0.02, 0.05, 0.1, 0.2]),
    ("d0-ringing", 0.010, &[0.2, 0.5, 0.8, 1.0]),
    ("d1-ringing", 0.010, &[0.2, 0.5, 0.8, 1.0]),
    ("both-ringing", 0.010, &[0.2, 0.5, 0.8, 1.0]),
    ("crosstalk", 0.010, &[0.1, 0.3, 0.6, 1.0]),
    ("head-lost", 0.030, &[0.0]),
    ("tail-lost", 0.015, &[0.0]),
    ("frame-split", 0.010, &[0.0]),
    ("frames-merged", 0.015, &[0.0]),
    ("bits-changed", 0.005, &[0.0]),
    ("unknown-layout", 0.010, &[0.0]),
    ("random-bits", 0.005, &[0.0]),
];

/// The priors of the card states, copied from the documentation.
pub(crate) const CARDS: [(&str, f64); 4] = [
    ("as-expected", 0.950),
    ("facility-differs", 0.025),
    ("card-differs", 0.015),
    ("different-card", 0.010),
];

fn is(read: &[Option<bool>], bits: impl ExactSizeIterator<Item = bool>) -> bool {
    read.len() == bits.len() && read.iter().zip(bits).all(|(r, b)| r.is_none_or(|r| r == b))
}

fn one(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

/// The probability that the frame `t`, sent through this cause at this rate,
/// arrives as the one read `r`. For causes that take one read a frame and have
/// a layout.
pub(crate) fn arrives(cause: &str, rate: f64, little: &Little, t: &Frame, r: &Read) -> f64 {
    let n = t.len();
    match cause {
        "none" => one(is(r, t.iter().copied())),
        "lines-swapped" | "bits-inverted" => one(is(r, t.iter().map(|bit| !bit))),
        "bit-order-reversed" => one(is(r, t.iter().rev().copied())),
        "bytes-reversed" => {
            one(little.bytes_reversed(t).is_some_and(|sent| is(r, sent.into_iter())))
        }
        "d0-open" => one(is(r, vec![true; t.iter().filter(|&&bit| bit).count()].into_iter())),
        "d1-open" => one(is(r, vec![false; t.iter().filter(|&&bit| !bit).count()].into_iter())),
        "lines-shorted" => {
            let taken: &[bool] =
                [&[false, true][..], &[true, false], &[false], &[true]][rate as usize];
            one(is(r, taken.repeat(n).into_iter()))
        }
        "head-lost" => {
            let most = 8.min(n - 1);
            (1..=most).map(|k| one(is(r, t[k..].iter().copied())) / most as f64).sum()
        }
        "tail-lost" => {
            let most = 8.min(n - 1);
            (1..=most).map(|k| one(is(r, t[..n - k].iter().copied())) / most as f64).sum()
        }
        "frames-merged" => one(is(r, t.repeat(2).into_iter())),
        "bits-changed" => (0..n)
            .map(|changed| {
                let mut bits = t.clone();
                bits[changed] = !bits[changed];
                one(is(r, bits.into_iter())) / n as f64
            })
            .sum(),
        "d0-weak" => weak(t, r, [rate, 0.0]),
        "d1-weak" => weak(t, r, [0.0, rate]),
        "both-weak" => weak(t, r, [rate, rate]),
        "d0-ringing" => ringing(t, r, [rate, 0.0]),
        "d1-ringing" => ringing(t, r, [0.0, rate]),
        "both-ringing" => ringing(t, r, [rate, rate]),
        "crosstalk" => crosstalk(t, r, rate),
        "d0-noise" => noise(t, r, rate, &[(false, 1.0)]),
        "d1-noise" => noise(t, r, rate, &[(true, 1.0)]),
        "both-noise" => noise(t, r, rate, &[(false, 0.5), (true, 0.5)]),
        _ => panic!("{cause} does not send one frame as one read"),
    }
}

/// The probability that the frame arrives as two reads.
pub(crate) fn arrives_split(t: &Frame, first: &Read, second: &Read) -> f64 {
    let n = t.len();
    (1..n)
        .map(|k| {
            let both = is(first, t[..k].iter().copied()) && is(second, t[k..].iter().copied());
            one(both) / (n - 1) as f64
        })
        .sum()
}

/// Whether the next received bit can be this one, and what follows it.
fn take(r: &[Option<bool>], bit: bool) -> Option<&[Option<bool>]> {
    let (first, rest) = r.split_first()?;
    first.is_none_or(|first| first == bit).then_some(rest)
}

fn weak(t: &[bool], r: &[Option<bool>], lost: [f64; 2]) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() > t.len() {
        return 0.0;
    }
    let lost_here = lost[usize::from(bit)];
    let mut sum = 0.0;
    if lost_here > 0.0 {
        sum += lost_here * weak(sent, r, lost);
    }
    if let Some(rest) = take(r, bit).filter(|_| lost_here < 1.0) {
        sum += (1.0 - lost_here) * weak(sent, rest, lost);
    }
    sum
}

fn ringing(t: &[bool], r: &[Option<bool>], twice: [f64; 2]) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() < t.len() || r.len() > 2 * t.len() {
        return 0.0;
    }
    let twice_here = twice[usize::from(bit)];
    let Some(rest) = take(r, bit) else { return 0.0 };
    let mut sum = (1.0 - twice_here) * ringing(sent, rest, twice);
    if let Some(rest) = take(rest, bit).filter(|_| twice_here > 0.0) {
        sum += twice_here * ringing(sent, rest, twice);
    }
    sum
}

fn crosstalk(t: &[bool], r: &[Option<bool>], rate: f64) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() < t.len() || r.len() > 2 * t.len() {
        return 0.0;
    }
    let Some(rest) = take(r, bit) else { return 0.0 };
    let mut sum = (1.0 - rate) * crosstalk(sent, rest, rate);
    if let Some(rest) = take(rest, !bit) {
        sum += rate * crosstalk(sent, rest, rate);
    }
    sum
}

/// A gap, then a bit, and at the end one more gap.
fn noise(t: &[bool], r: &[Option<bool>], rate: f64, lines: &[(bool, f64)]) -> f64 {
    if r.len() < t.len() || r.len() > 2 * t.len() + 1 {
        return 0.0;
    }
    let after_gap = |r: &[Option<bool>]| match t.split_first() {
        None => one(r.is_empty()),
        Some((&bit, sent)) => take(r, bit).map_or(0.0, |rest| noise(sent, rest, rate, lines)),
    };
    let extra = lines.iter().filter_map(|&(line, share)| Some((share, take(r, line)?)));
    (1.0 - rate) * after_gap(r)
        + extra.map(|(share, rest)| rate * share * after_gap(rest)).sum::<f64>()
}
