use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;

const AT_HIGH: Settings =
    Settings { silence: DEFAULT_SILENCE, rest: Rest::At(Level::High), glitch: 0 };

fn found() -> Settings {
    Settings::default()
}

#[test]
fn a_read_ends_after_exactly_the_silence() {
    // The trailing edge at 50 µs is the last change: 25.050 ms ends the read.
    let first = [(Line::D0, 0, 50)];
    for (start, reads) in [(25_049, 1), (25_050, 2)] {
        let changes = train(&[first[0], (Line::D1, start, 50)]);
        assert_eq!(assemble(AT_HIGH, changes).len(), reads, "{start} µs");
    }
    let mut assembler = Assembler::new(AT_HIGH);
    for change in train(&first) {
        assert!(assembler.feed(change).is_none());
    }
    assert!(assembler.tick(25_049_999).is_none());
    let read = keep(assembler.tick(25_050_000).unwrap());
    assert_eq!((read.bits().as_str(), read.ended), ("0", Ended::Silence));
    assert!(assembler.tick(90_000_000).is_none());
    assert!(assembler.finish().is_none());
}

#[test]
fn the_change_that_ends_a_read_begins_the_next() {
    let changes = train(&[(Line::D0, 0, 50), (Line::D1, 40_000, 60), (Line::D1, 41_000, 50)]);
    let reads = assemble(AT_HIGH, changes);
    assert_eq!(reads.iter().map(Kept::bits).collect::<Vec<_>>(), ["0", "11"]);
    assert_eq!(reads[1].pulses[0].start, 40_000_000);
    assert_eq!(reads[1].pulses[0].width, 60 * US);
    assert_eq!(reads[1].ended, Ended::StreamEnd);
}

#[test]
fn lines_that_rest_low_are_found_and_read_by_their_true_sense() {
    let high_pulses: Vec<Change> = train(&[
        (Line::D0, 0, 50),
        (Line::D1, 1000, 60),
        (Line::D1, 2000, 70),
        (Line::D0, 100_000, 80),
    ])
    .into_iter()
    .map(|change| Change { level: change.level.other(), ..change })
    .collect();
    let expected =
        assemble(Settings { rest: Rest::At(Level::Low), ..found() }, high_pulses.iter().copied());
    let reads = assemble(found(), high_pulses);
    assert_eq!(reads, expected);
    assert_eq!(reads[0].bits(), "011");
    assert_eq!(reads[1].bits(), "0");
    assert_eq!(reads[0].rest, Level::Low);
    let widths: Vec<u32> = reads[0].pulses.iter().map(|pulse| pulse.width).collect();
    assert_eq!(widths, [50 * US, 60 * US, 70 * US]);
}

#[test]
fn a_supply_that_goes_and_comes_back_is_no_read() {
    let both = |time, level| Line::BOTH.map(|line| Change { time, line, level });
    let frame: Bits = "1001".parse().unwrap();
    let mut changes = vec![];
    // Off at first; on at 1 s; a card at 2 s; off at 3 s; on at 4 s; a card at
    // 5 s.
    let second = 1_000_000_000;
    changes.extend(both(second, Level::High));
    changes.extend(send(&frame, Timing::default(), 2 * second, Level::High));
    changes.extend(both(3 * second, Level::Low));
    changes.extend(both(4 * second, Level::High));
    changes.extend(send(&frame, Timing::default(), 5 * second, Level::High));
    let reads = assemble(found(), changes);
    assert_eq!(reads.iter().map(Kept::bits).collect::<Vec<_>>(), ["1001", "1001"]);
    assert!(reads.iter().all(|read| read.rest == Level::High));
}

#[test]
fn a_line_that_sticks_is_kept_as_an_incomplete_pulse() {
    let mut changes = train(&[(Line::D1, 0, 50), (Line::D1, 1000, 50)]);
    changes.push(Change { time: 2_000_000, line: Line::D0, level: Level::Low });
    // It comes back much later, and D1 goes on: that is no pulse of D0.
    changes.push(Change { time: 900_000_000, line: Line::D0, level: Level::High });
    changes.extend(train(&[(Line::D1, 901_000, 50)]));
    for settings in [AT_HIGH, found()] {
        let reads = assemble(settings, changes.iter().copied());
        assert_eq!(reads.iter().map(Kept::bits).collect::<Vec<_>>(), ["110", "1"]);
        assert!(!reads[0].pulses[2].complete);
        assert_eq!(reads[0].pulses[2].width, 25 * MS);
        assert_eq!(reads[0].rest, Level::High);
    }
}

