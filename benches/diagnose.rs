//! Diagnosing reads: one read, several, the whole catalogue, the longest
//! layout; and how the work grows with bits, reads and open checks.
//!
//! There is no peer to set beside it; the groups are measured in one run, so
//! that they can be set beside one another.
//!
//! `cargo bench -p misread-benches --bench diagnose`

// A bench that cannot begin says so by panicking.
#![allow(clippy::expect_used)]

use std::hint::black_box;
use std::ops::ControlFlow;
use std::sync::Arc;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use misread::cause::Model;
use misread::diagnose::{Candidates, Case, Diagnosis, Numbers, Posterior, diagnose, posterior};
use misread::layout::{FieldSpec, Kind, ParitySpec, Span, Spec, built_in};
use misread::{Bits, Layout};

const CARD: [(&str, u64); 2] = [("facility", 42), ("card", 1234)];

fn layout(spec: &Spec<'_>) -> Arc<Layout> {
    Arc::new(Layout::new(spec).expect("a sound layout"))
}

fn only(layout: &Arc<Layout>) -> Candidates {
    Candidates::weighted([(layout.clone(), 1.0)])
}

fn read(bits: &str) -> Bits {
    bits.parse().expect("bits")
}

fn weigh(case: &Case, candidates: &Candidates, model: &Model) -> Posterior {
    posterior(black_box(case), candidates, model, &mut |_| ControlFlow::Continue(()))
        .expect("a case that can be diagnosed")
}

fn explain(case: &Case, candidates: &Candidates, model: &Model) -> Diagnosis {
    let go_on = &mut |_| ControlFlow::Continue(());
    diagnose(black_box(case), candidates, model, Numbers::Shown, go_on)
        .expect("a case that can be diagnosed")
}

/// A frame with some of its bits lost.
fn without(frame: &Bits, lost: &[usize]) -> Bits {
    frame.iter().enumerate().filter(|(i, _)| !lost.contains(i)).map(|(_, bit)| bit).collect()
}

fn diagnoses(c: &mut Criterion) {
    let model = Model::default();
    let open = only(&layout(&built_in::OPEN_26));
    let catalogue = Candidates::weighted(built_in::SPECS.iter().map(|spec| (layout(spec), 1.0)));
    let federal = layout(&built_in::FASCN_200);
    let digits = federal.fields().iter().map(|field| (field.name(), 7));
    let frame = federal.encode(digits).expect("a federal card");
    let federal = only(&federal);

    let swapped = read("01101010111111011001011011");
    let short = read("1001010100000100110100100");
    let long = read("1001011010000100100110100100");
    let three = [short, read("1001010100000010011010010"), read("001010100000010011010010")];
    let card = layout(&built_in::OPEN_26).encode(CARD).expect("a card");
    let of_card = [[1, 9], [4, 17], [7, 20]].map(|lost| without(&card, &lost));
    // Forty-nine as they were sent, and one that lost two pulses.
    let fifty = (0..50).map(|at| if at == 37 { of_card[1] } else { card });
    let cases = [
        ("one read, swapped lines", Case::of([swapped]), &open),
        ("one read, swapped lines, card known", Case::of([swapped]).expecting(CARD), &open),
        ("one read, a pulse lost", Case::of([short]), &open),
        ("one read, a pulse lost, card known", Case::of([short]).expecting(CARD), &open),
        ("one read, pulses added, card known", Case::of([long]).expecting(CARD), &open),
        ("one read, swapped lines, whole catalogue", Case::of([swapped]), &catalogue),
        ("three reads, whole catalogue", Case::of(three), &catalogue),
        ("three reads of one card, two lost each", Case::of(of_card), &catalogue),
        ("fifty reads, one short, whole catalogue", Case::of(fifty), &catalogue),
        ("federal card, whole", Case::of([frame]), &federal),
        ("federal card, 5 lost", Case::of([without(&frame, &[11, 40, 77, 120, 150])]), &federal),
        (
            "federal card, 60 lost",
            Case::of([without(&frame, &(0..60).map(|i| 3 * i + 1).collect::<Vec<_>>())]),
            &federal,
        ),
    ];
    let mut group = c.benchmark_group("diagnose");
    for (name, case, candidates) in &cases {
        group.bench_function(BenchmarkId::new("posterior", name), |b| {
            b.iter(|| weigh(case, candidates, &model));
        });
        group.bench_function(BenchmarkId::new("whole answer", name), |b| {
            b.iter(|| explain(case, candidates, &model));
        });
    }
    group.finish();
}

/// A layout of `bits` bits whose first `checks` bits are parity bits, each
/// over every `checks`th of the others: all open nearly throughout.
fn open_throughout(bits: u16, checks: u16) -> Arc<Layout> {
    let over: Vec<[Span; 1]> =
        (0..checks).map(|i| [Span::every(checks, checks + 1 + i, bits)]).collect();
    let parity: Vec<ParitySpec<'_>> = (0..checks)
        .map(|i| ParitySpec { bit: i + 1, kind: Kind::Even, over: &over[usize::from(i)] })
        .collect();
    let span = [Span::range(checks + 1, bits.min(checks + 64))];
    let fields = [FieldSpec::plain("card", &span)];
    layout(&Spec { name: "grown", bits, fields: &fields, fixed: &[], parity: &parity })
}

fn growth(c: &mut Criterion) {
    let model = Model::default();
    let lost_in = |layout: &Layout| {
        let frame = layout.encode([("card", 0x5a5a)]).expect("a card");
        without(&frame, &[layout.bits() / 2, layout.bits() / 2 + 3])
    };
    let mut group = c.benchmark_group("growth");
    for bits in [26, 52, 104, 208] {
        let layout = open_throughout(bits, 2);
        let (case, candidates) = (Case::of([lost_in(&layout)]), only(&layout));
        group.bench_function(BenchmarkId::new("bits", bits), |b| {
            b.iter(|| weigh(&case, &candidates, &model));
        });
    }
    for reads in [1, 2, 4, 8] {
        let layout = open_throughout(52, 2);
        let frame = |i: usize| {
            without(&layout.encode([("card", 1000 + i as u64)]).expect("a card"), &[20 + i, 30])
        };
        let (case, candidates) = (Case::of((0..reads).map(frame)), only(&layout));
        group.bench_function(BenchmarkId::new("reads", reads), |b| {
            b.iter(|| weigh(&case, &candidates, &model));
        });
    }
    group.sample_size(10);
    for checks in [2, 4, 8, 12] {
        let layout = open_throughout(80, checks);
        let (case, candidates) = (Case::of([lost_in(&layout)]), only(&layout));
        group.bench_function(BenchmarkId::new("open checks", checks), |b| {
            b.iter(|| weigh(&case, &candidates, &model));
        });
    }
    group.finish();
}

criterion_group!(benches, diagnoses, growth);
criterion_main!(benches);
