//! Captures written by other software (see `testdata/captures/make.py`), read;
//! then cut, bent and made up.

// A test says what is wrong by panicking.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Cursor;
use std::path::PathBuf;

use misread::Bits;
use misread::capture::{Capture, CaptureError, Options, Place, TimeUnit, open, read};
use misread::pulse::{FindingKind, Level, Line, Pulse, Rest};
use proptest::prelude::*;

const FRAMES: [&str; 4] = [
    "10010101000000100110100100",
    "00010101000000100110100111",
    "00010101000000100110100111",
    "11101010111111011001011010",
];

fn bytes(name: &str) -> Vec<u8> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/captures");
    std::fs::read(folder.join(name)).unwrap()
}

fn try_read(bytes: impl Into<Vec<u8>>) -> Result<Capture, CaptureError> {
    read(Cursor::new(bytes.into()), &Options::default())
}

fn read_file(name: &str) -> Capture {
    try_read(bytes(name)).unwrap()
}

fn bits(capture: &Capture) -> Vec<String> {
    capture.reads.iter().map(|read| read.bits.to_string()).collect()
}

fn pulses(capture: &Capture) -> Vec<Pulse> {
    capture.reads.iter().flat_map(|read| read.pulses.clone()).collect()
}

#[test]
fn a_vcd_file_gives_its_reads() {
    let capture = read_file("slipway.vcd");
    assert_eq!(bits(&capture), FRAMES);
    assert_eq!(capture.lines, ["gate.reader.d0", "gate.reader.d1"]);
    assert_eq!(capture.idle, [Some(Level::High); 2]);
    assert_eq!(capture.sample_period, 100);
    assert_eq!(capture.damage, None);
    assert_eq!(capture.findings, []);
    assert!(capture.reads.iter().all(|read| read.findings.is_empty()));
    let beat = capture.rhythm.beat.unwrap();
    assert!(beat.abs_diff(2_000_000) < 1_000, "{beat}");
}

#[test]
fn every_kind_of_file_gives_the_same_pulses() {
    let vcd = read_file("slipway.vcd");
    assert_eq!(read_file("slipway.fst"), vcd);
    for name in ["slipway-pulses.csv", "slipway-changes.csv"] {
        let table = read_file(name);
        assert_eq!(pulses(&table), pulses(&vcd), "{name}");
        assert_eq!(bits(&table), FRAMES, "{name}");
        assert_eq!(table.sample_period, 0);
    }
    assert_eq!(read_file("slipway-changes.csv").lines, ["green", "white"]);
}

/// IEEE Std 1364-2005, 18.2.3.9, has a timescale in every file; some leave it
/// out.
#[test]
fn a_vcd_file_without_a_timescale_is_taken_as_nanoseconds_or_as_said() {
    let text = String::from_utf8(bytes("slipway.vcd")).unwrap();
    let silent = text.replace("$timescale 100 ns $end\n", "");
    let of = |unit| {
        let options = Options { unit, ..Options::default() };
        let recording = open(|| Ok(Cursor::new(silent.clone())), &options).unwrap();
        (recording.overview().unit_taken, recording.overview().sample_period)
    };
    assert_eq!(of(None), (Some(TimeUnit::Nanoseconds), 1));
    assert_eq!(of(Some(TimeUnit::Microseconds)), (None, 1_000));
    // What the file says counts.
    let options = Options { unit: Some(TimeUnit::Microseconds), ..Options::default() };
    let capture = read(Cursor::new(text), &options).unwrap();
    assert_eq!(capture.sample_period, 100);
}

#[test]
fn an_inverted_capture_is_read_by_its_true_sense() {
    let capture = read_file("slipway-inverted.vcd");
    assert_eq!(bits(&capture), FRAMES);
    assert_eq!(capture.idle, [Some(Level::Low); 2]);
    let kinds: Vec<FindingKind> = capture.findings.iter().map(|finding| finding.kind).collect();
    assert_eq!(kinds, [FindingKind::IdleLow]);
    assert_eq!(pulses(&capture), pulses(&read_file("slipway.vcd")));
}

