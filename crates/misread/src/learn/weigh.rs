//! Every way the frames and the numbers fit together, weighed.

use std::cmp::Reverse;

use misread_core::Turn;

use super::checks::{self, BitChoices};
use super::claim::{inverts, reverses};
use super::field::{FieldChoice, Form, Numbers, Place, carriers, forms, keep_heaviest};
use super::frames::{Frames, words};
use super::prior::{self, Family};
use super::product::Combinations;
use super::sample::{Group, LearnError, PRINTED, plain};
use super::weight::{NOTHING, minus, plus, sum};
use crate::diagnose::gf2::Words;
use misread_core::layout::Span;

/// Choices kept for each column, and combinations of them looked at.
const CHOICES: usize = 4000;
const COMBINATIONS: usize = 4000;

/// Combinations this much lighter than the heaviest (2 to the minus) are left
/// in the rest.
const LIGHT: f64 = 60.0;

/// Where the numbers stand, all together.
#[derive(Clone, Debug)]
pub(super) struct Config {
    /// How the reads were taken.
    pub(super) turn: Turn,
    /// A choice for each column.
    pub(super) picks: Vec<FieldChoice>,
    /// The bits the numbers take, in the order received.
    pub(super) claims: Words,
    pub(super) weight: f64,
}

/// Everything weighed.
#[derive(Clone, Debug)]
pub(super) struct Weighed {
    pub(super) frames: Frames,
    /// What each bit can be, in the order received.
    pub(super) bits: Vec<BitChoices>,
    /// The total weight of each.
    pub(super) totals: Vec<f64>,
    /// Where the numbers can stand, heaviest first.
    pub(super) configs: Vec<Config>,
    /// The weight of all configurations, those not listed included: no less
    /// than it is.
    pub(super) all_configs: f64,
    /// How well all of it explains the frames, against other sets of samples.
    pub(super) evidence: f64,
}

impl Weighed {
    /// The share of the configurations that `like` says yes to: no more than
    /// it is.
    pub(super) fn doubt(&self, like: impl Fn(&Config) -> bool) -> f64 {
        let others = self.configs.iter().filter(|config| !like(config)).map(|c| c.weight);
        let listed = sum(self.configs.iter().map(|config| config.weight));
        let rest = minus(self.all_configs, listed);
        libm::exp2(plus(sum(others), rest) - self.all_configs).min(1.0)
    }
}

