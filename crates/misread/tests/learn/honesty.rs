//! Nothing false is settled, and the likeliest layout is right when it should
//! be.

use misread::learn::{PRINTED, Sample, Wishes, learn};
use proptest::prelude::*;

use crate::world::{Cards, Dice, World};

/// Random layouts, random cards and boxes of cards; how many cards varies.
fn nothing_false_is_settled(seeds: std::ops::Range<u64>) {
    let mut settled = 0;
    for seed in seeds {
        let mut dice = Dice::new(seed);
        let world = World::random(&mut dice);
        let cards = if dice.chance(60) { Cards::Random } else { Cards::Box };
        let count = dice.pick(&[2, 3, 4, 6, 8, 12, 20, 30, 40, 60]);
        let mut samples = world.samples(&mut dice, cards, count);
        // At times the sheet leaves numbers out.
        if dice.chance(20) {
            for sample in &mut samples {
                if dice.chance(40) {
                    sample.known.pop();
                }
            }
        }
        let fresh = world.samples(&mut dice, Cards::Random, 300);
        let Ok(answers) = learn(&samples, &Wishes::default()) else { continue };
        for learned in answers {
            settled += learned.settled.len();
            let wrong = world.false_statement(&learned, &fresh);
            assert_eq!(wrong, None, "seed {seed}, {count} {cards:?} cards of {world:?}");
            assert!(learned.set_aside.is_empty(), "seed {seed}: {:?}", learned.set_aside);
        }
    }
    assert!(settled > 0);
}

#[test]
fn nothing_false_is_settled_in_a_few_hundred_layouts() {
    nothing_false_is_settled(0..300);
}

#[test]
#[ignore = "takes minutes; the figures of the documents come from it"]
fn nothing_false_is_settled_in_ten_thousand_layouts() {
    nothing_false_is_settled(0..10_000);
}

#[test]
fn six_random_cards_give_the_numbers() {
    let (mut numbers, mut parity, layouts) = (0, 0, 200);
    for seed in 0..layouts {
        let mut dice = Dice::new(1_000_000 + seed);
        let world = World::random(&mut dice);
        let samples = world.samples(&mut dice, Cards::Random, 6);
        let fresh = world.samples(&mut dice, Cards::Random, 100);
        let learned = &learn(&samples, &Wishes::default()).unwrap()[0];
        numbers += u64::from(world.numbers_right(learned, &fresh));
        let parity_right = world.parity_right(learned, &fresh);
        parity += u64::from(parity_right.iter().all(|(right, open)| *right || *open));
    }
    assert!(numbers * 100 >= layouts * 99, "numbers right in {numbers} of {layouts}");
    assert!(parity * 100 >= layouts * 99, "parity right or open in {parity} of {layouts}");
}

/// A candidate that listed a sample's frame as none of its own, or gave it
/// another number, would have been refuted.
#[test]
fn the_best_candidate_takes_every_sample() {
    for seed in 0..60 {
        let mut dice = Dice::new(2_000_000 + seed);
        let world = World::random(&mut dice);
        let cards = if dice.chance(60) { Cards::Random } else { Cards::Box };
        let count = dice.pick(&[2, 3, 5, 9, 30]);
        let samples = world.samples(&mut dice, cards, count);
        let Ok(answers) = learn(&samples, &Wishes::default()) else { continue };
        let learned = &answers[0];
        let best = &learned.candidates[0];
        for sample in &samples {
            let read = sample.bits.turned(learned.turn);
            assert!(best.layout.decode(&read).is_ok(), "seed {seed}");
        }
        let whole = world.fields.iter().filter(|field| field.known).count();
        if best.layout.fields().len() == whole {
            assert!(world.numbers_right(learned, &samples), "seed {seed}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Tables of anything: an answer or a refusal, and weights that sum to 1.
    #[test]
    fn any_table_is_answered_or_refused(
        rows in proptest::collection::vec(
            ("[01]{0,12}|[01]{9}|[01?]{5}|[01]{300}", any::<Option<u64>>(), any::<Option<u8>>()),
            0..14,
        ),
    ) {
        let samples: Vec<Sample> = rows
            .into_iter()
            .enumerate()
            .map(|(i, (bits, card, printed))| Sample {
                line: i as u64 + 1,
                bits: bits.parse().unwrap(),
                known: card
                    .map(|card| ("card".to_owned(), card))
                    .into_iter()
                    .chain(printed.map(|printed| (PRINTED.to_owned(), u64::from(printed))))
                    .collect(),
            })
            .collect();
        for learned in learn(&samples, &Wishes::default()).unwrap_or_default() {
            let total: f64 = learned.candidates.iter().map(|candidate| candidate.weight).sum();
            prop_assert!((total - 1.0).abs() < 1e-6);
            prop_assert!(learned.listed <= 1.0 + 1e-6);
            prop_assert!(learned.settled.iter().all(|statement| !statement.says.is_empty()));
        }
    }
}
