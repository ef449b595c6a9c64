//! How many cards it takes: random layouts, random cards, and what is learned
//! from them, beside what no method could beat.
//!
//! `cargo run --release -p misread --example learning_curve -- 200`
//!
//! A column each: cards; layouts whose numbers all come out right; layouts of
//! which every number and every parity rule is right; layouts with everything
//! settled; candidates left, as 2 to the mean entropy of the listed ones; false
//! statements settled, of all; and the bound: the share of a layout's parity
//! bits that so many cards can tell from every other rule of a plain shape,
//! each card giving one bit for each parity bit.

// An example that cannot go on says so by panicking.
#![allow(clippy::unwrap_used)]

#[path = "../tests/learn/world.rs"]
mod world;

use misread::learn::{Wishes, learn};
use world::{Cards, Dice, World};

fn main() {
    let layouts: u64 = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(100);
    println!("cards  numbers  whole  settled  candidates  false  bound");
    for cards in [2, 3, 4, 6, 8, 12, 16, 20, 24, 28, 32, 40, 60] {
        let (mut numbers, mut whole, mut settled) = (0, 0, 0);
        let (mut entropy, mut bound) = (0.0, 0.0);
        let (mut wrong, mut statements) = (0, 0);
        for seed in 0..layouts {
            let mut dice = Dice::new(5_000_000 + seed);
            let world = World::random(&mut dice);
            let samples = world.samples(&mut dice, Cards::Random, cards);
            let fresh = world.samples(&mut dice, Cards::Random, 200);
            let learned = learn(&samples, &Wishes::default()).unwrap().remove(0);
            let right = world.numbers_right(&learned, &fresh);
            numbers += usize::from(right);
            let rules = world.parity_right(&learned, &fresh);
            whole += usize::from(right && rules.iter().all(|(right, _)| *right));
            settled += usize::from(learned.open.is_empty());
            let weights = learned.candidates.iter().map(|candidate| candidate.weight);
            entropy -= weights.filter(|w| *w > 0.0).map(|w| w * w.log2()).sum::<f64>();
            wrong += usize::from(world.false_statement(&learned, &fresh).is_some());
            statements += learned.settled.len();
            // Plain shapes are about three times the square of the length.
            let rules = (3.0 * (world.bits * world.bits) as f64 * 2.0).log2();
            bound += (cards as f64 / rules).min(1.0);
        }
        let share = |count: usize| 100.0 * count as f64 / layouts as f64;
        println!(
            "{cards:5}  {:6.1}%  {:4.0}%  {:6.0}%  {:10.1}  {wrong}/{statements}  {:4.0}%",
            share(numbers),
            share(whole),
            share(settled),
            2f64.powf(entropy / layouts as f64),
            100.0 * bound / layouts as f64,
        );
    }
}
