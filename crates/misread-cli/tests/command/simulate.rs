//! `misread simulate`: the line broken on purpose.

use std::fs;

use crate::misread;

const CARD: [&str; 2] = ["facility=42", "card=1234"];

fn simulate(args: &[&str]) -> crate::Run {
    misread([&["simulate"], args, &CARD].concat())
}

#[test]
fn bits_go_to_standard_output_a_read_a_line() {
    assert_eq!(simulate(&["--reads", "2"]).stdout, "10010101000000100110100100\n".repeat(2));
    let swapped = simulate(&["--cause", "lines-swapped"]);
    assert_eq!((swapped.status, &*swapped.stdout), (0, "01101010111111011001011011\n"));
    let keys = misread(["simulate", "--keys", "15#", "--keypad", "8"]);
    // Common practice: four bits complemented, then the four.
    assert_eq!(keys.stdout, "11100001\n10100101\n01001011\n");
}

#[test]
fn the_same_seed_gives_the_same_and_more_reads_leave_those_before() {
    let weak = |seed, reads| {
        simulate(&["--cause", "both-weak", "--rate", "0.3", "--seed", seed, "--reads", reads])
            .stdout
    };
    assert_eq!(weak("3", "4"), weak("3", "4"));
    assert_ne!(weak("3", "4"), weak("4", "4"));
    assert!(weak("3", "6").starts_with(&weak("3", "4")));
}

#[test]
fn a_riddle_has_its_answer_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("riddle.vcd");
    let file = path.to_str().unwrap();
    let args = ["--draw-cause", "--reads", "3", "--seed", "7", "--as", "vcd", "-o", file];
    let run = simulate(&args);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.starts_with("3 reads written to "), "{run:?}");
    assert!(run.stdout.contains("facility 42, card 1234"), "{run:?}");
    let truth = fs::read_to_string(path.with_extension("truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    assert_eq!(truth["schema"], "misread/simulate/1");
    // What is told on the screen does not give it away.
    assert!(!run.stdout.contains(truth["cause"].as_str().unwrap()), "{run:?}");
    // Nothing is written over.
    let written = fs::read(&path).unwrap();
    assert_eq!(simulate(&args).status, 2);
    assert_eq!(fs::read(&path).unwrap(), written);
}

#[test]
fn a_riddle_of_keys_tells_which_were_said_and_which_were_pressed() {
    let folder = tempfile::tempdir().unwrap();
    let made = |name: &str, seed: &str, more: &[&str]| {
        let path = folder.path().join(name);
        let args = ["simulate", "--draw-cause", "--keys", "2580#", "--keypad", "8", "--as", "csv"];
        let to = ["--seed", seed, "-o", path.to_str().unwrap()];
        let run = misread([&args[..], &to, more].concat());
        assert_eq!(run.status, 0, "{run:?}");
        let truth = fs::read_to_string(path.with_extension("truth.json")).unwrap();
        let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
        (run, fs::read(&path).unwrap(), truth)
    };
    let (run, bytes, truth) = made("one.csv", "3", &[]);
    assert!(run.stdout.contains("\nThe keys pressed are said to be 2580#.\n"), "{run:?}");
    assert!(!run.stdout.contains(truth["cause"].as_str().unwrap()), "{run:?}");
    assert_eq!(truth["keys"]["said"], "2580#");
    assert_eq!((&truth["expected"], &truth["card"]), (&().into(), &().into()));
    let (_, again, _) = made("again.csv", "3", &[]);
    assert_eq!(bytes, again);
    assert_ne!(bytes, made("another.csv", "4", &[]).1);
    // Some keys are others, and some reads come from no key.
    let pressed: Vec<serde_json::Value> = (0..120)
        .map(|seed| {
            let truth = made(&format!("{seed}.csv"), &seed.to_string(), &[]).2;
            let frames = truth["frames"].as_array().unwrap().len();
            assert_eq!(truth["keys"]["pressed"].is_null(), frames == 0, "{truth}");
            truth["keys"]["pressed"].clone()
        })
        .collect();
    let others = pressed.iter().filter(|keys| keys.is_string() && *keys != "2580#").count();
    let none = pressed.iter().filter(|keys| keys.is_null()).count();
    // Of 120, 0.05 and 0.015; the first four standard deviations wide.
    assert!((1..=15).contains(&others) && none <= 7, "{others} {none}");
    let (run, _, truth) = made("masked.csv", "3", &["--mask"]);
    assert!(run.stdout.contains("are said to be •••••."), "{run:?}");
    assert_eq!(truth["keys"], serde_json::json!({ "said": "•••••", "pressed": "•••••" }));
}

#[test]
fn a_chosen_fault_of_keys_tells_them_too() {
    let keys = |cause: &str| {
        let args = ["simulate", "--json", "--keys", "25#", "--keypad", "4", "--cause", cause];
        misread(args).json()[0]["keys"].clone()
    };
    assert_eq!(keys("d0-weak"), serde_json::json!({ "said": "25#", "pressed": "25#" }));
    assert_eq!(keys("random-bits"), serde_json::json!({ "said": "25#", "pressed": null }));
    assert!(simulate(&["--json"]).json()[0]["keys"].is_null());
}

#[test]
fn what_cannot_be_made_is_refused_before_anything_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("slipway.csv");
    let file = path.to_str().unwrap();
    for args in [
        &["--cause", "weak"][..],
        &["--cause", "none", "--rate", "0.3"],
        &["--cause", "d0-weak", "--rate", "1.5"],
        &["--width", "500"],
        &["--interval", "50"],
        &["--jitter", "10"],
        &["--layout", "plain-32"],
        &["--layout", "plain-24", "--cause", "bytes-reversed", "berth=1"],
    ] {
        let run = simulate(&[args, &["--as", "csv", "-o", file]].concat());
        assert_eq!(run.status, 2, "{args:?}: {run:?}");
        assert!(run.stderr.contains("expected"), "{args:?}: {run:?}");
    }
    let key = misread(["simulate", "--keys", "25x", "--keypad", "4", "-o", file]);
    assert_eq!(key.status, 2);
    insta::assert_snapshot!(key.stderr, @"
    misread: ‘x’ is no key
      25x
        ^
      expected digits, * and #, such as 2580#
    ");
    assert!(!path.exists());
}

#[test]
fn nothing_that_arrives_leaves_an_empty_capture() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("dead.csv");
    let file = path.to_str().unwrap();
    let args = ["simulate", "--layout", "plain-32", "--cause", "d1-open", "--as", "csv"];
    let run = misread([&args[..], &["-o", file, "card=4294967295"]].concat());
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.contains("Of 1 more nothing arrived"), "{run:?}");
}

