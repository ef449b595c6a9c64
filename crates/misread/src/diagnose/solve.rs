//! From a case to its posterior: every wire state, card state, layout and whose
//! cards, from likelihoods that are each worked out once.

mod parts;
mod weights;

use std::ops::ControlFlow;
use std::rc::Rc;

use misread_core::{Bits, Layout};
use rustc_hash::FxHashMap;

use super::card::{CardFound, field_bits};
use super::case::{Candidates, FACILITY, fits};
use super::code::{Code, Known};
use super::held::{Holds, Leeway, View, wholly};
use super::likelihood::Posed;
use super::likelihoods::{Base, Likelihoods, ln_add};
use super::one_card::{OneCard, is_within};
use super::posterior::{
    Combination, DiagnoseError, LayoutUsed, Posterior, Progress, SHORTEST_LAYOUT, ln_sum,
};
use super::sums::{OffFrame, Own, Row};
use super::units::{Findings, Kind, Units};
use super::unlisted::{Unlisted, ln_random};
use crate::cause::{CardState, Cause, Model, Sought, Whose, Wire};

pub(crate) use parts::Part;
use weights::Weights;

/// A case with its candidate layouts, and what has been worked out of it.
pub(crate) struct Solver<'c> {
    pub(crate) units: &'c Units,
    pub(crate) layouts: Vec<&'c Layout>,
    pub(crate) priors: Vec<f64>,
    pub(crate) model: &'c Model,
    /// By layout, then by expected card: whether the layout can carry it.
    fitting: Vec<Vec<bool>>,
    whose: Vec<(Whose, f64)>,
    all_findings: Vec<Findings>,
    off: Off<'c>,
    /// By layout and by what is known of the card.
    posed: FxHashMap<(usize, usize), Option<Rc<Posed>>>,
    /// The same of cards that are asked about one by one.
    cards: FxHashMap<(usize, WholeCard), Option<Rc<Posed>>>,
    /// By layout, by what is known of the card and by read.
    likelihoods: FxHashMap<(usize, usize, Bits), Rc<Likelihoods>>,
    /// By view: the sums over all layouts.
    mixed: FxHashMap<usize, Rc<Mixed>>,
    /// By layout and view: one card's likelihoods, by wire state.
    one_card: FxHashMap<(usize, usize), Rc<Vec<f64>>>,
}

/// A card by its bits under its own layout, or by its values.
type WholeCard = Result<Bits, Holds>;

struct Off<'m>(Unlisted<'m>);

impl OffFrame for Off<'_> {
    fn ln(&self, cause: Cause, read: &Bits) -> f64 {
        match cause {
            Cause::UnknownLayout => self.0.ln_read(read),
            _ => ln_random(read),
        }
    }
}

impl<'c> Solver<'c> {
    /// # Errors
    ///
    /// All of [`DiagnoseError`] that needs no sums.
    pub(crate) fn new(
        units: &'c Units,
        candidates: &'c Candidates,
        model: &'c Model,
    ) -> Result<Self, DiagnoseError> {
        let layouts: Vec<&Layout> = candidates.layouts().iter().map(|layout| &**layout).collect();
        if units.reads.is_empty() || layouts.is_empty() {
            return Err(DiagnoseError::Nothing);
        }
        if let Some(short) = layouts.iter().find(|layout| layout.bits() < SHORTEST_LAYOUT) {
            let layout = short.name().to_owned();
            return Err(DiagnoseError::LayoutTooShort { layout, bits: short.bits() });
        }
        let of_layout =
            |layout: &&Layout| units.cards.iter().map(|card| fits(layout, card)).collect();
        let fitting: Vec<Vec<bool>> = layouts.iter().map(of_layout).collect();
        if !fitting.iter().any(|cards| cards.iter().all(|&fits| fits)) {
            let why = why_none_fits(units, &layouts);
            return Err(DiagnoseError::ExpectedFitsNoLayout { why });
        }
        let whose = units.whose(layouts.len(), model);
        if whose.is_empty() {
            return Err(DiagnoseError::OneCardDiffers);
        }
        Ok(Solver {
            units,
            priors: candidates.priors(model.configured),
            off: Off(Unlisted::new(model, layouts.iter().copied())),
            layouts,
            model,
            fitting,
            whose,
            all_findings: units.ln_findings(|cause, evidence| model.ln_findings(cause, evidence)),
            posed: FxHashMap::default(),
            cards: FxHashMap::default(),
            likelihoods: FxHashMap::default(),
            mixed: FxHashMap::default(),
            one_card: FxHashMap::default(),
        })
    }

