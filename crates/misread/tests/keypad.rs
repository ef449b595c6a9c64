//! Keypads: every key through every mode, the posterior against one found by
//! listing everything that could have been keyed, and text that comes in.

#![allow(clippy::unwrap_used, clippy::panic)]

mod little;

use std::collections::HashMap;
use std::sync::Arc;

use little::{CAUSES, Frame, Little, Read, arrives};
use misread::cause::{Cause, Model};
use misread::diagnose::Numbers;
use misread::file::LineProblem;
use misread::keypad::{
    Answer, AnswerError, Ended, Key, Mode, Press, ProblemKind, Sending, Setting, Verdict, Why,
    answer, read_presses, reads_in, weigh,
};
use misread::layout::{Layout, built_in};
use misread::pulse::Evidence;
use misread::{Bit, Bits};
use proptest::prelude::*;

fn presses(text: &str) -> Vec<Press> {
    reads_in(text).unwrap().into_iter().map(Press::from).collect()
}

fn ask(presses: &[Press], sendings: &[Sending]) -> Answer {
    answer(presses, &Setting::of(sendings), &Model::default(), Numbers::Shown).unwrap()
}

fn said(text: &str) -> Answer {
    ask(&presses(text), &Sending::all(None))
}

fn codes(answer: &Answer) -> Vec<String> {
    answer.codes.iter().map(ToString::to_string).collect()
}

fn id(answer: &Answer) -> Option<&'static str> {
    answer.sending.map(|index| ["4", "6", "8", "whole-code"][index])
}

/// The bits of a key's value, from the words of the table of facts and not from
/// the library. Common practice for four and eight bits; six from memory.
fn frame(mode: usize, value: u8) -> Frame {
    let four: Frame = (0..4).rev().map(|i| value >> i & 1 == 1).collect();
    match mode {
        0 => four,
        1 => {
            let even = four[0] != four[1];
            let odd = four[2] == four[3];
            [&[even][..], &four, &[odd]].concat()
        }
        _ => four.iter().map(|bit| !bit).chain(four.iter().copied()).collect(),
    }
}

fn bits(frame: &[bool]) -> Bits {
    frame.iter().map(|&bit| Bit::from(bit)).collect()
}

#[test]
fn every_key_goes_through_every_mode_sound_and_swapped() {
    for mode in 0..3 {
        // 1 2 3 # and each key between them.
        for key in 0..12u8 {
            let keyed = [1, key, 2, 3, 11];
            let sound: Vec<Press> =
                keyed.iter().map(|&v| Press::from(bits(&frame(mode, v)))).collect();
            let turned: Vec<Press> =
                sound.iter().map(|p| Press::from(p.bits.complement())).collect();
            let one = Key::from_value(key).unwrap().as_char();
            let text = match one {
                '*' => "23#".to_owned(),
                one => format!("1{one}23#"),
            };
            let expected: Vec<String> = text.split_inclusive('#').map(str::to_owned).collect();
            let found = ask(&sound, &Sending::all(None));
            assert_eq!((found.verdict, id(&found)), (Verdict::None, Some(["4", "6", "8"][mode])));
            assert!(found.ok && codes(&found) == expected, "{one}: {found:?}");
            let found = ask(&turned, &Sending::all(None));
            assert_eq!(found.verdict, Verdict::Wire(Cause::LinesSwapped), "{one} {found:?}");
            assert_eq!((codes(&found), found.ok), (expected, false));
        }
    }
}

