//! Learning a layout: 8 cards of 37 bits with their numbers, and 10,000 frames
//! of 64 bits without any.
//!
//! `cargo bench -p misread-benches --bench learn`

// A bench that cannot begin says so by panicking.
#![allow(clippy::expect_used)]

use criterion::{Criterion, criterion_group, criterion_main};
use misread::Bits;
use misread::layout::{FieldSpec, Kind, Layout, ParitySpec, Span, Spec};
use misread::learn::{Sample, Wishes, learn};
use std::hint::black_box;

/// Numbers all over the place, the same ones each time.
fn scattered(i: u64) -> u64 {
    let mixed = (i + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (mixed ^ mixed >> 29).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 7
}

fn eight_cards() -> Vec<Sample> {
    let layout = Layout::new(&Spec {
        name: "sail-loft-37",
        bits: 37,
        fields: &[
            FieldSpec::plain("facility", &[Span::range(2, 17)]),
            FieldSpec::plain("card", &[Span::range(18, 36)]),
        ],
        fixed: &[],
        parity: &[
            ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 19)] },
            ParitySpec { bit: 37, kind: Kind::Odd, over: &[Span::range(19, 36)] },
        ],
    })
    .expect("a sound layout");
    (0..8)
        .map(|i| {
            let (facility, card) = (scattered(i) & 0xffff, scattered(i + 99) & 0x7ffff);
            let known = vec![("facility".to_owned(), facility), ("card".to_owned(), card)];
            let values = [("facility", facility), ("card", card)];
            Sample { line: i + 2, bits: layout.encode(values).expect("values that fit"), known }
        })
        .collect()
}

fn ten_thousand_frames() -> Vec<Sample> {
    (0..10_000)
        .map(|i| {
            let mut value = scattered(i) & !1;
            value |= u64::from(value.count_ones().is_multiple_of(2));
            let bits = Bits::from_value(value, 64).expect("64 bits");
            Sample { line: i + 2, bits, known: Vec::new() }
        })
        .collect()
}

fn learning(criterion: &mut Criterion) {
    let wishes = Wishes::default();
    let mut group = criterion.benchmark_group("learn");
    group.sample_size(10);
    let cards = eight_cards();
    group.bench_function("8 cards of 37 bits", |b| {
        b.iter(|| learn(black_box(&cards), &wishes).expect("an answer"));
    });
    let frames = ten_thousand_frames();
    group.bench_function("10,000 frames of 64 bits", |b| {
        b.iter(|| learn(black_box(&frames), &wishes).expect("an answer"));
    });
    group.finish();
}

criterion_group!(benches, learning);
criterion_main!(benches);
