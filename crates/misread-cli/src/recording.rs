//! A capture, opened: what it holds, and its reads one by one.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom};
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use clap::{Args, ValueEnum};
use misread::capture::{
    Activity, CaptureError, CaptureRead, Damage, Options, Overview as About, Place, TimeUnit,
};
use misread::cause::ProbeAt;
use misread::diagnose::Progress;
use misread::pulse::{DEFAULT_SILENCE, Finding, FindingKind, Line};

use crate::json;
use crate::masking::Masking;
use crate::meter::Meter;
use crate::overview::Overview;
use crate::refusal::Refusal;

/// How a capture is to be read.
#[derive(Args, Clone, Debug)]
pub(crate) struct RecordingArgs {
    /// The signal or column that is D0, where its name does not say so
    #[arg(long, value_name = "NAME")]
    d0: Option<String>,
    /// The signal or column that is D1
    #[arg(long, value_name = "NAME")]
    d1: Option<String>,
    /// The unit of its times, where the file does not say; else seconds in a
    /// table, nanoseconds in a VCD file
    #[arg(long, value_enum, value_name = "UNIT")]
    time_unit: Option<Unit>,
    /// In a table of voltages, what is high; else half way between the two
    /// levels found
    #[arg(long, value_name = "VOLTS", value_parser = finite, allow_hyphen_values = true)]
    threshold: Option<f64>,
    /// How long both lines are still before a read is over, in milliseconds
    /// [default: 25]
    #[arg(long, value_name = "MS", value_parser = silence, allow_negative_numbers = true)]
    silence: Option<u32>,
}

/// The unit of a table's time.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Unit {
    S,
    Ms,
    Us,
    Ns,
}

impl From<Unit> for TimeUnit {
    fn from(unit: Unit) -> Self {
        match unit {
            Unit::S => TimeUnit::Seconds,
            Unit::Ms => TimeUnit::Milliseconds,
            Unit::Us => TimeUnit::Microseconds,
            Unit::Ns => TimeUnit::Nanoseconds,
        }
    }
}

impl RecordingArgs {
    /// The flags again, each with a space before it.
    pub(crate) fn as_typed(&self) -> String {
        let unit = self.time_unit.and_then(|unit| unit.to_possible_value());
        [
            ("--d0", self.d0.as_deref().map(quoted)),
            ("--d1", self.d1.as_deref().map(quoted)),
            ("--time-unit", unit.map(|unit| unit.get_name().to_owned())),
            ("--threshold", self.threshold.map(|volts| volts.to_string())),
            ("--silence", self.silence.map(|ns| (f64::from(ns) / 1e6).to_string())),
        ]
        .into_iter()
        .filter_map(|(flag, value)| Some(format!(" {flag} {}", value?)))
        .collect()
    }

    /// Refuses flags that have no capture to be read by.
    ///
    /// # Errors
    ///
    /// Any of them.
    pub(crate) fn without_capture(&self) -> Result<(), Refusal> {
        let given = [
            ("--d0", self.d0.is_some()),
            ("--d1", self.d1.is_some()),
            ("--time-unit", self.time_unit.is_some()),
            ("--threshold", self.threshold.is_some()),
            ("--silence", self.silence.is_some()),
        ];
        match given.into_iter().find(|&(_, given)| given) {
            Some((flag, _)) => Err(for_captures(flag)),
            None => Ok(()),
        }
    }

    /// The same for the library.
    pub(crate) fn options(&self) -> Options {
        Options {
            silence: self.silence.unwrap_or(DEFAULT_SILENCE),
            d0: self.d0.clone(),
            d1: self.d1.clone(),
            unit: self.time_unit.map(TimeUnit::from),
            threshold: self.threshold,
            ..Options::default()
        }
    }
}

/// Where a capture was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Probe {
    /// At the panel's terminals
    Panel,
    /// At the reader's conductors
    Reader,
}

impl From<Probe> for ProbeAt {
    fn from(probe: Probe) -> Self {
        match probe {
            Probe::Panel => ProbeAt::Panel,
            Probe::Reader => ProbeAt::Reader,
        }
    }
}

/// A flag that was given without a capture.
pub(crate) fn for_captures(flag: &str) -> Refusal {
    Refusal::new(format!("{flag} is for a capture, and there is none"), "--capture FILE with it")
}

/// A capture, and its reads in order.
pub(crate) struct Recording {
    pub(crate) overview: Overview,
    opened: misread::capture::Recording<Opener>,
    name: Option<String>,
    masking: Masking,
}

type Opener = Box<dyn FnMut() -> io::Result<BufReader<Box<dyn Source>>>>;

