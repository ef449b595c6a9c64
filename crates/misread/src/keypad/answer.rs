//! The answer: how the keypad sends, what is wrong, which codes were keyed.

use misread_core::keypad::Key;
use misread_core::pulse::Evidence;
use misread_core::{Bits, Turn};

use super::codes::{Code, Problem, Reading, Undo, codes_after, turn_of};
use super::says;
use super::weigh::number_of;
use super::{DEFAULT_PAUSE, Habits, Press, Sending, Weighed, weigh};
use crate::cause::{Cause, Model, ProbeAt, Sought};
use crate::channel::Pulses;
use crate::diagnose::{Numbers, moved};

/// What is taken for granted when presses are looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting<'a> {
    /// How the keypad may send; one where that is known.
    pub sendings: &'a [Sending],
    /// The figures of the model.
    pub habits: Habits,
    /// How long nobody presses a key before a code is taken to be over, in
    /// nanoseconds.
    pub pause: u64,
    /// Where the presses were captured, if they come from a capture of the
    /// lines.
    pub captured: Option<ProbeAt>,
    /// What was keyed, where somebody says so: all of it, once.
    pub expected: Option<&'a [Key]>,
}

impl<'a> Setting<'a> {
    /// With the default figures and pause.
    pub fn of(sendings: &'a [Sending]) -> Self {
        Setting {
            sendings,
            habits: Habits::default(),
            pause: DEFAULT_PAUSE,
            captured: None,
            expected: None,
        }
    }
}

/// What is wrong with a keypad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing arrived.
    NoData,
    /// The wiring is sound.
    None,
    /// A cause on the wire.
    Wire(Cause),
    /// The reads leave open how they must be read.
    Ambiguous,
}

impl Verdict {
    /// Its id: that of the cause, `none`, `no-data` or `ambiguous`.
    pub fn id(self) -> &'static str {
        match self {
            Verdict::NoData => "no-data",
            Verdict::None => Cause::None.id(),
            Verdict::Wire(cause) => cause.id(),
            Verdict::Ambiguous => "ambiguous",
        }
    }
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AnswerError {
    /// Only priors, rates or findings that leave nothing possible get here, or
    /// no way of sending to ask about.
    #[error("the priors rule out every explanation of these reads")]
    RuledOut,
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// What is wrong.
    pub verdict: Verdict,
    /// How the keypad sends, as an index among the ways that were asked about;
    /// `None` where the reads leave that open.
    pub sending: Option<usize>,
    /// How likely the verdict and the way of sending are together; for
    /// [`Verdict::Ambiguous`], how likely the first of the possible ones is; 0
    /// for [`Verdict::NoData`].
    pub probability: f64,
    /// Whether the wiring is sound, every press is a key, and what arrived is
    /// what was keyed where that is known.
    pub ok: bool,
    /// Whether the codes are what was keyed; `None` where nobody says what
    /// that is, or there are no codes.
    pub as_keyed: Option<bool>,
    /// The answer in one sentence.
    pub says: String,
    /// The codes as they were keyed, whatever the wire made of them; none
    /// where that cannot be told. They come from the reads alone:
    /// [`as_keyed`](Self::as_keyed) says whether they are what was keyed.
    pub codes: Vec<Code>,
    /// What is no key, read the way the verdict says.
    pub problems: Vec<Problem>,
    /// How many presses there were.
    pub presses: usize,
    /// What is possible, the likeliest first: all of probability
    /// [`LEAST`] or more.
    pub possible: Vec<Possible>,
    /// What speaks for the verdict, in sentences.
    pub evidence: Vec<String>,
    /// What the reads leave open, in sentences.
    pub notes: Vec<String>,
    /// What to press to be surer.
    pub tells: Option<String>,
}

/// Something that is possible, and what it would mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Possible {
    /// The index among the ways of sending that were asked about.
    pub sending: Option<usize>,
    /// What happened on the wire.
    pub cause: Cause,
    /// How the reads must be read in that case.
    pub class: Class,
    /// How likely the two are together.
    pub probability: f64,
    /// The codes keyed in that case; none where that cannot be told.
    pub codes: Vec<Code>,
}

/// What is less likely than this is not listed.
pub const LEAST: f64 = 1e-3;

/// From this on the reads are taken to tell (judgement).
const CLEAR: f64 = 0.8;

