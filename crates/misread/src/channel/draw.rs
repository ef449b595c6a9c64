//! Whole cases drawn from the priors, with the truth about them.

use misread_core::pulse::{Evidence, Pulse};
use misread_core::{Bits, Layout};
use rand_core::Rng;

use super::random::{below, between, chance, coin, weighted};
use super::send::without_frame;
use super::{
    Fault, Pulses, Sent, SentRead, Shape, draw_evidence, draw_frame, has_bytes, pulses_showing,
    send,
};
use crate::cause::{CardState, Cause, Model, ProbeAt};
use crate::diagnose::{
    Candidates, Case, CaseRead, Expected, FACILITY, SHORTEST_LAYOUT, fits, holds_in,
};

/// The most reads of a case that [`draw_case`] draws.
const MOST_READS: usize = 3;

/// A case, and the truth about it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnCase {
    /// What the installer sees. Reads of which no pulse arrived are empty.
    pub case: Case,
    /// What is so.
    pub truth: Truth,
    /// What became of each frame; none where the cause has no layout.
    pub sent: Vec<Sent>,
}

/// What is so: a drawn combination of wire, card and layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// What happened to the bits.
    pub fault: Fault,
    /// Whether the card is the one expected; `None` for a cause that says
    /// nothing of it.
    pub card: Option<CardState>,
    /// Which candidate layout; `None` for a cause that says nothing of it.
    pub layout: Option<usize>,
    /// The frame of each presented card: one a read, one for two reads where
    /// frames are split, none where the cause has no layout.
    pub frames: Vec<Bits>,
}

/// A case that cannot be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DrawError {
    /// No read, no candidate layout of four bits or more, or priors and rates
    /// that leave nothing possible.
    #[error(
        "there is nothing to draw from: at least one read, one candidate layout of \
         {SHORTEST_LAYOUT} bits or more and one possible cause are needed"
    )]
    Nothing,
    /// No single candidate layout can carry all the expected values.
    #[error("no candidate layout can carry all the expected values: give values that one can")]
    ExpectedFitsNoLayout,
}

/// A whole case: one to three reads, what is expected of the cards
/// ([`draw_expected`]), and the rest ([`draw_case_expecting`]).
///
/// ```
/// use misread::cause::Model;
/// use misread::channel::{draw_case, seeded};
/// use misread::diagnose::Candidates;
/// use misread::layout::{Layout, built_in};
/// use std::sync::Arc;
///
/// let candidates = Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26)?), 4.0)]);
/// let drawn = draw_case(&candidates, &Model::default(), &mut seeded(1, 0))?;
/// let again = draw_case(&candidates, &Model::default(), &mut seeded(1, 0))?;
/// assert_eq!(drawn, again);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
///
/// See [`DrawError`].
pub fn draw_case(
    candidates: &Candidates,
    model: &Model,
    random: &mut impl Rng,
) -> Result<DrawnCase, DrawError> {
    let reads = between(1, MOST_READS, random);
    let expected = draw_expected(reads, candidates, model, random);
    draw_case_expecting(&expected, candidates, model, random)
}

/// What an installer says of the cards of so many reads: nothing, all fields,
/// or some fields of some cards; the same card each time, or a card each. The
/// shares are judgement. The values are those of one candidate layout, drawn
/// without regard to which layout will turn out to be in use: an answer to
/// "which layout" must not lean on which values someone happened to type.
pub fn draw_expected(
    reads: usize,
    candidates: &Candidates,
    model: &Model,
    random: &mut impl Rng,
) -> Vec<Expected> {
    let nothing = vec![Expected::new(); reads];
    let priors = candidates.priors(model.configured);
    let Some(layout) = weighted(priors.into_iter(), random) else { return nothing };
    let layout = &candidates.layouts()[layout];
    let (all, some) = match below(3, random) {
        0 => return nothing,
        1 => (true, false),
        _ => (false, true),
    };
    let same = coin(random);
    let mut cards: Vec<Expected> = Vec::with_capacity(reads);
    for _ in 0..reads {
        let card = match cards.first() {
            Some(first) if same => first.clone(),
            _ => draw_values(layout, |random| all || coin(random), random),
        };
        cards.push(card);
    }
    if some {
        for card in &mut cards {
            if chance(0.25, random) {
                card.clear();
            }
        }
    }
    cards
}