impl Recording {
    /// Opens a file, or standard input for `-`, which is held in memory.
    ///
    /// # Errors
    ///
    /// What cannot be opened, or is no capture.
    pub(crate) fn open(path: &Path, options: &Options, masking: Masking) -> Result<Self, Refusal> {
        let stdin = path.as_os_str() == "-";
        let name = (!stdin).then(|| path.display().to_string());
        let refuse = |error| refusal(error, name.clone(), masking);
        let opener: Opener = if stdin {
            let mut bytes = Vec::new();
            io::stdin().lock().read_to_end(&mut bytes).map_err(|e| refuse(e.into()))?;
            let bytes: Arc<[u8]> = bytes.into();
            Box::new(move || Ok(BufReader::new(Box::new(Cursor::new(bytes.clone())))))
        } else {
            let path = path.to_owned();
            Box::new(move || {
                let file = File::open(&path)?;
                let of = file.metadata().map_or(0, |about| about.len());
                Ok(BufReader::with_capacity(1 << 16, Box::new(Metered::new(file, of))))
            })
        };
        let opened = misread::capture::open(opener, options).map_err(refuse)?;
        let about = opened.overview().clone();
        if let Some(found) = no_such_unit(&about) {
            let expected = "--time-unit with the unit its times are in, or a file that says it: a \
                            heading such as time_us, a timescale";
            let place = json::Place { file: name, ..json::Place::default() };
            return Err(Refusal::new(found, expected).at(place));
        }
        let mut overview = Overview {
            lines: about.lines,
            idle: about.idle,
            rhythm: about.rhythm,
            limits: *opened.limits(),
            threshold: about.threshold,
            unit_taken: about.unit_taken,
            findings: about.findings,
            damage: about.damage,
        };
        if masking.is_on() {
            let rests = opened.overview().reads > 0;
            overview.idle = [rests.then(|| overview.rests()); 2];
            overview.findings.iter_mut().for_each(hide);
        }
        Ok(Recording { overview, opened, name, masking })
    }

    /// Hands out every read with its index, from 0; as often as it is asked.
    ///
    /// # Errors
    ///
    /// What `each` gives; what `refuse` makes of a file that has gone or changed
    /// since it was opened.
    pub(crate) fn for_each<E>(
        &mut self,
        refuse: impl FnOnce(Refusal) -> E,
        mut each: impl FnMut(usize, &CaptureRead) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut index = 0;
        let mut stopped = Ok(());
        let gone_over = self.opened.for_each(|read| {
            stopped = each(index, &read);
            index += 1;
            if stopped.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        });
        stopped?;
        gone_over.map_err(|error| refuse(refusal(error, self.name.clone(), self.masking)))
    }
}

/// Where the times of a file were taken to be in a unit for want of a word, and
/// cannot be: said why.
fn no_such_unit(about: &About) -> Option<String> {
    /// A thousand times the longest pulse there may be.
    const LASTS: u32 = 100_000_000;
    /// Ten times as long as it.
    const APART: u32 = 1_000_000;
    /// A twentieth of the shortest.
    const MOMENT: u32 = 1_000;
    let short = |line| about.rhythm.width_of(line).is_some_and(|width| width < LASTS);
    let unit = about.unit_taken?.name();
    if about.sample_period >= APART {
        return Some(format!("taken as {unit}, its times are too far apart to show a pulse"));
    }
    let widths = Line::BOTH.into_iter().filter_map(|line| about.rhythm.width_of(line));
    if widths.clone().count() > 0 && widths.into_iter().all(|width| width < MOMENT) {
        return Some(format!("taken as {unit}, its times leave no pulse as long as a reader's"));
    }
    let plausible = about.rhythm.beat.is_some() || Line::BOTH.into_iter().any(short);
    (about.reads > 0 && !plausible)
        .then(|| format!("taken as {unit}, its times leave no pulse as short as a reader's"))
}

/// A line that never pulses is not named: it would tell every bit.
fn hide(finding: &mut Finding) {
    if matches!(finding.kind, FindingKind::LineSilent | FindingKind::LineHeld) {
        finding.line = None;
    }
}

/// What a capture is read from.
trait Source: Read + Seek + Send + Sync {}

impl<T: Read + Seek + Send + Sync> Source for T {}

/// A damaged or cut file, said behind the answer for what came before.
pub(crate) fn damage_refusal(damage: &Damage, path: &Path, masking: Masking) -> Refusal {
    let name = (path.as_os_str() != "-").then(|| path.display().to_string());
    let (place, found) = damaged(damage, name, masking);
    Refusal::new(format!("{found}; the reads before it are given"), &damage.expected).at(place)
}

/// The place of damage, and what was found there; masked, nothing of the file
/// is quoted.
pub(crate) fn damaged(
    damage: &Damage,
    file: Option<String>,
    masking: Masking,
) -> (json::Place, String) {
    let place = json::Place { file, ..json::Place::default() };
    let found = match masking {
        Masking::On => "damaged or cut here".to_owned(),
        Masking::Off => damage.found.clone(),
    };
    match &damage.place {
        Place::Line { line, cell } => {
            let cell = cell.as_ref().map(|cell| format!("cell {cell}: ")).unwrap_or_default();
            (json::Place { line: Some(*line), ..place }, cell + &found)
        }
        Place::Byte(byte) => (json::Place { byte: Some(*byte), ..place }, found),
    }
}

