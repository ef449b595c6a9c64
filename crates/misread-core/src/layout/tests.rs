// Clippy does not see a test module behind a condition that asks for more.
#![allow(clippy::unwrap_used)]

use std::string::{String, ToString};
use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::bits::{Bit, Bits, Turn};

fn problems(spec: &Spec<'_>) -> Vec<String> {
    let mut found = Vec::new();
    let layout = Layout::check(spec, &mut |error| found.push(error.to_string()));
    assert_eq!(layout.is_none(), !found.is_empty());
    found
}

const CARD: FieldSpec<'static> = FieldSpec::plain("card", &[Span::range(1, 8)]);
const PLAIN: Spec<'static> = Spec { name: "x", bits: 9, fields: &[CARD], fixed: &[], parity: &[] };

fn refused(spec: &Spec<'_>, says: &str) {
    let found = problems(spec);
    assert!(found.iter().any(|problem| problem.contains(says)), "{says}: {found:?}");
}

#[test]
fn what_is_wrong_with_a_layout_is_named_with_its_rule() {
    assert_eq!(problems(&PLAIN), Vec::<String>::new());
    refused(&Spec { bits: 0, ..PLAIN }, "layout: has 0 bits; a layout has 1 to 256");
    refused(&Spec { bits: 257, ..PLAIN }, "layout: has 257 bits");
    refused(&Spec { name: "", ..PLAIN }, "layout: its name");
    refused(&Spec { name: "slipway gate", ..PLAIN }, "layout: its name");
    refused(&Spec { bits: 7, ..PLAIN }, "field 1: bit 8 is past the end; the layout has 7 bits");
    let fields = &[CARD, FieldSpec { name: "CARD", bits: &[Span::one(9)], ..CARD }];
    refused(&Spec { fields, ..PLAIN }, "field 2: its name is already that of field 1");
    let fields = &[CARD, FieldSpec { name: "site", bits: &[Span::range(8, 9)], ..CARD }];
    refused(&Spec { fields, ..PLAIN }, "field 2: bit 8 is already claimed by field 1");
    let fields = const { &[FieldSpec::plain("card", &[])] };
    refused(&Spec { fields, ..PLAIN }, "field 1: lists no bits");
    let fields = const { &[FieldSpec { code: Code::Bcd, bits: &[Span::range(1, 9)], ..CARD }] };
    refused(&Spec { fields, ..PLAIN }, "field 1: has 9 bits; a bcd field");
    let fields = const { &[FieldSpec { value: Some(256), ..CARD }] };
    refused(
        &Spec { fields, ..PLAIN },
        "field 1: 256 does not fit; the largest it can carry is 255",
    );
    let fields = const { &[FieldSpec { range: Some((9, 3)), ..CARD }] };
    refused(&Spec { fields, ..PLAIN }, "field 1: its range runs backwards, from 9 to 3");
    let fields = const { &[FieldSpec { range: Some((1, 3)), value: Some(4), ..CARD }] };
    refused(&Spec { fields, ..PLAIN }, "field 1: its value 4 is outside its own range");
    let fields = const { &[FieldSpec::plain("card", &[Span { first: 0, last: 4, step: 1 }])] };
    refused(&Spec { fields, ..PLAIN }, "field 1: position 0; positions count from 1");
    let fields = &[FieldSpec { name: "card", bits: &[Span::range(1, 65)], ..CARD }];
    refused(&Spec { bits: 70, fields, ..PLAIN }, "field 1: has 65 bits; a field has at most 64");
    let fixed = const { &[FixedSpec { bits: &[Span::one(9)], value: "10" }] };
    refused(&Spec { fixed, ..PLAIN }, "fixed rule 1: lists 1 bits but gives 2 values");
    let fixed = const { &[FixedSpec { bits: &[Span::one(9)], value: "x" }] };
    refused(&Spec { fixed, ..PLAIN }, "fixed rule 1: ‘x’ is not a fixed value");
    let parity = const { &[ParitySpec { bit: 9, kind: Kind::Even, over: &[Span::range(1, 9)] }] };
    refused(&Spec { parity, ..PLAIN }, "parity rule 1: covers bit 9 twice");
    let parity = const { &[ParitySpec { bit: 8, kind: Kind::Even, over: &[Span::range(1, 7)] }] };
    refused(&Spec { parity, ..PLAIN }, "parity rule 1: bit 8 is already claimed by field 1");
}

