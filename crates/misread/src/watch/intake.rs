//! Bytes in, events out.

use super::levels::Levels;
use super::lines::{Half, Line, Lines};
use super::moments::Moments;
use super::rows::{Form, Row};
use crate::Bits;
use crate::capture::TimeUnit;
use crate::file::{BadLine, LineError, LineProblem, TableRead, shown};
use crate::pulse::{DEFAULT_SILENCE, Ended, Pulse, Read, Rest, Settings, bits_of};

/// How long nothing follows before a read from level changes is given out, in
/// nanoseconds: half a second, since a serial line may hand its bytes on in
/// lumps (judgement).
pub const DEFAULT_PATIENCE: u32 = 500_000_000;

/// How reads from level changes are made and told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// How long both lines are still before a read is over, in nanoseconds by
    /// the stream's own times.
    pub silence: u32,
    /// The level the lines rest at.
    pub rest: Rest,
    /// How long nothing arrives before a read is over all the same, in
    /// nanoseconds by the caller's clock.
    pub patience: u32,
    /// The unit of the times of level changes and sampled levels whose heading
    /// does not say; else seconds, and µs where there are no headings.
    pub unit: Option<TimeUnit>,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            silence: DEFAULT_SILENCE,
            rest: Rest::Found,
            patience: DEFAULT_PATIENCE,
            unit: None,
        }
    }
}

/// What came.
#[derive(Debug)]
pub enum Event {
    /// A read.
    Read(Box<Arrived>),
    /// A line that says nothing that is understood; it is passed over.
    NoRead {
        /// The line without control characters, cut where it is long; empty
        /// where what is wrong is not in one line.
        text: String,
        /// Which line, what was found, and what would be accepted.
        error: Box<LineError>,
    },
    /// A line that had begun and never ended; what came of it is dropped.
    HalfLine {
        /// Its number, from 1.
        line: u64,
        /// What came of it, without control characters and cut where it is
        /// long.
        text: String,
    },
    /// The device is gone.
    Lost {
        /// When, on the caller's clock.
        at: i64,
    },
    /// The device is back.
    Back {
        /// When, on the caller's clock.
        at: i64,
    },
}

/// A read that came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrived {
    /// The bits; none where a table's row has an empty cell: a card was
    /// presented and nothing came.
    pub bits: Bits,
    /// Their pulses, one a bit, where they came as level changes.
    pub pulses: Vec<Pulse>,
    /// What ended it, where it came as level changes.
    pub ended: Option<Ended>,
    /// The values the presented card should carry, where a table says so.
    pub expected: Vec<(String, u64)>,
    /// When it came, in nanoseconds on the caller's clock. Where the stream has
    /// times of its own, its first read is when it arrived, and the others are
    /// counted from there by those times.
    pub at: i64,
    /// The line that ended it, from 1.
    pub line: u64,
}

/// Takes a stream of bytes a piece at a time and tells what is in it: see the
/// [module](super).
///
/// It takes anything and never panics. What the events are depends on the bytes
/// alone, not on how they are cut into pieces. It holds one line of up to
/// 64 KiB and one read, and some 10 KiB beside.
#[derive(Debug)]
pub struct Intake {
    lines: Lines,
    told: Told,
}

/// All of an intake but the line in progress.
#[derive(Debug)]
struct Told {
    form: Form,
    levels: Levels,
    moments: Moments,
    patience: i64,
    /// When the last level change arrived, and in which line, while its read
    /// may go on.
    heard: Option<(i64, u64)>,
    unit: Option<TimeUnit>,
    /// Whether a pulse has shown that times taken as seconds are that.
    seconds: bool,
    /// Whether it has been said that they cannot be.
    no_seconds: bool,
    lost: bool,
}

impl Intake {
    /// An intake that has seen nothing yet.
    pub fn new(options: Options) -> Self {
        let Options { silence, rest, patience, unit } = options;
        let told = Told {
            form: Form::Plain,
            levels: Levels::new(Settings { silence, rest, glitch: 0 }),
            moments: Moments::default(),
            patience: i64::from(patience),
            heard: None,
            unit,
            seconds: false,
            no_seconds: false,
            lost: false,
        };
        Intake { lines: Lines::default(), told }
    }

    /// Takes bytes that arrived by `now`, in nanoseconds on the caller's clock.
    /// After [`lost`](Self::lost), any byte says that the device is back.
    pub fn push(&mut self, bytes: &[u8], now: i64, mut see: impl FnMut(Event)) {
        if bytes.is_empty() {
            return;
        }
        self.told.back(now, &mut see);
        self.lines.push(bytes, |line| self.told.line(line, now, &mut see));
    }

