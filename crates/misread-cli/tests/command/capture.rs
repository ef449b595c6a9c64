//! `misread capture`: recordings written by other software
//! (`testdata/captures/make.py`), and small ones made here.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, SOUND, misread, misread_with};

/// The frames in the captures; see `testdata/captures/make.py`.
const FRAMES: [&str; 4] = [
    SOUND,
    "00010101000000100110100111",
    "00010101000000100110100111",
    "11101010111111011001011010",
];

pub(crate) fn capture(name: &str) -> String {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/captures");
    folder.join(name).to_str().unwrap().to_owned()
}

/// A file of that text, for as long as the folder stands.
pub(crate) fn file(name: &str, text: &str) -> (TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, text).unwrap();
    let path = path.to_str().unwrap().to_owned();
    (folder, path)
}

/// A table of pulses: each bit with its width and the time to the next one, in
/// microseconds.
pub(crate) fn pulses(bits: &str, timing: impl Fn(usize) -> (u64, u64)) -> String {
    let mut table = "time_us,line,width\n".to_owned();
    rows(&mut table, 0, bits, timing);
    table
}

fn rows(table: &mut String, start: u64, bits: &str, timing: impl Fn(usize) -> (u64, u64)) {
    let mut time = start;
    for (i, bit) in bits.chars().enumerate() {
        let (width, next) = timing(i);
        writeln!(table, "{time},D{bit},{width}").unwrap();
        time += next;
    }
}

fn steady(_: usize) -> (u64, u64) {
    (50, 1000)
}

/// No line is wider than the page.
fn assert_fits(run: &Run) {
    for line in run.stdout.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn a_sound_recording_is_answered_in_the_first_line() {
    let run = misread(["capture", &capture("slipway.vcd")]);
    assert_eq!(run.status, 0, "{run:?}");
    assert_fits(&run);
    assert_snapshot!(run.stdout);
    // The same recording in another kind of file.
    let fst = misread(["capture", &capture("slipway.fst")]);
    assert_eq!(fst.stdout, run.stdout);
}

#[test]
fn reads_are_decoded_with_the_layout_that_is_named() {
    let path = capture("slipway-changes.csv");
    let run = misread(["capture", "--layout", "open-26", &path]);
    assert_eq!(run.status, 1, "{run:?}");
    assert_fits(&run);
    // The name is left out where it is long.
    assert_snapshot!(run.stdout.replace(&path, "FILE"));
    let good = misread(["capture", "--layout", "open-26", &capture("slipway-samples.csv")]);
    assert_eq!(good.status, 0, "{good:?}");
    assert!(good.stdout.contains("open-26: facility 42, card 1234"), "{good:?}");
}

#[test]
fn lines_that_rest_low_are_said() {
    let run = misread(["capture", &capture("slipway-inverted.vcd")]);
    assert_eq!(run.status, 1);
    let first = run.stdout.lines().next().unwrap();
    assert_eq!(first, "4 reads of 26 bits; timing within limits, but the lines rest low.");
    assert!(run.stdout.contains("rests low"));
    assert!(run.stdout.contains("inverting stage"), "{run:?}");
}

#[test]
fn json_gives_every_read() {
    let run =
        misread(["capture", "--json", "--repeat-window", "1", &capture("slipway-pulses.csv")]);
    assert_eq!(run.status, 0);
    let answer = &run.json()[0];
    assert_eq!(answer["schema"], "misread/capture/1");
    assert_eq!(answer["idle"], "high");
    let beat = answer["beat_us"].as_f64().unwrap();
    // As make.py says.
    assert!((beat - 2000.0).abs() < 1.0, "{beat}");
    let reads = answer["reads"].as_array().unwrap();
    let bits: Vec<&str> = reads.iter().map(|read| read["bits"].as_str().unwrap()).collect();
    assert_eq!(bits, FRAMES);
    let repeats: Vec<bool> = reads.iter().map(|read| read["repeat"].as_bool().unwrap()).collect();
    assert_eq!(repeats, [false, false, true, false]);
    assert_eq!(reads[0]["start_s"], 0.004_998);
    assert_eq!(reads[0]["pulse_width_us"]["d1"]["max"], 82.0);
    assert_eq!(answer["damage"], serde_json::Value::Null);
    // Without a window, or with one that is over by then, none is a repeat.
    for args in [&["capture", "--json"][..], &["capture", "--json", "--repeat-window", "0.5"]] {
        let run = misread([args, &[&capture("slipway-pulses.csv")]].concat());
        let answer = &run.json()[0];
        assert!(answer["reads"].as_array().unwrap().iter().all(|read| read["repeat"] == false));
    }
}

#[test]
fn a_repeat_does_not_make_the_window_longer() {
    let mut table = "time_us,line,width\n".to_owned();
    for start in [0, 600_000, 1_200_000, 1_300_000] {
        rows(&mut table, start, "1001", steady);
    }
    let (_folder, path) = file("loft.csv", &table);
    let run = misread(["capture", "--json", "--repeat-window", "1", &path]);
    let reads = run.json()[0]["reads"].as_array().unwrap().clone();
    let repeats: Vec<bool> = reads.iter().map(|read| read["repeat"].as_bool().unwrap()).collect();
    assert_eq!(repeats, [false, true, false, true]);
}

#[test]
fn standard_input_is_read_like_a_file() {
    let name = capture("slipway-pulses.csv");
    let text = fs::read_to_string(&name).unwrap();
    let (piped, named) = (misread_with(["capture", "-"], &text), misread(["capture", &name]));
    assert_eq!((piped.stdout, piped.status), (named.stdout, named.status));
    let run = misread_with(["capture", "-"], "");
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("there is nothing in it"), "{run:?}");
}

