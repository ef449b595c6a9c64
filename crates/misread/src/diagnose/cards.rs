//! The card behind each read of a case, under one wire state: over card states,
//! layouts and whose cards the reads are.

use super::card::{Behind, CardFound, MOST_WEIGHTS, behind, card_of, field_bits};
use super::case::Expected;
use super::code::Known;
use super::likelihood::{Posed, Received, all_agree};
use super::likelihoods::{Base, ln_add};
use super::posterior::{LayoutUsed, Posterior, ln_sum};
use super::solve::{Part, Solver};
use super::sums::{Row, ln_mixed};
use super::units::{Findings, Kind};
use crate::cause::{Cause, Sought, Whose, Wire};
use crate::channel::Pulses;

/// The cards behind the reads under one wire state.
pub(super) struct Cards {
    /// By presentation; `None` for an empty one, and for reads that are too many
    /// to look at.
    pub(super) decoded: Vec<Option<CardFound>>,
    /// The most likely rate, for a cause that has rates.
    pub(super) rate: Option<f64>,
}

/// How many weights a search may keep under a wire state that is not the
/// answer's.
const FEW_WEIGHTS: usize = 50_000;

/// How many reads of one card are looked at as being sound.
const MOST_SOUND: usize = 4;

/// A card is likelier than all others together above this.
const HALF: f64 = 0.5 + 1e-9;

/// Finds them for the first `most` different reads; [`usize::MAX`] for the
/// answer's.
pub(super) fn find_cards(
    solver: &mut Solver<'_>,
    posterior: &Posterior,
    wire: Wire,
    most: usize,
) -> Cards {
    let presentations = solver.units.presentations();
    let mut found = Cards { decoded: vec![None; presentations], rate: None };
    if wire.is_without_layout() || most == 0 {
        return found;
    }
    let primary = posterior.most_likely_under(wire).layout;
    let mut search = Search::new(solver, posterior, wire, primary, most == usize::MAX);
    found.rate = search.rate();
    let reads = search.solver.units.reads.clone();
    if wire.cause() == Cause::FrameSplit {
        for (pair, two) in reads.chunks_exact(2).enumerate().take(most) {
            let card = search.of_pair(pair);
            for &(_, at) in two {
                found.decoded[at] = Some(card.clone());
            }
        }
        return found;
    }
    let kinds = search.solver.units.kinds.len().min(most);
    let cards: Vec<CardFound> = (0..kinds).map(|kind| search.of_kind(kind)).collect();
    for &(kind, at) in &reads {
        found.decoded[at] = cards.get(kind).cloned();
    }
    found
}

/// What a wire state comes to in one view, layout and whose cards.
struct Entry {
    part: Part,
    weight: f64,
    /// One card's most likely card, the same for every read.
    one: Option<Vec<Candidate>>,
    own: Option<Vec<Row>>,
    /// The logarithm of what all reads come to, by what holds for the case.
    by_case: Vec<f64>,
}

/// What a read may be of.
#[derive(Clone)]
struct Candidate {
    /// The card that is as likely as any; not single where none is.
    card: CardFound,
    /// What is certain of the frame.
    certain: Known,
    /// Whether the reads leave no other card.
    is_only: bool,
}

struct Search<'s, 'c> {
    solver: &'s mut Solver<'c>,
    wire: Wire,
    base: Base,
    primary: Option<usize>,
    entries: Vec<Entry>,
    findings: Vec<Findings>,
    /// How many weights each search may keep.
    most_weights: usize,
    /// What cards come to where all reads are of one, by entry.
    shares: Vec<(usize, Expected, f64)>,
}

impl<'s, 'c> Search<'s, 'c> {
    fn new(
        solver: &'s mut Solver<'c>,
        posterior: &Posterior,
        wire: Wire,
        primary: Option<LayoutUsed>,
        is_answer: bool,
    ) -> Self {
        /// Less than this share is passed over.
        const LEAST: f64 = 1e-6;
        const MOST: usize = 10;
        let mut parts = solver.parts_of(wire, posterior);
        parts.sort_by(|a, b| b.1.total_cmp(&a.1));
        let total: f64 = parts.iter().map(|(_, weight)| weight).sum();
        parts.truncate(MOST);
        parts.retain(|(_, weight)| *weight > LEAST * total);
        let findings = solver.findings(&Sought::ALL);
        let base = Base::of(wire);
        let mut entries = Vec::with_capacity(parts.len());
        for (part, weight) in parts {
            let own = match part.whose {
                Whose::OneCard => None,
                _ => solver.rows_of(part),
            };
            let by_case = own
                .as_ref()
                .map_or_else(Vec::new, |rows| solver.own(rows, &findings).ln_by_case(wire));
            entries.push(Entry { part, weight: weight / total, one: None, own, by_case });
        }
        let primary = primary.and_then(LayoutUsed::candidate);
        let most_weights = if is_answer { MOST_WEIGHTS } else { FEW_WEIGHTS };
        Search { solver, wire, base, primary, entries, findings, most_weights, shares: Vec::new() }
    }

