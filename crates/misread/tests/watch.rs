//! Streams as they come: every way to cut them, whatever is in them.
//!
//! The cards are invented; the frames of facility 42, card 1234 follow the bit
//! table of SIA AC-01-1996.10 (the table from memory). The second way is the
//! reading of whole captures and whole tables.

// Helpers outside the test functions fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::{self, Cursor, Read};
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use misread::Bits;
use misread::capture::{self, TimeUnit};
use misread::file::read_any;
use misread::pulse::{Level, Timing, send};
use misread::watch::{Arrived, DEFAULT_PATIENCE, Event, Heard, Intake, Lines, Options, listen};
use proptest::prelude::*;

const SOUND: &str = "10010101000000100110100100";
const SECOND: i64 = 1_000_000_000;

/// The events of a stream that comes in pieces, all at one moment.
fn events(pieces: &[&[u8]]) -> Vec<Event> {
    let mut intake = Intake::new(Options::default());
    let mut events = Vec::new();
    for piece in pieces {
        intake.push(piece, 0, |event| events.push(event));
    }
    intake.finish(|event| events.push(event));
    events
}

fn reads(events: Vec<Event>) -> Vec<Arrived> {
    let read = |event| if let Event::Read(read) = event { Some(*read) } else { None };
    events.into_iter().filter_map(read).collect()
}

/// The rows of level changes that a reader makes of these frames, half a
/// second apart.
fn rows(frames: &[Bits]) -> String {
    let mut rows = String::new();
    for (i, frame) in frames.iter().enumerate() {
        let start = i as i64 * SECOND / 2;
        for change in send(frame, Timing::default(), start, Level::High) {
            let time = change.time as f64 / 1000.0;
            rows.push_str(&format!("{time},{},{}\n", change.line, change.level as u8));
        }
    }
    rows
}

/// A piece of what may come over a wire.
fn line() -> impl Strategy<Value = Vec<u8>> {
    let text = prop_oneof![
        "[01?]{0,40}",
        "[01 ,x]{0,20}",
        "[0-9]{1,6},D[01],[01]",
        "[0-9]{1,6},[a-zA-Z0-9]{0,3},[0-9.]{0,3}",
        Just("time_us,line,level".to_owned()),
        Just("time_ms;signal;value".to_owned()),
        Just("bits,facility,card".to_owned()),
        Just("time_s,bits,card".to_owned()),
        Just("time_us,d0,d1".to_owned()),
        Just("time_us,line,width".to_owned()),
        Just("sample,a,b".to_owned()),
        "[0-9]{1,6},[01],[01]",
        "[0-9.]{0,4},[01]{0,30},[0-9]{0,5}",
        "#.{0,10}",
        "\\PC{0,20}",
    ];
    prop_oneof![
        9 => text.prop_map(String::into_bytes),
        1 => prop::collection::vec(any::<u8>(), 0..30),
    ]
}

fn stream() -> impl Strategy<Value = Vec<u8>> {
    prop::collection::vec(line(), 0..30).prop_map(|lines| lines.join(&b'\n'))
}

