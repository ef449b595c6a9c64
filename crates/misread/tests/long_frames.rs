//! Long frames do not underflow: 200 bits with most pulses lost, and many
//! reads of them.

#![allow(clippy::unwrap_used)]

use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{Cause, Model};
use misread::channel::{Fault, Held, draw_frame, seeded, send};
use misread::diagnose::{Candidates, Case, Posterior, posterior};
use misread::layout::{FieldSpec, Layout, Span, Spec, built_in};
use misread::{Bit, Bits};

fn solve(case: &Case, candidates: &Candidates) -> Posterior {
    let found =
        posterior(case, candidates, &Model::default(), &mut |_| ControlFlow::Continue(())).unwrap();
    let probabilities = || found.joint.iter().map(|triple| triple.probability);
    assert!(probabilities().all(|p| p.is_finite() && (0.0..=1.0).contains(&p)));
    let sum: f64 = probabilities().sum();
    assert!((sum - 1.0).abs() < 1e-9, "{sum}");
    found
}

fn fascn() -> (Layout, Candidates) {
    let layout = Layout::new(&built_in::FASCN_200).unwrap();
    (layout.clone(), Candidates::weighted([(Arc::new(layout), 1.0)]))
}

/// The worked example of *Technical Implementation Guidance: Smart Card
/// Enabled Physical Access Control Systems*, v2.2, section 6.2, figure 7.
fn worked_example() -> Bits {
    let bytes: Vec<u8> = "D0439458210C2C19A0846D83685A1082108CE73984108CA3FC"
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect();
    Bits::from_packed(&bytes, 200).unwrap()
}

#[test]
fn the_worked_example_is_sound() {
    let (_, candidates) = fascn();
    let found = solve(&Case::of([worked_example()]), &candidates);
    assert!(found.of_wire(Cause::None) > 0.9);
    let found = solve(&Case::of([worked_example().complement()]), &candidates);
    // 0.170 against 0.030 for a recorder that turns bits over, and what is rarer.
    assert!((found.of_wire(Cause::LinesSwapped) - 0.85).abs() < 0.01);
}

#[test]
fn most_pulses_lost() {
    let (layout, candidates) = fascn();
    for (cause, rate) in [(Cause::BothWeak, 0.7), (Cause::D0Weak, 0.7), (Cause::D1Weak, 0.5)] {
        let fault = Fault::new(cause, Held::Rate(rate)).unwrap();
        let random = &mut seeded(200, 0);
        let read = |_| {
            let frame = draw_frame(&layout, [], random).unwrap();
            send(&fault, &layout, &frame, random).unwrap().reads[0].bits
        };
        let reads: Vec<Bits> = (0..4).map(read).collect();
        let found = solve(&Case::of(reads.iter().copied()), &candidates);
        assert!(found.of_wire(cause) > 0.9, "{cause}: {}", found.of_wire(cause));
        // The same with every third bit unread.
        let unread = reads.iter().map(|read| {
            let leave = |(i, bit)| if i % 3 == 0 { Bit::Unread } else { bit };
            read.iter().enumerate().map(leave).collect::<Bits>()
        });
        solve(&Case::of(unread), &candidates);
    }
}

#[test]
fn noise_on_every_read_and_nothing_read_at_all() {
    let (layout, candidates) = fascn();
    let fault = Fault::new(Cause::BothNoise, Held::Rate(0.2)).unwrap();
    let random = &mut seeded(201, 0);
    let read = send(&fault, &layout, &worked_example(), random).unwrap().reads[0].bits;
    assert!(solve(&Case::of([read]), &candidates).of_wire(Cause::BothNoise) > 0.9);
    for length in [1, 100, 199, 200, 201, 400, 512] {
        let unread: Bits = (0..length).map(|_| Bit::Unread).collect();
        solve(&Case::of([unread; 2]), &candidates);
    }
}

/// The longest layout there is, without a check, and thirty reads of it: their
/// probabilities together are far below the smallest number a float holds.
#[test]
fn thirty_reads_of_256_bits() {
    let spans = [[Span::range(1, 64)], [Span::range(65, 128)], [Span::range(129, 192)]];
    let names = ["facility", "card", "series"];
    let fields: Vec<_> =
        names.iter().zip(&spans).map(|(name, bits)| FieldSpec::plain(name, bits)).collect();
    let spec = Spec { name: "quay-256", bits: 256, fields: &fields, fixed: &[], parity: &[] };
    let layout = Layout::new(&spec).unwrap();
    let candidates = Candidates::weighted([(Arc::new(layout.clone()), 1.0)]);
    let fault = Fault::new(Cause::D1Weak, Held::Rate(0.05)).unwrap();
    let random = &mut seeded(202, 0);
    let frame = draw_frame(&layout, [("facility", u64::MAX)], random).unwrap();
    let reads: Vec<Bits> =
        (0..30).map(|_| send(&fault, &layout, &frame, random).unwrap().reads[0].bits).collect();
    let decoded = layout.decode(&frame).unwrap();
    let values: Vec<_> = decoded.values().map(|(f, v)| (f.name(), v.unwrap())).collect();
    let found = solve(&Case::of(reads.iter().copied()).expecting(values), &candidates);
    assert!(found.of_wire(Cause::D1Weak) > 0.99);
}
