//! The answer: candidates, what is settled, what is open, what to present next.

use super::candidate::{Whole, layout, offsets, wholes};
use super::claim::Claim;
use super::count::counting_run;
use super::next::{NextSample, Splitter};
use super::outlier::{contradicts, weigh_sound};
use super::sample::{Group, LearnError, Sample, SetAside, Wishes, groups};
use super::statements::View;
use super::weigh::Weighed;
use super::wording;
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
