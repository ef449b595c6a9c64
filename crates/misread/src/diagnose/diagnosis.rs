//! The whole answer: verdict, wire states with their evidence, what to do next.

use std::borrow::Cow;
use std::fmt;
use std::ops::ControlFlow;

use misread_core::Bits;

use super::card::CardFound;
use super::cards::{Cards, find_cards};
use super::case::{Candidates, Case, Presented};
use super::evidence::evidence_of;
use super::moved::{Moved, moved};
use super::next::{NextStep, OutcomeSays, next_steps, tells_apart};
use super::one_card::is_within;
use super::posterior::{
    Combination, DiagnoseError, LayoutUsed, Pair, Posterior, Progress, captured,
};
use super::says::{cautions, concerns, notes, says};
use super::showing::showing;
use super::solve::Solver;
use super::steps::{ToDo, steps};
use super::units::Units;
use super::wording::Numbers;
use crate::cause::catalogue::WIRE_CAUTION;
use crate::cause::site_tests::KNOWN_CARD;
use crate::cause::{CardState, Cause, Fault, Model, Sought, Whose, Wire};

/// Wire states less likely than this are not spoken of.
pub const LEAST_PROBABILITY: f64 = 1e-9;

/// What came out, in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// No presentation gave any bits.
    NoData,
    /// The wire is at fault.
    Wire(Wire),
    /// The wire is sound and the card is not the one expected.
    Card(CardState),
    /// Wire and card are as they should be, and the card uses another layout
    /// than the panel is set to.
    LayoutDiffers,
    /// Nothing is wrong.
    None,
}

impl Verdict {
    /// What is most likely: the wire state, if that is a fault; else card state
    /// and layout given that there is none.
    fn of(posterior: &Posterior, configured: Option<usize>) -> Self {
        let wire = posterior.most_likely_wire();
        if !wire.is_none() {
            return Verdict::Wire(wire);
        }
        let pair = posterior.most_likely_under(wire);
        match (pair.card, configured) {
            (Some(state), _) if state != CardState::AsExpected => Verdict::Card(state),
            (_, Some(set)) if pair.layout != Some(LayoutUsed::Candidate(set)) => {
                Verdict::LayoutDiffers
            }
            _ => Verdict::None,
        }
    }

    /// The wire state it says.
    pub fn wire(self) -> Wire {
        match self {
            Verdict::Wire(wire) => wire,
            _ => Wire::Alone(Cause::None),
        }
    }
}

/// Its id, as in answers.
impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Verdict::NoData => f.write_str("no-data"),
            Verdict::Wire(wire) => write!(f, "{wire}"),
            Verdict::Card(state) => write!(f, "{state}"),
            Verdict::LayoutDiffers => f.write_str("layout-differs"),
            Verdict::None => f.write_str("none"),
        }
    }
}

/// A wire state that is not ruled out.
#[derive(Clone, Debug, PartialEq)]
pub struct WireFound {
    /// The wire state.
    pub wire: Wire,
    /// Its probability, 0 to 1.
    pub probability: f64,
    /// The most likely layout under it; `None` for a cause that says nothing of
    /// it.
    pub layout: Option<LayoutUsed>,
    /// The most likely card state under it and that layout.
    pub card: Option<CardState>,
    /// The most likely rate, for a cause that has rates.
    pub rate: Option<f64>,
    /// What was found of the card behind each presentation of the case; `None`
    /// for an empty one, and throughout for a cause without a layout and for a
    /// wire state under 0.001 that is not the answer's.
    pub decoded: Vec<Option<CardFound>>,
    /// What speaks for it.
    pub evidence: Vec<String>,
}

/// A wire state that the bits cannot tell from the answer's.
#[derive(Clone, Debug, PartialEq)]
pub struct Alike {
    /// The wire state.
    pub wire: Wire,
    /// The id of the test that tells it from the answer's; `None` where none
    /// does.
    pub test: Option<String>,
    /// What to do to tell them apart.
    pub says: String,
}

