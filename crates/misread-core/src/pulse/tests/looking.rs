use std::string::ToString;
use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;

fn pulse(line: Line, start_us: i64, width: u32) -> Pulse {
    Pulse { start: start_us * 1000, width, line, complete: true }
}

fn kinds(pulses: &[Pulse], limits: &Limits, rhythm: &Rhythm) -> Vec<FindingKind> {
    findings(0, pulses, limits, rhythm).map(|finding| finding.kind).collect()
}

const UNKNOWN: Rhythm = Rhythm { beat: None, width: [None; 2] };
/// To the letter of the standard.
const STRICT: Limits = Limits { tolerance: 0, ..Limits::SIA_AC_01 };

#[test]
fn widths_at_the_limits_pass_and_beyond_are_found() {
    use FindingKind::{PulseTooLong, PulseTooShort};
    // SIA AC-01-1996.10: Tpw 20 µs to 100 µs. 2 % of the limit and one sample
    // are let pass.
    let sampled = Limits::default().sampled_every(1_000);
    let cases = [
        (STRICT, 20_000, 100_000),
        (Limits::default(), 19_600, 102_000),
        (sampled, 18_600, 103_000),
    ];
    for (limits, shortest, longest) in cases {
        let look = |width| kinds(&[pulse(Line::D0, 0, width)], &limits, &UNKNOWN);
        assert_eq!(look(shortest - 1), [PulseTooShort]);
        assert_eq!(look(shortest), []);
        assert_eq!(look(longest), []);
        assert_eq!(look(longest + 1), [PulseTooLong]);
        assert_eq!(look(0), [PulseTooShort]);
        assert_eq!(look(u32::MAX), [PulseTooLong]);
    }
}

#[test]
fn intervals_at_the_limits_pass_and_beyond_are_found() {
    use FindingKind::{IntervalTooLong, IntervalTooShort};
    // SIA AC-01-1996.10: Tpi 200 µs to 20 ms; leading edge to leading edge
    // (from memory), whichever the lines.
    let sampled = Limits::default().sampled_every(1_000);
    let cases = [
        (STRICT, 200_000, 20_000_000),
        (Limits::default(), 196_000, 20_400_000),
        (sampled, 195_000, 20_401_000),
    ];
    for (limits, shortest, longest) in cases {
        for second in Line::BOTH {
            let look = |interval| {
                let first = pulse(Line::D0, 0, 50 * US);
                kinds(&[first, Pulse { start: interval, line: second, ..first }], &limits, &UNKNOWN)
            };
            assert_eq!(look(shortest - 1), [IntervalTooShort]);
            assert_eq!(look(shortest), []);
            assert_eq!(look(longest), []);
            assert_eq!(look(longest + 1), [IntervalTooLong]);
        }
    }
}

#[test]
fn a_pulse_whose_end_was_not_seen_may_have_been_wide_enough() {
    let cut = Pulse { complete: false, ..pulse(Line::D0, 0, 5 * US) };
    let rhythm = Rhythm { beat: None, width: [Some(50 * US); 2] };
    assert_eq!(kinds(&[cut], &STRICT, &rhythm), []);
    let held = Pulse { width: 25 * MS, ..cut };
    assert_eq!(kinds(&[held], &STRICT, &rhythm), [FindingKind::PulseTooLong]);
}

#[test]
fn a_pulse_under_half_the_median_is_short() {
    let rhythm = Rhythm { beat: None, width: [Some(90_000), None] };
    let look = |line, width| kinds(&[pulse(line, 0, width)], &STRICT, &rhythm);
    assert_eq!(look(Line::D0, 44_999), [FindingKind::ShortPulse]);
    assert_eq!(look(Line::D0, 45_000), []);
    assert_eq!(look(Line::D1, 44_999), []);
}

#[test]
fn pulses_of_a_line_closer_than_a_quarter_beat_are_double() {
    let rhythm = Rhythm { beat: Some(2_000_000), width: [None; 2] };
    let look = |line, interval: i64| {
        let first = pulse(Line::D1, 0, 50 * US);
        kinds(&[first, Pulse { start: interval, line, ..first }], &STRICT, &rhythm)
    };
    assert_eq!(look(Line::D1, 499_999), [FindingKind::DoublePulse]);
    assert_eq!(look(Line::D1, 500_000), []);
    assert_eq!(look(Line::D0, 499_999), []);
    // With a pulse of the other line between them as well.
    let three =
        [pulse(Line::D1, 0, 50_000), pulse(Line::D0, 200, 50_000), pulse(Line::D1, 400, 50_000)];
    assert_eq!(kinds(&three, &STRICT, &rhythm), [FindingKind::DoublePulse]);
}

