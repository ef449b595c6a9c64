//! Keypad frames. Common practice: four bits a key, most significant first; or
//! the four bits complemented, then the four bits.

use misread_core::{Bits, Turn};

use crate::{built_in, frame_of};

/// Complemented half, then the half itself.
fn eight(key: u64) -> Bits {
    frame_of((!key & 15) << 4 | key, 8)
}

#[test]
fn four_bits_are_the_key() {
    let layout = built_in("key-4");
    for key in 0..16 {
        assert_eq!(layout.encode([("key", key)]).unwrap(), frame_of(key, 4));
        assert_eq!(layout.decode(&frame_of(key, 4)).unwrap().value("key"), Some(key));
    }
}

#[test]
fn of_all_eight_bit_frames_the_sixteen_with_a_complemented_half_pass() {
    let layout = built_in("key-8");
    for value in 0..256 {
        let read = frame_of(value, 8);
        let key = value & 15;
        let decoded = layout.decode(&read).ok().and_then(|decoded| decoded.value("key"));
        assert_eq!(decoded, (read == eight(key)).then_some(key), "{read}");
    }
}

/// Derived: with the data lines swapped the halves are still each other's
/// complement, and digit d becomes 15 − d.
#[test]
fn swapped_lines_on_eight_bits_stay_consistent_and_turn_d_into_15_less_d() {
    let layout = built_in("key-8");
    for key in 0..16 {
        let swapped = eight(key).complement();
        assert_eq!(layout.decode(&swapped).unwrap().value("key"), Some(15 - key));
        assert!(layout.fitting_turns(&eight(key)).contains(Turn::Inverted));
    }
}
