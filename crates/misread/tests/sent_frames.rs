//! What is sent comes as often as it should, held against the second way of
//! following a frame through a fault.

#![allow(clippy::unwrap_used)]

mod little;

use std::collections::HashMap;

use little::{
    Frame, Known, Little, Read, arrives_by, arrives_split, as_bits, as_read, littles, stranger,
    two_bytes,
};
use misread::cause::{Cause, Model, Wire};
use misread::channel::{Fault, Held, Padding, Short, bytes_reversed, draw_frame, seeded, send};
use misread::{Bit, Bits};

/// How often each fault is sent through.
const FRAMES: u32 = 6_000;

/// The share that suffers what comes at times.
const SHARE: f64 = 0.3;

/// The length of layouts that nobody listed.
const LENGTH: usize = 3;

/// Every wire state with everything that can hold for it, each with the rate,
/// or the number of the way, that it is to the second way.
fn faults() -> Vec<(Fault, f64)> {
    let model = Model::default();
    let mut faults = Vec::new();
    for wire in Wire::all().filter(|wire| wire.cause() != Cause::RandomBits) {
        let rates = model.rates(wire.cause()).iter().map(|&rate| (Held::Rate(rate), rate));
        let numbered = |(way, held)| (held, way as f64);
        let shorts = Short::ALL.map(Held::Short).into_iter().enumerate().map(numbered);
        // Here the ways of padding go by where, then how far.
        let paddings = Padding::ALL.map(Held::Padding).into_iter().enumerate().map(numbered);
        let others = [(Held::Nothing, 0.0), (Held::Length(LENGTH), 0.0)];
        for (held, rate) in rates.chain(shorts).chain(paddings).chain(others) {
            let fault = match wire.comes_and_goes() {
                true => Fault::at_times(wire, held, SHARE),
                false => Fault::new(wire, held),
            };
            faults.extend(fault.ok().map(|fault| (fault, rate)));
        }
    }
    faults
}

/// The probability of what arrives of one of these frames, each as likely as
/// the others.
fn probability(
    fault: &Fault,
    rate: f64,
    little: &Little,
    frames: &[&Frame],
    reads: &[Read],
) -> f64 {
    let of = |wire: Wire, t: &Frame| match (wire, reads) {
        (Wire::Swapped(_), [first, second]) => {
            let turned = t.iter().map(|bit| !bit).collect();
            arrives_split(&turned, first, second)
        }
        (_, [first, second]) => arrives_split(t, first, second),
        (Wire::Alone(Cause::UnknownLayout), [read]) if read.len() == LENGTH => stranger(read),
        (Wire::Alone(Cause::UnknownLayout), _) => 0.0,
        (_, [read]) => arrives_by(wire, rate, little, t, read),
        _ => 0.0,
    };
    let one = |t: &Frame| {
        let sound = of(Wire::Alone(Cause::None), t);
        let suffering = match fault.wire() {
            Wire::AtTimes(cause) => of(Wire::Alone(cause), t),
            Wire::ReadsMissing if reads[0].is_empty() => 1.0,
            Wire::ReadsMissing => 0.0,
            wire => return of(wire, t),
        };
        SHARE * suffering + (1.0 - SHARE) * sound
    };
    frames.iter().map(|t| one(t)).sum::<f64>() / frames.len() as f64
}

/// Pearson's chi-squared statistic, as standard deviations over its mean. What
/// is expected fewer than 8 times is taken together, with all that never came.
fn chi_squared(counts: &HashMap<Vec<Bits>, u32>, probability: impl Fn(&[Bits]) -> f64) -> f64 {
    let total = f64::from(counts.values().sum::<u32>());
    let (mut rest, mut rest_expected, mut sum, mut cells) = (0.0, total, 0.0, 0.0);
    for (reads, &count) in counts {
        let (count, expected) = (f64::from(count), total * probability(reads));
        assert!(expected > 0.0, "{reads:?} came and cannot");
        if expected < 8.0 {
            rest += count;
        } else {
            rest_expected -= expected;
            sum += (count - expected).powi(2) / expected;
            cells += 1.0;
        }
    }
    if rest_expected >= 8.0 {
        sum += (rest - rest_expected).powi(2) / rest_expected;
        cells += 1.0;
    }
    // What never comes must not be much.
    assert!(rest_expected > -1e-6 * total && (rest > 0.0 || rest_expected < 20.0));
    let freedom: f64 = cells - 1.0;
    if freedom < 1.0 { 0.0 } else { (sum - freedom) / (2.0 * freedom).sqrt() }
}

#[test]
fn what_is_sent_comes_as_often_as_it_should() {
    let littles = littles();
    let shed = littles.iter().find(|little| little.name == "shed-5").unwrap();
    let layout = shed.layout();
    let known = Known::from([("facility".to_owned(), 1)]);
    let frames = shed.frames();
    let frames: Vec<&Frame> = frames.iter().filter(|frame| shed.carries(frame, &known)).collect();
    let mut sent_through = 0;
    for (number, (fault, rate)) in faults().into_iter().enumerate() {
        if fault.cause() == Cause::BytesReversed {
            continue;
        }
        let random = &mut seeded(5, number as u64);
        let mut counts: HashMap<Vec<Bits>, u32> = HashMap::new();
        for _ in 0..FRAMES {
            let frame = draw_frame(&layout, [("facility", 1)], random).unwrap();
            let sent = send(&fault, &layout, &frame, random).unwrap();
            *counts.entry(sent.reads.iter().map(|read| read.bits).collect()).or_default() += 1;
        }
        let off = chi_squared(&counts, |reads| {
            let reads: Vec<Read> = reads.iter().map(as_read).collect();
            probability(&fault, rate, shed, &frames, &reads)
        });
        assert!(off < 5.0, "{fault:?}: {off} standard deviations off");
        sent_through += 1;
    }
    assert!(sent_through > 150, "{sent_through}");
}

#[test]
fn reversed_bytes_are_those_of_the_second_way() {
    for little in two_bytes() {
        let layout = little.layout();
        let random = &mut seeded(8, 0);
        for _ in 0..200 {
            let frame = draw_frame(&layout, [], random).unwrap();
            let bits: Frame = frame.iter().map(|bit| bit == Bit::One).collect();
            let sent = little.bytes_reversed(&bits).unwrap();
            let sent: Read = sent.into_iter().map(Some).collect();
            assert_eq!(bytes_reversed(&layout, &frame), Some(as_bits(&sent)));
        }
    }
}