#[test]
fn a_riddle_that_cannot_be_written_leaves_no_answer_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("riddle.vcd");
    fs::write(&path, "kept").unwrap();
    let run = simulate(&["--draw-cause", "--as", "vcd", "-o", path.to_str().unwrap()]);
    assert_eq!(run.status, 2, "{run:?}");
    assert_eq!(fs::read(&path).unwrap(), b"kept");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

/// A keypad's presses are one case: of all of them together one bit is changed,
/// and none is split.
#[test]
fn a_fault_does_to_keys_what_the_keypad_takes_it_to_do() {
    let pressed =
        |args: &[&str]| misread([&["simulate", "--keys", "2580#", "--keypad", "4"], args].concat());
    let sound = pressed(&[]).stdout;
    let mut places = std::collections::HashSet::new();
    for seed in ["1", "2", "3", "4"] {
        let changed = pressed(&["--cause", "bits-changed", "--seed", seed]).stdout;
        let differs = |(a, b): &(char, char)| a != b;
        assert_eq!(sound.chars().zip(changed.chars()).filter(differs).count(), 1, "{changed}");
        places.insert(sound.chars().zip(changed.chars()).position(|(a, b)| a != b));
    }
    assert!(places.len() > 1);
    for args in [&["--cause", "frame-split"][..], &["--reads", "2"], &["--probe-at", "reader"]] {
        let run = pressed(args);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
    }
}

#[test]
fn masked_no_key_is_told() {
    let args = ["simulate", "--mask", "--keypad", "8", "--keys"];
    let shown = misread([&args[..], &["58#", "--json"]].concat());
    assert_eq!(shown.status, 0);
    let object = &shown.json()[0];
    for frame in object["frames"].as_array().unwrap() {
        assert_eq!(frame["fields"], serde_json::json!({}), "{object}");
        assert_eq!(frame["bits"], "•".repeat(8));
    }
    let refused = misread([&args[..], &["58x"]].concat());
    assert_eq!(refused.status, 2);
    assert!(refused.stderr.contains("•••") && !refused.stderr.contains("58x"), "{refused:?}");
}

#[test]
fn a_riddle_is_drawn_from_the_priors_of_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("site.toml"), "[causes]\nlines-swapped = 1\n").unwrap();
    for seed in ["1", "2", "3"] {
        let riddle = path(&format!("{seed}.vcd"));
        let args = ["--draw-cause", "--seed", seed, "--as", "vcd", "-o", &riddle];
        let run = simulate(&[&args[..], &["--json", "--priors", &path("site.toml")]].concat());
        assert_eq!(run.json()[0]["cause"], "lines-swapped", "{run:?}");
    }
    let run = simulate(&["--priors", &path("none.toml")]);
    assert_eq!(run.status, 2, "{run:?}");
}
