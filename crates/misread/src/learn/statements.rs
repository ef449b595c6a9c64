//! What is settled and what is open, in sentences.

use super::answer::{Learned, Open, Statement};
use super::candidate::{Role, Whole};
use super::checks::{self, Settled};
use super::claim::{Claim, inverts, reverses};
use super::field::Form;
use super::next::Splitter;
use super::prior::DOUBT;
use super::sample::{Group, Wishes};
use super::weigh::{Says, Weighed, says};
use super::wording;
use crate::Turn;
use crate::diagnose::gf2::Words;

/// What the statements are made from.
pub(super) struct View<'a> {
    pub(super) group: &'a Group,
    pub(super) weighed: &'a Weighed,
    pub(super) best: &'a Whole,
    pub(super) wholes: &'a [Whole],
    pub(super) splitter: &'a Splitter<'a>,
}

impl View<'_> {
    fn turn(&self) -> Turn {
        self.weighed.configs[self.best.config].turn
    }

    /// An index as received, in the layout; its own inverse.
    fn place(&self, index: usize) -> usize {
        if reverses(self.turn()) { self.weighed.frames.bits - 1 - index } else { index }
    }

    fn bits(&self, received: impl IntoIterator<Item = usize>) -> String {
        let mut indices: Vec<usize> = received.into_iter().map(|i| self.place(i)).collect();
        indices.sort_unstable();
        wording::bits(indices)
    }

    pub(super) fn turned(&self, answer: &mut Learned) {
        if self.group.columns.is_empty() {
            return;
        }
        let inverted = inverts(self.turn());
        let doubt = self.weighed.doubt(|config| inverts(config.turn) == inverted);
        let what = "D0 and D1 are swapped, or what recorded the reads wrote 0 for 1";
        let found =
            self.weighed.configs[self.best.config].picks.iter().any(|p| !p.fields.is_empty());
        if inverted && doubt <= DOUBT / 2.0 {
            answer.settled.push(Statement {
                says: format!(
                    "The numbers fit only with every bit turned over: {what}. The layout is given \
                     as it should be."
                ),
                claim: Claim::Inverted,
            });
        } else if found && doubt > DOUBT / 2.0 {
            let most = if inverted { "Most likely they are" } else { "Most likely they are not" };
            answer.open.push(Open {
                question: format!("Whether every bit is turned over ({what}). {most}."),
                next_sample: self.splitter.best(),
                decoding: true,
                bits: Vec::new(),
            });
        }
        let backwards = reverses(self.turn());
        let doubt = self.weighed.doubt(|config| reverses(config.turn) == backwards);
        if found && (backwards || doubt > 0.01) {
            let question = if backwards {
                "The numbers fit with the last bit first, so most likely the reads arrive in \
                 reverse; the layout is given as it should be. It could also be the cards that \
                 put the lowest bit first: the same reads come either way."
            } else {
                "The cards put the lowest bit first, or else the reads arrive in reverse: the \
                 same reads come either way."
            };
            answer.open.push(Open {
                question: question.to_owned(),
                next_sample: None,
                decoding: false,
                bits: Vec::new(),
            });
        }
    }

    pub(super) fn column(&self, column: usize, wishes: &Wishes, answer: &mut Learned) {
        let (weighed, frames) = (self.weighed, &self.weighed.frames);
        let config = &weighed.configs[self.best.config];
        let name = &self.group.columns[column];
        let choice = &config.picks[column];
        if choice.fields.is_empty() {
            let zero = self.group.samples.iter().all(|sample| {
                sample.known.iter().all(|(known, number)| known != name || *number == 0)
            });
            let question = if zero {
                format!("{name} is 0 on every card: nothing shows where it stands.")
            } else {
                format!(
                    "{name} stands nowhere in the bits in a plain form: the numbers may be printed \
                     only, or worked out from the bits in some other way."
                )
            };
            let next_sample = self.splitter.for_column(column);
            answer.open.push(Open { question, next_sample, decoding: true, bits: Vec::new() });
            return;
        }
        let key: Says = says(frames, config, column);
        let settled = weighed.doubt(|config| says(frames, config, column) == key) <= DOUBT / 2.0;
        let offsets = |fields: &[(String, Form)]| -> Vec<i128> {
            fields.iter().map(|(_, form)| form.offset).collect()
        };
        let exact = weighed.doubt(|other| {
            let pick = &other.picks[column];
            pick.claims == choice.claims
                && offsets(&pick.fields) == offsets(&choice.fields)
                && says(frames, other, column) == key
        });
        let stated = wishes.assume.iter().any(|(said, _)| super::sample::plain(said) == *name);
        for (i, (field, form)) in choice.fields.iter().enumerate() {
            let (_, offset, places) = &key.fields[i];
            let part = choice.run_together.map(|digits| (digits, i == 0));
            let unmoved: Vec<usize> = form
                .bits
                .iter()
                .map(|&b| usize::from(b))
                .filter(|b| frames.constant.contains(self.place(*b)))
                .collect();
            let whole = settled && exact <= DOUBT / 2.0 && unmoved.is_empty() && !self.zeros_left();
            let what = wording::part(name, field, part);
            let claim = Claim::Places {
                column: name.clone(),
                part,
                offset: if whole { form.offset } else { *offset },
                inverted: key.inverted,
                bits: places.iter().map(|(place, index)| (*index, *place)).collect(),
                whole,
            };
            let indices: Vec<usize> = form.bits.iter().map(|&b| usize::from(b)).collect();
            if settled && !places.is_empty() {
                let moved = places.iter().map(|(_, index)| self.place(*index));
                let says = if whole {
                    format!("{what} is {}.", wording::field(form))
                } else {
                    let order = wording::order(form);
                    format!(
                        "What moved of {what} stands in {}, {order}.",
                        wording::in_order(moved, form)
                    )
                };
                answer.settled.push(Statement { says, claim });
            }
            if whole || (stated && settled) {
                continue;
            }
            let question = if settled && !places.is_empty() && !unmoved.is_empty() {
                format!(
                    "How far {what} reaches: nothing moved in {}. It reads as the rest of {what}, but \
                     may be fixed or belong to something else.",
                    wording::bits(unmoved.iter().copied())
                )
            } else if settled && !places.is_empty() {
                format!(
                    "How far {what} reaches: always 0, and so possibly its top: {}.",
                    self.bits(self.zeros().indices())
                )
            } else if places.is_empty() {
                format!(
                    "Where {what} stands: it was the same on every card. Most likely {}, but bits \
                     that never moved prove nothing.",
                    wording::field(form)
                )
            } else {
                let share = 1.0 - exact;
                format!(
                    "Where {what} stands: most likely {} ({}).",
                    wording::field(form),
                    wording::share(share)
                )
            };
            let next_sample = self.splitter.for_column(column).or_else(|| self.splitter.best());
            let bits = match settled && !places.is_empty() {
                false => indices,
                true if !unmoved.is_empty() => unmoved,
                true => self.zeros().indices().map(|index| self.place(index)).collect(),
            };
            answer.open.push(Open { question, next_sample, decoding: !stated, bits });
        }
    }

    /// Bits outside the numbers that were always 0 once turned as they should
    /// be: the top of a number could be among them.
    fn zeros(&self) -> Words {
        let frames = &self.weighed.frames;
        let config = &self.weighed.configs[self.best.config];
        let zero = match inverts(config.turn) {
            true => frames.constant.and(frames.first),
            false => frames.constant.without(frames.first),
        };
        zero.without(config.claims)
    }

    fn zeros_left(&self) -> bool {
        !self.zeros().is_empty()
    }

    pub(super) fn checks(&self, answer: &mut Learned) -> Vec<Settled> {
        let (weighed, frames) = (self.weighed, &self.weighed.frames);
        let mut settled = checks::settled(frames, &weighed.bits, &self.best.rules());
        settled.retain(|rule| {
            weighed.doubt(|config| !config.claims.contains(rule.bit)) <= DOUBT / 2.0
        });
        for rule in &settled {
            let odd = rule.group.and(frames.first).is_odd();
            let shown = odd != (inverts(self.turn()) && rule.group.is_odd());
            let kind = if shown { "odd" } else { "even" };
            let mut over = rule.group;
            over.set(rule.bit, false);
            let bit = self.place(rule.bit) + 1;
            let over = self.bits(over.indices());
            let says = if rule.whole {
                format!("Bit {bit} is {kind} parity over {over}.")
            } else {
                format!("Of the bits that moved, bit {bit} is parity over {over}.")
            };
            let claim = Claim::Parity {
                group: rule.group.indices().collect(),
                odd,
                whole: rule.whole,
                unmoved: frames.constant.indices().collect(),
            };
            answer.settled.push(Statement { says, claim });
            if !rule.whole {
                answer.open.push(Open {
                    question: format!(
                        "Whether what never moved ({}) counts in the parity of bit {bit}.",
                        self.bits(frames.constant.indices())
                    ),
                    next_sample: self.splitter.for_bit(rule.bit),
                    decoding: false,
                    bits: vec![bit - 1],
                });
            }
        }
        let mut unknown = Vec::new();
        for (index, role) in &self.best.roles {
            let bit = self.place(*index);
            if frames.constant.contains(*index) || settled.iter().any(|s| s.bit == *index) {
                continue;
            }
            let Role::Parity(group) = role else {
                unknown.push(*index);
                continue;
            };
            let choice = &weighed.bits[*index];
            let share: f64 =
                self.wholes.iter().filter(|w| w.implies(*group)).map(|w| w.share).sum();
            let shown =
                group.and(frames.first).is_odd() != (inverts(self.turn()) && group.is_odd());
            let mut over = *group;
            over.set(*index, false);
            let others = choice.rules.len().saturating_sub(1);
            let others = match others {
                0 => String::new(),
                1 => "; one other rule of a plain shape holds".to_owned(),
                more => format!("; {more} other rules of a plain shape hold"),
            };
            answer.open.push(Open {
                question: format!(
                    "What bit {} checks: most likely {} parity over {} ({}){others}.",
                    bit + 1,
                    if shown { "odd" } else { "even" },
                    self.bits(over.indices()),
                    wording::share(share),
                ),
                next_sample: self.splitter.for_bit(*index),
                decoding: false,
                bits: vec![bit],
            });
        }
        if !unknown.is_empty() {
            answer.open.push(Open {
                question: format!(
                    "What these are, that move where no number given stands: {}.",
                    self.bits(unknown.iter().copied())
                ),
                next_sample: None,
                decoding: false,
                bits: unknown.into_iter().map(|index| self.place(index)).collect(),
            });
        }
        let claims = weighed.configs[self.best.config].claims;
        let fixed = frames.constant.without(claims);
        if !fixed.is_empty() {
            answer.open.push(Open {
                question: format!(
                    "Whether these are fixed, that were the same in every read: {}.",
                    self.bits(fixed.indices())
                ),
                next_sample: None,
                decoding: false,
                bits: fixed.indices().map(|index| self.place(index)).collect(),
            });
        }
        settled
    }
}