fn refusal(error: CaptureError, file: Option<String>, masking: Masking) -> Refusal {
    const CAPTURE: &str = "a capture of the two lines: a VCD file, an FST file, or a table in \
                           UTF-8 with headings such as time_us,d0,d1";
    let place = json::Place { file: file.clone(), ..json::Place::default() };
    match error {
        CaptureError::Io(error) => {
            let what = if file.is_some() { "" } else { "standard input " };
            Refusal::new(format!("{what}cannot be read: {error}"), CAPTURE).at(place)
        }
        CaptureError::Empty => Refusal::new("there is nothing in it", CAPTURE).at(place),
        CaptureError::Unknown { found } => Refusal::new(found, CAPTURE).at(place),
        CaptureError::Headings { line, found, expected } => {
            // A file of reads in place of a capture has them where headings stand.
            let masked = masking.is_on().then(|| "headings that are not understood".to_owned());
            let place = json::Place { line: Some(line), ..place };
            Refusal::new(masked.unwrap_or(found), expected).at(place)
        }
        CaptureError::Signals { found, mut signals } => {
            for signal in &mut signals {
                signal.name = masking.name(&signal.name);
            }
            unclear(&masking.name(&found), &signals).at(place)
        }
        CaptureError::Flat { lowest, highest } => Refusal::new(
            format!("the voltages run from {lowest} V to {highest} V, too close for two levels"),
            "a capture with a card presented, or --threshold and the voltage between the levels",
        )
        .at(place),
        CaptureError::Changed { .. } => {
            Refusal::new("the file changed while it was read", "a recording that is finished")
                .at(place)
        }
        CaptureError::Damaged(damage) => {
            let (place, found) = damaged(&damage, file, masking);
            Refusal::new(format!("nothing could be read: {found}"), damage.expected).at(place)
        }
    }
}

/// The signals, the likeliest pair first, and the flags that name it.
fn unclear(found: &str, signals: &[Activity]) -> Refusal {
    // A recording of a whole board has hundreds.
    const LISTED: usize = 16;
    let listed: Vec<String> = signals.iter().take(LISTED).map(ToString::to_string).collect();
    let message = match (listed.as_slice(), signals.len().saturating_sub(LISTED)) {
        ([], _) => format!("{found}; there is no signal of two levels"),
        (listed, 0) => format!("{found}; there are {}", listed.join(", ")),
        (listed, more) => format!("{found}; there are {} and {more} more", listed.join(", ")),
    };
    let expected = match signals {
        [one, other, ..] => format!(
            "--d0 and --d1 with two of these names, likely --d0 {} --d1 {}; which is which, the \
             green (D0) and white (D1) conductors tell, or a card whose number is known",
            quoted(&one.name),
            quoted(&other.name)
        ),
        _ => "a capture of both lines, each a signal of one bit or a column of its own".to_owned(),
    };
    Refusal::new(message, expected)
}

/// A number that is one, in volts.
fn finite(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches(['v', 'V']).trim_end().parse::<f64>();
    number
        .ok()
        .filter(|volts| volts.is_finite())
        .ok_or_else(|| "expected a number of volts, such as 2.5".into())
}

/// Milliseconds as nanoseconds: over 0 and at most 4.29 seconds.
fn silence(text: &str) -> Result<u32, String> {
    let ns = text.parse::<f64>().ok().map(|ms| ms * 1e6);
    ns.filter(|ns| (1.0..=f64::from(u32::MAX)).contains(ns))
        .map(|ns| ns as u32)
        .ok_or_else(|| "expected milliseconds, over 0 and up to 4294".into())
}

/// A name as a shell takes it.
pub(crate) fn quoted(name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "._-/:".contains(c);
    if !name.is_empty() && name.chars().all(plain) {
        return name.to_owned();
    }
    format!("'{}'", name.replace('\'', r"'\''"))
}

/// A file that tells how far it has been read, on a terminal.
struct Metered {
    file: File,
    meter: Meter,
    at: u64,
    of: u64,
}

impl Metered {
    fn new(file: File, of: u64) -> Self {
        Metered { file, meter: Meter::new("reading the capture"), at: 0, of }
    }
}

impl Read for Metered {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(buffer)?;
        self.at = self.at.saturating_add(count as u64);
        let share = |bytes: u64| usize::try_from(bytes >> 10).unwrap_or(usize::MAX);
        let done = share(self.at.min(self.of));
        let _ = self.meter.show(Progress { done, of: share(self.of) });
        Ok(count)
    }
}

impl Seek for Metered {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.at = self.file.seek(to)?;
        Ok(self.at)
    }
}

impl Drop for Metered {
    fn drop(&mut self) {
        self.meter.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_quoted_for_the_shell() {
        assert_eq!(quoted("gate.reader.in_3"), "gate.reader.in_3");
        assert_eq!(quoted("in 3"), "'in 3'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
        assert_eq!(quoted(""), "''");
    }
}
