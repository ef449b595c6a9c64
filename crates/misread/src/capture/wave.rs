//! Captures in VCD and FST, read through wellen.
//!
//! The library panics on some malformed files, which is contained here; a file
//! that was cut it takes for whole or for empty, which is looked for apart.

use std::io::{BufRead, Seek, SeekFrom};

use wellen::stream::{Filter, StreamError, StreamingWaveform};
use wellen::{Hierarchy, LoadOptions, SignalRef, SignalValueRef};

use super::collect::Collector;
use super::contain::contained;
use super::error::shown;
use super::guard::{Guard, Seen};
use super::signals::{Watch, choose, unclear};
use super::{Activity, Capture, CaptureError, Damage, Options, Place};
use crate::pulse::{Level, Line};

pub(super) fn read_vcd<R>(mut input: R, options: &Options) -> Result<Capture, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    input.rewind()?;
    let (guard, seen) = Guard::new(input);
    let place = |seen: &Seen| Place::Line { line: seen.line(), cell: None };
    let outcome = read(guard, options, |trouble| Damage {
        place: place(&seen),
        found: seen.refused().map_or(trouble, str::to_owned),
        expected: "a VCD file".to_owned(),
    })?;
    let cut = seen.cut().then(|| Damage {
        place: place(&seen),
        found: "the file ends in the middle of this line".to_owned(),
        expected: "the end of a line; the file may be cut".to_owned(),
    });
    finish(outcome, options, cut)
}

pub(super) fn read_fst<R>(mut input: R, options: &Options) -> Result<Capture, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let cut = find_cut(&mut input)?;
    input.rewind()?;
    let damage = |trouble| {
        cut.clone().unwrap_or(Damage {
            place: Place::Byte(0),
            found: trouble,
            expected: "an FST file".to_owned(),
        })
    };
    let outcome = read(input, options, damage)?;
    finish(outcome, options, cut)
}

/// What was read, with the trouble that ended it.
struct Outcome {
    collector: Collector,
    names: [String; 2],
    /// The step of the file's clock, in nanoseconds.
    step: u32,
    damage: Option<Damage>,
}

fn finish(
    outcome: Outcome,
    options: &Options,
    cut: Option<Damage>,
) -> Result<Capture, CaptureError> {
    let Outcome { collector, names, step, damage } = outcome;
    match damage.or(cut) {
        Some(damage) if !collector.has_any() => Err(CaptureError::Damaged(damage)),
        damage => Ok(collector.finish(options, names, step, None, damage)),
    }
}

fn read<R>(
    input: R,
    options: &Options,
    damage: impl Fn(String) -> Damage,
) -> Result<Outcome, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let load = LoadOptions { multi_thread: false, ..LoadOptions::default() };
    let opened = contained(|| wellen::stream::read(input, &load))
        .map_err(|panic| CaptureError::Damaged(damage(said(&panic))))?;
    let mut wave =
        opened.map_err(|error| CaptureError::Damaged(damage(said(&error.to_string()))))?;

    let (mut names, signals) = one_bit_signals(wave.hierarchy());
    let clock = Clock::of(wave.hierarchy());
    let pair = match choose(&names, options) {
        Ok(pair) if signals[pair[0]] == signals[pair[1]] => {
            Err("D0 and D1 are two names of one signal".to_owned())
        }
        chosen => chosen,
    };
    let pair = match pair {
        Ok(pair) => pair,
        Err(found) => return Err(unclear(found, activity(&mut wave, &names, &signals, &clock))),
    };

    let [d0, d1] = pair.map(|index| signals[index]);
    let mut collector = Collector::new(options);
    let trouble = stream(&mut wave, &[d0, d1], |time, signal, level| {
        let line = if signal == d0 { Line::D0 } else { Line::D1 };
        collector.level(clock.nanoseconds(time), line, level);
    });
    let names = pair.map(|index| std::mem::take(&mut names[index]));
    let damage = trouble.map(damage);
    Ok(Outcome { collector, names, step: clock.step(), damage })
}

/// The names of the signals of one bit, and the signals; a signal of several
/// names is there under each.
fn one_bit_signals(hierarchy: &Hierarchy) -> (Vec<String>, Vec<SignalRef>) {
    hierarchy
        .all_vars()
        .map(|var| &hierarchy[var])
        .filter(|var| var.is_1bit(hierarchy))
        .map(|var| (var.full_name(hierarchy), var.signal_ref()))
        .unzip()
}