#[test]
fn two_beats_to_within_15_percent_of_one_are_a_missing_beat() {
    let rhythm = Rhythm { beat: Some(1_000_000), width: [None; 2] };
    let look = |interval: i64| {
        let first = pulse(Line::D1, 0, 50 * US);
        kinds(&[first, Pulse { start: interval, line: Line::D0, ..first }], &STRICT, &rhythm)
    };
    assert_eq!(look(1_000_000), []);
    assert_eq!(look(1_849_999), []);
    assert_eq!(look(1_850_000), [FindingKind::MissingBeat]);
    assert_eq!(look(2_150_000), [FindingKind::MissingBeat]);
    assert_eq!(look(2_150_001), []);
    assert_eq!(look(7_000_000), [FindingKind::MissingBeat]);
}

#[test]
fn lines_active_at_once_are_found_with_how_long() {
    let pulses = [pulse(Line::D0, 0, 100 * US), pulse(Line::D1, 60, 100 * US)];
    let found: Vec<Finding> =
        findings(3, &pulses, &STRICT, &UNKNOWN).filter(|f| f.line.is_none()).collect();
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].value, Some(40 * US));
    assert_eq!(found[0].to_string(), "Read 4, bit 2: D0 and D1 are active at once for 40 µs.");
}

#[test]
fn reads_with_too_small_a_gap_are_found() {
    let first = [pulse(Line::D0, 0, 50 * US)];
    let second = |gap: i64| [Pulse { start: 50_000 + gap, ..first[0] }];
    // The limit of 50 ms is judgement; 2 % are let pass.
    assert_eq!(between(1, &first, &second(49_000_000), &Limits::default()), None);
    let found = between(1, &first, &second(48_999_999), &Limits::default()).unwrap();
    assert_eq!((found.read, found.value), (Some(1), Some(48_999_999)));
    assert_eq!(between(1, &[], &first, &Limits::default()), None);
    assert_eq!(between(1, &first, &[], &Limits::default()), None);
}

#[test]
fn a_capture_says_where_its_lines_rest_and_which_is_silent() {
    let tally_of = |text: &str, rest| {
        let mut assembler = Assembler::new(Settings::default());
        let frame = text.parse().unwrap();
        for change in send(&frame, Timing::default(), 0, rest) {
            assert!(assembler.feed(change).is_none());
        }
        let mut tally = Tally::default();
        if let Some(read) = assembler.tick(i64::MAX) {
            tally.count(&read);
        }
        tally
    };
    let said = |text: &str, rest| {
        tally_of(text, rest).findings().map(|f| (f.kind, f.line)).collect::<Vec<_>>()
    };
    assert_eq!(said("0110", Level::High), []);
    assert_eq!(said("0110", Level::Low), [(FindingKind::IdleLow, None)]);
    assert_eq!(said("1111", Level::High), [(FindingKind::LineSilent, Some(Line::D0))]);
    assert_eq!(said("0000", Level::High), [(FindingKind::LineSilent, Some(Line::D1))]);
    assert_eq!(said("", Level::High), []);
    assert_eq!(tally_of("0111", Level::High).pulses(Line::D1), 3);
}

/// What a capture says that begins with the lines at these levels, of reads in
/// which D0 pulses from its own to the other, and so D1.
fn tally_of_lines(levels: [Level; 2], frames: &[&str], rest: Rest) -> Tally {
    let mut assembler = Assembler::new(Settings { rest, ..Settings::default() });
    let mut tally = Tally::default();
    assert!(assembler.begin(0, levels[0], levels[1]).is_none());
    for (time, text) in (50_000_000..).step_by(200_000_000).zip(frames) {
        for change in send(&text.parse().unwrap(), Timing::default(), time, Level::High) {
            let rest = levels[change.line.index()];
            let level = if change.level == Level::High { rest } else { rest.other() };
            if let Some(read) = assembler.feed(Change { level, ..change }) {
                tally.count(&read);
            }
        }
    }
    if let Some(read) = assembler.tick(i64::MAX) {
        tally.count(&read);
    }
    tally
}

#[test]
fn a_line_that_is_held_is_told_from_one_that_is_still() {
    use FindingKind::{IdleLow, LineHeld, LineSilent};
    use Level::{High, Low};
    let said = |levels, frames: &[&str]| {
        let tally = tally_of_lines(levels, frames, Rest::Found);
        tally.findings().map(|f| (f.kind, f.line)).collect::<Vec<_>>()
    };
    let silent = (LineSilent, Some(Line::D0));
    assert_eq!(said([High, High], &["1111"]), [silent]);
    assert_eq!(said([Low, High], &["1111", "11"]), [silent, (LineHeld, Some(Line::D0))]);
    assert_eq!(said([Low, Low], &["1111"]), [(IdleLow, None), silent]);
    assert_eq!(said([High, Low], &["1111"]), [(IdleLow, None), silent, (LineHeld, Some(Line::D0))]);
    let tally = tally_of_lines([High, Low], &["000"], Rest::Found);
    assert_eq!((tally.stands(Line::D0), tally.stands(Line::D1)), (None, Some(Low)));
}

