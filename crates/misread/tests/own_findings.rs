//! A cause brings its own findings and no others: what a capture shows is what
//! the fault model's table gives the cause, or one of the exceptions that
//! `channel::pulses` states. The limits are those of SIA AC-01-1996.10.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::io::Cursor;

use misread::Bit;
use misread::capture::{Capture, Opening, Options, read, write_changes};
use misread::cause::{Cause, Model, Sought, Wire};
use misread::channel::{
    Fault, Held, Origin, Padding, SentRead, Shape, Short, changes, draw_evidence, draw_frame,
    pulses, pulses_showing, seeded, send,
};
use misread::core::keypad::KEY_6;
use misread::layout::{Layout, built_in};
use misread::pulse::{Evidence, FindingKind, Level, Limits, Line};
use proptest::prelude::*;

fn layouts() -> Vec<Layout> {
    let specs = built_in::SPECS.iter().copied().chain([&KEY_6]);
    specs.map(|spec| Layout::new(spec).unwrap()).collect()
}

/// Those that are likelier under the cause than under any other.
fn own(cause: Cause, model: &Model) -> BTreeSet<FindingKind> {
    let kind = |sought| match sought {
        Sought::LinesOverlap => FindingKind::LinesOverlap,
        Sought::ShortPulse(_) => FindingKind::ShortPulse,
        Sought::DoublePulse(_) => FindingKind::DoublePulse,
        Sought::MissingBeat => FindingKind::MissingBeat,
    };
    let likelier =
        |&sought: &Sought| model.finding(sought, cause) > model.finding(sought, Cause::None);
    Sought::ALL.into_iter().filter(likelier).map(kind).collect()
}

/// What arrives of some frames, of those of which something does.
fn arrived(fault: &Fault, layout: &Layout, frames: usize, seed: u64) -> Vec<SentRead> {
    let mut reads = Vec::new();
    for number in 0..frames {
        let random = &mut seeded(seed, number as u64);
        let frame = draw_frame(layout, [], random).unwrap();
        reads.extend(send(fault, layout, &frame, random).map_or(Vec::new(), |sent| sent.reads));
    }
    reads.retain(|read| !read.bits.is_empty());
    reads
}

fn captured(reads: &[SentRead], shape: &Shape, seed: u64) -> Capture {
    let laid = pulses(reads, shape, &mut seeded(seed, 1_000));
    let opening = Opening { time: 0, levels: [Level::High; 2] };
    let mut file = Vec::new();
    write_changes(&mut file, opening, changes(&laid, Level::High)).unwrap();
    let capture = read(Cursor::new(file), &Options::default()).unwrap();
    assert_eq!(capture.reads.len(), reads.len());
    capture
}

/// Every wire state, at each rate, way of taking bits and way of filling up that
/// the model has; at times, half of them suffer.
fn faults(model: &Model) -> Vec<Fault> {
    let held = |wire: Wire| {
        let rates = model.rates(wire.cause()).iter().map(|&rate| Held::Rate(rate));
        let others = Short::ALL.into_iter().map(Held::Short).chain([Held::Nothing]);
        let others = others.chain(Padding::ALL.map(Held::Padding)).chain([Held::Length(37)]);
        rates.chain(others).filter_map(move |held| match wire.comes_and_goes() {
            true => Fault::at_times(wire, held, 0.5).ok(),
            false => Fault::new(wire, held).ok(),
        })
    };
    Wire::all().flat_map(held).collect()
}

/// The stated exceptions: whether a cause cannot be had without this finding at
/// a bit of a read where these others are.
fn comes_with(
    cause: Cause,
    kind: FindingKind,
    at_bit: &BTreeSet<FindingKind>,
    read: &SentRead,
    shape: &Shape,
) -> bool {
    let room_between_beats = shape.interval() >= 450_000;
    let room_for_runts = shape.width() >= 44_500;
    let is_extra = |origin: &&Origin| matches!(origin, Origin::Before(_));
    let extra = read.origins.iter().filter(is_extra).count();
    match (cause, kind) {
        (Cause::LinesShorted | Cause::Crosstalk, FindingKind::IntervalTooShort) => {
            !room_between_beats || at_bit.contains(&FindingKind::LinesOverlap)
        }
        (
            Cause::D0Ringing | Cause::D1Ringing | Cause::BothRinging,
            FindingKind::IntervalTooShort,
        ) => true,
        (Cause::D0Noise | Cause::D1Noise | Cause::BothNoise, FindingKind::IntervalTooShort) => {
            !room_between_beats || 20 * extra >= read.bits.len()
        }
        // Where a runt is the only pulse of its line, it is the usual one there.
        (_, FindingKind::PulseTooShort) => {
            !room_for_runts && own(cause, &Model::default()).contains(&FindingKind::ShortPulse)
        }
        (
            Cause::D0Open | Cause::D1Open | Cause::D0Weak | Cause::D1Weak | Cause::BothWeak,
            FindingKind::IntervalTooLong,
        ) => shape.interval() > 10_000_000,
        (Cause::RandomBits, FindingKind::IntervalTooShort) => true,
        (Cause::FrameSplit, FindingKind::FramesTooClose) => true,
        _ => false,
    }
}

