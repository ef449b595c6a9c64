//! One pass over a capture, from its first read to its last.

use std::io::{BufRead, Seek, SeekFrom};
use std::ops::ControlFlow;

use super::levels::See;
use super::{CaptureError, Damage, Options, TimeUnit, table, wave};
use crate::pulse::Read;

/// What one pass over a capture tells besides its reads.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// The signals that were taken for D0 and D1.
    pub lines: [String; 2],
    /// The time between the rows of a table sampled evenly, or the step of a
    /// VCD or FST file's clock, in nanoseconds; 0 for exact times.
    pub sample_period: u32,
    /// In a table of voltages, what was taken for high: this many volts or
    /// more.
    pub threshold: Option<f64>,
    /// The unit that times were taken to be in where neither the file nor
    /// [`Options::unit`] says: seconds in a table, nanoseconds in a VCD file.
    pub unit_taken: Option<TimeUnit>,
    /// Where the file is damaged or cut, if it is; the reads are those before.
    pub damage: Option<Damage>,
}

/// Hands the reads of a capture on as they come, without findings, until the
/// last or until `see` has had enough. Each is borrowed for the call: its bits,
/// its pulses, where the lines rest and what ended it.
///
/// The quickest way through a capture: one pass, and memory that does not grow
/// with it. (A table of voltages without [`Options::threshold`] is gone over
/// twice more, to find it.) `Options::limits`, `keep` and `repeat_window` have
/// no say in it, and lines that rest at different levels are not noticed.
/// [`open`](super::open) gives findings too.
///
/// ```
/// use std::ops::ControlFlow;
///
/// use misread::capture::{Options, reads};
///
/// let table = "time_us,line,width\n100,D1,50\n1100,D0,50\n2100,D1,48\n";
/// let mut seen = vec![];
/// let pass = reads(std::io::Cursor::new(table), &Options::default(), |read| {
///     seen.push(read.bits().to_string());
///     ControlFlow::Continue(())
/// })?;
/// assert_eq!(seen, ["101"]);
/// assert_eq!((pass.lines, pass.damage), (["D0".to_owned(), "D1".to_owned()], None));
/// # Ok::<(), misread::capture::CaptureError>(())
/// ```
///
/// # Errors
///
/// As with [`read`](super::read).
pub fn reads<R>(
    input: R,
    options: &Options,
    mut see: impl FnMut(&Read<'_>) -> ControlFlow<()>,
) -> Result<Pass, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    pass(input, options, &mut see)
}

pub(super) fn pass<R>(
    mut input: R,
    options: &Options,
    see: &mut See<'_>,
) -> Result<Pass, CaptureError>
where
    R: BufRead + Seek + Send + Sync + 'static,
{
    let start = input.fill_buf()?;
    let first = start.iter().find(|byte| !byte.is_ascii_whitespace()).copied();
    match (start, first) {
        (_, None) => Err(CaptureError::Empty),
        ([0xff, 0xfe, ..] | [0xfe, 0xff, ..], _) => {
            Err(CaptureError::Unknown { found: "text in UTF-16".to_owned() })
        }
        // The first block of an FST file is of type 0 and 329 bytes long.
        ([0, 0, 0, 0, 0, 0, 0, 1, 73, ..], _) => {
            input.seek(SeekFrom::Start(0))?;
            wave::read_fst(input, options, see)
        }
        (_, Some(b'$')) => wave::read_vcd(input, options, see),
        (start, _) if start.contains(&0) => {
            Err(CaptureError::Unknown { found: "bytes that are no text".to_owned() })
        }
        _ => table::read(input, options, see),
    }
}
