//! `misread explain` and `misread causes`, as a person sees them.

use insta::assert_snapshot;

use super::{SOUND, misread, misread_with};

/// Facility 42, card 1234 with the data lines swapped.
const SWAPPED: &str = "01101010111111011001011011";
const CARD: [&str; 2] = ["--expect", "facility=42,card=1234"];

fn explain(args: &[&str]) -> super::Run {
    misread(["explain", "--among", "open-26"].iter().chain(args))
}

fn first_line(run: &super::Run) -> &str {
    run.stdout.lines().next().unwrap_or_default()
}

/// Text as it was before it was wrapped.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_good_read_is_one_line_that_names_the_card() {
    let run = explain(&[SOUND]);
    assert_eq!(run.stdout, "94% sure: the read is good: facility 42, card 1234 (open-26).\n");
    assert_eq!(run.status, 0);
}

#[test]
fn swapped_lines() {
    let run = explain(&[CARD[0], CARD[1], SWAPPED]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
}

#[test]
fn a_lost_pulse_is_drawn_against_the_frame() {
    let run = explain(&[CARD[0], CARD[1], "1001010100000100110100100"]);
    assert_snapshot!(run.stdout);
}

#[test]
fn extra_pulses_are_drawn_against_the_frame() {
    let run = explain(&[CARD[0], CARD[1], "1001011010000100100110100100"]);
    assert_snapshot!(run.stdout);
}

#[test]
fn a_line_that_is_open() {
    assert_snapshot!(explain(&["111111111"]).stdout);
}

#[test]
fn another_facility_code_is_no_wiring_fault() {
    let run = explain(&[CARD[0], CARD[1], "00100110100000100110100100"]);
    assert_snapshot!(run.stdout);
    assert!(!run.stdout.contains("floating"));
}

#[test]
fn nothing_arrived() {
    let run = explain(&[""]);
    assert_eq!(run.status, 1);
    assert_snapshot!(run.stdout);
    let json = misread(["explain", "--json", ""]).json();
    assert_eq!(json[0]["verdict"], "no-data");
    assert_eq!(json[0]["answer"]["cause"], serde_json::Value::Null);
}

#[test]
fn one_frame_in_two_reads() {
    assert_snapshot!(explain(&["10010101000000100110", "--separate", "100100"]).stdout);
}

#[test]
fn what_a_panel_shows_will_do() {
    let run = misread([
        "explain",
        "--layout",
        "open-26",
        "--among",
        "open-26",
        "--shown",
        "facility=213,card=64301",
        "--expect",
        "facility=42,card=1234",
    ]);
    assert_eq!(
        first_line(&run),
        "85% sure: the data lines D0 and D1 are swapped; the card is then facility 42,",
    );
}

#[test]
fn a_layout_without_checks_says_what_it_cannot_show() {
    let run = misread(["explain", "--among", "plain-32", "00010010001101000101011001111000"]);
    assert_eq!(first_line(&run), "61% sure: the read has the length of plain-32: card 305419896.",);
    assert!(run.stdout.contains("has no checks"), "{}", run.stdout);
}

#[test]
fn a_table_says_what_is_expected_and_bad_rows_are_named() {
    let table = "bits,facility,card\n01101010111111011001011011,42,1234\n10x,1,2\n,42,77\n";
    let run = misread_with(["explain", "--among", "open-26", "-"], table);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("line 3, column 3: cell bits: ‘x’ is not a bit"), "{}", run.stderr);
    assert!(unwrapped(&run.stdout).contains("1 of 2 cards gave nothing"), "{}", run.stdout);
    assert!(
        unwrapped(&run.stdout).contains("the data lines D0 and D1 are swapped"),
        "{}",
        run.stdout
    );
}

#[test]
fn what_is_expected_of_each_read_in_order() {
    let run = explain(&[
        "--expect",
        "facility=42,card=1234",
        "--expect",
        "facility=42,card=1235",
        SWAPPED,
        "01101010111111011001011000",
    ]);
    assert!(run.stdout.contains("Read 2: facility 42, card 1235"), "{}", run.stdout);
    let run = explain(&[CARD[0], CARD[1], CARD[0], CARD[1], CARD[0], CARD[1], SWAPPED]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("--expect is given 3 times for 1 read"), "{}", run.stderr);
}

#[test]
fn values_that_fit_no_layout_are_refused() {
    let run = explain(&["--expect", "card=70000", SWAPPED]);
    assert_eq!(run.status, 2);
    let says = unwrapped(&run.stderr);
    assert!(says.contains("open-26: card is at most 65535, not 70000"), "{says}");
    let run = explain(&["--mask", "--expect", "card=70000", SWAPPED]);
    assert!(!run.stderr.contains("70000"), "{}", run.stderr);
}

#[test]
fn hexadecimal_without_a_length_is_answered_with_what_it_can_be() {
    let run = misread(["explain", "0x95026900"]);
    assert_eq!(run.status, 2);
    assert!(
        run.stderr.contains("0x95026900/26  open-26: facility 42, card 1234"),
        "{}",
        run.stderr
    );
}

