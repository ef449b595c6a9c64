//! What a layout's checks can notice, counted rather than believed.

use misread_core::layout::CheckOutcome;
use misread_core::{Bits, Layout, Turn};

use crate::{built_in, frame_of, spread};

/// How many parity rules of a read hold.
fn holding(layout: &Layout, read: &Bits) -> usize {
    layout.checks().filter(|check| check.outcome(read) == CheckOutcome::Holds).count()
}

/// Derived: the undetected patterns of `open-26` have the weight enumerator
/// ((1+z)¹³ + (1−z)¹³)² / 4, and a random 26-bit frame passes both parity bits
/// 1 in 4. The layout is affine, so a pattern goes undetected on every frame if
/// it does on one: each of the 2²⁶ is laid over one frame, which is every frame
/// there is.
#[test]
fn undetected_patterns_of_open_26_are_counted_by_its_weight_enumerator() {
    let layout = built_in("open-26");
    let sound = layout.encode([("facility", 42), ("card", 1234)]).unwrap().to_value().unwrap();
    let mut counted = [0u64; 27];
    for pattern in 0..1u64 << 26 {
        if layout.decode(&frame_of(sound ^ pattern, 26)).is_ok() {
            counted[pattern.count_ones() as usize] += 1;
        }
    }
    // (1+z)¹³ + (1−z)¹³ is twice the even terms of (1+z)¹³, so the enumerator
    // is the square of those even terms.
    let mut choose = [0u64; 14];
    choose[0] = 1;
    for _ in 0..13 {
        for k in (1..14).rev() {
            choose[k] += choose[k - 1];
        }
    }
    let mut expected = [0u64; 27];
    for i in (0..14).step_by(2) {
        for j in (0..14).step_by(2) {
            expected[i + j] += choose[i] * choose[j];
        }
    }
    assert_eq!(counted, expected);
    assert_eq!(counted.iter().sum::<u64>(), 1 << 24);
}

/// Derived: each parity group of `open-26` has 13 bits, an odd number, so
/// swapping the data lines always fails both. Held on every facility code
/// and a spread of cards.
#[test]
fn swapped_lines_on_open_26_always_fail_both_parity_bits() {
    let layout = built_in("open-26");
    for frame in sound_frames(&layout) {
        assert_eq!(holding(&layout, &frame), 2);
        assert_eq!(holding(&layout, &frame.complement()), 0);
    }
}

/// Derived: reversing an `open-26` frame always fails both, and it looks
/// exactly like swapped lines: it fits again when every bit is turned over.
#[test]
fn reversed_open_26_always_fails_both_and_fits_when_complemented() {
    let layout = built_in("open-26");
    for frame in sound_frames(&layout) {
        let reversed = frame.reverse();
        assert_eq!(holding(&layout, &reversed), 0);
        assert!(layout.decode(&reversed.complement()).is_ok());
        let turns: Vec<Turn> = layout.fitting_turns(&reversed).iter().collect();
        assert_eq!(turns, [Turn::Inverted, Turn::Reversed]);
    }
}

/// Arithmetic: every field arrives as its largest value less itself; 42, 1234
/// shows as 213, 64301, and the other way round.
#[test]
fn swapped_lines_show_each_field_as_its_largest_value_less_itself() {
    for name in ["open-26", "site-34"] {
        let layout = built_in(name);
        for frame in sound_frames(&layout) {
            let swapped = frame.complement();
            let sound = layout.decode(&frame).unwrap();
            for (field, number) in sound.values() {
                assert_eq!(field.value_in(&swapped), number.map(|number| field.max() - number));
            }
        }
    }
    let layout = built_in("open-26");
    for (sent, shown) in [((42, 1234), (213, 64_301)), ((213, 64_301), (42, 1234))] {
        let frame = layout.encode([("facility", sent.0), ("card", sent.1)]).unwrap();
        let swapped = frame.complement();
        let shows = |field| layout.field(field).unwrap().value_in(&swapped);
        assert_eq!((shows("facility"), shows("card")), (Some(shown.0), Some(shown.1)));
    }
}

/// Every facility code of the low eight bits, four cards each.
fn sound_frames(layout: &Layout) -> impl Iterator<Item = Bits> + '_ {
    spread(1024).enumerate().map(|(i, random)| {
        let card = [("facility", i as u64 / 4), ("card", random >> 48)];
        layout.encode(card).unwrap()
    })
}