    /// The posterior where only these findings of a capture are counted.
    pub(crate) fn posterior(
        &mut self,
        counted: &[Sought],
        progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
    ) -> Result<Posterior, DiagnoseError> {
        let findings = self.findings(counted);
        let asked: Vec<Wire> = Wire::all().filter(|&wire| self.units.asks(wire)).collect();
        let mut weights = Weights::new(self.layouts.len());
        let mut left_out = Vec::new();
        let of = self.units.views.len() * self.layouts.len();
        let units = self.units;
        for (at, view) in units.views.iter().enumerate() {
            let ln_view = self.ln_view(view);
            let ln_mixed = self.ln_whose(Whose::MixedCards);
            let is_new = ln_mixed.is_some() && !self.mixed.contains_key(&at);
            let mut mixed = is_new.then(|| Mixed::new(units));
            for layout in 0..self.layouts.len() {
                if progress(Progress { done: at * self.layouts.len() + layout, of }).is_break() {
                    return Err(DiagnoseError::Stopped);
                }
                if !self.allows(layout, view) || self.priors[layout] <= 0.0 {
                    continue;
                }
                let ln_layout = ln_view + libm::log(self.priors[layout]);
                let used = LayoutUsed::Candidate(layout);
                if self.carries_all(layout) {
                    self.look_for_open(layout, view, &mut left_out)?;
                    if let Some(ln) = self.ln_whose(Whose::OwnCards) {
                        let lns = self.own_lns(layout, view, &findings, &asked);
                        weights.add(view.state, used, Whose::OwnCards, ln + ln_layout, &lns);
                    }
                    if let (Some(ln), Some(known)) = (self.ln_whose(Whose::OneCard), view.one) {
                        let lns = self.one_card_lns(layout, known, &findings);
                        weights.add(view.state, used, Whose::OneCard, ln + ln_layout, &lns);
                    }
                }
                if let Some(mixed) = &mut mixed {
                    self.add_to_mixed(layout, view, mixed);
                }
            }
            if let Some(mixed) = mixed {
                self.mixed.insert(at, Rc::new(mixed));
            }
            if let (Some(ln), Some(mixed)) = (ln_mixed, self.mixed.get(&at).cloned()) {
                let lns = self.mixed_lns(&mixed, &findings, &asked);
                let whose = Whose::MixedCards;
                weights.add(view.state, LayoutUsed::Mixed, whose, ln + ln_view, &lns);
            }
        }
        let joint = self.weighed(&weights, &findings);
        let total = ln_sum(joint.iter().map(|&(_, ln)| ln));
        if !total.is_finite() {
            return Err(DiagnoseError::RuledOut);
        }
        let found = |(found, ln): (Combination, f64)| {
            let probability = libm::exp(ln - total);
            (probability > 0.0).then_some(Combination { probability, ..found })
        };
        let mut posterior = Posterior::new(joint.into_iter().filter_map(found).collect(), total);
        posterior.left_out = left_out;
        posterior.beyond_one_card = self.beyond_one_card();
        Ok(posterior)
    }