    /// The most likely rate, over all reads.
    fn rate(&self) -> Option<f64> {
        let rates = self.solver.model.rates(self.base.cause);
        let weighed = self.entries.iter().find(|entry| !entry.by_case.is_empty());
        let Some(by_case) = weighed.map(|entry| &entry.by_case) else {
            // All of one card: the middle one will do to lay reads beside frames.
            return rates.get(rates.len() / 2).copied();
        };
        let each = by_case.len() / rates.len().max(1);
        let of_rate = by_case.chunks(each.max(1)).map(|lns| ln_sum(lns.iter().copied()));
        let best = rates.iter().zip(of_rate).max_by(|a, b| a.1.total_cmp(&b.1));
        best.map(|(&rate, _)| rate)
    }

    fn of_kind(&mut self, kind: usize) -> CardFound {
        /// Less than this share proposes no card that is likelier than all others.
        const PROPOSES: f64 = 1e-3;
        let mut by_entry: Vec<Vec<Candidate>> = Vec::new();
        for entry in 0..self.entries.len() {
            let proposes = self.entries[entry].weight >= PROPOSES;
            by_entry.push(if proposes { self.candidates(entry, kind) } else { Vec::new() });
        }
        let mut tried: Vec<&CardFound> = Vec::new();
        for candidate in by_entry.iter().flatten().filter(|found| found.card.single) {
            if tried.iter().any(|other| other.fields == candidate.card.fields) {
                continue;
            }
            let probability = self.probability(kind, &candidate.card, &by_entry);
            if probability > HALF {
                return CardFound { probability, ..candidate.card.clone() };
            }
            tried.push(&candidate.card);
        }
        // What is certain must be so under every entry.
        for entry in 0..self.entries.len() {
            if self.entries[entry].weight < PROPOSES {
                by_entry.push(self.candidates(entry, kind));
            }
        }
        self.certain(kind, by_entry.into_iter().flatten())
    }

    /// What is certain under one layout, where no single card is.
    fn certain(&self, kind: usize, candidates: impl Iterator<Item = Candidate>) -> CardFound {
        let layout = self.primary.unwrap_or_else(|| self.best_layout(0, kind));
        let certain = candidates
            .filter(|found| found.card.layout == layout)
            .map(|found| found.certain)
            .reduce(Known::both);
        let at = self.solver.layouts[layout];
        let found = card_of(at, self.base.cause, certain.unwrap_or_default());
        CardFound { single: false, layout, ..found }
    }

    /// The layout a read most likely has: that of the entry, or where each has
    /// its own the one under which the read is likeliest.
    fn best_layout(&self, entry: usize, kind: usize) -> usize {
        match self.entries.get(entry).map(|entry| entry.part.layout) {
            Some(LayoutUsed::Candidate(layout)) => layout,
            _ => self.solver.likeliest_layout(self.wire, kind),
        }
    }

    fn candidates(&mut self, entry: usize, kind: usize) -> Vec<Candidate> {
        let layout = self.best_layout(entry, kind);
        let part = self.entries[entry].part;
        if part.whose == Whose::OneCard {
            if self.entries[entry].one.is_none() {
                self.entries[entry].one = Some(self.one_card(entry, layout));
            }
            return self.entries[entry].one.clone().unwrap_or_default();
        }
        let units = self.solver.units;
        let read = [Received::from(units.kinds[kind].bits)];
        let known = units.views[part.view].cards[units.kinds[kind].card];
        let Some(posed) = self.solver.posed(layout, known) else { return Vec::new() };
        let rates = self.rates(entry);
        let of = |base: Base, reads| self.candidate(base, &rates, reads, layout, &posed);
        match self.wire {
            // It is sound, or it suffers.
            Wire::AtTimes(cause) => {
                let sound = self.is_possible(entry, kind, Base::SOUND);
                let sound = if sound { of(Base::SOUND, &read) } else { None };
                let suffers = match cause.is_without_layout() {
                    true => of(Base::SOUND, &[]),
                    false if self.is_possible(entry, kind, self.base) => of(self.base, &read),
                    false => None,
                };
                let both = sound.is_some() && suffers.is_some();
                let found = sound.into_iter().chain(suffers);
                found.map(|found| Candidate { is_only: found.is_only && !both, ..found }).collect()
            }
            _ => of(self.base, &read).into_iter().collect(),
        }
    }