proptest! {
    #[test]
    fn how_it_is_cut_changes_nothing(
        stream in stream(),
        cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..20),
    ) {
        let mut cuts: Vec<usize> = cuts.iter().map(|cut| cut.index(stream.len() + 1)).collect();
        cuts.extend([0, stream.len()]);
        cuts.sort_unstable();
        let pieces: Vec<&[u8]> = cuts.windows(2).map(|pair| &stream[pair[0]..pair[1]]).collect();
        let bytes: Vec<&[u8]> = stream.chunks(1).collect();
        let whole = format!("{:?}", events(&[&stream]));
        prop_assert_eq!(&format!("{:?}", events(&pieces)), &whole);
        prop_assert_eq!(&format!("{:?}", events(&bytes)), &whole);
    }

    #[test]
    fn whatever_comes_is_told_in_order_and_in_plain_words(
        pieces in prop::collection::vec((stream(), 0u8..5), 0..8),
    ) {
        let mut intake = Intake::new(Options::default());
        let mut events = Vec::new();
        for (now, (piece, what)) in pieces.iter().enumerate() {
            let now = now as i64 * SECOND;
            intake.push(piece, now, |event| events.push(event));
            match what {
                0 => intake.tick(now, |event| events.push(event)),
                1 => intake.lost(now, |event| events.push(event)),
                2 => intake.back(now, |event| events.push(event)),
                3 => intake.finish(|event| events.push(event)),
                _ => {}
            }
        }
        let (mut last, mut gone) = (i64::MIN, false);
        for event in events {
            match event {
                Event::Read(read) => {
                    prop_assert!(!gone && last <= read.at);
                    prop_assert!(read.pulses.is_empty() || read.pulses.len() == read.bits.len());
                    last = read.at;
                }
                Event::NoRead { text, error } => {
                    prop_assert!(!text.contains(char::is_control) && text.chars().count() <= 81);
                    prop_assert!(!error.to_string().contains(char::is_control));
                    prop_assert!(!error.expected().is_empty() && error.line > 0);
                }
                Event::HalfLine { text, line } => {
                    prop_assert!(!text.contains(char::is_control) && line > 0);
                }
                Event::Lost { .. } => prop_assert!(!std::mem::replace(&mut gone, true)),
                Event::Back { .. } => prop_assert!(std::mem::replace(&mut gone, false)),
            }
        }
    }

    #[test]
    fn lines_are_those_of_the_standard_library(text in "[01\n\r,]{0,200}", step in 1usize..50) {
        let mut lines = Lines::default();
        let mut ours = Vec::new();
        for piece in text.as_bytes().chunks(step) {
            lines.push(piece, |line| ours.push((line.number, line.text.unwrap().to_vec())));
        }
        ours.extend(lines.let_go().map(|half| (half.number, half.text)));
        let expected: Vec<_> = text
            .split_inclusive('\n')
            .zip(1..)
            .map(|(line, n)| (n, line.strip_suffix('\n').unwrap_or(line).as_bytes().to_vec()))
            .collect();
        prop_assert_eq!(ours, expected);
    }

    /// The second way: the same rows as a capture.
    #[test]
    fn level_changes_are_read_as_in_a_capture(
        frames in prop::collection::vec(prop::collection::vec(any::<bool>(), 1..60), 1..4),
        step in 1usize..200,
        headings: bool,
    ) {
        let frames: Vec<Bits> =
            frames.iter().map(|frame| frame.iter().map(|&bit| bit.into()).collect()).collect();
        let table = format!("time_us,line,level\n{}", rows(&frames));
        let options = capture::Options::default();
        let capture = capture::read(Cursor::new(table.clone()), &options).unwrap();
        let stream = if headings { table } else { rows(&frames) };
        let pieces: Vec<&[u8]> = stream.as_bytes().chunks(step).collect();
        let ours = reads(events(&pieces));
        prop_assert_eq!(ours.len(), frames.len());
        for ((ours, theirs), frame) in ours.iter().zip(&capture.reads).zip(&frames) {
            prop_assert_eq!(&ours.bits, frame);
            prop_assert_eq!(&ours.pulses, &theirs.pulses);
        }
        let apart: Vec<i64> = ours.windows(2).map(|pair| pair[1].at - pair[0].at).collect();
        prop_assert!(apart.iter().all(|&apart| apart == SECOND / 2), "{:?}", apart);
    }

    /// The second way: the same samples as a capture, evenly spaced as a
    /// recorder takes them.
    #[test]
    fn sampled_levels_are_read_as_in_a_capture(
        frames in prop::collection::vec(prop::collection::vec(any::<bool>(), 1..20), 1..3),
        step in 1usize..200,
        period in 10i64..25,
    ) {
        let mut table = "time_us,d0,d1\n".to_owned();
        let mut levels = [Level::High; 2];
        let mut now = 0;
        for (i, frame) in frames.iter().enumerate() {
            let frame: Bits = frame.iter().map(|&bit| bit.into()).collect();
            let start = (i as i64 + 1) * SECOND / 20;
            for change in send(&frame, Timing::default(), start, Level::High) {
                while now * 1000 < change.time {
                    let [d0, d1] = levels.map(|level| level as u8);
                    table.push_str(&format!("{now},{d0},{d1}\n"));
                    now += period;
                }
                levels[change.line.index()] = change.level;
            }
        }
        table.push_str(&format!("{now},1,1\n"));
        let options = capture::Options::default();
        let capture = capture::read(Cursor::new(table.clone()), &options).unwrap();
        let pieces: Vec<&[u8]> = table.as_bytes().chunks(step).collect();
        let ours = reads(events(&pieces));
        prop_assert_eq!(ours.len(), frames.len());
        for ((ours, theirs), frame) in ours.iter().zip(&capture.reads).zip(&frames) {
            prop_assert_eq!(&ours.bits, &frame.iter().map(|&bit| bit.into()).collect::<Bits>());
            prop_assert_eq!(&ours.pulses, &theirs.pulses);
        }
    }

    /// The second way: the same lines as a file.
    #[test]
    fn tables_are_read_as_from_a_file(
        rows in prop::collection::vec(("[01x]{0,30}", "[0-9]{0,6}"), 1..10),
    ) {
        let rows: Vec<String> = rows.iter().map(|(bits, card)| format!("{bits},{card}\n")).collect();
        let table = format!("bits,card\n{}", rows.concat());
        let theirs: Vec<_> = read_any(table.as_bytes())
            .unwrap()
            .map(|row| match row {
                Ok(row) => format!("{} {:?} {}", row.bits, row.expected, row.line),
                Err(error) => error.to_string(),
            })
            .collect();
        let ours: Vec<_> = events(&[table.as_bytes()])
            .into_iter()
            .map(|event| match event {
                Event::Read(row) => format!("{} {:?} {}", row.bits, row.expected, row.line),
                Event::NoRead { error, .. } => error.to_string(),
                other => panic!("{other:?}"),
            })
            .collect();
        prop_assert_eq!(ours, theirs);
    }
}

