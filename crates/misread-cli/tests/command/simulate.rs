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
    let args = ["--draw-cause", "--reads", "3", "--seed", "8", "--as", "vcd", "-o", file];
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
    // Of 120, 0.05 and 0.1, four standard deviations wide.
    assert!((1..=15).contains(&others) && (1..=25).contains(&none), "{others} {none}");
    let (run, _, truth) = made("masked.csv", "3", &["--mask"]);
    assert!(run.stdout.contains("are said to be •••••."), "{run:?}");
    assert_eq!(truth["keys"], serde_json::json!({ "said": "•••••", "pressed": "•••••" }));
}

/// What arrives of a card each time, and what it should be in each form.
#[test]
fn what_gives_nothing_is_named_left_empty_and_silent() {
    let args = ["--cause", "reads-missing", "--share", "0.5", "--reads", "5"];
    let good = "10010101000000100110100100";
    let lines = simulate(&args).stdout;
    let given: Vec<bool> = lines.lines().map(|line| line == good).collect();
    let other = lines.lines().filter(|&line| line != good);
    assert!(other.clone().all(|line| line == "# nothing arrived"), "{lines}");
    assert!(given.len() == 5 && given.contains(&true) && given.contains(&false), "{lines}");
    let table = simulate(&[&args[..], &["--as", "table"]].concat()).stdout;
    let mut rows = table.lines();
    assert_eq!(rows.next(), Some("time_s,facility,card,bits"));
    let rows: Vec<Vec<&str>> = rows.map(|row| row.split(',').collect()).collect();
    assert!(rows.iter().all(|row| row[1..3] == ["42", "1234"]), "{table}");
    assert!(rows.iter().map(|row| row[3] == good).eq(given.iter().copied()), "{table}");
    assert!(rows.is_sorted_by_key(|row| row[0].parse::<f64>().unwrap().to_bits()), "{table}");
    let answer = &simulate(&[&args[..], &["--json"]].concat()).json()[0];
    assert_eq!((&answer["cause"], &answer["share"]), (&"reads-missing".into(), &0.5.into()));
    for (read, given) in answer["reads"].as_array().unwrap().iter().zip(&given) {
        assert_eq!(read["suffers"], !given, "{read}");
        assert_eq!(read["length"], if *given { 26 } else { 0 });
    }
    let folder = tempfile::tempdir().unwrap();
    for kind in ["csv", "vcd"] {
        let path = folder.path().join(kind);
        let file = path.to_str().unwrap();
        let run = simulate(&[&args[..], &["--as", kind, "-o", file]].concat());
        let missing: Vec<String> = (1..)
            .zip(&given)
            .filter(|(_, given)| !**given)
            .map(|(at, _): (u32, _)| at.to_string())
            .collect();
        assert!(run.stdout.contains(&missing.join(", ")), "{run:?}");
        let capture = &misread(["capture", "--json", file]).json()[0];
        let reads = capture["reads"].as_array().unwrap();
        assert!(reads.iter().all(|read| read["bits"] == good), "{capture}");
        assert_eq!(reads.len(), given.iter().filter(|given| **given).count(), "{capture}");
        // A card that gave nothing takes as long as the others.
        let longest = reads.windows(2).map(|pair| {
            pair[1]["start_s"].as_f64().unwrap() - pair[0]["start_s"].as_f64().unwrap()
        });
        assert!(longest.fold(0.0, f64::max) > 2.05, "{capture}");
    }
}

