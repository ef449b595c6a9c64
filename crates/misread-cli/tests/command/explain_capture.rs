//! `misread explain --capture`: the bits and the pulses weighed together.

use std::fs;

use crate::capture::capture;
use crate::{misread, misread_with};

/// A capture made with a fault, and its path.
fn simulated(folder: &tempfile::TempDir, name: &str, args: &[&str]) -> String {
    let path = folder.path().join(name).to_str().unwrap().to_owned();
    let card = ["facility=42", "card=1234"];
    let run = misread([&["simulate", "-o", &path], args, &card].concat());
    assert_eq!(run.status, 0, "{run:?}");
    path
}

fn explained(path: &str, args: &[&str]) -> serde_json::Value {
    misread([&["explain", "--json", "--capture", path], args].concat()).json()[0].clone()
}

#[test]
fn each_cause_is_found_from_a_capture_of_three_cards() {
    let folder = tempfile::tempdir().unwrap();
    for (cause, rate) in [
        ("none", None),
        ("lines-swapped", None),
        ("d0-open", None),
        ("d1-weak", Some("0.15")),
        ("both-weak", Some("0.15")),
        ("d1-noise", Some("0.1")),
        ("d0-ringing", Some("0.5")),
        ("crosstalk", Some("0.6")),
        ("head-lost", None),
        ("frame-split", None),
        ("frames-merged", None),
    ] {
        for (kind, rest) in [("vcd", "high"), ("csv", "low")] {
            let mut args = vec!["--cause", cause, "--reads", "3", "--as", kind, "--rest", rest];
            args.extend(rate.into_iter().flat_map(|rate| ["--rate", rate]));
            let path = simulated(&folder, &format!("{cause}.{kind}"), &args);
            let expect = ["--expect", "facility=42,card=1234", "--layout", "open-26"];
            let answer = explained(&path, &expect);
            assert_eq!(answer["verdict"], cause, "{answer}");
            let idle = answer["timing"]
                .as_array()
                .is_some_and(|timing| timing.iter().any(|found| found["finding"] == "idle-low"));
            assert_eq!(idle, rest == "low", "{answer}");
        }
    }
}

/// One 0 of a card is lost. By the bits it may be the head of the frame as
/// well; the gap in the middle says that it is not.
#[test]
fn the_pulses_tell_what_the_bits_leave_open() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["--cause", "d0-weak", "--rate", "0.05", "--seed", "9", "--as", "csv"];
    let path = simulated(&folder, "slipway.csv", &args);
    let run = misread(["explain", "--capture", &path, "--among", "open-26"]);
    assert_eq!(run.status, 1);
    let bits = misread([
        "simulate",
        "--cause",
        "d0-weak",
        "--rate",
        "0.05",
        "--seed",
        "9",
        "facility=42",
        "card=1234",
    ]);
    let by_bits = misread(["explain", "--among", "open-26", bits.stdout.trim()]);
    insta::assert_snapshot!(format!("{}\n{}", by_bits.stdout, run.stdout));
}

#[test]
fn where_it_was_taken_matters() {
    let folder = tempfile::tempdir().unwrap();
    let sound = simulated(&folder, "sound.vcd", &["--as", "vcd"]);
    let swapped = simulated(&folder, "swapped.vcd", &["--as", "vcd", "--cause", "lines-swapped"]);
    let reader = misread(["explain", "--capture", &sound, "--probe-at", "reader"]);
    assert_eq!(reader.status, 0);
    assert!(reader.stdout.contains("lies towards the panel"), "{reader:?}");
    let probability = |at: &str| {
        let answer = explained(&swapped, &["--probe-at", at, "--among", "open-26"]);
        let causes = answer["causes"].as_array().unwrap().clone();
        let of = causes.iter().find(|cause| cause["cause"] == "lines-swapped").unwrap();
        of["probability"].as_f64().unwrap()
    };
    assert!(probability("panel") > 0.8 && probability("reader") < 0.2);
    // At the panel the lines have been recorded; there is no use in doing it again.
    let answer = explained(&swapped, &[]);
    let next = answer["next"].as_array().unwrap();
    assert!(!next.is_empty() && next.iter().all(|test| test["test"] != "capture"), "{answer}");
}

#[test]
fn a_capture_without_a_pulse_is_no_data() {
    let still = "time_us,line,level\n0,d0,1\n0,d1,1\n900000,d0,1\n";
    let run = misread_with(["explain", "--json", "--capture", "-"], still);
    assert_eq!((run.status, &run.json()[0]["verdict"]), (1, &"no-data".into()), "{run:?}");
}