#[test]
fn samples_and_voltages_give_the_same_read() {
    let samples = read_file("slipway-samples.csv");
    assert_eq!(bits(&samples), FRAMES[..1]);
    assert_eq!(samples.sample_period, 20_000);
    assert_eq!(samples.lines, ["Data 0", "Data 1"]);
    let exact = pulses(&read_file("slipway.vcd"));
    for (seen, exact) in pulses(&samples).iter().zip(&exact) {
        assert!(seen.width.abs_diff(exact.width) < 20_000);
        assert!((0..20_000).contains(&(seen.start - exact.start)));
    }
    let volts = read_file("slipway-volts.csv");
    assert_eq!(pulses(&volts), pulses(&samples));
    // 0.35 V and 4.8 V, with noise.
    let threshold = volts.threshold.unwrap();
    assert!((threshold - 2.575).abs() < 0.05, "{threshold}");

    let given = Options { threshold: Some(1.0), ..Options::default() };
    let given = read(Cursor::new(bytes("slipway-volts.csv")), &given).unwrap();
    assert_eq!((given.threshold, bits(&given)), (Some(1.0), bits(&volts)));
}

#[test]
fn unclear_signals_are_listed_the_likeliest_first() {
    let error = try_read(bytes("slipway-unnamed.vcd")).unwrap_err();
    let CaptureError::Signals { ref signals, .. } = error else { panic!("{error}") };
    let names: Vec<&str> = signals.iter().map(|signal| signal.name.as_str()).collect();
    assert_eq!(names, ["gate.reader.in_3", "gate.reader.in_7", "gate.tick"]);
    assert!(error.to_string().starts_with("no signal is D0 by name; say which"), "{error}");
    let given = Options {
        d0: Some("in_3".to_owned()),
        d1: Some("gate.reader.in_7".to_owned()),
        ..Options::default()
    };
    let capture = read(Cursor::new(bytes("slipway-unnamed.vcd")), &given).unwrap();
    assert_eq!(bits(&capture), FRAMES);

    let table = "time,a,b\n0,1,1\n1,0,1\n2,1,1\n3,1,0\n4,1,1\n";
    let error = try_read(table).unwrap_err().to_string();
    assert!(error.contains("‘a’ (2 changes, in pulses), ‘b’ (2 changes, in pulses)"), "{error}");

    // A list of changes alone does not say how the lines stood before; a clock
    // changes more often, and is no likelier for it.
    let rows = (0..40).map(|i| match i {
        5 | 25 => format!("{i}00,a,0\n{i}00,tick,{}\n{i}50,a,1\n", i % 2),
        15 | 35 => format!("{i}00,b,0\n{i}00,tick,{}\n{i}50,b,1\n", i % 2),
        _ => format!("{i}00,tick,{}\n", i % 2),
    });
    let table = "time_us,line,level\n".to_owned() + &rows.collect::<String>();
    let CaptureError::Signals { signals, .. } = try_read(&*table).unwrap_err() else { panic!() };
    let names: Vec<&str> = signals.iter().map(|signal| &*signal.name).collect();
    assert_eq!(names, ["a", "b", "tick"]);
}