    pub(crate) fn own<'a>(&'a self, rows: &'a [Row], findings: &'a [Findings]) -> Own<'a> {
        Own { rows, findings, model: self.model, off_frame: &self.off }
    }

    pub(crate) fn off(&self) -> &dyn OffFrame {
        &self.off
    }

    /// The prior of a view, as a logarithm.
    fn ln_view(&self, view: &View) -> f64 {
        // Where no card is expected there is one state, for certain.
        let expected = self.units.cards.iter().any(|card| !card.is_empty());
        let prior = if expected { self.model.card_prior(view.state) } else { 1.0 };
        libm::log(prior * view.share)
    }

    /// The weight of whose cards the reads are, as a logarithm; `None` where it
    /// is not asked.
    fn ln_whose(&self, whose: Whose) -> Option<f64> {
        let asked = self.whose.iter().find(|(asked, _)| *asked == whose);
        asked.map(|&(_, weight)| libm::log(weight))
    }

    /// Whether a card state is possible for a layout.
    fn allows(&self, layout: usize, view: &View) -> bool {
        view.leeway != Leeway::Facility || self.layouts[layout].field(FACILITY).is_some()
    }

    /// Whether a layout can carry the expected card of every read.
    pub(crate) fn carries_all(&self, layout: usize) -> bool {
        self.fitting[layout].iter().all(|&fits| fits)
    }

    pub(crate) fn findings(&self, counted: &[Sought]) -> Vec<Findings> {
        if counted.len() == Sought::ALL.len() {
            return self.all_findings.clone();
        }
        self.units.ln_findings(|cause, evidence| {
            counted.iter().map(|&sought| self.model.ln_finding(sought, cause, evidence)).sum()
        })
    }

    /// A layout with this much of the card known; `None` where it cannot carry
    /// that.
    pub(crate) fn posed(&mut self, layout: usize, known: usize) -> Option<Rc<Posed>> {
        let (layouts, units) = (&self.layouts, self.units);
        let posed = self.posed.entry((layout, known));
        let new = || Posed::new(layouts[layout], &units.knowns.all[known]).map(Rc::new);
        posed.or_insert_with(new).clone()
    }

    /// A layout with the whole card known: by the bits that were found of it under
    /// its own layout, and by its values under another one.
    pub(crate) fn posed_card(&mut self, layout: usize, card: &CardFound) -> Option<Rc<Posed>> {
        let fields = field_bits(self.layouts[layout]);
        let own = card.layout == layout;
        let key = (layout, if own { Ok(card.frame) } else { Err(wholly(&card.fields)) });
        if let Some(posed) = self.cards.get(&key) {
            return posed.clone();
        }
        let posed = match &key.1 {
            Ok(frame) => {
                let seen = Known::of_read(frame, 0);
                let known = Known { bits: seen.bits.and(fields), values: seen.values.and(fields) };
                Code::new(self.layouts[layout], known).map(Posed::of_code)
            }
            Err(holds) => Posed::new(self.layouts[layout], holds),
        };
        let posed = posed.map(Rc::new);
        self.cards.insert(key, posed.clone());
        posed
    }

    fn likelihoods(&mut self, layout: usize, known: usize, read: &Bits) -> Option<Rc<Likelihoods>> {
        if let Some(likelihoods) = self.likelihoods.get(&(layout, known, *read)) {
            return Some(likelihoods.clone());
        }
        let posed = self.posed(layout, known)?;
        let likelihoods = Rc::new(Likelihoods::of(read, &posed, self.model));
        self.likelihoods.insert((layout, known, *read), likelihoods.clone());
        Some(likelihoods)
    }

    /// Every kind of read under one layout; `None` where the layout cannot carry
    /// what is known.
    fn rows(&mut self, layout: usize, view: &View) -> Option<Vec<Row>> {
        let units = self.units;
        let of_kind = |kind: &Kind| {
            let likelihoods = self.likelihoods(layout, view.cards[kind.card], &kind.bits)?;
            let times = kind.times as f64;
            Some(Row { likelihoods, ln_fits: 0.0, bits: kind.bits, times })
        };
        units.kinds.iter().map(of_kind).collect()
    }

    fn own_lns(
        &mut self,
        layout: usize,
        view: &View,
        findings: &[Findings],
        asked: &[Wire],
    ) -> Vec<f64> {
        let mut lns = vec![f64::NEG_INFINITY; Wire::COUNT];
        let Some(rows) = self.rows(layout, view) else { return lns };
        let split = self.ln_split(view, findings, |solver, pair, at, turned| {
            solver.ln_pair(layout, pair, at, turned)
        });
        fill(&self.own(&rows, findings), split, asked, &mut lns);
        lns
    }

    fn one_card_lns(&mut self, layout: usize, known: usize, findings: &[Findings]) -> Rc<Vec<f64>> {
        // Findings counted in part are asked about seldom, and once.
        let all_counted = findings == self.all_findings;
        if all_counted && let Some(lns) = self.one_card.get(&(layout, known)) {
            return lns.clone();
        }
        let lns = match self.posed(layout, known) {
            None => vec![f64::NEG_INFINITY; Wire::COUNT],
            Some(posed) => self.one_card(&posed, findings).ln(|wire| self.units.asks(wire)),
        };
        let lns = Rc::new(lns);
        if all_counted {
            self.one_card.insert((layout, known), lns.clone());
        }
        lns
    }

    pub(crate) fn one_card<'a>(
        &'a self,
        posed: &'a Posed,
        findings: &'a [Findings],
    ) -> OneCard<'a> {
        OneCard {
            posed,
            kinds: &self.units.kinds,
            pairs: self.units.pairs.as_deref(),
            findings,
            model: self.model,
            off_frame: &self.off,
        }
    }

    fn add_to_mixed(&mut self, layout: usize, view: &View, mixed: &mut Mixed) {
        let ln_prior = libm::log(self.priors[layout]);
        for (at, kind) in self.units.kinds.iter().enumerate() {
            if !self.fitting[layout][kind.card] {
                continue;
            }
            let of = self.likelihoods(layout, view.cards[kind.card], &kind.bits);
            if let Some(likelihoods) = of {
                let (sum, ln_fits) = &mut mixed.kinds[at];
                *sum = Rc::new(sum.plus(&likelihoods, ln_prior));
                *ln_fits = ln_add(*ln_fits, ln_prior);
            }
        }
        for turned in [false, true] {
            for (at, pair) in view.pairs.iter().flatten().enumerate() {
                let fits = self.units.reads[2 * at..][..2]
                    .iter()
                    .all(|&(kind, _)| self.fitting[layout][self.units.kinds[kind].card]);
                if fits {
                    let ln = self.ln_pair(layout, *pair, at, turned) + ln_prior;
                    let sum = &mut mixed.pairs[usize::from(turned)][at];
                    *sum = ln_add(*sum, ln);
                }
            }
        }
    }

    fn mixed_lns(&mut self, mixed: &Mixed, findings: &[Findings], asked: &[Wire]) -> Vec<f64> {
        let mut lns = vec![f64::NEG_INFINITY; Wire::COUNT];
        let units = self.units;
        let rows = mixed.rows(units);
        let pairs = units.pairs.as_ref();
        let split = pairs.map(|_| {
            let found = self.ln_found_split(findings);
            [0, 1].map(|turned| mixed.pairs[turned].iter().sum::<f64>() + found)
        });
        fill(&self.own(&rows, findings), split, asked, &mut lns);
        lns
    }

    /// The logarithm of the probability of all pairs of reads, as received and
    /// turned over; `None` where reads do not pair up.
    fn ln_split(
        &mut self,
        view: &View,
        findings: &[Findings],
        ln_pair: impl Fn(&mut Self, usize, usize, bool) -> f64,
    ) -> Option<[f64; 2]> {
        let pairs = view.pairs.as_ref()?;
        let found = self.ln_found_split(findings);
        Some([false, true].map(|turned| {
            let each = pairs.iter().enumerate();
            each.map(|(at, &pair)| ln_pair(self, pair, at, turned)).sum::<f64>() + found
        }))
    }

    /// The logarithm of the probability of one pair of reads, where this much of
    /// their card is known.
    fn ln_pair(&mut self, layout: usize, known: usize, at: usize, turned: bool) -> f64 {
        let pair = self.units.pairs.as_ref().and_then(|pairs| pairs.get(at)).copied();
        let (Some(pair), Some(posed)) = (pair, self.posed(layout, known)) else {
            return f64::NEG_INFINITY;
        };
        let base = Base { turned, cause: Cause::FrameSplit };
        let lns = base.ln_together(&[], &[pair], &posed);
        lns.first().copied().unwrap_or(f64::NEG_INFINITY)
    }

    fn ln_found_split(&self, findings: &[Findings]) -> f64 {
        let kinds = self.units.kinds.iter().zip(findings);
        kinds.map(|(kind, found)| kind.times as f64 * found[Cause::FrameSplit.index()]).sum()
    }

    /// Every combination with its weight, as a logarithm.
    fn weighed(&self, weights: &Weights, findings: &[Findings]) -> Vec<(Combination, f64)> {
        let mut all = Vec::new();
        for wire in Wire::all().filter(|&wire| self.units.asks(wire)) {
            let ln = libm::log(self.model.wire_prior(wire)) + self.units.ln_empty(wire, self.model);
            if wire.is_without_layout() {
                let found =
                    |whose| Combination { wire, card: None, layout: None, whose, probability: 0.0 };
                all.extend(self.whose.iter().map(|&(whose, weight)| {
                    let reads = self.ln_off_frame(wire.cause(), whose, findings);
                    (found(whose), ln + libm::log(weight) + reads)
                }));
                continue;
            }
            weights.each(wire, |card, layout, whose, weight| {
                let (card, layout) = (Some(card), Some(layout));
                all.push((
                    Combination { wire, card, layout, whose, probability: 0.0 },
                    ln + weight,
                ));
            });
        }
        all
    }

    /// The logarithm of the probability of all reads under a cause that has no
    /// layout, by itself.
    fn ln_off_frame(&self, cause: Cause, whose: Whose, findings: &[Findings]) -> f64 {
        let kinds = &self.units.kinds;
        let found = kinds.iter().zip(findings);
        let found: f64 = found.map(|(k, found)| k.times as f64 * found[cause.index()]).sum();
        let reads: Vec<&Bits> =
            self.units.reads.iter().map(|&(kind, _)| &kinds[kind].bits).collect();
        found
            + match cause {
                Cause::UnknownLayout => self.off.0.ln_reads(&reads, whose),
                _ => reads.iter().map(|read| ln_random(read)).sum(),
            }
    }

    /// # Errors
    ///
    /// Too many checks are open for the expected cards themselves; other card
    /// states are noted.
    fn look_for_open(
        &mut self,
        layout: usize,
        view: &View,
        left_out: &mut Vec<(usize, CardState)>,
    ) -> Result<(), DiagnoseError> {
        let open = view.cards.iter().find_map(|&known| {
            let posed = self.posed(layout, known)?;
            posed.trellis.as_ref().err().map(|error| (error.position, error.open))
        });
        let Some((position, open)) = open else { return Ok(()) };
        if view.state == CardState::AsExpected {
            let layout = self.layouts[layout].name().to_owned();
            return Err(DiagnoseError::TooManyOpen { layout, position, open });
        }
        if left_out.last() != Some(&(layout, view.state)) {
            left_out.push((layout, view.state));
        }
        Ok(())
    }

    /// The layouts for which reads of one card are beyond the bound.
    fn beyond_one_card(&self) -> Vec<usize> {
        if self.ln_whose(Whose::OneCard).is_none()
            || self.whose.len() < 2 && self.units.reads.len() < 2
        {
            return Vec::new();
        }
        let kinds = &self.units.kinds;
        let each = |kind: &Kind| std::iter::repeat_n(kind.bits.len(), kind.times);
        let lengths = || kinds.iter().flat_map(each);
        (0..self.layouts.len())
            .filter(|&at| self.carries_all(at) && !is_within(self.layouts[at].bits(), lengths()))
            .collect()
    }
}

