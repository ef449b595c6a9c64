//! Whole cases drawn from the model, with the truth about them.
//!
//! The model's priors are weights: nothing in them is renormalised for what a
//! case does not ask, for what is impossible, or for the lengths that unlisted
//! layouts have a tenth of the weight of. So everything is drawn as it stands,
//! one after the other, and where that comes to nothing the whole case is drawn
//! again. What is left is as likely as the product of its weights says, to what
//! is possible at all: what the diagnosis works its posterior from.

use misread_core::{Bits, Layout};
use rand_core::Rng;

use super::frame::draw_known;
use super::known::Known;
use super::random::{below, between, chance, coin, weighted};
use super::send::without_frame;
use super::unlisted::{draw_unlisted, draw_unlisted_cards, draw_unlisted_length};
use super::{Fault, Held, SentRead, send};
use crate::cause::{CardState, Cause, IS_NEIGHBOUR, Model, Whose, Wire};
use crate::diagnose::{
    Candidates, Case, CaseRead, Expected, LayoutUsed, SHORTEST_LAYOUT, fits, is_asked_of_one_card,
    is_within,
};

/// The most presentations of a case that [`draw_case`] draws.
const MOST_PRESENTATIONS: usize = 4;

/// A case, and the truth about it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnCase {
    /// What the installer sees, one read a presentation. Those that gave nothing
    /// are empty.
    pub case: Case,
    /// What is so.
    pub truth: Truth,
    /// What arrived of each presentation, as it is in the case.
    pub sent: Vec<SentRead>,
}

/// What is so: a drawn combination of wire, card, layout and whose cards.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// What happened to the bits.
    pub fault: Fault,
    /// Whether the card is the one expected; `None` for a wire state that says
    /// nothing of it.
    pub card: Option<CardState>,
    /// Which layout; `None` for a wire state that says nothing of it.
    pub layout: Option<LayoutUsed>,
    /// Whose cards were presented.
    pub whose: Whose,
    /// Of each presentation, whether it suffered what comes and goes; none of
    /// them where nothing does.
    pub suffers: Vec<bool>,
    /// Of each presentation, the frame of its card: two have one together where
    /// frames are split. `None` where it gave nothing, or bits of no candidate
    /// layout.
    pub frames: Vec<Option<CardFrame>>,
}

/// The frame of a presented card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CardFrame {
    /// The index of its layout among the candidates.
    pub layout: usize,
    /// Its bits.
    pub bits: Bits,
}

/// A case that cannot be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DrawError {
    /// No read, no candidate layout of four bits or more, or priors and rates
    /// that leave nothing possible, or next to nothing.
    #[error(
        "there is nothing to draw from: at least one read, one candidate layout of \
         {SHORTEST_LAYOUT} bits or more and one possible cause are needed"
    )]
    Nothing,
    /// No single candidate layout can carry all the expected values.
    #[error("no candidate layout can carry all the expected values: give values that one can")]
    ExpectedFitsNoLayout,
}

/// A whole case: one to four presentations, what is expected of the cards
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
    let presentations = between(1, MOST_PRESENTATIONS, random);
    let expected = draw_expected(presentations, candidates, model, random);
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

/// A case of which this is expected, one card a presentation: the wire state
/// with what holds for the whole case, which presentations suffer it and which
/// give nothing, whose cards they are, card state and layout, the cards, and
/// what happens to each frame, all by the weights of the model, to what is
/// possible.
///
/// A read of which a fault leaves no pulse is not drawn: the model says of a
/// presentation that gives nothing how likely it is, whatever is wrong. Of
/// layouts that are not among the candidates, lengths that a candidate has are
/// drawn a tenth as often, and the wire state with them that much less.
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
    /// Far more than are needed but of priors that leave next to nothing.
    const DRAWS: usize = 100_000;
    let drawing = Drawing::new(expected, candidates, model)?;
    (0..DRAWS).find_map(|_| drawing.draw(random)).ok_or(DrawError::Nothing)
}

/// What a case is drawn from.
struct Drawing<'d> {
    expected: &'d [Expected],
    candidates: &'d Candidates,
    model: &'d Model,
    /// The wire states that are asked about, with their weights.
    wires: Vec<(Wire, f64)>,
    /// The weight of each candidate layout.
    layouts: Vec<f64>,
}

