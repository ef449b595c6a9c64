//! Fixed layouts declared as plain structs with deku, a general-purpose bit
//! (de)serialiser: it cuts the frames, the parity is counted on what it gives.

use deku::prelude::*;
use misread_core::Bits;

use crate::{built_in, frame_of, spread};

/// The open 26-bit frame: a parity bit, 8 and 16 bits, a parity bit. Source:
/// SIA AC-01-1996.10, the bit table from memory.
#[derive(DekuRead, DekuWrite)]
#[deku(endian = "big")]
struct Open26 {
    #[deku(bits = 1)]
    even: u8,
    #[deku(bits = 8)]
    facility: u8,
    #[deku(bits = 16)]
    card: u16,
    #[deku(bits = 1)]
    odd: u8,
}

/// A parity bit, two numbers of 16 bits, a parity bit. Common practice.
#[derive(DekuRead, DekuWrite)]
#[deku(endian = "big")]
struct Site34 {
    #[deku(bits = 1)]
    even: u8,
    #[deku(bits = 16)]
    facility: u16,
    #[deku(bits = 16)]
    card: u16,
    #[deku(bits = 1)]
    odd: u8,
}

type Card = Option<(u64, u64)>;

fn ours(name: &str, read: &Bits) -> Card {
    let layout = built_in(name);
    let decoded = layout.decode(read).ok()?;
    Some((decoded.value("facility")?, decoded.value("card")?))
}

fn open_26(read: &Bits) -> Card {
    let (_, frame) = Open26::from_bytes((read.packed(), 0)).unwrap();
    let first =
        u32::from(frame.even) + frame.facility.count_ones() + (frame.card >> 12).count_ones();
    let last = (frame.card & 0xfff).count_ones() + u32::from(frame.odd);
    (first % 2 == 0 && last % 2 == 1).then_some((frame.facility.into(), frame.card.into()))
}

fn site_34(read: &Bits) -> Card {
    let (_, frame) = Site34::from_bytes((read.packed(), 0)).unwrap();
    let first = u32::from(frame.even) + frame.facility.count_ones();
    let last = frame.card.count_ones() + u32::from(frame.odd);
    (first % 2 == 0 && last % 2 == 1).then_some((frame.facility.into(), frame.card.into()))
}

#[test]
fn decoding_agrees_with_the_declared_structs() {
    let (mut sound, mut refused) = (0, 0);
    for random in spread(4_000) {
        let read = frame_of(random >> 38, 26);
        assert_eq!(ours("open-26", &read), open_26(&read), "{read}");
        let read = frame_of(random >> 30, 34);
        let card = site_34(&read);
        assert_eq!(ours("site-34", &read), card, "{read}");
        *if card.is_some() { &mut sound } else { &mut refused } += 1;
    }
    assert!(sound > 500 && refused > 500, "{sound} sound, {refused} refused");
}

#[test]
fn encoding_agrees_with_the_declared_structs() {
    for random in spread(2_000) {
        let (facility, card) = ((random >> 48) as u16, random as u16);
        let declared = Site34 {
            even: (facility.count_ones() % 2) as u8,
            facility,
            card,
            odd: ((card.count_ones() + 1) % 2) as u8,
        };
        let bytes = declared.to_bytes().unwrap();
        let frame = built_in("site-34")
            .encode([("facility", facility.into()), ("card", card.into())])
            .unwrap();
        assert_eq!(Bits::from_packed(&bytes, 34), Some(frame));

        let facility = facility as u8;
        let high = facility.count_ones() + (card >> 12).count_ones();
        let declared = Open26 {
            even: (high % 2) as u8,
            facility,
            card,
            odd: (((card & 0xfff).count_ones() + 1) % 2) as u8,
        };
        let bytes = declared.to_bytes().unwrap();
        let frame = built_in("open-26")
            .encode([("facility", facility.into()), ("card", card.into())])
            .unwrap();
        assert_eq!(Bits::from_packed(&bytes, 26), Some(frame));
    }
}
