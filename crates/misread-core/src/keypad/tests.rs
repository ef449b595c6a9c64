//! Every key both ways in every mode; codes from any keys.

use std::string::{String, ToString};
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::bits::Bits;
use crate::layout::{Kind, Layout};

/// Common practice: four bits most significant first, 10 for the star key, 11
/// for the hash key; eight bits are the four complemented, then the four. The
/// six-bit column is from memory: even parity over the first two of the four
/// before them, odd parity over the last two behind them. Written out by hand.
const SENT: [(char, &str, &str, &str); 12] = [
    ('0', "0000", "000001", "11110000"),
    ('1', "0001", "000010", "11100001"),
    ('2', "0010", "000100", "11010010"),
    ('3', "0011", "000111", "11000011"),
    ('4', "0100", "101001", "10110100"),
    ('5', "0101", "101010", "10100101"),
    ('6', "0110", "101100", "10010110"),
    ('7', "0111", "101111", "10000111"),
    ('8', "1000", "110001", "01111000"),
    ('9', "1001", "110010", "01101001"),
    ('*', "1010", "110100", "01011010"),
    ('#', "1011", "110111", "01001011"),
];

fn bits(text: &str) -> Bits {
    text.parse().unwrap()
}

#[test]
fn every_key_is_sent_and_read_in_every_mode() {
    for (c, four, six, eight) in SENT {
        let key = Key::from_char(c).unwrap();
        assert_eq!(key.as_char(), c);
        for (mode, sent) in Mode::ALL.into_iter().zip([four, six, eight]) {
            assert_eq!(mode.encode(key), bits(sent), "{c} {mode}");
            assert_eq!(mode.key(&bits(sent)), Ok(key), "{c} {mode}");
        }
    }
}

/// The second way: the layout of a mode, with its parity rules.
#[test]
fn of_all_frames_those_that_fit_the_layout_and_are_at_most_eleven_are_keys() {
    for mode in Mode::ALL {
        let layout = Layout::new(mode.spec()).unwrap();
        for frame in 0..1u64 << mode.bits() {
            let read = Bits::from_value(frame, mode.bits()).unwrap();
            let value = layout.decode(&read).ok().and_then(|decoded| decoded.value("key"));
            let key = value.and_then(|value| Key::from_value(value as u8));
            assert_eq!(mode.key(&read).ok(), key, "{read}");
            assert_eq!(mode.keys(&read).collect::<Vec<_>>(), [mode.key(&read)]);
        }
        for (value, key) in (0..).zip(Key::ALL) {
            assert_eq!(layout.encode([("key", value)]).unwrap(), mode.encode(key));
        }
    }
}

/// Derived: with the lines swapped digit d becomes 15 − d in four and eight
/// bits; six bits fail both parities, each over three bits, an odd number.
#[test]
fn swapped_lines_turn_d_into_15_less_d() {
    for (value, key) in (0u8..).zip(Key::ALL) {
        for mode in [Mode::FourBit, Mode::EightBit] {
            match (mode.key(&mode.encode(key).complement()), Key::from_value(15 - value)) {
                (Ok(found), Some(expected)) => assert_eq!(found, expected),
                (Err(NoKey { why: Why::Value { found, .. }, .. }), None) => {
                    assert_eq!(found, 15 - value);
                }
                (found, _) => panic!("{mode} {key}: {found:?}"),
            }
        }
        let six = Mode::SixBit.encode(key).complement();
        let problem = Mode::SixBit.key(&six).unwrap_err();
        assert_eq!(problem.why, Why::Parity { kind: Kind::Even, index: 0 });
        let mut half = six;
        half.set(0, Mode::SixBit.encode(key).get(0).unwrap());
        assert!(Mode::SixBit.key(&half).is_err());
    }
}

#[test]
fn what_is_no_key_is_named_with_its_place() {
    for (mode, text, says) in [
        (Mode::FourBit, "00011100", "bits 5-8 hold 12, which is no key"),
        (Mode::FourBit, "00010", "5 bits arrived; a key takes 4"),
        (Mode::FourBit, "000100?0", "bit 7 is unread"),
        (Mode::SixBit, "000010000011", "odd parity in bit 12 fails over bits 10-11"),
        (Mode::SixBit, "000010100010", "even parity in bit 7 fails over bits 8-9"),
        (Mode::SixBit, "011001", "bits 2-5 hold 12, which is no key"),
        (Mode::EightBit, "00001111", "bits 5-8 hold 15, which is no key"),
        (
            Mode::EightBit,
            "1111000011110100",
            "bits 10 and 14 are alike; the first four should be the last four turned over",
        ),
    ] {
        let read = bits(text);
        let problem = mode.keys(&read).find_map(Result::err).unwrap();
        assert_eq!(problem.to_string(), says);
        assert_eq!(problem.index % mode.bits(), 0);
    }
}

