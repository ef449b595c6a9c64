//! Samples that contradict the rest.

use misread_core::layout::Span;

use super::candidate::wholes;
use super::checks::settled;
use super::claim::inverts;
use super::frames::{Frames, words};
use super::sample::{Group, LearnError};
use super::weigh::{Config, Weighed, received, weigh};
use crate::diagnose::gf2::Words;

/// What it costs to say that a sample is wrong, beside its bits.
const WRONG: f64 = 12.0;

/// Up to this many samples, each is tried in turn.
const FEW: usize = 24;

/// Weighs the samples, those set aside that contradict the rest: the rest is
/// better explained without, by more than a sample of random bits would cost,
/// and says something settled that they go against. (That bits move in one
/// sample alone is no contradiction: a counter passes a power of two once.)
pub(super) fn weigh_sound(
    group: &Group,
    assume: &[(String, Vec<Span>)],
) -> Result<(Weighed, Vec<usize>), LearnError> {
    let mut best = (weigh(group, assume, &[])?, Vec::new());
    if group.samples.len() > FEW {
        let aside = contradicting(group, assume)?.unwrap_or_default();
        let without = weigh(group, assume, &aside)?;
        let found: Vec<usize> =
            aside.iter().copied().filter(|&i| is_against(group, i, &without)).collect();
        let without =
            if found.len() == aside.len() { without } else { weigh(group, assume, &found)? };
        if is_better(group, &without, &best.0, found.len()) {
            best = (without, found);
        }
        return Ok(best);
    }
    let most = group.samples.len() / 4;
    while best.1.len() < most && group.samples.len() - best.1.len() > 3 {
        let mut better: Option<(Weighed, Vec<usize>)> = None;
        for i in (0..group.samples.len()).filter(|i| !best.1.contains(i)) {
            let aside: Vec<usize> = best.1.iter().copied().chain([i]).collect();
            let without = weigh(group, assume, &aside)?;
            let so_far = better.as_ref().map_or(f64::NEG_INFINITY, |better| better.0.evidence);
            if without.evidence > so_far
                && is_better(group, &without, &best.0, 1)
                && is_against(group, i, &without)
            {
                better = Some((without, aside));
            }
        }
        match better {
            Some(found) => best = found,
            None => break,
        }
    }
    best.1.sort_unstable();
    Ok(best)
}

/// Whether the samples without some explain themselves better.
fn is_better(group: &Group, without: &Weighed, with: &Weighed, some: usize) -> bool {
    let cost = (group.bits as f64 + WRONG) * some as f64;
    some > 0 && without.evidence - cost > with.evidence
}

/// Whether a sample goes against something the others settle: where a number
/// stands, or a parity rule.
fn is_against(group: &Group, sample: usize, others: &Weighed) -> bool {
    let Some(config) = others.configs.first() else { return false };
    if contradicts(group, sample, config, &others.frames) {
        return true;
    }
    let Some(best) = wholes(others).into_iter().next() else { return false };
    let difference = words(&group.samples[sample].bits).xor(others.frames.first);
    settled(&others.frames, &others.bits, &best.rules())
        .iter()
        .any(|rule| rule.whole && rule.group.and(difference).is_odd())
}

/// The samples that contradict what a part of them says, for the part that the
/// fewest contradict; `None` where none does, or too many.
fn contradicting(
    group: &Group,
    assume: &[(String, Vec<Span>)],
) -> Result<Option<Vec<usize>>, LearnError> {
    let count = group.samples.len();
    // Enough to have every bit moving freely, if bits do: what is linear then
    // holds for all. A few are enough to find where the numbers stand, and
    // more likely to be sound.
    let enough = group.bits + 8;
    let parts = [FEW / 2, enough.min(count * 3 / 4)];
    let mut fewest: Option<Vec<usize>> = None;
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    for part in parts.into_iter().flat_map(|part| [part; 8]) {
        let mut order: Vec<usize> = (0..count).collect();
        for i in 0..part {
            // A fixed sequence: the same samples get the same answer.
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            order.swap(i, i + (state >> 33) as usize % (count - i));
        }
        let others: Vec<usize> = order.split_off(part);
        let weighed = weigh(group, assume, &others)?;
        let rules = if part == enough {
            let (solved, rest) = weighed.frames.solved_for(Words::default());
            solved.into_iter().map(|(_, set)| set).chain(rest).collect()
        } else {
            Vec::new()
        };
        let config = weighed.configs.first();
        let against: Vec<usize> = (0..count)
            .filter(|&i| {
                let difference = words(&group.samples[i].bits).xor(weighed.frames.first);
                rules.iter().any(|set| set.and(difference).is_odd())
                    || config.is_some_and(|c| contradicts(group, i, c, &weighed.frames))
            })
            .collect();
        // A part with a wrong sample in it explains nothing, and nothing
        // contradicts that.
        if !against.is_empty() && fewest.as_ref().is_none_or(|f| against.len() < f.len()) {
            fewest = Some(against);
        }
    }
    Ok(fewest.filter(|against| against.len() <= count / 5))
}

/// Whether a sample's numbers stand elsewhere than a configuration says.
pub(super) fn contradicts(group: &Group, sample: usize, config: &Config, frames: &Frames) -> bool {
    let sample = &group.samples[sample];
    let frame = words(&sample.bits);
    group.columns.iter().zip(&config.picks).any(|(column, choice)| {
        let Some((_, number)) = sample.known.iter().find(|(name, _)| name == column) else {
            return false;
        };
        let parts: Vec<u64> = match choice.run_together.and_then(|d| 10u64.checked_pow(d)) {
            Some(cut) => vec![number / cut, number % cut],
            None => vec![*number],
        };
        choice.fields.iter().zip(parts).any(|((_, form), part)| {
            let Some(own) = form.number(part) else { return true };
            form.places().any(|(index, place)| {
                let mut at = Words::default();
                at.set(usize::from(index), true);
                let at = received(at, frames.bits, config.turn);
                let carried = frame.and(at).is_empty() == inverts(config.turn);
                carried != place.of(own)
            })
        })
    })
}
