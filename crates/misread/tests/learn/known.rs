//! Layouts whose source is outside the project, learned back; and the odd
//! cases an installer brings.

use misread::layout::{Layout, Span, built_in};
use misread::learn::{LearnError, Learned, PRINTED, Sample, Wishes, learn};
use misread::{Bit, Bits, Turn};

use crate::world::Dice;

/// Cards of the open 26-bit layout (SIA AC-01-1996.10; the bit table is from
/// memory).
fn open_26(cards: impl IntoIterator<Item = (u64, u64)>) -> Vec<Sample> {
    let layout = Layout::new(&built_in::OPEN_26).unwrap();
    let sample = |(i, (facility, card))| Sample {
        line: i as u64 + 2,
        bits: layout.encode([("facility", facility), ("card", card)]).unwrap(),
        known: vec![("facility".to_owned(), facility), ("card".to_owned(), card)],
    };
    cards.into_iter().enumerate().map(sample).collect()
}

fn random_26(count: usize) -> Vec<Sample> {
    let mut dice = Dice::new(26);
    open_26((0..count).map(move |_| (dice.roll() % 256, dice.roll() % 65536)))
}

fn one(samples: &[Sample]) -> Learned {
    learn(samples, &Wishes::default()).unwrap().remove(0)
}

fn settled(learned: &Learned) -> String {
    let says: Vec<&str> = learned.settled.iter().map(|s| s.says.as_str()).collect();
    says.join("\n")
}

#[test]
fn the_open_layout_is_learned_from_forty_cards() {
    let learned = one(&random_26(40));
    assert_eq!(
        settled(&learned),
        "facility is bits 2-9, most significant bit first.\n\
         card is bits 10-25, most significant bit first.\n\
         Bit 1 is even parity over bits 2-13.\n\
         Bit 26 is odd parity over bits 14-25."
    );
    assert!(learned.open.is_empty(), "{:?}", learned.open);
    let right = Layout::new(&built_in::OPEN_26).unwrap();
    let sure = learned.sure.as_ref().unwrap();
    assert_eq!(sure.fields(), right.fields());
    assert_eq!(sure.parity(), right.parity());
    // The rest is the same reads explained by cards that put the lowest bit
    // first, taken in reverse.
    assert!(learned.candidates[0].weight > 0.99);
    assert!((learned.candidates.iter().map(|c| c.weight).sum::<f64>() - 1.0).abs() < 1e-9);
}

#[test]
fn swapped_lines_are_named_and_the_layout_is_as_it_should_be() {
    let mut samples = random_26(40);
    for sample in &mut samples {
        sample.bits = sample.bits.complement();
    }
    let learned = one(&samples);
    assert_eq!(learned.turn, Turn::Inverted);
    assert!(settled(&learned).starts_with("The numbers fit only with every bit turned over"));
    let right = Layout::new(&built_in::OPEN_26).unwrap();
    assert_eq!(learned.candidates[0].layout.fields(), right.fields());
    assert_eq!(learned.candidates[0].layout.parity(), right.parity());
}

#[test]
fn reversed_reads_are_noticed() {
    let mut samples = random_26(40);
    for sample in &mut samples {
        sample.bits = sample.bits.reverse();
    }
    let learned = one(&samples);
    assert_eq!(learned.turn, Turn::Reversed);
    let right = Layout::new(&built_in::OPEN_26).unwrap();
    assert_eq!(learned.candidates[0].layout.fields(), right.fields());
    assert!(learned.open[0].question.starts_with("The numbers fit with the last bit first"));
}

#[test]
fn a_box_of_cards_leaves_open_what_never_moved() {
    let learned = one(&open_26((1000..1012).map(|card| (42, card))));
    for statement in &learned.settled {
        assert!(statement.says.starts_with("What moved of card"), "{}", statement.says);
    }
    assert!(learned.open.iter().any(|open| open.question.starts_with("How far card reaches")));
    assert!(learned.open.iter().any(|open| open.question.starts_with("Where facility stands")));
    assert!(learned.open.iter().any(|open| open.decoding));
    // What would help is a card of another facility or a far larger number.
    let next = learned.next.unwrap();
    assert!(next.gain_bits > 0.5, "{next:?}");
    // All the same, the numbers of every card come out.
    let best = &learned.candidates[0].layout;
    let far = &open_26([(42, 1030)])[0];
    assert_eq!(best.field("card").unwrap().bits_value(&far.bits), 1030);
}