#[test]
fn the_last_read_does_not_wait_for_the_next_card() {
    let mut intake = Intake::new(Options::default());
    let mut events = Vec::new();
    let frame: Bits = SOUND.parse().unwrap();
    // It comes in two lumps, with less than the patience between.
    let rows = rows(&[frame]);
    let (one, two) = rows.split_at(rows.len() / 2);
    intake.push(one.as_bytes(), 0, |event| events.push(event));
    intake.tick(SECOND / 4, |event| events.push(event));
    intake.push(two.as_bytes(), SECOND / 4, |event| events.push(event));
    let patience = i64::from(DEFAULT_PATIENCE);
    intake.tick(SECOND / 4 + patience - 1, |event| events.push(event));
    assert!(events.is_empty());
    intake.tick(SECOND / 4 + patience, |event| events.push(event));
    let reads = reads(events);
    assert_eq!((reads.len(), reads[0].bits), (1, frame));
    assert_eq!(reads[0].at, SECOND / 4);
}

#[test]
fn an_unplugged_device_leaves_no_half_line_and_may_begin_anew() {
    let mut intake = Intake::new(Options::default());
    let mut said = Vec::new();
    let mut see = |event| {
        said.push(match event {
            Event::Read(read) => format!("{} at {}", read.bits, read.at / SECOND),
            Event::NoRead { error, .. } => error.to_string(),
            Event::HalfLine { line, text } => format!("half of {line}: {text}"),
            Event::Lost { at } => format!("lost at {}", at / SECOND),
            Event::Back { at } => format!("back at {}", at / SECOND),
        });
    };
    intake.push(b"time_s,line,level\n7,D1,0\n7.00005,D1,1\n7.001,D", 0, &mut see);
    intake.lost(SECOND, &mut see);
    intake.lost(2 * SECOND, &mut see);
    intake.back(3 * SECOND, &mut see);
    // The clock of the device has started anew, and so have its headings.
    intake.push(b"time_s,line,level\n0.5,D0,0\n0.50005,D0,1\n", 4 * SECOND, &mut see);
    intake.push(b"2.5,D0,0\n2.50005,D0,1\nbits\n0110\nslipway\n", 4 * SECOND, &mut see);
    intake.lost(5 * SECOND, &mut see);
    intake.push(b"1001\n", 6 * SECOND, &mut see);
    intake.finish(&mut see);
    assert_eq!(
        said,
        [
            "half of 4: 7.001,D",
            "1 at 0",
            "lost at 1",
            "back at 3",
            "0 at 4",
            "0110 at 4",
            "line 12, cell bits, character 1: ‘s’ is not a bit",
            "0 at 6",
            "lost at 5",
            "back at 6",
            "1001 at 6",
        ]
    );
}

