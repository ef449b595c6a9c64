//! Captures written by the project, read by libraries that know nothing of it;
//! captures written by another library, read by the project.

// A test says what is wrong by panicking.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Cursor;
use std::ops::ControlFlow;

use fst_writer::{
    FstFileType, FstInfo, FstScopeType, FstSignalType, FstVarDirection, FstVarType, open_fst,
};
use misread::Bits;
use misread::capture::{
    Capture, Opening, Options, TimeUnit, WriteError, read, reads, write_changes, write_levels,
    write_pulses, write_vcd,
};
use misread::pulse::{
    Assembler, Change, FindingKind, Level, Line, Pulse, Rest, Settings, Timing, send,
};
use proptest::prelude::*;
use wellen::LoadOptions;
use wellen::stream::Filter;

fn read_bytes(file: impl Into<Vec<u8>>) -> Capture {
    read(Cursor::new(file.into()), &Options::default()).unwrap()
}

fn written(opening: Opening, changes: &[Change]) -> Vec<u8> {
    let mut file = vec![];
    write_vcd(&mut file, None, opening, changes.iter().copied()).unwrap();
    file
}

/// The opening's levels and the changes, as any reader of the file sees them.
fn all_levels(opening: Opening, changes: &[Change]) -> Vec<Change> {
    let first = Line::BOTH.map(|line| Change {
        time: opening.time,
        line,
        level: opening.levels[line.index()],
    });
    first.into_iter().chain(changes.iter().copied()).collect()
}

fn seen_by_wellen(file: Vec<u8>) -> Vec<Change> {
    let load = LoadOptions { multi_thread: false, ..LoadOptions::default() };
    let mut wave = wellen::stream::read(Cursor::new(file), &load).unwrap();
    let hierarchy = wave.hierarchy();
    let timescale = hierarchy.timescale().unwrap();
    assert_eq!((timescale.factor, timescale.unit.to_exponent()), (1, Some(-9)));
    let names: Vec<_> = hierarchy
        .all_vars()
        .map(|var| (hierarchy[var].name(hierarchy).to_owned(), hierarchy[var].signal_ref()))
        .collect();
    let mut seen = vec![];
    let streamed = wave.stream_changes(Filter::all(), |time, signal, value| {
        let (name, _) = names.iter().find(|(_, other)| *other == signal).unwrap();
        let line = if name == "d0" { Line::D0 } else { Line::D1 };
        let wellen::SignalValueRef::BitVec(bits) = value else { panic!("no bit") };
        let level = Level::from(bits.iter_msb_to_lsb().next().unwrap().as_ascii() == '1');
        seen.push(Change { time: time as i64, line, level });
        Ok::<(), ()>(())
    });
    streamed.unwrap();
    seen
}

fn seen_by_vcd(file: &[u8]) -> Vec<Change> {
    let mut parser = vcd::Parser::new(file);
    let header = parser.parse_header().unwrap();
    assert_eq!(header.timescale, Some((1, vcd::TimescaleUnit::NS)));
    let code = |name: &str| header.find_var(&["lines", name]).unwrap().code;
    let [d0, d1] = [code("d0"), code("d1")];
    let mut time = None;
    let mut seen = vec![];
    for command in parser {
        match command.unwrap() {
            vcd::Command::Timestamp(now) => {
                assert!(time.is_none_or(|before| before < now));
                time = Some(now);
            }
            vcd::Command::ChangeScalar(code, value) => {
                let line = if code == d0 { Line::D0 } else { Line::D1 };
                assert!(code == d0 || code == d1);
                let level = Level::from(value == vcd::Value::V1);
                seen.push(Change { time: time.unwrap() as i64, line, level });
            }
            _ => {}
        }
    }
    seen
}

fn assembled(opening: Opening, changes: &[Change]) -> Vec<Vec<Pulse>> {
    let mut assembler = Assembler::new(Settings::default());
    let [d0, d1] = opening.levels;
    assert!(assembler.begin(opening.time, d0, d1).is_none());
    let mut reads = vec![];
    for &change in changes {
        reads.extend(assembler.feed(change).map(|read| read.pulses().to_vec()));
    }
    reads.extend(assembler.finish().map(|read| read.pulses().to_vec()));
    reads
}

fn pulses(capture: &Capture) -> Vec<Vec<Pulse>> {
    capture.reads.iter().map(|read| read.pulses.clone()).collect()
}

