use misread_core::layout::{Layout, built_in};
use misread_core::pulse::{Assembler, FindingKind, Settings, bits_of, findings};
use proptest::prelude::*;

use super::*;
use crate::cause::{Model, Wire};
use crate::channel::{Fault, draw_frame, seeded, send};

const SHAPES: [(u32, u32, f64); 4] = [
    (50_000, 1_000_000, 0.01),
    (100_000, 2_000_000, 0.02),
    (40_000, 1_500_000, 0.0),
    (25_000, 400_000, 0.02),
];

fn shapes() -> impl Iterator<Item = Shape> {
    SHAPES.into_iter().map(|(width, interval, jitter)| Shape::new(width, interval, jitter).unwrap())
}

/// Reads of a wire state; some may be empty, not all.
fn reads_of(
    wire: impl Into<Wire>,
    layout: &Layout,
    count: usize,
    seed: u64,
) -> Option<Vec<SentRead>> {
    let wire = wire.into();
    let number = Wire::all().position(|other| other == wire)?;
    let random = &mut seeded(seed, number as u64);
    let fault = Fault::draw(wire, &Model::default(), random)?;
    let mut reads = Vec::new();
    for _ in 0..count {
        let frame = draw_frame(layout, [], random)?;
        reads.extend(send(&fault, layout, &frame, random).ok()?.reads);
    }
    reads.iter().any(|read| !read.bits.is_empty()).then_some(reads)
}

/// Pulses, to level changes, through the assembler.
fn received(pulses: &[Vec<Pulse>], rest: Level) -> Vec<Vec<Pulse>> {
    let mut assembler = Assembler::new(Settings::default());
    let mut reads = Vec::new();
    assert!(assembler.begin(0, rest, rest).is_none());
    for change in changes(pulses, rest) {
        reads.extend(assembler.feed(change).map(|read| read.pulses().to_vec()));
    }
    reads.extend(assembler.finish().map(|read| read.pulses().to_vec()));
    reads
}

#[test]
fn what_is_laid_on_the_wires_comes_off_them() {
    for layout in built_in::SPECS.iter().map(|spec| Layout::new(spec).unwrap()) {
        for shape in shapes() {
            for wire in Wire::all() {
                let Some(reads) = reads_of(wire, &layout, 3, 5) else { continue };
                let laid = pulses(&reads, &shape, &mut seeded(6, 0));
                let sent = || reads.iter().zip(&laid).filter(|(read, _)| !read.bits.is_empty());
                for rest in [Level::High, Level::Low] {
                    let came = received(&laid, rest);
                    let bits = came.iter().map(|read| bits_of(read));
                    let place = format!("{} {wire} {shape:?}", layout.name());
                    assert!(bits.eq(sent().map(|(read, _)| read.bits)), "{place}");
                    assert!(came.iter().eq(sent().map(|(_, laid)| laid)), "{place}");
                }
            }
        }
    }
}

/// A finding that a cause brings has a rate in the table of the fault model
/// above that of "any other"; a cause's pulses show no other.
#[test]
fn a_cause_brings_its_own_findings_and_no_others() {
    let layout = Layout::new(&built_in::OPEN_26).unwrap();
    let model = Model::default();
    let mut brought = std::collections::BTreeSet::new();
    for shape in shapes() {
        for (cause, seed) in Cause::ALL.into_iter().flat_map(|c| (0..40).map(move |s| (c, s))) {
            let Some(reads) = reads_of(cause, &layout, 4, seed) else { continue };
            let laid = pulses(&reads, &shape, &mut seeded(seed, 1));
            let rhythm = Rhythm::of(laid.iter().map(|read| &read[..]), &Limits::default());
            // A capture of too few pulses has no rhythm of its own.
            if rhythm.beat.is_none_or(|beat| beat.abs_diff(shape.interval) > shape.interval / 10)
                && cause != Cause::RandomBits
            {
                continue;
            }
            for (read, pulses) in laid.iter().enumerate() {
                let cause = reads[read].cause;
                let seen = Evidence::of(pulses, &rhythm);
                for sought in Sought::ALL {
                    let other = model.finding(sought, Cause::None);
                    if sought.found_in(&seen) == Some(true) {
                        assert!(
                            model.finding(sought, cause) > other,
                            "{cause} {sought:?} seed {seed} {shape:?} {pulses:?}"
                        );
                        brought.insert((cause, sought.id()));
                    }
                }
                // Sound causes are within every limit.
                if matches!(cause, Cause::None | Cause::LinesSwapped | Cause::BitOrderReversed) {
                    let limits = Limits::default();
                    let found = findings(read, pulses, &limits, &rhythm).next();
                    assert_eq!(found.map(|found| found.kind), None::<FindingKind>, "{cause}");
                }
            }
        }
    }
    for (cause, finding) in [
        (Cause::LinesShorted, "lines-overlap"),
        (Cause::Crosstalk, "lines-overlap"),
        (Cause::D0Ringing, "double-pulse-d0"),
        (Cause::D1Ringing, "double-pulse-d1"),
        (Cause::BothRinging, "double-pulse-d1"),
        (Cause::D0Weak, "missing-beat"),
        (Cause::D0Weak, "short-pulse-d0"),
        (Cause::D1Weak, "short-pulse-d1"),
        (Cause::BothWeak, "missing-beat"),
        (Cause::D0Open, "missing-beat"),
        (Cause::D1Open, "missing-beat"),
        (Cause::D0Noise, "short-pulse-d0"),
        (Cause::RandomBits, "missing-beat"),
    ] {
        assert!(brought.contains(&(cause, finding)), "{cause} never shows {finding}");
    }
}

