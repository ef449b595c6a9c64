//! The reads, their pulses, and the truth about them.

use std::sync::Arc;

use misread::cause::{CardState, Cause, Model, Whose, Wire};
use misread::channel::{
    CardFrame, DrawnCapture, Fault, FaultError, Held, Origin, Padding, Random, SentRead, Shape,
    ShapeError, draw_capture, draw_frame, draw_unlisted, draw_unlisted_cards, draw_unlisted_length,
    pulses, seeded, send,
};
use misread::diagnose::{Candidates, Expected, LayoutUsed};
use misread::keypad::{Habits, Key, Mode, draw_presses, send_presses};
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
    /// The state of the card and whose cards they are, where they were drawn.
    pub(super) card: Option<CardState>,
    pub(super) whose: Option<Whose>,
    /// That of all cards; `None` where each has its own or the bits came from
    /// none.
    pub(super) layout: Option<Arc<Layout>>,
    /// What every card is said to carry, as typed.
    pub(super) said: Vec<(String, u64)>,
    /// The keys, where a keypad sends them.
    pub(super) keys: Option<Keys>,
    /// The frame of each card and its layout.
    pub(super) frames: Vec<(Arc<Layout>, Bits)>,
    pub(super) reads: Vec<MadeRead>,
}

/// What arrived of a presentation, or one of two reads of it.
pub(super) struct MadeRead {
    /// Empty where nothing arrived.
    pub(super) bits: Bits,
    /// The place of its frame among the frames; `None` where it came from none.
    pub(super) frame: Option<usize>,
    /// Whether it suffers what comes and goes; `None` where nothing does.
    pub(super) suffers: Option<bool>,
    pub(super) pulses: Vec<Pulse>,
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
        match (&args.keys, args.keypad) {
            (Some(keys), Some(bits)) => {
                let keys = values::keys("--keys", keys, masking)?;
                match args.draw_cause {
                    true => drawn_keys(args, keys, bits.mode(), &shape),
                    false => chosen_keys(args, keys, bits.mode(), &shape),
                }
            }
            _ if args.draw_cause => drawn(args, known, &shape, masking),
            _ => chosen(args, known, &shape, masking),
        }
    }

    /// The layout of a read's card; `None` where it came from none.
    pub(super) fn layout_of(&self, read: &MadeRead) -> Option<&Layout> {
        self.frames.get(read.frame?).map(|(layout, _)| &**layout)
    }

    /// The reads of which something arrived.
    pub(super) fn arrived(&self) -> impl Iterator<Item = &MadeRead> + Clone {
        self.reads.iter().filter(|read| !read.bits.is_empty())
    }
}

/// Cards through a fault of one's choice.
fn chosen(
    args: &SimulateArgs,
    known: &Known,
    shape: &Shape,
    masking: Masking,
) -> Result<Made, Refusal> {
    let said = values::parse(&args.values.join(","), masking)?;
    let layout = presented(args, &said, known, masking)?;
    let wire = wire(&args.cause)?;
    let fault = fault(args, wire, layout.bits(), &known.candidates(&[], None)?)?;
    let Came { frames, sent, of } = match fault.held() {
        Held::Length(length) if wire.is_without_layout() => {
            Came::strays(args, length, said.len() == layout.fields().len())
        }
        _ => Came::cards(args, &fault, &layout, &said)?,
    };
    let pulses = pulses(&sent, shape, &mut seeded(args.seed, 1));
    let reads = sent.iter().zip(of).zip(pulses);
    let reads = reads.map(|((read, (frame, suffers)), pulses)| MadeRead {
        bits: read.bits,
        frame,
        suffers,
        pulses,
    });
    Ok(Made {
        fault,
        card: None,
        whose: None,
        layout: (!wire.is_without_layout()).then_some(layout),
        said,
        keys: None,
        frames,
        reads: reads.collect(),
    })
}

/// What came of each card.
#[derive(Default)]
struct Came {
    frames: Vec<(Arc<Layout>, Bits)>,
    sent: Vec<SentRead>,
    /// Of each read, the place of its frame, and whether it suffers.
    of: Vec<(Option<usize>, Option<bool>)>,
}