    /// Says that it is `now` and no more bytes have arrived. Call it a few
    /// times a second, so that the last read need not wait for the next card.
    pub fn tick(&mut self, now: i64, mut see: impl FnMut(Event)) {
        let Some((heard, _)) = self.told.heard else { return };
        if now.saturating_sub(heard) >= self.told.patience {
            self.told.with_levels(&mut see, |levels, see| levels.still(see));
            self.told.heard = None;
        }
    }

    /// Says that the device is gone, as when it was unplugged. A half line is
    /// dropped; a read from level changes ends.
    pub fn lost(&mut self, now: i64, mut see: impl FnMut(Event)) {
        self.finish(&mut see);
        if !std::mem::replace(&mut self.told.lost, true) {
            see(Event::Lost { at: now });
        }
    }

    /// Says that the device is back. Headings hold on until others come.
    pub fn back(&mut self, now: i64, mut see: impl FnMut(Event)) {
        self.told.back(now, &mut see);
    }

    /// Says that the stream has ended. A half line is dropped here too: nobody
    /// knows how much of it is missing.
    pub fn finish(&mut self, mut see: impl FnMut(Event)) {
        if let Some(Half { number, text }) = self.lines.let_go() {
            let text = shown(&String::from_utf8_lossy(&text));
            see(Event::HalfLine { line: number, text });
        }
        self.told.with_levels(&mut see, |levels, see| levels.finish(see));
        self.told.heard = None;
        self.told.moments.break_off();
        self.told.seconds = false;
        self.told.no_seconds = false;
    }
}

impl Told {
    fn back(&mut self, now: i64, see: &mut dyn FnMut(Event)) {
        if std::mem::take(&mut self.lost) {
            see(Event::Back { at: now });
        }
    }

    fn line(&mut self, line: Line<'_>, now: i64, see: &mut dyn FnMut(Event)) {
        let number = usize::try_from(line.number).unwrap_or(usize::MAX);
        let mut no_read = |text: &[u8], error| {
            let text = shown(&String::from_utf8_lossy(text));
            see(Event::NoRead { text, error: Box::new(error) });
        };
        let Some(bytes) = line.text else {
            return no_read(b"", LineError::from_bad_line(number, BadLine::TooLong));
        };
        let Ok(text) = str::from_utf8(bytes) else {
            return no_read(bytes, LineError::from_bad_line(number, BadLine::not_text(bytes)));
        };
        // The mark that some editors put at the start.
        let text = if number == 1 { text.trim_start_matches('\u{feff}') } else { text };
        // A column in a message counts from the start of the line.
        let text = text.trim_end();
        if text.trim_start().is_empty() || text.trim_start().starts_with('#') {
            return;
        }
        match self.form.row(number, text, self.unit) {
            Ok(Row::Nothing) => {}
            Ok(Row::Read(TableRead { line, bits, expected }, own)) => {
                let at = self.moments.place(own, now);
                let (pulses, ended) = (Vec::new(), None);
                see(Event::Read(Box::new(Arrived { bits, pulses, ended, expected, at, line })));
            }
            Ok(Row::Levels(one, other)) => {
                self.with_levels(see, |levels, see| {
                    levels.level(one, see);
                    other.iter().for_each(|&other| levels.level(other, see));
                });
                self.heard = Some((now, line.number));
            }
            Err(error) => no_read(text.as_bytes(), error),
        }
    }

    /// Works on the levels, and tells the reads that end by it.
    fn with_levels(
        &mut self,
        see: &mut dyn FnMut(Event),
        work: impl FnOnce(&mut Levels, &mut dyn FnMut(Read<'_>)),
    ) {
        let Told { form, levels, moments, heard, seconds, no_seconds, .. } = self;
        let (now, line) = heard.unwrap_or_default();
        let taken = form.seconds_taken();
        work(levels, &mut |read| {
            *seconds |= taken && read.pulses().iter().any(is_short);
            if taken && !*seconds {
                if !std::mem::replace(no_seconds, true) {
                    let number = usize::try_from(line).unwrap_or(usize::MAX);
                    let error = LineError::at_line(number, LineProblem::NoSeconds);
                    see(Event::NoRead { text: String::new(), error: Box::new(error) });
                }
                return;
            }
            see(Event::Read(Box::new(Arrived {
                bits: bits_of(read.pulses()),
                pulses: read.pulses().to_vec(),
                ended: Some(read.ended()),
                expected: Vec::new(),
                at: moments.place(Some(read.start()), now),
                line,
            })));
        });
    }
}

/// Whether a pulse may be a reader's: it is over, and shorter than a hundred
/// times the longest there may be (SIA AC-01-1996.10). Milliseconds and less that
/// are taken as seconds make pulses of 20 ms and more.
fn is_short(pulse: &Pulse) -> bool {
    pulse.complete && pulse.width < 10_000_000
}