/// Derived: swapped lines turn d into 15 − d, so 6 and 9, 7 and 8 only change
/// places, and nothing but the priors tells.
#[test]
fn codes_that_only_change_places_are_ambiguous() {
    for text in ["0111 1000", "0110 1001", "0110", "10010110 01101001"] {
        let found = said(text);
        assert_eq!(found.verdict, Verdict::Ambiguous, "{text}");
        assert!(!found.ok && found.codes.is_empty() && found.tells.is_some());
        let of = |cause| found.possible.iter().find(|p| p.cause == cause).unwrap();
        let ratio = of(Cause::None).probability / of(Cause::LinesSwapped).probability;
        assert!((ratio - 0.374 / 0.170).abs() < 1e-9, "{text}: {ratio}");
    }
    assert_eq!(codes(&said("0111 1000 0001")), ["781"]);
    // A hash key is what tells.
    assert_eq!(codes(&said("0111 1000 1011")), ["78#"]);
    assert_eq!(said("1000 0111 0100 1001 0110 0100").verdict, Verdict::Wire(Cause::LinesSwapped));
}

#[test]
fn a_press_that_is_no_key_is_named_with_its_place_and_the_rest_is_read() {
    let found = said("11100001 11010010 11000111 11000011 01001011");
    assert_eq!(found.verdict, Verdict::Wire(Cause::BitsChanged));
    assert_eq!(codes(&found), ["12?3#"]);
    let problem = &found.problems[0];
    assert_eq!(problem.read, 3);
    let ProblemKind::NoKey(no_key) = problem.kind else { panic!("{problem:?}") };
    assert_eq!(no_key.why, Why::NotComplement { index: 1 });
    assert!(found.says.contains("read 3"), "{}", found.says);
}

#[test]
fn faults_of_pulses_are_told_by_the_lengths() {
    for (text, cause) in [
        ("1111 1111 1111 1111", Cause::D0Open),
        ("11100001 1110001 1101001 1100001 0100101", Cause::BothWeak),
        ("010 100 0001 111 1011 0110 00", Cause::D0Weak),
        ("0110101110100101011 11100100101110101101001 001101110101", Cause::RandomBits),
        ("10010101000000100110100100", Cause::UnknownLayout),
    ] {
        assert_eq!(said(text).verdict, Verdict::Wire(cause), "{text}: {:?}", said(text));
    }
    assert_eq!(said("1111 1111 1111 1111").codes, []);
}

#[test]
fn nothing_is_no_data() {
    let nothing = [Press::from(Bits::new())];
    for presses in [&nothing[..], &[]] {
        assert_eq!(ask(presses, &Sending::all(None)).verdict, Verdict::NoData);
    }
    let nowhere = Setting::of(&[]);
    let found = answer(&presses("0001"), &nowhere, &Model::default(), Numbers::Shown);
    assert_eq!(found.unwrap_err(), AnswerError::RuledOut);
}

/// Common practice: the digits as a number in the card-number field of the
/// site's layout, sent after the hash key. The frame of facility 42, card 1234
/// follows SIA AC-01-1996.10, its bit table from memory.
#[test]
fn a_whole_code_is_the_card_number_of_a_frame() {
    let layout = Arc::new(Layout::new(&built_in::OPEN_26).unwrap());
    let sendings = Sending::all(Some(Sending::whole_code(layout).unwrap()));
    let sound = presses("10010101000000100110100100");
    let found = ask(&sound, &sendings);
    assert_eq!((found.verdict, id(&found)), (Verdict::None, Some("whole-code")));
    assert_eq!(codes(&found), ["1234#"]);
    assert_eq!(found.codes[0].others, [("facility".to_owned(), 42)]);
    // Derived: swapped lines fail both parities; so does the frame reversed.
    let turned = [Press::from(sound[0].bits.complement())];
    let found = ask(&turned, &sendings);
    assert_eq!(found.verdict, Verdict::Wire(Cause::LinesSwapped));
    assert_eq!(codes(&found), ["1234#"]);
    // Without a check nothing can be told.
    let layout = Arc::new(Layout::new(&built_in::PLAIN_40).unwrap());
    let only = [Sending::whole_code(layout).unwrap()];
    let found = ask(&presses(&"0110".repeat(10)), &only);
    assert_eq!(found.verdict, Verdict::Ambiguous);
    // A field to carry the number there must be.
    assert!(Sending::whole_code(Arc::new(Layout::new(&built_in::KEY_8).unwrap())).is_err());
}

