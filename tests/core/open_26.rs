//! `open-26` against a decoder and an encoder written apart from it, from the
//! bit table of the standard.
//!
//! Source: SIA AC-01-1996.10, *Access Control Standard Protocol for the 26-BIT
//! Wiegand Reader Interface*: bit 1 even parity over bits 2–13; bits 2–9
//! facility code and bits 10–25 card number, most significant bit first; bit 26
//! odd parity over bits 14–25. The bit table is from memory.

use misread_core::Misfit;
use misread_core::layout::Kind;

use crate::{built_in, frame_of, spread};

/// What bit `position` of the table carries; the first bit is the top one of
/// the 26.
fn table_bit(frame: u64, position: u32) -> u64 {
    frame >> (26 - position) & 1
}

/// Facility code and card number, or the number of the parity bit that fails,
/// walked through bit by bit.
fn from_table(frame: u64) -> Result<(u64, u64), u32> {
    let ones = |first, last| (first..=last).map(|bit| table_bit(frame, bit)).sum::<u64>();
    let number = |first, last| (first..=last).fold(0, |n, bit| 2 * n + table_bit(frame, bit));
    if (table_bit(frame, 1) + ones(2, 13)) & 1 != 0 {
        return Err(1);
    }
    if (ones(14, 25) + table_bit(frame, 26)) & 1 != 1 {
        return Err(26);
    }
    Ok((number(2, 9), number(10, 25)))
}

/// The frame of a card, by shifts and masks.
fn to_table(facility: u64, card: u64) -> u64 {
    let middle = facility << 17 | card << 1;
    let even = (facility.count_ones() + (card >> 12).count_ones()) % 2;
    let odd = 1 - (card & 0xfff).count_ones() % 2;
    u64::from(even) << 25 | middle | u64::from(odd)
}

#[test]
fn decoding_agrees_with_the_bit_table_on_frames_and_on_what_is_none() {
    let layout = built_in("open-26");
    let mut seen = [0; 3];
    for frame in spread(20_000).map(|random| random >> 38) {
        let read = frame_of(frame, 26);
        match (from_table(frame), layout.decode(&read)) {
            (Ok((facility, card)), Ok(decoded)) => {
                assert_eq!(decoded.value("facility"), Some(facility), "{read}");
                assert_eq!(decoded.value("card"), Some(card), "{read}");
                seen[0] += 1;
            }
            (Err(1), Err(Misfit::Parity { kind: Kind::Even, bit: 0, .. })) => seen[1] += 1,
            (Err(26), Err(Misfit::Parity { kind: Kind::Odd, bit: 25, .. })) => seen[2] += 1,
            (table, ours) => panic!("{read}: the table says {table:?}, we say {ours:?}"),
        }
    }
    assert!(seen.iter().all(|&count| count > 4000), "{seen:?}");
}

#[test]
fn encoding_agrees_with_the_bit_table() {
    let layout = built_in("open-26");
    for random in spread(5_000) {
        let (facility, card) = (random >> 56, random & 0xffff);
        let ours = layout.encode([("facility", facility), ("card", card)]).unwrap();
        assert_eq!(ours.to_value(), Some(to_table(facility, card)), "{facility}, {card}");
        assert_eq!(from_table(to_table(facility, card)), Ok((facility, card)));
    }
}

/// Every pair of parity bits on one card: only one of the four frames passes.
#[test]
fn of_the_four_settings_of_the_parity_bits_one_is_right() {
    let layout = built_in("open-26");
    for random in spread(1_000) {
        let frame = random >> 38;
        let settings = [0, 1, 1 << 25, 1 << 25 | 1];
        let fits = settings.map(|parity| {
            let frame = frame & !(1 << 25 | 1) | parity;
            let ours = layout.decode(&frame_of(frame, 26)).is_ok();
            assert_eq!(ours, from_table(frame).is_ok());
            u8::from(ours)
        });
        assert_eq!(fits.iter().sum::<u8>(), 1);
    }
}

/// The ends of what the interface can carry: facility codes to 255, card
/// numbers to 65 535. Common practice.
#[test]
fn the_largest_and_the_smallest_card_arrive() {
    let layout = built_in("open-26");
    for (facility, card) in [(0, 0), (0, 65_535), (255, 0), (255, 65_535), (1, 1)] {
        let frame = layout.encode([("facility", facility), ("card", card)]).unwrap();
        assert_eq!(frame.to_value(), Some(to_table(facility, card)));
        assert_eq!(layout.decode(&frame).unwrap().value("card"), Some(card));
    }
    assert!(layout.encode([("facility", 256), ("card", 1)]).is_err());
    assert!(layout.encode([("facility", 1), ("card", 65_536)]).is_err());
}