#[test]
fn a_stream_cut_in_its_first_pulse_needs_to_know_where_the_lines_stood() {
    let mut assembler = Assembler::new(found());
    assert!(assembler.begin(-1_000_000_000, Level::High, Level::High).is_none());
    for change in train(&[(Line::D0, 0, 50)]) {
        assert!(assembler.feed(change).is_none());
    }
    let read = keep(assembler.finish().unwrap());
    assert_eq!((read.bits().as_str(), read.rest), ("0", Level::High));
}

#[test]
fn a_single_pulse_is_read_by_its_true_sense() {
    for rest in [Level::High, Level::Low] {
        for bit in ["0", "1"] {
            let frame = bit.parse().unwrap();
            let reads = assemble(found(), send(&frame, Timing::default(), 0, rest));
            assert_eq!(reads.len(), 1);
            assert_eq!((reads[0].bits().as_str(), reads[0].rest), (bit, rest));
            assert_eq!(reads[0].pulses[0].width, 50 * US);
        }
    }
}

#[test]
fn beginning_anew_gives_the_read_in_progress() {
    let mut assembler = Assembler::new(AT_HIGH);
    for change in train(&[(Line::D0, 0, 50)]) {
        assert!(assembler.feed(change).is_none());
    }
    assert_eq!(keep(assembler.begin(0, Level::High, Level::High).unwrap()).bits(), "0");
    for change in train(&[(Line::D1, 0, 50)]) {
        assert!(assembler.feed(change).is_none());
    }
    assert_eq!(keep(assembler.finish().unwrap()).bits(), "1");
}

#[test]
fn both_lines_active_at_once_is_kept() {
    let mut assembler = Assembler::new(AT_HIGH);
    for change in train(&[(Line::D0, 0, 100), (Line::D1, 40, 100)]) {
        assert!(assembler.feed(change).is_none());
    }
    let read = assembler.finish().unwrap();
    assert_eq!(std::format!("{}", read.bits()), "01");
    assert!(read.lines_overlap());
    assert_eq!(read.pulses()[0].overlap(&read.pulses()[1]), 60 * US);
    // One ends as the other begins: not at once.
    for change in train(&[(Line::D0, 0, 100), (Line::D1, 100, 100)]) {
        assert!(assembler.feed(change).is_none());
    }
    assert!(!assembler.finish().unwrap().lines_overlap());
}

#[test]
fn more_than_512_pulses_end_the_read_with_a_mark() {
    for (pulses, lengths) in
        [(512, vec![512]), (513, vec![512, 1]), (1024, vec![512, 512]), (1025, vec![512, 512, 1])]
    {
        let changes: Vec<_> = (0..pulses).map(|i| (Line::D1, i * 200, 50)).collect();
        for settings in [AT_HIGH, found()] {
            let reads = assemble(settings, train(&changes));
            let found: Vec<usize> = reads.iter().map(|read| read.pulses.len()).collect();
            assert_eq!(found, lengths, "{pulses}");
            for (index, read) in reads.iter().enumerate() {
                assert_eq!(read.follows_on, index > 0);
                let last = index + 1 == reads.len();
                let ended = if last { Ended::StreamEnd } else { Ended::TooManyPulses };
                assert_eq!(read.ended, ended);
                assert!(read.pulses.iter().all(|pulse| pulse.complete));
            }
        }
    }
    // After a silence, a read follows on no more.
    let mut changes: Vec<_> = (0..513).map(|i| (Line::D1, i * 200, 50)).collect();
    changes.push((Line::D0, 500_000, 50));
    let reads = assemble(AT_HIGH, train(&changes));
    let marks: Vec<bool> = reads.iter().map(|read| read.follows_on).collect();
    assert_eq!(marks, [false, true, false]);
}

#[test]
fn a_time_a_bit_before_the_last_is_taken_to_be_the_last() {
    let mut changes = train(&[(Line::D0, 1000, 50), (Line::D1, 2000, 50)]);
    changes[2].time -= 1_100_000;
    let reads = assemble(AT_HIGH, changes);
    assert_eq!(reads.len(), 1);
    assert!(reads[0].clock_ran_back);
    assert_eq!(reads[0].bits(), "01");
    assert_eq!(reads[0].pulses[1].start, 1_050_000);
    assert_eq!(reads[0].pulses[1].width, 1000 * US);
}

