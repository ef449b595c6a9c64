//! Which chains differ on other cards, and how many more cards it takes to
//! know which is right.

use std::collections::{BTreeMap, HashMap};

use super::search::{Pair, Path};
use super::step::Step;
use super::steps::{End, replay};
use super::written::{Base, Written};

/// How sure the answer is to be.
const SURE: f64 = 0.99;

/// Numbers tried, the printed ones aside.
const DRAWN: u64 = 32;

/// What it takes to leave one chain with 99 %.
#[derive(Clone, Debug, PartialEq)]
pub struct Further {
    /// The smallest number of further pairs that, well chosen, leave one chain
    /// with 99 % on average over the chains by their weights; 0 where one has
    /// it already. Over two, each is chosen as the best after those before.
    pub pairs: usize,
    /// Printed numbers that do it, of the same kind as those given.
    pub examples: Vec<Written>,
    /// The share of numbers tried that would do it alone, 0 to 1.
    pub any: f64,
}

/// What each path comes to on each number tried.
pub(super) type Outcomes = Vec<(Written, Vec<Option<End>>)>;

/// Chains that come to the same on every number tried, as one path each.
pub(super) fn merged(chains: Vec<(Vec<Step>, f64)>, pairs: &[Pair]) -> (Vec<Path>, Outcomes) {
    let numbers = numbers_like(pairs);
    let mut paths: Vec<Path> = Vec::new();
    let mut ends: Vec<Vec<Option<End>>> = Vec::new();
    let mut path_of: HashMap<Vec<Option<End>>, usize> = HashMap::new();
    for (steps, weight) in chains {
        // How many digits it is written with matters on the given pairs only.
        let shown = |printed| replay(&steps, printed).map(|end| End { digits: None, ..end });
        let own: Vec<Option<End>> = numbers.iter().map(shown).collect();
        match path_of.get(&own).and_then(|&at| paths.get_mut(at)) {
            Some(path) => {
                path.weight += weight;
                path.alike += 1;
            }
            None => {
                path_of.insert(own.clone(), paths.len());
                let says = says(&steps);
                paths.push(Path { steps, weight, alike: 0, says });
                ends.push(own);
            }
        }
    }
    let mut order: Vec<usize> = (0..paths.len()).collect();
    order.sort_by(|&a, &b| paths[b].weight.total_cmp(&paths[a].weight));
    let outcomes = numbers
        .into_iter()
        .enumerate()
        .map(|(i, number)| (number, order.iter().map(|&path| ends[path][i]).collect()))
        .collect();
    let paths = order.iter().map(|&at| paths[at].clone()).collect();
    (paths, outcomes)
}

pub(super) fn further(paths: &[Path], outcomes: &Outcomes) -> Option<Further> {
    let first = paths.first()?;
    let weights: Vec<f64> = paths.iter().map(|path| path.weight).collect();
    // How sure one is on average, knowing what these numbers come to.
    let sure = |chosen: &[usize]| -> f64 {
        let mut best: BTreeMap<Vec<usize>, f64> = BTreeMap::new();
        for (path, &weight) in weights.iter().enumerate() {
            let of = chosen.iter().map(|&number| class(&outcomes[number].1, path)).collect();
            let best = best.entry(of).or_insert(0.0);
            *best = best.max(weight);
        }
        best.values().sum()
    };
    let numbers = 0..outcomes.len();
    let best_of = |choices: Vec<Vec<usize>>| {
        let rated = choices.into_iter().map(|chosen| (sure(&chosen), chosen));
        // Of equal ones the first.
        rated.reduce(|best, next| if next.0 > best.0 { next } else { best })
    };
    let single: Vec<f64> = numbers.clone().map(|number| sure(&[number])).collect();
    let any =
        single.iter().filter(|&&sure| sure >= SURE).count() as f64 / single.len().max(1) as f64;
    let examples = |chosen: &[usize]| chosen.iter().map(|&n| outcomes[n].0).collect::<Vec<_>>();
    if first.weight >= SURE {
        return Some(Further { pairs: 0, examples: Vec::new(), any });
    }
    let one = numbers.clone().map(|number| vec![number]).collect();
    let (mut reached, mut chosen) = best_of(one)?;
    if reached < SURE {
        let two = numbers.clone().flat_map(|a| (0..a).map(move |b| vec![a, b])).collect();
        (reached, chosen) = best_of(two)?;
    }
    while reached < SURE && chosen.len() < outcomes.len() {
        let more = numbers.clone().filter(|number| !chosen.contains(number));
        let more = more.map(|number| [chosen.as_slice(), &[number]].concat()).collect();
        (reached, chosen) = best_of(more)?;
    }
    Some(Further { pairs: chosen.len(), examples: examples(&chosen), any })
}

/// The first path with the same end.
fn class(ends: &[Option<End>], path: usize) -> usize {
    ends.iter().position(|end| *end == ends[path]).unwrap_or(path)
}

/// Other numbers of the kind that is printed on these cards, always the same
/// ones.
fn numbers_like(pairs: &[Pair]) -> Vec<Written> {
    let mut numbers: Vec<Written> = Vec::new();
    let mut state = 0x6D69_7372_6561_64u64;
    for i in 0..DRAWN {
        let Some(pair) = pairs.get(i as usize % pairs.len().max(1)) else { break };
        let mut draw = |bits: u32| mixed(&mut state) >> (64 - bits.clamp(1, 64));
        // Some as large as the printed one, some as large as its kind allows.
        let drawn = |of: u64, most: u32, draw: &mut dyn FnMut(u32) -> u64| {
            let own = (64 - of.leading_zeros()).max(1);
            if i % 2 == 0 { draw(own.max(4)) } else { draw(most.max(own)) }
        };
        numbers.push(match pair.printed {
            Written::Two { facility, card } => Written::Two {
                facility: drawn(facility, if facility < 256 { 8 } else { 16 }, &mut draw),
                card: drawn(card, 16, &mut draw),
            },
            Written::Number { decimal, hexadecimal, digits } => {
                let of = decimal.or(hexadecimal).unwrap_or(0);
                let most = 32.min(u32::from(digits).saturating_mul(4)).max(4);
                let number = drawn(of, most, &mut draw);
                match pair.printed.base() {
                    Base::Decimal => Written::decimal(number),
                    Base::Hexadecimal => Written::Number {
                        decimal: None,
                        hexadecimal: Some(number),
                        digits: digits.max((67 - number.leading_zeros()) as u8 / 4),
                    },
                }
            }
        });
    }
    numbers
}

/// The next of a fixed sequence of numbers (splitmix64).
fn mixed(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (*state ^ *state >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ z >> 31
}

fn says(steps: &[Step]) -> String {
    let parts: Vec<String> = steps.iter().map(Step::says).collect();
    if parts.is_empty() {
        return "The number is shown as it is printed.".to_owned();
    }
    format!("{}.", crate::diagnose::wording::sentence(&parts.join("; then ")))
}