#[test]
fn lines_that_rest_apart_are_found_and_then_read_so() {
    use Level::{High, Low};
    let frames = ["10010101000000100110100100", "0101", "0011"];
    for levels in [[High, High], [Low, Low], [High, Low], [Low, High]] {
        let apart = tally_of_lines(levels, &frames, Rest::Found).apart();
        assert_eq!(apart, (levels[0] != levels[1]).then_some(levels));
        let tally = tally_of_lines(levels, &frames, Rest::Each(levels));
        assert_eq!(Line::BOTH.map(|line| tally.rest(line)), levels);
        assert_eq!(Line::BOTH.map(|line| tally.pulses(line)), [21, 13]);
        let low = levels.iter().position(|&level| level == Low).map(|index| Line::BOTH[index]);
        let line = if levels == [Low, Low] { None } else { low };
        let expected: &[_] = if low.is_some() { &[(FindingKind::IdleLow, line)] } else { &[] };
        assert_eq!(tally.findings().map(|f| (f.kind, f.line)).collect::<Vec<_>>(), expected);
    }
}

/// A conductor that shorts to common halfway through a read is no line that
/// rests low.
#[test]
fn a_line_that_falls_for_good_does_not_rest_there() {
    let mut assembler = Assembler::new(Settings::default());
    assert!(assembler.begin(0, Level::High, Level::High).is_none());
    let frame = "1001010100".parse().unwrap();
    for change in send(&frame, Timing::default(), 50_000_000, Level::High) {
        let held = change.line == Line::D0 && change.time > 56_000_000;
        let level = if held { Level::Low } else { change.level };
        assert!(assembler.feed(Change { level, ..change }).is_none());
    }
    let mut tally = Tally::default();
    tally.count(&assembler.tick(i64::MAX).unwrap());
    assert_eq!(tally.apart(), None);
}

#[test]
fn evidence_is_looked_for_only_where_it_could_be() {
    let rhythm = Rhythm { beat: Some(1_000_000), width: [Some(50_000); 2] };
    let ones = [pulse(Line::D1, 0, 50_000), pulse(Line::D1, 1000, 50_000)];
    let evidence = Evidence::of(&ones, &rhythm);
    assert_eq!(evidence.lines_overlap, None);
    assert_eq!(evidence.short_pulse, [None, Some(false)]);
    assert_eq!(evidence.double_pulse, [None, Some(false)]);
    assert_eq!(evidence.missing_beat, None);

    let all_of_it = [
        pulse(Line::D1, 0, 50_000),
        pulse(Line::D0, 20, 50_000),
        pulse(Line::D0, 200, 10_000),
        pulse(Line::D1, 2000, 50_000),
        pulse(Line::D1, 2100, 24_999),
    ];
    let evidence = Evidence::of(&all_of_it, &rhythm);
    assert_eq!(
        evidence,
        Evidence {
            lines_overlap: Some(true),
            short_pulse: [Some(true); 2],
            double_pulse: [Some(true); 2],
            missing_beat: None.or(Some(false)),
        }
    );
    let gap = [ones[0], ones[1], pulse(Line::D0, 3000, 50_000)];
    assert_eq!(Evidence::of(&gap, &rhythm).missing_beat, Some(true));
    assert_eq!(Evidence::of(&[], &rhythm), Evidence::default());
}

#[cfg(feature = "alloc")]
#[test]
fn the_rhythm_leaves_out_what_is_no_bit_period() {
    let mut pulses: Vec<Pulse> = (0..10).map(|i| pulse(Line::D1, i * 1000, 50_000)).collect();
    pulses.push(pulse(Line::D0, 9100, 80_000));
    pulses.push(Pulse { complete: false, ..pulse(Line::D0, 10_000, 1) });
    let rhythm = Rhythm::of([&pulses[..], &[]], &Limits::default());
    // 100 µs is left out; the 900 µs after it is within 15 % of the beat.
    assert_eq!(rhythm.beat, Some(990_000));
    assert_eq!(rhythm.width, [Some(80_000), Some(50_000)]);
    assert_eq!(Rhythm::of([], &Limits::default()), UNKNOWN);
}