trait BitsValue {
    fn bits_value(&self, read: &Bits) -> u64;
}

impl BitsValue for misread::layout::Field {
    fn bits_value(&self, read: &Bits) -> u64 {
        self.from_raw(
            self.indices()
                .fold(0, |raw, index| raw << 1 | u64::from(read.get(index) == Some(Bit::One))),
        )
    }
}

#[test]
fn a_mistyped_number_is_set_aside_with_its_line() {
    for count in [8, 60] {
        let mut samples = random_26(count);
        samples[5].known[1].1 ^= 0x140;
        let learned = one(&samples);
        let lines: Vec<u64> = learned.set_aside.iter().map(|aside| aside.line).collect();
        assert_eq!(lines, [7], "{:?}", learned.set_aside);
        assert!(learned.set_aside[0].says.contains("its bits read facility"));
        let right = Layout::new(&built_in::OPEN_26).unwrap();
        assert_eq!(learned.candidates[0].layout.fields(), right.fields());
    }
}

#[test]
fn a_bad_read_is_set_aside() {
    let mut samples = random_26(60);
    let bit = samples[9].bits.get(0).unwrap();
    samples[9].bits.set(0, if bit == Bit::One { Bit::Zero } else { Bit::One });
    let learned = one(&samples);
    let lines: Vec<u64> = learned.set_aside.iter().map(|aside| aside.line).collect();
    assert_eq!(lines, [11]);
    assert!(settled(&learned).contains("Bit 1 is even parity over bits 2-13."));
}

#[test]
fn a_printed_number_of_two_parts_is_taken_apart() {
    // Facility and card run together in decimal: 188,24910 is 18824910
    // (arithmetic).
    let mut samples = random_26(12);
    for sample in &mut samples {
        let (facility, card) = (sample.known[0].1, sample.known[1].1);
        sample.known = vec![(PRINTED.to_owned(), facility * 100_000 + card)];
    }
    let learned = one(&samples);
    let right = Layout::new(&built_in::OPEN_26).unwrap();
    assert_eq!(learned.candidates[0].layout.fields(), right.fields());
    // Joined in binary it is one number: 0xBC614E is 12345678 (arithmetic).
    for sample in &mut samples {
        let printed = sample.known[0].1;
        sample.known[0].1 = printed / 100_000 * 65536 + printed % 100_000;
    }
    let learned = one(&samples);
    let field = learned.candidates[0].layout.field(PRINTED).unwrap();
    assert_eq!(field.indices().collect::<Vec<_>>(), (1..25).collect::<Vec<_>>());
}

#[test]
fn from_frames_alone() {
    let mut samples = open_26((3000..3040).map(|card| (7, card)));
    for sample in &mut samples {
        sample.known.clear();
    }
    let learned = one(&samples);
    let says: Vec<&str> = learned.open.iter().map(|open| open.question.as_str()).collect();
    assert!(says[0].contains("-25, most significant bit first. Likely"), "{says:?}");
    assert!(says.iter().any(|says| says.contains("What bit 26 checks")), "{says:?}");
    assert!(says.iter().any(|says| says.ends_with(" bits 1-18.")), "{says:?}");
    assert_eq!(settled(&learned), "");
}

#[test]
fn too_little_is_said_clearly() {
    let refuse = |samples: &[Sample]| learn(samples, &Wishes::default()).unwrap_err();
    assert_eq!(refuse(&[]), LearnError::TooFew { different: 0 });
    let one = random_26(1);
    assert_eq!(refuse(&one), LearnError::TooFew { different: 1 });
    assert_eq!(refuse(&[one[0].clone(), one[0].clone()]), LearnError::TooFew { different: 1 });
    let mut two = random_26(2);
    two.push(Sample { line: 9, ..two[1].clone() });
    two[2].known[1].1 += 1;
    let LearnError::TwoNumbers { first, second, name } = refuse(&two) else { panic!() };
    assert_eq!((first, second, name.as_str()), (3, 9, "card"));
}

