//! Every JSON answer against its own schema.

use std::fs;

use crate::{SOUND, misread, misread_with};

/// Checks every line a run answers against the schema it names.
fn check(args: &[&str]) {
    check_with(args, "");
}

/// The same with something on standard input.
fn check_with(args: &[&str], input: &str) {
    let run = misread_with(args, input);
    let answers = run.json();
    assert!(!answers.is_empty(), "{args:?}: {run:?}");
    for answer in answers {
        let name = answer["schema"].as_str().unwrap();
        let command = name.strip_prefix("misread/").unwrap().strip_suffix("/1").unwrap();
        let schema = misread(["schema", command]);
        assert_eq!(schema.status, 0, "{command}");
        let schema: serde_json::Value = serde_json::from_str(&schema.stdout).unwrap();
        let validator = jsonschema::draft202012::new(&schema).unwrap();
        if let Err(error) = validator.validate(&answer) {
            panic!("{args:?}: {error} in {answer}");
        }
        // A schema that lets anything through would not do.
        assert!(!validator.is_valid(&serde_json::json!({ "schema": name })), "{command}");
    }
}

#[test]
fn answers_are_as_their_schemas_say() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (good, bad, kept) = (path("good.toml"), path("bad.toml"), path("kept"));
    let own = misread(["layout", "show", "open-26", "--toml"]).stdout.replace("open", "slip");
    fs::write(&good, &own).unwrap();
    let cards = path("cards.csv");
    fs::write(&cards, "facility,card\n42,1234\n43,1234\n42,x\n").unwrap();
    fs::write(&bad, own.replace("2-9", "2-12")).unwrap();
    let sheet = path("sheet.csv");
    fs::write(&sheet, "bits,card\n00001,0\n00101,2\n01110,7\n11010,13\n").unwrap();
    let riddle = path("riddle.vcd");
    let keys_riddle = path("loft.csv");
    let captured = crate::capture::capture;
    let wide = "1".repeat(56);
    for args in [
        &["decode", "--json", SOUND, "?", "10", "10x", "0x95026900", "1001"][..],
        &["decode", "--json", "--mask", SOUND, "01101010111111011001011011", &wide],
        &["decode", "--json", "--layout", "open-26", "1001", "?1101010111111011001011011"],
        &["decode", "--json", "1001", "0101", "0000", "0010", "0110", "1001", "00"],
        &["explain", "--json", "01101010111111011001011011", SOUND],
        &["explain", "--json", "--mask", "--expect", "card=1234", "111111111"],
        &["explain", "--json", "--layout", "open-26", &wide, "?1101010111111011001011011"],
        &["explain", "--json", "--printed", "1234", SOUND],
        &["explain", "--json", ""],
        &["explain", "--json", "1001", "0101", "0000", "0010", "0110", "1001", "00"],
        &["explain", "--json", "10x"],
        &["causes", "--json"],
        &["causes", "--json", "d0-open"],
        &["frame", "--json", "--layout", "open-26", "facility=42", "card=1234"],
        &["frame", "--json", "--mask", "--layout", "plain-56", "card=72057594037927935"],
        &["frame", "--json", "--layout", "open-26"],
        &["layout", "list", "--json"],
        &["layout", "show", "--json", "fascn-200"],
        &["layout", "check", "--json", &good],
        &["layout", "check", "--json", &bad],
        &["layout", "add", "--json", "--catalogue", &kept, &good],
        &["layout", "audit", "--json", "open-26", "fascn-200", "plain-24"],
        &["layout", "clash", "--json", "--cards", &cards, "--layout", "open-26"],
        &[
            "layout", "clash", "--json", "--mask", "--cards", &cards, "--layout", "open-26",
            "--panel", "low-16",
        ],
        &["numbers", "--json", "--printed", "0012345678", "--shown", "24910"],
        &["numbers", "--json", "--mask", "--printed", "42,1234", "--shown", "1"],
        &["layout", "learn", "--json", &sheet],
        &["layout", "learn", "--json", "--mask", &sheet],
        &["simulate", "--json", "--cause", "d0-weak", "facility=42"],
        &["simulate", "--json", "--mask", "--keys", "25#", "--keypad", "8"],
        &["simulate", "--json", "--draw-cause", "-o", &riddle, "--as", "vcd"],
        &[
            "simulate",
            "--json",
            "--draw-cause",
            "--keys",
            "25#",
            "--keypad",
            "4",
            "-o",
            &keys_riddle,
        ],
        &["capture", "--json", &captured("slipway.vcd")],
        &["capture", "--json", "--layout", "open-26", &captured("slipway-inverted.vcd")],
        &["capture", "--json", "--mask", &captured("slipway-volts.csv")],
        &["capture", "--json", "--silence", "1", &captured("slipway-pulses.csv")],
        &["capture", "--json", &captured("make.py")],
        &["keypad", "--json", "1011", "1110", "1000", "0100"],
        &["keypad", "--json", "--mask", "0111", "1000"],
        &["keypad", "--json", "--layout", "open-26", SOUND, &wide],
        &["keypad", "--json", ""],
        &["keypad", "--json", "01x"],
        &["slipway", "--json"],
    ] {
        check(args);
    }
}

#[test]
fn what_is_watched_is_as_its_schemas_say() {
    let stream = format!(
        "time_s,bits,card\n1,{SOUND},1234\n2,01101010111111011001011011,\n3,,7\n4,10x,\n\
         5,1,70000\ntime_us,line,level\n0,D1,0\n50,D1,1\n1000,D0,0\n1050,D0,1\n10"
    );
    check_with(&["watch", "--json"], &stream);
    check_with(&["watch", "--json", "--mask"], &stream);
    check_with(&["watch", "--json"], "");
}
