//! Cards that a setting cannot tell apart.

use std::cmp::Ordering;
use std::ops::ControlFlow;

use super::cards::Cards;
use super::setting::{Keep, Setting};
use super::{Progress, Stopped};
use crate::Layout;
use crate::diagnose::FACILITY;
use crate::layout::Field;

/// What a setting makes of enrolled cards.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Clashes {
    /// Different cards that open as each other, in the order of their first
    /// cards.
    pub groups: Vec<Group>,
    /// The same card enrolled more than once, as indices. No setting can tell
    /// these apart, so they are no clash.
    pub duplicates: Vec<Vec<usize>>,
    /// Cards that do not open at all, since their frames do not fit the
    /// panel's layout, as indices.
    pub unseen: Vec<usize>,
}

/// Different cards that a panel takes for each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// What the panel sees of each: field values, or one `number`.
    pub seen_as: Vec<(String, u64)>,
    /// The cards as indices, in order; at least two, and not all the same.
    pub cards: Vec<usize>,
}

/// A setting that a panel offers, and what it would do.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// The setting.
    pub setting: Setting,
    /// How many bits it keeps, of the layout where it keeps the fewest.
    pub kept_bits: f64,
    /// How many groups of cards would open as each other.
    pub groups: usize,
    /// How many cards are in those groups.
    pub clashing: usize,
    /// How many cards would not open at all.
    pub unseen: usize,
}

impl Offer {
    /// Whether every card opens, and none as another.
    pub fn is_safe(&self) -> bool {
        self.groups == 0 && self.unseen == 0
    }
}