#[test]
fn the_median_of_an_even_number_is_between_the_middle_two() {
    assert_eq!(median(&mut []), None);
    assert_eq!(median(&mut [3, 1, 2]), Some(2));
    assert_eq!(median(&mut [4, 1, 2, 9]), Some(3));
    assert_eq!(median(&mut [u32::MAX, u32::MAX]), Some(u32::MAX));
    let pulses = [pulse(Line::D0, 0, 30), pulse(Line::D0, 1, 50), pulse(Line::D0, 3, 90)];
    let widths = Spread::of_widths(&pulses, Line::D0).unwrap();
    assert_eq!(widths, Spread { min: 30, median: 50, max: 90 });
    assert_eq!(Spread::of_widths(&pulses, Line::D1), None);
    let between = Spread::of_intervals(&pulses).unwrap();
    assert_eq!(between, Spread { min: 1000, median: 1500, max: 2000 });
}

/// Pulses of each line that do not touch, over a short time.
fn short_read() -> impl Strategy<Value = Vec<Pulse>> {
    proptest::collection::vec((any::<bool>(), 1i64..20, 1u32..20), 0..30).prop_map(|steps| {
        let mut free = [0i64; 2];
        let mut pulses = vec![];
        for (d1, gap, width) in steps {
            let line = if d1 { Line::D1 } else { Line::D0 };
            let start = free[line.index()] + gap;
            free[line.index()] = start + i64::from(width);
            pulses.push(Pulse { start, width, line, complete: true });
        }
        pulses.sort_by_key(|pulse| (pulse.start, pulse.line));
        pulses
    })
}

proptest! {
    #[test]
    fn overlaps_are_those_seen_nanosecond_by_nanosecond(pulses in short_read()) {
        let active = |line, moment: i64| {
            pulses.iter().any(|p| p.line == line && (p.start..p.end()).contains(&moment))
        };
        let seen = (0..1500).any(|moment| Line::BOTH.iter().all(|&line| active(line, moment)));
        let found = kinds(&pulses, &STRICT, &UNKNOWN).contains(&FindingKind::LinesOverlap);
        prop_assert_eq!(found, seen);
    }

    #[test]
    fn any_pulses_and_limits_are_looked_at(
        pulses in proptest::collection::vec(
            (any::<i64>(), any::<u32>(), any::<bool>(), any::<bool>()), 0..40),
        numbers in any::<[u32; 10]>(),
    ) {
        let pulses: Vec<Pulse> = pulses
            .into_iter()
            .map(|(start, width, d1, complete)| Pulse {
                start,
                width,
                line: if d1 { Line::D1 } else { Line::D0 },
                complete,
            })
            .collect();
        let [a, b, c, d, gap, sample_period, tolerance, beat, w0, w1] = numbers;
        let limits = Limits {
            width: Bounds { shortest: a, longest: b },
            interval: Bounds { shortest: c, longest: d },
            gap,
            sample_period,
            tolerance,
        };
        let rhythm = Rhythm { beat: Some(beat), width: [Some(w0), Some(w1)] };
        for finding in findings(usize::MAX, &pulses, &limits, &rhythm) {
            prop_assert!(finding.to_string().ends_with('.'));
        }
        if let Some(finding) = between(usize::MAX, &pulses, &pulses, &limits) {
            prop_assert!(finding.to_string().ends_with('.'));
        }
    }

    #[cfg(feature = "alloc")]
    #[test]
    fn a_rhythm_found_read_by_read_is_that_of_all_reads(
        reads in proptest::collection::vec(
            proptest::collection::vec(
                (any::<bool>(), prop_oneof![900u32..1100, 1800u32..2200, 1u32..6000], 1u32..200,
                    any::<bool>()),
                0..20),
            0..8),
        sample_period in prop_oneof![Just(0u32), 1u32..100_000],
    ) {
        let reads: Vec<Vec<Pulse>> = reads
            .into_iter()
            .map(|steps| {
                let mut start = 0;
                let pulses = steps.into_iter().map(|(d1, gap_us, width_us, complete)| {
                    start += i64::from(gap_us) * 1000;
                    let line = if d1 { Line::D1 } else { Line::D0 };
                    Pulse { start, width: width_us * 997, line, complete }
                });
                pulses.collect()
            })
            .collect();
        let limits = Limits::default().sampled_every(sample_period);
        let mut tally = RhythmTally::default();
        reads.iter().for_each(|pulses| tally.count(pulses));
        let found = tally.rhythm(&limits);
        prop_assert_eq!(found, Rhythm::of(reads.iter().map(|pulses| &pulses[..]), &limits));
        prop_assert_eq!(tally.step(), 1);

        // The widths and intervals as they stand in the definition, in memory.
        for line in Line::BOTH {
            let mut widths: Vec<u32> = reads
                .iter()
                .flatten()
                .filter(|pulse| pulse.line == line && pulse.complete)
                .map(|pulse| pulse.width)
                .collect();
            prop_assert_eq!(found.width_of(line), median(&mut widths));
        }
    }
}
