//! `misread layout`.

use std::fs;

use insta::assert_snapshot;
use serde_json::json;

use crate::misread;

const FUEL_BERTH: &str = r#"
name = "fuel-berth-28"
title = "Brindle Quay boatyard, fuel berth"
bits = 28

[[field]]
name = "facility"
bits = ["2-9"]
value = 42

[[field]]
name = "card"
bits = ["10-27"]
range = [1, 6000]

[[parity]]
bit = 1
kind = "even"
over = ["2-14"]

[[parity]]
bit = 28
kind = "odd"
over = ["15-27"]
"#;

#[test]
fn the_built_in_layouts_are_listed() {
    let run = misread(["layout", "list"]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    let layouts = misread(["layout", "list", "--json"]).json();
    let layouts = layouts[0]["layouts"].as_array().unwrap().clone();
    assert_eq!(layouts.len(), 10);
    assert!(layouts.iter().all(|layout| layout["source"] == "built in"));
}

#[test]
fn a_layout_is_shown() {
    let run = misread(["layout", "show", "open-26"]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    let layout = &misread(["layout", "show", "open-26", "--json"]).json()[0];
    assert_eq!(layout["name"], "open-26");
    assert_eq!(layout["parity"][0], json!({ "bit": 1, "kind": "even", "over": ["2-13"] }));
    assert_eq!(misread(["layout", "show", "no-such"]).status, 2);
}

#[test]
fn a_shown_file_is_a_layout_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("again.toml");
    fs::write(&file, misread(["layout", "show", "fascn-200", "--toml"]).stdout).unwrap();
    let again = misread(["layout".as_ref(), "show".as_ref(), file.as_os_str(), "--toml".as_ref()]);
    assert_eq!(again.stdout, fs::read_to_string(&file).unwrap());
}

#[test]
fn a_layout_file_is_checked_kept_and_used() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("berth.toml");
    let kept = folder.path().join("kept");
    fs::write(&file, FUEL_BERTH).unwrap();
    let file = file.to_str().unwrap();
    let kept = kept.to_str().unwrap();

    let run = misread(["layout", "check", file]);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.starts_with("fuel-berth-28 checks out\n"), "{}", run.stdout);

    // By its path, without being kept.
    let frame = ["frame", "--json", "card=1234", "--layout"];
    assert_eq!(misread([&frame[..], &[file]].concat()).status, 0);

    let add = ["--catalogue", kept, "layout", "add", file];
    assert_eq!(misread(add).status, 0);
    let again = misread(add);
    assert_eq!(again.status, 2);
    assert!(again.stderr.contains("--replace"), "{}", again.stderr);
    assert_eq!(misread([&add[..], &["--replace"]].concat()).status, 0);

    // By its name, once kept.
    let run = misread([&["--catalogue", kept], &frame[..], &["fuel-berth-28"]].concat());
    assert_eq!(run.status, 0);
    let bits = run.json()[0]["bits"].as_str().unwrap().to_owned();
    let run = misread(["--catalogue", kept, "decode", "--json", &bits]);
    assert_eq!(run.json()[0]["layout"], "fuel-berth-28");
    assert_eq!(run.json()[0]["fields"], json!({ "facility": 42, "card": 1234 }));

    // A card that was not ordered is no good answer.
    let run = misread(["frame", "--json", "card=7001", "--layout", file]);
    assert_eq!(run.status, 1);
    assert!(run.json()[0]["problem"].as_str().unwrap().contains("1 to 6000"));
    let bits = run.json()[0]["bits"].as_str().unwrap().to_owned();
    let run = misread(["--catalogue", kept, "decode", &bits]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

#[test]
fn everything_that_is_wrong_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("berth.toml");
    fs::write(&file, FUEL_BERTH.replace("\"2-9\"", "\"2-10\"").replace("28\nkind", "30\nkind"))
        .unwrap();
    let file = file.to_str().unwrap();
    let run = misread(["layout", "check", "--json", file]);
    assert_eq!(run.status, 1);
    assert_eq!(run.json()[0]["problems"].as_array().unwrap().len(), 2, "{run:?}");
    assert_eq!(misread(["layout", "check", file]).status, 1);
    // Nothing is kept of it.
    let kept = folder.path().join("kept");
    let run = misread(["--catalogue", kept.to_str().unwrap(), "layout", "add", file]);
    assert_eq!(run.status, 2);
    assert!(!kept.exists());
}

#[test]
fn the_place_in_the_file_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("berth.toml");
    fs::write(&file, FUEL_BERTH.replace("kind = \"odd\"", "kind = \"neither\"")).unwrap();
    let run = misread(["layout", "check", file.to_str().unwrap()]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("line 23, column 8"), "{}", run.stderr);
    assert!(run.stderr.contains("  kind = \"neither\"\n         ^\n"), "{}", run.stderr);
}

#[test]
fn a_bad_file_in_the_folder_does_not_hide_the_good_ones() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.toml"), "name = 3").unwrap();
    fs::write(folder.path().join("b.toml"), FUEL_BERTH).unwrap();
    let run = misread(["--catalogue", folder.path().to_str().unwrap(), "layout", "list"]);
    assert_eq!(run.status, 0);
    assert!(run.stdout.contains("fuel-berth-28"), "{run:?}");
    assert!(run.stderr.contains("a.toml, line 1"), "{run:?}");
}