/// Hands the levels of some signals on, and says what ended it but the end.
fn stream<R: BufRead + Seek>(
    wave: &mut StreamingWaveform<R>,
    signals: &[SignalRef],
    mut see: impl FnMut(u64, SignalRef, Level),
) -> Option<String> {
    let streamed = contained(|| {
        wave.stream_changes(Filter::include_signals(signals), |time, signal, value| {
            if let Some(level) = level(value) {
                see(time, signal, level);
            }
            Ok::<(), std::convert::Infallible>(())
        })
    });
    match streamed {
        Ok(Ok(())) => None,
        Ok(Err(StreamError::Wellen(error))) => Some(said(&error.to_string())),
        Ok(Err(StreamError::Callback(never))) => match never {},
        Err(panic) => Some(said(&panic)),
    }
}

/// What the library says, on one line.
fn said(message: &str) -> String {
    shown(&message.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The level a value stands for. A line that is let go of is pulled up; one
/// that is not known stays as it was.
fn level(value: SignalValueRef<'_>) -> Option<Level> {
    let SignalValueRef::BitVec(bits) = value else { return None };
    match bits.iter_msb_to_lsb().next()?.as_ascii() {
        '0' | 'l' => Some(Level::Low),
        '1' | 'h' | 'z' => Some(Level::High),
        _ => None,
    }
}

fn activity<R: BufRead + Seek>(
    wave: &mut StreamingWaveform<R>,
    names: &[String],
    signals: &[SignalRef],
    clock: &Clock,
) -> Vec<Activity> {
    let mut watches = vec![Watch::default(); signals.len()];
    // What is behind damage is not looked at; the signals are listed all the
    // same.
    stream(wave, signals, |time, signal, level| {
        for (watch, _) in watches.iter_mut().zip(signals).filter(|(_, other)| **other == signal) {
            watch.see(clock.nanoseconds(time), level == Level::High);
        }
    });
    watches.into_iter().zip(names).map(|(watch, name)| watch.into_activity(name)).collect()
}

/// The clock of a file: its step as a fraction of nanoseconds.
struct Clock {
    over: i128,
    under: i128,
}

impl Clock {
    /// A file that does not say counts nanoseconds.
    fn of(hierarchy: &Hierarchy) -> Clock {
        let (factor, exponent) = hierarchy
            .timescale()
            .and_then(|scale| Some((scale.factor.max(1), scale.unit.to_exponent()?)))
            .unwrap_or((1, -9));
        let power = 10i128.pow(u32::from((exponent + 9).unsigned_abs()));
        let factor = i128::from(factor);
        if exponent >= -9 {
            Clock { over: factor * power, under: 1 }
        } else {
            Clock { over: factor, under: power }
        }
    }

    /// The last nanosecond that has begun.
    fn nanoseconds(&self, time: u64) -> i64 {
        i64::try_from(i128::from(time) * self.over / self.under).unwrap_or(i64::MAX)
    }

    fn step(&self) -> u32 {
        u32::try_from(self.over / self.under).unwrap_or(u32::MAX)
    }
}

/// Where an FST file is cut: it is a row of blocks, each with a byte for its
/// type and its length in eight. The last one may run past the end, or those
/// that are written last, the list of signals, may be missing.
fn find_cut<R: BufRead + Seek>(input: &mut R) -> Result<Option<Damage>, CaptureError> {
    let end = input.seek(SeekFrom::End(0))?;
    let cut = |found| Damage {
        place: Place::Byte(end),
        found,
        expected: "the rest of it: record or export the capture again".to_owned(),
    };
    let (mut geometry, mut hierarchy) = (false, false);
    let mut at = 0;
    while at < end {
        let inside = || cut(format!("the file ends inside the block that begins at byte {at}"));
        let mut head = [0; 9];
        input.seek(SeekFrom::Start(at))?;
        match input.read_exact(&mut head) {
            Ok(()) => {}
            Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => {
                return Ok(Some(inside()));
            }
            Err(error) => return Err(error.into()),
        }
        let [kind, length @ ..] = head;
        match kind {
            3 => geometry = true,
            4 | 6 | 7 => hierarchy = true,
            // The whole file, packed in one block.
            254 => (geometry, hierarchy) = (true, true),
            _ => {}
        }
        // The length counts itself, and not the byte for the type.
        let length = u64::from_be_bytes(length).max(8);
        match at.checked_add(1).and_then(|start| start.checked_add(length)) {
            Some(next) if next <= end => at = next,
            _ => return Ok(Some(inside())),
        }
    }
    let missing = !(geometry && hierarchy);
    Ok(missing.then(|| cut("the file ends before the list of its signals".to_owned())))
}
