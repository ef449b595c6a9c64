//! `misread decode` on the command line.

use insta::assert_snapshot;
use serde_json::json;

use crate::{SOUND, misread};

#[test]
fn a_good_read_is_answered_in_the_first_line() {
    let run = misread(["decode", SOUND]);
    assert_eq!(run.status, 0, "{run:?}");
    assert_snapshot!(run.stdout);
    assert_eq!(run.stderr, "");
}

#[test]
fn swapped_lines_are_asked_about() {
    // Swapped lines make every field its largest value minus itself
    // (arithmetic): 42, 1234 arrives as 213, 64301.
    let run = misread(["decode", "01101010111111011001011011"]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

#[test]
fn the_chosen_layout_is_the_only_one_tried() {
    let run = misread(["decode", "--layout", "plain-24", SOUND]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

#[test]
fn a_read_too_short_names_the_nearest() {
    let run = misread(["decode", &SOUND[..25]]);
    assert_eq!(run.status, 1);
    let first = run.stdout.lines().next().unwrap();
    assert_eq!(first, "fits no layout: 25 bits have arrived; the nearest is open-26 with 26");
}

#[test]
fn json_holds_the_answer() {
    let run = misread(["decode", "--json", SOUND]);
    assert_eq!(run.status, 0);
    assert_eq!(
        run.json(),
        [json!({
            "schema": "misread/decode/1",
            "bits": SOUND,
            "length": 26,
            "layout": "open-26",
            "ok": true,
            "fields": { "facility": 42, "card": 1234 },
            "checks": [
                {
                    "kind": "even",
                    "bits": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13],
                    "ok": true,
                    "says": "bit 1: even parity over bits 2-13",
                },
                {
                    "kind": "odd",
                    "bits": [14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26],
                    "ok": true,
                    "says": "bit 26: odd parity over bits 14-25",
                },
            ],
            "also": [],
            "problem": null,
        })]
    );
}

#[test]
fn a_number_over_2_to_the_53_is_text() {
    let bits = "1".repeat(56);
    let run = misread(["decode", "--json", &bits]);
    // 2^56 - 1, arithmetic.
    assert_eq!(run.json()[0]["fields"], json!({ "card": "72057594037927935" }));
    let exact = format!("{}1{}", "0".repeat(2), "0".repeat(53));
    let run = misread(["decode", "--json", &exact]);
    assert_eq!(run.json()[0]["fields"], json!({ "card": 1u64 << 53 }));
}

#[test]
fn groups_are_joined_and_it_is_said() {
    let groups = ["1001", "0101", "0000", "0010", "0110", "1001", "00"];
    let run = misread([&["decode"], &groups[..]].concat());
    assert_eq!(run.status, 0);
    assert!(run.stdout.starts_with("open-26: facility 42, card 1234\n7 groups joined"));
    let run = misread([&["decode", "--json"], &groups[..]].concat());
    assert_eq!(run.json()[0]["joined"], 7);
    let run = misread([&["decode", "--separate"], &groups[..]].concat());
    assert_eq!(run.stdout.lines().count(), 7);
    assert_eq!(run.stdout.lines().next().unwrap(), "   1  key-4: key 9");
}

#[test]
fn several_reads_are_a_line_each_in_order() {
    let run = misread(["decode", SOUND, "01101010111111011001011011", "0x95026900/26"]);
    assert_eq!(run.status, 1);
    let lines: Vec<&str> = run.stdout.lines().collect();
    assert_eq!(lines[0], "   1  open-26: facility 42, card 1234");
    assert!(lines[1].starts_with("   2  fits no layout"));
    assert_eq!(lines[2], "   3  open-26: facility 42, card 1234");
}

#[test]
fn hexadecimal_without_a_length_is_answered_with_what_to_type() {
    let run = misread(["decode", "0x95026900"]);
    assert_eq!(run.status, 2);
    assert_snapshot!(run.stderr);
    // Every text offered is a read that fits the layout it is offered for.
    for reading in
        misread(["decode", "--json", "0x95026900"]).json()[0]["readings"].as_array().unwrap()
    {
        let text = reading["text"].as_str().unwrap();
        let again =
            misread(["decode", "--json", "--layout", reading["layout"].as_str().unwrap(), text]);
        assert_eq!(again.status, 0, "{text}: {again:?}");
    }
}

#[test]
fn what_is_refused_is_shown_with_its_place() {
    let run = misread(["decode", "1001 0101 0000 001x 0110"]);
    assert_eq!(run.status, 2);
    assert_snapshot!(run.stderr);
    assert_eq!(run.stdout, "");
}

#[test]
fn a_refusal_in_json_says_the_same_sentence() {
    let run = misread(["decode", "--json", SOUND, "10x"]);
    assert_eq!(run.status, 2);
    let answers = run.json();
    assert_eq!(answers[0]["ok"], true);
    assert_eq!(answers[1]["schema"], "misread/error/1");
    assert_eq!(answers[1]["place"], json!({ "file": null, "line": null, "column": 3, "read": 2 }));
    let message = answers[1]["message"].as_str().unwrap();
    assert!(run.stderr.contains(message), "{run:?}");
}

#[test]
fn an_empty_read_and_no_read_get_helpful_words() {
    for (args, says) in [
        (vec!["decode", ""], "there are no bits in it"),
        (vec!["decode"], "there is no read in standard input"),
        (vec!["decode", "-"], "there is no read in standard input"),
        (vec!["decode", "-", SOUND], "standard input (-) and reads are both given"),
        (vec!["decode", "--layout", "slipway", SOUND], "no layout is named ‘slipway’"),
        (vec!["decode", "--reads", "no-such-file.txt"], "no-such-file.txt: cannot be read"),
    ] {
        let run = misread(&args);
        assert_eq!(run.status, 2, "{args:?}");
        assert!(run.stderr.contains(says), "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains("expected"), "{args:?}: {}", run.stderr);
    }
}

#[test]
fn numbers_shown_by_a_panel_are_a_read() {
    let run =
        misread(["decode", "--json", "--layout", "open-26", "--shown", "facility=213,card=64301"]);
    assert_eq!(run.status, 0);
    assert_eq!(run.json()[0]["bits"], "?110101011111101100101101?");
    assert_eq!(run.json()[0]["checks"][0]["ok"], json!(null));
    for (shown, says) in [
        ("facility=300", "facility 300 is more than the field can carry"),
        ("slip=1", "open-26 has no field ‘slip’"),
        ("facility", "‘facility’ has no value"),
        ("card=1,234", "‘234’ has no value"),
    ] {
        let run = misread(["decode", "--layout", "open-26", "--shown", shown]);
        assert_eq!(run.status, 2, "{shown}");
        assert!(run.stderr.contains(says), "{shown}: {}", run.stderr);
    }
}

#[test]
fn masked_output_keeps_the_number_to_itself() {
    // 54321 and 54332 differ in what is hidden alone where all else is equal:
    // no answer may tell 543 hundreds from any other.
    let layout = ["--layout", "plain-24"];
    let frame = |card: &str| {
        let run = misread(["frame", "--json", "--layout", "plain-24", "facility=42", card]);
        run.json()[0]["bits"].as_str().unwrap().to_owned()
    };
    let (one, other) = (frame("card=54321"), frame("card=12321"));
    for options in [&["--json"][..], &["--csv"], &[]] {
        let shown = |bits: &str| {
            let args = [&["decode", "--mask"], options, &layout[..], &[bits]].concat();
            let run = misread(args);
            (run.stdout, run.stderr, run.status)
        };
        assert_eq!(shown(&one), shown(&other), "{options:?}");
        // Refused, misfitting and without a length as well.
        for ruin in ["x", "1", "0000000000"] {
            let shown = |bits: &str| shown(&format!("{bits}{ruin}"));
            assert_eq!(shown(&one), shown(&other), "{options:?} {ruin}");
        }
    }
    let frame =
        |card: &str| misread(["frame", "--mask", "--layout", "plain-24", "facility=42", card]);
    assert_eq!(frame("card=54321").stdout, frame("card=12321").stdout);
    assert_eq!(frame("card=954321").stderr, frame("card=912321").stderr);
}

#[test]
fn csv_has_a_column_a_field() {
    let args = ["decode", "--csv", "--layout", "open-26", SOUND, "01101010111111011001011011"];
    let run = misread(args);
    assert_eq!(run.status, 1);
    assert_eq!(
        run.stdout,
        "line,bits,length,layout,ok,facility,card\n\
         1,10010101000000100110100100,26,open-26,true,42,1234\n\
         2,01101010111111011001011011,26,open-26,false,,\n"
    );
    let run = misread(["decode", "--csv", SOUND, "1001", "10"]);
    assert_eq!(
        run.stdout,
        "line,bits,length,layout,ok,fields\n\
         1,10010101000000100110100100,26,open-26,true,facility=42 card=1234\n\
         2,1001,4,key-4,true,key=9\n\
         3,10,2,,false,\n"
    );
}