/// The cards of the reads that are not empty, and how they came.
struct Cards {
    state: CardState,
    layout: LayoutUsed,
    /// Of each read, its frame and what arrived.
    reads: Vec<(Option<CardFrame>, SentRead)>,
}

impl<'d> Drawing<'d> {
    fn new(
        expected: &'d [Expected],
        candidates: &'d Candidates,
        model: &'d Model,
    ) -> Result<Self, DrawError> {
        let layouts = candidates.layouts();
        let long_enough = layouts.iter().all(|layout| layout.bits() >= SHORTEST_LAYOUT);
        if expected.is_empty() || layouts.is_empty() || !long_enough {
            return Err(DrawError::Nothing);
        }
        let fits = |layout: &Layout| expected.iter().all(|card| fits(layout, card));
        if !layouts.iter().any(|layout| fits(layout)) {
            return Err(DrawError::ExpectedFitsNoLayout);
        }
        // A single presentation says nothing of coming and going.
        let asked = |wire: &Wire| expected.len() > 1 || !wire.comes_and_goes();
        let wires = Wire::all().filter(asked).map(|wire| (wire, model.wire_prior(wire)));
        let layouts = candidates.priors(model.configured);
        Ok(Drawing { expected, candidates, model, wires: wires.collect(), layouts })
    }

    /// A case; `None` where what was drawn is impossible, or not asked.
    fn draw(&self, random: &mut impl Rng) -> Option<DrawnCase> {
        let model = self.model;
        let (wire, _) = self.wires[weighted(self.wires.iter().map(|wire| wire.1), random)?];
        let mut fault = Fault::draw(wire, model, random)?;
        let suffers: Vec<bool> = match fault.share() {
            Some(share) => self.expected.iter().map(|_| chance(share, random)).collect(),
            None => Vec::new(),
        };
        let suffers_it = |at: usize| suffers.get(at).copied().unwrap_or(false);
        let arrives = |at: usize, random: &mut _| {
            let missing = wire == Wire::ReadsMissing && suffers_it(at);
            !chance(model.empty, random) && !missing
        };
        let arrived: Vec<usize> =
            (0..self.expected.len()).filter(|&at| arrives(at, random)).collect();
        let told: Vec<&Expected> = arrived.iter().map(|&at| &self.expected[at]).collect();
        let whose = self.whose(&told, random)?;
        let cards = match wire {
            Wire::Alone(cause) if cause.is_without_layout() => {
                if cause == Cause::UnknownLayout && whose != Whose::MixedCards {
                    let length = self.unlisted_length(random)?;
                    fault = Fault::new(cause, Held::Length(length)).ok()?;
                }
                None
            }
            _ => {
                let suffers: Vec<bool> = arrived.iter().map(|&at| suffers_it(at)).collect();
                Some(self.cards(&fault, whose, &told, &suffers, random)?)
            }
        };
        let (card, layout) = match &cards {
            Some(cards) => (Some(cards.state), Some(cards.layout)),
            None => (None, None),
        };
        let came = match cards {
            Some(cards) => cards.reads,
            None => {
                let reads = self.strays(&fault, whose, told.len(), random)?;
                reads.into_iter().map(|read| (None, read)).collect()
            }
        };
        let nothing = (None, SentRead::new(Cause::None));
        let mut all = vec![nothing; self.expected.len()];
        arrived.into_iter().zip(came).for_each(|(at, came)| all[at] = came);
        let (frames, sent): (Vec<_>, Vec<_>) = all.into_iter().unzip();
        let reads = sent.iter().zip(self.expected);
        let reads = reads.map(|(sent, expected): (&SentRead, _)| CaseRead {
            expected: expected.clone(),
            ..CaseRead::from(sent.bits)
        });
        Some(DrawnCase {
            case: Case { reads: reads.collect(), ..Case::default() },
            truth: Truth { fault, card, layout, whose, suffers, frames },
            sent,
        })
    }

    /// Whose cards the reads are of that are not empty; `None` where there is
    /// none.
    fn whose(&self, told: &[&Expected], random: &mut impl Rng) -> Option<Whose> {
        match told.len() {
            0 => return None,
            1 => return Some(Whose::OwnCards),
            _ => {}
        }
        let mut cards = told.iter().filter(|card| !card.is_empty());
        let differ = cards.next().is_some_and(|first| cards.any(|card| card != first));
        let weight = |whose: Whose| match whose {
            Whose::OneCard if differ => 0.0,
            Whose::MixedCards if self.layouts.len() < 2 => 0.0,
            whose => self.model.presented.0[whose.index()],
        };
        weighted(Whose::ALL.into_iter().map(weight), random).map(|at| Whose::ALL[at])
    }