#[test]
fn parity_rules_in_a_circle_cannot_be_ordered() {
    let parity = const {
        &[
            ParitySpec { bit: 9, kind: Kind::Even, over: &[Span::range(1, 8), Span::one(10)] },
            ParitySpec { bit: 10, kind: Kind::Odd, over: &[Span::range(1, 9)] },
        ]
    };
    refused(&Spec { bits: 10, parity, ..PLAIN }, "parity rule 1: covers a parity bit");
    // The same two, nested one way only, in either order.
    let outer = const { ParitySpec { bit: 10, kind: Kind::Odd, over: &[Span::range(1, 9)] } };
    let inner = const { ParitySpec { bit: 9, kind: Kind::Even, over: &[Span::range(1, 8)] } };
    for parity in [[outer, inner], [inner, outer]] {
        let spec = Spec { bits: 10, parity: &parity, ..PLAIN };
        let layout = Layout::new(&spec).unwrap();
        assert_eq!(layout.encode([("card", 0b1000_0000)]).unwrap().to_string(), "1000000011");
    }
}

#[test]
fn a_bcd_field_reads_digits_either_way_round() {
    let field = FieldSpec { code: Code::Bcd, ..CARD };
    let layout = Layout::new(&Spec { bits: 8, fields: &[field], ..PLAIN }).unwrap();
    assert_eq!(layout.encode([("card", 42)]).unwrap().to_string(), "01000010");
    let field = FieldSpec { order: Order::LsbFirst, ..field };
    let layout = Layout::new(&Spec { bits: 8, fields: &[field], ..PLAIN }).unwrap();
    assert_eq!(layout.encode([("card", 42)]).unwrap().to_string(), "00100100");
    let over_nine: Bits = "11110100".parse().unwrap();
    let decoded = layout.decode(&over_nine).unwrap();
    assert_eq!(decoded.value("card"), Some(152));
    assert!(matches!(decoded.concerns().next(), Some(Check::Digit(_))));
}

#[test]
fn declared_values_are_checked_after_decoding() {
    let field = FieldSpec { range: Some((1, 60)), ..CARD };
    let layout = Layout::new(&Spec { fields: &[field], ..PLAIN }).unwrap();
    let frame = layout.encode([("card", 61)]).unwrap();
    assert!(matches!(layout.decode(&frame).unwrap().concerns().next(), Some(Check::Range(..))));
    let frame = layout.encode([("card", 60)]).unwrap();
    assert!(layout.decode(&frame).unwrap().concerns().next().is_none());
    assert_eq!(layout.unassigned().indices().collect::<Vec<_>>(), [8]);
}

#[test]
fn values_that_make_no_frame_are_refused() {
    let layout = Layout::new(&built_in::OPEN_26).unwrap();
    let says =
        |values: &[(&str, u64)]| layout.encode(values.iter().copied()).unwrap_err().to_string();
    assert_eq!(says(&[("facility", 42)]), "card is missing");
    assert!(says(&[("facility", 256)]).contains("facility is 256, but the largest"));
    assert_eq!(says(&[("card", 1), ("card", 1)]), "card is given twice");
    assert!(says(&[("site", 1)]).contains("no field of that name"));
}

/// A sound layout of random shape, as owned parts.
#[derive(Clone, Debug)]
struct Shape {
    bits: u16,
    fields: Vec<(Vec<Span>, Order, Code)>,
    fixed: Vec<(Vec<Span>, String)>,
    parity: Vec<(u16, Kind, Vec<Span>)>,
}

impl Shape {
    fn compile(&self) -> Layout {
        const NAMES: [&str; 4] = ["facility", "card", "issue", "site"];
        let fields: Vec<_> = self
            .fields
            .iter()
            .zip(NAMES)
            .map(|((bits, order, code), name)| FieldSpec {
                order: *order,
                code: *code,
                ..FieldSpec::plain(name, bits)
            })
            .collect();
        let fixed: Vec<_> =
            self.fixed.iter().map(|(bits, value)| FixedSpec { bits, value }).collect();
        let parity: Vec<_> = self
            .parity
            .iter()
            .map(|(bit, kind, over)| ParitySpec { bit: *bit, kind: *kind, over })
            .collect();
        let spec = Spec {
            name: "shape",
            bits: self.bits,
            fields: &fields,
            fixed: &fixed,
            parity: &parity,
        };
        Layout::new(&spec).unwrap()
    }
}

