//! What a layout is worth, and two cards that become one.

use std::fs;

use insta::assert_snapshot;

use crate::{misread, misread_with};

#[test]
fn an_audit_says_what_goes_unseen() {
    let run = misread(["layout", "audit", "open-26"]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    assert_snapshot!(run.stdout);
}

#[test]
fn layouts_stand_side_by_side() {
    let run = misread(["layout", "audit", "open-26", "site-34", "plain-32", "key-8", "fascn-200"]);
    assert_eq!(run.status, 0);
    assert_snapshot!(run.stdout);
    for line in run.stdout.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

/// Derived: the undetected patterns of `open-26` are ((1+z)¹³ + (1−z)¹³)² / 4,
/// so 156 of two wrong bits.
#[test]
fn an_audit_in_json_counts_exactly() {
    let run = misread(["layout", "audit", "--json", "open-26", "fascn-200"]);
    let [open, federal] = &run.json()[..] else { panic!("{run:?}") };
    assert_eq!(open["schema"], "misread/layout-audit/1");
    assert_eq!(open["random_accept"], 0.25);
    let counts = open["undetected_by_weight"].as_array().unwrap();
    assert_eq!((counts.len(), &counts[0], &counts[2]), (27, &"1".into(), &"156".into()));
    assert_eq!(federal["independent_checks"], 72);
    assert_eq!(federal["undetected_by_weight"].as_array().unwrap().len(), 201);
}

#[test]
fn a_layout_is_drawn_into_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("open-26.svg");
    let file = path.to_str().unwrap();
    assert_eq!(misread(["layout", "audit", "open-26", "--svg", file]).status, 0);
    let svg = fs::read_to_string(&path).unwrap();
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    // 26 bits; each parity bit covers twelve.
    assert_eq!(svg.matches("<rect class=\"bit").count(), 26);
    assert_eq!(svg.matches("class=\"ring\"").count(), 2);
    assert_eq!(svg.matches("class=\"dot\"").count(), 24);
    assert!(svg.contains("bit 26: odd parity over bits 14-25"));

    let two = misread(["layout", "audit", "open-26", "site-34", "--svg", file]);
    assert_eq!(two.status, 2);
    assert_eq!(fs::read_to_string(&path).unwrap(), svg);
    let nowhere = folder.path().join("none/open-26.svg");
    let run = misread(["layout", "audit", "open-26", "--svg", nowhere.to_str().unwrap()]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
}

const CARDS: &str = "\
name,facility,card
sail loft,42,1234
fuel berth,43,1234
slipway,298,1234
slipway again,298,1234
office,42,99999
";

fn clash(args: &[&str]) -> crate::Run {
    let start = ["layout", "clash", "--cards", "-", "--layout", "site-34"];
    misread_with([&start[..], args].concat(), CARDS)
}

/// Arithmetic: 298 is 42 + 2⁸.
#[test]
fn cards_that_open_as_another_are_listed() {
    let run = clash(&["--panel", "low-24"]);
    assert_eq!(run.status, 2);
    assert_snapshot!(run.stdout);
    assert_snapshot!(run.stderr);
    let masked = clash(&["--panel", "low-24", "--mask"]);
    assert!(!masked.stdout.contains("1234") && !masked.stderr.contains("99999"), "{masked:?}");
}

#[test]
fn clashes_in_json() {
    let answers = clash(&["--json", "--panel", "low-16", "--offers", "low-16,low-32"]).json();
    let [error, answer] = &answers[..] else { panic!("{answers:?}") };
    assert_eq!(error["place"]["line"], 6);
    assert_eq!(answer["cards"], 4);
    assert_eq!(answer["groups"][0]["seen_as"]["number"], 1234);
    assert_eq!(answer["groups"][0]["cards"].as_array().unwrap().len(), 4);
    assert_eq!(answer["duplicates"], serde_json::json!([[4, 5]]));
    assert_eq!(answer["largest_safe"], "low-32");
    assert_eq!(answer["passed_over"], serde_json::json!(["name"]));
}

#[test]
fn a_setting_that_is_none_is_refused() {
    let run = clash(&["--panel", "low-99"]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("‘low-99’ is neither a layout nor a setting"), "{run:?}");
}