/// In one pass, as the changes come.
fn pulses_of(file: &[u8], options: &Options) -> Vec<Vec<Pulse>> {
    let mut seen = vec![];
    reads(Cursor::new(file.to_vec()), options, |read| {
        seen.push(read.pulses().to_vec());
        ControlFlow::Continue(())
    })
    .unwrap();
    seen
}

/// The layout of a VCD file: IEEE Std 1364-2005, 18.2.
#[test]
fn a_vcd_file_is_written_byte_for_byte() {
    let opening = Opening { time: 7, levels: [Level::High, Level::Low] };
    let change = |time, line, level| Change { time, line, level };
    let changes = [
        change(7, Line::D0, Level::Low),
        change(30, Line::D1, Level::High),
        change(30, Line::D0, Level::High),
    ];
    let expected = "$timescale 1 ns $end\n\
        $scope module lines $end\n\
        $var wire 1 ! d0 $end\n\
        $var wire 1 \" d1 $end\n\
        $upscope $end\n\
        $enddefinitions $end\n\
        #7\n$dumpvars\n1!\n0\"\n$end\n\
        0!\n\
        #30\n1\"\n1!\n";
    assert_eq!(String::from_utf8(written(opening, &changes)).unwrap(), expected);
    let mut dated = vec![];
    write_vcd(&mut dated, Some("a Monday"), opening, changes).unwrap();
    assert_eq!(String::from_utf8(dated).unwrap(), format!("$date a Monday $end\n{expected}"));
}

#[test]
fn what_cannot_be_written_is_said() {
    let change = |time| Change { time, line: Line::D0, level: Level::Low };
    let opening = Opening { time: 100, ..Opening::default() };
    let to_vcd = |date, opening, times: &[i64]| {
        let result = write_vcd(vec![], date, opening, times.iter().map(|&time| change(time)));
        result.unwrap_err().to_string()
    };
    let back = "row 3 is at 199 ns, the one before at 200 ns; expected the order of time";
    assert_eq!(to_vcd(None, opening, &[150, 200, 199]), back);
    let times = [150, 200, 199];
    let result = write_changes(vec![], opening, times.map(change));
    assert_eq!(result.unwrap_err().to_string(), back);
    assert_eq!(write_levels(vec![], opening, 10, times.map(change)).unwrap_err().to_string(), back);
    let pulses = times.map(|start| Pulse { start, width: 1, line: Line::D1, complete: true });
    assert_eq!(write_pulses(vec![], pulses).unwrap_err().to_string(), back);
    assert!(to_vcd(None, opening, &[99]).starts_with("row 1 is at 99 ns"));
    let early = Opening { time: -1, ..opening };
    assert!(to_vcd(None, early, &[]).starts_with("the capture begins at -1 ns"));
    assert!(to_vcd(Some("at the $end"), opening, &[]).starts_with("found ‘$end’ in the date"));
    assert!(matches!(write_levels(vec![], opening, 0, []), Err(WriteError::Period)));
}

