//! Which keys were pressed, and why they come wrong.
//!
//! Keys in four and eight bits are common practice, in six bits from memory.

use std::fs;

use insta::assert_snapshot;

use crate::{SOUND, misread, misread_with};

/// 4 1 7 and the hash key.
const CODE: [&str; 4] = ["0100", "0001", "0111", "1011"];

/// The same with the data lines swapped: digit d arrives as 15 − d (derived).
const SWAPPED: [&str; 4] = ["1011", "1110", "1000", "0100"];

fn keypad(options: &[&str], reads: &[&str]) -> crate::Run {
    misread([&["keypad"], options, reads].concat())
}

#[test]
fn a_good_keypad_is_answered_in_one_line() {
    let run = keypad(&[], &CODE);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    assert_snapshot!(run.stdout);
}

#[test]
fn swapped_lines_and_what_was_keyed() {
    let run = keypad(&[], &SWAPPED);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
    let answer = &keypad(&["--json"], &SWAPPED).json()[0];
    assert_eq!(answer["verdict"], "lines-swapped");
    assert_eq!(answer["mode"], "4");
    assert_eq!(answer["codes"][0]["keys"], "417");
    assert_eq!(answer["codes"][0]["ended_by"], "hash");
}

#[test]
fn what_cannot_be_told_is_said_and_how_to_tell() {
    let run = keypad(&[], &["0111", "1000"]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
    assert_eq!(keypad(&["--json"], &["0111", "1000"]).json()[0]["verdict"], "ambiguous");
}

#[test]
fn codes_are_listed_with_what_ended_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sail-loft.csv");
    let table = "time_s,bits\n0,00000001\n0.4,11100001\n1,11010010\n1.5,01011010\n2,11000011\n\
                 9.5,10110100\n10,01001011\n11,10100101\n";
    fs::write(&path, table.replace("00000001", "11110000")).unwrap();
    let run = keypad(&["--reads", path.to_str().unwrap()], &[]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    let run = keypad(&["--pause", "60", "--json", "--reads", path.to_str().unwrap()], &[]);
    let answer = &run.json()[0];
    assert_eq!(answer["codes"][0]["keys"], "34");
    assert_eq!(answer["codes"][1]["ended_by"], "end");
}

#[test]
fn a_press_that_is_no_key_is_named() {
    let run = keypad(&[], &["11100001", "11010010", "11000111", "11000011", "01001011"]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

/// SIA AC-01-1996.10, the bit table from memory.
#[test]
fn a_whole_code_needs_the_layout() {
    let run = keypad(&["--layout", "open-26"], &[SOUND]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    let run = keypad(&[], &[SOUND]);
    assert_eq!(run.status, 1);
    assert!(run.stdout.contains("say --layout open-26"), "{}", run.stdout);
    let run = keypad(&["--mode", "whole-code"], &[SOUND]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("--layout"));
    assert_eq!(keypad(&["--layout", "key-8"], &[SOUND]).status, 2);
}

#[test]
fn the_same_from_arguments_lines_and_standard_input() {
    let said = keypad(&[], &CODE).stdout;
    assert_eq!(keypad(&[], &[&CODE.join(" ")]).stdout, said);
    assert_eq!(misread_with(["keypad"], &CODE.join("\n")).stdout, said);
    let log = format!("# sail loft\nkeypad: {}\n", CODE.join(" "));
    assert_eq!(misread_with(["keypad", "-"], &log).stdout, said);
    let run = misread_with(["keypad"], &format!("{}\n01x\n", CODE.join("\n")));
    assert_eq!((run.status, run.stdout), (2, said));
    assert!(run.stderr.contains("line 5, column 3"), "{}", run.stderr);
}

/// Pulses of 50 µs every 1 ms, keys 0.5 s apart; low is active (SIA
/// AC-01-1996.10).
fn capture(reads: &[&str]) -> String {
    let mut table = "time_us,line,width\n".to_owned();
    for (i, read) in reads.iter().enumerate() {
        for (j, bit) in read.chars().enumerate() {
            let time = 1000 + i * 500_000 + j * 1000;
            table += &format!("{time},D{bit},50\n");
        }
    }
    table
}

#[test]
fn a_capture_brings_times_and_no_recorder_to_blame() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("keypad.csv");
    let file = path.to_str().unwrap();
    fs::write(&path, capture(&SWAPPED)).unwrap();
    let answer = &keypad(&["--json", "--capture", file], &[]).json()[0];
    assert_eq!(answer["verdict"], "lines-swapped");
    // 0.18 against 0.03 × 0.02.
    assert!(answer["probability"].as_f64().unwrap() > 0.99, "{answer}");
    let run = keypad(&["--json", "--pause", "0.4", "--capture", file], &[]);
    assert_eq!(run.json()[0]["codes"].as_array().unwrap().len(), 4, "{run:?}");
    fs::write(&path, capture(&CODE) + "soon,D0,50\n").unwrap();
    let run = keypad(&["--capture", file], &[]);
    assert_eq!(run.status, 2);
    assert!(run.stdout.contains("417#") && run.stderr.contains("line 18"), "{run:?}");
    assert_eq!(keypad(&["--capture", "nowhere.vcd"], &[]).status, 2);
}

/// The last key has sent three of its four bits where the table is cut.
#[test]
fn a_key_that_is_cut_is_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("keypad.csv");
    let file = path.to_str().unwrap();
    let whole = capture(&CODE);
    let last = whole.trim_end().rfind('\n').unwrap();
    fs::write(&path, whole[..last].to_owned() + "\n1503").unwrap();
    let run = keypad(&["--capture", file], &[]);
    assert_eq!(run.status, 2);
    assert!(run.stdout.contains("the keypad is good: 417 "), "{run:?}");
    assert!(run.stderr.contains("ends in the middle of"), "{run:?}");
    assert!(run.stdout.contains("The last read is cut by the damage"), "{run:?}");
    let answer = &keypad(&["--json", "--capture", file], &[]).json()[1];
    assert!(answer["notes"].to_string().contains("cut by the damage"), "{answer}");
}

#[test]
fn nothing_at_all_is_no_data() {
    let run = keypad(&[], &[""]);
    assert_eq!(run.status, 1);
    assert!(run.stdout.starts_with("Nothing arrived."));
    assert!(run.stdout.contains("CAUTION"));
    assert_eq!(misread_with(["keypad"], "").status, 2);
    assert_eq!(keypad(&["--pause", "0"], &CODE).status, 2);
    assert_eq!(keypad(&["--pause", "nan"], &CODE).status, 2);
}

/// Two codes of the same shape, masked, are answered in the same words; no
/// digit can be in both.
#[test]
fn masked_answers_show_no_digit_of_a_code() {
    // 5 9 8 6 # and 7 7 9 8 #, with a 1 and # before them, so that it can be
    // told.
    let codes =
        [["0101", "1001", "1000", "0110", "1011"], ["0111", "0111", "1001", "1000", "1011"]];
    for turned in [false, true] {
        let turn = |read: &&str| -> String {
            let other = |c| if c == '0' { '1' } else { '0' };
            read.chars().map(|c| if turned { other(c) } else { c }).collect()
        };
        let answers = codes.map(|code| {
            let reads: Vec<String> = ["0001", "1011"].iter().chain(&code).map(turn).collect();
            let reads: Vec<&str> = reads.iter().map(String::as_str).collect();
            let shown = keypad(&["--mask"], &reads);
            let json = keypad(&["--mask", "--json"], &reads).json().remove(0);
            assert_eq!(json["codes"][1]["keys"], "••••");
            assert!(
                json["possible"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .all(|one| one["codes"] == serde_json::json!([]))
            );
            let sentences = ["says", "evidence", "notes", "problems", "mend", "confirm"];
            (shown.stdout, sentences.map(|key| json[key].clone()))
        });
        let first_line = |text: &str| text.lines().next().unwrap_or_default()[4..].to_owned();
        assert_eq!(first_line(&answers[0].0), first_line(&answers[1].0));
        assert_eq!(answers[0].1, answers[1].1);
        assert!(!answers[0].0.contains("5986") && !answers[1].0.contains("7798"));
    }
    let run = misread(["keypad", "--mask", "--layout", "open-26", SOUND]);
    assert!(!run.stdout.contains("1234") && !run.stdout.contains("34#"), "{}", run.stdout);
    // What is refused is hidden too.
    let run = misread_with(["keypad", "--mask"], "01x\n");
    assert!(!run.stderr.contains("01"), "{}", run.stderr);
}

#[test]
fn what_was_keyed_settles_it() {
    let reads = ["0111", "1000", "1011"];
    let run = keypad(&["--expect", "78#"], &reads);
    assert_eq!(run.status, 0, "{run:?}");
    assert_snapshot!(run.stdout);
    let turned = keypad(&["--expect", "87"], &reads[..2]);
    assert!(turned.stdout.contains("what was keyed is 87"), "{turned:?}");
    // More keys than were said, and others: these are the wrong code, not a
    // keypad of an unknown kind.
    for expect in ["79#", "7", "1234#"] {
        let other = keypad(&["--mode", "4", "--expect", expect], &["0001", "0010", "1011"]);
        assert_eq!(other.status, 1, "{other:?}");
        let says = other.stdout.replace('\n', " ");
        assert!(says.contains(&format!("what arrived is 12#, not the {expect} keyed")), "{says}");
    }
    let masked = keypad(&["--mask", "--json", "--expect", "78#"], &reads).json().remove(0);
    assert_eq!((&masked["expected"], &masked["ok"]), (&"•••".into(), &true.into()));
    for expect in ["", "7x"] {
        let run = keypad(&["--expect", expect], &reads);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
        assert!(run.stderr.contains("key"), "{run:?}");
    }
}

#[test]
fn priors_are_taken_as_explain_takes_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("priors.toml");
    let file = path.to_str().unwrap();
    fs::write(&path, "[causes]\nlines-swapped = 0.97\n").unwrap();
    let reads = ["0111", "1000"];
    let answer = &keypad(&["--json", "--priors", file], &reads).json()[0];
    assert_eq!(answer["verdict"], "lines-swapped", "{answer}");
    fs::write(&path, "[causes]\nlines-swaped = 0.97\n").unwrap();
    let run = keypad(&["--priors", file], &reads);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
    assert!(run.stderr.contains("priors.toml") && run.stderr.contains("lines-swaped"));
    // Nothing is possible: that is no dead keypad, and no lack of reads.
    fs::write(&path, "[causes]\nbytes-reversed = 1\n").unwrap();
    for command in ["keypad", "explain"] {
        let run = misread([command, "--priors", file, "--reads", &written(&folder)]);
        assert_eq!(run.status, 2, "{run:?}");
        assert!(run.stderr.contains("rule out every explanation"), "{run:?}");
    }
}

/// Two reads of different lengths.
fn written(folder: &tempfile::TempDir) -> String {
    let path = folder.path().join("reads.txt");
    fs::write(&path, "0001\n00010\n").unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn masked_a_cell_that_is_no_time_is_not_told() {
    let run = misread_with(["keypad", "--mask", "-"], "time_s,bits\n0x4b/8,1011\n0,1011\n");
    assert_eq!(run.status, 2);
    assert!(!run.stderr.contains("4b"), "{}", run.stderr);
}