#[test]
fn a_clock_that_starts_anew_ends_the_read() {
    let mut changes = train(&[(Line::D0, 100_000, 50), (Line::D1, 101_000, 50)]);
    changes.extend(train(&[(Line::D1, 0, 50), (Line::D1, 1000, 50)]));
    let reads = assemble(AT_HIGH, changes);
    assert_eq!(reads.iter().map(Kept::bits).collect::<Vec<_>>(), ["01", "11"]);
    assert_eq!(reads[0].ended, Ended::ClockRanBack);
    assert!(!reads[1].clock_ran_back);

    let mut assembler = Assembler::new(AT_HIGH);
    for change in train(&[(Line::D0, 100_000, 50)]) {
        assert!(assembler.feed(change).is_none());
    }
    assert!(assembler.tick(90_000_000).is_none());
    assert_eq!(keep(assembler.tick(0).unwrap()).ended, Ended::ClockRanBack);
}

#[test]
fn a_level_the_line_has_is_no_change() {
    let mut changes = train(&[(Line::D0, 0, 50), (Line::D1, 1000, 50)]);
    changes.insert(1, Change { time: 10_000, ..changes[0] });
    changes.push(Change { time: 10_000_000, line: Line::D1, level: Level::High });
    let reads = assemble(AT_HIGH, changes);
    assert_eq!(reads.len(), 1);
    assert_eq!(reads[0].bits(), "01");
    assert_eq!(reads[0].pulses[0].width, 50 * US);
}

#[test]
fn the_glitch_filter_takes_out_what_is_shorter() {
    let filter = Settings { glitch: 5 * US, ..AT_HIGH };
    // A pulse of 4 µs goes, one of 5 µs stays, a break of 4 µs in a pulse goes.
    let reads = assemble(
        filter,
        train(&[
            (Line::D0, 0, 50),
            (Line::D1, 500, 4),
            (Line::D1, 1000, 5),
            (Line::D0, 2000, 20),
            (Line::D0, 2024, 26),
        ]),
    );
    assert_eq!(reads.len(), 1);
    assert_eq!(reads[0].bits(), "010");
    assert_eq!(reads[0].glitches, 2);
    assert_eq!(reads[0].pulses[2].width, 50 * US);
    // A glitch on one line during a pulse of the other.
    let reads =
        assemble(filter, train(&[(Line::D0, 0, 50), (Line::D1, 20, 3), (Line::D1, 1000, 50)]));
    assert_eq!(reads[0].bits(), "01");
    assert_eq!(reads[0].pulses[0].width, 50 * US);
    // A glitch in the middle of the silence does not put it off.
    let reads = assemble(
        filter,
        train(&[(Line::D0, 0, 50), (Line::D1, 20_000, 2), (Line::D1, 30_000, 50)]),
    );
    assert_eq!(reads.iter().map(Kept::bits).collect::<Vec<_>>(), ["0", "1"]);
    // Nothing but glitches is no read.
    assert_eq!(assemble(filter, train(&[(Line::D0, 0, 2), (Line::D1, 100, 2)])), []);
}

#[test]
fn every_setting_is_taken() {
    let frame: Bits = "0110".parse().unwrap();
    for silence in [0, 1, u32::MAX] {
        for glitch in [0, 1, u32::MAX] {
            let settings = Settings { silence, glitch, ..AT_HIGH };
            assemble(settings, send(&frame, Timing::default(), i64::MAX - 1_000_000, Level::High));
            assemble(settings, send(&frame, Timing::default(), i64::MIN, Level::High));
        }
    }
}

fn any_line() -> impl Strategy<Value = Line> {
    prop_oneof![Just(Line::D0), Just(Line::D1)]
}

fn any_level() -> impl Strategy<Value = Level> {
    any::<bool>().prop_map(Level::from)
}

fn any_change() -> impl Strategy<Value = Change> {
    let time =
        prop_oneof![any::<i64>(), 0i64..100_000_000, 0i64..1_000, Just(i64::MIN), Just(i64::MAX),];
    (time, any_line(), any_level()).prop_map(|(time, line, level)| Change { time, line, level })
}

