//! The federal card number's worked example, both ways.
//!
//! Source: *Technical Implementation Guidance: Smart Card Enabled Physical
//! Access Control Systems*, v2.2, section 6.2, figure 7.

use misread_core::{Bit, Bits, Misfit};

use crate::{built_in, spread};

const WORKED: &str = "D0439458210C2C19A0846D83685A1082108CE73984108CA3FC";

const CARD: [(&str, u64); 9] = [
    ("agency", 32),
    ("system", 1),
    ("credential", 92_446),
    ("series", 0),
    ("issue", 1),
    ("person", 1_112_223_333),
    ("category", 1),
    ("organisation", 1223),
    ("association", 2),
];

/// The characters of figure 7 in order; 11 starts, 13 separates, 15 ends.
const CHARACTERS: [u8; 39] = [
    11, 0, 0, 3, 2, 13, 0, 0, 0, 1, 13, 0, 9, 2, 4, 4, 6, 13, 0, 13, 1, 13, 1, 1, 1, 2, 2, 2, 3, 3,
    3, 3, 1, 1, 2, 2, 3, 2, 15,
];

fn worked_frame() -> Bits {
    let bytes: Vec<u8> =
        (0..25).map(|i| u8::from_str_radix(&WORKED[2 * i..2 * i + 2], 16).unwrap()).collect();
    Bits::from_packed(&bytes, 200).unwrap()
}

/// Four bits, least significant first, and their odd parity.
fn character(value: u8) -> [bool; 5] {
    let bit = |i: u8| value >> i & 1 == 1;
    [bit(0), bit(1), bit(2), bit(3), value.count_ones() & 1 == 0]
}

/// The frame of a list of characters, with the LRC character behind: the
/// exclusive-or of all of them, with its own odd parity.
fn frame_of_characters(characters: &[u8]) -> Bits {
    let lrc = characters.iter().fold(0, |lrc, character| lrc ^ character);
    characters.iter().chain([&lrc]).flat_map(|&value| character(value)).map(Bit::from).collect()
}

#[test]
fn the_worked_example_decodes_to_its_fields() {
    let (layout, frame) = (built_in("fascn-200"), worked_frame());
    let decoded = layout.decode(&frame).unwrap();
    for (field, number) in CARD {
        assert_eq!(decoded.value(field), Some(number), "{field}");
    }
    assert_eq!(decoded.values().count(), CARD.len());
    assert!(decoded.concerns().next().is_none());
}

#[test]
fn its_fields_encode_to_the_worked_example_lrc_included() {
    let frame = built_in("fascn-200").encode(CARD).unwrap();
    assert_eq!(frame.hex().to_string().to_uppercase(), WORKED);
}

/// The third way: the frame built character by character, as the text around
/// the figure says.
#[test]
fn the_worked_example_is_its_characters() {
    assert_eq!(frame_of_characters(&CHARACTERS), worked_frame());
}

#[test]
fn random_cards_are_their_characters() {
    let layout = built_in("fascn-200");
    for random in spread(500) {
        let mut characters = CHARACTERS;
        let mut rest = random;
        for digit in characters.iter_mut().filter(|value| **value <= 9) {
            *digit = (rest % 10) as u8;
            rest = rest.rotate_left(7) / 3;
        }
        let number = |digits: &[u8]| digits.iter().fold(0, |n, &digit| 10 * n + u64::from(digit));
        let card = [
            ("agency", number(&characters[1..5])),
            ("system", number(&characters[6..10])),
            ("credential", number(&characters[11..17])),
            ("series", number(&characters[18..19])),
            ("issue", number(&characters[20..21])),
            ("person", number(&characters[22..32])),
            ("category", number(&characters[32..33])),
            ("organisation", number(&characters[33..37])),
            ("association", number(&characters[37..38])),
        ];
        let frame = frame_of_characters(&characters);
        assert_eq!(layout.encode(card).unwrap(), frame, "{card:?}");
        let decoded = layout.decode(&frame).unwrap();
        assert!(card.iter().all(|(field, number)| decoded.value(field) == Some(*number)));
    }
}

/// Derived: every bit stands in the parity of its own character, so one wrong
/// bit never passes.
#[test]
fn with_any_one_bit_changed_it_is_refused() {
    let layout = built_in("fascn-200");
    for index in 0..200 {
        let mut read = worked_frame();
        read.set(index, Bit::from(read.get(index) == Some(Bit::Zero)));
        let misfit = layout.decode(&read).unwrap_err();
        assert!(!matches!(misfit, Misfit::Length { .. }), "bit {}: {misfit}", index + 1);
        // Mended again, it is the card it was.
        read.set(index, Bit::from(read.get(index) == Some(Bit::Zero)));
        assert_eq!(layout.decode(&read).unwrap().value("credential"), Some(92_446));
    }
}

/// Derived: two wrong bits in one character keep its parity, but one of them at
/// least is a data bit, and the LRC's column over it fails.
#[test]
fn two_wrong_bits_in_one_character_are_refused() {
    let layout = built_in("fascn-200");
    for character in 0..40 {
        for (one, other) in [(0, 1), (0, 4), (1, 2), (2, 3), (3, 4)] {
            let mut read = worked_frame();
            for index in [5 * character + one, 5 * character + other] {
                read.set(index, Bit::from(read.get(index) == Some(Bit::Zero)));
            }
            assert!(layout.decode(&read).is_err(), "character {}", character + 1);
        }
    }
}
