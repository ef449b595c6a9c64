//! The answer: candidates, what is settled, what is open, what to present next.

use super::candidate::{Role, Whole, layout, offsets, wholes};
use super::checks::{self, Settled};
use super::claim::{Claim, inverts, reverses};
use super::count::counting_run;
use super::field::Form;
use super::next::{NextSample, Splitter};
use super::outlier::{contradicts, weigh_sound};
use super::prior::DOUBT;
use super::sample::{Group, LearnError, Sample, SetAside, Wishes, groups};
use super::weigh::{Says, Weighed, says};
use super::wording;
use crate::diagnose::gf2::Words;
use crate::file::{Entry, LayoutDoc, Source};
use crate::{Layout, Turn};

/// Candidates listed, at most.
const LISTED: usize = 20;

/// What samples of one length say about their layout.
#[derive(Clone, Debug)]
pub struct Learned {
    /// How many bits the reads have.
    pub length: usize,
    /// How many samples took part.
    pub samples: usize,
    /// How the reads were most likely taken. The layouts are given as they
    /// should be: turn a read this way before decoding it.
    pub turn: Turn,
    /// The likeliest layouts, best first.
    pub candidates: Vec<Candidate>,
    /// The share of everything possible that the listed candidates have
    /// together.
    pub listed: f64,
    /// What is settled: at least 1 − 10⁻⁶ under the prior.
    pub settled: Vec<Statement>,
    /// What is open.
    pub open: Vec<Open>,
    /// Samples that take no part.
    pub set_aside: Vec<SetAside>,
    /// The card that would settle most.
    pub next: Option<NextSample>,
    /// The best candidate with the settled parity rules alone and no fixed
    /// bits: what can be kept, since no sound card fails it. Decoding depends
    /// on nothing open where no [`Open`] says so.
    pub sure: Option<Layout>,
}

/// A layout the samples allow.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The layout.
    pub layout: Layout,
    /// Its share of the listed candidates, which sum to 1.
    pub weight: f64,
    /// What is added to a field to give the number on the card, where that is
    /// not 0. A layout cannot say so itself.
    pub offsets: Vec<(String, i128)>,
}

/// A layout as a document, without a title.
pub fn document(layout: &Layout) -> LayoutDoc {
    LayoutDoc::of(&Entry {
        layout: layout.clone(),
        title: None,
        weight: None,
        source: Source::BuiltIn,
    })
}

/// Something settled.
#[derive(Clone, Debug)]
pub struct Statement {
    /// In a sentence.
    pub says: String,
    /// The same, to be held against a frame.
    pub claim: Claim,
}

/// Something open.
#[derive(Clone, Debug)]
pub struct Open {
    /// What is not known and what is known of it.
    pub question: String,
    /// The card that would tell best, where one can.
    pub next_sample: Option<NextSample>,
    /// Whether the numbers decoded depend on it.
    pub decoding: bool,
    /// The bits of the layout it is about, indices from 0.
    pub bits: Vec<usize>,
}

/// Works the layout out from samples: one answer for each length, the one with
/// the most samples first. Samples of a length of their own are set aside in
/// the first answer.
///
/// ```
/// use misread::file::read_table;
/// use misread::learn::{Sample, Wishes, learn};
///
/// // Six cards of the boatyard; the sheet says what is printed on them.
/// let table = "bits,card\n\
///     0000100110100100,1234\n1011001000010111,22807\n0110111101011100,14254\n\
///     1101000111101011,26869\n1000110011100011,18035\n0011111000100010,7953\n";
/// let samples: Vec<Sample> =
///     read_table(table.as_bytes())?.map(|row| row.map(Sample::from)).collect::<Result<_, _>>()?;
/// let learned = learn(&samples, &Wishes::default())?;
/// assert_eq!(learned[0].candidates[0].layout.bits(), 16);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
///
/// Fewer than two different reads of a length, one read with two numbers, a
/// stated field that the reads contradict.
pub fn learn(samples: &[Sample], wishes: &Wishes) -> Result<Vec<Learned>, LearnError> {
    let (groups, aside) = groups(samples)?;
    let mut answers = Vec::new();
    for group in &groups {
        answers.push(answer(group, wishes)?);
    }
    if let Some(first) = answers.first_mut() {
        first.set_aside.extend(aside);
        first.set_aside.sort_by_key(|aside| aside.line);
    }
    Ok(answers)
}