/// Weighs the samples of one length. `aside` are samples left out, by index.
pub(super) fn weigh(
    group: &Group,
    assume: &[(String, Vec<Span>)],
    aside: &[usize],
) -> Result<Weighed, LearnError> {
    let used: Vec<usize> = (0..group.samples.len()).filter(|i| !aside.contains(i)).collect();
    let frames = Frames::of(used.iter().map(|&i| &group.samples[i].bits), group.bits);
    let bits = checks::choices(&frames);
    let totals: Vec<f64> = bits.iter().map(BitChoices::total).collect();

    let stated: Vec<&(String, Vec<Span>)> =
        assume.iter().filter(|(name, _)| !group.columns.contains(&plain(name))).collect();
    let turns: &[Turn] = if group.columns.is_empty() { &[Turn::AsReceived] } else { &Turn::ALL };
    let mut configs = Vec::new();
    let mut all_configs = NOTHING;
    let mut fits = vec![false; group.columns.len()];
    for &turn in turns {
        let mut lists = Vec::new();
        let mut rest = Vec::new();
        for (column, name) in group.columns.iter().enumerate() {
            let mut choices = column_choices(group, &used, name, turn, &totals);
            let said = assume.iter().find(|(said, _)| plain(said) == *name);
            if let Some((_, spans)) = said {
                let spans = single(spans);
                choices.retain(|choice| {
                    matches!(choice.fields.as_slice(), [(_, form)] if form.listed() == spans)
                });
                fits[column] |= !choices.is_empty();
            } else {
                fits[column] = true;
                choices.push(nowhere(prior::NOT_IN_FRAME));
            }
            rest.push(keep_heaviest(&mut choices, CHOICES));
            lists.push(choices);
        }
        for (name, spans) in &stated {
            lists.push(vec![stated_field(name, spans, group.bits, turn)?]);
            rest.push(NOTHING);
        }
        let weights: Vec<Vec<f64>> =
            lists.iter().map(|list| list.iter().map(|choice| choice.weight).collect()).collect();
        if weights.iter().any(Vec::is_empty) {
            continue;
        }
        let prior = if turns.len() == 1 { 0.0 } else { prior::turn(turn) };
        let everything: f64 = weights
            .iter()
            .zip(&rest)
            .map(|(list, rest)| plus(sum(list.iter().copied()), *rest))
            .sum();
        let (mut looked_at, mut valid, mut heaviest) = (NOTHING, NOTHING, NOTHING);
        let mut combinations = Combinations::of(&weights);
        for _ in 0..COMBINATIONS {
            let Some(combination) = combinations.take() else { break };
            if combination.weight < heaviest - LIGHT {
                break;
            }
            combinations.step(&combination, 0..lists.len());
            looked_at = plus(looked_at, combination.weight);
            let picks: Vec<&FieldChoice> = lists
                .iter()
                .zip(&combination.picks)
                .map(|(list, &pick)| &list[usize::from(pick)])
                .collect();
            let Some(claims) = disjoint(&picks) else { continue };
            let weight = prior + combination.weight;
            heaviest = heaviest.max(combination.weight);
            valid = plus(valid, weight);
            let picks = picks.into_iter().cloned().collect();
            configs.push(Config { turn, picks, claims, weight });
        }
        let unseen = prior + minus(everything, looked_at);
        all_configs = plus(all_configs, plus(valid, unseen));
    }
    for ((name, spans), column) in assume.iter().filter_map(|said| {
        let column = group.columns.iter().position(|column| *column == plain(&said.0))?;
        Some((said, column))
    }) {
        if !fits[column] {
            let positions: Vec<String> = spans.iter().map(Span::to_string).collect();
            return Err(LearnError::Assumed {
                name: name.clone(),
                positions: positions.join(", "),
            });
        }
    }
    configs.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let evidence = totals.iter().sum::<f64>() + sum(configs.iter().map(|config| config.weight));
    Ok(Weighed { frames, bits, totals, configs, all_configs, evidence })
}

fn single(spans: &[Span]) -> Vec<Span> {
    spans.iter().flat_map(Span::positions).map(Span::one).collect()
}

fn disjoint(picks: &[&FieldChoice]) -> Option<Words> {
    let mut claims = Words::default();
    for pick in picks {
        if !claims.and(pick.claims).is_empty() {
            return None;
        }
        claims = claims.or(pick.claims);
    }
    Some(claims)
}

/// In no plain form.
fn nowhere(weight: f64) -> FieldChoice {
    FieldChoice { fields: Vec::new(), run_together: None, claims: Words::default(), weight }
}

/// A field of which no number is known, as the user states it.
fn stated_field(
    name: &str,
    spans: &[Span],
    bits: usize,
    turn: Turn,
) -> Result<FieldChoice, LearnError> {
    let listed: Vec<u16> = spans.iter().flat_map(Span::positions).collect();
    if let Some(&position) = listed.iter().find(|p| usize::from(**p) > bits || **p == 0) {
        return Err(LearnError::PastEnd { name: name.to_owned(), position, bits });
    }
    let form = Form {
        family: Family::MsbRun,
        bits: listed.iter().map(|position| (position - 1) as u8).collect(),
        offset: 0,
    };
    let claims = received(form.mask(), bits, turn);
    let fields = vec![(plain(name), form)];
    Ok(FieldChoice { fields, run_together: None, claims, weight: 0.0 })
}