#[test]
fn the_lines_of_a_row_a_change_are_named_or_listed() {
    let changes = "time_us,line,level\n0,in_3,1\n0,in_7,1\n0,relay,0\n\
        100,in_7,0\n150,in_7,1\n1100,in_3,0\n1150,in_3,1\n1500,relay,1\n\
        2100,in_7,0\n2150,in_7,1\n";
    let pulses = "time_us,line,width\n100,in_7,50\n1100,in_3,50\n1500,relay,100000\n2100,in_7,50\n";
    let with = |table: &str, d0: Option<&str>, d1: Option<&str>| {
        let [d0, d1] = [d0, d1].map(|name| name.map(str::to_owned));
        read(Cursor::new(table.to_owned()), &Options { d0, d1, ..Options::default() })
    };
    for table in [changes, pulses] {
        let error = with(table, None, None).unwrap_err();
        let CaptureError::Signals { found, signals } = error else { panic!("{error}") };
        assert!(found.starts_with("found ‘in_"), "{found}");
        let names: Vec<&str> = signals.iter().map(|signal| &*signal.name).collect();
        assert_eq!(names, ["in_7", "in_3", "relay"]);
        assert_eq!((signals[0].changes, signals[0].pulses), (4, true));
        // Both given: what is neither is another signal.
        for (d0, d1, expected) in [("in_3", "in_7", "101"), ("in_7", "in_3", "010")] {
            let capture = with(table, Some(d0), Some(d1)).unwrap();
            assert_eq!((bits(&capture), capture.damage), (vec![expected.to_owned()], None));
            assert_eq!(capture.lines, [d0, d1]);
        }
        let named = table.replace("in_3", "d0").replace("in_7", "d1");
        for (table, d0, d1, says) in [
            // As in_3 is not to be found, what is on it must not be left out.
            (table, Some("in_2"), Some("in_7"), "no signal is named ‘in_2’"),
            (table, Some("in_7"), Some("in_7"), "‘in_7’ cannot be both data lines"),
            (&*named, Some("d1"), None, "D0 is ‘d1’, and by its name ‘d0’ too"),
            (&*named, Some("d2"), None, "D0 is ‘d2’, and by its name ‘d0’ too"),
            (&*named.replacen("d0", "data 1", 1), None, None, "by its name"),
        ] {
            let error = with(table, d0, d1).unwrap_err().to_string();
            assert!(error.contains(says), "{d0:?} {d1:?}: {error}");
        }
    }
    // A name that goes bad behind rows of both is damage, and the reads stay.
    let bent = "time_us,line,width\n0,D1,50\n1000,D0,50\n2000,D?,50\n";
    assert_eq!(bits(&with(bent, None, None).unwrap()), ["10"]);
    // A line that never pulses in a table of pulses is not on any row.
    let silent = with("time_us,line,width\n0,in_7,50\n", Some("in_3"), Some("in_7")).unwrap();
    assert_eq!(bits(&silent), ["1"]);
}

#[test]
fn a_cut_vcd_file_gives_what_came_before() {
    let whole = bytes("slipway.vcd");
    let all = pulses(&read_file("slipway.vcd"));
    let body = whole.windows(9).position(|window| window == b"$dumpvars").unwrap();
    let end = body + "$dumpvars\n0!\nb0 \"\n1#\n1$\n$end\n".len();
    for length in 1..whole.len() {
        match try_read(&whole[..length]) {
            Ok(capture) => {
                let found = pulses(&capture);
                // The last one may be cut.
                let sure = found.len().saturating_sub(1);
                assert_eq!(found[..sure], all[..sure], "{length}");
                if whole[length - 1] != b'\n' {
                    let lines = whole[..length].split(|&byte| byte == b'\n').count() as u64;
                    let damage = capture.damage.unwrap();
                    assert_eq!(damage.place, Place::Line { line: lines, cell: None }, "{damage}");
                }
            }
            Err(error) => assert!(length < end, "{length}: {error}"),
        }
    }
}

#[test]
fn a_cut_fst_file_says_so() {
    let whole = bytes("slipway.fst");
    for length in 9..whole.len() {
        match try_read(&whole[..length]) {
            Ok(capture) => assert!(capture.damage.is_some()),
            Err(CaptureError::Damaged(damage)) => {
                assert_eq!(damage.place, Place::Byte(length as u64), "{damage}");
            }
            Err(error) => panic!("{length}: {error}"),
        }
    }
}

/// A length that is bent must not be taken for the memory that is needed.
#[test]
fn an_fst_file_that_is_bent_anywhere_is_read_or_refused() {
    let whole = bytes("slipway.fst");
    for at in 0..whole.len() {
        for with in [&[0x7f; 8][..], &[0xff; 3], &[0]] {
            let mut bent = whole.clone();
            let end = (at + with.len()).min(whole.len());
            bent[at..end].copy_from_slice(&with[..end - at]);
            if let Err(error) = try_read(bent) {
                assert!(!error.to_string().is_empty());
            }
        }
    }
    // Behind the first block, of 330 bytes with its type, are the changes; the
    // last number in them is how many times there are.
    let mut bent = whole.clone();
    let block = 330;
    assert!([1, 5, 8].contains(&whole[block]));
    let length = u64::from_be_bytes(whole[block + 1..block + 9].try_into().unwrap()) as usize;
    bent[block + 1 + length - 8] = 0x10;
    assert_eq!(
        try_read(bent).unwrap_err().to_string(),
        format!(
            "nothing could be read: byte {block}: the block that begins at byte {block} holds \
             lengths it cannot have; expected lengths that fit: record or export the capture again"
        )
    );
}