/// Values a card of this layout can carry, of the fields that are told.
fn draw_values<R: Rng>(
    layout: &Layout,
    mut told: impl FnMut(&mut R) -> bool,
    random: &mut R,
) -> Expected {
    let mut values = Expected::new();
    for field in layout.fields() {
        if !told(random) {
            continue;
        }
        // Drawn bit by bit; a bcd field's digits over nine are drawn again.
        let raw = loop {
            let raw = random.next_u64() >> (64 - field.width());
            if field.digits_are_decimal(raw) {
                break raw;
            }
        };
        values.insert(field.name().to_owned(), field.from_raw(raw));
    }
    values
}

/// The reads of a case of which this is expected, one card a read: wire, card
/// state and layout are drawn together from their priors, among those that are
/// possible; then what holds for the whole case, the cards, and what happens to
/// each frame.
///
/// # Errors
///
/// See [`DrawError`].
pub fn draw_case_expecting(
    expected: &[Expected],
    candidates: &Candidates,
    model: &Model,
    random: &mut impl Rng,
) -> Result<DrawnCase, DrawError> {
    let possible = possible(expected, candidates, model)?;
    let weights = possible.iter().map(|&(.., weight)| weight);
    let drawn = weighted(weights, random).ok_or(DrawError::Nothing)?;
    let (cause, placed, _) = possible[drawn];
    let fault = Fault::draw(cause, model, random).ok_or(DrawError::Nothing)?;
    let mut truth = Truth {
        fault,
        card: placed.map(|(state, _)| state),
        layout: placed.map(|(_, layout)| layout),
        frames: Vec::new(),
    };
    let mut sent = Vec::new();
    let mut received = Vec::with_capacity(expected.len());
    match placed {
        None => {
            let reads = expected.iter().filter_map(|_| without_frame(&fault, random));
            received.extend(reads.map(|read| read.bits));
        }
        Some((state, layout)) => {
            let layout = &candidates.layouts()[layout];
            let cards = cards(cause, state, expected).ok_or(DrawError::Nothing)?;
            for card in cards {
                let values = card.iter().map(|(name, &number)| (name.as_str(), number));
                let frame = draw_frame(layout, values, random).ok_or(DrawError::Nothing)?;
                let one = send(&fault, layout, &frame, random).map_err(|_| DrawError::Nothing)?;
                received.extend(one.reads.iter().map(|read| read.bits));
                truth.frames.push(frame);
                sent.push(one);
            }
        }
    }
    let reads = received.into_iter().zip(expected);
    let reads = reads
        .map(|(bits, expected)| CaseRead { expected: expected.clone(), ..CaseRead::from(bits) });
    Ok(DrawnCase { case: Case { reads: reads.collect(), ..Case::default() }, truth, sent })
}

/// A case as a capture of the lines shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnCapture {
    /// The case, with what its pulses say and where it was captured. None of
    /// its reads is empty: a card of which no pulse arrived leaves nothing in a
    /// capture.
    pub case: Case,
    /// What is so.
    pub truth: Truth,
    /// The pulses of each read.
    pub pulses: Vec<Vec<Pulse>>,
}

/// The capture of a case of which this is expected, one card a read: the case
/// as [`draw_case_expecting`] draws it for reads captured there, the findings
/// drawn at the model's rates, and pulses that show just these.
///
/// A case in which nothing arrives, and one whose findings no pulses with its
/// bits can show, is drawn again: whether they can depends on what is seen
/// alone, so that what the model says of causes given what is seen still holds.
///
/// # Errors
///
/// See [`DrawError`].
///
/// ```
/// use misread::cause::{Model, ProbeAt};
/// use misread::channel::{Shape, draw_capture, seeded};
/// use misread::diagnose::{Candidates, Expected};
/// use misread::layout::{Layout, built_in};
/// use std::sync::Arc;
///
/// let candidates = Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26)?), 4.0)]);
/// let drawn = draw_capture(
///     &[Expected::new()], &candidates, &Model::default(), ProbeAt::Panel, &Shape::default(),
///     &mut seeded(1, 0),
/// )?;
/// assert_eq!(drawn.pulses[0].len(), drawn.case.reads[0].bits.len());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn draw_capture(
    expected: &[Expected],
    candidates: &Candidates,
    model: &Model,
    at: ProbeAt,
    shape: &Shape,
    random: &mut impl Rng,
) -> Result<DrawnCapture, DrawError> {
    /// Far more than are ever needed: most cases can be shown.
    const DRAWS: usize = 1_000;
    let model = model.captured(at);
    for _ in 0..DRAWS {
        let DrawnCase { case, truth, sent } =
            draw_case_expecting(expected, candidates, &model, random)?;
        let mut received: Vec<SentRead> = sent.into_iter().flat_map(|sent| sent.reads).collect();
        if received.is_empty() {
            received.extend(case.reads.iter().map(|read| SentRead::from_nowhere(&read.bits)));
        }
        let (mut reads, received): (Vec<CaseRead>, Vec<SentRead>) =
            case.reads.into_iter().zip(received).filter(|(read, _)| !read.bits.is_empty()).unzip();
        if reads.is_empty() {
            continue;
        }
        let cause = truth.fault.cause();
        let Some((evidence, pulses)) = lay_findings(cause, &received, &model, shape, random) else {
            continue;
        };
        for (read, evidence) in reads.iter_mut().zip(evidence) {
            read.pulses = evidence;
        }
        return Ok(DrawnCapture {
            case: Case { reads, captured: Some(at), ..Case::default() },
            truth,
            pulses,
        });
    }
    Err(DrawError::Nothing)
}