fn answer(group: &Group, wishes: &Wishes) -> Result<Learned, LearnError> {
    let mut assume = wishes.assume.clone();
    let counting = if group.columns.is_empty() { counting_run(group) } else { None };
    if let (Some(run), true) = (&counting, assume.is_empty()) {
        assume.push(("card".to_owned(), run.listed()));
    }
    let (weighed, aside) = weigh_sound(group, &assume)?;
    let wholes = wholes(&weighed);
    let Some(best) = wholes.first() else {
        return Err(LearnError::TooFew { different: weighed.frames.count });
    };
    let name = match wishes.name.as_str() {
        "" => format!("learned-{}", group.bits),
        name => name.to_owned(),
    };
    let splitter = Splitter::new(group, &weighed, &wholes, wishes);
    let turn = weighed.configs[best.config].turn;
    let mut answer = Learned {
        length: group.bits,
        samples: group.samples.len() - aside.len(),
        turn,
        candidates: candidates(&weighed, &wholes, &name),
        listed: wholes.iter().take(LISTED).map(|whole| whole.share).sum::<f64>().min(1.0),
        settled: Vec::new(),
        open: Vec::new(),
        set_aside: set_aside(group, &weighed, best, &aside, wishes),
        next: splitter.best(),
        sure: None,
    };
    let view = View { group, weighed: &weighed, best, wholes: &wholes, splitter: &splitter };
    view.turned(&mut answer);
    for column in 0..group.columns.len() {
        view.column(column, wishes, &mut answer);
    }
    if let Some(run) = &counting {
        answer.open.push(Open {
            question: format!(
                "Counting up by one from card to card: {}, {}. Likely the card number; no number \
                 was given to prove it.",
                wording::bits(run.bits.iter().map(|&i| usize::from(i))),
                wording::order(run),
            ),
            next_sample: None,
            decoding: true,
            bits: run.bits.iter().map(|&i| usize::from(i)).collect(),
        });
    }
    let settled = view.checks(&mut answer);
    answer.sure =
        layout(&weighed, best, &name, false, |bit| settled.iter().any(|s| s.bit == bit && s.whole));
    Ok(answer)
}

fn candidates(weighed: &Weighed, wholes: &[Whole], name: &str) -> Vec<Candidate> {
    let mut candidates: Vec<Candidate> = wholes
        .iter()
        .take(LISTED)
        .filter_map(|whole| {
            Some(Candidate {
                layout: layout(weighed, whole, name, true, |_| true)?,
                weight: whole.share,
                offsets: offsets(&weighed.configs[whole.config]),
            })
        })
        .collect();
    let total: f64 = candidates.iter().map(|candidate| candidate.weight).sum();
    for candidate in &mut candidates {
        candidate.weight /= total;
    }
    candidates
}

fn set_aside(
    group: &Group,
    weighed: &Weighed,
    best: &Whole,
    aside: &[usize],
    wishes: &Wishes,
) -> Vec<SetAside> {
    let config = &weighed.configs[best.config];
    let layout = layout(weighed, best, "learned", false, |_| false);
    let read = |sample: &Sample| {
        let turned = sample.bits.turned(config.turn);
        let layout = layout.as_ref()?;
        let values: Vec<String> = layout
            .fields()
            .iter()
            .map(|field| {
                let own = turned_value(layout, field.name(), &turned);
                format!("{} {}", field.name(), wishes.numbers.text(own))
            })
            .collect();
        (!values.is_empty()).then(|| values.join(", "))
    };
    aside
        .iter()
        .map(|&i| {
            let sample = &group.samples[i];
            let says = if contradicts(group, i, config, &weighed.frames) {
                match read(sample) {
                    Some(read) => format!(
                        "contradicts the rest: its bits read {read}. A number mistyped, or a bad \
                         read"
                    ),
                    None => "contradicts the rest: a number mistyped, or a bad read".to_owned(),
                }
            } else {
                "breaks a rule that all others keep: a bad read; present the card again".to_owned()
            };
            SetAside { line: sample.line, says }
        })
        .collect()
}

fn turned_value(layout: &Layout, field: &str, read: &crate::Bits) -> u64 {
    layout.field(field).map_or(0, |field| {
        let raw = field.indices().fold(0u64, |raw, index| {
            raw << 1 | u64::from(read.get(index).and_then(crate::Bit::value).unwrap_or(false))
        });
        field.from_raw(raw)
    })
}

/// What the statements are made from.
struct View<'a> {
    group: &'a Group,
    weighed: &'a Weighed,
    best: &'a Whole,
    wholes: &'a [Whole],
    splitter: &'a Splitter<'a>,
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

    fn turned(&self, answer: &mut Learned) {
        if self.group.columns.is_empty() {
            return;
        }
        let inverted = inverts(self.turn());
        let doubt = self.weighed.doubt(|config| inverts(config.turn) == inverted);
        let what = "D0 and D1 are exchanged, or what recorded the reads wrote 0 for 1";
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

    fn column(&self, column: usize, wishes: &Wishes, answer: &mut Learned) {
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

    fn checks(&self, answer: &mut Learned) -> Vec<Settled> {
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