/// Every wire state goes into every form, and all say the same of it: the reads
/// as lines and as a table, and those that a capture gives.
#[test]
fn every_wire_state_goes_into_every_form() {
    let answers = misread(["causes", "--json"]).json();
    let causes: Vec<String> = answers[0]["causes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cause| cause["cause"].as_str().unwrap().to_owned())
        .filter(|cause| !cause.contains('+') && !cause.contains("at-times"))
        .filter(|cause| cause != "reads-missing")
        .collect();
    let swapped = causes.iter().map(|cause| format!("lines-swapped+{cause}"));
    let at_times = causes.iter().map(|cause| format!("{cause}-at-times"));
    let others = swapped.chain(at_times).chain(["reads-missing".to_owned()]);
    let folder = tempfile::tempdir().unwrap();
    let mut made = 0;
    for (number, wire) in causes.iter().cloned().chain(others).enumerate() {
        let args = ["--cause", &wire, "--reads", "3", "--seed", "4"];
        let answer = simulate(&[&args[..], &["--json"]].concat());
        if answer.status == 2 {
            assert!(wire.contains('+') || wire.contains("at-times"), "{answer:?}");
            continue;
        }
        made += 1;
        let answer = &answer.json()[0];
        assert_eq!(answer["cause"], *wire);
        let reads = answer["reads"].as_array().unwrap().iter();
        let bits: Vec<&str> = reads.clone().map(|read| read["bits"].as_str().unwrap()).collect();
        let at_times = wire.contains("at-times") || wire == "reads-missing";
        assert_eq!(answer["share"].is_number(), at_times, "{wire}");
        assert!(reads.clone().all(|read| read["suffers"].is_boolean() == at_times), "{wire}");
        let sound = reads.filter(|read| read["suffers"] == false);
        let good = "10010101000000100110100100";
        assert!(sound.clone().all(|read| read["bits"] == good), "{wire} {answer}");
        let lines = simulate(&args).stdout;
        let lines = lines.lines().map(|line| if line.starts_with('#') { "" } else { line });
        assert!(lines.eq(bits.iter().copied()), "{wire}");
        let table = simulate(&[&args[..], &["--as", "table"]].concat()).stdout;
        let cells = table.lines().skip(1).map(|row| row.rsplit(',').next().unwrap());
        assert!(cells.eq(bits.iter().copied()), "{wire}");
        let arrived: Vec<&str> = bits.into_iter().filter(|bits| !bits.is_empty()).collect();
        if arrived.is_empty() {
            continue;
        }
        for kind in ["csv", "vcd"] {
            let path = folder.path().join(format!("{number}.{kind}"));
            let file = path.to_str().unwrap();
            assert_eq!(simulate(&[&args[..], &["--as", kind, "-o", file]].concat()).status, 0);
            let capture = &misread(["capture", "--json", file]).json()[0];
            let reads = capture["reads"].as_array().unwrap().iter();
            let reads = reads.map(|read| read["bits"].as_str().unwrap());
            assert!(reads.eq(arrived.iter().copied()), "{wire} {capture}");
        }
    }
    // The fault model's table, with two at once, at times and missing reads.
    assert_eq!(made, 67);
}

/// A stranger's cards: of one layout, the same card each time where all of it is
/// said; at times, one odd card among many.
#[test]
fn cards_of_an_unlisted_layout_have_one_length() {
    let lines = |args: &[&str]| -> Vec<String> {
        let args = [&["simulate", "--reads", "4", "--seed", "3"], args].concat();
        misread(args).stdout.lines().map(str::to_owned).collect()
    };
    let same = lines(&["--cause", "unknown-layout", "facility=42", "card=1234"]);
    assert!(same.windows(2).all(|pair| pair[0] == pair[1]), "{same:?}");
    let own = lines(&["--cause", "unknown-layout"]);
    assert!(own.windows(2).all(|pair| pair[0].len() == pair[1].len()), "{own:?}");
    assert!(own.windows(2).any(|pair| pair[0] != pair[1]), "{own:?}");
    let args = ["--cause", "unknown-layout-at-times", "--share", "0.5"];
    let odd = lines(&[&args[..], &["facility=42", "card=1234"]].concat());
    let good = |line: &&String| **line == "10010101000000100110100100";
    assert!((1..4).contains(&odd.iter().filter(good).count()), "{odd:?}");
}

/// There is each kind of wire state among them, and the truth says who suffers
/// and whose cards they are.
#[test]
fn riddles_come_from_the_whole_model() {
    let folder = tempfile::tempdir().unwrap();
    let priors = folder.path().join("priors.toml");
    fs::write(&priors, "[more]\nat-times = 0.5\nreads-missing = 0.3\ntwo-at-once = 9\n").unwrap();
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..60 {
        let path = folder.path().join(format!("{seed}.csv"));
        let (file, seed) = (path.to_str().unwrap(), seed.to_string());
        let args = ["--draw-cause", "--reads", "4", "--as", "csv", "--json", "-o", file];
        let more = ["--seed", &seed, "--priors", priors.to_str().unwrap()];
        let run = simulate(&[&args[..], &more].concat());
        let truth = &run.json()[0];
        let cause = truth["cause"].as_str().unwrap();
        let comes_and_goes = cause.ends_with("-at-times") || cause == "reads-missing";
        seen.insert((cause.contains('+'), cause.ends_with("-at-times"), cause == "reads-missing"));
        let reads = truth["reads"].as_array().unwrap();
        assert_eq!(reads.len(), 4, "{truth}");
        for read in reads {
            assert_eq!(read["suffers"].is_boolean(), comes_and_goes, "{truth}");
            if let Some(frame) = read["frame"].as_u64() {
                let frame = &truth["frames"][frame as usize - 1];
                let sound = read["suffers"] == false || cause == "none";
                assert!(!sound || frame["bits"] == read["bits"], "{truth}");
            }
        }
        let cards = truth["presented"].as_str().unwrap();
        assert!(["one-card", "own-cards", "mixed-cards"].contains(&cards), "{truth}");
    }
    let none = (false, false, false);
    let kinds = [none, (true, false, false), (false, true, false), (false, false, true)];
    assert!(kinds.iter().all(|kind| seen.contains(kind)), "{seen:?}");
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
        &["--cause", "lines-swapped+none"],
        &["--cause", "frame-split-at-times"],
        &["--cause", "d0-open", "--share", "0.3"],
        &["--cause", "d0-open-at-times", "--share", "1.01"],
        &["--cause", "reads-missing", "--share", "-0.1"],
        &["--cause", "reads-missing", "--share", "nan"],
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
    let share = simulate(&["--cause", "d0-open-at-times", "--share", "1.5"]).stderr;
    insta::assert_snapshot!(share, @"
    misread: a share of 1.5: a share is from 0 to 1
      expected such as --share 0.3
    ");
    let wire = simulate(&["--cause", "padded-at-times"]).stderr;
    insta::assert_snapshot!(wire, @"
    misread: there is no cause ‘padded-at-times’
      expected -at-times behind one of lines-swapped, d0-open, d1-open,
      lines-shorted, d0-weak, d1-weak, both-weak, d0-noise, d1-noise, both-noise,
      d0-ringing, d1-ringing, both-ringing, crosstalk, head-lost, tail-lost,
      frames-merged, bits-changed, unknown-layout, random-bits
    ");
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
    for args in [
        &["--cause", "frame-split"][..],
        &["--cause", "lines-swapped+d0-weak"],
        &["--cause", "reads-missing"],
        &["--reads", "2"],
        &["--probe-at", "reader"],
    ] {
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