#[test]
fn masked_answers_give_no_number_and_no_bit_away() {
    for read in [SWAPPED, "1001010100000100110100100", "111111111", "10010100000000100110100100"] {
        for json in [false, true] {
            let mut args = vec!["--mask", CARD[0], CARD[1], read];
            if json {
                args.push("--json");
            }
            let shown = explain(&args).stdout;
            assert!(!shown.contains("1234") && !shown.contains("64301"), "{shown}");
            assert!(!shown.contains("0000010") && !shown.contains("1111101"), "{shown}");
            assert!(!shown.contains("- lost (") && !shown.contains("  sent "), "{shown}");
        }
    }
}

#[test]
fn a_priors_file_moves_the_answer_and_a_senseless_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("priors.toml");
    let path = path.to_str().unwrap();
    std::fs::write(path, "[causes]\nbits-inverted = 0.9\n").unwrap();
    let run = explain(&["--priors", path, SWAPPED]);
    assert!(first_line(&run).contains("whatever recorded the bits"), "{}", run.stdout);
    std::fs::write(path, "[causes]\nbits-inverted = 9\n").unwrap();
    let run = explain(&["--priors", path, SWAPPED]);
    assert_eq!(run.status, 2);
    let says = unwrapped(&run.stderr);
    assert!(says.contains("9 is not a probability from 0 to 1"), "{says}");
}

#[test]
fn causes_are_listed_and_shown() {
    assert_snapshot!(misread(["causes"]).stdout);
    assert_snapshot!(misread(["causes", "lines-swapped"]).stdout);
    let weak = misread(["causes", "d0-weak"]).stdout;
    assert!(weak.contains(" 90.0%  a beat of the reader is missing\n"), "{weak}");
    assert!(weak.contains(" 70.0%  a pulse on D0 is unusually narrow\n"), "{weak}");
    assert!(!weak.contains("a pulse on D1"), "{weak}");
    assert_snapshot!(misread(["causes", "lines-swapped+d0-weak"]).stdout);
    assert_snapshot!(misread(["causes", "d0-open-at-times"]).stdout);
    assert_snapshot!(misread(["causes", "reads-missing"]).stdout);
    let all = &misread(["causes", "--json"]).json()[0]["causes"];
    assert_eq!(all.as_array().unwrap().len(), 67);
    assert_eq!(all[66]["cause"], "reads-missing");
    for id in ["lines-swapped+none", "frame-split-at-times"] {
        let run = misread(["causes", id]);
        assert_eq!(run.status, 2);
        let says = unwrapped(&run.stderr);
        assert!(says.contains("lines-swapped+ID, where ID is one of bit-order"), "{says}");
    }
    let run = misread(["causes", "lines-swaped"]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("there is no cause ‘lines-swaped’"), "{}", run.stderr);
}

#[test]
fn nothing_is_wider_than_eighty_columns() {
    for args in [
        vec!["explain", SWAPPED],
        vec!["explain", CARD[0], CARD[1], "1001011010000100100110100100"],
        vec!["explain", "10"],
        vec!["causes", "capture"],
        vec!["causes", "both-weak"],
        vec!["causes"],
        vec!["causes", "lines-swapped+both-weak"],
    ] {
        for line in misread(&args).stdout.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}

/// Arithmetic: 42 × 65536 + 1234 = 2753746.
#[test]
fn a_printed_number_is_taken_every_way() {
    let run = explain(&["--printed", "0002753746", SWAPPED]);
    let says = unwrapped(&run.stdout);
    assert!(says.contains("sure: the data lines D0 and D1 are swapped"), "{says}");
    assert!(says.contains("taken as facility 42, card 1234 in open-26"), "{says}");
    let json = misread(["explain", "--json", "--printed", "0002753746", SWAPPED]).json();
    assert_eq!(json[0]["printed"][0]["fields"]["card"], 1234);
    let run = explain(&["--printed", "12x", SWAPPED]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("--printed"), "{}", run.stderr);
}

#[test]
fn a_file_that_is_no_reads_is_refused_at_its_first_line() {
    let run = misread_with(["explain", "-"], "slipway\ngate\n");
    assert_eq!(run.status, 2);
    assert!(run.stderr.starts_with("misread: line 1, column 1: ‘s’ is not a bit"), "{run:?}");
}

/// How many 1s a number has tells much of it: facility 42 and card 1234 have
/// eight, 255 and 65434 twenty.
#[test]
fn masked_it_is_not_told_how_many_ones_a_card_has() {
    let says = |facility: u32, card: u32| {
        let data = facility << 16 | card;
        let even = (data >> 12).count_ones() % 2;
        let odd = 1 - (data & 0xfff).count_ones() % 2;
        let frame = format!("{even}{data:024b}{odd}");
        // The first 0 of the fields is lost.
        let at = 1 + frame[1..].find('0').unwrap();
        let read = frame[..at].to_owned() + &frame[at + 1..];
        let expect = format!("facility={facility},card={card}");
        let args = ["explain", "--json", "--layout", "open-26", "--expect", &expect, &read];
        let evidence = |args: &[&str]| misread(args).json()[0]["causes"][0]["evidence"].clone();
        (evidence(&[&args[..], &["--mask"]].concat()), evidence(&args))
    };
    let ((one, plain), (other, unlike)) = (says(42, 1234), says(255, 65434));
    assert_eq!(one, other);
    assert_ne!(plain, unlike);
}
