//! The card behind each read of a case, all card states taken together.

use misread_core::Bit;
use misread_core::layout::Layout;

use super::card::{CardFound, most_likely_card};
use super::case::{Case, Expected};
use super::diagnosis::CauseFound;
use super::likelihood::Received;
use super::posterior::{PosedCards, Posterior, Triple, Units, ln_sum};
use crate::cause::{CardState, Cause, Model};

/// Fills in the most likely rate and card.
pub(super) fn find_cards(
    found: &mut CauseFound,
    case: &Case,
    units: &Units,
    posterior: &Posterior,
    layout: &Layout,
    model: &Model,
    posed: &mut PosedCards<'_>,
) {
    /// Card states less likely than this, beside the others, are passed over.
    const LEAST_SHARE: f64 = 1e-6;
    let cause = found.cause;
    let rates = model.rates(cause);
    let share = |state| {
        let mine = |triple: &&Triple| {
            triple.cause == cause && triple.layout == found.layout && triple.card == Some(state)
        };
        posterior.joint.iter().find(mine).map_or(0.0, |triple| triple.probability)
    };
    let all: f64 = units.states.iter().map(|&state| share(state)).sum();
    let mut states: Vec<CardState> = Vec::new();
    states.extend(found.card);
    states.extend(
        units
            .states
            .iter()
            .copied()
            .filter(|&state| Some(state) != found.card && share(state) > LEAST_SHARE * all),
    );
    // For each card state: what each unit looks like, and its likelihoods.
    let views: Vec<View> = states
        .iter()
        .filter_map(|&state| {
            let units = units.under(cause, state)?;
            let lns =
                units.iter().map(|(r, e)| posed.ln_unit(cause, rates, r, e).to_vec()).collect();
            Some(View { prior: model.card_prior(state), units, lns })
        })
        .collect();
    let Some(first) = views.first() else { return };
    found.rate = first.best_rate(rates);
    let cards: Vec<CardFound> = (0..first.units.len())
        .map(|unit| card_of_unit(cause, rates, layout, posed, &views, unit))
        .collect();
    let per_read = if cause == Cause::FrameSplit { 2 } else { 1 };
    let full = case.reads.iter().enumerate().filter(|(_, read)| !read.bits.is_empty());
    for (nth, (index, _)) in full.enumerate() {
        found.decoded[index] = cards.get(nth / per_read).cloned();
    }
}

/// The units of a case as one card state sees them.
struct View {
    prior: f64,
    units: Vec<(Received, Expected)>,
    /// For each unit, the logarithm of its likelihood at each rate.
    lns: Vec<Vec<f64>>,
}

impl View {
    /// The logarithm of the weight that all units but `except` give each rate.
    fn ln_weights(&self, except: Option<usize>) -> Vec<f64> {
        let variants = self.lns.first().map_or(0, Vec::len);
        let sum = |variant: usize| {
            let others = self.lns.iter().enumerate().filter(|&(unit, _)| Some(unit) != except);
            others.map(|(_, ln)| ln[variant]).sum()
        };
        (0..variants).map(sum).collect()
    }

    fn best_rate(&self, rates: &[f64]) -> Option<f64> {
        let weights = self.ln_weights(None);
        let best = weights.iter().zip(rates).max_by(|a, b| a.0.total_cmp(b.0));
        best.map(|(_, &rate)| rate)
    }
}

/// The most likely card over all card states. Within one state every card is
/// equally likely before the read, and the states' sets of cards lie one
/// inside the other or share just the expected card, so the best over all is
/// the best of one of them.
fn card_of_unit(
    cause: Cause,
    rates: &[f64],
    layout: &Layout,
    posed: &mut PosedCards<'_>,
    views: &[View],
    unit: usize,
) -> CardFound {
    let mut finds: Vec<CardFound> = Vec::new();
    for view in views {
        let (received, expected) = &view.units[unit];
        let weighted: Vec<(f64, f64)> =
            rates.iter().copied().zip(view.ln_weights(Some(unit))).collect();
        if let Some(posed) = posed.posed(expected) {
            finds.push(most_likely_card(cause, &weighted, received, layout, posed));
        }
    }
    let Some(first) = finds.first() else { return CardFound::unknown(layout) };
    if !first.single {
        // Certain is what holds whichever card it is.
        let certain = finds.iter().skip(1).fold(first.frame, |certain, find| {
            let both = certain.iter().zip(find.frame.iter());
            both.map(|(a, b)| if a == b { a } else { Bit::Unread }).collect()
        });
        return CardFound::new(layout, cause, certain);
    }
    if finds.iter().all(|find| !find.single || find.fields == first.fields) {
        return first.clone();
    }
    let mut best: Option<(f64, &CardFound)> = None;
    for find in finds.iter().filter(|find| find.single) {
        let weight = ln_card(cause, rates, layout, posed, views, unit, find);
        if best.is_none_or(|(most, _)| weight > most + 1e-9) {
            best = Some((weight, find));
        }
    }
    best.map_or_else(|| first.clone(), |(_, find)| find.clone())
}

/// The logarithm of a card's probability, all card states taken together, but
/// for a factor that is the same for every card.
fn ln_card(
    cause: Cause,
    rates: &[f64],
    layout: &Layout,
    posed: &mut PosedCards<'_>,
    views: &[View],
    unit: usize,
    card: &CardFound,
) -> f64 {
    let Some((received, _)) = views.first().and_then(|view| view.units.get(unit)) else {
        return f64::NEG_INFINITY;
    };
    let ln = posed.ln_unit(cause, rates, received, &card.fields);
    let of_view = |view: &View| {
        let expected = &view.units[unit].1;
        if !expected.iter().all(|(name, value)| card.fields.get(name) == Some(value)) {
            return f64::NEG_INFINITY;
        }
        let open = layout.fields().iter().filter(|field| !expected.contains_key(field.name()));
        let ln_cards = std::f64::consts::LN_2 * open.map(|field| field.width() as f64).sum::<f64>();
        let weights = view.ln_weights(Some(unit));
        let both: Vec<f64> = weights.iter().zip(ln).map(|(weight, ln)| weight + ln).collect();
        libm::log(view.prior) - ln_cards + ln_sum(both.iter().copied())
    };
    let all: Vec<f64> = views.iter().map(of_view).collect();
    ln_sum(all.iter().copied())
}