fn column_choices(
    group: &Group,
    used: &[usize],
    name: &str,
    turn: Turn,
    totals: &[f64],
) -> Vec<FieldChoice> {
    let known: Vec<(Words, u64)> = used
        .iter()
        .filter_map(|&i| {
            let sample = &group.samples[i];
            let (_, number) = sample.known.iter().find(|(known, _)| known == name)?;
            Some((words(&sample.bits.turned(turn)), *number))
        })
        .collect();
    let explained = |claims: Words| -claims.indices().map(|index| totals[index]).sum::<f64>();
    let single = |(form, weight): (Form, f64), name: &str| {
        let claims = received(form.mask(), group.bits, turn);
        let weight = weight + explained(claims);
        FieldChoice { fields: vec![(name.to_owned(), form)], run_together: None, claims, weight }
    };
    let mut choices: Vec<FieldChoice> = forms(&Numbers { bits: group.bits, cards: &known })
        .into_iter()
        .map(|form| single(form, name))
        .collect();
    // Each place in any bit: what is found in a plain form must be better than
    // what any arrangement of bits would have found.
    let places = carriers(&Numbers { bits: group.bits, cards: &known });
    if !places.is_empty() {
        let one = |place: &Vec<usize>| {
            sum(place.iter().map(|&index| {
                let index = if reverses(turn) { group.bits - 1 - index } else { index };
                -totals[index]
            })) - libm::log2(group.bits as f64)
        };
        choices.push(nowhere(prior::ANY_BITS + places.iter().map(one).sum::<f64>()));
    }
    if !name.eq_ignore_ascii_case(PRINTED) {
        return choices;
    }
    let free = |wanted: &str, otherwise: &str| {
        let taken = group.columns.iter().any(|column| column.eq_ignore_ascii_case(wanted));
        if taken { otherwise.to_owned() } else { wanted.to_owned() }
    };
    let (front, back) = (free("facility", "printed-front"), free("card", "printed-back"));
    for digits in 1..=10u32 {
        let cut = 10u64.pow(digits);
        let part = |take: &dyn Fn(u64) -> u64, name: &str| {
            let cards: Vec<_> = known.iter().map(|(frame, n)| (*frame, take(*n))).collect();
            let mut forms: Vec<FieldChoice> = forms(&Numbers { bits: group.bits, cards: &cards })
                .into_iter()
                .filter(|(form, _)| form.offset == 0)
                .map(|form| single(form, name))
                .collect();
            keep_heaviest(&mut forms, 40);
            forms
        };
        let fronts = part(&|number| number / cut, &front);
        let backs = if fronts.is_empty() { Vec::new() } else { part(&|n| n % cut, &back) };
        for (front, back) in fronts.iter().flat_map(|f| backs.iter().map(move |b| (f, b))) {
            if front.claims.and(back.claims).is_empty() {
                choices.push(FieldChoice {
                    fields: front.fields.iter().chain(&back.fields).cloned().collect(),
                    run_together: Some(digits),
                    claims: front.claims.or(back.claims),
                    weight: front.weight + back.weight + prior::RUN_TOGETHER,
                });
            }
        }
    }
    choices
}

/// A set of bits of the frame as it should be, as received; and back.
pub(super) fn received(set: Words, bits: usize, turn: Turn) -> Words {
    match turn {
        Turn::AsReceived | Turn::Inverted => set,
        Turn::Reversed | Turn::InvertedReversed => {
            set.indices().fold(Words::default(), |mut turned, index| {
                turned.set(bits - 1 - index, true);
                turned
            })
        }
    }
}

/// What a choice says of the bits that moved, however it is put: which bit of
/// the number each of them carries.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Says {
    pub(super) run_together: Option<u32>,
    /// For each field: the constant taken off first, as far as it matters for
    /// these bits, and the bits with their places, as received.
    pub(super) fields: Vec<FieldSays>,
    pub(super) inverted: bool,
}

/// A field's name, the constant, and the place each bit carries.
pub(super) type FieldSays = (String, i128, Vec<(Place, usize)>);

/// What a configuration says of one column.
pub(super) fn says(frames: &Frames, config: &Config, column: usize) -> Says {
    let choice = &config.picks[column];
    let bits = frames.bits;
    let (inverted, backwards) = (inverts(config.turn), reverses(config.turn));
    let fields = choice.fields.iter().map(|(name, form)| {
        let mut places: Vec<(Place, usize)> = form
            .places()
            .map(|(index, place)| {
                let index = usize::from(index);
                (place, if backwards { bits - 1 - index } else { index })
            })
            .filter(|(_, index)| !frames.constant.contains(*index))
            .collect();
        places.sort_by_key(|(place, _)| Reverse(place.place));
        let top = places.first().map_or(0, |(place, _)| u32::from(place.place) + 1);
        (name.clone(), form.offset.rem_euclid(1i128 << top), places)
    });
    Says { run_together: choice.run_together, fields: fields.collect(), inverted }
}
