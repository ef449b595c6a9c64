//! The reads, their pulses, and the truth about them.

use std::sync::Arc;

use misread::cause::{CardState, Cause};
use misread::channel::{
    Fault, FaultError, Held, Rng, SentRead, Shape, ShapeError, draw_capture, draw_frame, pulses,
    seeded, send,
};
use misread::diagnose::Expected;
use misread::keypad::{Habits, Key, Mode, draw_presses};
use misread::pulse::Pulse;
use misread::{Bits, Layout};

use super::SimulateArgs;
use crate::catalogue::Known;
use crate::masking::Masking;
use crate::refusal::Refusal;
use crate::values;

/// What was made.
pub(super) struct Made {
    pub(super) fault: Fault,
    /// The state of the card, where it was drawn.
    pub(super) card: Option<CardState>,
    layout: Option<Arc<Layout>>,
    /// What every card is said to carry, as typed.
    pub(super) said: Vec<(String, u64)>,
    /// The keys, where a keypad sends them.
    pub(super) keys: Option<Keys>,
    pub(super) frames: Vec<Bits>,
    /// What arrived; empty where nothing did.
    pub(super) reads: Vec<Bits>,
    /// The pulses of the reads that are not empty.
    pub(super) pulses: Vec<Vec<Pulse>>,
}

/// The keys of a keypad.
pub(super) struct Keys {
    /// Those that are said to have been pressed.
    pub(super) said: Vec<Key>,
    /// Those that were; `None` where the bits came from none.
    pub(super) pressed: Option<Vec<Key>>,
}

impl Made {
    pub(super) fn of(
        args: &SimulateArgs,
        known: &Known,
        masking: Masking,
    ) -> Result<Self, Refusal> {
        let shape = shape(args)?;
        let keys = match (&args.keys, args.keypad) {
            (Some(keys), Some(bits)) => Some((values::keys("--keys", keys, masking)?, bits.mode())),
            _ => None,
        };
        match keys {
            Some((keys, mode)) if args.draw_cause => return drawn_keys(args, keys, mode, &shape),
            None if args.draw_cause => return drawn(args, known, &shape, masking),
            _ => {}
        }
        let cause = cause(&args.cause)?;
        let said = values::parse(&args.values.join(","), masking)?;
        let (layout, cards) = match &keys {
            Some((keys, mode)) => (key_layout(*mode)?, keys.iter().copied().map(pressed).collect()),
            None => presented(args, &said, known, masking)?,
        };
        let fault = fault(args, cause)?;
        let only = only(args, cause, cards.len())?;
        let sound = Fault::new(Cause::None, Held::Nothing).unwrap_or(fault);
        let mut frames = Vec::new();
        let mut sent: Vec<SentRead> = Vec::new();
        for (number, card) in cards.iter().enumerate() {
            // A generator for each: more reads leave those before as they are.
            let random = &mut seeded(args.seed, 2 + number as u64);
            let values = card.iter().map(|(name, &value)| (name.as_str(), value));
            let frame = draw_frame(&layout, values, random)
                .ok_or_else(|| Refusal::new("there is no such frame", "values that fit"))?;
            let fault = if only.is_some_and(|only| only != number) { sound } else { fault };
            let one = send(&fault, &layout, &frame, random).map_err(|error| {
                Refusal::new(
                    format!("{cause} does nothing to {}: {error}", layout.name()),
                    "another cause, or another layout",
                )
            })?;
            frames.push(frame);
            sent.extend(one.reads);
        }
        if cause.is_without_layout() {
            frames.clear();
        }
        let reads = sent.iter().map(|read| read.bits).collect();
        sent.retain(|read| !read.bits.is_empty());
        let pulses = pulses(cause, &sent, &shape, &mut seeded(args.seed, 1));
        let layout = (!cause.is_without_layout()).then(|| Arc::new(layout));
        let keys = keys.map(|(said, _)| Keys {
            pressed: (!cause.is_without_layout()).then(|| said.clone()),
            said,
        });
        Ok(Made { fault, card: None, layout, said, keys, frames, reads, pulses })
    }

    /// The card's layout; `None` where the bits came from none.
    pub(super) fn layout(&self) -> Option<&Layout> {
        self.layout.as_deref()
    }
}

/// Wire, card and layout as likely as the diagnosis takes them to be.
fn drawn(
    args: &SimulateArgs,
    known: &Known,
    shape: &Shape,
    masking: Masking,
) -> Result<Made, Refusal> {
    let said = values::parse(&args.values.join(","), masking)?;
    let expected: Expected = said.iter().cloned().collect();
    let configured = args.layout.as_deref().map(|name| known.named(name)).transpose()?;
    let candidates = known.candidates(&[], configured.as_deref())?;
    let cards = vec![expected; args.reads as usize];
    let random = &mut seeded(args.seed, 0);
    let at = args.probe_at.into();
    let capture = draw_capture(&cards, &candidates, &args.priors.model()?, at, shape, random)
        .map_err(|error| Refusal::new(error.to_string(), "values that a layout can carry"))?;
    let layout = capture.truth.layout.and_then(|index| candidates.layouts().get(index)).cloned();
    Ok(Made {
        fault: capture.truth.fault,
        card: capture.truth.card,
        layout,
        said,
        keys: None,
        frames: capture.truth.frames,
        reads: capture.case.reads.iter().map(|read| read.bits).collect(),
        pulses: capture.pulses,
    })
}

