//! `misread layout learn`. The frames follow the bit table of SIA
//! AC-01-1996.10 (the table from memory); the cards are invented.

use std::fs;

use insta::assert_snapshot;

use crate::misread;

/// Frames of the open 26-bit layout, worked out by hand.
fn frame(facility: u32, card: u32) -> String {
    let data = facility << 16 | card;
    let even = (data >> 12).count_ones() % 2;
    let odd = 1 - (data & 0xfff).count_ones() % 2;
    format!("{even}{data:024b}{odd}")
}

fn table(cards: impl IntoIterator<Item = (u32, u32)>) -> String {
    let row = |(facility, card)| format!("{},{facility},{card}\n", frame(facility, card));
    "bits,facility,card\n".to_owned() + &cards.into_iter().map(row).collect::<String>()
}

/// Numbers from all over the fields.
fn scattered(count: u32) -> Vec<(u32, u32)> {
    let mixed = |i: u32, by: u32| (i + 1).wrapping_mul(by) >> 8;
    (0..count).map(|i| (mixed(i, 2_654_435_761) & 255, mixed(i, 2_246_822_519) & 65_535)).collect()
}

#[test]
fn enough_cards_settle_the_layout_and_it_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (sheet, kept) = (path("sheet.csv"), path("loft.toml"));
    fs::write(&sheet, table(scattered(40))).unwrap();
    let run = misread(["layout", "learn", &sheet, "--name", "sail-loft", "--write", &kept]);
    assert_eq!(run.status, 0, "{run:?}");
    assert_snapshot!(run.stdout.replace(&kept, "loft.toml"));
    // Every sample decodes with what was kept.
    for (facility, card) in scattered(40) {
        let run = misread(["decode", "--json", "--layout", &kept, &frame(facility, card)]);
        assert_eq!(run.status, 0);
        assert_eq!(run.json()[0]["fields"]["card"], card);
        assert_eq!(run.json()[0]["fields"]["facility"], facility);
    }
    // Nothing is written over.
    let run = misread(["layout", "learn", &sheet, "--write", &kept]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("there is such a file already"), "{run:?}");
}

/// 0 for 1 and 1 for 0 is what swapped lines give (SIA AC-01-1996.10: a pulse
/// on D0 is 0, one on D1 is 1).
#[test]
fn swapped_lines_are_named_first() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.csv");
    let row = |(facility, card)| {
        let turn = |bit| if bit == '0' { '1' } else { '0' };
        let bits: String = frame(facility, card).chars().map(turn).collect();
        format!("{bits},{facility},{card}\n")
    };
    let rows: String = scattered(40).into_iter().map(row).collect();
    fs::write(&sheet, "bits,facility,card\n".to_owned() + &rows).unwrap();
    let run = misread(["layout", "learn", sheet.to_str().unwrap()]);
    let first =
        "40 reads of 26 bits, all turned over (D0 and D1 swapped?): the layout is settled\n";
    assert!(run.stdout.starts_with(first), "{run:?}");
}

#[test]
fn a_box_of_cards_is_not_written_while_the_numbers_are_open() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (sheet, kept) = (path("sheet.csv"), path("loft.toml"));
    fs::write(&sheet, table((1000..1012).map(|card| (42, card)))).unwrap();
    let run = misread(["layout", "learn", &sheet]);
    assert_eq!(run.status, 1, "{run:?}");
    assert_snapshot!(run.stdout);
    let run = misread(["layout", "learn", &sheet, "--write", &kept]);
    assert_eq!(run.status, 2);
    assert!(!folder.path().join("loft.toml").exists());

    let state = ["--assume", "card=10-25", "--assume", "facility=2-9"];
    let learn = ["layout", "learn", &sheet, "--write", &kept];
    assert_eq!(misread([&learn[..], &state[..]].concat()).status, 0);
    let run = misread(["decode", "--json", "--layout", &kept, &frame(42, 1011)]);
    assert_eq!(run.json()[0]["fields"]["card"], 1011);

    let anyway = path("anyway.json");
    let run = misread(["layout", "learn", &sheet, "--write", &anyway, "--anyway"]);
    assert_eq!(run.status, 1, "{run:?}");
    assert_eq!(misread(["layout", "check", &anyway]).status, 0);
}

#[test]
fn the_next_card_is_one_of_those_at_hand() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (sheet, cards) = (path("sheet.csv"), path("cards.csv"));
    fs::write(&sheet, table((1000..1012).map(|card| (42, card)))).unwrap();
    fs::write(&cards, "facility,card\n42,1001\n42,40000\n").unwrap();
    let run = misread(["layout", "learn", "--json", &sheet, "--cards", &cards]);
    let answer = &run.json()[0];
    assert_eq!(answer["next"]["card"]["card"], 40_000, "{answer}");
    let total: f64 = answer["candidates"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["weight"].as_f64().unwrap())
        .sum();
    assert!((total - 1.0).abs() < 1e-9);

    let run = misread(["layout", "learn", "--json", "--mask", &sheet, "--cards", &cards]);
    assert_eq!(run.json()[0]["next"]["card"]["card"], "•••00");
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.csv").to_str().unwrap().to_owned();
    let learn = |text: &str| {
        fs::write(&sheet, text).unwrap();
        misread(["layout", "learn", &sheet])
    };
    // A number mistyped.
    let mut cards = scattered(10);
    let right = cards[4].1;
    let bits = frame(cards[4].0, right);
    let text = table(cards.clone());
    cards[4].1 ^= 0x140;
    let wrong = format!("{bits},{},{}", cards[4].0, cards[4].1);
    let run = learn(&text.replace(&format!("{bits},{},{right}", cards[4].0), &wrong));
    assert!(run.stdout.contains("Line 6: contradicts the rest"), "{run:?}");
    assert!(run.stdout.replace("\n    ", " ").contains(&format!("card {right}")), "{run:?}");
    // Too little to learn from.
    for text in ["bits,card\n", "bits,card\n1010,3\n", "bits,card\n10x0,3\n", "facility\n1\n"] {
        let run = learn(text);
        assert_eq!(run.status, 2, "{text}: {run:?}");
    }
    let run = learn("bits,card\n1010,3\n1010,4\n1011,5\n");
    assert!(run.stderr.contains("lines 2 and 3"), "{run:?}");
    assert_eq!(misread(["layout", "learn", &sheet, "--assume", "card"]).status, 2);
}
