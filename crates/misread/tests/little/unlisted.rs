//! Reads of a layout that nobody listed.

use misread::cause::Model;

use super::{Little, Read};

/// λ(M): the weight of a length of a layout that is not among the candidates.
pub(crate) fn length_weight(bits: usize, candidates: &[&Little], model: &Model) -> f64 {
    let within = |from, to| if (from..=to).contains(&bits) { 1.0 } else { 0.0 };
    let all = model.unlisted.usual * within(32, 40) / 9.0
        + model.unlisted.near * within(20, 64) / 45.0
        + model.unlisted.any * within(1, 512) / 512.0;
    if candidates.iter().any(|little| little.bits == bits) { all * 0.1 } else { all }
}

/// The probability of one given sequence of so many ones and zeros whose share
/// of ones has Jeffreys' prior: bit after bit, each with (how many like it came
/// before + ½) out of (how many came before + 1).
fn sequence(ones: usize, zeros: usize) -> f64 {
    let first = (0..ones).map(|i| (i as f64 + 0.5) / (i as f64 + 1.0));
    let then = (0..zeros).map(|i| (i as f64 + 0.5) / ((ones + i) as f64 + 1.0));
    first.chain(then).product()
}

fn counts<'a>(bits: impl Iterator<Item = &'a Option<bool>>) -> (usize, usize) {
    bits.flatten().fold((0, 0), |(ones, zeros), &bit| match bit {
        true => (ones + 1, zeros),
        false => (ones, zeros + 1),
    })
}

/// s(r): the bits of a read of which only the length is known.
pub(crate) fn stranger(read: &Read) -> f64 {
    let (ones, zeros) = counts(read.iter());
    0.5 * sequence(ones, zeros) + 0.5 * 0.5f64.powi((ones + zeros) as i32)
}

/// The read by itself.
pub(super) fn alone(read: &Read, candidates: &[&Little], model: &Model) -> f64 {
    length_weight(read.len(), candidates, model) * stranger(read)
}

/// All reads, each of a card of its own.
pub(super) fn own_cards(reads: &[&Read], candidates: &[&Little], model: &Model) -> f64 {
    let bits = reads[0].len();
    if reads.iter().any(|read| read.len() != bits) {
        return 0.0;
    }
    let jeffreys = |(ones, zeros)| sequence(ones, zeros);
    let by_read: f64 = reads.iter().map(|read| jeffreys(counts(read.iter()))).product();
    let at = |i: usize| jeffreys(counts(reads.iter().map(|read| &read[i])));
    let by_position: f64 = (0..bits).map(at).product();
    length_weight(bits, candidates, model) * (0.5 * by_read + 0.5 * by_position)
}

/// All reads, of one card.
pub(super) fn one_card(reads: &[&Read], candidates: &[&Little], model: &Model) -> f64 {
    let mut shown = reads[0].clone();
    for read in &reads[1..] {
        if read.len() != shown.len() {
            return 0.0;
        }
        for (shown, bit) in shown.iter_mut().zip(read.iter()) {
            match (*shown, bit) {
                (Some(before), Some(bit)) if before != *bit => return 0.0,
                (None, bit) => *shown = *bit,
                _ => {}
            }
        }
    }
    alone(&shown, candidates, model)
}