/// Says how a keypad sends, what is wrong, and which codes were keyed.
///
/// Swapped lines and a recorder that turns bits over can never be told apart
/// and do not make an answer ambiguous: what is keyed is the same.
///
/// # Errors
///
/// See [`AnswerError`].
pub fn answer(
    presses: &[Press],
    setting: &Setting<'_>,
    model: &Model,
    numbers: Numbers,
) -> Result<Answer, AnswerError> {
    if presses.iter().all(|press| press.bits.is_empty()) {
        return Ok(nothing());
    }
    let captured = setting.captured.map(|at| model.captured(at));
    let model = captured.as_ref().unwrap_or(model);
    let weighed = weigh(presses, setting, model);
    let Some(best) = weighed.first() else { return Err(AnswerError::RuledOut) };
    let readings = Readings::of(presses, setting);
    let class_of = |weighed: &Weighed| readings.class(weighed);
    let class = likeliest(&weighed, class_of).unwrap_or(Class::NoKeys);
    let of_class = share(&weighed, |weighed| class_of(weighed) == class);
    let of_the_class: Vec<Weighed> =
        weighed.iter().filter(|weighed| class_of(weighed) == class).copied().collect();
    let sending = likeliest(&of_the_class, |weighed| weighed.sending).flatten();
    let with_keys = share(&weighed, |weighed| weighed.sending.is_some());
    let of_sending = share(&weighed, |weighed| weighed.sending.is_some_and(|i| Some(i) == sending));
    let sending = sending.filter(|_| of_sending >= CLEAR * with_keys && class != Class::NoKeys);
    let keeps_keys = !matches!(class, Class::Bent | Class::NoKeys);
    let is_open = of_class < CLEAR || (keeps_keys && sending.is_none());

    let answers = |weighed: &&Weighed| match class {
        Class::NoKeys => weighed.cause.is_without_layout(),
        _ => class_of(weighed) == class && (sending.is_none() || weighed.sending == sending),
    };
    let cause = weighed.iter().find(answers).map_or(best.cause, |weighed| weighed.cause);
    let verdict = match cause {
        _ if is_open => Verdict::Ambiguous,
        Cause::None => Verdict::None,
        cause => Verdict::Wire(cause),
    };
    let probability = match verdict {
        Verdict::Ambiguous => best.probability,
        // Reads that hold no keys may as well all be strays.
        _ if class == Class::NoKeys => of_class,
        _ => share(&weighed, |weighed| {
            weighed.cause == cause && (sending.is_none() || weighed.sending == sending)
        }),
    };
    let reading = match verdict {
        Verdict::Ambiguous => None,
        _ => readings.under(sending, cause),
    };
    let mut reading = reading.cloned().unwrap_or_default();
    if reading.problems.len() == reading.presses {
        reading.codes.clear();
    }
    let as_keyed = match (setting.expected, sending, Undo::of(cause)) {
        (Some(keys), Some(sending), Some(undo)) if !reading.codes.is_empty() => {
            setting.sendings.get(sending).map(|sending| arrived(presses, sending, undo, keys))
        }
        _ => None,
    };
    let possible = weighed.iter().filter(|weighed| weighed.probability >= LEAST);
    let possible: Vec<Possible> = possible
        .map(|weighed| Possible {
            sending: weighed.sending,
            cause: weighed.cause,
            class: class_of(weighed),
            probability: weighed.probability,
            codes: readings
                .under(weighed.sending, weighed.cause)
                .filter(|reading| reading.problems.len() < reading.presses)
                .map(|reading| reading.codes.clone())
                .unwrap_or_default(),
        })
        .collect();
    let mut answer = Answer {
        verdict,
        sending,
        probability: probability.min(1.0),
        ok: verdict == Verdict::None && reading.problems.is_empty() && as_keyed != Some(false),
        as_keyed,
        says: String::new(),
        codes: reading.codes,
        problems: reading.problems,
        presses: reading.presses,
        possible,
        evidence: Vec::new(),
        notes: Vec::new(),
        tells: None,
    };
    says::fill(&mut answer, presses, setting, numbers);
    if numbers == Numbers::Shown && matches!(verdict, Verdict::None | Verdict::Wire(_)) {
        answer.evidence.extend(by_pulses(cause, &weighed, presses, setting, model));
    }
    Ok(answer)
}

/// What the pulses of a capture say of the answer, in sentences.
fn by_pulses(
    cause: Cause,
    weighed: &[Weighed],
    presses: &[Press],
    setting: &Setting<'_>,
    model: &Model,
) -> Vec<String> {
    let pulses: Vec<Evidence> =
        presses.iter().filter(|press| !press.bits.is_empty()).map(|press| press.pulses).collect();
    if pulses.iter().all(|evidence| *evidence == Evidence::default()) {
        return Vec::new();
    }
    let of = |weighed: &[Weighed]| share(weighed, |weighed| weighed.cause == cause);
    let without = |sought: Sought| {
        let blind = |press: &Press| Press { pulses: sought.left_out_of(press.pulses), ..*press };
        of(&weigh(&presses.iter().map(blind).collect::<Vec<_>>(), setting, model))
    };
    let moved = moved(&pulses, of(weighed), without);
    moved.into_iter().map(|moved| moved.says).collect()
}

