//! `misread frame`.

use insta::assert_snapshot;
use serde_json::json;

use crate::{SOUND, misread};

#[test]
fn the_frame_of_a_card() {
    let run = misread(["frame", "--layout", "open-26", "facility=42", "card=1234"]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    assert_eq!(run.stdout.lines().next().unwrap(), SOUND);
}

#[test]
fn the_federal_card_of_the_guidance() {
    // Technical Implementation Guidance: Smart Card Enabled Physical Access
    // Control Systems, v2.2, section 6.2, figure 7.
    let run = misread([
        "frame",
        "--json",
        "--layout",
        "fascn-200",
        "agency=32,system=1,credential=92446,series=0,issue=1,person=1112223333",
        "category=1",
        "organisation=1223",
        "association=2",
    ]);
    assert_eq!(run.status, 0, "{run:?}");
    assert_eq!(run.json()[0]["hex"], "d0439458210c2c19a0846d83685a1082108ce73984108ca3fc");
    assert_eq!(run.json()[0]["length"], 200);
    assert_eq!(run.json()[0]["fields"]["person"], json!(1_112_223_333));
}

#[test]
fn values_that_make_no_frame() {
    for (values, says) in [
        (vec![], "the value of facility is missing"),
        (vec!["facility=42"], "the value of card is missing"),
        (vec!["facility=42", "card=70000"], "card 70000 is more than the field can carry"),
        (vec!["facility=42", "card=1", "card=2"], "card is given twice"),
        (vec!["facility=42", "berth=1"], "open-26 has no field ‘berth’"),
        (vec!["facility=forty"], "‘forty’ is not a whole number"),
    ] {
        let run = misread([&["frame", "--layout", "open-26"], &values[..]].concat());
        assert_eq!(run.status, 2, "{values:?}");
        assert!(run.stderr.contains(says), "{values:?}: {}", run.stderr);
        assert!(run.stderr.contains("expected"), "{values:?}: {}", run.stderr);
    }
}