fn any_settings() -> impl Strategy<Value = Settings> {
    let rest =
        prop_oneof![Just(Rest::Found), Just(Rest::At(Level::High)), Just(Rest::At(Level::Low))];
    let silence = prop_oneof![Just(DEFAULT_SILENCE), 0u32..2_000, any::<u32>()];
    let glitch = prop_oneof![Just(0u32), 0u32..2_000, any::<u32>()];
    (rest, silence, glitch).prop_map(|(rest, silence, glitch)| Settings { silence, rest, glitch })
}

#[derive(Clone, Debug)]
enum Step {
    Feed(Change),
    Tick(i64),
    Begin(i64, Level, Level),
    Finish,
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        40 => any_change().prop_map(Step::Feed),
        3 => any_change().prop_map(|change| Step::Tick(change.time)),
        1 => (any::<i64>(), any_level(), any_level()).prop_map(|(t, a, b)| Step::Begin(t, a, b)),
        1 => Just(Step::Finish),
    ]
}

/// Changes in the order of time, with gaps shorter and longer than a silence
/// of 1 ms. Glitches of less than 100 ns never last through the end of one.
fn orderly() -> impl Strategy<Value = Vec<Change>> {
    let gap = prop_oneof![5 => 0i64..150, 5 => 1_000i64..3_000, 1 => 2_000_000i64..3_000_000];
    proptest::collection::vec((gap, any_line(), any_level()), 0..200).prop_map(|steps| {
        let mut time = 0;
        steps
            .into_iter()
            .map(|(gap, line, level)| {
                time += gap;
                Change { time, line, level }
            })
            .collect()
    })
}

/// The same reads in a way that keeps every change: those that are none go,
/// glitches go, the rest is cut at the silences, and pulses are paired up.
fn plainly(changes: &[Change], rest: Level, silence: i64, glitch: i64) -> Vec<Vec<Pulse>> {
    let mut kept: [Vec<(usize, Change)>; 2] = [vec![], vec![]];
    let mut levels = [None; 2];
    for (index, &change) in changes.iter().enumerate() {
        let line = &mut kept[change.line.index()];
        let level = levels[change.line.index()].replace(change.level);
        if level == Some(change.level) {
            continue;
        }
        match line.last() {
            Some((_, last)) if change.time - last.time < glitch => {
                line.pop();
            }
            _ => line.push((index, change)),
        }
    }
    let mut all: Vec<(usize, Change)> = kept.concat();
    all.sort_by_key(|&(index, _)| index);
    let mut reads: Vec<Vec<Change>> = vec![];
    let mut last = None;
    for (_, change) in all {
        if last.is_none_or(|last| change.time - last >= silence) {
            reads.push(vec![]);
        }
        reads.last_mut().unwrap().push(change);
        last = Some(change.time);
    }
    reads
        .into_iter()
        .map(|read| {
            let end = read.last().unwrap().time + silence;
            read.iter()
                .enumerate()
                .filter(|(_, change)| change.level != rest)
                .map(|(index, lead)| {
                    let trail = read[index..]
                        .iter()
                        .find(|change| change.line == lead.line && change.level == rest);
                    Pulse {
                        start: lead.time,
                        width: (trail.map_or(end, |trail| trail.time) - lead.time) as u32,
                        line: lead.line,
                        complete: trail.is_some(),
                    }
                })
                .collect::<Vec<_>>()
        })
        .filter(|pulses: &Vec<Pulse>| !pulses.is_empty())
        .collect()
}