/// Whether the reads carry these keys, one after the other.
fn arrived(presses: &[Press], sending: &Sending, undo: Undo, keys: &[Key]) -> bool {
    let frames = presses
        .iter()
        .filter(|press| !press.bits.is_empty())
        .map(|press| undo.frame(&press.bits, sending));
    match (sending, sending.number()) {
        (Sending::Keys(mode), _) => {
            let frames: Vec<Bits> = frames.collect();
            let arrived = frames.iter().flat_map(|bits| mode.keys(bits));
            arrived.map(|key| key.ok()).eq(keys.iter().map(|&key| Some(key)))
        }
        (_, Some((_, field))) => {
            let number = number_of(keys).map(Some);
            let mut numbers = frames.map(|bits| field.raw_in(&bits).map(|raw| field.from_raw(raw)));
            numbers.all(|arrived| Some(arrived) == number)
        }
        (_, None) => false,
    }
}

/// How reads must be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// As they are.
    AsReceived,
    /// Every bit turned over.
    TurnedOver,
    /// The last bit first.
    LastBitFirst,
    /// Bits are missing, extra or wrong.
    Bent,
    /// They hold no keys.
    NoKeys,
}

/// What the reads are, sent in each way, with each thing undone that can be.
struct Readings(Vec<[Reading; Undo::ALL.len()]>);

impl Readings {
    fn of(presses: &[Press], setting: &Setting<'_>) -> Self {
        let of =
            |way: &Sending| Undo::ALL.map(|undo| codes_after(presses, way, undo, setting.pause));
        Readings(setting.sendings.iter().map(of).collect())
    }

    fn get(&self, sending: usize, undo: Undo) -> Option<&Reading> {
        let at = Undo::ALL.into_iter().position(|other| other == undo)?;
        self.0.get(sending).map(|readings| &readings[at])
    }

    /// What was keyed under a cause; where it bends only some of the reads, the
    /// others are as they arrived. `None` where no read can be trusted.
    fn under(&self, sending: Option<usize>, cause: Cause) -> Option<&Reading> {
        self.get(sending?, Undo::of(cause)?)
    }

    fn class(&self, weighed: &Weighed) -> Class {
        let turn = turn_of(weighed.cause);
        let Some(reading) = weighed
            .sending
            .and_then(|sending| self.get(sending, Undo::Turn(turn.unwrap_or(Turn::AsReceived))))
        else {
            return Class::NoKeys;
        };
        let strays = reading.problems.iter().filter(|problem| !problem.is_unread()).count();
        match turn {
            // Nothing but strays.
            Some(_) if strays == reading.presses => Class::NoKeys,
            Some(Turn::AsReceived) => Class::AsReceived,
            Some(Turn::Inverted) => Class::TurnedOver,
            Some(_) => Class::LastBitFirst,
            None if reading.problems.is_empty() && spares_whole_frames(weighed.cause) => {
                Class::AsReceived
            }
            None => Class::Bent,
        }
    }
}

/// Whether a frame that arrives with all its bits and no more is as it was
/// sent.
fn spares_whole_frames(cause: Cause) -> bool {
    !matches!(cause, Cause::D0Open | Cause::D1Open) && Pulses::of(cause).is_some()
}

fn share(weighed: &[Weighed], of: impl Fn(&Weighed) -> bool) -> f64 {
    weighed.iter().filter(|weighed| of(weighed)).map(|weighed| weighed.probability).sum()
}

/// The likeliest of what things are sorted into; the first of equally likely
/// ones.
fn likeliest<T: PartialEq>(weighed: &[Weighed], of: impl Fn(&Weighed) -> T) -> Option<T> {
    let mut sums: Vec<(T, f64)> = Vec::new();
    for one in weighed {
        let of = of(one);
        match sums.iter_mut().find(|(other, _)| *other == of) {
            Some((_, sum)) => *sum += one.probability,
            None => sums.push((of, one.probability)),
        }
    }
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    sums.into_iter().next().map(|(of, _)| of)
}

fn nothing() -> Answer {
    Answer {
        verdict: Verdict::NoData,
        sending: None,
        probability: 0.0,
        ok: false,
        as_keyed: None,
        says: "Nothing arrived.".to_owned(),
        codes: Vec::new(),
        problems: Vec::new(),
        presses: 0,
        possible: Vec::new(),
        evidence: Vec::new(),
        notes: Vec::new(),
        tells: None,
    }
}