#[test]
fn a_cut_table_gives_what_came_before() {
    let whole = bytes("slipway-changes.csv");
    let all = pulses(&read_file("slipway-changes.csv"));
    for length in "time_ms,line,level\n".len()..whole.len() {
        match try_read(&whole[..length]) {
            Ok(capture) => {
                let found = pulses(&capture);
                let sure = found.len().saturating_sub(1);
                assert_eq!(found[..sure], all[..sure], "{length}");
            }
            Err(error) => assert!(matches!(error, CaptureError::Damaged(_)), "{error}"),
        }
    }
}

/// The capture with one line after the first read changed for another.
fn bent(line: &str) -> Capture {
    let text = String::from_utf8(bytes("slipway.vcd")).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    lines[180] = line;
    let capture = try_read(lines.join("\n") + "\n").unwrap();
    assert_eq!(capture.reads[0].bits.to_string(), FRAMES[0], "{line}");
    capture
}

#[test]
fn a_bent_vcd_file_says_where() {
    // A value without a name, a vector without a value, one that is no number, a
    // time that goes back, and no VCD at all.
    // Nor are times that no file has, which the library that reads them bends.
    for line in ["b01", "b #", "bq #", "#3", "ahoy", "#-3", "#99999999999999999999999"] {
        let capture = bent(line);
        let damage = capture.damage.unwrap_or_else(|| panic!("{line}: not noticed"));
        let Place::Line { line: at, .. } = damage.place else { panic!("{damage}") };
        assert!((181..=182).contains(&at), "{line}: {damage}");
    }
}

#[test]
fn times_below_0_are_refused_and_not_all_taken_as_0() {
    let vcd = "$timescale 1 us $end\n$var wire 1 ! d0 $end\n$var wire 1 # d1 $end\n\
        $enddefinitions $end\n#-3000\n1!\n1#\n#-2000\n0!\n#-1950\n1!\n#0\n0#\n#50\n1#\n";
    let error = try_read(vcd).unwrap_err().to_string();
    assert!(error.contains("line 5: a time below 0; export"), "{error}");
    // From 0 on it is a read.
    let moved = [("#-3000", "#-0"), ("#-2000", "#1000"), ("#-1950", "#1050"), ("#0\n", "#3000\n")];
    let moved = moved.iter().fold(vcd.to_owned(), |vcd, (from, to)| vcd.replace(from, to));
    let capture = try_read(moved.replace("#50\n", "#3050\n")).unwrap();
    assert_eq!((bits(&capture), capture.damage), (vec!["01".to_owned()], None));
}

#[test]
fn a_bent_table_says_where() {
    let table = |row: &str| format!("time_us,line,width\n0,D1,50\n1000,D0,50\n{row}\n3000,D1,50\n");
    for (row, says) in [
        ("2000,D1", "line 4, width: the row has 2 cells; expected 3 cells"),
        ("2000,D2,50", "line 4, line: found ‘D2’; expected the name of D0 or of D1"),
        ("ahoy,D1,50", "line 4, time_us: found ‘ahoy’; expected a number"),
        ("2000,D1,nan", "line 4, width: found ‘nan’; expected a number"),
        ("2000,D1,-1", "line 4, width: found less than 0; expected a duration"),
        ("900,D1,50", "line 4, time_us: the time goes back; expected rows in the order of time"),
        (
            "1020,D0,50",
            "line 4, time_us: D0 pulses again before its pulse is over; \
             expected pulses of a line one after the other",
        ),
        ("1e30,D0,50", "line 4, time_us: a time too far off; expected less than 1000 days"),
    ] {
        let capture = try_read(table(row)).unwrap();
        assert_eq!(bits(&capture), ["10"], "{row}");
        assert_eq!(capture.damage.unwrap().to_string(), says);
    }
    let error = try_read("time_us,line,width\nahoy\n").unwrap_err();
    assert!(error.to_string().starts_with("nothing could be read: line 2"), "{error}");
}

