//! Nothing false is settled, and the likeliest layout is right when it should
//! be.

use misread::learn::{Wishes, learn};

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
        if world.numbers_right(learned, &fresh) {
            numbers += 1;
        } else if std::env::var_os("SHOW").is_some() {
            println!("seed {seed} {world:?}\n{:?}\n", learned.candidates[0].layout);
            for open in &learned.open {
                println!("  {}", open.question);
            }
        }
        if world.parity_right(learned, &fresh).iter().all(|(right, open)| *right || *open) {
            parity += 1;
        } else if std::env::var_os("SHOW").is_some() {
            println!("PARITY seed {seed} {world:?}\n{:?}\n", learned.candidates[0].layout);
        }
    }
    println!("{numbers} {parity} of {layouts}");
    assert!(numbers * 100 >= layouts * 99 - 100, "numbers right in {numbers} of {layouts}");
    assert!(parity * 100 >= layouts * 99 - 100, "parity right or open in {parity} of {layouts}");
}