/// The wire, and whether the keys are those said, as likely as the keypad's
/// diagnosis takes them to be.
fn drawn_keys(
    args: &SimulateArgs,
    said: Vec<Key>,
    mode: Mode,
    shape: &Shape,
) -> Result<Made, Refusal> {
    let model = args.priors.model()?;
    let at = args.probe_at.into();
    let random = &mut seeded(args.seed, 0);
    let drawn = draw_presses(&said, mode, &Habits::default(), &model, at, shape, random)
        .map_err(|error| Refusal::new(error.to_string(), "--priors that leave a cause possible"))?;
    let layout = drawn.pressed.as_ref().map(|_| key_layout(mode)).transpose()?;
    Ok(Made {
        fault: drawn.fault,
        card: None,
        layout: layout.map(Arc::new),
        said: Vec::new(),
        keys: Some(Keys { said, pressed: drawn.pressed }),
        frames: drawn.frames,
        reads: drawn.presses.iter().map(|press| press.bits).collect(),
        pulses: drawn.pulses,
    })
}

/// The layout, and what each card carries.
fn presented(
    args: &SimulateArgs,
    said: &[(String, u64)],
    known: &Known,
    masking: Masking,
) -> Result<(Layout, Vec<Expected>), Refusal> {
    let layout = known.named(args.layout.as_deref().unwrap_or("open-26"))?.layout.clone();
    for (name, value) in said {
        let names: Vec<&str> = layout.fields().iter().map(|field| field.name()).collect();
        let Some(field) = layout.field(name) else {
            return Err(values::unknown_field(layout.name(), name, &names.join(", ")));
        };
        if field.to_raw(*value).is_none() {
            return Err(values::does_not_fit(name, *value, field.max(), masking));
        }
    }
    Ok((layout, vec![said.iter().cloned().collect(); args.reads as usize]))
}

fn cause(id: &str) -> Result<Cause, Refusal> {
    Cause::from_id(id).ok_or_else(|| {
        let ids: Vec<&str> = Cause::ALL.into_iter().map(Cause::id).collect();
        Refusal::new(format!("there is no cause ‘{id}’"), format!("one of {}", ids.join(", ")))
    })
}

fn fault(args: &SimulateArgs, cause: Cause) -> Result<Fault, Refusal> {
    let model = args.priors.model()?;
    let made = match args.rate {
        Some(rate) => Fault::new(cause, Held::Rate(rate)),
        // A model has a rate for every cause that takes one.
        None => match Fault::draw(cause, &model, &mut seeded(args.seed, 0)) {
            Some(fault) => Ok(fault),
            None => Fault::new(cause, Held::Nothing),
        },
    };
    made.map_err(|error| match error {
        FaultError::Held { .. } => {
            Refusal::new(format!("{cause} has no rate"), "no --rate with this cause")
        }
        error => Refusal::new(error.to_string(), "a rate over 0 and at most 1, such as 0.3"),
    })
}

/// Of keys, the only one to which the fault happens; `None` where it may happen
/// to each. A keypad's presses are one case together, so one bit among them all
/// is changed.
fn only(args: &SimulateArgs, cause: Cause, presses: usize) -> Result<Option<usize>, Refusal> {
    match (&args.keys, cause) {
        (Some(_), Cause::FrameSplit) => Err(Refusal::new(
            "frame-split does nothing to keys: a press is one read",
            "another cause, or a card",
        )),
        (Some(_), Cause::BitsChanged) => {
            let drawn = seeded(args.seed, 0).next_u64() % presses.max(1) as u64;
            Ok(Some(drawn as usize))
        }
        _ => Ok(None),
    }
}

fn shape(args: &SimulateArgs) -> Result<Shape, Refusal> {
    let ns = |us: f64| if us.is_finite() { (us * 1e3).clamp(0.0, 4e9) as u32 } else { 0 };
    Shape::new(ns(args.width), ns(args.interval), args.jitter / 100.0).map_err(|error| {
        let message = match error {
            // Here it is in percent.
            ShapeError::Jitter(_) => {
                format!("a jitter of {} %: expected 0 to 4 % of the interval", args.jitter)
            }
            error => error.to_string(),
        };
        Refusal::new(message, "such as --width 50 --interval 1000 --jitter 1")
    })
}

fn key_layout(mode: Mode) -> Result<Layout, Refusal> {
    Layout::new(mode.spec()).map_err(|error| Refusal::new(error.to_string(), ""))
}

/// What the frame of a key carries.
fn pressed(key: Key) -> Expected {
    Expected::from([("key".to_owned(), u64::from(key.value()))])
}