impl Came {
    fn cards(
        args: &SimulateArgs,
        fault: &Fault,
        layout: &Arc<Layout>,
        said: &[(String, u64)],
    ) -> Result<Self, Refusal> {
        let mut came = Came::default();
        for number in 0..u64::from(args.reads) {
            // A generator for each: more reads leave those before as they are.
            let random = &mut seeded(args.seed, 2 + number);
            let values = said.iter().map(|(name, value)| (name.as_str(), *value));
            let frame = draw_frame(layout, values, random)
                .ok_or_else(|| Refusal::new("there is no such frame", "values that fit"))?;
            let sent = send(fault, layout, &frame, random).map_err(|error| {
                Refusal::new(
                    format!("{} does nothing to {}: {error}", fault.wire(), layout.name()),
                    "another cause, or another layout",
                )
            })?;
            let is_stray = |read: &SentRead| read.cause.is_without_layout();
            let at = (!sent.reads.iter().any(is_stray)).then(|| {
                came.frames.push((layout.clone(), frame));
                came.frames.len() - 1
            });
            came.of.extend(sent.reads.iter().map(|_| (at, sent.suffers)));
            came.sent.extend(sent.reads);
        }
        Ok(came)
    }

    /// Cards of a layout of so many bits that is not listed; one card each time,
    /// where all that a card carries is said.
    fn strays(args: &SimulateArgs, length: usize, one_card: bool) -> Self {
        let random = &mut seeded(args.seed, 2);
        let count = args.reads as usize;
        let reads = match one_card {
            true => vec![draw_unlisted(length, random); count],
            false => draw_unlisted_cards(length, count, random),
        };
        let read = |bits: Bits| SentRead {
            cause: Cause::UnknownLayout,
            bits,
            origins: vec![Origin::Nowhere; length],
        };
        let sent = reads.into_iter().map(read).collect();
        Came { sent, of: vec![(None, None); count], ..Came::default() }
    }
}

/// Keys through a cause of one's choice.
fn chosen_keys(
    args: &SimulateArgs,
    said: Vec<Key>,
    mode: Mode,
    shape: &Shape,
) -> Result<Made, Refusal> {
    let wire = wire(&args.cause)?;
    if !matches!(wire, Wire::Alone(_)) {
        return Err(Refusal::new(
            format!("{wire} is for cards: of a keypad causes are told by themselves"),
            format!("--cause with a cause by itself, such as {}", wire.cause()),
        ));
    }
    let fault = fault(args, wire, mode.bits(), &Candidates::weighted([]))?;
    let sent = send_presses(&fault, &said, mode, &mut seeded(args.seed, 2)).ok_or_else(|| {
        Refusal::new(
            format!("{wire} does nothing to keys: a press is one read of {mode}, as it is sent"),
            "another cause, or a card",
        )
    })?;
    let pulses = pulses(&sent, shape, &mut seeded(args.seed, 1));
    let pressed = (!wire.is_without_layout()).then(|| said.clone());
    let reads = sent.iter().zip(pulses).enumerate().map(|(at, (read, pulses))| MadeRead {
        bits: read.bits,
        frame: pressed.is_some().then_some(at),
        suffers: None,
        pulses,
    });
    let reads = reads.collect();
    of_keys(fault, Keys { said, pressed }, mode, reads)
}