#[test]
fn lines_that_say_nothing_are_told_with_their_place() {
    let said = |stream: &str| -> Vec<String> {
        let told = |event| match event {
            Event::Read(_) => None,
            Event::NoRead { error, .. } => Some(format!("{error}; {}", error.expected())),
            other => Some(format!("{other:?}")),
        };
        events(&[stream.as_bytes()]).into_iter().filter_map(told).collect()
    };
    assert!(said("\u{feff}1001\n\n# note\n0x9/4\n").is_empty());
    let wrong = said("time_us,line,level\n1,D0,2\nx,D0,1\n1,gate,1\n1,D0\n1,D0,1,0\n1e30,D0,0\n");
    assert_eq!(
        wrong,
        [
            "line 2, cell level: found ‘2’; a level, 0 or 1",
            "line 3, cell time_us: found ‘x’; a time, less than 1000 days off",
            "line 4, cell line: found ‘gate’; the name of D0 or of D1",
            "line 5, cell level: the cell is empty; a level, 0 or 1",
            "line 6: has 4 cells under 3 headings; no more cells than headings",
            "line 7, cell time_us: found ‘1e30’; a time, less than 1000 days off",
        ]
    );
    assert_eq!(
        said("time_s,bits\nnoon,1001\n"),
        ["line 2, cell time_s: found ‘noon’; a time, less than 1000 days off"]
    );
    assert_eq!(said("bits,bits\n").len(), 1);
    assert!(said(&format!("{}\n", "1".repeat(70_000)))[0].starts_with("line 1: has more than"));
    let half = events(&[b"1001\n10\x1b[0m"]);
    assert!(matches!(&half[1], Event::HalfLine { line: 2, text } if text == "10\u{fffd}[0m"));
}

#[test]
fn sampled_levels_end_a_read_by_their_own_times() {
    let mut intake = Intake::new(Options::default());
    let mut said = Vec::new();
    let mut see = |event| {
        said.push(match event {
            Event::Read(read) => read.bits.to_string(),
            other => format!("{other:?}"),
        });
    };
    intake.push(b"time_us,d0,d1\n0,1,1\n100,1,0\n150,1,1\n1100,0,1\n1150,1,1\n", 0, &mut see);
    // No pulse follows; the rows go on, and a read is told among them.
    intake.push(b"20000,1,1\n0110\n26200,1,1\n26300,1,1\n", 0, &mut see);
    assert_eq!(said, ["0110", "10"]);
}

