//! A capture, opened: what it holds, and its reads one by one.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::Path;

use misread::Bits;
use misread::capture::{Activity, CaptureError, CaptureRead, Damage, Options, Place};
use misread::diagnose::Progress;
use misread::pulse::{Finding, Level, Limits, Rhythm};

use crate::json;
use crate::masking::Masking;
use crate::meter::Meter;
use crate::refusal::Refusal;

/// What is known of a capture before its reads are looked at.
pub(super) struct Overview {
    /// The signals that were taken for D0 and D1.
    pub(super) lines: [String; 2],
    pub(super) idle: Level,
    pub(super) rhythm: Rhythm,
    /// What timing is allowed, with the sample period that was reckoned with.
    pub(super) limits: Limits,
    pub(super) threshold: Option<f64>,
    /// What is wrong with the capture as a whole.
    pub(super) findings: Vec<Finding>,
    /// Where the file is damaged or cut; the reads are those before.
    pub(super) damage: Option<Damage>,
}

/// A capture, and its reads in order.
pub(super) struct Recording {
    pub(super) overview: Overview,
    reads: Vec<CaptureRead>,
}

impl Recording {
    /// Opens a file, or standard input for `-`. `window`, in nanoseconds, is
    /// how long a controller ignores the code it has just read.
    ///
    /// # Errors
    ///
    /// What cannot be opened, or is no capture.
    pub(super) fn open(
        path: &Path,
        options: &Options,
        window: Option<u64>,
        masking: Masking,
    ) -> Result<Self, Refusal> {
        let stdin = path.as_os_str() == "-";
        let name = (!stdin).then(|| path.display().to_string());
        let refuse = |error| refusal(error, name.clone(), masking);
        let capture = if stdin {
            let mut bytes = Vec::new();
            io::stdin().lock().read_to_end(&mut bytes).map_err(|e| refuse(e.into()))?;
            misread::capture::read(Cursor::new(bytes), options)
        } else {
            let file = File::open(path).map_err(|e| refuse(e.into()))?;
            let of = file.metadata().map_or(0, |about| about.len());
            misread::capture::read(
                BufReader::with_capacity(1 << 16, Metered::new(file, of)),
                options,
            )
        };
        let mut capture = capture.map_err(refuse)?;
        mark_repeats(&mut capture.reads, window);
        let overview = Overview {
            lines: capture.lines,
            idle: capture.idle,
            rhythm: capture.rhythm,
            limits: options.limits.sampled_every(capture.sample_period),
            threshold: capture.threshold,
            findings: capture.findings,
            damage: capture.damage,
        };
        Ok(Recording { overview, reads: capture.reads })
    }

    /// Hands out every read with its index, from 0; as often as it is asked.
    ///
    /// # Errors
    ///
    /// What `each` gives.
    pub(super) fn for_each<E>(
        &mut self,
        mut each: impl FnMut(usize, &CaptureRead) -> Result<(), E>,
    ) -> Result<(), E> {
        self.reads.iter().enumerate().try_for_each(|(index, read)| each(index, read))
    }
}

/// Marks the reads a controller would not show: the same bits as the last one
/// it did show, begun less than the window after that one. A repeat does not
/// make the window any longer.
fn mark_repeats(reads: &mut [CaptureRead], window: Option<u64>) {
    let mut shown: Option<(Bits, i64)> = None;
    for read in reads {
        let start = read.pulses.first().map_or(0, |pulse| pulse.start);
        read.repeat = window.zip(shown).is_some_and(|(window, (bits, before))| {
            bits == read.bits && start.abs_diff(before) < window
        });
        if !read.repeat {
            shown = Some((read.bits, start));
        }
    }
}

/// A damaged or cut file, said behind the answer for what came before.
pub(super) fn damage_refusal(damage: &Damage, path: &Path, masking: Masking) -> Refusal {
    let name = (path.as_os_str() != "-").then(|| path.display().to_string());
    let (place, found) = damaged(damage, name, masking);
    Refusal::new(format!("{found}; the reads before it are given"), &damage.expected).at(place)
}

/// The place of damage, and what was found there; masked, nothing of the file
/// is quoted.
pub(super) fn damaged(
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
        CaptureError::Signals { found, signals } => unclear(&found, &signals).at(place),
        CaptureError::Flat { lowest, highest } => Refusal::new(
            format!("the voltages run from {lowest} V to {highest} V, too close for two levels"),
            "a capture with a card presented, or --threshold and the voltage between the levels",
        )
        .at(place),
        CaptureError::Damaged(damage) => {
            let (place, found) = damaged(&damage, file, masking);
            Refusal::new(format!("nothing could be read: {found}"), damage.expected).at(place)
        }
    }
}

/// The signals, the likeliest pair first, and the flags that name it.
fn unclear(found: &str, signals: &[Activity]) -> Refusal {
    let listed: Vec<String> = signals.iter().map(ToString::to_string).collect();
    let message = match listed.as_slice() {
        [] => format!("{found}; there are no signals"),
        listed => format!("{found}; there are {}", listed.join(", ")),
    };
    let expected = match signals {
        [one, other, ..] => format!(
            "--d0 and --d1 with two of these names, likely --d0 {} --d1 {}; which is which, the \
             green (D0) and white (D1) conductors tell, or a card whose number is known",
            quoted(&one.name),
            quoted(&other.name)
        ),
        _ => "a capture of both lines".to_owned(),
    };
    Refusal::new(message, expected)
}

/// A name as a shell takes it.
fn quoted(name: &str) -> String {
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