/// Wire, cards and layout as likely as the diagnosis takes them to be.
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
    let DrawnCapture { case, truth, pulses } =
        draw_capture(&cards, &candidates, &args.priors.model()?, at, shape, random)
            .map_err(|error| Refusal::new(error.to_string(), "values that a layout can carry"))?;
    let layout = |index: usize| candidates.layouts().get(index).cloned();
    let mut frames = Vec::new();
    let mut is_rest = false;
    let mut place = |frame: Option<CardFrame>| {
        let CardFrame { layout: index, bits } = frame?;
        if !is_rest {
            frames.push((layout(index)?, bits));
        }
        is_rest = !is_rest && truth.fault.cause() == Cause::FrameSplit;
        Some(frames.len() - 1)
    };
    let reads = case.reads.iter().zip(&truth.frames).zip(pulses).enumerate();
    let reads = reads
        .map(|(at, ((read, frame), pulses))| MadeRead {
            bits: read.bits,
            frame: place(*frame),
            suffers: truth.suffers.get(at).copied(),
            pulses,
        })
        .collect();
    Ok(Made {
        fault: truth.fault,
        card: truth.card,
        whose: Some(truth.whose),
        layout: truth.layout.and_then(LayoutUsed::candidate).and_then(layout),
        said,
        keys: None,
        frames,
        reads,
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
    let reads = drawn.presses.iter().zip(drawn.of).zip(drawn.pulses);
    let reads = reads.map(|((press, at), pulses)| MadeRead {
        bits: press.bits,
        frame: drawn.pressed.is_some().then_some(at),
        suffers: None,
        pulses,
    });
    let reads = reads.collect();
    of_keys(drawn.fault, Keys { said, pressed: drawn.pressed }, mode, reads)
}

/// What was made of keys. The frames are those of the keys that were pressed.
fn of_keys(fault: Fault, keys: Keys, mode: Mode, reads: Vec<MadeRead>) -> Result<Made, Refusal> {
    let layout = Layout::new(mode.spec());
    let layout = Arc::new(layout.map_err(|error| Refusal::new(error.to_string(), ""))?);
    let pressed = keys.pressed.iter().flatten();
    Ok(Made {
        fault,
        card: None,
        whose: None,
        layout: keys.pressed.is_some().then(|| layout.clone()),
        said: Vec::new(),
        frames: pressed.map(|&key| (layout.clone(), mode.encode(key))).collect(),
        reads,
        keys: Some(keys),
    })
}

/// The layout of every card, where its fields can carry what is said.
fn presented(
    args: &SimulateArgs,
    said: &[(String, u64)],
    known: &Known,
    masking: Masking,
) -> Result<Arc<Layout>, Refusal> {
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
    Ok(Arc::new(layout))
}

fn wire(id: &str) -> Result<Wire, Refusal> {
    id.parse().map_err(|_| {
        let list = |of: &dyn Fn(Cause) -> bool| {
            let ids: Vec<&str> =
                Cause::ALL.into_iter().filter(|&cause| of(cause)).map(Cause::id).collect();
            ids.join(", ")
        };
        let expected = if id.starts_with("lines-swapped+") {
            let goes = list(&|cause| Wire::swapped(cause).is_some());
            format!("lines-swapped+ and one of {goes}")
        } else if id.ends_with("-at-times") {
            let comes = list(&|cause| Wire::at_times(cause).is_some());
            format!("-at-times behind one of {comes}")
        } else {
            let all = list(&|_| true);
            format!("one of {all}, lines-swapped+CAUSE, CAUSE-at-times or reads-missing")
        };
        Refusal::new(format!("there is no cause ‘{id}’"), expected)
    })
}

/// The wire state with what was said to hold for it; the rest is drawn: the
/// length of an unlisted layout by how likely each is beside the listed ones, the
/// way of filling up among those that do something to frames of so many bits.
fn fault(
    args: &SimulateArgs,
    wire: Wire,
    bits: usize,
    listed: &Candidates,
) -> Result<Fault, Refusal> {
    let model = args.priors.model()?;
    let random = &mut seeded(args.seed, 0);
    let drawn = Fault::draw(wire, &model, random);
    let held = match (args.rate, drawn.map(|fault| fault.held())) {
        (Some(rate), _) => Held::Rate(rate),
        (None, Some(Held::Lengths(_))) => Held::Length(unlisted(&model, listed, random)?),
        (None, Some(Held::Padding(drawn))) => {
            let mut ways = [drawn].into_iter().chain(Padding::ALL);
            Held::Padding(ways.find(|way| way.zeros(bits).is_some()).unwrap_or(drawn))
        }
        (None, Some(held)) => held,
        (None, None) => Held::Nothing,
    };
    let share = args.share.or(drawn.and_then(|fault| fault.share()));
    let made = match share {
        Some(share) => Fault::at_times(wire, held, share),
        None => Fault::new(wire, held),
    };
    made.map_err(|error| match error {
        FaultError::Held { .. } => {
            Refusal::new(format!("{wire} has no rate"), "no --rate with this cause")
        }
        FaultError::TakesShare(_) => Refusal::new(
            format!("{wire} has no share: every presentation suffers it"),
            "--share with CAUSE-at-times or reads-missing",
        ),
        FaultError::Share(_) => Refusal::new(error.to_string(), "such as --share 0.3"),
        error => Refusal::new(error.to_string(), "a rate over 0 and at most 1, such as 0.3"),
    })
}

/// A length that is drawn again where nothing was.
fn unlisted(model: &Model, listed: &Candidates, random: &mut Random) -> Result<usize, Refusal> {
    const DRAWS: usize = 10_000;
    let is_listed = |bits| listed.layouts().iter().any(|layout| layout.bits() == bits);
    let drawn = (0..DRAWS).find_map(|_| draw_unlisted_length(&model.unlisted, is_listed, random));
    drawn.ok_or_else(|| {
        Refusal::new("these priors leave unlisted layouts no length", "other --priors")
    })
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
