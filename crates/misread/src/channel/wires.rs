//! Pulses on the two wires, for reads that went through a fault.
//!
//! [`pulses`] draws them as the fault would have them: a beat is missing where
//! a pulse was lost, both lines are active at once where they touch, a pulse
//! comes again at once where it rings, a line that is weak or noisy has runts.
//! So a cause brings its own findings, and no others but those that it cannot
//! be without.
//!
//! [`pulses_showing`] draws them so that given findings are there and no others
//! are, likely or not: for cases whose findings were drawn from a model.
//!
//! [`changes`] makes level changes of them, for a capture.

mod laid;

use misread_core::pulse::{Change, Evidence, Level, Limits, Line, Pulse, Rhythm};
use rand_core::Rng;

use super::SentRead;
use super::random::{chance, unit};
use crate::cause::{Cause, Model, Sought};
use laid::{Wires, line_of};

/// The timing of a reader that is simulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    width: u32,
    interval: u32,
    jitter: f64,
}

/// A timing that cannot be simulated.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ShapeError {
    /// An interval that leaves no room for two beats within a read.
    #[error(
        "a pulse interval of {} µs: expected 100 µs to 12 000 µs, so that a read with a beat \
         missing is still one read", micros(*.0)
    )]
    Interval(u32),
    /// A width that leaves no room for a pair of pulses.
    #[error(
        "a pulse width of {} µs: expected 1 µs to an eighth of the interval, {} µs",
        micros(*.width), micros(*.most)
    )]
    Width {
        /// The width, in nanoseconds.
        width: u32,
        /// The most there is room for.
        most: u32,
    },
    /// A jitter that would hide the beat.
    #[error("a jitter of {0}: expected a share of the interval from 0 to 0.04")]
    Jitter(f64),
}

fn micros(ns: u32) -> f64 {
    f64::from(ns) / 1e3
}

impl Shape {
    /// Pulse width and interval in nanoseconds, and by what share of either a
    /// pulse is off at most. Where width or interval is one that SIA AC-01
    /// allows, being off takes none over its limit.
    ///
    /// # Errors
    ///
    /// See [`ShapeError`].
    pub fn new(width: u32, interval: u32, jitter: f64) -> Result<Shape, ShapeError> {
        if !(100_000..=12_000_000).contains(&interval) {
            return Err(ShapeError::Interval(interval));
        }
        if !(1_000..=interval / 8).contains(&width) {
            return Err(ShapeError::Width { width, most: interval / 8 });
        }
        if !(0.0..=0.04).contains(&jitter) {
            return Err(ShapeError::Jitter(jitter));
        }
        Ok(Shape { width, interval, jitter })
    }

    /// Pulse width, in nanoseconds.
    pub fn width(&self) -> u32 {
        self.width
    }

    /// Pulse interval, in nanoseconds.
    pub fn interval(&self) -> u32 {
        self.interval
    }

    /// By what share of the interval a pulse is off at most; where the interval
    /// is one that is allowed, two pulses are not brought closer than that.
    fn off(&self) -> f64 {
        let shortest = Limits::SIA_AC_01.interval.shortest;
        let off = self.jitter / 2.0;
        match self.interval.checked_sub(shortest) {
            Some(room) => off.min(f64::from(room) / 2.0 / f64::from(self.interval)),
            None => off,
        }
    }

    fn rhythm(&self) -> Rhythm {
        Rhythm { beat: Some(self.interval), width: [Some(self.width); 2] }
    }
}

/// 50 µs every 1 ms, off by 1 % at most: a typical reader (common practice).
impl Default for Shape {
    fn default() -> Self {
        Shape { width: 50_000, interval: 1_000_000, jitter: 0.01 }
    }
}