#[test]
fn wanted_findings_are_shown_and_no_others() {
    let layout = Layout::new(&built_in::OPEN_26).unwrap();
    let model = Model::default();
    let (mut shown, mut of) = (0, 0);
    for (wire, seed) in Wire::all().flat_map(|wire| (0..40).map(move |seed| (wire, seed))) {
        let Some(reads) = reads_of(wire, &layout, 1 + seed as usize % 3, seed) else { continue };
        let random = &mut seeded(seed, 2);
        let wanted: Vec<_> = reads.iter().map(|read| draw_evidence(read, &model, random)).collect();
        of += 1;
        let Some(laid) = pulses_showing(&reads, &wanted, &Shape::default(), random) else {
            continue;
        };
        shown += 1;
        let came = received(&laid, Level::High);
        let rhythm = Rhythm::of(came.iter().map(|read| &read[..]), &Limits::default());
        let arrived = reads.iter().zip(&wanted).filter(|(read, _)| !read.bits.is_empty());
        for ((read, wanted), pulses) in arrived.zip(&came) {
            assert_eq!(bits_of(pulses), read.bits, "{wire}");
            assert_eq!(Evidence::of(pulses, &rhythm), *wanted, "{wire}");
        }
    }
    assert!(shown * 20 > of * 19, "{shown} of {of}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_shape_there_is_lays_any_bits(
        interval in 100_000u32..=12_000_000,
        narrow in 8u32..100,
        jitter in 0.0..=0.04f64,
        bits in "[01]{1,80}",
        seed in any::<u64>(),
    ) {
        let width = (interval / narrow).max(1_000);
        let shape = Shape::new(width, interval, jitter).unwrap();
        let bits = bits.parse().unwrap();
        for cause in [Cause::None, Cause::RandomBits] {
            let read = SentRead::from_nowhere(cause, &bits);
            let laid = pulses(std::slice::from_ref(&read), &shape, &mut seeded(seed, 0));
            let came = received(&laid, Level::High);
            prop_assert_eq!(came.len(), 1);
            prop_assert_eq!(bits_of(&came[0]), bits);
        }
    }
}

#[test]
fn a_shape_without_room_is_refused() {
    assert!(matches!(Shape::new(50_000, 99_999, 0.0), Err(ShapeError::Interval(_))));
    assert!(matches!(Shape::new(50_000, 12_000_001, 0.0), Err(ShapeError::Interval(_))));
    assert!(matches!(Shape::new(125_001, 1_000_000, 0.0), Err(ShapeError::Width { .. })));
    assert!(matches!(Shape::new(999, 1_000_000, 0.0), Err(ShapeError::Width { .. })));
    assert!(matches!(Shape::new(50_000, 1_000_000, 0.05), Err(ShapeError::Jitter(_))));
    assert!(matches!(Shape::new(50_000, 1_000_000, f64::NAN), Err(ShapeError::Jitter(_))));
}