    fn is_possible(&self, entry: usize, kind: usize, base: Base) -> bool {
        let rows = self.entries[entry].own.as_ref();
        rows.is_some_and(|rows| !rows[kind].likelihoods.get(base).is_empty())
    }

    /// Each rate with the weight the reads give it.
    fn rates(&self, entry: usize) -> Vec<(f64, f64)> {
        let rates = self.solver.model.rates(self.base.cause);
        let by_case = &self.entries[entry].by_case;
        let each = (by_case.len() / rates.len().max(1)).max(1);
        let lns = by_case.chunks(each).map(|lns| ln_sum(lns.iter().copied()));
        rates.iter().copied().zip(lns.chain(std::iter::repeat(0.0))).collect()
    }

    fn candidate(
        &self,
        base: Base,
        rates: &[(f64, f64)],
        reads: &[Received],
        layout: usize,
        posed: &Posed,
    ) -> Option<Candidate> {
        let at = self.solver.layouts[layout];
        let Behind { certain, likely } = behind(base, rates, reads, at, posed, self.most_weights)?;
        let fields = field_bits(at);
        let card = card_of(at, base.cause, likely.unwrap_or(certain)).of_layout(layout);
        let single = card.single && likely.is_some();
        let is_only = fields.without(certain.bits).is_empty();
        Some(Candidate { card: CardFound { single, ..card }, certain, is_only })
    }

    /// What all reads may be of, where they are of one card.
    fn one_card(&mut self, entry: usize, layout: usize) -> Vec<Candidate> {
        let units = self.solver.units;
        let Some(known) = units.views[self.entries[entry].part.view].one else {
            return Vec::new();
        };
        let Some(posed) = self.solver.posed(layout, known) else { return Vec::new() };
        let rates = self.solver.model.rates(self.base.cause).iter().map(|&rate| (rate, 0.0));
        let rates: Vec<(f64, f64)> = rates.collect();
        let reads = |is: &dyn Fn(&Kind) -> bool| -> Vec<Received> {
            let kinds = units.kinds.iter().filter(|kind| is(kind));
            kinds
                .flat_map(|kind| std::iter::repeat_n(Received::from(kind.bits), kind.times))
                .collect()
        };
        let all = reads(&|_| true);
        let of = |base: Base, reads: &[Received], posed: &Posed| {
            self.candidate(base, &rates, reads, layout, posed)
        };
        let n = posed.code.n;
        if !matches!(self.wire, Wire::AtTimes(_)) {
            return of(self.base, &all, &posed).into_iter().collect();
        }
        if Pulses::of(self.base.cause).is_some() {
            // A read of the frame's length is the frame whether it suffers or not.
            let whole = reads(&|kind| kind.bits.len() == n);
            let seen = all_agree(whole.iter().map(|read| Some(Known::of_read(&read.bits, 0))));
            let short = reads(&|kind| kind.bits.len() != n);
            let narrowed = match whole.is_empty() {
                true => return of(self.base, &all, &posed).into_iter().collect(),
                false => seen.and_then(|seen| posed.code.narrowed(seen)),
            };
            let narrowed = narrowed.map(Posed::of_code);
            let found = narrowed.and_then(|narrowed| of(self.base, &short, &narrowed));
            return found.into_iter().collect();
        }
        let sound = |kind: &Kind| {
            let seen = Known::of_read(&kind.bits, 0);
            if kind.bits.len() == n { posed.code.narrowed(seen) } else { None }
        };
        // The frames that reads show which may be sound, and what is known if
        // none of them is.
        let mut found: Vec<Candidate> = Vec::new();
        for kind in &units.kinds {
            let Some(narrowed) = sound(kind) else { continue };
            let posed = Posed::of_code(narrowed);
            found.extend(of(Base::SOUND, &[], &posed));
            if found.len() == MOST_SOUND {
                break;
            }
        }
        let all_suffer = match self.base.cause.is_without_layout() {
            true => of(Base::SOUND, &[], &posed),
            false => of(self.base, &all, &posed),
        };
        found.extend(all_suffer);
        if found.is_empty() {
            found.extend(of(Base::SOUND, &[], &posed));
        }
        let several = found.len() > 1;
        found.iter_mut().for_each(|found| found.is_only &= !several);
        found
    }

