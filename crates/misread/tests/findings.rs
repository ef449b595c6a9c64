//! What a capture's findings do to the posterior: the table of the fault model,
//! and its arithmetic done a second time here.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot be set up has failed")]
use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{Cause, Model, ProbeAt, Sought, Wire};
use misread::diagnose::{
    Candidates, Case, Diagnosis, Numbers, Posterior, Verdict, diagnose, posterior,
};
use misread::layout::{Layout, built_in};
use misread::pulse::{Evidence, Line};
use proptest::prelude::*;

const SWAPPED: &str = "01101010111111011001011011";
const GOOD: &str = "10010101000000100110100100";
const ONE_ZERO_LOST: &str = "1001010100000100110100100";

fn open_26() -> Candidates {
    Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26).unwrap()), 4.0)])
}

fn case(reads: &[(&str, Evidence)], captured: Option<ProbeAt>) -> Case {
    let mut case = Case::of(reads.iter().map(|(bits, _)| bits.parse().unwrap()));
    for (read, (_, pulses)) in case.reads.iter_mut().zip(reads) {
        read.pulses = *pulses;
    }
    case.captured = captured;
    case
}

fn weigh(case: &Case, model: &Model) -> Posterior {
    posterior(case, &open_26(), model, &mut |_| ControlFlow::Continue(())).unwrap()
}

fn answer(case: &Case) -> Diagnosis {
    diagnose(
        case,
        &open_26(),
        &Model::default(),
        Numbers::Shown,
        &mut |_| ControlFlow::Continue(()),
    )
    .unwrap()
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-6, "{found} is not {expected}");
}

/// The table of the fault model, row by row; what is not in a row has the rate
/// of its last column. Judgement, no source.
#[test]
fn the_default_rates_are_those_of_the_table() {
    use Cause::*;
    let model = Model::default();
    let per_line = |line: Line, d0: [Cause; 3], d1: [Cause; 3]| match line {
        Line::D0 => d0,
        Line::D1 => d1,
    };
    for cause in Cause::ALL {
        let overlap = match cause {
            LinesShorted => 0.95,
            Crosstalk => 0.6,
            RandomBits => 0.3,
            _ => 0.01,
        };
        assert_eq!(model.finding(Sought::LinesOverlap, cause), overlap, "{cause}");
        let missing = match cause {
            D0Weak | D1Weak | BothWeak => 0.9,
            D0Open | D1Open => 0.98,
            RandomBits => 0.5,
            _ => 0.02,
        };
        assert_eq!(model.finding(Sought::MissingBeat, cause), missing, "{cause}");
        for line in Line::BOTH {
            let [weak, noise, ringing] =
                per_line(line, [D0Weak, D0Noise, D0Ringing], [D1Weak, D1Noise, D1Ringing]);
            let short = match cause {
                c if c == weak || c == BothWeak => 0.7,
                c if c == noise || c == BothNoise => 0.6,
                c if c == ringing || c == BothRinging => 0.4,
                Crosstalk | RandomBits => 0.5,
                _ => 0.02,
            };
            assert_eq!(model.finding(Sought::ShortPulse(line), cause), short, "{cause} {line}");
            let double = match cause {
                c if c == ringing || c == BothRinging => 0.95,
                c if c == noise || c == BothNoise => 0.3,
                RandomBits => 0.4,
                _ => 0.01,
            };
            assert_eq!(model.finding(Sought::DoublePulse(line), cause), double, "{cause} {line}");
        }
    }
}