/// One of everything that can be wrong.
const BENT: &str = "time_us,line,width
0,D1,50
1000,D0,130
2000,D1,80
2100,D1,10
3000,D1,50
3020,D0,60
6000,D1,50
7000,D0,20
20000,D1,50
21000,D1,5000
45000,D0,50
46000,D0,50
90000,D1,50
91000,D1,50
92000,D0,50
140000,D1,50
";

#[test]
fn what_is_wrong_is_marked_where_it_is() {
    let (_folder, path) = file("berth.csv", BENT);
    let run = misread(["capture", "--silence", "46", &path]);
    assert_eq!(run.status, 1);
    assert_fits(&run);
    assert_snapshot!(run.stdout.replace(&path, "berth.csv"));
    let answer = &misread(["capture", "--silence", "46", "--json", &path]).json()[0];
    let found: Vec<(String, u64)> = answer["reads"][0]["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (f["finding"].as_str().unwrap().to_owned(), f["bit"].as_u64().unwrap()))
        .collect();
    // Widths and intervals outside 20 to 100 µs and 200 µs to 20 ms, SIA
    // AC-01-1996.10.
    for (kind, bit) in [
        ("pulse-too-long", 2),
        ("pulse-too-short", 4),
        ("interval-too-short", 4),
        ("double-pulse", 4),
        ("lines-overlap", 6),
        ("pulse-too-long", 10),
        ("interval-too-long", 11),
        ("interval-too-long", 13),
    ] {
        assert!(found.contains(&(kind.to_owned(), bit)), "{kind} {bit}: {found:?}");
    }
}

#[test]
fn many_findings_of_a_kind_are_counted() {
    let bits = "10".repeat(100);
    let long = |i: usize| (if i == 56 { 190 } else { 130 }, 1000);
    let (_folder, path) = file("loft.csv", &pulses(&bits, long));
    let run = misread(["capture", &path]);
    assert_eq!(run.status, 1);
    assert_fits(&run);
    let flat = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let says = "200 pulses too long. The worst, bit 57: the pulse on D1 lasts 190 µs; the longest \
                allowed is 100 µs.";
    assert!(flat.contains(says), "{}", run.stdout);
    assert_eq!(run.stdout.matches("A slow rising edge").count(), 1);
    assert!(run.stdout.lines().count() < 100, "{}", run.stdout);
    let next = format!("misread explain --capture {path}\n");
    assert!(run.stdout.contains(&next), "{}", run.stdout);
    let answer = &misread(["capture", "--json", &path]).json()[0];
    assert_eq!(answer["reads"][0]["findings"].as_array().unwrap().len(), 200);
}

#[test]
fn of_many_reads_those_that_are_wrong_are_drawn_first() {
    let mut table = "time_us,line,width\n".to_owned();
    for read in 0..30u64 {
        let width = move |_| (if read == 24 { 120 } else { 50 }, 1000);
        rows(&mut table, read * 500_000, &SOUND[..6 + (read as usize) % 2], width);
    }
    let (_folder, path) = file("many.csv", &table);
    let run = misread(["capture", &path]);
    assert_fits(&run);
    let drawn = |run: &Run| -> Vec<String> {
        let lines = run.stdout.lines().filter(|line| line.starts_with("Read "));
        lines.map(|line| line.split(',').next().unwrap().to_owned()).collect()
    };
    assert_eq!(drawn(&run), ["Read 1", "Read 2", "Read 3", "Read 25"]);
    let rest = "26 more reads, nothing wrong with them; --all draws every read.";
    assert!(run.stdout.contains(rest), "{}", run.stdout);
    assert!(run.stdout.starts_with("30 reads: 15 of 6 bits, 15 of 7; the timing is off: 6 pulses"));
    let all = misread(["capture", "--all", &path]);
    assert_eq!(drawn(&all).len(), 30);
    assert!(!all.stdout.contains("more reads"));
}

#[test]
fn a_line_that_is_silent_and_a_capture_without_reads_are_no_good_answer() {
    let (_folder, path) = file("berth.csv", &pulses("1111", steady));
    let run = misread(["capture", &path]);
    assert_eq!(run.status, 1);
    assert!(
        run.stdout.starts_with("1 read of 4 bits; timing within limits, but D0 never pulses."),
        "{run:?}"
    );
    assert!(run.stdout.contains("CAUTION: "), "{run:?}");
    let (_folder, path) = file("berth.csv", "time_ms,d0,d1\n0,1,1\n1,1,1\n2,1,1\n");
    let run = misread(["capture", &path]);
    assert_eq!(run.status, 1);
    assert!(run.stdout.starts_with("No read in this capture: neither line pulses, "), "{run:?}");
    assert!(run.stdout.contains("\n  misread explain --capture "), "{run:?}");
}

#[test]
fn a_line_held_low_is_not_said_to_rest_high() {
    let rows = "0,0,1\n5000,0,0\n5050,0,1\n6000,0,0\n6050,0,1\n60000,0,1\n";
    let (_folder, path) = file("berth.csv", &format!("time_us,d0,d1\n{rows}"));
    let run = misread(["capture", &path]);
    assert!(run.stdout.contains("\n  D0        d0, always low\n"), "{run:?}");
    assert!(run.stdout.contains("\n  D1        d1, rests high; pulses 50 µs\n"), "{run:?}");
    // Which line it is would tell every bit.
    let run = misread(["capture", "--mask", &path]);
    assert!(run.stdout.contains("\n  D0        d0, rests high\n"), "{run:?}");
    let (_folder, path) = file("berth.csv", "time_us,d0,d1\n0,0,0\n50000,0,0\n99000,0,0\n");
    let run = misread(["capture", &path]);
    assert!(!run.stdout.contains("rests"), "{run:?}");
}

#[test]
fn more_pulses_than_a_card_sends_are_no_good_answer() {
    let (_folder, path) = file("berth.csv", &pulses(&"01".repeat(300), steady));
    let run = misread(["capture", &path]);
    assert_eq!(run.status, 1);
    let first = "2 reads: 1 of 88 bits, 1 of 512; timing within limits, but more pulses came in a\n\
                 row than any card sends.\n";
    assert!(run.stdout.starts_with(first), "{run:?}");
    assert_fits(&run);
    let run = misread(["capture", "--json", &path]);
    assert_eq!(run.status, 1);
    let reads = &run.json()[0]["reads"];
    assert_eq!(reads[0]["note"], "more pulses than any card sends: noise");
    assert_eq!(reads[1]["note"], "the rest of a read with more pulses than any card sends");
    // One that a card could have sent has none.
    let (_folder, path) = file("berth.csv", &pulses(&"01".repeat(256), steady));
    let run = misread(["capture", "--json", &path]);
    assert_eq!((run.status, run.json()[0]["reads"][0].get("note")), (0, None));
}

#[test]
fn coarse_steps_are_not_said_to_show_more_than_they_do() {
    // 20 µs less 2 % is the shortest pulse there may be: in longer steps, one
    // of no width would pass.
    for (step, says) in [(19, ""), (20, ", as far as steps of 20 µs show")] {
        let mut table = "time_us,d0,d1\n".to_owned();
        for row in 0..4000 / step {
            let (beat, at) = (row / (1000 / step), row % (1000 / step));
            let level = |line: bool| u8::from(at != 10 || line != (beat == 1));
            writeln!(table, "{},{},{}", row * step, level(false), level(true)).unwrap();
        }
        let (_folder, path) = file("berth.csv", &table);
        let run = misread(["capture", &path]);
        assert_eq!(run.status, 0, "{run:?}");
        let first = format!("1 read of 4 bits; timing within limits{says}.\n");
        assert!(run.stdout.starts_with(&first), "{run:?}");
    }
}

#[test]
fn times_that_cannot_be_seconds_are_not_taken_for_them() {
    let table = pulses(SOUND, steady).replace("time_us", "time");
    let samples = "time,d0,d1\n0,1,1\n1,1,1\n2,0,1\n3,1,1\n4,1,1\n";
    for table in [&*table, samples] {
        let (_folder, path) = file("berth.csv", table);
        for command in [&["capture", &path][..], &["explain", "--capture", &path]] {
            let run = misread(command);
            assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
            assert!(run.stderr.contains("taken as seconds, its times"), "{run:?}");
            assert!(run.stderr.contains("expected --time-unit"), "{run:?}");
        }
        // Who says that they are seconds is believed.
        assert_eq!(misread(["capture", "--time-unit", "s", &path]).status, 1);
    }
    let (_folder, path) = file("berth.csv", &table);
    assert_eq!(misread(["capture", "--time-unit", "us", &path]).status, 0);
    // A single pulse of a reader's width is one.
    let (_folder, path) = file("berth.csv", "time,line,width\n3.5,D1,0.00005\n");
    assert_eq!(misread(["capture", &path]).status, 1);
}

/// A file without a timescale is taken to count nanoseconds, if it can.
#[test]
fn times_that_cannot_be_nanoseconds_are_not_taken_for_them() {
    let text = fs::read_to_string(capture("slipway.vcd")).unwrap();
    let silent = text.replace("$timescale 100 ns $end\n", "");
    let (_folder, path) = file("slipway.vcd", &silent);
    let run = misread(["capture", "--time-unit", "us", &path]);
    assert!(run.stdout.starts_with("4 reads"), "{run:?}");
    let run = misread(["capture", &path]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
    assert!(run.stderr.contains("taken as nanoseconds"), "{run:?}");
}

/// A table of level changes in which one line is low throughout, and the other
/// pulses so many times.
pub(crate) fn held_low(line: &str, pulses: u32) -> String {
    let other = if line == "D0" { "D1" } else { "D0" };
    let mut table = format!("time_us,line,level\n0,{line},0\n0,{other},1\n");
    for start in (1..=pulses).map(|pulse| 50_000 + pulse * 1000) {
        table += &format!("{start},{other},0\n{},{other},1\n", start + 50);
    }
    table
}

/// An open conductor leaves a panel's line high (common practice: the panel pulls
/// it up); one that touches common does not.
#[test]
fn a_line_that_is_held_is_told_from_an_open_one() {
    let (_folder, path) = file("berth.csv", &held_low("D0", 4));
    let run = misread(["capture", &path]);
    let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let first = "1 read of 4 bits; timing within limits, but D0 never pulses and something holds \
                 it low.";
    assert!(said.starts_with(first), "{run:?}");
    assert!(said.contains("D0, always low") && said.contains("It touches common"), "{run:?}");
    let run = misread(["capture", "--json", &path]);
    let findings = run.json()[0]["findings"].clone();
    let kinds: Vec<&str> = findings
        .as_array()
        .unwrap()
        .iter()
        .map(|found| found["finding"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, ["line-silent", "line-held"]);
    assert_eq!(run.json()[0]["idle"], "high");
    let run = misread(["explain", "--layout", "open-26", "--capture", &path]);
    assert!(run.stdout.contains("D0 has the level of a pulse throughout"), "{run:?}");
}

#[test]
fn the_lines_of_a_table_are_listed_too_a_few_of_many() {
    let table = pulses("110", steady).replace("D0", "in_3").replace("D1", "100101");
    let (_folder, name) = file("sail-loft.csv", &table);
    let run = misread(["capture", &name]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    let says = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(says.contains("there are ‘100101’ (4 changes, in pulses), ‘in_3’"), "{says}");
    assert!(says.contains("likely --d0 100101 --d1 in_3"), "{says}");
    // A name that is a number may be a card's.
    let run = misread(["capture", &name, "--mask"]);
    assert!(run.stderr.contains("‘••••••’ (4"), "{run:?}");
    assert!(run.stderr.contains("‘in_3’") && !run.stderr.contains("100101"), "{run:?}");
    let lines: String = (0..40).map(|i| format!("{},in_{i},1\n", i * 100)).collect();
    let (_folder, name) = file("berth.csv", &format!("time_us,line,level\n{lines}"));
    let run = misread(["capture", &name]);
    assert!(run.stderr.contains("and 24\nmore"), "{run:?}");

    // Nor is it said what its times are.
    let seconds = "time,line,width\n1,D1,5e-5\n1.001,D1,5e-5\n1.002,D0,5e-5\n";
    let (_folder, name) = file("berth.csv", seconds);
    let taken = "times are taken as seconds; --time-unit says otherwise";
    assert!(misread(["capture", &name]).stdout.contains(taken));
    assert!(!misread(["capture", &name, "--time-unit", "us"]).stdout.contains(taken));
}

#[test]
fn unclear_signals_are_listed_with_what_to_type() {
    let name = capture("slipway-unnamed.vcd");
    let folder = tempfile::tempdir().unwrap();
    let svg = folder.path().join("gate.svg");
    let args = ["capture", &name, "--json", "--svg", svg.to_str().unwrap()];
    let run = misread(args);
    assert_eq!(run.status, 2);
    assert!(!svg.exists(), "nothing is written");
    let error = &run.json()[0];
    assert_eq!(error["schema"], "misread/error/1");
    let wanted = "--d0 gate.reader.in_3 --d1 gate.reader.in_7";
    assert!(error["expected"].as_str().unwrap().contains(wanted), "{error}");
    assert!(run.stderr.contains("‘gate.reader.in_3’ (116 changes, in pulses)"), "{run:?}");
    // As it says.
    let run = misread(["capture", &name, "--d0", "in_3", "--d1", "gate.reader.in_7", "--json"]);
    assert_eq!(run.status, 0);
    assert_eq!(run.json()[0]["reads"][0]["bits"], SOUND);
    assert_eq!(run.json()[0]["lines"]["d0"], "gate.reader.in_3");
}

#[test]
fn signals_that_are_no_lines_are_not_said_to_be_none() {
    let vcd = "$timescale 1 us $end\n$var wire 2 ! data [1:0] $end\n$enddefinitions $end\n\
               #0\nb11 !\n#100\nb10 !\n#150\nb11 !\n";
    let (_folder, path) = file("loft.vcd", vcd);
    let run = misread(["capture", &path]);
    assert_eq!(run.status, 2);
    let says = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(says.contains("there is no signal of two levels"), "{says}");
    assert!(says.contains("each a signal of one bit"), "{says}");
}

#[test]
fn a_cut_file_gives_the_reads_before_and_the_place() {
    let whole = fs::read_to_string(capture("slipway.vcd")).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    let cut = lines[..200].join("\n") + "\nb";
    let (folder, path) = file("gate.vcd", &cut);
    let svg = folder.path().join("gate.svg");
    let run = misread(["capture", &path, "--svg", svg.to_str().unwrap()]);
    assert_eq!(run.status, 2, "{run:?}");
    assert!(run.stdout.contains("Read 1, at 4.998 ms: 26 bits"), "{run:?}");
    assert!(run.stdout.starts_with("2 reads: 1 of 16 bits, 1 of 26;"), "{run:?}");
    assert!(run.stdout.contains("but the file is damaged or\ncut behind them."), "{run:?}");
    let said = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("gate.vcd, line 201: "), "{said}");
    assert!(said.contains("the reads before it are given"), "{said}");
    assert!(svg.exists());
    let run = misread(["capture", "--json", &path]);
    assert_eq!(run.status, 2);
    assert_eq!(run.json()[0]["damage"]["place"]["line"], 201);
    assert_eq!(run.json()[0]["reads"][0]["bits"], SOUND);

    let whole = fs::read(capture("slipway.fst")).unwrap();
    let path = folder.path().join("gate.fst");
    fs::write(&path, &whole[..whole.len() - 20]).unwrap();
    let run = misread(["capture", "--json", path.to_str().unwrap()]);
    assert_eq!(run.status, 2, "{run:?}");
    assert_eq!(run.json()[0]["place"]["byte"], whole.len() as u64 - 20);
    assert!(run.stderr.contains("record or export the capture again"), "{run:?}");
}

#[test]
fn what_is_no_capture_is_refused() {
    let (folder, path) = file("loft.txt", &format!("{SOUND}\n"));
    let run = misread(["capture", "--json", &path]);
    assert_eq!(run.status, 2);
    assert_eq!(run.json()[0]["schema"], "misread/error/1");
    assert_eq!(run.json()[0]["place"]["line"], 1);
    // A file of reads is not shown in the message.
    let run = misread(["capture", "--mask", &path]);
    assert_eq!(run.status, 2);
    assert!(!run.stderr.contains(SOUND), "{run:?}");
    // Line ends of another age would be one long line.
    let (_folder, path) = file("loft.csv", "time_us,line,width\r100,D1,50\r1100,D0,50\r");
    let run = misread(["capture", &path]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("line 1: found lines that end in a carriage"), "{run:?}");
    let absent = folder.path().join("absent.vcd");
    assert_eq!(misread(["capture", absent.to_str().unwrap()]).status, 2);
    for wrong in [
        ["--silence", "0"],
        ["--silence", "5000"],
        ["--threshold", "nan"],
        ["--repeat-window", "-1"],
        ["--time-unit", "hours"],
        ["--layout", "no-such"],
    ] {
        let run = misread([&["capture", &capture("slipway.vcd")][..], &wrong].concat());
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{wrong:?}");
    }
}

#[test]
fn options_reach_the_table() {
    let table = "time,a,b\n0,5,5\n1,1,5\n1.05,5,5\n2,5,1\n2.05,5,5\n40,5,5\n";
    let (_folder, path) = file("berth.csv", table);
    let args = ["capture", "--json", "--d0", "a", "--d1", "b", "--time-unit", "ms", &path];
    let run = misread([&args[..], &["--threshold", "2.5V"]].concat());
    let answer = &run.json()[0];
    assert_eq!(answer["reads"][0]["bits"], "01", "{run:?}");
    assert_eq!(answer["threshold_v"], 2.5);
    assert_eq!(answer["reads"][0]["interval_us"]["median"], 1000.0);
    // A silence shorter than the interval makes two reads.
    let run = misread([&args[..], &["--silence", "0.5"]].concat());
    assert_eq!(run.json()[0]["reads"].as_array().unwrap().len(), 2);
}

#[test]
fn a_drawing_that_cannot_be_written_is_refused_before_the_answer() {
    let (folder, path) = file("loft.csv", &pulses(SOUND, steady));
    let nowhere = folder.path().join("absent").join("loft.svg");
    let run = misread(["capture", &path, "--svg", nowhere.to_str().unwrap()]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("cannot be written"), "{run:?}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

/// A piece of text in a drawing, and the box it takes: characters of a
/// monospaced face are 0.6 em wide.
fn texts(svg: &str) -> Vec<(String, [f64; 4])> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let width: f64 = document.root_element().attribute("width").unwrap().parse().unwrap();
    let height: f64 = document.root_element().attribute("height").unwrap().parse().unwrap();
    let nodes = document.descendants().filter(|node| node.has_tag_name("text"));
    let texts: Vec<_> = nodes
        .map(|node| {
            let number = |name| node.attribute(name).unwrap().parse::<f64>().unwrap();
            let size = if node.attribute("class") == Some("faint") { 9.0 } else { 12.0 };
            let text = node.text().unwrap_or_default().to_owned();
            let (x, y) = (number("x"), number("y"));
            let wide = text.chars().count() as f64 * size * 0.6;
            (text, [x, y - 0.75 * size, x + wide, y])
        })
        .collect();
    for (text, [x0, y0, x1, y1]) in &texts {
        assert!(*x0 >= 0.0 && *y0 >= 0.0 && *x1 <= width && *y1 <= height, "{text}");
    }
    texts
}

fn assert_apart(texts: &[(String, [f64; 4])]) {
    for (i, (one, a)) in texts.iter().enumerate() {
        for (other, b) in &texts[i + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "‘{one}’ {a:?} and ‘{other}’ {b:?}");
        }
    }
}

#[test]
fn a_drawing_shows_every_bit_and_no_text_on_another() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (bent, federal, svg) = (path("bent.csv"), path("federal.csv"), path("drawing.svg"));
    fs::write(&bent, BENT).unwrap();
    // The worked example of *Technical Implementation Guidance: Smart Card
    // Enabled Physical Access Control Systems*, v2.2, section 6.2, figure 7.
    let hex = "D0439458210C2C19A0846D83685A1082108CE73984108CA3FC";
    let nibble = |c: char| format!("{:04b}", c.to_digit(16).unwrap());
    let bits: String = hex.chars().map(nibble).collect();
    fs::write(&federal, pulses(&bits, steady)).unwrap();
    let slipway = capture("slipway.vcd");
    for (args, count) in [
        (vec![slipway.as_str(), "--layout", "open-26"], 4 * 26),
        (vec![slipway.as_str(), "--layout", "open-26", "--mask"], 4 * 26),
        (vec![bent.as_str(), "--silence", "46"], 16),
        (vec![bent.as_str(), "--mask", "--layout", "open-26"], 16),
        (vec![federal.as_str(), "--layout", "fascn-200"], 200),
        (vec![federal.as_str()], 200),
    ] {
        let run = misread([&["capture", "--all", "--svg", &svg][..], &args].concat());
        assert!(run.status < 2, "{run:?}");
        let drawing = fs::read_to_string(&svg).unwrap();
        let texts = texts(&drawing);
        assert_apart(&texts);
        let bits = texts.iter().filter(|(text, _)| matches!(text.as_str(), "0" | "1" | "•"));
        // Position 1 of each read is a digit too.
        let reads = texts.iter().filter(|(text, _)| text.starts_with("Read ")).count();
        assert_eq!(bits.count(), count + reads, "{args:?}");
    }
}

#[test]
fn a_drawing_is_whole_or_not_there() {
    let (folder, path) = file("loft.csv", &pulses(SOUND, steady));
    let svg = folder.path().join("loft.svg");
    fs::write(&svg, "an older one").unwrap();
    let run = misread(["capture", &path, "--svg", svg.to_str().unwrap()]);
    assert_eq!(run.status, 0);
    assert!(fs::read_to_string(&svg).unwrap().ends_with("</svg>\n"));
    let names = fs::read_dir(Path::new(&path).parent().unwrap()).unwrap().count();
    assert_eq!(names, 2, "nothing is left beside it");
}