/// The answer to a case.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnosis {
    /// What came out, in a word.
    pub verdict: Verdict,
    /// Whether the reads are good: nothing is wrong, no presentation is empty,
    /// and every decoded card passes its declared ranges, values and digits.
    pub ok: bool,
    /// The verdict in one sentence.
    pub says: String,
    /// Its probability: that of the wire state, or of a sound wire together with
    /// the card state and the layout; 1 for [`Verdict::NoData`].
    pub probability: f64,
    /// The most likely card state under it; `None` for [`Verdict::NoData`] and
    /// for a cause that says nothing of it.
    pub card: Option<CardState>,
    /// The most likely layout under it, likewise.
    pub layout: Option<LayoutUsed>,
    /// For each presentation, the probability that it suffers what comes at
    /// times, where the verdict says that something does.
    pub suffers: Option<Vec<f64>>,
    /// Which presentations show what the verdict says, by index; all that gave
    /// something where they are alike.
    pub showing: Vec<usize>,
    /// Which presentations were set aside, by index: too many, or too far from
    /// any candidate's length, to be reads of one card.
    pub set_aside: Vec<usize>,
    /// The posterior; `None` for [`Verdict::NoData`].
    pub posterior: Option<Posterior>,
    /// The wire states that are not ruled out, most likely first.
    pub causes: Vec<WireFound>,
    /// The card states that are not ruled out, most likely first.
    pub cards: Vec<(CardState, f64)>,
    /// The layouts that are not ruled out, by index, most likely first.
    pub layouts: Vec<(usize, f64)>,
    /// Whose cards the reads are, most likely first.
    pub presented: Vec<(Whose, f64)>,
    /// Which findings of a capture moved the probability of the answer, the
    /// strongest first.
    pub moved: Vec<Moved>,
    /// What the bits cannot tell from the answer.
    pub alike: Vec<Alike>,
    /// What the bits alone leave open, and what was left out of account.
    pub notes: Vec<String>,
    /// What to do about it, in order.
    pub steps: Vec<ToDo>,
    /// What to do next, the best first. Empty where nothing can be wrong.
    pub next: Vec<NextStep>,
    /// What can go wrong while mending it, or while doing the tests.
    pub cautions: Vec<String>,
}

impl Diagnosis {
    /// The wire state of the answer, with what was found under it.
    pub fn answer_wire(&self) -> Option<&WireFound> {
        let wire = self.verdict.wire();
        self.causes.iter().find(|found| found.wire == wire)
    }
}

/// Wire states less likely than this, but for the answer's, are listed and not
/// looked at: no card, no evidence.
const LEAST_LOOKED_AT: f64 = 1e-3;

/// How many different reads are looked at under wire states other than the
/// answer's.
const MOST_KINDS: usize = 16;

