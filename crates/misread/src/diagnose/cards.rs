//! The card behind each read of a case, under one wire state: over card states,
//! layouts and whose cards the reads are.

use misread_core::Bit;

use super::card::{CardFound, field_bits, most_likely_card};
use super::case::Expected;
use super::code::Known;
use super::likelihood::{Posed, Received};
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

/// A card less likely than this, given the wire state, is none to speak of.
const LEAST_CARD: f64 = 0.01;

/// Finds them for the first `most` different reads.
pub(super) fn find_cards(
    solver: &mut Solver<'_>,
    posterior: &Posterior,
    wire: Wire,
    most: usize,
) -> Cards {
    let presentations = solver.units.presentations();
    let mut found = Cards { decoded: vec![None; presentations], rate: None };
    if wire.is_without_layout() {
        return found;
    }
    let primary = posterior.most_likely_under(wire).layout;
    let mut search = Search::new(solver, posterior, wire, primary);
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
    one: Option<Candidate>,
    own: Option<Vec<Row>>,
    /// The logarithm of what all reads come to, by what holds for the case.
    by_case: Vec<f64>,
}

/// A card a read may be of.
#[derive(Clone)]
struct Candidate {
    card: CardFound,
    /// Whether the reads leave no other.
    certain: bool,
}

struct Search<'s, 'c> {
    solver: &'s mut Solver<'c>,
    wire: Wire,
    base: Base,
    primary: Option<usize>,
    entries: Vec<Entry>,
    findings: Vec<Findings>,
    /// What cards come to where all reads are of one, by entry.
    shares: Vec<(usize, Expected, f64)>,
}

impl<'s, 'c> Search<'s, 'c> {
    fn new(
        solver: &'s mut Solver<'c>,
        posterior: &Posterior,
        wire: Wire,
        primary: Option<LayoutUsed>,
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
        Search { solver, wire, base, primary, entries, findings, shares: Vec::new() }
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
        let mut candidates: Vec<Candidate> = Vec::new();
        let mut by_entry: Vec<Vec<Candidate>> = Vec::new();
        for entry in 0..self.entries.len() {
            let found = self.candidates(entry, kind);
            for candidate in &found {
                let is_new =
                    !candidates.iter().any(|other| other.card.fields == candidate.card.fields);
                if candidate.card.single && is_new {
                    candidates.push(candidate.clone());
                }
            }
            by_entry.push(found);
        }
        let mut best: Option<CardFound> = None;
        for candidate in candidates {
            let probability = self.probability(kind, &candidate.card, &by_entry);
            if best.as_ref().is_none_or(|best| probability > best.probability + 1e-9) {
                best = Some(CardFound { probability, ..candidate.card });
            }
        }
        match best {
            Some(best) if best.probability > LEAST_CARD => best,
            _ => self.certain(kind, by_entry.into_iter().flatten()),
        }
    }