#[test]
fn rows_are_the_same_however_lines_end() {
    // Nothing before the first pulse that it could be lost with.
    let tables = [
        "time_us,d0,d1\n0,1,1\n100,1,0\n150,1,1\n1100,0,1\n1150,1,1\n2000,1,1\n",
        "time_us,line,level\n100,D1,0\n150,D1,1\n1100,D0,0\n1150,D0,1\n",
        "time_us,line,width\n100,D1,50\n1100,D0,50\n",
    ];
    for table in tables {
        let plain = try_read(table).unwrap();
        assert_eq!(bits(&plain), ["10"], "{table}");
        let first = table.find('\n').unwrap();
        let (headings, rows) = table.split_at(first);
        let spread = format!("# slipway\n \n\n{headings}\n# first\n\n \t{rows}\n  \n");
        for lines in [table, &spread, table.trim_end(), spread.trim_end()] {
            for mark in ["", "\u{feff}"] {
                let marked = format!("{mark}{lines}");
                assert_eq!(try_read(&*marked).unwrap(), plain, "{marked:?}");
                let windows = marked.replace('\n', "\r\n");
                assert_eq!(try_read(&*windows).unwrap(), plain, "{windows:?}");
            }
        }
    }
}

#[test]
fn damage_is_in_the_line_an_editor_shows() {
    let table = "# slipway\n\ntime_us,line,width\n\n# first\n100,D1,50\n\n# second\n";
    for bent in ["1100,D0,x\n2100,D0,50\n", "1100,D0,x", "1100,D0,\"x\ny\"\n", "1100,D0,\"x\ny\""] {
        for end in ["\n", "\r\n"] {
            let table = format!("{table}{bent}").replace('\n', end);
            let capture = try_read(&*table).unwrap();
            assert_eq!(bits(&capture), ["1"], "{table:?}");
            let place = Place::Line { line: 9, cell: Some("width".to_owned()) };
            assert_eq!(capture.damage.unwrap().place, place, "{table:?}");
        }
    }
}

#[test]
fn what_is_no_capture_is_refused() {
    for (text, says) in [
        (&b""[..], "the capture is empty"),
        (b"  \n", "the capture is empty"),
        (b"\xff\xfet\0i\0", "found text in UTF-16"),
        (b"\x89ABC\0\0", "found bytes that are no text"),
        (b"0.1,1,1\n", "line 1: no time among the headings ‘0.1,1,1’"),
        (b"# a note\n\ntime,level\n", "line 3: found the headings ‘time,level’"),
        (b"time,d0,d1\n0,3.3,3.3\n1,3.25,3.3\n", "the voltages run from 3.25 V to 3.3 V"),
        (b"$date", "nothing could be read: line 1: the file ends before its list of signals does"),
        (
            b"$timescale 1 ns $end\n$var wire 1 ! d0 $end\n",
            "nothing could be read: line 2: the file ends before its list of signals does",
        ),
    ] {
        let error = try_read(text).unwrap_err().to_string();
        assert!(error.starts_with(says), "{error}");
    }
}

/// One line of the same capture, taken through an inverting stage.
#[test]
fn a_line_that_rests_low_beside_one_that_rests_high_is_read_by_its_own_sense() {
    let plain = read_file("slipway.vcd");
    let text = String::from_utf8(bytes("slipway.vcd")).unwrap();
    // The codes that the file gives the two.
    for (line, code, idle) in
        [(Line::D0, "#", [Level::Low, Level::High]), (Line::D1, "$", [Level::High, Level::Low])]
    {
        let turned = |row: &str| match row.split_at_checked(1) {
            Some(("0", of)) if of == code => format!("1{of}"),
            Some(("1", of)) if of == code => format!("0{of}"),
            _ => row.to_owned(),
        };
        let rows: Vec<String> = text.lines().map(turned).collect();
        let capture = try_read(rows.join("\n") + "\n").unwrap();
        assert_eq!(pulses(&capture), pulses(&plain));
        assert_eq!(capture.idle, idle.map(Some));
        let found: Vec<_> = capture.findings.iter().map(|found| (found.kind, found.line)).collect();
        assert_eq!(found, [(FindingKind::IdleLow, Some(line))]);
        assert!(capture.reads.iter().all(|read| read.rest == idle && read.findings.is_empty()));
    }
}