/// Clocks of 1 ps to 1 s: IEEE Std 1364-2005, 18.2.3.6 names these units.
#[test]
fn every_unit_of_time_is_understood() {
    // A pulse each of D1, D0 and D1, three units apart and one wide.
    let body = "#0 1! 1\"\n#3 0\"\n#4 1\"\n#6 0!\n#7 1!\n#9 0\"\n#10 1\"\n";
    for (timescale, unit_ns) in [
        ("1 s", 1_000_000_000),
        ("1 ms", 1_000_000),
        ("10 us", 10_000),
        ("1 us", 1_000),
        ("100 ns", 100),
        ("1 ns", 1),
    ] {
        let text = format!(
            "$timescale {timescale} $end $var wire 1 ! d0 $end\n$var wire 1 \" d1 $end\n\
             $enddefinitions $end\n{}",
            body.replace(' ', "\n")
        );
        let options = Options { silence: 4_000_000_000, ..Options::default() };
        let capture = read(Cursor::new(text), &options).unwrap();
        assert_eq!(capture.reads[0].bits.to_string(), "101", "{timescale}");
        assert_eq!(capture.sample_period, unit_ns, "{timescale}");
        let starts: Vec<i64> = capture.reads[0].pulses.iter().map(|pulse| pulse.start).collect();
        assert_eq!(starts, [3, 6, 9].map(|time| time * i64::from(unit_ns)), "{timescale}");
        assert_eq!(capture.reads[0].pulses[0].width, unit_ns);
    }
    // In picoseconds, down to the last nanosecond that has begun.
    let frame: Bits = "10010101000000100110100100".parse().unwrap();
    let sent: Vec<Change> = send(&frame, Timing::default(), 5_000_000, Level::High).collect();
    let text = String::from_utf8(written(Opening::default(), &sent)).unwrap();
    let fine = |timescale: &str, zeros: &str| {
        let lines = text.lines().map(|line| match line.strip_prefix('#') {
            Some(time) => format!("#{time}{zeros}\n"),
            None => format!("{line}\n"),
        });
        lines.collect::<String>().replace("1 ns", timescale)
    };
    let exact = pulses(&read_bytes(text.clone()));
    assert_eq!(pulses(&read_bytes(fine("1 ps", "999"))), exact);
    assert_eq!(pulses(&read_bytes(fine("100 ps", "9"))), exact);

    // Tables.
    for (unit, per_unit) in
        [("s", 1e9), ("ms", 1e6), ("us", 1e3), ("µs", 1e3), ("ns", 1.0), ("ps", 1e-3)]
    {
        let mut table = format!("time_{unit},line,level\n");
        for change in &sent {
            let time = change.time as f64 / per_unit;
            table += &format!("{time},{},{}\n", change.line, u8::from(change.level == Level::High));
        }
        assert_eq!(pulses(&read_bytes(table.clone())), exact, "{unit}");
        // The unit may be given instead.
        let options = Options { unit: TimeUnit::named(unit), ..Options::default() };
        let bare = table.replacen(&format!("time_{unit}"), "time", 1);
        assert_eq!(pulses_of(bare.as_bytes(), &options), exact, "{unit}");
    }
}

fn fst(opening: Opening, changes: &[Change]) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("slipway.fst");
    let info = FstInfo {
        start_time: opening.time as u64,
        timescale_exponent: -9,
        version: String::new(),
        date: String::new(),
        file_type: FstFileType::Verilog,
    };
    let mut header = open_fst(&path, &info).unwrap();
    header.scope("slipway", "", FstScopeType::Module).unwrap();
    let mut signal = |name: &str| {
        let bit = FstSignalType::bit_vec(1);
        header.var(name, bit, FstVarType::Wire, FstVarDirection::Implicit, None).unwrap()
    };
    let signals = [signal("d0"), signal("d1")];
    header.up_scope().unwrap();
    let mut body = header.finish().unwrap();
    let mut now = None;
    for Change { time, line, level } in all_levels(opening, changes) {
        if now.replace(time) != Some(time) {
            body.time_change(time as u64).unwrap();
        }
        let value = if level == Level::High { b"1" } else { b"0" };
        body.signal_change(signals[line.index()], value).unwrap();
    }
    body.finish().unwrap();
    std::fs::read(path).unwrap()
}