/// Any set of positions dealt out to fields, fixed rules and parity bits; a
/// parity rule covers any bits but the parity bits dealt after it.
fn any_shape() -> impl Strategy<Value = Shape> {
    let positions = (2u16..=256).prop_flat_map(|bits| {
        (Just(bits), Just((1..=bits).collect::<Vec<_>>()).prop_shuffle(), any::<u64>())
    });
    positions.prop_map(|(bits, dealt, seed)| {
        let mut random = seed | 1;
        let mut next = move |below: usize| {
            random ^= random << 13;
            random ^= random >> 7;
            random ^= random << 17;
            (random >> 11) as usize % below
        };
        let mut rest = dealt.clone();
        let mut shape = Shape { bits, fields: vec![], fixed: vec![], parity: vec![] };
        for _ in 0..1 + next(4) {
            let width = (1 + next(64)).min(rest.len());
            let code = if width % 4 == 0 && next(3) == 0 { Code::Bcd } else { Code::Binary };
            let order = if next(2) == 0 { Order::MsbFirst } else { Order::LsbFirst };
            if width > 0 {
                shape.fields.push((rest.drain(..width).map(Span::one).collect(), order, code));
            }
        }
        for _ in 0..next(3) {
            let width = (1 + next(5)).min(rest.len());
            if width > 0 {
                let value = (0..width).map(|_| if next(2) == 0 { '0' } else { '1' }).collect();
                shape.fixed.push((rest.drain(..width).map(Span::one).collect(), value));
            }
        }
        let mut later: Vec<u16> = rest.drain(..next(12).min(rest.len())).collect();
        while let Some(bit) = later.pop() {
            let mut over: Vec<_> = dealt
                .iter()
                .copied()
                .filter(|position| *position != bit && !later.contains(position) && next(2) == 0)
                .collect();
            if over.is_empty() {
                over.extend(dealt.iter().copied().find(|p| *p != bit && !later.contains(p)));
            }
            if over.is_empty() {
                continue;
            }
            let kind = if next(2) == 0 { Kind::Even } else { Kind::Odd };
            shape.parity.push((bit, kind, over.into_iter().map(Span::one).collect()));
        }
        shape
    })
}

proptest! {
    #[test]
    fn frame_then_decode_gives_the_values_back(shape in any_shape(), seeds: [u64; 4]) {
        let layout = shape.compile();
        let values: Vec<(&str, u64)> = layout
            .fields()
            .iter()
            .zip(seeds)
            .map(|(field, seed)| (field.name(), if field.max() == u64::MAX { seed } else { seed % (field.max() + 1) }))
            .collect();
        let frame = layout.encode(values.iter().copied()).unwrap();
        prop_assert_eq!(frame.len(), layout.bits());
        let decoded = layout.decode(&frame).unwrap();
        for (name, value) in values {
            prop_assert_eq!(decoded.value(name), Some(value));
        }
        prop_assert!(decoded.concerns().next().is_none());
        prop_assert!(layout.checks().all(|check| check.outcome(&frame) == CheckOutcome::Holds));

        // Any one bit unread: still fits, and nothing is made up.
        let mut read = frame;
        let index = seeds[0] as usize % layout.bits();
        read.set(index, Bit::Unread);
        let decoded = layout.decode(&read).unwrap();
        for (field, value) in decoded.values() {
            prop_assert_eq!(value.is_none(), field.indices().any(|i| i == index));
        }

        // Any one bit turned over: fails if and only if a check looks at it.
        let mut read = frame;
        read.set(index, Bit::from(frame.get(index) == Some(Bit::Zero)));
        let looked_at = layout.parity().iter().any(|rule| rule.group().contains(index))
            || layout.fixed().iter().any(|rule| rule.mask().contains(index));
        prop_assert_eq!(layout.decode(&read).is_err(), looked_at);
    }

    #[test]
    fn no_read_panics(shape in any_shape(), bits in "[01?]{0,300}") {
        let layout = shape.compile();
        let read: Bits = bits.parse().unwrap();
        let _ = layout.decode(&read).map(|decoded| decoded.concerns().count());
        let turns = layout.fitting_turns(&read);
        for turn in Turn::ALL {
            prop_assert_eq!(turns.contains(turn), layout.decode(&read.turned(turn)).is_ok());
        }
    }

    #[test]
    fn no_spec_panics(
        bits in 0u16..400,
        spans in proptest::collection::vec((0u16..400, 0u16..400, 0u16..9), 0..6),
        value in "[01x]{0,9}",
    ) {
        let spans: Vec<_> = spans.into_iter().map(|(first, last, step)| Span { first, last, step }).collect();
        let half = spans.len() / 2;
        let spec = Spec {
            name: "any",
            bits,
            fields: &[FieldSpec::plain("card", &spans[..half])],
            fixed: &[FixedSpec { bits: &spans[half..], value: &value }],
            parity: &[ParitySpec { bit: bits / 2, kind: Kind::Odd, over: &spans }],
        };
        problems(&spec);
    }
}
