//! Why the number on the card is the number on the screen.

use std::fs;

use insta::assert_snapshot;

use crate::misread;

/// Arithmetic: 12 345 678 = 188 · 65536 + 24910.
#[test]
fn a_number_is_explained_in_words() {
    let run = misread(["numbers", "--printed", "0012345678", "--shown", "188,24910"]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    assert_snapshot!(run.stdout);
    let run = misread(["numbers", "--printed", "0012345678", "--shown", "24910"]);
    assert_snapshot!(run.stdout);
}

#[test]
fn numbers_without_a_chain_are_said_to_be_different() {
    let run = misread(["numbers", "--printed", "42,1234", "--shown", "987654321"]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

#[test]
fn masked_numbers_are_not_shown() {
    for more in [&["--json"][..], &[]] {
        let args = ["numbers", "--mask", "--printed", "0012345678", "--shown", "24910"];
        let run = misread([&args[..], more].concat());
        assert!(!run.stdout.contains("5678") && !run.stdout.contains("249"), "{run:?}");
    }
}

#[test]
fn pairs_of_a_table_are_explained_together() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cards.csv");
    let file = path.to_str().unwrap();
    fs::write(&path, "printed,shown\n16777216,1\n16777217,16777217\n").unwrap();
    let run = misread(["numbers", "--json", "--pairs", file]);
    assert_eq!(run.status, 0);
    let answer = &run.json()[0];
    assert_eq!(answer["paths"][0]["steps"], serde_json::json!(["bytes-reversed-32"]));
    assert_eq!(answer["printed"], serde_json::Value::Null);
    assert_eq!(answer["pairs"][1]["shown"], "16777217");

    fs::write(&path, "printed,shown\n12x,1\n5,5\n").unwrap();
    let run = misread(["numbers", "--pairs", file]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("line 2: cell printed: ‘12x’"), "{run:?}");
    assert!(run.stdout.contains("as it is printed"));
}

#[test]
fn what_is_no_number_is_refused_with_its_place() {
    let run = misread(["numbers", "--printed", "12x4", "--shown", "5"]);
    assert_eq!(run.status, 2);
    assert_snapshot!(run.stderr);
    assert_eq!(misread(["numbers", "--printed", "12"]).status, 2);
    assert_eq!(misread(["numbers"]).status, 2);
}