/// Changes of each line in turn, from where it stands: any capture at all.
fn any_changes() -> impl Strategy<Value = (Opening, Vec<Change>)> {
    let step = (
        any::<bool>(),
        prop_oneof![
            4 => 1i64..200_000,
            2 => 200_000i64..3_000_000,
            1 => 20_000_000i64..90_000_000,
        ],
    );
    let steps = proptest::collection::vec(step, 0..120);
    (0i64..1 << 50, any::<[bool; 2]>(), steps).prop_map(|(start, levels, steps)| {
        let opening = Opening { time: start, levels: levels.map(Level::from) };
        let mut levels = opening.levels;
        let mut time = start;
        let changes = steps
            .into_iter()
            .map(|(d1, by)| {
                let line = if d1 { Line::D1 } else { Line::D0 };
                let level = &mut levels[line.index()];
                *level = level.other();
                time += by;
                Change { time, line, level: *level }
            })
            .collect();
        (opening, changes)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn a_vcd_file_holds_the_very_same_changes((opening, changes) in any_changes()) {
        let file = written(opening, &changes);
        let all = all_levels(opening, &changes);
        prop_assert_eq!(seen_by_vcd(&file), &all[..]);
        prop_assert_eq!(seen_by_wellen(file.clone()), &all[..]);
        let capture = read_bytes(file.clone());
        prop_assert_eq!(pulses_of(&file, &Options::default()), assembled(opening, &changes));
        prop_assert_eq!(capture.lines, ["lines.d0", "lines.d1"]);
        prop_assert_eq!(capture.damage, None);
    }

    #[test]
    fn a_table_of_changes_and_an_fst_file_are_that_vcd_file((opening, changes) in any_changes()) {
        let expected = pulses(&read_bytes(written(opening, &changes)));
        let mut table = vec![];
        write_changes(&mut table, opening, changes.iter().copied()).unwrap();
        prop_assert_eq!(pulses(&read_bytes(table)), &expected[..]);
        prop_assert_eq!(pulses(&read_bytes(fst(opening, &changes))), &expected[..]);
    }

    #[test]
    fn a_table_of_pulses_holds_the_pulses((opening, changes) in any_changes()) {
        let expected: Vec<Pulse> = assembled(opening, &changes).concat();
        let mut table = vec![];
        write_pulses(&mut table, expected.iter().copied()).unwrap();
        let mut rows = csv::Reader::from_reader(&table[..]);
        let read: Vec<(i64, String, u32)> =
            rows.deserialize().collect::<Result<_, csv::Error>>().unwrap();
        let expected: Vec<(i64, String, u32)> = expected
            .iter()
            .map(|pulse| (pulse.start, pulse.line.to_string().to_lowercase(), pulse.width))
            .collect();
        prop_assert_eq!(read, expected);
    }

    #[test]
    fn samples_give_the_bits_of_either_polarity_with_names_swapped_or_not(
        frames in proptest::collection::vec("[01]{1,40}", 1..4),
        rest_high: bool,
        swapped: bool,
        start in -1_000_000_000_000i64..1_000_000_000_000,
        period_us in 1u32..=100,
        jitter in proptest::collection::vec(0i64..=20_000, 64),
    ) {
        let rest = Level::from(rest_high);
        let period = i64::from(period_us) * 1000;
        // Wider than a period, so that no pulse falls between two samples.
        let width = period + 30_000;
        let opening = Opening { time: start, levels: [rest; 2] };
        let mut changes = vec![];
        let mut time = start + 30_000_000;
        let mut jitters = jitter.iter().cycle();
        for frame in &frames {
            for bit in frame.chars() {
                let line = if (bit == '1') != swapped { Line::D1 } else { Line::D0 };
                let lead = time + jitters.next().unwrap();
                let trail = lead + width + jitters.next().unwrap();
                changes.push(Change { time: lead, line, level: rest.other() });
                changes.push(Change { time: trail, line, level: rest });
                time += 2 * width + 1_000_000;
            }
            time += 60_000_000;
        }
        let mut table = vec![];
        write_levels(&mut table, opening, period as u32, changes).unwrap();
        let names = ["d0", "d1"].map(|name| swapped.then(|| name.to_owned()));
        let [d1, d0] = names;
        let options = Options { d0, d1, ..Options::default() };
        let capture = read(Cursor::new(table), &options).unwrap();
        let bits: Vec<String> = capture.reads.iter().map(|read| read.bits.to_string()).collect();
        prop_assert_eq!(bits, frames);
        prop_assert_eq!(capture.idle, [Some(rest); 2]);
        prop_assert_eq!(i64::from(capture.sample_period), period);
        // Wide pulses are found, and nothing for want of samples.
        for read in &capture.reads {
            for finding in &read.findings {
                prop_assert_eq!(finding.kind, FindingKind::PulseTooLong);
                prop_assert!(period > 50_000);
            }
        }
    }

    #[test]
    fn pulses_come_back_at_the_rest_that_is_given(
        frame in "[01]{1,60}",
        rest_high: bool,
        start in -1_000_000_000i64..1_000_000_000,
    ) {
        let rest = Level::from(rest_high);
        let frame: Bits = frame.parse().unwrap();
        let opening = Opening { time: start - 1, levels: [rest; 2] };
        let changes: Vec<Change> = send(&frame, Timing::default(), start, rest).collect();
        let expected = assembled(opening, &changes);
        let mut table = vec![];
        write_pulses(&mut table, expected.concat()).unwrap();
        let options = Options { rest: Rest::At(rest), ..Options::default() };
        prop_assert_eq!(pulses_of(&table, &options), expected);
    }
}