/// Worked by hand from a row of the check values: by the bits alone `d0-weak`
/// has 0.333998, `head-lost` 0.282136, `both-weak` 0.225789 and `tail-lost`
/// 0.141068. A missing beat multiplies the weak ones by 0.9 and the others by
/// 0.02; no short pulse on D0 by 0.3 and 0.98; no short pulse on D1 by 0.98
/// for `d0-weak` and the lost ends, 0.3 for `both-weak`. What is not listed,
/// 0.017009 together, may each get at most 0.9 × 0.98 × 0.98 of that.
#[test]
fn worked_example_of_a_missing_beat() {
    let seen = Evidence {
        missing_beat: Some(true),
        short_pulse: [Some(false), Some(false)],
        ..Evidence::default()
    };
    let found = weigh(&case(&[(ONE_ZERO_LOST, seen)], None), &Model::default());
    let d0_weak = 0.333998 * 0.9 * 0.3 * 0.98;
    let both_weak = 0.225789 * 0.9 * 0.3 * 0.3;
    let head = 0.282136 * 0.02 * 0.98 * 0.98;
    let tail = 0.141068 * 0.02 * 0.98 * 0.98;
    let least = d0_weak + both_weak + head + tail;
    let most = least + 0.017009 * 0.9 * 0.98 * 0.98;
    for (cause, weight) in
        [(Cause::D0Weak, d0_weak), (Cause::BothWeak, both_weak), (Cause::HeadLost, head)]
    {
        let found = found.of_wire(cause);
        assert!((weight / most - 1e-5..=weight / least + 1e-5).contains(&found), "{cause} {found}");
    }
}

/// From the check values: swapped lines 0.769202, a recorder's inversion
/// 0.135742. Where the lines were captured the priors of what cannot be, 0.030
/// and 0.020 (and 0.170 at the reader), are 0.02 of what they were, and all are
/// scaled to sum to 1 again.
#[test]
fn where_it_was_captured_changes_what_is_likely() {
    let model = Model::default();
    let at = |captured| {
        let found = weigh(&case(&[(SWAPPED, Evidence::default())], captured), &model);
        (found.of_wire(Cause::LinesSwapped), found.of_wire(Cause::BitsInverted))
    };
    let (swapped, inverted) = at(None);
    close(swapped, 0.769202);
    close(inverted, 0.135742);
    // Of the rest, two at once takes part in the scaling twice; it is 0.0046.
    let rest = 1.0 - 0.769202 - 0.135742;
    let (swapped, inverted) = at(Some(ProbeAt::Panel));
    let sum = 0.769202 + 0.02 * 0.135742 + rest;
    assert!((swapped - 0.769202 / sum).abs() < 5e-4, "{swapped}");
    assert!((inverted - 0.02 * 0.135742 / sum).abs() < 5e-6, "{inverted}");
    // The ratio of the two is that of their priors.
    assert!((swapped / inverted - 0.170 / (0.02 * 0.030)).abs() < 1e-6, "{swapped} {inverted}");
    let (swapped, inverted) = at(Some(ProbeAt::Reader));
    assert!((swapped / inverted - 0.170 / 0.030).abs() < 1e-9, "{swapped} {inverted}");
    assert!(swapped < 0.15, "{swapped}");
}

#[test]
fn a_sound_capture_at_the_reader_points_to_the_panel() {
    let sound = Evidence {
        lines_overlap: Some(false),
        short_pulse: [Some(false); 2],
        double_pulse: [Some(false); 2],
        missing_beat: Some(false),
    };
    let found = answer(&case(&[(GOOD, sound)], Some(ProbeAt::Reader)));
    assert_eq!(found.verdict, Verdict::None);
    assert!(found.notes.iter().any(|note| note.contains("towards the panel")), "{:?}", found.notes);
    let found = answer(&case(&[(GOOD, sound)], Some(ProbeAt::Panel)));
    assert!(found.notes.is_empty(), "{:?}", found.notes);
    // The lines have been recorded at the panel: no use in doing it again.
    assert!(found.next.iter().all(|step| step.id != "capture"));
}