/// The findings of each read, drawn at the model's rates, and pulses that show
/// just these; `None` where none can.
pub(crate) fn lay_findings(
    cause: Cause,
    received: &[SentRead],
    model: &Model,
    shape: &Shape,
    random: &mut impl Rng,
) -> Option<(Vec<Evidence>, Vec<Vec<Pulse>>)> {
    let draw = |read| draw_evidence(cause, read, model, random);
    let wanted: Vec<Evidence> = received.iter().map(draw).collect();
    let pulses = pulses_showing(cause, received, &wanted, shape, random)?;
    Some((wanted, pulses))
}

type Weighted = (Cause, Option<(CardState, usize)>, f64);

/// Every possible combination with its prior. An impossible one keeps its
/// prior without ever coming true, so it is passed over, not shared out.
fn possible(
    expected: &[Expected],
    candidates: &Candidates,
    model: &Model,
) -> Result<Vec<Weighted>, DrawError> {
    let layouts = candidates.layouts();
    let long_enough = layouts.iter().all(|layout| layout.bits() >= SHORTEST_LAYOUT);
    if expected.is_empty() || layouts.is_empty() || !long_enough {
        return Err(DrawError::Nothing);
    }
    let fitting: Vec<bool> =
        layouts.iter().map(|layout| expected.iter().all(|card| fits(layout, card))).collect();
    if !fitting.contains(&true) {
        return Err(DrawError::ExpectedFitsNoLayout);
    }
    let any_expected = expected.iter().any(|card| !card.is_empty());
    let states = if any_expected { &CardState::ALL[..] } else { &CardState::ALL[..1] };
    let priors = candidates.priors(model.configured);
    let mut possible = Vec::new();
    for cause in Cause::ALL {
        if Pulses::of(cause).is_some() && model.rates(cause).is_empty() {
            continue;
        }
        if cause.is_without_layout() {
            possible.push((cause, None, model.prior(cause)));
            continue;
        }
        for &state in states {
            if cards(cause, state, expected).is_none() {
                continue;
            }
            let card_prior = if any_expected { model.card_prior(state) } else { 1.0 };
            for (index, layout) in layouts.iter().enumerate() {
                let sets_facility_apart =
                    matches!(state, CardState::FacilityDiffers | CardState::CardDiffers);
                let has_bytes = || layout.fields().iter().any(|field| has_bytes(field.width()));
                let impossible = !fitting[index]
                    || sets_facility_apart && layout.field(FACILITY).is_none()
                    || cause == Cause::BytesReversed && !has_bytes();
                if !impossible {
                    let weight = model.prior(cause) * card_prior * priors[index];
                    possible.push((cause, Some((state, index)), weight));
                }
            }
        }
    }
    Ok(possible)
}

/// What each presented card is known to carry in this state; `None` where
/// frames are split and the reads do not pair up.
fn cards(cause: Cause, state: CardState, expected: &[Expected]) -> Option<Vec<Expected>> {
    let each: Vec<Expected> = expected.iter().map(|card| holds_in(state, card)).collect();
    if cause != Cause::FrameSplit {
        return Some(each);
    }
    if !each.len().is_multiple_of(2) {
        return None;
    }
    each.chunks_exact(2)
        .map(|pair| match pair {
            [first, second] if first.is_empty() || first == second => Some(second.clone()),
            [first, second] if second.is_empty() => Some(first.clone()),
            _ => None,
        })
        .collect()
}
