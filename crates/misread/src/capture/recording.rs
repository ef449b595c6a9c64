//! A capture of any length, in memory that does not grow with it.

use std::fmt;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex};

use super::annotate::{Annotator, Raw};
use super::pass::{Pass, pass};
use super::{Capture, CaptureError, CaptureRead, Damage, Options, TimeUnit};
use crate::pulse::{
    self, Ended, Finding, Level, Limits, Line, MAX_PULSES, Pulse, Rest, Rhythm, RhythmTally, Tally,
};

/// What a capture holds but its reads.
#[derive(Clone, Debug, PartialEq)]
pub struct Overview {
    /// The signals that were taken for D0 and D1.
    pub lines: [String; 2],
    /// The level each line rests at in most of the reads, D0 first. Of a line
    /// that never pulses, where it stands; `None` where that is not told.
    pub idle: [Option<Level>; 2],
    /// The reader's own timing. Exact while there are no more than 16 384
    /// different intervals and pulse widths; see
    /// [`RhythmTally`](crate::pulse::RhythmTally).
    pub rhythm: Rhythm,
    /// The sample period that was reckoned with, in nanoseconds; 0 for exact
    /// times.
    pub sample_period: u32,
    /// In a table of voltages, what was taken for high: this many volts or
    /// more.
    pub threshold: Option<f64>,
    /// The unit that times were taken to be in where neither the file nor
    /// [`Options::unit`] says: seconds in a table, nanoseconds in a VCD file.
    pub unit_taken: Option<TimeUnit>,
    /// How many reads there are.
    pub reads: u64,
    /// What is wrong with the capture as a whole.
    pub findings: Vec<Finding>,
    /// Where the file is damaged or cut, if it is; the reads are those before.
    pub damage: Option<Damage>,
}

/// A capture that was gone over once and can be gone over again, read by read.
#[derive(Clone)]
pub struct Recording<F> {
    open: F,
    options: Options,
    limits: Limits,
    overview: Overview,
    kept: Option<Kept>,
}

/// Goes over a capture for its [`Overview`]; its reads are then given one by one
/// by [`Recording::for_each`].
///
/// `open` opens the capture, each time anew: `|| File::open(path).map(BufReader::new)`.
/// Up to [`Options::keep`] pulses are kept; where there are more, none are, and
/// the capture is gone over again for every `for_each`. So memory does not grow
/// with the length of the capture: it is that of the pulses kept, 16 bytes each,
/// of the rhythm, some 2 MB, and of a piece of the file: a row of a table or a
/// line of a VCD file, up to 1 MB. Of an FST file, though, the library that reads
/// it holds the time of every change, 8 bytes each, and a block.
///
/// To show how far it has come, let `open` give a reader that counts what is
/// read from it. A VCD file and a table are read from front to end, after a look
/// at their first bytes; a table of voltages three times.
///
/// ```
/// use std::io::Cursor;
/// use std::ops::ControlFlow;
///
/// use misread::capture::{Options, open};
///
/// // Presented twice at the fuel berth: 101.
/// let table = "time_ms,line,level\n\
///     1.00,d1,0\n1.05,d1,1\n2.00,d0,0\n2.05,d0,1\n3.00,d1,0\n3.05,d1,1\n\
///     901.00,d1,0\n901.05,d1,1\n902.00,d0,0\n902.05,d0,1\n903.00,d1,0\n903.05,d1,1\n";
/// let options = Options { repeat_window: Some(2_000_000_000), ..Options::default() };
/// let mut recording = open(|| Ok(Cursor::new(table)), &options)?;
/// assert_eq!(recording.overview().reads, 2);
/// assert_eq!(recording.overview().rhythm.beat, Some(1_000_000));
/// let mut repeats = vec![];
/// recording.for_each(|read| {
///     assert_eq!(read.bits.to_string(), "101");
///     repeats.push(read.repeat);
///     ControlFlow::Continue(())
/// })?;
/// assert_eq!(repeats, [false, true]);
/// # Ok::<(), misread::capture::CaptureError>(())
/// ```
///
/// # Errors
///
/// As with [`read`](super::read).
pub fn open<R, F>(mut open: F, options: &Options) -> Result<Recording<F>, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
    F: FnMut() -> io::Result<R>,
{
    let input = open()?;
    let mut found = go_over(input, options, options.keep)?;
    // What was found out once need not be found out again.
    let mut options = Options { threshold: found.overview.threshold, ..options.clone() };
    if let (Rest::Found, Some(levels)) = (options.rest, found.apart) {
        options.rest = Rest::Each(levels);
        let input = open()?;
        found = go_over(input, &options, options.keep)?;
    }
    let Found { overview, limits, kept, .. } = found;
    Ok(Recording { open, options, limits, overview, kept })
}

impl<F> Recording<F> {
    /// What the capture holds but its reads.
    pub fn overview(&self) -> &Overview {
        &self.overview
    }

