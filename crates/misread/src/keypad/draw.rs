//! The presses of a code drawn from the model, with the truth about them.

use misread_core::keypad::{Key, Mode};
use misread_core::pulse::Pulse;
use misread_core::{Bits, Layout};
use rand_core::Rng;

use super::weigh::Frames;
use super::{Habits, Press, Sending};
use crate::cause::{Cause, Model, ProbeAt, Wire};
use crate::channel::random::{below, between, chance, weighted};
use crate::channel::{
    Fault, Held, LONGEST_READ, Pulses, SentRead, Shape, even, lay_findings, send,
};

/// The presses of a code as a capture of the lines shows them.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnPresses {
    /// The reads, with their time and what their pulses say. None is empty: a
    /// press of which no pulse arrived leaves nothing in a capture.
    pub presses: Vec<Press>,
    /// What happened to the bits.
    pub fault: Fault,
    /// The keys that were pressed; `None` for a cause that knows of no keys.
    pub pressed: Option<Vec<Key>>,
    /// The frame of each key that was pressed.
    pub frames: Vec<Bits>,
    /// Which press each read is of, counted from 0.
    pub of: Vec<usize>,
    /// The pulses of each read.
    pub pulses: Vec<Vec<Pulse>>,
}

/// Presses that cannot be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is nothing to draw from: at least one key and one possible cause are needed")]
pub struct NothingToDraw;

/// The presses of keys that somebody says were pressed, each key a read of so
/// many bits, captured there. The cause is drawn from the priors of the model
/// among those that can happen to keys, with what holds for the whole case;
/// whether the keys are those said, or as many of any, from the habits; and the
/// findings at the model's rates. A key is a read of its own and none is a
/// stray, which the model has so that one press does not overturn the others.
///
/// Presses of which nothing arrives, and those whose findings no pulses with
/// their bits can show, are drawn again, cause and all: so the weighing of what
/// is drawn holds. A cause that brings a finding which short reads can seldom
/// show, such as a pair of pulses on a line with a single one, comes less often
/// than its prior; of 8 bits a key that is next to nothing, of 4 it is most for
/// a line that rings.
///
/// # Errors
///
/// No key, or priors and rates that leave nothing possible.
///
/// ```
/// use misread::cause::{Model, ProbeAt};
/// use misread::channel::{Shape, seeded};
/// use misread::keypad::{Habits, Key, Mode, draw_presses};
///
/// let said: Vec<Key> = "2580#".chars().filter_map(Key::from_char).collect();
/// let draw = |seed| {
///     let (habits, model, shape) = (Habits::default(), Model::default(), Shape::default());
///     let random = &mut seeded(seed, 0);
///     draw_presses(&said, Mode::EightBit, &habits, &model, ProbeAt::Panel, &shape, random)
/// };
/// assert_eq!(draw(1)?, draw(1)?);
/// # Ok::<(), misread::keypad::NothingToDraw>(())
/// ```
pub fn draw_presses(
    said: &[Key],
    mode: Mode,
    habits: &Habits,
    model: &Model,
    at: ProbeAt,
    shape: &Shape,
    random: &mut impl Rng,
) -> Result<DrawnPresses, NothingToDraw> {
    /// Far more than are ever needed: most presses can be shown.
    const DRAWS: usize = 1_000;
    let model = model.captured(at);
    let frames = Frames::of(&Sending::Keys(mode), None);
    let weight = |cause: Cause| {
        let lacks_rate = Pulses::of(cause).is_some() && model.rates(cause).is_empty();
        if lacks_rate || !frames.allow(cause) { 0.0 } else { model.prior(cause) }
    };
    if said.is_empty() {
        return Err(NothingToDraw);
    }
    for _ in 0..DRAWS {
        let cause = weighted(Cause::ALL.into_iter().map(weight), random).ok_or(NothingToDraw)?;
        let cause = Cause::ALL[cause];
        let fault = match cause {
            // A keypad that sends something else sends it of any length.
            Cause::UnknownLayout => {
                Fault::new(cause, Held::Length(between(1, LONGEST_READ, random))).ok()
            }
            _ => Fault::draw(cause, &model, random),
        };
        let fault = fault.ok_or(NothingToDraw)?;
        let keys = match chance(habits.otherwise, random) {
            true => any_keys(said.len(), habits, random),
            false => said.to_vec(),
        };
        let received = send_presses(&fault, &keys, mode, random).ok_or(NothingToDraw)?;
        let (of, received): (Vec<usize>, Vec<SentRead>) =
            received.into_iter().enumerate().filter(|(_, read)| !read.bits.is_empty()).unzip();
        if received.is_empty() {
            continue;
        }
        let Some((evidence, pulses)) = lay_findings(&received, &model, shape, random) else {
            continue;
        };
        let presses = received.iter().zip(evidence).zip(&pulses);
        let presses = presses.map(|((read, evidence), pulses)| Press {
            bits: read.bits,
            at: pulses.first().map(|pulse| pulse.start),
            pulses: evidence,
        });
        let presses = presses.collect();
        let pressed = (!cause.is_without_layout()).then_some(keys);
        let keys = pressed.iter().flatten();
        let frames = keys.map(|&key| mode.encode(key)).collect();
        return Ok(DrawnPresses { presses, fault, pressed, frames, of, pulses });
    }
    Err(NothingToDraw)
}