#[test]
fn times_divide_codes_and_begin_them_anew() {
    let timed = |times: [i64; 4]| {
        let reads = ["0001", "0010", "0011", "0100"];
        let press = |(bits, at): (&str, i64)| Press {
            bits: bits.parse().unwrap(),
            at: Some(at * 1_000_000_000),
            ..Press::default()
        };
        ask(&reads.into_iter().zip(times).map(press).collect::<Vec<_>>(), &Sending::all(None))
    };
    let found = timed([0, 1, 9, 10]);
    assert_eq!(codes(&found), ["12", "34"]);
    let ends: Vec<Ended> = found.codes.iter().map(|code| code.ended).collect();
    assert_eq!(ends, [Ended::Pause, Ended::StreamEnd]);
    assert_eq!(codes(&timed([0, 1, 2, 3])), ["1234"]);
}

#[test]
fn the_mode_asked_for_is_the_only_one_and_the_others_are_noted() {
    let only = [Sending::Keys(Mode::EightBit)];
    let found = ask(&presses("0001 0010 0011"), &only);
    assert!(!found.ok);
    assert!(found.notes.iter().any(|note| note.contains("4 bits a key")), "{found:?}");
}

// The second way: everything that could have been keyed, one after another.

/// The figures of the model, copied from its page.
const MODES: [f64; 3] = [0.5, 0.1, 0.3];

fn keyed(value: u8, within: bool) -> f64 {
    let hash = if within { 0.2 } else { 0.01 };
    match value {
        11 => hash,
        10 => 0.02,
        _ => (0.98 - hash) / 10.0,
    }
}

fn any_bits(read: &Read) -> f64 {
    0.5f64.powi(read.iter().flatten().count() as i32)
}

struct Brute<'a> {
    mode: usize,
    cause: &'a str,
    rate: f64,
    reads: &'a [Read],
    /// Which read has its one bit changed, for that cause.
    changed: Option<usize>,
    /// What was keyed, where that is known.
    known: Option<&'a [u8]>,
}