    /// The length of a layout that is not among the candidates.
    fn unlisted_length(&self, random: &mut impl Rng) -> Option<usize> {
        let listed = |bits| self.candidates.layouts().iter().any(|layout| layout.bits() == bits);
        draw_unlisted_length(&self.model.unlisted, listed, random)
    }

    /// The reads of a cause that has no layout.
    fn strays(
        &self,
        fault: &Fault,
        whose: Whose,
        count: usize,
        random: &mut impl Rng,
    ) -> Option<Vec<SentRead>> {
        let cause = fault.cause();
        let read = |bits: &Bits| SentRead::from_nowhere(cause, bits);
        let reads = match (fault.held(), whose) {
            (Held::Length(length), Whose::OneCard) => {
                vec![read(&draw_unlisted(length, random)); count]
            }
            (Held::Length(length), _) => {
                draw_unlisted_cards(length, count, random).iter().map(read).collect()
            }
            _ => (0..count).map(|_| self.stray(cause, random)).collect::<Option<_>>()?,
        };
        Some(reads)
    }

    /// One read by itself of a cause that has no layout.
    fn stray(&self, cause: Cause, random: &mut impl Rng) -> Option<SentRead> {
        let held = match cause {
            Cause::UnknownLayout => Held::Length(self.unlisted_length(random)?),
            _ => Held::Nothing,
        };
        without_frame(&Fault::new(cause, held).ok()?, random)
    }

    /// Card state, layout and cards, and what arrives of each.
    fn cards(
        &self,
        fault: &Fault,
        whose: Whose,
        told: &[&Expected],
        suffers: &[bool],
        random: &mut impl Rng,
    ) -> Option<Cards> {
        let model = self.model;
        let state = match told.iter().any(|card| !card.is_empty()) {
            true => CardState::ALL[weighted(model.cards.into_iter(), random)?],
            false => CardState::AsExpected,
        };
        let near = state == CardState::CardDiffers && chance(IS_NEIGHBOUR, random);
        let layout = match whose {
            Whose::MixedCards => LayoutUsed::Mixed,
            _ => LayoutUsed::Candidate(weighted(self.layouts.iter().copied(), random)?),
        };
        let each = if fault.cause() == Cause::FrameSplit { 2 } else { 1 };
        if !told.len().is_multiple_of(each) {
            return None;
        }
        let frame = |told: &[&Expected], random: &mut _| {
            let index = match layout {
                LayoutUsed::Candidate(index) => index,
                LayoutUsed::Mixed => weighted(self.layouts.iter().copied(), random)?,
            };
            let layout = &self.candidates.layouts()[index];
            let known = told.iter().map(|card| Known::of(layout, card, state, near));
            let known = known.reduce(|one, other| one?.together(other?))??;
            Some(CardFrame { layout: index, bits: draw_known(layout, &known, random) })
        };
        let frames: Vec<CardFrame> = match whose {
            Whose::OneCard => vec![frame(told, random)?; told.len() / each],
            _ => told.chunks(each).map(|told| frame(told, random)).collect::<Option<_>>()?,
        };
        let mut reads = Vec::with_capacity(told.len());
        for (frame, suffers) in frames.into_iter().zip(suffers.chunks(each)) {
            let suffers = suffers.first().copied().unwrap_or(false);
            let fault = fault.of_read(suffers);
            if fault.cause().is_without_layout() {
                reads.push((None, self.stray(fault.cause(), random)?));
                continue;
            }
            let layout = &self.candidates.layouts()[frame.layout];
            let sent = send(&fault, layout, &frame.bits, random).ok()?;
            reads.extend(sent.reads.into_iter().map(|read| (Some(frame), read)));
        }
        let lengths = || reads.iter().map(|(_, read)| read.bits.len());
        let nothing = lengths().any(|bits| bits == 0);
        let of_one_card = |layout: usize| {
            let bits = self.candidates.layouts()[layout].bits();
            is_asked_of_one_card(fault.cause(), reads.len(), is_within(bits, lengths()))
        };
        let asked = whose != Whose::OneCard || layout.candidate().is_some_and(of_one_card);
        (!nothing && asked).then_some(Cards { state, layout, reads })
    }
}