/// The pulses of each read as its cause would have them; the reads stand one
/// after the other, with the usual gaps between. A read of which nothing arrived
/// is silence for as long as the next card takes.
///
/// A capture of them shows the findings that the model's table gives the cause,
/// and keeps every limit of [`Limits::SIA_AC_01`] that the shape keeps, but for
/// these, where the cause is not to be had without:
///
/// | cause | beside its own | because |
/// |---|---|---|
/// | `lines-shorted`, `crosstalk`, `random-bits` | `interval-too-short` | two pulses that overlap are closer than 200 µs |
/// | ringing | `interval-too-short` | a line rings at once. Pairs 200 µs apart would be taken for bits, and where one pulse in twenty comes twice no beat is left of which a quarter could be told |
/// | noise | `interval-too-short` | only in a read with more than one extra pulse in twenty: with more the beat is lost unless they come within 200 µs of another. Else each is 200 µs or more from either neighbour |
/// | `d0-open`, `d1-open`, weak | `interval-too-long` | only of a reader slower than 10 ms: two of its beats are over 20 ms |
/// | `frame-split` | `frames-too-close` | the gap that cut the frame is shorter than that between cards |
///
/// A line without a pulse is silent, whatever the cause. And where the shape
/// leaves no room the fault is drawn as it is: the runts of pulses under some
/// 44 µs are narrower than the 20 µs allowed, and between beats of under some
/// 0.45 ms any extra pulse is closer to one of them than 200 µs; under some
/// 0.25 ms, or where a pulse lasts an eighth of the beat, it hides the beat
/// itself, and findings that hang on it come and go.
pub fn pulses(reads: &[SentRead], shape: &Shape, random: &mut impl Rng) -> Vec<Vec<Pulse>> {
    let mut laid: Vec<Vec<Pulse>> = reads
        .iter()
        .map(|read| {
            let mut wires = match read.cause {
                Cause::RandomBits => Wires::adrift(read, shape, random),
                cause => Wires::by_cause(read, &own(cause), shape, true, random),
            };
            for line in Line::BOTH {
                if chance(runts(read.cause, line, &wires), random) {
                    wires.add_runts(line, random);
                }
            }
            wires.finish()
        })
        .collect();
    set_out(reads, &mut laid, random);
    laid
}

/// The pulses of each read so that a capture of them shows just these findings
/// of the model's table: as its cause would have them where that does, else on
/// an even beat with what is wanted put in. Runts and pairs that no cause but
/// chance brings are within the limits as well, where that shows them. `None`
/// where no pulses with these bits can show them, such as a short pulse on a
/// line with a single one.
pub fn pulses_showing(
    reads: &[SentRead],
    wanted: &[Evidence],
    shape: &Shape,
    random: &mut impl Rng,
) -> Option<Vec<Vec<Pulse>>> {
    // Lines that nothing drives have no beat to put anything into.
    let from_the_start: Vec<bool> =
        reads.iter().map(|read| read.cause == Cause::RandomBits).collect();
    let mut even = from_the_start.clone();
    let mut laid: Vec<Vec<Pulse>> = vec![Vec::new(); reads.len()];
    let mut again = vec![true; reads.len()];
    for count in 0..WITHIN_LIMITS + TRIES {
        let within_limits = count < WITHIN_LIMITS;
        if count == WITHIN_LIMITS {
            even.clone_from(&from_the_start);
        }
        for (index, (read, wanted)) in reads.iter().zip(wanted).enumerate() {
            if !again[index] {
                continue;
            }
            let mut wires = match even[index] {
                true => Wires::even(read, shape, within_limits, random),
                false => Wires::by_cause(read, wanted, shape, within_limits, random),
            };
            wires.put_in(wanted, random);
            laid[index] = wires.finish();
        }
        let rhythm = Rhythm::of(laid.iter().map(|pulses| &pulses[..]), &Limits::default());
        let mut done = true;
        for (index, (pulses, wanted)) in laid.iter().zip(wanted).enumerate() {
            again[index] = Evidence::of(pulses, &rhythm) != *wanted;
            even[index] |= again[index];
            done &= !again[index];
        }
        if done {
            set_out(reads, &mut laid, random);
            return Some(laid);
        }
    }
    None
}