impl Brute<'_> {
    /// The probability of all reads from this one on.
    fn from(&self, at: usize, within: bool) -> f64 {
        let Some(read) = self.reads.get(at) else { return 1.0 };
        let mut sum = 0.0;
        for value in 0..12 {
            let key = keyed(value, within);
            let arrives = self.one(at, read, value);
            let weight = if self.changed == Some(at) {
                0.9 * arrives
            } else {
                0.995 * 0.9 * arrives + 0.005 * any_bits(read) / 512.0
            };
            sum += key * weight * self.from(at + 1, value < 10);
        }
        if self.changed != Some(at) {
            sum += 0.995 * self.burst(at, read, &mut Vec::new(), within, 1.0);
        }
        sum
    }

    /// The same where the keys are known, of which so many have been pressed. A
    /// press of which nothing arrives is no read.
    fn after_known(&self, at: usize, pressed: usize) -> f64 {
        let keys = &self.known.unwrap()[pressed..];
        let Some((&key, _)) = keys.split_first() else {
            return if at == self.reads.len() { 1.0 } else { 0.0 };
        };
        let mut sum = self.one(usize::MAX, &Vec::new(), key) * self.after_known(at, pressed + 1);
        let Some(read) = self.reads.get(at) else { return sum };
        let arrives = 0.9 * self.one(at, read, key);
        let weight = match self.changed == Some(at) {
            true => arrives,
            false => 0.995 * arrives + 0.005 * any_bits(read) / 512.0,
        };
        sum += weight * self.after_known(at + 1, pressed + 1);
        let sent = self.as_sent(read).filter(|_| self.changed != Some(at));
        for count in 2..=keys.len() {
            let together: Frame =
                keys[..count].iter().flat_map(|&key| frame(self.mode, key)).collect();
            let fits = |sent: &Read| {
                let mut pairs = together.iter().zip(sent);
                sent.len() == together.len()
                    && pairs.all(|(&bit, seen)| seen.is_none_or(|seen| seen == bit))
            };
            if sent.as_ref().is_some_and(fits) {
                let burst = 0.995 * 0.1 / 2f64.powi(count as i32 - 1);
                sum += burst * self.after_known(at + 1, pressed + count);
            }
        }
        sum
    }

    fn one(&self, at: usize, read: &Read, value: u8) -> f64 {
        let nothing =
            Little { name: "key", bits: 0, fields: vec![], fixed: vec![], parity: vec![] };
        let cause = match self.changed {
            Some(changed) if changed != at => "none",
            _ => self.cause,
        };
        arrives(cause, self.rate, &nothing, &frame(self.mode, value), read)
    }

    /// A read of several keys as it would have to be sent.
    fn as_sent(&self, read: &Read) -> Option<Read> {
        match self.cause {
            "none" | "bits-changed" => Some(read.clone()),
            "lines-swapped" | "bits-inverted" => Some(read.iter().map(|b| b.map(|b| !b)).collect()),
            "bit-order-reversed" => Some(read.iter().rev().copied().collect()),
            _ => None,
        }
    }

    /// Two keys or more in one read.
    fn burst(&self, at: usize, read: &Read, keys: &mut Vec<u8>, within: bool, p: f64) -> f64 {
        let Some(sent) = self.as_sent(read) else { return 0.0 };
        let so_far = keys.iter().flat_map(|&key| frame(self.mode, key));
        let fits = so_far.clone().zip(&sent).all(|(bit, seen)| seen.is_none_or(|seen| seen == bit));
        let len = so_far.count();
        if !fits || len > read.len() {
            return 0.0;
        }
        let mut sum = 0.0;
        if keys.len() >= 2 && len == read.len() {
            let count = 0.1 / 2f64.powi(keys.len() as i32 - 1);
            sum += p * count * self.from(at + 1, within);
        }
        for value in 0..12 {
            keys.push(value);
            sum += self.burst(at, read, keys, value < 10, p * keyed(value, within));
            keys.pop();
        }
        sum
    }
}

fn brute_force(
    reads: &[Read],
    known: Option<&[u8]>,
) -> HashMap<(Option<usize>, &'static str), f64> {
    let mut joint = HashMap::new();
    for (mode, of_mode) in MODES.into_iter().enumerate() {
        for (cause, prior, rates) in CAUSES {
            // No field of a key has two bytes, and nothing fills presses up.
            if matches!(
                cause,
                "frame-split" | "unknown-layout" | "random-bits" | "bytes-reversed" | "padded"
            ) {
                continue;
            }
            let by_rate = rates.iter().map(|&rate| {
                let of = |changed| {
                    let brute = Brute { mode, cause, rate, reads, changed, known };
                    match known {
                        // With 0.05 something else was keyed.
                        Some(_) => 0.95 * brute.after_known(0, 0) + 0.05 * brute.from(0, false),
                        None => brute.from(0, false),
                    }
                };
                match cause {
                    "bits-changed" => {
                        (0..reads.len()).map(|at| of(Some(at))).sum::<f64>() / reads.len() as f64
                    }
                    _ => of(None),
                }
            });
            let mean = by_rate.sum::<f64>() / rates.len() as f64;
            joint.insert((Some(mode), cause), of_mode / 0.9 * prior * mean);
        }
    }
    let bits: f64 = reads.iter().map(any_bits).product();
    let one_length = reads.iter().all(|read| read.len() == reads[0].len());
    let same = if one_length { 1.0 } else { 0.0 };
    joint.insert((None, "unknown-layout"), 0.090 * same * bits / 512.0);
    joint.insert((None, "random-bits"), 0.006 * bits / 512f64.powi(reads.len() as i32));
    let total: f64 = joint.values().sum();
    joint.values_mut().for_each(|weight| *weight /= total);
    joint
}