#[test]
fn hash_ends_star_clears_pause_divides() {
    let codes = |presses: &[(char, i64)]| {
        let mut assembler = Assembler::new(5_000);
        let mut done: Vec<Code> = Vec::new();
        for &(c, at) in presses {
            done.extend(assembler.press(Key::from_char(c), Some(at)));
        }
        done.extend(assembler.finish());
        let said = |code: &Code| (code.to_string(), code.ended(), code.cleared());
        done.iter().map(said).collect::<Vec<_>>()
    };
    let code = |keys: &str, ended, cleared| (String::from(keys), ended, cleared);
    assert_eq!(codes(&[]), []);
    assert_eq!(codes(&[('*', 0)]), []);
    assert_eq!(codes(&[('#', 0)]), [code("", Ended::Hash, 0)]);
    assert_eq!(codes(&[('1', 0), ('2', 4_999)]), [code("12", Ended::StreamEnd, 0)]);
    // A pause and the key after it may both end a code.
    assert_eq!(
        codes(&[('1', 0), ('#', 5_000)]),
        [code("1", Ended::Pause, 0), code("", Ended::Hash, 0)]
    );
    assert_eq!(codes(&[('1', 0), ('*', 1), ('2', 2), ('#', 3)]), [code("2", Ended::Hash, 1)]);
    // A clock that runs back is no pause.
    assert_eq!(codes(&[('1', 9_000), ('2', 0), ('?', 1)]), [code("12?", Ended::StreamEnd, 0)]);
    assert_eq!(
        codes(&[('1', i64::MIN), ('2', i64::MAX)]),
        [code("1", Ended::Pause, 0), code("2", Ended::StreamEnd, 0)]
    );
}

#[test]
fn a_code_too_long_ends_and_another_begins() {
    let mut assembler = Assembler::default();
    let one = Key::from_char('1');
    let done: Vec<Code> = (0..MAX_KEYS + 1).flat_map(|_| assembler.press(one, None)).collect();
    assert_eq!(done.len(), 1);
    assert_eq!((done[0].keys().len(), done[0].ended()), (MAX_KEYS, Ended::TooManyKeys));
    assert_eq!(assembler.finish().unwrap().keys().len(), 1);
}

fn any_mode() -> impl Strategy<Value = Mode> {
    prop::sample::select(Mode::ALL.to_vec())
}

fn any_keys() -> impl Strategy<Value = Vec<Key>> {
    prop::collection::vec(prop::sample::select(Key::ALL.to_vec()), 0..60)
}

proptest! {
    #[test]
    fn a_burst_is_its_keys(mode in any_mode(), keys in any_keys()) {
        let burst = keys.iter().flat_map(|&key| mode.encode(key).iter().collect::<Vec<_>>());
        let burst: Bits = burst.collect();
        let read: Result<Vec<Key>, NoKey> = mode.keys(&burst).collect();
        prop_assert_eq!(read, Ok(keys));
    }

    #[test]
    fn no_read_panics_and_every_problem_lies_within_it(mode in any_mode(), text in "[01?]{0,80}") {
        let read = bits(&text);
        let keys: Vec<_> = mode.keys(&read).collect();
        for problem in keys.iter().filter_map(|key| key.err()) {
            prop_assert!(problem.index < read.len());
            prop_assert!(!problem.to_string().is_empty());
        }
        prop_assert!(keys.len() <= read.len().div_ceil(mode.bits()));
    }

    /// The second way: by splitting text.
    #[test]
    fn codes_are_what_stands_between_hashes_behind_the_last_star(keys in any_keys()) {
        let text: String = keys.iter().map(|key| key.as_char()).collect();
        let mut expected: Vec<&str> =
            text.split('#').map(|code| code.rsplit('*').next().unwrap_or_default()).collect();
        if expected.last() == Some(&"") {
            expected.pop();
        }
        let mut assembler = Assembler::default();
        let mut codes: Vec<String> = Vec::new();
        for key in keys {
            codes.extend(assembler.press(Some(key), None).map(|code| code.to_string()));
        }
        codes.extend(assembler.finish().map(|code| code.to_string()));
        prop_assert_eq!(codes, expected);
    }

    #[test]
    fn no_press_is_lost(
        presses in prop::collection::vec((0usize..13, prop::option::of(any::<i64>())), 0..300),
        pause in any::<u64>(),
    ) {
        let mut assembler = Assembler::new(pause);
        let mut done: Vec<Code> = Vec::new();
        for &(key, at) in &presses {
            done.extend(assembler.press(Key::ALL.get(key).copied(), at));
        }
        done.extend(assembler.finish());
        let kept: usize = done.iter().map(|code| code.keys().len() + code.cleared()).sum();
        let hashes = done.iter().filter(|code| code.ended() == Ended::Hash).count();
        let pressed = |value| presses.iter().filter(|press| press.0 == value).count();
        prop_assert_eq!(hashes, pressed(11));
        // What a star cleared at the very end belongs to no code.
        prop_assert!(kept + pressed(10) + pressed(11) <= presses.len());
    }
}