/// The groups of cards that would open as each other. Progress is told in
/// cards.
///
/// # Errors
///
/// [`Stopped`] where `progress` asks to stop.
pub fn clashes(
    cards: &Cards,
    setting: &Setting,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Clashes, Stopped> {
    let whole = Setting { layout: None, keep: Keep::Whole };
    let mut found = Clashes::default();
    for run in runs(cards, &Sight::new(cards, &whole), &mut |_| ControlFlow::Continue(()))?.0 {
        // Two layouts with fields of the same names are two cards.
        for same in by_layout(cards, &run) {
            if same.len() > 1 {
                found.duplicates.push(same);
            }
        }
    }
    let sight = Sight::new(cards, setting);
    let (runs, unseen) = runs(cards, &sight, progress)?;
    found.unseen = unseen;
    for run in runs {
        if !all_same(cards, &run) {
            let seen_as = run.first().map(|&card| sight.seen(cards, card)).unwrap_or_default();
            found.groups.push(Group { seen_as, cards: run });
        }
    }
    found.groups.sort_by_key(|group| group.cards.first().copied());
    found.duplicates.sort();
    Ok(found)
}

/// What each of a panel's settings would do.
///
/// # Errors
///
/// [`Stopped`] where `progress` asks to stop.
pub fn offers(
    cards: &Cards,
    settings: &[Setting],
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Vec<Offer>, Stopped> {
    let all = cards.len() * settings.len();
    let mut offers = Vec::new();
    for (i, setting) in settings.iter().enumerate() {
        let before = i * cards.len();
        let mut told = |p: Progress| progress(Progress { done: before + p.done, of: all });
        let (runs, unseen) = runs(cards, &Sight::new(cards, setting), &mut told)?;
        let clashing = || runs.iter().filter(|run| !all_same(cards, run));
        let used = cards.layouts().iter().enumerate().filter(|(at, _)| cards.has_layout(*at));
        offers.push(Offer {
            kept_bits: used
                .map(|(_, layout)| setting.kept_bits(layout))
                .min_by(f64::total_cmp)
                .unwrap_or(0.0),
            groups: clashing().count(),
            clashing: clashing().map(Vec::len).sum(),
            unseen: unseen.len(),
            setting: setting.clone(),
        });
    }
    Ok(offers)
}

/// The index of the safe offer that keeps the most; of equal ones the first.
/// `None` where none is safe.
pub fn largest_safe(offers: &[Offer]) -> Option<usize> {
    let safe = offers.iter().enumerate().filter(|(_, offer)| offer.is_safe());
    safe.max_by(|(i, a), (j, b)| a.kept_bits.total_cmp(&b.kept_bits).then(j.cmp(i))).map(|(i, _)| i)
}

/// How a setting sees cards, worked out once a layout.
struct Sight<'a> {
    keep: Keep,
    panel: Option<&'a Layout>,
    /// By layout, whether the panel reads it as it is.
    as_own: Vec<bool>,
    /// The lists of field names there are; a card is seen as one of them.
    shapes: Vec<Vec<&'a str>>,
    /// By layout, as of the panel where it has its own.
    shape_of: Vec<usize>,
    /// Words a card: its shape and its values.
    words: usize,
}

impl<'a> Sight<'a> {
    fn new(cards: &'a Cards, setting: &'a Setting) -> Self {
        let keep = setting.keep;
        let panel = setting.layout.as_ref();
        let mut shapes: Vec<Vec<&str>> = Vec::new();
        let shape_of = cards
            .layouts()
            .iter()
            .map(|layout| {
                let kept = kept_fields(panel.unwrap_or(layout), keep);
                let shape: Vec<&str> = match keep {
                    Keep::LowBits(_) | Keep::Digits(_) => vec!["number"],
                    Keep::Whole | Keep::NoFacility => kept.map(Field::name).collect(),
                };
                shapes.iter().position(|other| *other == shape).unwrap_or_else(|| {
                    shapes.push(shape);
                    shapes.len() - 1
                })
            })
            .collect();
        let words = 1 + shapes.iter().map(Vec::len).max().unwrap_or(0);
        let as_own =
            cards.layouts().iter().map(|own| panel.is_none_or(|panel| panel == own)).collect();
        Sight { keep, panel, as_own, shapes, shape_of, words }
    }

    /// Writes what is seen of a card into `words`; `false` where it does not
    /// fit the panel's layout.
    fn look(&self, cards: &Cards, card: usize, words: &mut [u64]) -> bool {
        words.fill(0);
        let Some((own, values)) = cards.get(card) else { return false };
        let index = cards.layout_index(card);
        let as_own = self.as_own.get(index).copied().unwrap_or(true);
        let mut decoded = Vec::new();
        let (layout, values) = match self.panel {
            Some(panel) if !as_own => {
                let named = own.fields().iter().map(Field::name).zip(values.iter().copied());
                let Ok(frame) = own.encode(named) else { return false };
                let Ok(found) = panel.decode(&frame) else { return false };
                decoded.extend(found.values().map(|(_, value)| value.unwrap_or(0)));
                (panel, decoded.as_slice())
            }
            _ => (own, values),
        };
        let shape = self.shape_of.get(index).copied().unwrap_or(0);
        let Some((first, rest)) = words.split_first_mut() else { return false };
        *first = shape as u64;
        match self.keep {
            Keep::Whole => rest.iter_mut().zip(values).for_each(|(to, value)| *to = *value),
            Keep::NoFacility => {
                let named = layout.fields().iter().zip(values);
                let kept = named.filter(|(field, _)| field.name() != FACILITY);
                rest.iter_mut().zip(kept).for_each(|(to, (_, value))| *to = *value);
            }
            Keep::LowBits(bits) => {
                let mask = u64::MAX >> (64 - u32::from(bits.clamp(1, 64)));
                set(
                    rest,
                    joined(layout, values, |number, width, raw| {
                        // What is moved out at the top is above the low 64 bits.
                        (if width >= 64 { 0 } else { number << width }) | raw
                    }) & mask,
                );
            }
            Keep::Digits(digits) => {
                let modulus = 10u128.pow(u32::from(digits.clamp(1, 19)));
                set(
                    rest,
                    joined(layout, values, |number, width, raw| {
                        // Under 10¹⁹ and moved up by at most 64 bits: it fits.
                        (((u128::from(number) << width) + u128::from(raw)) % modulus) as u64
                    }),
                );
            }
        }
        true
    }

    /// What is seen of a card, by name.
    fn seen(&self, cards: &Cards, card: usize) -> Vec<(String, u64)> {
        let mut words = vec![0; self.words];
        self.look(cards, card, &mut words);
        let Some((shape, values)) = words.split_first() else { return Vec::new() };
        let names = self.shapes.get(*shape as usize).into_iter().flatten();
        names.zip(values).map(|(name, value)| ((*name).to_owned(), *value)).collect()
    }
}

fn set(words: &mut [u64], value: u64) {
    if let Some(word) = words.first_mut() {
        *word = value;
    }
}

/// The fields' bits joined in the order of the layout: `add` is given the
/// number so far, the width of the next field and its bits.
fn joined(layout: &Layout, values: &[u64], add: impl Fn(u64, usize, u64) -> u64) -> u64 {
    layout.fields().iter().zip(values).fold(0, |number, (field, &value)| {
        add(number, field.width(), field.to_raw(value).unwrap_or(0))
    })
}

fn kept_fields(layout: &Layout, keep: Keep) -> impl Iterator<Item = &Field> {
    layout.fields().iter().filter(move |f| keep != Keep::NoFacility || f.name() != FACILITY)
}

/// The sets of two or more cards that look the same, and the cards that are
/// not seen.
fn runs(
    cards: &Cards,
    sight: &Sight<'_>,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<(Vec<Vec<usize>>, Vec<usize>), Stopped> {
    let words = sight.words;
    let mut seen = vec![0u64; cards.len() * words];
    let mut unseen = Vec::new();
    // Sorted by a small number each, so that only cards whose numbers agree
    // are compared word by word.
    let mut order: Vec<(u64, u32)> = Vec::with_capacity(cards.len());
    for card in 0..cards.len() {
        let own = &mut seen[card * words..][..words];
        if sight.look(cards, card, own) {
            order.push((mixed(own), card as u32));
        } else {
            unseen.push(card);
        }
        if card % (1 << 16) == 0 && progress(Progress { done: card, of: cards.len() }).is_break() {
            return Err(Stopped);
        }
    }
    order.sort_unstable();
    let look = |card: &usize| &seen[*card * words..][..words];
    let mut runs = Vec::new();
    for alike in order.chunk_by(|a, b| a.0 == b.0).filter(|alike| alike.len() > 1) {
        let mut alike: Vec<usize> = alike.iter().map(|&(_, card)| card as usize).collect();
        // Stable, so that cards stay in order.
        alike.sort_by(|a, b| look(a).cmp(look(b)));
        let same = alike.chunk_by(|a, b| look(a) == look(b));
        runs.extend(same.filter(|run| run.len() > 1).map(<[usize]>::to_vec));
    }
    Ok((runs, unseen))
}

/// A number that is equal for equal words, and rarely for others.
fn mixed(words: &[u64]) -> u64 {
    words.iter().fold(0, |sum: u64, word| {
        let sum = (sum.rotate_left(23) ^ word).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        sum ^ sum >> 32
    })
}

/// Whether these are one card, enrolled several times.
fn all_same(cards: &Cards, run: &[usize]) -> bool {
    run.windows(2).all(|two| compare(cards, two[0], two[1]) == Ordering::Equal)
}

fn compare(cards: &Cards, a: usize, b: usize) -> Ordering {
    let by_layout = cards.layout_index(a).cmp(&cards.layout_index(b));
    by_layout.then_with(|| cards.values_of(a).cmp(cards.values_of(b)))
}

fn by_layout(cards: &Cards, run: &[usize]) -> Vec<Vec<usize>> {
    let mut sorted = run.to_vec();
    sorted.sort_by_key(|&card| cards.layout_index(card));
    let same = |a: &usize, b: &usize| cards.layout_index(*a) == cards.layout_index(*b);
    sorted.chunk_by(same).map(<[usize]>::to_vec).collect()
}