/// Holds the posterior of some reads against the brute force.
fn agree(reads: &[Bits]) {
    agree_knowing(reads, None);
}

fn agree_knowing(reads: &[Bits], known: Option<&[u8]>) {
    let presses: Vec<Press> = reads.iter().map(|&bits| Press::from(bits)).collect();
    let sendings = Sending::all(None);
    let keys: Option<Vec<Key>> =
        known.map(|keys| keys.iter().map(|&key| Key::from_value(key).unwrap()).collect());
    let setting = Setting { expected: keys.as_deref(), ..Setting::of(&sendings) };
    let found = weigh(&presses, &setting, &Model::default());
    let sum: f64 = found.iter().map(|weighed| weighed.probability).sum();
    assert!((sum - 1.0).abs() < 1e-12, "{sum}");
    let read = |bits: &Bits| bits.iter().map(Bit::value).collect::<Read>();
    let expected = brute_force(&reads.iter().map(read).collect::<Vec<_>>(), known);
    for (&(sending, cause), &expected) in &expected {
        let found = found
            .iter()
            .find(|weighed| weighed.sending == sending && weighed.cause.id() == cause)
            .map_or(0.0, |weighed| weighed.probability);
        assert!(
            (found - expected).abs() < 1e-9 + 1e-6 * expected,
            "{reads:?} {sending:?} {cause}: {found} {expected}"
        );
    }
}

fn sent(mode: usize, keys: &[u8]) -> Vec<Bits> {
    keys.iter().map(|&key| bits(&frame(mode, key))).collect()
}