    /// How likely a read is of this card, over all entries.
    fn probability(&mut self, kind: usize, card: &CardFound, by_entry: &[Vec<Candidate>]) -> f64 {
        let mut probability = 0.0;
        for entry in 0..self.entries.len() {
            let found = by_entry.get(entry).map_or(&[][..], Vec::as_slice);
            let share = match found {
                [only] if only.is_only => f64::from(only.card.fields == card.fields),
                _ => self.share(entry, kind, card),
            };
            probability += self.entries[entry].weight * share;
        }
        probability.min(1.0)
    }

    /// How likely a read is of this card in one entry.
    fn share(&mut self, entry: usize, kind: usize, card: &CardFound) -> f64 {
        let part = self.entries[entry].part;
        match (part.whose, part.layout) {
            (Whose::OneCard, LayoutUsed::Candidate(layout)) => {
                let known =
                    self.shares.iter().find(|(e, fields, _)| *e == entry && *fields == card.fields);
                if let Some(&(.., share)) = known {
                    return share;
                }
                let share = self.one_card_share(part, layout, card);
                self.shares.push((entry, card.fields.clone(), share));
                share
            }
            (_, LayoutUsed::Candidate(layout)) => {
                let ln = self.ln_own(entry, kind, card, layout, 0.0);
                self.own_share(entry, kind, &ln)
            }
            (_, LayoutUsed::Mixed) => {
                let layouts = 0..self.solver.layouts.len();
                let mut sum = Vec::new();
                for layout in layouts {
                    let prior = self.solver.priors[layout];
                    let ln = self.ln_own(entry, kind, card, layout, libm::log(prior));
                    match sum.is_empty() {
                        true => sum = ln,
                        false => sum.iter_mut().zip(ln).for_each(|(a, b)| *a = ln_add(*a, b)),
                    }
                }
                self.own_share(entry, kind, &sum)
            }
        }
    }

    fn one_card_share(&mut self, part: Part, layout: usize, card: &CardFound) -> f64 {
        let (wire, findings) = (self.wire, std::mem::take(&mut self.findings));
        let ln = || -> Option<f64> {
            let known = self.solver.units.views[part.view].one?;
            let view = self.solver.posed(layout, known)?;
            let posed = self.solver.posed_card(layout, card)?;
            let ln_card = ln_of_card(&view, &posed)?;
            let given = self.solver.one_card(&posed, &findings).ln(|asked| asked == wire);
            let all = self.solver.ln_in(wire, part, &findings);
            Some(ln_card + given[wire.index()] - all)
        };
        let mut ln = ln;
        let share = ln().map_or(0.0, libm::exp);
        self.findings = findings;
        share
    }

    /// The logarithm of the probability of a read and this card, of one layout,
    /// by what holds for the case.
    fn ln_own(
        &mut self,
        entry: usize,
        kind: usize,
        card: &CardFound,
        layout: usize,
        ln_prior: f64,
    ) -> Vec<f64> {
        let cases = self.entries[entry].by_case.len();
        let never = vec![f64::NEG_INFINITY; cases];
        let units = self.solver.units;
        let read = &units.kinds[kind];
        let known = units.views[self.entries[entry].part.view].cards[read.card];
        let fields = self.solver.layouts[layout].fields();
        let is_whole = fields.len() == card.fields.len()
            && fields.iter().all(|field| card.fields.contains_key(field.name()));
        let (Some(view), Some(posed), true) = (
            self.solver.posed(layout, known),
            self.solver.posed_card(layout, card),
            is_whole && cases > 0,
        ) else {
            return never;
        };
        let Some(ln_card) = ln_of_card(&view, &posed) else { return never };
        let ln_card = ln_card + ln_prior;
        let model = self.solver.model;
        let rates = model.rates(self.base.cause);
        let findings = &self.findings[kind];
        let cause = self.wire.cause();
        let received = [Received::from(read.bits)];
        let suffers = match cause.is_without_layout() {
            true => vec![self.solver.off().ln(cause, &read.bits)],
            false => self.base.ln_together(rates, &received, &posed),
        };
        let suffers = suffers.into_iter().map(|ln| ln + findings[cause.index()]);
        match self.wire {
            Wire::AtTimes(_) => {
                let sound = Base::SOUND.ln_together(&[], &received, &posed);
                let sound = sound.first().copied().unwrap_or(f64::NEG_INFINITY)
                    + findings[Cause::None.index()];
                suffers
                    .flat_map(|ln| model.shares.iter().map(move |&s| ln_mixed(ln, sound, s)))
                    .map(|ln| ln + ln_card)
                    .collect()
            }
            _ => suffers.map(|ln| ln + ln_card).collect(),
        }
    }

