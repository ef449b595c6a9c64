//! Which card is behind a read.

use std::collections::BTreeMap;

use misread::cause::{Cause, Whose, Wire};

use super::Question;
use super::card::{Behind, DRAWS};
use super::joint::States;
use super::mix::Mix;

/// The bits of all fields, in the order of the fields.
pub(crate) type Card = Vec<bool>;

/// For each read that is not empty the probability of each card behind it,
/// under a wire state and the only candidate, given all that was presented;
/// `None` where the wire state is impossible.
pub(crate) fn cards_behind(
    question: &Question<'_>,
    wire: Wire,
) -> Option<Vec<BTreeMap<Card, f64>>> {
    let states = States::new(question);
    let [layout] = &states.layouts[..] else { panic!("more than one candidate") };
    let is_split = wire.cause() == Cause::FrameSplit;
    if is_split && !states.reads.len().is_multiple_of(2) {
        return None;
    }
    let tables = states.tables(wire);
    let mix = Mix { states: &states, wire, suffers: None, tables: &tables };
    let mut by_unit = vec![vec![0.0; layout.frames.len()]; mix.units()];
    for &(whose, weight) in &states.whose {
        for &(card, prior) in &states.cards {
            for (draw, (_, of, share)) in DRAWS.iter().enumerate() {
                let asked =
                    whose != Whose::OneCard || states.is_within(wire.cause(), layout.little);
                if *of != card || !asked {
                    continue;
                }
                let weight = weight * prior * share;
                let Behind { read, pair, one } = &layout.behind[draw];
                let own = if is_split { pair } else { read };
                for (likely, held) in mix.held() {
                    let weight = weight * likely;
                    let of_unit = |unit| mix.unit(0, unit, &own[unit], held);
                    for (unit, by_frame) in by_unit.iter_mut().enumerate() {
                        let others = (0..mix.units()).filter(|&other| other != unit);
                        let (among, others): (_, f64) = match whose {
                            Whose::OneCard => (one, 1.0),
                            _ => (&own[unit], others.map(of_unit).product()),
                        };
                        let among = among.as_deref().unwrap_or_default();
                        for &frame in among {
                            let likelihood: f64 = match whose {
                                Whose::OneCard => (0..mix.units())
                                    .map(|unit| mix.of_frame(0, unit, frame, held))
                                    .product(),
                                _ => mix.of_frame(0, unit, frame, held),
                            };
                            by_frame[frame] += weight * others * likelihood / among.len() as f64;
                        }
                    }
                }
            }
        }
    }
    let sum: f64 = by_unit[0].iter().sum();
    let card = |frame: usize| -> Card {
        let bits = layout.little.fields.iter().flat_map(|field| &field.bits);
        bits.map(|bit| layout.frames[frame][bit - 1]).collect()
    };
    let of_read = |read: usize| {
        let unit = if is_split { read / 2 } else { read };
        let mut cards = BTreeMap::new();
        for (frame, weight) in by_unit[unit].iter().enumerate() {
            *cards.entry(card(frame)).or_insert(0.0) += weight / sum;
        }
        cards
    };
    (sum > 0.0).then(|| (0..states.reads.len()).map(of_read).collect())
}
