//! Captures in VCD and FST, read through wellen.
//!
//! The library panics on some malformed files, which is contained here; what
//! else it does not say of them is looked for apart.

use std::io::{BufRead, Seek};

use wellen::stream::{Filter, StreamError, StreamingWaveform};
use wellen::{Hierarchy, LoadOptions, SignalRef, SignalValueRef};

use super::blocks::{Trouble, UpTo, find_trouble};
use super::contain::contained;
use super::error::shown;
use super::guard::Guard;
use super::levels::{Enough, Levels, See};
use super::pass::Pass;
use super::signals::{Watch, choose, unclear};
use super::{Activity, CaptureError, Damage, Options, Place, TimeUnit};
use crate::pulse::{Level, Line};

pub(super) fn read_vcd<R>(
    mut input: R,
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    input.rewind()?;
    let (guard, seen) = Guard::new(input);
    let place = |line| Place::Line { line, cell: None };
    let cut = || seen.cut().map(Damage::cut);
    let damaged = |trouble| Damage {
        place: place(seen.line()),
        found: match seen.refused() {
            Some(why) => why.to_owned(),
            None if seen.has_no_body() => "the file ends before its list of signals does".into(),
            None => trouble,
        },
        expected: "a VCD file without damage; copy it again, or record again".to_owned(),
    };
    // What is wrong with a line that is cut is that it is cut.
    let damage = |trouble| match seen.cut().filter(|&line| line == seen.line()) {
        Some(line) if !seen.has_no_body() => Damage::cut(line),
        _ => damaged(trouble),
    };
    read(guard, options, see, damage, cut)
}

pub(super) fn read_fst<R>(
    mut input: R,
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let (cut, end) = match find_trouble(&mut input)? {
        Some(Trouble::Bent(damage)) => return Err(CaptureError::Damaged(damage)),
        Some(Trouble::Cut(damage, end)) => (Some(damage), Some(end)),
        None => (None, None),
    };
    let input = UpTo::new(input, end)?;
    let damage = |trouble| {
        cut.clone().unwrap_or(Damage {
            place: Place::Byte(0),
            found: trouble,
            expected: "an FST file".to_owned(),
        })
    };
    read(input, options, see, damage, || cut.clone())
}

/// `damage` makes damage of what the library says, and `cut` says where the
/// file is cut; both are asked when the library has let go of the input.
fn read<R>(
    input: R,
    options: &Options,
    see: &mut See<'_>,
    damage: impl Fn(String) -> Damage,
    cut: impl Fn() -> Option<Damage>,
) -> Result<Pass, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let load = LoadOptions { multi_thread: false, ..LoadOptions::default() };
    let opened = contained(|| wellen::stream::read(input, &load))
        .map_err(|panic| CaptureError::Damaged(damage(said(&panic))))?;
    let mut wave =
        opened.map_err(|error| CaptureError::Damaged(damage(said(&error.to_string()))))?;

    let (mut names, signals) = one_bit_signals(wave.hierarchy());
    let (clock, unit_taken) = Clock::of(wave.hierarchy(), options);
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
    let mut levels = Levels::new(options, see);
    let streamed = stream(&mut wave, &[d0, d1], |time, signal, level| {
        let line = if signal == d0 { Line::D0 } else { Line::D1 };
        levels.level(clock.nanoseconds(time), line, level)
    });
    drop(wave);
    let damage = match streamed {
        Streamed::Enough => None,
        Streamed::All => cut(),
        Streamed::UpTo(trouble) => Some(damage(trouble)),
    };
    let damage = levels.finish(damage)?;
    let lines = pair.map(|index| std::mem::take(&mut names[index]));
    Ok(Pass { lines, sample_period: clock.step(), threshold: None, unit_taken, damage })
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

/// How a walk over the changes ended.
enum Streamed {
    /// At the end.
    All,
    /// Nobody wanted more.
    Enough,
    /// With what the library said.
    UpTo(String),
}

/// Hands the levels of some signals on.
fn stream<R: BufRead + Seek>(
    wave: &mut StreamingWaveform<R>,
    signals: &[SignalRef],
    mut see: impl FnMut(u64, SignalRef, Level) -> Result<(), Enough>,
) -> Streamed {
    let streamed = contained(|| {
        wave.stream_changes(Filter::include_signals(signals), |time, signal, value| {
            level(value).map_or(Ok(()), |level| see(time, signal, level))
        })
    });
    match streamed {
        Ok(Ok(())) => Streamed::All,
        Ok(Err(StreamError::Callback(Enough))) => Streamed::Enough,
        Ok(Err(StreamError::Wellen(error))) => Streamed::UpTo(said(&error.to_string())),
        Err(panic) => Streamed::UpTo(said(&panic)),
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
        Ok(())
    });
    watches.into_iter().zip(names).map(|(watch, name)| watch.into_activity(name)).collect()
}

/// The clock of a file: its step as a fraction of nanoseconds.
#[derive(Clone, Copy)]
struct Clock {
    over: u64,
    under: u64,
}

impl Clock {
    /// That of the file, or what it is taken to be where the file does not say:
    /// nanoseconds, if nobody says otherwise.
    fn of(hierarchy: &Hierarchy, options: &Options) -> (Clock, Option<TimeUnit>) {
        let said = hierarchy
            .timescale()
            .and_then(|scale| Some((scale.factor.max(1), scale.unit.to_exponent()?)));
        let Some((factor, exponent)) = said else {
            let unit = options.unit.unwrap_or(TimeUnit::Nanoseconds);
            let clock = match unit.whole_nanoseconds() {
                Some(over) => Clock { over, under: 1 },
                None => Clock { over: 1, under: 1000 },
            };
            return (clock, options.unit.is_none().then_some(unit));
        };
        let power = 10u64.pow(u32::from((exponent + 9).unsigned_abs()));
        let factor = u64::from(factor);
        let clock = if exponent >= -9 {
            Clock { over: factor * power, under: 1 }
        } else {
            Clock { over: factor, under: power }
        };
        (clock, None)
    }

    /// The last nanosecond that has begun; held at the last there is.
    fn nanoseconds(self, time: u64) -> i64 {
        let nanoseconds = match time.checked_mul(self.over) {
            Some(time) if self.under == 1 => i128::from(time),
            Some(time) => i128::from(time / self.under),
            None => i128::from(time) * i128::from(self.over) / i128::from(self.under),
        };
        i64::try_from(nanoseconds).unwrap_or(i64::MAX)
    }

    fn step(self) -> u32 {
        u32::try_from(self.over / self.under).unwrap_or(u32::MAX)
    }
}