#[test]
fn lengths_are_answered_one_by_one() {
    let mut samples = random_26(8);
    for i in 0..3 {
        let bits = Bits::from_value(0x5a0 + i, 12).unwrap();
        samples.push(Sample { line: 20 + i, bits, known: Vec::new() });
    }
    samples.push(Sample { line: 30, bits: "10101".parse().unwrap(), known: Vec::new() });
    samples.push(Sample { line: 31, bits: "1010?".parse().unwrap(), known: Vec::new() });
    let answers = learn(&samples, &Wishes::default()).unwrap();
    assert_eq!(answers.iter().map(|a| a.length).collect::<Vec<_>>(), [26, 12]);
    let aside = &answers[0].set_aside;
    assert_eq!(aside.iter().map(|a| a.line).collect::<Vec<_>>(), [30, 31]);
}

#[test]
fn what_the_user_states_is_held_against_the_reads() {
    let samples = open_26((1000..1012).map(|card| (42, card)));
    let state = |name: &str, first, last| Wishes {
        assume: vec![(name.to_owned(), vec![Span::range(first, last)])],
        ..Wishes::default()
    };
    let mut wishes = state("card", 10, 25);
    wishes.assume.extend(state("facility", 2, 9).assume);
    let learned = &learn(&samples, &wishes).unwrap()[0];
    let right = Layout::new(&built_in::OPEN_26).unwrap();
    assert_eq!(learned.sure.as_ref().unwrap().fields(), right.fields());
    assert!(learned.open.iter().all(|open| !open.decoding), "{:?}", learned.open);
    let error = learn(&samples, &state("card", 9, 24)).unwrap_err();
    assert!(matches!(error, LearnError::Assumed { .. }));
    let error = learn(&samples, &state("series", 20, 27)).unwrap_err();
    assert!(matches!(error, LearnError::PastEnd { position: 27, .. }));
}

/// The federal card's layout (*Technical Implementation Guidance: Smart Card
/// Enabled Physical Access Control Systems*, v2.2, section 6.2, figure 7), with
/// invented numbers.
#[test]
fn the_federal_card_is_learned_back() {
    let layout = Layout::new(&built_in::FASCN_200).unwrap();
    let mut dice = Dice::new(200);
    let names: Vec<(String, u64)> =
        layout.fields().iter().map(|field| (field.name().to_owned(), field.max() + 1)).collect();
    let samples: Vec<Sample> = (0..320)
        .map(|i| {
            let known: Vec<(String, u64)> =
                names.iter().map(|(name, end)| (name.clone(), dice.roll() % end)).collect();
            let bits = layout.encode(known.iter().map(|(n, v)| (n.as_str(), *v))).unwrap();
            Sample { line: i + 2, bits, known }
        })
        .collect();
    let learned = one(&samples);
    let best = &learned.candidates[0].layout;
    for field in layout.fields() {
        let found = best.field(field.name()).unwrap();
        assert_eq!(
            found.indices().collect::<Vec<_>>(),
            field.indices().collect::<Vec<_>>(),
            "{}",
            field.name()
        );
    }
    // Every frame of either layout is a frame of the other, as far as checks
    // go: the sentinels' own parity bits never move, and are fixed bits here.
    let card: Vec<u64> = names.iter().map(|(_, end)| end / 3).collect();
    let numbers: Vec<(&str, u64)> =
        names.iter().zip(&card).map(|((name, _), number)| (name.as_str(), *number)).collect();
    assert_eq!(best.encode(numbers.iter().copied()).unwrap(), layout.encode(numbers).unwrap());
    let rules = learned.settled.iter().filter(|s| s.says.starts_with("Bit ")).count()
        + learned.settled.iter().filter(|s| s.says.starts_with("Of the bits")).count();
    assert_eq!(rules, 44 - 7, "{}", settled(&learned));
}
