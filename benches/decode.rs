//! Decoding `open-26`: 1024 different frames, facility code and card number
//! out, both parity bits checked, from the same `Bits` values.
//!
//! Beside the library stand the ways someone would do it without one: shifts
//! and masks written by hand for this layout, the layout declared as a struct
//! with deku, and one bitvec load a field. To these the layout is known when
//! they are compiled; to the library it is data, as it is to `bitvec, layout as
//! data`. All are first held to agree on every frame, sound and broken.
//!
//! `cargo bench -p misread-benches --bench decode`

// A bench that cannot begin says so by panicking.
#![allow(clippy::expect_used)]

use bitvec::field::BitField;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use deku::prelude::*;
use misread_core::layout::{Field, built_in};
use misread_core::{Bits, Layout};
use std::hint::black_box;
use std::ops::Range;

const FRAMES: u64 = 1024;

/// Facility code and card number, where both parity bits hold.
type Card = Option<(u64, u64)>;

fn library(layout: &Layout, read: &Bits) -> Card {
    let decoded = layout.decode(read).ok()?;
    let mut values = decoded.values();
    Some((values.next()?.1?, values.next()?.1?))
}

fn library_by_field(layout: &Layout, [facility, card]: [&Field; 2], read: &Bits) -> Card {
    let decoded = layout.decode(read).ok()?;
    Some((decoded.value_of(facility)?, decoded.value_of(card)?))
}

fn library_by_name(layout: &Layout, read: &Bits) -> Card {
    let decoded = layout.decode(read).ok()?;
    Some((decoded.value("facility")?, decoded.value("card")?))
}

fn by_hand(read: &Bits) -> Card {
    if read.len() != 26 || read.unread_count() != 0 {
        return None;
    }
    let frame = u32::from_be_bytes(*read.packed().first_chunk()?) >> 6;
    let even = (frame >> 13).count_ones() & 1 == 0;
    let odd = (frame & 0x1fff).count_ones() & 1 == 1;
    (even && odd).then_some((u64::from(frame >> 17 & 0xff), u64::from(frame >> 1 & 0xffff)))
}

#[derive(DekuRead)]
#[deku(endian = "big")]
struct Declared {
    #[deku(bits = 1)]
    even: u8,
    #[deku(bits = 8)]
    facility: u8,
    #[deku(bits = 16)]
    card: u16,
    #[deku(bits = 1)]
    odd: u8,
}

fn declared(read: &Bits) -> Card {
    if read.len() != 26 || read.unread_count() != 0 {
        return None;
    }
    let (_, frame) = Declared::from_bytes((read.packed(), 0)).ok()?;
    let even =
        u32::from(frame.even) + frame.facility.count_ones() + (frame.card >> 12).count_ones();
    let odd = (frame.card & 0xfff).count_ones() + u32::from(frame.odd);
    (even & 1 == 0 && odd & 1 == 1).then_some((frame.facility.into(), frame.card.into()))
}

fn field_by_field(read: &Bits) -> Card {
    let frame = read.as_bitslice();
    if frame.len() != 26 || read.unread_count() != 0 {
        return None;
    }
    let even = frame[..13].count_ones() & 1 == 0;
    let odd = frame[13..].count_ones() & 1 == 1;
    (even && odd).then(|| (frame[1..9].load_be::<u64>(), frame[9..25].load_be::<u64>()))
}

/// Where the fields and parity groups lie, for who learns it at run time.
#[derive(Clone)]
struct Ranges {
    length: usize,
    facility: Range<usize>,
    card: Range<usize>,
    even: Range<usize>,
    odd: Range<usize>,
}

const OPEN_26: Ranges =
    Ranges { length: 26, facility: 1..9, card: 9..25, even: 0..13, odd: 13..26 };

fn field_by_field_from(ranges: &Ranges, read: &Bits) -> Card {
    let frame = read.as_bitslice();
    if frame.len() != ranges.length || read.unread_count() != 0 {
        return None;
    }
    let part = |range: &Range<usize>| &frame[range.clone()];
    let even = part(&ranges.even).count_ones() & 1 == 0;
    let odd = part(&ranges.odd).count_ones() & 1 == 1;
    let number = |range| part(range).load_be::<u64>();
    (even && odd).then(|| (number(&ranges.facility), number(&ranges.card)))
}

/// Frames spread over all cards by a multiplicative step.
fn spread(layout: &Layout) -> Vec<Bits> {
    (0..FRAMES)
        .filter_map(|i| {
            let step = i.wrapping_mul(0x9e37_79b9_7f4a_7c15);
            layout.encode([("facility", step >> 56), ("card", step >> 40 & 0xffff)]).ok()
        })
        .collect()
}

fn decode(criterion: &mut Criterion) {
    let layout = Layout::new(&built_in::OPEN_26).expect("a built-in layout compiles");
    let frames = spread(&layout);
    assert_eq!(frames.len() as u64, FRAMES);
    all_agree(&layout, &frames);

    let mut group = criterion.benchmark_group("decode open-26, 1024 frames");
    group.throughput(Throughput::Elements(FRAMES));
    let mut bench = |name: &str, decode: &dyn Fn() -> u64| {
        group.bench_function(name, |bencher| bencher.iter(decode));
    };
    // The layout is data to the compiler, as it is to a panel that reads it
    // from a file; the peers have theirs compiled in.
    let layout = black_box(&layout);
    bench("library", &|| sum(&frames, |read| library(layout, read)));
    let fields = ["facility", "card"].map(|name| layout.field(name).expect("open-26 has it"));
    bench("library, fields looked up before", &|| {
        sum(&frames, |read| library_by_field(layout, fields, read))
    });
    bench("library, fields by name", &|| sum(&frames, |read| library_by_name(layout, read)));
    bench("by hand", &|| sum(&frames, by_hand));
    bench("deku", &|| sum(&frames, declared));
    bench("bitvec", &|| sum(&frames, field_by_field));
    let ranges = &black_box(OPEN_26);
    bench("bitvec, layout as data", &|| sum(&frames, |read| field_by_field_from(ranges, read)));
    group.finish();
}

/// Decodes every frame and uses both numbers of every card, so that nothing
/// can be left out; the compiler does not see which frame comes next.
fn sum(frames: &[Bits], decode: impl Fn(&Bits) -> Card) -> u64 {
    let cards = frames.iter().filter_map(|frame| decode(black_box(frame)));
    cards.fold(0, |sum, (facility, card)| sum.wrapping_add(facility << 16 | card))
}

fn all_agree(layout: &Layout, frames: &[Bits]) {
    for frame in frames {
        for wrong in 0..=26 {
            let mut read = *frame;
            if let Some(bit) = read.get(wrong).and_then(misread_core::Bit::value) {
                read.set(wrong, (!bit).into());
            }
            let card = library(layout, &read);
            assert_eq!(card.is_some(), wrong == 26);
            assert_eq!(card, library_by_name(layout, &read));
            assert_eq!(card, by_hand(&read));
            assert_eq!(card, declared(&read));
            assert_eq!(card, field_by_field(&read));
            assert_eq!(card, field_by_field_from(&OPEN_26, &read));
        }
    }
}

criterion_group!(benches, decode);
criterion_main!(benches);
