//! The whole answer: verdict, causes with their evidence, what to do next.

use std::fmt;
use std::ops::ControlFlow;

use misread_core::Bit;
use misread_core::layout::Layout;

use super::card::{CardFound, most_likely_card};
use super::case::{Candidates, Case, Expected};
use super::evidence::{Exhibit, card_difference, evidence};
use super::likelihood::Received;
use super::next::{NextTest, next_tests};
use super::posterior::{
    DiagnoseError, PosedCards, Posterior, Progress, Triple, Units, ln_sum, solve,
};
use super::wording::{Numbers, and};
use crate::cause::catalogue::{WIRE_CAUTION, card_info, info};
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

/// Fills in the most likely rate and card.
fn find_cards(
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
            let lns = units.iter().map(|(r, e)| posed.ln_unit(cause, rates, r, e)).collect();
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
        let both: Vec<f64> = weights.iter().zip(&ln).map(|(weight, ln)| weight + ln).collect();
        libm::log(view.prior) - ln_cards + ln_sum(both.iter().copied())
    };
    let all: Vec<f64> = views.iter().map(of_view).collect();
    ln_sum(all.iter().copied())
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

/// What is declared about the fields and does not hold for a decoded card.
fn concerns(found: Option<&CauseFound>, candidates: &Candidates, numbers: Numbers) -> Vec<String> {
    let Some(found) = found else { return Vec::new() };
    let Some(layout) = found.layout.and_then(|index| candidates.layouts().get(index)) else {
        return Vec::new();
    };
    let mut concerns: Vec<String> = Vec::new();
    for card in found.decoded.iter().flatten() {
        for field in layout.fields() {
            let Some(&number) = card.fields.get(field.name()) else { continue };
            let (name, shown) = (field.name(), numbers.text(number));
            if let Some(value) = field.value().filter(|&value| value != number) {
                let value = numbers.text(value);
                concerns.push(format!("{name} {shown} is not the {value} this site's cards carry"));
            }
            if let Some((low, high)) = field.range().filter(|(a, b)| !(*a..=*b).contains(&number)) {
                let range = format!("{} to {}", numbers.text(low), numbers.text(high));
                concerns
                    .push(format!("{name} {shown} is outside the range {range} that was ordered"));
            }
            let raw = field.raw_in(&card.frame);
            if raw.is_some_and(|raw| !field.digits_are_decimal(raw)) {
                concerns.push(format!("{name} has a digit over nine"));
            }
        }
    }
    concerns.dedup();
    concerns
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

/// The card the answer names: the same for every read, and a single one.
fn named_card(
    found: Option<&CauseFound>,
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Option<String> {
    let found = found?;
    let layout = candidates.layouts().get(found.layout?)?;
    let cards = case.reads.iter().zip(&found.decoded).filter_map(|(_, card)| card.as_ref());
    let mut cards = cards.map(|card| (card.single, numbers.values(layout, &card.fields)));
    let (single, first) = cards.next()?;
    let same = cards.all(|(_, other)| other == first);
    (same && single && !first.is_empty()).then_some(first)
}

fn sure(diagnosis: &Diagnosis, answer: &Triple, names_card: bool) -> f64 {
    let Some(posterior) = &diagnosis.posterior else { return 1.0 };
    let says = |triple: &&Triple| {
        let layout = !names_card || triple.layout == answer.layout;
        match diagnosis.verdict {
            Verdict::Wire(cause) => triple.cause == cause && layout,
            _ => (triple.cause, triple.card) == (answer.cause, answer.card) && layout,
        }
    };
    posterior.joint.iter().filter(says).map(|triple| triple.probability).sum()
}

fn says(
    diagnosis: &Diagnosis,
    case: &Case,
    candidates: &Candidates,
    concerns: &[String],
    card: Option<&str>,
    numbers: Numbers,
) -> String {
    let Some(found) = diagnosis.answer_cause() else { return String::new() };
    let layout = found.layout.and_then(|index| candidates.layouts().get(index));
    let full = || case.reads.iter().zip(&found.decoded).filter_map(|(r, c)| Some((r, c.as_ref()?)));
    let by_card = card.map(|card| format!(": {card}")).unwrap_or_default();
    match diagnosis.verdict {
        Verdict::None => {
            let name = layout.map_or("", |layout| layout.name());
            if !concerns.is_empty() {
                return format!("The wiring is sound, but {}.", and(concerns));
            }
            let reads = full().count();
            let unchecked = layout.is_some_and(|layout| layout.independent_checks() == 0);
            let expected = full().any(|(read, _)| !read.expected.is_empty());
            match (reads, unchecked && !expected) {
                (1, true) => format!("The read has the length of {name}{by_card}"),
                (_, true) => format!("The reads have the length of {name}{by_card}"),
                (1, false) => format!("The read is good{by_card} ({name})"),
                (_, false) => format!("The {reads} reads are good{by_card} ({name})"),
            }
        }
        Verdict::LayoutDiffers => {
            let set = candidates.configured_index().and_then(|set| candidates.layouts().get(set));
            format!(
                "The wiring is sound, but the card uses {}, not the panel's {}{by_card}",
                layout.map_or("another layout", |layout| layout.name()),
                set.map_or("layout", |layout| layout.name())
            )
        }
        Verdict::Card(state) => {
            let differences = full().filter_map(|(read, card)| {
                let says = card_difference(layout?, &read.expected, card, numbers);
                (!says.is_empty()).then_some(says)
            });
            match differences.into_iter().next() {
                Some(difference) => format!("{}: {difference}", card_info(state).headline),
                None => card_info(state).headline.to_owned(),
            }
        }
        Verdict::Wire(cause) if cause.is_without_layout() => info(cause).headline.to_owned(),
        Verdict::Wire(cause) => {
            let card = if by_card.is_empty() {
                String::new()
            } else {
                format!("; the card is {}", by_card.trim_start_matches(": "))
            };
            format!("{}{card}", info(cause).headline)
        }
        Verdict::NoData => String::new(),
    }
    .trim_end_matches('.')
    .to_owned()
        + "."
}

fn notes(diagnosis: &Diagnosis, case: &Case, candidates: &Candidates) -> Vec<String> {
    let mut notes = Vec::new();
    let Some(answer) = diagnosis.answer else { return notes };
    let layout = answer.layout.and_then(|index| candidates.layouts().get(index));
    let unexpected = case.reads.iter().all(|read| read.expected.is_empty());
    if let Some(layout) = layout
        && layout.independent_checks() == 0
        && unexpected
    {
        notes.push(format!(
            "{} has no checks: any {} bits fit it, so sound wiring, exchanged lines and bits in \
             reverse order all look alike. Say what the card should be with --expect.",
            layout.name(),
            layout.bits()
        ));
    }
    if let Some(Verdict::Wire(Cause::LinesSwapped | Cause::BitsInverted)) = Some(diagnosis.verdict)
        && diagnosis
            .alike
            .iter()
            .any(|alike| matches!(alike.cause, Cause::LinesSwapped | Cause::BitsInverted))
    {
        notes.push(
            "Exchanged data lines and a recorder that turns bits over give the same bits always; \
             exchanging the conductors cures both at the recorder, so only a recording of the two \
             lines tells them apart."
                .to_owned(),
        );
    }
    if let Some(posterior) = &diagnosis.posterior {
        let mut names: Vec<&str> = posterior
            .left_out
            .iter()
            .filter_map(|&(index, _)| candidates.layouts().get(index))
            .map(|layout| layout.name())
            .collect();
        names.dedup();
        for name in names {
            notes.push(format!(
                "{name} has too many parity checks open at once to weigh lost or added pulses on \
                 a card other than the one expected; those were left out of account."
            ));
        }
    }
    notes
}

fn cautions(diagnosis: &Diagnosis) -> Vec<String> {
    let mends = match diagnosis.verdict {
        Verdict::Wire(cause) => info(cause).caution.is_some(),
        Verdict::NoData => true,
        _ => false,
    };
    let tests = diagnosis.next.iter().any(|test| test.touches_wire && test.gain_bits > 0.0);
    if mends || tests { vec![WIRE_CAUTION.to_owned()] } else { Vec::new() }
}