    /// What timing is allowed, with the sample period that is reckoned with.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// Hands the reads on in order, until the last or until `see` has had
    /// enough.
    ///
    /// # Errors
    ///
    /// Where the capture has to be gone over again and cannot be, or no longer
    /// holds as many reads. Those before have been handed on by then.
    pub fn for_each<R>(
        &mut self,
        mut see: impl FnMut(CaptureRead) -> ControlFlow<()>,
    ) -> Result<(), CaptureError>
    where
        R: BufRead + Seek + Send + Sync + 'static,
        F: FnMut() -> io::Result<R>,
    {
        let mut annotator = Annotator::new(&self.options, self.limits, self.overview.rhythm);
        if let Some(kept) = &self.kept {
            // Whoever has had enough is not told of it.
            let _ = kept.reads().try_for_each(|raw| see(annotator.read(raw)));
            return Ok(());
        }
        let of = self.overview.reads;
        let mut given = 0;
        let mut enough = of == 0;
        let input = (self.open)()?;
        pass(input, &self.options, &mut |read| {
            given += 1;
            let flow = see(annotator.read(Raw::from(read)));
            // One that somebody still writes to may hold more by now.
            if flow.is_break() || given == of {
                enough = true;
                return ControlFlow::Break(());
            }
            flow
        })?;
        if enough { Ok(()) } else { Err(CaptureError::Changed { reads: of, now: given }) }
    }
}

/// A closure that opens files cannot be shown.
impl<F> fmt::Debug for Recording<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Recording")
            .field("overview", &self.overview)
            .field("in_memory", &self.kept.is_some())
            .finish_non_exhaustive()
    }
}

/// Everything at once, in memory.
pub(super) fn read_all<R>(input: R, options: &Options) -> Result<Capture, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let input = Arc::new(Mutex::new(input));
    let again = || {
        let mut input = BufReader::with_capacity(PIECE, Shared(input.clone()));
        input.rewind().map(|()| input)
    };
    let mut recording = open(again, &Options { keep: usize::MAX, ..options.clone() })?;
    let mut reads = Vec::new();
    recording.for_each(|read| {
        reads.push(read);
        ControlFlow::Continue(())
    })?;
    let Overview { lines, idle, rhythm, sample_period, threshold, findings, damage, .. } =
        recording.overview;
    Ok(Capture { lines, idle, rhythm, sample_period, threshold, reads, findings, damage })
}

/// How much is read at once, in bytes.
const PIECE: usize = 1 << 16;

/// An input that can be gone over more than once, whoever reads it taking it
/// for good; by one at a time.
struct Shared<R>(Arc<Mutex<R>>);

impl<R: Read> Read for Shared<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.0.lock().map_err(|_| left())?.read(buffer)
    }
}

impl<R: Seek> Seek for Shared<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.0.lock().map_err(|_| left())?.seek(to)
    }
}

fn left() -> io::Error {
    io::Error::other("reading it has failed before")
}

/// What going over a capture tells.
struct Found {
    overview: Overview,
    limits: Limits,
    kept: Option<Kept>,
    /// Where each line rests, if they were taken to rest at one level and do
    /// not.
    apart: Option<[Level; 2]>,
}

fn go_over<R>(input: R, options: &Options, keep: usize) -> Result<Found, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let mut tally = Tally::default();
    let mut rhythm = RhythmTally::default();
    let mut kept = Some(Kept::default());
    let Pass { lines, sample_period, threshold, unit_taken, damage } =
        pass(input, options, &mut |read| {
            tally.count(read);
            rhythm.count(read.pulses());
            // Nor are reads kept that have no pulses to speak of.
            kept = kept.take().filter(|kept| kept.pulses.len() + read.len() <= keep);
            if let Some(kept) = &mut kept {
                kept.keep(read);
            }
            ControlFlow::Continue(())
        })?;
    let limits = match options.limits.sample_period {
        0 => options.limits.sampled_every(sample_period),
        _ => options.limits,
    };
    let overview = Overview {
        lines,
        idle: Line::BOTH.map(|line| match tally.pulses(line) {
            0 => tally.stands(line),
            _ => Some(tally.rest(line)),
        }),
        rhythm: rhythm.rhythm(&limits),
        sample_period: limits.sample_period,
        threshold,
        unit_taken,
        reads: tally.reads(),
        findings: tally.findings().collect(),
        damage,
    };
    Ok(Found { overview, limits, kept, apart: tally.apart() })
}

/// Reads in memory: their pulses in one row.
#[derive(Clone, Debug, Default)]
struct Kept {
    pulses: Vec<Pulse>,
    marks: Vec<Marks>,
}

#[derive(Clone, Copy, Debug)]
struct Marks {
    /// How many pulses it has.
    len: u16,
    rest: [Level; 2],
    ended: Ended,
    follows_on: bool,
}

const _: () = assert!(MAX_PULSES <= u16::MAX as usize);

impl Kept {
    fn keep(&mut self, read: &pulse::Read<'_>) {
        let Raw { pulses, rest, ended, follows_on } = Raw::from(read);
        self.pulses.extend_from_slice(pulses);
        self.marks.push(Marks { len: pulses.len() as u16, rest, ended, follows_on });
    }

    fn reads(&self) -> impl Iterator<Item = Raw<'_>> {
        let mut rest_of = &self.pulses[..];
        self.marks.iter().map(move |&Marks { len, rest, ended, follows_on }| {
            let (pulses, behind) = rest_of.split_at(usize::from(len).min(rest_of.len()));
            rest_of = behind;
            Raw { pulses, rest, ended, follows_on }
        })
    }
}