    /// What the candidates of one layout agree on, where none is the card.
    fn certain(&self, kind: usize, candidates: impl Iterator<Item = Candidate>) -> CardFound {
        let layout = self.primary.unwrap_or_else(|| self.best_layout(0, kind));
        let mut frames = candidates.map(|found| found.card).filter(|card| card.layout == layout);
        let Some(first) = frames.next() else {
            return CardFound::unknown(self.solver.layouts[layout]).of_layout(layout);
        };
        let frame = frames.fold(first.frame, |certain, card| {
            let both = certain.iter().zip(card.frame.iter());
            both.map(|(a, b)| if a == b { a } else { Bit::Unread }).collect()
        });
        CardFound::new(self.solver.layouts[layout], self.base.cause, frame).of_layout(layout)
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
                self.entries[entry].one = self.one_card(entry, layout);
            }
            return self.entries[entry].one.iter().cloned().collect();
        }
        let units = self.solver.units;
        let read = Received::from(units.kinds[kind].bits);
        let known = units.views[part.view].cards[units.kinds[kind].card];
        let Some(posed) = self.solver.posed(layout, known) else { return Vec::new() };
        let rates = self.rates(entry);
        let of = |base: Base| self.candidate(base, &rates, &[read], layout, &posed);
        match self.wire {
            Wire::AtTimes(cause) if cause.is_without_layout() => {
                vec![Candidate { certain: false, ..of(Base::SOUND) }]
            }
            // It is sound, or it suffers.
            Wire::AtTimes(_) => [Base::SOUND, self.base]
                .into_iter()
                .filter(|&base| self.is_possible(entry, kind, base))
                .map(|base| Candidate { certain: false, ..of(base) })
                .collect(),
            _ => vec![of(self.base)],
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
    ) -> Candidate {
        let at = self.solver.layouts[layout];
        let card = most_likely_card(base, rates, reads, at, posed).of_layout(layout);
        let is_known = field_bits(at).without(posed.code.known.bits).is_empty();
        let searched = base.cause == Cause::BitsChanged || Pulses::of(base.cause).is_some();
        Candidate { certain: card.single && (is_known || !searched), card }
    }

    /// The most likely card of all reads, where all are of one.
    fn one_card(&mut self, entry: usize, layout: usize) -> Option<Candidate> {
        let units = self.solver.units;
        let known = units.views[self.entries[entry].part.view].one?;
        let posed = self.solver.posed(layout, known)?;
        let all = |kinds: &mut dyn Iterator<Item = &Kind>| -> Vec<Received> {
            kinds
                .flat_map(|kind| std::iter::repeat_n(Received::from(kind.bits), kind.times))
                .collect()
        };
        let rates: Vec<(f64, f64)> =
            self.solver.model.rates(self.base.cause).iter().map(|&rate| (rate, 0.0)).collect();
        if !matches!(self.wire, Wire::AtTimes(_)) {
            let reads = all(&mut units.kinds.iter());
            return Some(self.candidate(self.base, &rates, &reads, layout, &posed));
        }
        // A sound read is the frame; the most frequent one if several may be.
        let n = posed.code.n;
        let whole = units.kinds.iter().filter(|kind| {
            kind.bits.len() == n && posed.code.narrowed(Known::of_read(&kind.bits, 0)).is_some()
        });
        if let Some(best) = whole.max_by_key(|kind| kind.times) {
            let found = self.candidate(Base::SOUND, &[], &[best.bits.into()], layout, &posed);
            return Some(Candidate { certain: false, ..found });
        }
        let reads = all(&mut units.kinds.iter());
        Some(self.candidate(self.base, &rates, &reads, layout, &posed))
    }

    /// How likely a read is of this card, over all entries.
    fn probability(&mut self, kind: usize, card: &CardFound, by_entry: &[Vec<Candidate>]) -> f64 {
        let mut probability = 0.0;
        for (entry, found) in by_entry.iter().enumerate() {
            let share = match &found[..] {
                [only] if only.certain => f64::from(only.card.fields == card.fields),
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
            let posed = self.solver.posed_card(layout, &card.fields)?;
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
            self.solver.posed_card(layout, &card.fields),
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
        let mut found: Vec<(CardFound, f64)> = Vec::new();
        for entry in 0..self.entries.len() {
            let part = self.entries[entry].part;
            let layout = match (part.layout, units.reads.get(2 * pair)) {
                (LayoutUsed::Candidate(layout), _) => layout,
                (LayoutUsed::Mixed, _) => {
                    self.solver.layout_of_length(received.map_or(0, |r| r.bits.len()))
                }
            };
            let view = &units.views[part.view];
            let known = match part.whose {
                Whose::OneCard => view.one,
                _ => view.pairs.as_ref().and_then(|pairs| pairs.get(pair)).copied(),
            };
            let Some(posed) = known.and_then(|known| self.solver.posed(layout, known)) else {
                continue;
            };
            let reads = match (part.whose, &units.pairs, received) {
                (Whose::OneCard, Some(pairs), _) => pairs.clone(),
                (_, _, Some(received)) => vec![received],
                _ => continue,
            };
            let card = self.candidate(self.base, &[], &reads, layout, &posed).card;
            match found.iter_mut().find(|(other, _)| other.fields == card.fields) {
                Some((_, weight)) => *weight += self.entries[entry].weight,
                None => found.push((card, self.entries[entry].weight)),
            }
        }
        let best = found.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let layout = self.primary.unwrap_or(0);
        best.map_or_else(
            || CardFound::unknown(self.solver.layouts[layout]).of_layout(layout),
            |(card, probability)| CardFound { probability, ..card },
        )
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
