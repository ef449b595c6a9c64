//! The whole answer: verdict, causes with their evidence, what to do next.

use std::fmt;
use std::ops::ControlFlow;

use misread_core::layout::Layout;

use super::card::CardFound;
use super::cards::find_cards;
use super::case::{Candidates, Case};
use super::evidence::{Exhibit, evidence};
use super::moved::{Moved, moved};
use super::next::{NextTest, next_tests};
use super::posterior::{DiagnoseError, Posterior, Progress, Triple, Units, captured, solve};
use super::says::{cautions, concerns, named_card, notes, says, sure};
use super::wording::Numbers;
use crate::cause::catalogue::WIRE_CAUTION;
use crate::cause::{CardState, Cause, Model};

/// Causes less likely than this are not spoken of.
pub const LEAST_PROBABILITY: f64 = 1e-9;

/// What came out, in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// No read has any bits.
    NoData,
    /// The wire is at fault.
    Wire(Cause),
    /// The wire is sound and the card is not the one expected.
    Card(CardState),
    /// Wire and card are as they should be, and the card uses another layout
    /// than the panel is set to.
    LayoutDiffers,
    /// Nothing is wrong.
    None,
}

impl Verdict {
    /// Its id, as in answers.
    pub fn id(self) -> &'static str {
        match self {
            Verdict::NoData => "no-data",
            Verdict::Wire(cause) => cause.id(),
            Verdict::Card(state) => state.id(),
            Verdict::LayoutDiffers => "layout-differs",
            Verdict::None => "none",
        }
    }

    fn of(triple: &Triple, configured: Option<usize>) -> Self {
        match (triple.cause, triple.card) {
            (Cause::None, Some(CardState::AsExpected) | None) => {
                match (configured, triple.layout) {
                    (Some(set), Some(used)) if set != used => Verdict::LayoutDiffers,
                    _ => Verdict::None,
                }
            }
            (Cause::None, Some(state)) => Verdict::Card(state),
            (cause, _) => Verdict::Wire(cause),
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

/// A cause that is not ruled out.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseFound {
    /// The cause.
    pub cause: Cause,
    /// Its probability, 0 to 1.
    pub probability: f64,
    /// The most likely layout under it, by index; `None` for a cause that says
    /// nothing of it.
    pub layout: Option<usize>,
    /// The most likely card state under it and that layout.
    pub card: Option<CardState>,
    /// The most likely rate, for a cause that has rates.
    pub rate: Option<f64>,
    /// What was found of the card behind each read of the case; `None` for an
    /// empty read, and throughout for a cause without a layout.
    pub decoded: Vec<Option<CardFound>>,
    /// What speaks for it.
    pub evidence: Vec<String>,
}

/// A cause that the bits cannot tell from the answer's.
#[derive(Clone, Debug, PartialEq)]
pub struct Alike {
    /// The cause.
    pub cause: Cause,
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
    /// Whether the reads are good: nothing is wrong, and every decoded card
    /// passes its declared ranges, values and digits.
    pub ok: bool,
    /// The verdict in one sentence.
    pub says: String,
    /// The probability of what the sentence says: of the cause or card state
    /// alone where it names no card, together with the layout where it does;
    /// 1 for [`Verdict::NoData`].
    pub sure: f64,
    /// The most likely combination of wire, card and layout; `None` for
    /// [`Verdict::NoData`].
    pub answer: Option<Triple>,
    /// The posterior; `None` for [`Verdict::NoData`].
    pub posterior: Option<Posterior>,
    /// The causes that are not ruled out, most likely first.
    pub causes: Vec<CauseFound>,
    /// The card states that are not ruled out, most likely first.
    pub cards: Vec<(CardState, f64)>,
    /// The layouts that are not ruled out, by index, most likely first.
    pub layouts: Vec<(usize, f64)>,
    /// Which findings of a capture moved the probability of the answer's cause,
    /// the strongest first.
    pub moved: Vec<Moved>,
    /// What the bits cannot tell from the answer's cause.
    pub alike: Vec<Alike>,
    /// What the bits alone leave open, and what was left out of account.
    pub notes: Vec<String>,
    /// The tests, most expected information a minute first. Empty where one
    /// cause is left.
    pub next: Vec<NextTest>,
    /// What can go wrong while mending it, or while doing the tests.
    pub cautions: Vec<String>,
}

impl Diagnosis {
    /// The cause of the answer. It may not be the first of
    /// [`causes`](Self::causes): another's probability, spread over several
    /// cards and layouts, can add up to more.
    pub fn answer_cause(&self) -> Option<&CauseFound> {
        let cause = self.answer?.cause;
        self.causes.iter().find(|found| found.cause == cause)
    }
}

/// The answer to a case.
///
/// `progress` is called between steps and may stop the work; `numbers` says
/// whether sentences show card numbers.
///
/// # Errors
///
/// See [`DiagnoseError`]. Reads that are all empty are no error: the verdict is
/// then [`Verdict::NoData`].
pub fn diagnose(
    case: &Case,
    candidates: &Candidates,
    model: &Model,
    numbers: Numbers,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<Diagnosis, DiagnoseError> {
    let units = Units::of(case);
    if units.reads.is_empty() && !case.reads.is_empty() {
        return Ok(no_data());
    }
    let model = &*captured(case, model);
    let (posterior, mut likelihoods) = solve(&units, candidates, model, progress)?;
    let answer = *posterior.most_likely().ok_or(DiagnoseError::Nothing)?;
    let verdict = Verdict::of(&answer, candidates.configured_index());

    let mut causes: Vec<CauseFound> = Vec::new();
    for cause in Cause::ALL {
        let probability = posterior.of_cause(cause);
        if probability < LEAST_PROBABILITY && cause != answer.cause {
            continue;
        }
        let best = match cause == answer.cause {
            true => answer,
            false => best_of(&posterior, cause),
        };
        let mut found = CauseFound {
            cause,
            probability,
            layout: best.layout,
            card: best.card,
            rate: None,
            decoded: vec![None; case.reads.len()],
            evidence: Vec::new(),
        };
        if let Some(index) = best.layout
            && let Some(Some(posed)) = likelihoods.get_mut(index)
        {
            let layout = &candidates.layouts()[index];
            find_cards(&mut found, case, &units, &posterior, layout, model, posed);
            found.evidence = evidence_of(&found, case, layout, numbers);
        } else {
            found.evidence = evidence_without_layout(cause, case, candidates, numbers);
        }
        causes.push(found);
    }
    causes.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let cards = ranked(units.states.iter().map(|&state| (state, posterior.of_card(state))));
    let layouts =
        ranked((0..candidates.layouts().len()).map(|index| (index, posterior.of_layout(index))));
    let by_cause = Cause::ALL.map(|cause| posterior.of_cause(cause));
    let next = if causes.len() > 1 { next_tests(&by_cause, model) } else { Vec::new() };
    let mine = causes.iter().find(|found| found.cause == answer.cause);
    let concerns = concerns(mine, candidates, numbers);
    let card = named_card(mine, case, candidates, numbers);
    let ok = verdict == Verdict::None && concerns.is_empty();
    let alike = alike(&answer, &posterior, model);
    let moved = moved(
        answer.cause,
        posterior.of_cause(answer.cause),
        &posterior.by_bits,
        &units.pulses,
        model,
    );
    let mut diagnosis = Diagnosis {
        verdict,
        ok,
        says: String::new(),
        sure: 1.0,
        answer: Some(answer),
        posterior: Some(posterior),
        causes,
        cards,
        layouts,
        moved,
        alike,
        notes: Vec::new(),
        next,
        cautions: Vec::new(),
    };
    diagnosis.says = says(&diagnosis, case, candidates, &concerns, card.as_deref(), numbers);
    diagnosis.sure = sure(&diagnosis, &answer, card.is_some());
    diagnosis.notes = notes(&diagnosis, case, candidates);
    diagnosis.cautions = cautions(&diagnosis);
    Ok(diagnosis)
}

fn no_data() -> Diagnosis {
    Diagnosis {
        verdict: Verdict::NoData,
        ok: false,
        says: "Nothing arrived: no supply, no common, both data conductors open, a line held \
               low, or the panel is ignoring repeats."
            .to_owned(),
        sure: 1.0,
        answer: None,
        posterior: None,
        causes: Vec::new(),
        cards: Vec::new(),
        layouts: Vec::new(),
        moved: Vec::new(),
        alike: Vec::new(),
        notes: Vec::new(),
        next: Vec::new(),
        cautions: vec![WIRE_CAUTION.to_owned()],
    }
}

fn best_of(posterior: &Posterior, cause: Cause) -> Triple {
    let nothing = Triple { cause, card: None, layout: None, probability: -1.0 };
    posterior.joint.iter().filter(|triple| triple.cause == cause).fold(nothing, |best, triple| {
        if triple.probability > best.probability + 1e-12 { *triple } else { best }
    })
}

fn ranked<T>(of: impl Iterator<Item = (T, f64)>) -> Vec<(T, f64)> {
    let mut all: Vec<_> = of.filter(|&(_, p)| p >= LEAST_PROBABILITY).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all
}

fn exhibits<'a>(found: &'a CauseFound, case: &'a Case) -> Vec<Exhibit<'a>> {
    case.reads
        .iter()
        .zip(&found.decoded)
        .filter_map(|(read, card)| {
            Some(Exhibit { read: &read.bits, expected: &read.expected, found: card.as_ref()? })
        })
        .collect()
}

fn evidence_of(found: &CauseFound, case: &Case, layout: &Layout, numbers: Numbers) -> Vec<String> {
    evidence(found.cause, layout, found.rate, &exhibits(found, case), numbers)
}

fn evidence_without_layout(
    cause: Cause,
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Vec<String> {
    let Some(layout) = candidates.layouts().first() else { return Vec::new() };
    let unknown = CardFound::unknown(layout);
    let full = case.reads.iter().filter(|read| !read.bits.is_empty());
    let exhibits: Vec<Exhibit<'_>> = full
        .map(|read| Exhibit { read: &read.bits, expected: &read.expected, found: &unknown })
        .collect();
    evidence(cause, layout, None, &exhibits, numbers)
}

/// The causes whose likelihood is that of the answer's, so that the bits say
/// nothing between them.
fn alike(answer: &Triple, posterior: &Posterior, model: &Model) -> Vec<Alike> {
    let weight = |cause: Cause| {
        let same = |t: &&Triple| (t.cause, t.card, t.layout) == (cause, answer.card, answer.layout);
        posterior.joint.iter().find(same).map_or(0.0, |t| t.probability / model.prior(cause))
    };
    let mine = weight(answer.cause);
    let is_alike = |&cause: &Cause| {
        cause != answer.cause && mine > 0.0 && (weight(cause) / mine - 1.0).abs() < 1e-9
    };
    Cause::ALL
        .into_iter()
        .filter(is_alike)
        .map(|cause| {
            let mut both = [0.0; Cause::ALL.len()];
            both[answer.cause.index()] = 0.5;
            both[cause.index()] = 0.5;
            let best = next_tests(&both, model).into_iter().next();
            match best.filter(|test| test.gain_bits > 0.0) {
                Some(test) => Alike { cause, test: Some(test.test), says: test.says },
                None => Alike { cause, test: None, says: "No test that is known here.".into() },
            }
        })
        .collect()
}