/// What arrives of each key that is pressed, one read a key. All presses are one
/// case: where bits are changed, it is one bit among them all. `None` where the
/// fault does nothing to keys.
///
/// ```
/// use misread::cause::Cause;
/// use misread::channel::{Fault, Held, seeded};
/// use misread::keypad::{Key, Mode, send_presses};
///
/// let swapped = Fault::new(Cause::LinesSwapped, Held::Nothing)?;
/// let keys: Vec<Key> = "25".chars().filter_map(Key::from_char).collect();
/// let reads = send_presses(&swapped, &keys, Mode::FourBit, &mut seeded(1, 0)).unwrap();
/// assert_eq!(reads[0].bits.to_string(), "1101");
/// assert_eq!(reads[1].bits.to_string(), "1010");
/// # Ok::<(), misread::channel::FaultError>(())
/// ```
pub fn send_presses(
    fault: &Fault,
    keys: &[Key],
    mode: Mode,
    random: &mut impl Rng,
) -> Option<Vec<SentRead>> {
    let layout = Layout::new(mode.spec()).ok()?;
    let frames: Vec<Bits> = keys.iter().map(|&key| mode.encode(key)).collect();
    match (fault.wire(), fault.held()) {
        // A press is one read, and is not filled up.
        (wire, _) if matches!(wire.cause(), Cause::FrameSplit | Cause::Padded) => None,
        (Wire::Alone(Cause::BitsChanged), _) => {
            let sound = Fault::new(Cause::None, Held::Nothing).ok()?;
            let only = below(frames.len(), random);
            let mut received = sent(&sound, &layout, &frames, random)?;
            let changed = received.get_mut(only)?;
            *changed = changed.clone().changed(1, random);
            Some(received)
        }
        (Wire::Alone(cause @ Cause::UnknownLayout), Held::Length(length)) => {
            let read = |_| SentRead::from_nowhere(cause, &even(length, random));
            Some(frames.iter().map(read).collect())
        }
        _ => sent(fault, &layout, &frames, random),
    }
}

fn sent(
    fault: &Fault,
    layout: &Layout,
    frames: &[Bits],
    random: &mut impl Rng,
) -> Option<Vec<SentRead>> {
    let mut received = Vec::with_capacity(frames.len());
    for frame in frames {
        received.extend(send(fault, layout, frame, random).ok()?.reads);
    }
    Some(received)
}

/// So many keys as people press them.
fn any_keys(count: usize, habits: &Habits, random: &mut impl Rng) -> Vec<Key> {
    let mut within = false;
    let mut keys = Vec::with_capacity(count);
    for _ in 0..count {
        let weights = Key::ALL.into_iter().map(|key| habits.key(key, within));
        let key = weighted(weights, random).map_or(Key::Star, |index| Key::ALL[index]);
        within = matches!(key, Key::Digit(_));
        keys.push(key);
    }
    keys
}