/// Puts in what each wire state comes to.
fn fill(own: &Own<'_>, split: Option<[f64; 2]>, asked: &[Wire], lns: &mut [f64]) {
    for &wire in asked.iter().filter(|wire| !wire.is_without_layout()) {
        lns[wire.index()] = match (wire, split) {
            (Wire::Alone(Cause::FrameSplit), Some([as_received, _])) => as_received,
            (Wire::Swapped(Cause::FrameSplit), Some([_, turned])) => turned,
            (Wire::Alone(Cause::FrameSplit) | Wire::Swapped(Cause::FrameSplit), None) => {
                f64::NEG_INFINITY
            }
            _ => own.ln(wire),
        };
    }
}

/// The sum over layouts of what each kind of read comes to, and each pair.
struct Mixed {
    kinds: Vec<(Rc<Likelihoods>, f64)>,
    pairs: [Vec<f64>; 2],
}

impl Mixed {
    fn new(units: &Units) -> Self {
        let never = f64::NEG_INFINITY;
        let pairs = vec![never; units.pairs.as_ref().map_or(0, Vec::len)];
        Mixed {
            kinds: vec![(Rc::new(Likelihoods::never()), never); units.kinds.len()],
            pairs: [pairs.clone(), pairs],
        }
    }

    fn rows(&self, units: &Units) -> Vec<Row> {
        let row = |(kind, (likelihoods, ln_fits)): (&Kind, &(Rc<Likelihoods>, f64))| Row {
            likelihoods: likelihoods.clone(),
            ln_fits: *ln_fits,
            bits: kind.bits,
            times: kind.times as f64,
        };
        units.kinds.iter().zip(&self.kinds).map(row).collect()
    }
}

fn why_none_fits(units: &Units, layouts: &[&Layout]) -> String {
    let why = |layout: &&Layout| {
        let values = units.cards.iter().flatten();
        for (name, &number) in values {
            match layout.field(name) {
                None => return format!("{} has no field {name}", layout.name()),
                Some(field) if field.to_raw(number).is_none() => {
                    return format!(
                        "{}: {name} is at most {}, not {number}",
                        layout.name(),
                        field.max()
                    );
                }
                Some(_) => {}
            }
        }
        layout.name().to_owned()
    };
    let all: Vec<String> = layouts.iter().map(why).collect();
    all.join("; ")
}
