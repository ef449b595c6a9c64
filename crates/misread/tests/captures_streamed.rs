//! Captures gone over read by read: the same as in one go, as far as wanted.

// A test says what is wrong by panicking.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::cell::Cell;
use std::io::{self, Cursor};
use std::ops::ControlFlow;
use std::path::PathBuf;

use misread::capture::{
    Capture, CaptureError, CaptureRead, Opening, Options, open, read, reads, write_pulses,
    write_vcd,
};
use misread::pulse::{Change, Line, Pulse, Timing, send};
use misread::{Bit, Bits};
use proptest::prelude::*;

const SECOND: i64 = 1_000_000_000;

fn bytes(name: &str) -> Vec<u8> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/captures");
    std::fs::read(folder.join(name)).unwrap()
}

/// The changes of frames that begin at those times.
fn changes(frames: &[(i64, &str)]) -> Vec<Change> {
    let level = Opening::default().levels[0];
    frames
        .iter()
        .flat_map(|&(start, bits)| {
            let frame: Bits = bits.parse().unwrap();
            send(&frame, Timing::default(), start, level).collect::<Vec<_>>()
        })
        .collect()
}

fn vcd(frames: &[(i64, &str)]) -> Vec<u8> {
    let mut file = Vec::new();
    write_vcd(&mut file, None, Opening::default(), changes(frames)).unwrap();
    file
}

fn whole(file: &[u8], options: &Options) -> Capture {
    read(Cursor::new(file.to_vec()), options).unwrap()
}

/// The same by `open`, with that many pulses kept.
fn streamed(file: &[u8], keep: usize, options: &Options) -> Result<Capture, CaptureError> {
    let options = Options { keep, ..options.clone() };
    let mut recording = open(|| Ok(Cursor::new(file.to_vec())), &options)?;
    let mut reads: Vec<CaptureRead> = vec![];
    recording.for_each(|read| {
        reads.push(read);
        ControlFlow::Continue(())
    })?;
    let overview = recording.overview().clone();
    assert_eq!(overview.reads, reads.len() as u64);
    Ok(Capture {
        lines: overview.lines,
        idle: overview.idle,
        rhythm: overview.rhythm,
        sample_period: overview.sample_period,
        threshold: overview.threshold,
        reads,
        findings: overview.findings,
        damage: overview.damage,
    })
}

#[test]
fn every_file_is_the_same_read_by_read() {
    for name in [
        "slipway.vcd",
        "slipway-inverted.vcd",
        "slipway.fst",
        "slipway-pulses.csv",
        "slipway-changes.csv",
        "slipway-samples.csv",
        "slipway-volts.csv",
    ] {
        let file = bytes(name);
        let options = Options { repeat_window: Some(5_000_000_000), ..Options::default() };
        let capture = whole(&file, &options);
        for keep in [0, 30, 104, usize::MAX] {
            assert_eq!(streamed(&file, keep, &options).unwrap(), capture, "{name}, {keep} kept");
        }
        let mut raw = vec![];
        let pass = reads(Cursor::new(file), &options, |read| {
            raw.push((
                read.bits(),
                read.pulses().to_vec(),
                Line::BOTH.map(|line| read.rest(line)),
                read.ended(),
            ));
            ControlFlow::Continue(())
        });
        assert_eq!(pass.unwrap().lines, capture.lines, "{name}");
        let expected: Vec<_> = capture
            .reads
            .into_iter()
            .map(|read| (read.bits, read.pulses, read.rest, read.ended))
            .collect();
        assert_eq!(raw, expected, "{name}");
    }
}

#[test]
fn a_recording_can_be_gone_over_again_and_left_early() {
    let file = vcd(&[(SECOND, "101"), (2 * SECOND, "110"), (3 * SECOND, "011")]);
    for keep in [0, 100] {
        let options = Options { keep, ..Options::default() };
        let mut recording = open(|| Ok(Cursor::new(file.clone())), &options).unwrap();
        for _ in 0..2 {
            let mut seen = vec![];
            recording
                .for_each(|read| {
                    seen.push(read.bits.to_string());
                    if seen.len() == 2 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
                })
                .unwrap();
            assert_eq!(seen, ["101", "110"]);
        }
    }
    // Damage behind the read that was enough is not come to, nor is another read.
    let table = "time_us,line,width\n0,D1,50\n90000,D0,50\n180000,D1,50\nahoy,D1,50\n";
    for file in [table.as_bytes().to_vec(), file] {
        let mut count = 0;
        let pass = reads(Cursor::new(file), &Options::default(), |_| {
            count += 1;
            ControlFlow::Break(())
        });
        assert_eq!((count, pass.unwrap().damage), (1, None));
    }
}