#[test]
fn what_moved_the_answer_is_said() {
    let seen = Evidence { missing_beat: Some(true), ..Evidence::default() };
    let reads = [(ONE_ZERO_LOST, seen), (ONE_ZERO_LOST, seen)];
    let found = answer(&case(&reads, Some(ProbeAt::Panel)));
    assert_eq!(found.verdict, Verdict::Wire(Wire::Alone(Cause::D0Weak)));
    let [moved] = &found.moved[..] else { panic!("{:?}", found.moved) };
    assert_eq!((moved.sought, moved.found, moved.looked), (Sought::MissingBeat, 2, 2));
    // By the check values 0.199426 of the bits alone. What cannot be in a
    // capture is impossible here, so that all others keep their shares, but for
    // two at once, whose priors are products.
    assert!((moved.without - 0.199426).abs() < 1e-3, "{}", moved.without);
    assert!(
        moved.with > 0.68 && moved.says.starts_with("A beat of the reader is missing in 2 of 2")
    );
    assert!(answer(&case(&[(GOOD, Evidence::default())], None)).moved.is_empty());
}

#[test]
fn the_pulses_can_overrule_the_bits() {
    // One 0 short: by its bits weak D0 comes first, with 0.333998 to 0.282136
    // for a lost head; but no beat is missing.
    let seen = Evidence { missing_beat: Some(false), ..Evidence::default() };
    let found = answer(&case(&[(ONE_ZERO_LOST, seen)], Some(ProbeAt::Panel)));
    assert_eq!(found.verdict, Verdict::Wire(Wire::Alone(Cause::HeadLost)));
    let [moved] = &found.moved[..] else { panic!("{:?}", found.moved) };
    assert_eq!((moved.sought, moved.found, moved.looked), (Sought::MissingBeat, 0, 1));
    assert!((moved.without - 0.282136).abs() < 1e-2 && moved.with > 0.5, "{moved:?}");
}

fn any_evidence() -> impl Strategy<Value = Evidence> {
    let any = || proptest::option::of(any::<bool>());
    (any(), [any(), any()], [any(), any()], any()).prop_map(
        |(lines_overlap, short_pulse, double_pulse, missing_beat)| Evidence {
            lines_overlap,
            short_pulse,
            double_pulse,
            missing_beat,
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Each combination of what holds of every read is the one by the bits
    /// alone, times what each finding says of its cause. (What comes at times
    /// is a mixture; `brute_force.rs` goes through that.)
    #[test]
    fn findings_multiply(seen in proptest::collection::vec(any_evidence(), 2)) {
        let model = Model::default();
        let reads = [(GOOD, seen[0]), (ONE_ZERO_LOST, seen[1])];
        let with = weigh(&case(&reads, None), &model);
        let bits = weigh(&case(&reads.map(|(bits, _)| (bits, Evidence::default())), None), &model);
        let factor = |cause: Cause| -> f64 {
            seen.iter()
                .flat_map(|seen| {
                    [
                        (Sought::LinesOverlap, seen.lines_overlap),
                        (Sought::ShortPulse(Line::D0), seen.short_pulse[0]),
                        (Sought::ShortPulse(Line::D1), seen.short_pulse[1]),
                        (Sought::DoublePulse(Line::D0), seen.double_pulse[0]),
                        (Sought::DoublePulse(Line::D1), seen.double_pulse[1]),
                        (Sought::MissingBeat, seen.missing_beat),
                    ]
                })
                .map(|(sought, found)| match found {
                    None => 1.0,
                    Some(true) => model.finding(sought, cause),
                    Some(false) => 1.0 - model.finding(sought, cause),
                })
                .product()
        };
        let evidence = (bits.ln_evidence - with.ln_evidence).exp();
        prop_assert_eq!(with.joint.len(), bits.joint.len());
        for (with, bits) in with.joint.iter().zip(&bits.joint) {
            if with.wire.comes_and_goes() && with.wire != Wire::ReadsMissing {
                continue;
            }
            let expected = bits.probability * factor(with.wire.cause()) * evidence;
            prop_assert!((with.probability - expected).abs() < 1e-9, "{}", with.wire);
        }
    }
}