/// Which findings are looked for in a read of these pulses, each drawn at the
/// rate that the model has for it under the cause of the read.
pub fn draw_evidence(read: &SentRead, model: &Model, random: &mut impl Rng) -> Evidence {
    let mut pulses = Vec::with_capacity(read.bits.len());
    for bit in read.bits.iter() {
        let start = pulses.len() as i64;
        pulses.push(Pulse { start, width: 1, line: line_of(bit), complete: true });
    }
    let mut evidence = Evidence::of(&pulses, &Rhythm::default());
    let mut draw = |sought: Sought, place: &mut Option<bool>| {
        // One number for each, looked for or not: what one read draws does not
        // shift what the next one does.
        let found = chance(model.finding(sought, read.cause), random);
        *place = place.map(|_| found);
    };
    draw(Sought::LinesOverlap, &mut evidence.lines_overlap);
    for line in Line::BOTH {
        draw(Sought::ShortPulse(line), &mut evidence.short_pulse[line.index()]);
    }
    for line in Line::BOTH {
        draw(Sought::DoublePulse(line), &mut evidence.double_pulse[line.index()]);
    }
    draw(Sought::MissingBeat, &mut evidence.missing_beat);
    evidence
}

/// The level changes of pulses, in the order of time, of lines that rest at
/// that level.
pub fn changes<'a>(reads: impl IntoIterator<Item = &'a Vec<Pulse>>, rest: Level) -> Vec<Change> {
    let mut changes: Vec<Change> = reads
        .into_iter()
        .flatten()
        .flat_map(|pulse| {
            let line = pulse.line;
            [
                Change { time: pulse.start, line, level: rest.other() },
                Change { time: pulse.end(), line, level: rest },
            ]
        })
        .collect();
    changes.sort_by_key(|change| change.time);
    changes
}

/// How often pulses are laid within the limits, where there is room, before
/// they may be anywhere.
const WITHIN_LIMITS: usize = 4;

/// How often pulses are laid anew after that until a capture shows what is
/// wanted.
const TRIES: usize = 24;

/// What a cause brings into every read that gives it a chance to.
fn own(cause: Cause) -> Evidence {
    let lost = matches!(
        cause,
        Cause::D0Open | Cause::D1Open | Cause::D0Weak | Cause::D1Weak | Cause::BothWeak
    );
    let both_at_once = matches!(cause, Cause::LinesShorted | Cause::Crosstalk);
    let rings = |line| match cause {
        Cause::BothRinging => true,
        Cause::D0Ringing => line == Line::D0,
        Cause::D1Ringing => line == Line::D1,
        _ => false,
    };
    Evidence {
        lines_overlap: Some(both_at_once),
        short_pulse: [None; 2],
        double_pulse: Line::BOTH.map(|line| Some(rings(line))),
        missing_beat: Some(lost),
    }
}

/// How likely a line has runts in a read.
fn runts(cause: Cause, line: Line, wires: &Wires<'_>) -> f64 {
    let is = |both, each: [Cause; 2]| cause == both || cause == each[line.index()];
    let (pulses, extra) = wires.count(line);
    // Where a line rings or is coupled into, the reader's own pulses are as wide
    // as they should be.
    if is(Cause::BothRinging, [Cause::D0Ringing, Cause::D1Ringing]) {
        return if extra > 0 { 0.4 } else { 0.0 };
    }
    let has = is(Cause::BothWeak, [Cause::D0Weak, Cause::D1Weak])
        || is(Cause::BothNoise, [Cause::D0Noise, Cause::D1Noise])
        || cause == Cause::Crosstalk && extra > 0;
    match has {
        false => 0.0,
        // One of two is half of them, and where half are narrow none is
        // narrower than usual: not in every read.
        true if pulses <= 2 => 0.35,
        true => 1.0,
    }
}

/// Sets the reads one after the other. A frame that is split has a gap that
/// just ends a read; cards are presented a second or two apart.
fn set_out(reads: &[SentRead], laid: &mut [Vec<Pulse>], random: &mut impl Rng) {
    const MS: f64 = 1e6;
    let mut start = 0;
    let mut is_rest = false;
    for (index, (read, pulses)) in reads.iter().zip(laid).enumerate() {
        let gap = match index {
            0 => 100.0 * MS,
            _ if is_rest => (30.0 + 10.0 * unit(random)) * MS,
            _ => (1_000.0 + 1_000.0 * unit(random)) * MS,
        };
        is_rest = !is_rest && read.cause == Cause::FrameSplit;
        start += gap as i64;
        pulses.iter_mut().for_each(|pulse| pulse.start += start);
        start = pulses.iter().map(Pulse::end).max().unwrap_or(start);
    }
}

#[cfg(test)]
mod tests;
