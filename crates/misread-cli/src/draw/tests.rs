//! Drawn output, as it looks without colour.

use insta::assert_snapshot;
use misread::layout::built_in;
use misread::{Bits, Layout};
use proptest::prelude::*;

use super::*;
use crate::masking::Masking;

fn drawn(bits: &str, layout: Option<&Layout>, masking: Masking) -> String {
    let bits: Bits = bits.parse().unwrap();
    let marks = layout.map(|layout| Marked::failures(layout, &bits)).unwrap_or_default();
    text(&Drawing { bits: &bits, layout, marks, masking }.lines())
}

fn text(lines: &[Line]) -> String {
    lines.iter().map(Line::to_string).collect::<Vec<_>>().join("\n")
}

fn built_in(name: &str) -> Layout {
    Layout::new(built_in::spec(name).unwrap()).unwrap()
}

/// The worked example of *Technical Implementation Guidance: Smart Card
/// Enabled Physical Access Control Systems*, v2.2, section 6.2, figure 7.
fn federal_card() -> Bits {
    let bytes = [
        0xD0, 0x43, 0x94, 0x58, 0x21, 0x0C, 0x2C, 0x19, 0xA0, 0x84, 0x6D, 0x83, 0x68, 0x5A, 0x10,
        0x82, 0x10, 0x8C, 0xE7, 0x39, 0x84, 0x10, 0x8C, 0xA3, 0xFC,
    ];
    Bits::from_packed(&bytes, 200).unwrap()
}

#[test]
fn a_good_read() {
    let layout = built_in("open-26");
    assert_snapshot!(drawn("10010101000000100110100100", Some(&layout), Masking::Off));
}

#[test]
fn a_good_read_masked() {
    let layout = built_in("open-26");
    assert_snapshot!(drawn("10010101000000100110100100", Some(&layout), Masking::On));
}

#[test]
fn failed_checks_are_marked() {
    let layout = built_in("open-26");
    assert_snapshot!(drawn("01101010111111011001011011", Some(&layout), Masking::Off));
}

#[test]
fn unread_bits() {
    let layout = built_in("open-26");
    assert_snapshot!(drawn("?001010100000010011010010?", Some(&layout), Masking::Off));
}

#[test]
fn without_a_layout_in_groups_of_eight() {
    assert_snapshot!(drawn("1001010100000010011010010", None, Masking::Off));
    let long = "10010101".repeat(64);
    assert_snapshot!(drawn(&long, None, Masking::Off));
}

#[test]
fn a_layout_of_another_length_is_not_drawn() {
    let layout = built_in("open-26");
    let without = drawn("10010", None, Masking::Off);
    assert_eq!(drawn("10010", Some(&layout), Masking::Off), without);
}

#[test]
fn a_crowded_layout() {
    let layout = built_in("fascn-200");
    assert_snapshot!(drawn(&federal_card().to_string(), Some(&layout), Masking::Off));
    let mut wrong = federal_card();
    wrong.set(199, misread::Bit::One);
    assert_snapshot!(drawn(&wrong.to_string(), Some(&layout), Masking::Off));
}

#[test]
fn styles_are_there_for_a_terminal() {
    assert_eq!(Line::new(Ink::Strong, "a").styled(), "\u{1b}[1ma\u{1b}[0m");
    assert_eq!(Line::new(Ink::Plain, "a").styled(), "a");
}

#[test]
fn words_wrap_at_the_edge() {
    assert_eq!(wrap("one two three", 7), ["one two", "three"]);
    assert_eq!(wrap("", 7), [""]);
}

proptest! {
    #[test]
    fn every_bit_is_drawn_once_and_in_order(
        bits in "[01?]{1,512}",
        masked: bool,
    ) {
        let masking = if masked { Masking::On } else { Masking::Off };
        for name in [None, Some("plain-32"), Some("open-26"), Some("fascn-200")] {
            let layout = name.map(built_in);
            // As long as the layout, so that it is drawn.
            let len = layout.as_ref().map_or(bits.len(), Layout::bits);
            let bits: String = bits.chars().cycle().take(len).collect();
            let read: Bits = bits.parse().unwrap();
            let drawing =
                Drawing { bits: &read, layout: layout.as_ref(), marks: Vec::new(), masking };
            let lines = drawing.lines();
            // Only bits are in this ink.
            let shown: String = lines
                .iter()
                .flat_map(|line| &line.0)
                .filter(|(ink, _)| *ink == Ink::Strong)
                .map(|(_, text)| text.replace(' ', ""))
                .collect();
            prop_assert_eq!(shown, masking.bits(&read, layout.as_ref()));
        }
    }

    #[test]
    fn nothing_is_wider_than_the_page(bits in "[01?]{200}", masked: bool) {
        let masking = if masked { Masking::On } else { Masking::Off };
        for spec in built_in::SPECS {
            let layout = Layout::new(spec).unwrap();
            let bits = &bits[..layout.bits()];
            let layout_alone = text(&draw_layout(&layout));
            for line in drawn(bits, Some(&layout), masking).lines().chain(layout_alone.lines()) {
                prop_assert!(line.chars().count() <= COLUMNS, "{}", line);
            }
        }
    }
}

#[test]
fn a_layout_without_a_read() {
    assert_snapshot!(text(&draw_layout(&built_in("open-26"))));
}

#[test]
fn a_crowded_layout_without_a_read() {
    assert_snapshot!(text(&draw_layout(&built_in("fascn-200"))));
}

#[test]
fn a_layout_with_everything_in_it() {
    let doc = misread::file::LayoutDoc::from_toml(
        r#"
        name = "slipway-33"
        bits = 33
        [[field]]
        name = "facility"
        bits = ["2-9"]
        value = 42
        [[field]]
        name = "card"
        bits = ["18-31", "10-17"]
        order = "lsb-first"
        range = [1, 6000]
        [[fixed]]
        bits = ["33"]
        value = "1"
        [[parity]]
        bit = 1
        kind = "even"
        over = ["2-17"]
        "#,
    );
    let layout = doc.unwrap().check().unwrap();
    assert_snapshot!(text(&draw_layout(&layout)));
    let frame = layout.encode([("card", 1234)]).unwrap().to_string();
    assert_snapshot!(drawn(&frame, Some(&layout), Masking::Off));
    let turned: Bits = frame.parse().unwrap();
    assert_snapshot!(drawn(&turned.complement().to_string(), Some(&layout), Masking::Off));
}