#[test]
fn a_capture_that_changes_meanwhile_is_said() {
    let long = vcd(&[(SECOND, "101"), (2 * SECOND, "110"), (3 * SECOND, "011")]);
    let short = vcd(&[(SECOND, "101")]);
    let options = Options { keep: 0, ..Options::default() };
    let give = |first: &[u8], then: &[u8]| {
        let files = [first.to_vec(), then.to_vec()];
        let opened = Cell::new(0);
        let next = || Ok(Cursor::new(files[opened.replace(1)].clone()));
        let mut seen = vec![];
        let mut recording = open(next, &options).unwrap();
        let result = recording.for_each(|read| {
            seen.push(read.bits.to_string());
            ControlFlow::Continue(())
        });
        (seen, result.map_err(|error| error.to_string()))
    };
    let (seen, result) = give(&long, &short);
    assert_eq!(seen, ["101"]);
    assert_eq!(
        result.unwrap_err(),
        "the capture held 3 reads at first and 1 the second time; \
         expected a file that does not change while it is read"
    );
    // One that has grown gives what it had.
    assert_eq!(give(&short, &long), (vec!["101".to_owned()], Ok(())));

    let opened = Cell::new(false);
    let once = || match opened.replace(true) {
        false => Ok(Cursor::new(long.clone())),
        true => Err(io::ErrorKind::NotFound.into()),
    };
    let mut recording = open(once, &options).unwrap();
    let result = recording.for_each(|_| ControlFlow::Continue(()));
    assert!(matches!(result, Err(CaptureError::Io(_))));
}

#[test]
#[should_panic(expected = "of the caller's own")]
fn a_panic_of_the_caller_is_no_damage() {
    let file = vcd(&[(SECOND, "101")]);
    let _ = reads(Cursor::new(file), &Options::default(), |_| panic!("of the caller's own"));
}

#[test]
fn a_repeat_is_what_a_controller_would_not_show() {
    let card = |start_ms: i64, bits| (start_ms * 1_000_000, bits);
    let file = vcd(&[
        card(1_000, "1011"),
        // Within two seconds of the first.
        card(2_000, "1011"),
        card(2_900, "1011"),
        // Two seconds after the first, whatever came between.
        card(3_000, "1011"),
        // Another card, and the first again: it is not the last that was shown.
        card(4_000, "0100"),
        card(4_500, "1011"),
        card(4_700, "0100"),
        card(5_000, "0100"),
    ]);
    let repeats = |repeat_window| {
        let options = Options { repeat_window, ..Options::default() };
        whole(&file, &options).reads.iter().map(|read| read.repeat).collect::<Vec<_>>()
    };
    assert_eq!(repeats(None), [false; 8]);
    assert_eq!(repeats(Some(0)), [false; 8]);
    assert_eq!(repeats(Some(2_000_000_000)), [false, true, true, false, false, false, false, true]);
    assert_eq!(repeats(Some(u64::MAX)), [false, true, true, true, false, false, false, true]);
}

#[test]
fn a_bad_row_ends_a_table_and_what_was_before_is_given() {
    // The read before stands, and so does the part of the one that is cut.
    let table = "time_us,line,level\n\
        1000,d1,0\n1050,d1,1\n2000,d0,0\n2050,d0,1\n\
        90000,d1,0\n90050,d1,1\n91000,d1,O\n91050,d1,1\n200000,d0,0\n200050,d0,1\n";
    for keep in [0, 100] {
        let capture = streamed(table.as_bytes(), keep, &Options::default()).unwrap();
        let bits: Vec<String> = capture.reads.iter().map(|read| read.bits.to_string()).collect();
        assert_eq!(bits, ["10", "1"]);
        assert_eq!(
            capture.damage.unwrap().to_string(),
            "line 8, level: found ‘O’; expected a number"
        );
    }
    // A voltage where all was 0 and 1, and reads have been made of it.
    let table = "time_us,d0,d1\n0,1,1\n10,0,1\n60,1,1\n90000,0,1\n90050,1,1\n180000,0.4,1\n";
    let capture = whole(table.as_bytes(), &Options::default());
    assert_eq!(capture.reads[0].bits.to_string(), "0");
    assert_eq!(
        capture.damage.unwrap().to_string(),
        "line 7, d0: found 0.4; expected 0 or 1, as in the rows before"
    );
    // Before any read it is one of two levels.
    let table = "time_us,d0,d1\n0,0,0\n10,5,0\n60,0,0\n90000,0,5\n90050,0,0\n";
    let capture = whole(table.as_bytes(), &Options::default());
    assert_eq!(capture.threshold.map(f64::round), Some(3.0));
    let bits: Vec<String> = capture.reads.iter().map(|read| read.bits.to_string()).collect();
    assert_eq!(bits, ["0", "1"]);
}