#[test]
fn the_posterior_of_every_short_code_is_that_of_the_brute_force() {
    for mode in 0..3 {
        for first in 0..12 {
            let one = sent(mode, &[first]);
            agree(&one);
            agree(&[one[0].complement()]);
            let second = (first * 7 + 3) % 12;
            let two = sent(mode, &[first, second]);
            agree(&two);
            agree(&two.iter().map(Bits::complement).collect::<Vec<_>>());
            // Both in one read.
            agree(&[two[0].concat(&two[1]).unwrap().reverse()]);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn the_posterior_of_any_reads_is_that_of_the_brute_force(
        reads in prop::collection::vec("[01?]{1,9}", 1..=2),
    ) {
        agree(&reads.iter().map(|read| read.parse().unwrap()).collect::<Vec<Bits>>());
    }

    #[test]
    fn so_it_is_where_the_keys_are_known(
        reads in prop::collection::vec("[01]{1,9}", 1..=3),
        keys in prop::collection::vec(0u8..12, 1..=4),
    ) {
        let reads: Vec<Bits> = reads.iter().map(|read| read.parse().unwrap()).collect();
        agree_knowing(&reads, Some(&keys));
    }

    #[test]
    fn whatever_is_keyed_comes_back_once_it_can_be_told(
        codes in prop::collection::vec((prop::collection::vec(0u8..10, 3..7), 0u8..5), 0..5),
        mode in 0usize..3,
        swapped in any::<bool>(),
    ) {
        // 0 to 3 and the hash key first, so that it can be told. Of the others
        // one in five is cleared: star after star is no code, but noise.
        let mut keys = vec![0, 1, 2, 3, 11];
        for (digits, end) in &codes {
            keys.extend(digits);
            keys.push(if *end == 0 { 10 } else { 11 });
        }
        let mut reads = sent(mode, &keys);
        if swapped {
            reads = reads.iter().map(Bits::complement).collect();
        }
        let presses: Vec<Press> = reads.iter().map(|&bits| Press::from(bits)).collect();
        let found = ask(&presses, &Sending::all(None));
        let verdict = if swapped { Verdict::Wire(Cause::LinesSwapped) } else { Verdict::None };
        prop_assert_eq!(found.verdict, verdict);
        let kept: usize = found.codes.iter().map(|code| code.keys.len() + code.cleared).sum();
        let digits = keys.iter().filter(|&&key| key < 10).count();
        let cleared_at_the_end = digits - kept;
        prop_assert!(cleared_at_the_end == 0 || keys.contains(&10));
        prop_assert_eq!(found.codes[0].to_string(), "0123#");
        prop_assert!(found.problems.is_empty());
    }

    /// Codes of the same shape cannot be told apart by what is said of them.
    #[test]
    fn a_masked_answer_says_no_digit(
        one in prop::collection::vec(0u8..4, 4),
        other in prop::collection::vec(0u8..4, 4),
        swapped in any::<bool>(),
    ) {
        let masked = |keys: &[u8]| {
            let keys = [keys, &[11]].concat();
            let reads = sent(2, &keys);
            let turn = |read: &Bits| if swapped { read.complement() } else { *read };
            let presses: Vec<Press> =
                reads.iter().map(|read| Press::from(turn(read))).collect();
            let sendings = Sending::all(None);
            let model = Model::default();
            let found = answer(&presses, &Setting::of(&sendings), &model, Numbers::Masked).unwrap();
            (found.says, found.evidence, found.notes, found.tells)
        };
        prop_assert_eq!(masked(&one), masked(&other));
    }

    #[test]
    fn no_text_panics(text in "(?s).{0,200}") {
        let _ = reads_in(&text);
        let found = read_presses(text.as_bytes());
        prop_assert_eq!(found.presses.len(), found.lines.len());
        for error in &found.refused {
            prop_assert!(!error.to_string().is_empty() && !error.expected().is_empty());
        }
    }
}

/// 7 8 and 8 7 are each other with the lines swapped (derived).
#[test]
fn what_was_keyed_settles_what_is_open() {
    let sendings = Sending::all(None);
    let told = |reads: &str, keys: &str| {
        let keys: Vec<Key> = keys.chars().map(|c| Key::from_char(c).unwrap()).collect();
        let setting = Setting { expected: Some(&keys), ..Setting::of(&sendings) };
        answer(&presses(reads), &setting, &Model::default(), Numbers::Shown).unwrap()
    };
    assert_eq!(said("0111 1000").verdict, Verdict::Ambiguous);
    let sound = told("0111 1000", "78");
    assert_eq!((sound.verdict, sound.ok, sound.as_keyed), (Verdict::None, true, Some(true)));
    let swapped = told("0111 1000", "87");
    assert_eq!(swapped.verdict, Verdict::Wire(Cause::LinesSwapped));
    assert_eq!(codes(&swapped), ["87"]);
    // More reads than keys: something else was keyed.
    let more = told("0001 0010 0011", "12");
    assert_eq!((more.verdict, more.ok, more.as_keyed), (Verdict::None, false, Some(false)));
    // With D0 open nothing is left of a 0 in four bits: two reads of three keys.
    let lost = told("1 111", "107");
    assert_eq!(lost.verdict, Verdict::Wire(Cause::D0Open));
    // 7 and 8 differ in all four bits: a press went astray, no cause did that.
    let wrong = told("0001 0010 1000 0100 1011", "1274#");
    assert_eq!((wrong.ok, wrong.as_keyed), (false, Some(false)));
    assert!(wrong.says.contains("1284#, not the 1274#"), "{}", wrong.says);
}

/// In a capture runts and gaps say which line loses pulses, where the bits
/// leave it open.
#[test]
fn the_pulses_of_a_capture_are_weighed() {
    let by_bits = presses("0010 0101 1000 000 1011");
    let found = said("0010 0101 1000 000 1011");
    let of = |answer: &Answer, cause| -> f64 {
        let of = answer.possible.iter().filter(|possible| possible.cause == cause);
        of.map(|possible| possible.probability).sum()
    };
    assert!(of(&found, Cause::D0Weak) < 0.5);
    let pulses = Evidence {
        lines_overlap: Some(false),
        short_pulse: [Some(true), Some(false)],
        double_pulse: [Some(false); 2],
        missing_beat: None,
    };
    let captured: Vec<Press> = by_bits.iter().map(|&press| Press { pulses, ..press }).collect();
    let found = ask(&captured, &Sending::all(None));
    // The table of findings: 0.7 for a short pulse on D0 where it is weak, 0.02
    // where only D1 is.
    assert_eq!(found.verdict, Verdict::Wire(Cause::D0Weak));
    assert!(of(&found, Cause::D0Weak) > 0.9 && of(&found, Cause::D1Weak) == 0.0);
    assert!(found.evidence.iter().any(|says| says.contains("narrow")), "{found:?}");
}

/// A cause that keeps every bit keeps the code.
#[test]
fn a_frame_that_arrives_twice_or_by_its_bytes_is_still_a_code() {
    let found = said("00100010 01010101 10001000 00000000 10111011");
    assert_eq!(found.verdict, Verdict::Wire(Cause::FramesMerged));
    assert_eq!(codes(&found), ["2580#"]);
    assert!(found.says.contains("2580#"), "{}", found.says);
    let layout = Arc::new(Layout::new(&built_in::OPEN_26).unwrap());
    // 0x04d2 as it is sent with its bytes in reverse order.
    let sent = layout.encode([("facility", 42), ("card", 0xd204)]).unwrap();
    let only = [Sending::whole_code(layout).unwrap()];
    let found = ask(&[Press::from(sent)], &only);
    let reversed = found.possible.iter().find(|one| one.cause == Cause::BytesReversed).unwrap();
    assert_eq!(reversed.codes[0].to_string(), "1234#");
    let keys: Vec<Key> = "1234#".chars().map(|c| Key::from_char(c).unwrap()).collect();
    let setting = Setting { expected: Some(&keys), ..Setting::of(&only) };
    let found = answer(&[Press::from(sent)], &setting, &Model::default(), Numbers::Shown).unwrap();
    assert_eq!(found.verdict, Verdict::Wire(Cause::BytesReversed));
    assert_eq!((codes(&found), found.as_keyed), (vec!["1234#".to_owned()], Some(true)));
}

#[test]
fn reads_of_which_no_bit_is_known_leave_everything_open() {
    assert_eq!(said("???? ????").verdict, Verdict::Ambiguous);
}

#[test]
fn priors_that_leave_nothing_are_no_silence() {
    let model = Model::default().with_priors("[causes]\nunknown-layout = 1").unwrap();
    let sendings = Sending::all(None);
    let found = answer(&presses("0001 001"), &Setting::of(&sendings), &model, Numbers::Shown);
    assert_eq!(found.unwrap_err(), AnswerError::RuledOut);
}

#[test]
fn lines_and_tables_give_presses() {
    let found =
        read_presses("# sail loft\n07:15 keypad: 0100 0001\n0x4b/8\n01x\n1011\n".as_bytes());
    let texts: Vec<String> = found.presses.iter().map(|press| press.bits.to_string()).collect();
    assert_eq!(texts, ["0100", "0001", "01001011", "1011"]);
    assert_eq!(found.lines, [2, 2, 3, 5]);
    assert_eq!(found.refused[0].to_string(), "line 4, column 3: ‘x’ is not a bit");

    let table = "start_s;bits;door\n0,5;0100;sail loft\n\"1.5\";0001;\n2;;\nsoon;1011;\n";
    let found = read_presses(table.as_bytes());
    let times: Vec<Option<i64>> = found.presses.iter().map(|press| press.at).collect();
    assert_eq!(times, [Some(500_000_000), Some(1_500_000_000), Some(2_000_000_000)]);
    assert!(found.presses[2].bits.is_empty());
    let problems: Vec<&LineProblem> = found.refused.iter().map(|e| &e.problem).collect();
    assert!(matches!(problems.as_slice(), [LineProblem::Time { .. }]));
    assert_eq!(found.refused[0].to_string(), "line 5, cell start_s: ‘soon’ is no time");
}
