//! From bits to pulses and back.

use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;

/// What a recorder that looks at both lines once a period sees of level
/// changes: each at the first look at it or after it.
fn sampled(changes: &[Change], period: i64) -> Vec<Change> {
    let mut seen: Vec<Change> = changes
        .iter()
        .map(|change| Change {
            time: change.time.div_euclid(period) * period
                + if change.time.rem_euclid(period) == 0 { 0 } else { period },
            ..*change
        })
        .collect();
    seen.sort_by_key(|change| change.time);
    seen
}

proptest! {
    #[test]
    fn bits_come_back_from_their_pulses(
        frames in proptest::collection::vec(
            proptest::collection::vec(any::<bool>(), 1..=MAX_PULSES), 1..4),
        rest_high: bool,
        given: bool,
        offset in -1_000_000_000_000i64..1_000_000_000_000,
        period_us in 1i64..=100,
        width_over_period in 1i64..=100,
        jitter in proptest::collection::vec(0i64..=60_000, 64),
    ) {
        let rest = Level::from(rest_high);
        let period = period_us * 1000;
        // A pulse is wider than a period, so that none falls between two
        // looks; and far enough from the next.
        let width = period + width_over_period * 1000;
        let interval = 2 * width + 2 * period + 200_000;
        let mut changes = vec![];
        let mut time = offset;
        let mut jitters = jitter.iter().cycle();
        for frame in &frames {
            for &bit in frame {
                let line = if bit { Line::D1 } else { Line::D0 };
                let start = time + jitters.next().unwrap();
                let end = start + width + jitters.next().unwrap();
                changes.push(Change { time: start, line, level: rest.other() });
                changes.push(Change { time: end, line, level: rest });
                time += interval;
            }
            time += 40_000_000;
        }
        let rest_setting = if given { Rest::At(rest) } else { Rest::Found };
        let settings = Settings { rest: rest_setting, ..Settings::default() };
        let reads = assemble(settings, sampled(&changes, period));
        let bits: Vec<Bits> = reads.iter().map(|read| bits_of(&read.pulses)).collect();
        let sent: Vec<Bits> =
            frames.iter().map(|frame| frame.iter().map(|&bit| bit.into()).collect()).collect();
        prop_assert_eq!(bits, sent);
        for read in &reads {
            prop_assert_eq!(read.rest, rest);
            prop_assert!(read.pulses.iter().all(|pulse| pulse.complete));
        }
    }

    #[test]
    fn sending_keeps_its_timing(
        frame in proptest::collection::vec(any::<bool>(), 1..100),
        width in 20u32..=100,
        interval in 200u32..=20_000,
        start in any::<i32>(),
    ) {
        let frame: Bits = frame.into_iter().map(Bit::from).collect();
        let timing = Timing { width: width * US, interval: interval * US };
        let changes: Vec<Change> =
            send(&frame, timing, i64::from(start), Level::High).collect();
        prop_assert!(changes.is_sorted_by_key(|change| change.time));
        let reads = assemble(Settings::default(), changes);
        prop_assert_eq!(reads.len(), 1);
        let pulses = &reads[0].pulses;
        prop_assert_eq!(pulses[0].start, i64::from(start));
        prop_assert!(pulses.iter().all(|pulse| pulse.width == timing.width));
        prop_assert!(intervals(pulses).all(|interval| interval == timing.interval));
        // Within the limits of SIA AC-01-1996.10, so there is nothing to find.
        let rhythm = Rhythm { beat: Some(timing.interval), width: [Some(timing.width); 2] };
        #[cfg(feature = "alloc")]
        prop_assert_eq!(
            Rhythm::of([&pulses[..]], &Limits::default()).beat,
            (frame.len() > 1).then_some(timing.interval)
        );
        prop_assert_eq!(findings(0, pulses, &Limits::default(), &rhythm).count(), 0);
    }
}

#[test]
fn an_unread_bit_takes_its_time_and_sends_nothing() {
    let frame: Bits = "1?0".parse().unwrap();
    let changes: Vec<Change> = send(&frame, Timing::default(), 0, Level::High).collect();
    assert_eq!(changes.len(), 4);
    assert_eq!(changes[2].time, 2_000_000);
}