#[test]
fn what_stands_before_damage_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    let whole = fs::read(capture("slipway.vcd")).unwrap();
    let path = folder.path().join("cut.vcd");
    fs::write(&path, &whole[..whole.len() - 40]).unwrap();
    let run = misread(["explain", "--json", "--capture", path.to_str().unwrap()]);
    assert_eq!(run.status, 2, "{run:?}");
    let answers = run.json();
    assert_eq!(answers[0]["schema"], "misread/error/1");
    assert_eq!(answers[1]["schema"], "misread/explain/1");
}

#[test]
fn flags_of_a_capture_want_one() {
    for flag in [["--d0", "in_3"], ["--probe-at", "reader"], ["--threshold", "2"]] {
        let run = misread([&["explain"][..], &flag, &["1001"]].concat());
        assert_eq!(run.status, 2, "{run:?}");
        assert!(run.stderr.contains("--capture"), "{run:?}");
    }
    let run = misread(["explain", "--capture", &capture("slipway.vcd"), "1001"]);
    assert_eq!(run.status, 2);
}

/// The limits are those of SIA AC-01-1996.10: pulses of 20 µs or more.
#[test]
fn timing_outside_the_limits_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = simulated(&folder, "narrow.csv", &["--as", "csv", "--width", "15"]);
    let run = misread(["explain", "--capture", &path, "--layout", "open-26"]);
    let says = "Outside the limits: pulse-too-short 26 times. misread capture shows where.";
    assert!(run.stdout.contains(says), "{run:?}");
    assert_eq!(run.status, 0, "{run:?}");
}

#[test]
fn masked_it_shows_no_bit_of_a_field() {
    let folder = tempfile::tempdir().unwrap();
    let path = simulated(&folder, "weak.csv", &["--as", "csv", "--cause", "d0-weak"]);
    let run = misread(["explain", "--mask", "--capture", &path, "--layout", "open-26"]);
    assert!(!run.stdout.contains("1234") && !run.stdout.contains("0100"), "{run:?}");
}

/// Damage ends the read it falls into; weighed as a whole one it would look like
/// a fault of the wires.
#[test]
fn a_read_that_is_cut_is_not_weighed() {
    let folder = tempfile::tempdir().unwrap();
    let path = simulated(&folder, "three.vcd", &["--reads", "3", "--as", "vcd"]);
    let whole = fs::read_to_string(&path).unwrap();
    // In the middle of a time of the third read.
    let at = whole.rfind("\n#").unwrap();
    let at = whole[..at - 100].rfind("\n#").unwrap() + 5;
    fs::write(&path, &whole[..at]).unwrap();
    let run = misread(["explain", "--json", "--capture", &path, "--layout", "open-26"]);
    assert_eq!(run.status, 2, "{run:?}");
    let [damage, answer] = &run.json()[..] else { panic!("{run:?}") };
    assert!(damage["message"].as_str().unwrap().contains("in the middle of this line"), "{damage}");
    assert_eq!(
        (&answer["verdict"], answer["reads"].as_array().unwrap().len()),
        (&"none".into(), 2)
    );
    assert!(answer["notes"].to_string().contains("cut by the damage"), "{answer}");
    let screen = misread(["explain", "--capture", &path, "--layout", "open-26"]);
    assert!(screen.stdout.contains("The last read is cut by the damage"), "{screen:?}");
}

/// With no other read to hold it against, nobody knows how long it was.
#[test]
fn a_read_that_may_be_cut_is_said_to_be() {
    let folder = tempfile::tempdir().unwrap();
    let path = simulated(&folder, "one.vcd", &["--as", "vcd"]);
    let notes = |text: &str, status: i32| {
        let name = folder.path().join("cut.vcd");
        fs::write(&name, text).unwrap();
        let name = name.to_str().unwrap();
        let run = misread(["explain", "--json", "--capture", name]);
        assert_eq!(run.status, status, "{run:?}");
        let screen = misread(["explain", "--capture", name]).stdout;
        let says = run.json().last().unwrap()["notes"].to_string().contains("may be cut short");
        assert_eq!(screen.contains("may be cut short"), says, "{screen}");
        says
    };
    let whole = fs::read_to_string(&path).unwrap();
    assert!(!notes(&whole, 0));
    // In the middle of a time of the first read; and inside a pulse.
    let at = whole.rfind("\n#").unwrap();
    let at = whole[..at - 200].rfind("\n#").unwrap();
    assert!(notes(&whole[..at + 5], 2));
    let inside = whole[..at].rmatch_indices("\n0").next().unwrap().0;
    let text = format!("{}\n", &whole[..inside + 3]);
    let run = misread_with(["explain", "--json", "--capture", "-"], &text);
    assert!(run.stdout.contains("may be cut short"), "{run:?}");
    // As long as one before it, it is whole.
    let path = simulated(&folder, "two.vcd", &["--reads", "2", "--as", "vcd"]);
    let whole = fs::read_to_string(&path).unwrap();
    assert!(!notes(&format!("{whole}#9"), 2));
}