#[test]
fn rows_of_a_table_that_is_not_understood_are_no_reads() {
    let said = |stream: &str| -> Vec<String> {
        let told = |event| match event {
            Event::Read(read) => read.bits.to_string(),
            Event::NoRead { error, .. } => error.to_string(),
            other => format!("{other:?}"),
        };
        events(&[stream.as_bytes()]).into_iter().map(told).collect()
    };
    let passed = "a table with these headings is not read as it comes; its rows are passed over";
    for (headings, rows) in [
        ("time_us,line,width", "100,D1,1\n1100,D0,0\n"),
        ("Time [us], probe 0, probe 1", "0, 1, 1\n10, 0, 1\n"),
        ("sample,a,b", "0,1,1\n10,0,1\n"),
        ("n, green, white", "0, 1, 1\n1, 0, 1\n"),
        ("sample\ta\tb", "0\t1\t1\n1\t0\t1\n"),
        ("card;facility", "1;0\n10;1\n"),
    ] {
        // A read is one again, whether the headings come again or not.
        let stream = format!("{headings}\n{rows}1001\n{headings}\n{rows}0x9/4\n");
        assert_eq!(said(&stream), [&*format!("line 1: {passed}"), "1001", "1001"], "{headings}");
        // Other headings hold from where they stand.
        let stream = format!("{headings}\n{rows}bits,card\n1001,7\n");
        assert_eq!(said(&stream), [&*format!("line 1: {passed}"), "1001"], "{headings}");
    }
    // What a device says of itself is no table.
    for says in ["fuel berth, ready", "wifi,ok"] {
        let stream = format!("bits,card\n{says}\n1001,7\n");
        let said = said(&stream);
        assert!(said.len() == 2 && said[0].starts_with("line 2, cell bits"), "{said:?}");
    }
    assert_eq!(said("wifi,ok,up\n100,D1,0\n150,D1,1\n")[1], "1");
}

#[test]
fn times_that_cannot_be_seconds_make_no_reads_and_are_told_once() {
    let said = |stream: &str, unit| -> Vec<String> {
        let mut intake = Intake::new(Options { unit, ..Options::default() });
        let mut said = Vec::new();
        let mut see = |event| {
            said.push(match event {
                Event::Read(read) => read.bits.to_string(),
                Event::NoRead { error, .. } => error.to_string(),
                other => format!("{other:?}"),
            });
        };
        intake.push(stream.as_bytes(), 0, &mut see);
        intake.finish(&mut see);
        said
    };
    let told = ": taken as seconds, the times leave no pulse as short as a reader's; such reads are \
                passed over";
    // In µs: pulses of 50 to 100 µs, the shortest and the longest beat, SIA
    // AC-01-1996.10 (from memory).
    for (width, beat) in [(50, 200), (100, 20_000)] {
        for (unit, per) in [
            (TimeUnit::Nanoseconds, 1e3),
            (TimeUnit::Microseconds, 1.0),
            (TimeUnit::Milliseconds, 1e-3),
            (TimeUnit::Seconds, 1e-6),
        ] {
            let time = |us: i32| f64::from(us) * per;
            let changes: String = [1, 0, 1]
                .iter()
                .zip(1..)
                .map(|(line, n)| {
                    let (start, end) = (time(n * beat), time(n * beat + width));
                    format!("{start},D{line},0\n{end},D{line},1\n")
                })
                .collect();
            let changes = format!("time,line,level\n{changes}");
            let levels: String = [(0, 1, 1), (beat, 1, 0), (beat + width, 1, 1)]
                .map(|(us, d0, d1)| format!("{},{d0},{d1}\n", time(us)))
                .concat();
            let levels = format!("time,d0,d1\n{levels}");
            for (table, bits) in [(changes, "101"), (levels, "1")] {
                let unsaid = said(&table, None);
                match unit {
                    TimeUnit::Seconds => assert_eq!(unsaid, [bits], "{table}"),
                    _ => assert!(
                        matches!(&*unsaid, [one] if one.ends_with(told)),
                        "{unsaid:?}: {table}"
                    ),
                }
                assert_eq!(said(&table, Some(unit)), [bits], "{table}");
                // The heading goes before what is given.
                let short = ["s", "ms", "us", "ns"]
                    .into_iter()
                    .find(|short| TimeUnit::named(short) == Some(unit))
                    .unwrap();
                let table = table.replacen("time", &format!("time_{short}"), 1);
                assert_eq!(said(&table, Some(TimeUnit::Picoseconds)), [bits], "{table}");
            }
        }
    }
    // A line that is held for long, and then a read: they are seconds.
    let held = "time,line,level\n0,D0,0\n0.02,D0,1\n7,D1,0\n7.00005,D1,1\n9,D0,0\n12,D0,1\n";
    let held = said(held, None);
    assert!(held[0].ends_with(told) && held[1..] == ["1", "0"], "{held:?}");
    // Without headings a unit that is given holds too.
    assert_eq!(said("0,D1,0\n50,D1,1\n", None), ["1"]);
    assert_eq!(
        said("0,D1,0\n0.05,D1,1\n2,D0,0\n2.05,D0,1\n", Some(TimeUnit::Milliseconds)),
        ["10"]
    );
}