/// Holds a capture against the table and the exceptions, each read against the
/// cause that it suffered; gives the kinds seen of those that suffer.
fn hold(
    fault: &Fault,
    reads: &[SentRead],
    shape: &Shape,
    seed: u64,
    model: &Model,
) -> Result<BTreeSet<FindingKind>, TestCaseError> {
    let capture = captured(reads, shape, seed);
    let mut seen = BTreeSet::new();
    for finding in &capture.findings {
        let line = finding.line.unwrap_or(Line::D0);
        let pulses = reads.iter().any(|read| read.bits.iter().any(|bit| bit == line.bit()));
        prop_assert_eq!(finding.kind, FindingKind::LineSilent);
        prop_assert!(!pulses, "{} {}", fault.wire(), finding);
    }
    for (read, captured) in reads.iter().zip(&capture.reads) {
        prop_assert!(read.bits.iter().all(|bit| bit != Bit::Unread));
        prop_assert!(read.cause == fault.cause() || fault.wire().comes_and_goes());
        let own = own(read.cause, model);
        for finding in &captured.findings {
            let same_bit = captured.findings.iter().filter(|other| other.bit == finding.bit);
            let at_bit = same_bit.map(|other| other.kind).collect();
            prop_assert!(
                own.contains(&finding.kind)
                    || comes_with(read.cause, finding.kind, &at_bit, read, shape),
                "{:?} {:?} seed {}: {} of {}",
                fault,
                shape,
                seed,
                finding,
                read.bits
            );
            if read.cause == fault.cause() {
                seen.insert(finding.kind);
            }
        }
    }
    Ok(seen)
}

#[test]
fn a_cause_shows_its_own_findings_and_the_stated_exceptions() {
    let model = Model::default();
    for fault in faults(&model) {
        let own = own(fault.cause(), &model);
        let mut seen = BTreeSet::new();
        for layout in layouts() {
            for seed in 0..8 {
                let reads = arrived(&fault, &layout, 1 + seed as usize % 4, seed);
                if !reads.is_empty() {
                    seen.extend(hold(&fault, &reads, &Shape::default(), seed, &model).unwrap());
                }
            }
        }
        // And all of its own come.
        let only_one_line = matches!(fault.held(), Held::Short(Short::Zero | Short::One));
        assert!(only_one_line || seen.is_superset(&own), "{fault:?} shows {seen:?}, not {own:?}");
    }
}

/// Findings that were drawn are put in within the limits too, where that shows
/// them: in a frame of 26 bits, nearly always.
#[test]
fn drawn_findings_keep_the_limits_of_widths() {
    let model = Model::default();
    let layout = Layout::new(&built_in::OPEN_26).unwrap();
    let (mut short, mut too_short) = (0, 0);
    for (fault, seed) in
        faults(&model).into_iter().flat_map(|fault| (0..8).map(move |s| (fault, s)))
    {
        let reads = arrived(&fault, &layout, 3, seed);
        let random = &mut seeded(seed, 2_000);
        let wanted: Vec<_> = reads.iter().map(|read| draw_evidence(read, &model, random)).collect();
        let shape = Shape::default();
        let Some(laid) = pulses_showing(&reads, &wanted, &shape, random) else {
            continue;
        };
        let wants = |wanted: &Evidence| wanted.short_pulse.contains(&Some(true));
        short += usize::from(wanted.iter().any(wants));
        let least = Limits::SIA_AC_01.width.shortest;
        too_short += usize::from(laid.iter().flatten().any(|pulse| pulse.width < least));
    }
    assert!(short > 200 && too_short * 20 < short, "{too_short} of {short}");
}

/// Each fault, through some layout.
fn hold_every_fault(shape: &Shape, frames: usize, seed: u64) -> Result<(), TestCaseError> {
    let model = Model::default();
    let layouts = layouts();
    for (number, fault) in faults(&model).into_iter().enumerate() {
        let layout = &layouts[(seed as usize ^ number) % layouts.len()];
        let reads = arrived(&fault, layout, frames, seed);
        if !reads.is_empty() {
            hold(&fault, &reads, shape, seed, &model)?;
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Of every reader whose own timing is allowed and leaves room.
    #[test]
    fn so_it_does_for_any_reader_with_room(
        width in 44_500u32..=100_000,
        interval in 1_000_000u32..=10_000_000,
        jitter in 0.0..=0.04f64,
        frames in 1usize..5,
        seed in any::<u64>(),
    ) {
        let shape = Shape::new(width, interval, jitter).unwrap();
        hold_every_fault(&shape, frames, seed)?;
    }

    /// Of the others, it keeps the limits but for what the page says.
    #[test]
    fn without_room_it_breaks_what_is_stated(
        width in 20_000u32..=44_500,
        interval in prop_oneof![250_000u32..=800_000, 800_000u32..=12_000_000],
        jitter in 0.0..=0.04f64,
        frames in 1usize..5,
        seed in any::<u64>(),
    ) {
        let shape = Shape::new(width.min(interval / 10), interval, jitter).unwrap();
        hold_every_fault(&shape, frames, seed)?;
    }

    /// A sound reader right at a limit is not over it, whatever its jitter.
    #[test]
    fn a_sound_reader_keeps_the_limits_it_is_set_to(
        width in 20_000u32..=25_000,
        interval in 200_000u32..=300_000,
        jitter in 0.0..=0.04f64,
        seed in any::<u64>(),
    ) {
        for (width, interval) in [(width, interval), (120_000 - width, 5 * interval)] {
            let shape = Shape::new(width, interval, jitter).unwrap();
            let fault = Fault::new(Cause::None, Held::Nothing).unwrap();
            for layout in layouts() {
                let reads = arrived(&fault, &layout, 2, seed);
                hold(&fault, &reads, &shape, seed, &Model::default())?;
            }
        }
    }
}