#[test]
fn units_and_rests_are_taken_as_given() {
    let table = "time,line,width\n0,D1,50\n1000,D0,50\n";
    let given = Options {
        unit: Some(TimeUnit::Microseconds),
        rest: Rest::At(Level::Low),
        ..Options::default()
    };
    let capture = read(Cursor::new(table), &given).unwrap();
    assert_eq!(capture.idle, [Some(Level::Low); 2]);
    assert_eq!(capture.reads[0].pulses[1].start, 1_000_000);
    assert_eq!(capture.reads[0].pulses[1].width, 50_000);
    let taken = |table: &str, options: &Options| {
        let table = table.to_owned();
        let recording = open(|| Ok(Cursor::new(table.clone())), options).unwrap();
        recording.overview().unit_taken
    };
    assert_eq!(taken(table, &Options::default()), Some(TimeUnit::Seconds));
    assert_eq!(taken(table, &given), None);
    assert_eq!(taken(&table.replace("time", "time_s"), &Options::default()), None);
    // The heading says more than what is given; seconds where nothing does.
    let capture = read(Cursor::new(table.replace("time", "time_ns")), &given).unwrap();
    assert_eq!(capture.reads[0].pulses[1].start, 1_000);
    let seconds = "time,line,width_us\n0,D1,50\n0.001,D0,50\n";
    assert_eq!(try_read(seconds).unwrap().reads[0].pulses[1].start, 1_000_000);
    assert_eq!(try_read(seconds).unwrap().reads[0].pulses[1].width, 50_000);
}

#[test]
fn pulses_that_overlap_in_a_table_stay_so() {
    let table = "time_us,line,width\n0,D1,50\n20,D0,100\n1000,D1,50\n";
    let capture = try_read(table).unwrap();
    assert_eq!(bits(&capture), ["101"]);
    let widths: Vec<u32> = pulses(&capture).iter().map(|pulse| pulse.width).collect();
    assert_eq!(widths, [50_000, 100_000, 50_000]);
    assert_eq!(capture.reads[0].evidence.lines_overlap, Some(true));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn nothing_brings_it_down(
        file in 0usize..6,
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
        cut in any::<prop::sample::Index>(),
    ) {
        let name = [
            "slipway.vcd", "slipway.fst", "slipway-pulses.csv", "slipway-changes.csv",
            "slipway-unnamed.vcd", "slipway-inverted.vcd",
        ][file];
        let mut bytes = bytes(name);
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        bytes.truncate(cut.index(bytes.len()).max(bytes.len() / 2));
        match try_read(bytes) {
            Ok(capture) => prop_assert!(capture.reads.iter().all(|read| !read.bits.is_empty())),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn a_table_of_pulses_is_read_as_written(
        frame in proptest::collection::vec(any::<bool>(), 1..100),
        width in 1u32..500,
        interval in 500u32..20_000,
    ) {
        let mut table = "time_us,line,width\n".to_owned();
        for (index, &bit) in frame.iter().enumerate() {
            table += &format!("{},D{},{width}\n", index as u32 * interval, u8::from(bit));
        }
        let capture = try_read(table).unwrap();
        let frame: Bits = frame.into_iter().map(misread::Bit::from).collect();
        prop_assert_eq!(capture.reads.len(), 1);
        prop_assert_eq!(capture.reads[0].bits, frame);
    }
}

#[test]
fn white_space_around_cells_is_passed_over() {
    let plain = "time_us,line,level\n0,d0,1\n0,d1,1\n100,d1,0\n150,d1,1\n1100,d0,0\n1150,d0,1\n";
    let padded = plain.replace(',', " , ").replace("time_us , line , level", "time_us,line,level");
    let read = |text: String| read(Cursor::new(text), &Options::default()).unwrap();
    let (plain, padded) = (read(plain.to_owned()), read(padded));
    assert_eq!(plain.reads[0].bits.to_string(), "10");
    assert_eq!(plain.reads, padded.reads);
    assert_eq!(padded.damage, None);
}