#[test]
fn a_row_without_an_end_is_damage() {
    let mut table = "time_us,line,level\n1000,d1,0\n1050,d1,1\n90000,d1,0\n".to_owned();
    table += "90050,\"d1,1\n";
    for row in 0..200_000 {
        table += &format!("{},d1,{}\n", 100_000 + row * 50, row % 2);
    }
    let capture = whole(table.as_bytes(), &Options::default());
    let bits: Vec<String> = capture.reads.iter().map(|read| read.bits.to_string()).collect();
    assert_eq!(bits, ["1", "1"]);
    assert_eq!(
        capture.damage.unwrap().to_string(),
        "line 5: a row without an end; expected rows of at most 1 MB; look for a quotation mark"
    );
}

#[test]
fn comments_and_blanks_in_a_vcd_file_are_let_be() {
    let text = String::from_utf8(vcd(&[(SECOND, "101"), (2 * SECOND, "110")])).unwrap();
    let expected = whole(text.as_bytes(), &Options::default());
    let at = text.find("#2000000000").unwrap();
    let (before, behind) = text.split_at(at);
    for between in ["$comment back to #3 and b $end\n", "$comment\n#3\n$end\n", "\n \t\n", "\r\n"] {
        let text = format!("{before}{between}{behind}");
        assert_eq!(whole(text.as_bytes(), &Options::default()), expected, "{between:?}");
    }
    // Lines may end as they do elsewhere, and words may share a line.
    for (from, to) in [("\n", "\r\n"), ("\n0", " 0"), ("\n1", " 1")] {
        let body = behind.replace(from, to);
        assert_eq!(whole(format!("{before}{body}").as_bytes(), &Options::default()), expected);
    }
    // A time written otherwise is looked at all the same.
    for back in ["#1e3\n", "#+5\n", "#5.0\n", "0! #5\n"] {
        let text = format!("{before}{back}{behind}");
        let damage = whole(text.as_bytes(), &Options::default()).damage.unwrap().to_string();
        let line = before.lines().count() + 1;
        assert_eq!(
            damage,
            format!(
                "line {line}: the time goes back; expected a VCD file \
                 without damage; copy it again, or record again"
            ),
            "{back:?}"
        );
    }
}

/// Damage anywhere in a file much longer than what is looked through at once.
#[test]
fn the_place_of_damage_is_told_in_a_long_file() {
    let frames: Vec<(i64, &str)> =
        (1..400).map(|second| (second * SECOND, "10110010111010010110100110")).collect();
    let text = String::from_utf8(vcd(&frames)).unwrap();
    assert!(text.len() > 300_000);
    let lines: Vec<&str> = text.lines().collect();
    for at in [20, 4_000, 9_999, lines.len() - 1] {
        for bad in ["ahoy", "#1", "b", "x"] {
            let mut lines = lines.clone();
            lines[at] = bad;
            let capture = whole((lines.join("\n") + "\n").as_bytes(), &Options::default());
            let damage = capture.damage.unwrap_or_else(|| panic!("{bad} at {at}")).to_string();
            assert!(damage.starts_with(&format!("line {}: ", at + 1)), "{bad} at {at}: {damage}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn reads_are_the_same_however_many_are_kept(
        frames in proptest::collection::vec(
            (proptest::collection::vec(any::<bool>(), 1..40), 26u32..200), 0..8),
        jitter in proptest::collection::vec(0i64..60_000, 32),
        keep in 0usize..120,
        window_ms in proptest::option::of(0u64..300),
    ) {
        let mut pulses = vec![];
        let mut time = 0;
        let mut jitters = jitter.iter().cycle();
        for (frame, gap_ms) in &frames {
            for &bit in frame {
                let line = if bit { Line::D1 } else { Line::D0 };
                let start = time + jitters.next().unwrap();
                let width = 50_000 + *jitters.next().unwrap() as u32;
                pulses.push(Pulse { start, width, line, complete: true });
                time += 1_000_000;
            }
            time += i64::from(*gap_ms) * 1_000_000;
        }
        let mut file = vec![];
        write_pulses(&mut file, pulses.iter().copied()).unwrap();
        let options = Options {
            repeat_window: window_ms.map(|ms| ms * 1_000_000),
            ..Options::default()
        };
        let capture = whole(&file, &options);
        let sent: Vec<Bits> = frames
            .iter()
            .map(|(frame, _)| frame.iter().map(|&bit| Bit::from(bit)).collect())
            .collect();
        let bits: Vec<Bits> = capture.reads.iter().map(|read| read.bits).collect();
        prop_assert_eq!(bits, sent);
        prop_assert_eq!(streamed(&file, keep, &options).unwrap(), capture);
    }
}