    /// The share of the weight of a read's row that `lns` has.
    fn own_share(&self, entry: usize, kind: usize, lns: &[f64]) -> f64 {
        let entry = &self.entries[entry];
        let Some(rows) = &entry.own else { return 0.0 };
        let own = self.solver.own(rows, &self.findings);
        let row = own.ln_row(self.wire, kind);
        let total = ln_sum(entry.by_case.iter().copied());
        let cases = entry.by_case.iter().zip(&row).zip(lns);
        cases
            .filter(|&((&all, _), _)| all > f64::NEG_INFINITY)
            .map(|((all, row), ln)| libm::exp(all - total + ln - row))
            .sum()
    }

    /// The card of two reads that are one frame.
    fn of_pair(&mut self, pair: usize) -> CardFound {
        let units = self.solver.units;
        let received = units.pairs.as_ref().and_then(|pairs| pairs.get(pair)).copied();
        let bits = received.map_or(0, |received| received.bits.len());
        let mut found: Vec<(Candidate, f64)> = Vec::new();
        for entry in 0..self.entries.len() {
            let part = self.entries[entry].part;
            let layout = match part.layout {
                LayoutUsed::Candidate(layout) => layout,
                LayoutUsed::Mixed => self.solver.layout_of_length(bits),
            };
            let view = &units.views[part.view];
            let (known, reads) = match (part.whose, &units.pairs, received) {
                (Whose::OneCard, Some(pairs), _) => (view.one, pairs.clone()),
                (_, _, Some(received)) => {
                    let known = view.pairs.as_ref().and_then(|pairs| pairs.get(pair)).copied();
                    (known, vec![received])
                }
                _ => continue,
            };
            let Some(posed) = known.and_then(|known| self.solver.posed(layout, known)) else {
                continue;
            };
            let Some(candidate) = self.candidate(self.base, &[], &reads, layout, &posed) else {
                continue;
            };
            found.push((candidate, self.entries[entry].weight));
        }
        let shares: Vec<(CardFound, f64)> = found
            .iter()
            .filter(|(candidate, _)| candidate.is_only)
            .map(|(candidate, _)| {
                let same =
                    found.iter().filter(|(other, _)| other.card.fields == candidate.card.fields);
                (candidate.card.clone(), same.map(|(_, weight)| weight).sum())
            })
            .collect();
        let best = shares.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        match best {
            Some((card, probability)) if probability > HALF => CardFound { probability, ..card },
            _ => {
                let layout = self.primary.unwrap_or_else(|| self.solver.layout_of_length(bits));
                let certain = found
                    .into_iter()
                    .filter(|(found, _)| found.card.layout == layout)
                    .map(|(found, _)| found.certain)
                    .reduce(Known::both);
                let at = self.solver.layouts[layout];
                let found = card_of(at, self.base.cause, certain.unwrap_or_default());
                CardFound { single: false, layout, ..found }
            }
        }
    }
}

/// The logarithm of the probability of a card where part of it is known; `None`
/// where it is not such a card.
fn ln_of_card(view: &Posed, card: &Posed) -> Option<f64> {
    let both = view.code.narrowed(card.code.known)?;
    let frames = both.log2_frames() as f64 - view.code.log2_frames() as f64;
    Some(frames * std::f64::consts::LN_2)
}

impl CardFound {
    fn of_layout(self, layout: usize) -> Self {
        CardFound { layout, ..self }
    }
}