proptest! {
    #[test]
    fn anything_is_taken(
        settings in any_settings(),
        steps in proptest::collection::vec(any_step(), 0..400),
    ) {
        let mut assembler = Assembler::new(settings);
        let mut fed = 0;
        let mut read_out = 0;
        for step in steps {
            let read = match step {
                Step::Feed(change) => { fed += 1; assembler.feed(change) }
                Step::Tick(now) => assembler.tick(now),
                Step::Begin(time, d0, d1) => assembler.begin(time, d0, d1),
                Step::Finish => assembler.finish(),
            };
            if let Some(read) = read {
                prop_assert!(!read.is_empty() && read.len() <= MAX_PULSES);
                prop_assert_eq!(read.bits().len(), read.len());
                read_out += read.len();
                for line in Line::BOTH {
                    let incomplete =
                        read.pulses().iter().filter(|p| p.line == line && !p.complete).count();
                    prop_assert!(incomplete <= 1);
                    prop_assert_eq!(read.still_active(line), incomplete == 1);
                }
            }
        }
        prop_assert!(read_out <= fed);
    }

    #[test]
    fn a_plain_way_gives_the_same_reads(changes in orderly(), high: bool, filter: bool) {
        let (rest, glitch) = (Level::from(high), if filter { 100 } else { 0 });
        let settings = Settings { silence: 1_000_000, rest: Rest::At(rest), glitch };
        let expected = plainly(&changes, rest, 1_000_000, i64::from(glitch));
        let mut assembler = Assembler::new(settings);
        let mut reads = vec![];
        for &change in &changes {
            reads.extend(assembler.feed(change).map(keep));
        }
        let end = changes.last().map_or(0, |change| change.time) + 5_000_000;
        reads.extend(assembler.tick(end).map(keep));
        let reads: Vec<_> = reads.into_iter().map(|read| read.pulses).collect();
        prop_assert_eq!(reads, expected);
    }

    #[test]
    fn a_line_turned_over_and_read_so_is_the_line_itself(
        changes in orderly(), high: bool, filter: bool,
    ) {
        let (rest, glitch) = (Level::from(high), if filter { 100 } else { 0 });
        let read = |rest, turned: Option<Line>| {
            let mut assembler =
                Assembler::new(Settings { silence: 1_000_000, rest, glitch });
            let mut reads = vec![];
            for &change in &changes {
                let turn = turned == Some(change.line);
                let level = if turn { change.level.other() } else { change.level };
                let read = assembler.feed(Change { level, ..change });
                reads.extend(read.map(|read| (read.pulses().to_vec(), read.ended())));
            }
            reads.extend(assembler.finish().map(|read| (read.pulses().to_vec(), read.ended())));
            reads
        };
        let plain = read(Rest::At(rest), None);
        prop_assert_eq!(&read(Rest::Each([rest.other(), rest]), Some(Line::D0)), &plain);
        prop_assert_eq!(&read(Rest::Each([rest, rest.other()]), Some(Line::D1)), &plain);
    }

    #[test]
    fn finding_the_rest_is_reading_with_it_given(changes in orderly()) {
        let settings = Settings { silence: 1_000_000, rest: Rest::Found, glitch: 0 };
        let end = changes.last().map_or(0, |change| change.time) + 5_000_000;
        let mut assembler = Assembler::new(settings);
        let mut reads = vec![];
        for &change in &changes {
            reads.extend(assembler.feed(change).map(keep));
        }
        reads.extend(assembler.tick(end).map(keep));
        // Pulses that begin at once come in either order.
        let in_order = |mut pulses: Vec<Pulse>| {
            pulses.sort_by_key(|pulse| (pulse.start, pulse.line, pulse.width));
            pulses
        };
        for level in [Level::Low, Level::High] {
            let given: Vec<_> =
                plainly(&changes, level, 1_000_000, 0).into_iter().map(in_order).collect();
            for read in reads.iter().filter(|read| read.rest == level) {
                prop_assert!(given.contains(&in_order(read.pulses.clone())));
            }
        }
    }
}

#[test]
fn the_pulse_that_is_cut_comes_last_of_those_at_its_moment() {
    // Lines that rest low, and change often in one nanosecond.
    let mut assembler = Assembler::new(Settings::default());
    assert!(assembler.begin(0, Level::Low, Level::Low).is_none());
    let both = |time, level| Line::BOTH.map(|line| Change { time, line, level });
    let mut changes = std::vec![both(1_000_000, Level::High), both(1_050_000, Level::Low)];
    for _ in 0..40 {
        changes.extend([both(2_000_000, Level::High), both(2_000_000, Level::Low)]);
    }
    changes.push(both(2_000_000, Level::High));
    for change in changes.concat() {
        assert!(assembler.feed(change).is_none());
    }
    let read = assembler.finish().unwrap();
    assert_eq!((read.rest(Line::D1), read.len()), (Level::Low, 84));
    let cut = |line| {
        let of_line = read.pulses().iter().filter(move |pulse| pulse.line == line);
        of_line.map(|pulse| !pulse.complete).collect::<Vec<bool>>()
    };
    for line in Line::BOTH {
        let mut expected = [false; 42];
        expected[41] = true;
        assert_eq!(cut(line), expected);
    }
}