/// The answer to a case.
///
/// `progress` is called between steps and may stop the work; `numbers` says
/// whether sentences show card numbers.
///
/// # Errors
///
/// See [`DiagnoseError`]. Presentations that are all empty are no error: the
/// verdict is then [`Verdict::NoData`].
pub fn diagnose(
    case: &Case,
    candidates: &Candidates,
    model: &Model,
    numbers: Numbers,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Diagnosis, DiagnoseError> {
    if !case.reads.is_empty() && case.reads.iter().all(|read| read.bits.is_empty()) {
        return Ok(no_data());
    }
    let set_aside = set_aside(case, candidates);
    let units = Units::of(&without(case, &set_aside));
    let model = &*captured(case, model);
    let mut solver = Solver::new(&units, candidates, model)?;
    let posterior = solver.posterior(&Sought::ALL, progress)?;
    let verdict = Verdict::of(&posterior, candidates.configured_index());
    let wire = verdict.wire();
    let Pair { card, layout, probability } = posterior.most_likely_under(wire);
    let probability = match verdict {
        Verdict::Wire(wire) => posterior.of_wire(wire),
        _ => probability,
    };

    let suffers = solver.suffers(wire, &posterior);
    let suffers = suffers.map(|suffers| with_set_aside(suffers, &set_aside, 0.0));

    let mut causes: Vec<WireFound> = Vec::new();
    let mut these = Vec::new();
    for wire in Wire::all() {
        let probability = posterior.of_wire(wire);
        if probability < LEAST_PROBABILITY && wire != verdict.wire() {
            continue;
        }
        let Pair { card, layout, .. } = posterior.most_likely_under(wire);
        let most = match wire == verdict.wire() {
            true => usize::MAX,
            false if probability < LEAST_LOOKED_AT => 0,
            false => MOST_KINDS,
        };
        let Cards { decoded, rate } = find_cards(&mut solver, &posterior, wire, most);
        let decoded = with_set_aside(decoded, &set_aside, None);
        let mut found =
            WireFound { wire, probability, layout, card, rate, decoded, evidence: Vec::new() };
        if most > 0 {
            let suffers = if wire == verdict.wire() { suffers.as_deref() } else { None };
            let shows = showing(&found, suffers, case, candidates);
            found.evidence = evidence_of(&found, &shows, case, candidates, numbers);
            if wire == verdict.wire() {
                these = shows;
            }
        }
        causes.push(found);
    }
    causes.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let moved = match case.captured {
        Some(_) => {
            let pulses: Vec<_> = case.reads.iter().map(|read| read.pulses).collect();
            moved(&pulses, probability, |left_out| {
                let counted: Vec<Sought> =
                    Sought::ALL.into_iter().filter(|&sought| sought != left_out).collect();
                let other = solver.posterior(&counted, &mut |_| ControlFlow::Continue(()));
                other.map_or(0.0, |other| match verdict {
                    Verdict::Wire(wire) => other.of_wire(wire),
                    _ => other.sum(|f| (f.wire, f.card, f.layout) == (wire, card, layout)),
                })
            })
        }
        None => Vec::new(),
    };
    let cards = ranked(units.states().map(|state| (state, posterior.of_card(state))));
    let layouts =
        ranked((0..candidates.layouts().len()).map(|index| (index, posterior.of_layout(index))));
    let presented = ranked(Whose::ALL.into_iter().map(|whose| (whose, posterior.of_whose(whose))));
    let mut next = next_steps(&faults(&posterior, candidates.configured_index()), model);
    next.splice(0..0, whose_cards(&units, &posterior));
    let mine = causes.iter().find(|found| found.wire == wire);
    let concerns = concerns(mine, candidates, numbers);
    let ok = verdict == Verdict::None && concerns.is_empty() && units.empty == 0;
    if ok {
        next.clear();
    }
    let expected = case.reads.iter().any(|read| !read.expected.is_empty());
    let alike = alike(wire, &posterior, model, expected);
    let steps = steps(verdict, mine, &these, case, candidates, numbers);
    let mut diagnosis = Diagnosis {
        verdict,
        ok,
        says: String::new(),
        probability,
        card,
        layout,
        suffers,
        showing: these,
        set_aside,
        posterior: Some(posterior),
        causes,
        cards,
        layouts,
        presented,
        moved,
        alike,
        notes: Vec::new(),
        steps,
        next,
        cautions: Vec::new(),
    };
    diagnosis.says = says(&diagnosis, case, candidates, &concerns, numbers);
    diagnosis.notes = notes(&diagnosis, case, candidates);
    diagnosis.cautions = cautions(&diagnosis);
    Ok(diagnosis)
}

fn no_data() -> Diagnosis {
    let no_layouts = Candidates::weighted([]);
    Diagnosis {
        verdict: Verdict::NoData,
        ok: false,
        says: "Nothing arrived: no supply, no common, both data conductors open, a line held \
               low, or the panel is ignoring repeats."
            .to_owned(),
        probability: 1.0,
        card: None,
        layout: None,
        suffers: None,
        showing: Vec::new(),
        set_aside: Vec::new(),
        posterior: None,
        causes: Vec::new(),
        cards: Vec::new(),
        layouts: Vec::new(),
        presented: Vec::new(),
        moved: Vec::new(),
        alike: Vec::new(),
        notes: Vec::new(),
        steps: steps(Verdict::NoData, None, &[], &Case::default(), &no_layouts, Numbers::Shown),
        next: Vec::new(),
        cautions: vec![WIRE_CAUTION.to_owned()],
    }
}

/// The reads that are set aside where all are said to be of one card, and no
/// candidate is within the bound on that: those furthest from its length, under
/// the candidate that needs the fewest.
fn set_aside(case: &Case, candidates: &Candidates) -> Vec<usize> {
    if case.presented != Presented::One {
        return Vec::new();
    }
    let of_layout = |bits: usize| {
        let mut kept: Vec<(usize, &Bits)> = case
            .reads
            .iter()
            .map(|read| &read.bits)
            .enumerate()
            .filter(|(_, bits)| !bits.is_empty())
            .collect();
        kept.sort_by_key(|(_, read)| read.len().abs_diff(bits));
        let mut aside = Vec::new();
        while !is_within(bits, kept.iter().map(|&(_, read)| read.len()))
            && let Some((at, _)) = kept.pop()
        {
            aside.push(at);
        }
        aside.sort_unstable();
        aside
    };
    let lengths = candidates.layouts().iter().map(|layout| layout.bits());
    lengths.map(of_layout).min_by_key(Vec::len).unwrap_or_default()
}

/// The case with these presentations left empty.
fn without<'a>(case: &'a Case, set_aside: &[usize]) -> Cow<'a, Case> {
    if set_aside.is_empty() {
        return Cow::Borrowed(case);
    }
    let mut case = case.clone();
    let mut at = 0..;
    case.reads.retain(|_| at.next().is_none_or(|at| !set_aside.contains(&at)));
    Cow::Owned(case)
}