#[test]
fn a_table_says_when_and_what_should_have_come() {
    let table = "time_s,bits,card\n12.5,1001,9\n14,,7\n";
    let ours = reads(events(&[table.as_bytes()]));
    assert_eq!(ours[0].expected, [("card".to_owned(), 9)]);
    assert_eq!(ours[1].at - ours[0].at, 1_500_000_000);
    assert!(ours[1].bits.is_empty());
    // Where commas do not part the cells, one may be the decimal point.
    let other = table.replace(',', ";").replace("12.5", "12,5");
    let theirs = reads(events(&[other.as_bytes()]));
    assert_eq!(theirs[0].expected, ours[0].expected);
    assert_eq!(theirs[1].at - theirs[0].at, 1_500_000_000);
    // What was recorded is a table like any other.
    let rows = read_any(table.as_bytes()).unwrap().collect::<Result<Vec<_>, _>>().unwrap();
    assert_eq!(rows[0].expected, ours[0].expected);
}

/// Gives its pieces, then what it ends with.
struct Plug(Vec<&'static [u8]>, Option<io::ErrorKind>);

impl Read for Plug {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.0.is_empty() {
            return self.1.map_or(Ok(0), |kind| Err(kind.into()));
        }
        self.0.remove(0).read(buffer)
    }
}

#[test]
fn a_device_is_opened_again_until_nobody_listens() {
    let (sender, receiver) = sync_channel::<Heard>(0);
    let mut tries = 0;
    let reopen = move || {
        tries += 1;
        match tries {
            1 => Err(io::ErrorKind::NotFound.into()),
            2 => Ok(Plug(vec![b"10"], Some(io::ErrorKind::TimedOut))),
            _ => panic!("opened once too often"),
        }
    };
    let first = Plug(vec![b"01"], Some(io::ErrorKind::BrokenPipe));
    let thread = listen(first, Some(reopen), Duration::ZERO, || 5, sender).unwrap();
    let heard = || receiver.recv().unwrap();
    assert_eq!(heard(), Heard::Bytes { bytes: b"01".to_vec(), now: 5 });
    assert!(matches!(heard(), Heard::Lost { now: 5, .. }));
    assert_eq!(heard(), Heard::Nothing { now: 5 });
    assert_eq!(heard(), Heard::Back { now: 5 });
    assert_eq!(heard(), Heard::Bytes { bytes: b"10".to_vec(), now: 5 });
    assert_eq!(heard(), Heard::Nothing { now: 5 });
    drop(receiver);
    thread.join().unwrap();
}

#[test]
fn a_stream_that_cannot_be_opened_again_ends() {
    for (kind, says) in [(None, false), (Some(io::ErrorKind::BrokenPipe), true)] {
        let (sender, receiver) = sync_channel::<Heard>(4);
        let never = None::<fn() -> io::Result<Plug>>;
        listen(Plug(vec![b"1\n"], kind), never, Duration::ZERO, || 0, sender).unwrap();
        let heard: Vec<Heard> = receiver.iter().collect();
        assert_eq!(heard.len(), 2);
        assert!(matches!(&heard[1], Heard::Ended { why, .. } if why.is_some() == says));
    }
}
