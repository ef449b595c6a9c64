//! `misread capture --mask`: what must not be told, in any answer.

use std::fs;

use insta::assert_snapshot;
use misread::layout::built_in;
use misread::{Bits, Layout};
use proptest::prelude::*;

use crate::capture::{file, held_low, pulses};
use crate::{SOUND, misread};

/// What is shown of a capture, in every way it can be.
fn everything(table: &str, args: &[&str]) -> [String; 4] {
    let (folder, path) = file("loft.csv", table);
    let svg = folder.path().join("loft.svg");
    let svg = svg.to_str().unwrap();
    let screen = misread([&["capture", "--all", &path, "--svg", svg][..], args].concat());
    assert!(screen.status < 2, "{screen:?}");
    let json = misread([&["capture", "--json", &path][..], args].concat());
    let folder = folder.path().to_str().unwrap();
    let plain = |text: String| text.replace(folder, "").replace(['\n', ' '], "");
    let drawing = fs::read_to_string(svg).unwrap();
    // Standard error wraps at the length of the path.
    [plain(screen.stdout), json.stdout, drawing, format!("{} {}", screen.status, json.status)]
}

/// Of reads that are 0s alone or 1s alone one line is silent, and which it is
/// would tell every bit.
#[test]
fn masked_it_is_not_told_which_line_is_silent() {
    let table = |bits: &str| pulses(bits, |_| (50, 1000));
    let [zeros, ones] = [table("00000000"), table("11111111")];
    for args in [&["--mask", "--layout", "open-26"][..], &["--mask"]] {
        assert_eq!(everything(&zeros, args), everything(&ones, args));
    }
    assert_ne!(everything(&zeros, &[]), everything(&ones, &[]));
    // Nor which one is held.
    let [d0, d1] = ["D0", "D1"].map(|held| held_low(held, 8));
    assert_eq!(everything(&d0, &["--mask"]), everything(&d1, &["--mask"]));
    assert_ne!(everything(&d0, &[]), everything(&d1, &[]));
}

/// Timing of all kinds, sound and not, in which no pulse touches the next.
fn timing() -> impl Strategy<Value = Vec<(u64, u64)>> {
    let width = prop_oneof![6 => 40u64..60, 1 => 1u64..20, 1 => 100u64..200];
    let next = prop_oneof![6 => 990u64..1010, 1 => 201u64..300, 1 => Just(2000u64)];
    proptest::collection::vec((width, next), 40)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn masked_captures_that_differ_in_field_bits_are_the_same_bytes(
        timing in timing(),
        hundreds in (100u64..600, 100u64..600),
    ) {
        // Two cards that share what --mask leaves: two digits, the parity bits.
        let layout = Layout::new(&built_in::OPEN_26).unwrap();
        let frame = |facility: u64, hundreds: u64| {
            layout.encode([("facility", facility), ("card", hundreds * 100 + 34)]).unwrap()
        };
        let one = frame(142, hundreds.0);
        let ends = |frame: &Bits| (frame.get(0), frame.get(25));
        let other = (0..1000u64)
            .map(|step| frame(242, 100 + (hundreds.1 + step) % 500))
            .find(|other| ends(other) == ends(&one) && *other != one)
            .unwrap();
        let table = |frame: &Bits| pulses(&frame.to_string(), |i| timing[i]);
        let (one, other) = (table(&one), table(&other));
        for args in [&["--layout", "open-26"][..], &[]] {
            let masked = [args, &["--mask"]].concat();
            let [a, b] = [everything(&one, &masked), everything(&other, &masked)];
            prop_assert_eq!(&a, &b);
            // Unmasked they are told apart, on the screen, in JSON and drawn.
            let [a, b] = [everything(&one, args), everything(&other, args)];
            prop_assert!(a[..3].iter().zip(&b[..3]).all(|(a, b)| a != b));
        }
    }
}

#[test]
fn a_masked_capture_hides_a_line_that_is_slow() {
    // Every pulse on D1 is too long: where that is would tell the bits.
    let slow = |i: usize| (if SOUND.as_bytes()[i] == b'1' { 130 } else { 50 }, 1000);
    let (_folder, path) = file("loft.csv", &pulses(SOUND, slow));
    let run = misread(["capture", "--mask", "--layout", "open-26", &path]);
    assert_snapshot!(run.stdout.replace(&path, "loft.csv"));
    let answer = &misread(["capture", "--json", "--mask", "--layout", "open-26", &path]).json()[0];
    let findings = answer["reads"][0]["findings"].as_array().unwrap();
    assert!(!findings.is_empty());
    assert!(findings.iter().all(|finding| finding["line"].is_null() && finding["bit"].is_null()));
    assert!(answer["reads"][0]["pulse_width_us"]["d1"].is_null());
}