/// What was found by presentation, with places for those that were set aside.
fn with_set_aside<T: Clone>(mut all: Vec<T>, set_aside: &[usize], nothing: T) -> Vec<T> {
    for &at in set_aside {
        all.insert(at, nothing.clone());
    }
    all
}

fn ranked<T>(of: impl Iterator<Item = (T, f64)>) -> Vec<(T, f64)> {
    let mut all: Vec<_> = of.filter(|&(_, p)| p >= LEAST_PROBABILITY).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all
}

/// The wire states whose likelihood is that of the answer's, so that the bits
/// say nothing between them.
fn alike(answer: Wire, posterior: &Posterior, model: &Model, expected: bool) -> Vec<Alike> {
    // A card of which nothing was said: what it carries may tell.
    let known_card = model.tests.iter().find(|test| test.id == KNOWN_CARD && !expected);
    let weight = |wire: Wire| posterior.of_wire(wire) / model.wire_prior(wire);
    let mine = weight(answer);
    let is_alike =
        |&wire: &Wire| wire != answer && mine > 0.0 && (weight(wire) / mine - 1.0).abs() < 1e-9;
    Wire::all()
        .filter(is_alike)
        .map(|wire| match tells_apart(answer, wire, model).or(known_card) {
            Some(test) => Alike { wire, test: Some(test.id.clone()), says: test.says.clone() },
            None => Alike { wire, test: None, says: "No test that is known here.".into() },
        })
        .collect()
}

/// What can be wrong, each with its probability.
fn faults(posterior: &Posterior, configured: Option<usize>) -> Vec<(Fault, f64)> {
    let none = Wire::Alone(Cause::None);
    let mut faults: Vec<(Fault, f64)> = Wire::all()
        .filter(|&wire| wire != none)
        .map(|wire| (Fault::Wire(wire), posterior.of_wire(wire)))
        .collect();
    let sound = |of: &dyn Fn(&Combination) -> bool| posterior.sum(|f| f.wire == none && of(f));
    for state in CardState::ALL.into_iter().filter(|&state| state != CardState::AsExpected) {
        faults.push((Fault::Card(state), sound(&|found| found.card == Some(state))));
    }
    if let Some(set) = configured {
        let is_other = |found: &Combination| {
            found.card == Some(CardState::AsExpected)
                && found.layout != Some(LayoutUsed::Candidate(set))
        };
        faults.push((Fault::LayoutDiffers, sound(&is_other)));
    }
    faults.retain(|&(_, probability)| probability > 0.0);
    faults
}

/// To say whose cards they were, where that changes what is wrong: it takes no
/// time at all.
fn whose_cards(units: &Units, posterior: &Posterior) -> Option<NextStep> {
    /// Less likely than this is passed over.
    const LEAST: f64 = 0.02;
    let one = posterior.of_whose(Whose::OneCard);
    let several = 1.0 - one;
    if units.presented != Presented::Unsaid || one < LEAST || several < LEAST {
        return None;
    }
    let given = |is_one: bool| {
        let of = |wire| posterior.sum(|f| f.wire == wire && (f.whose == Whose::OneCard) == is_one);
        let best = Wire::all().map(|wire| (wire, of(wire)));
        best.reduce(|best, next| if next.1 > best.1 + 1e-12 { next } else { best })
    };
    let ((if_one, p), (if_several, q)) = (given(true)?, given(false)?);
    if if_one == if_several {
        return None;
    }
    let outcome = |says: &str, fault: Wire, of: f64, all: f64| OutcomeSays {
        says: says.to_owned(),
        probability: all,
        fault: fault.into(),
        fault_probability: of / all,
    };
    Some(NextStep {
        id: WHOSE_CARDS.to_owned(),
        says: "Were these reads of one card? Say --presented one or --presented several".to_owned(),
        minutes: 0.0,
        touches_wire: false,
        gain_bits: 0.0,
        saves_minutes: 0.0,
        outcomes: vec![
            outcome("they were of one card", if_one, p, one),
            outcome("they were of several", if_several, q, several),
        ],
    })
}

/// The id of the question whose cards were presented, among what to do next.
pub const WHOSE_CARDS: &str = "whose-cards";
