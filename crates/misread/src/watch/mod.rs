//! Reads as they come: from a stream of bytes, a piece at a time.
//!
//! [`Intake`] takes whatever bytes have arrived and what the time is, and tells
//! what they are as [`Event`]s. It opens nothing, waits for nothing and reads no
//! clock, so that any front end can stand around it; [`listen`] is the thread
//! that waits for the bytes and opens a device again when it was unplugged.
//!
//! What comes is text, a line at a time. A line is one of these:
//!
//! - **a read**, as [`read_any`](crate::file::read_any) takes it: bits, or
//!   hexadecimal with its length;
//! - **a row of a table** of reads, behind a line of headings with `bits` among
//!   them: a column that says when, such as `time_s`, and columns with what the
//!   presented card should carry;
//! - **a level change** of a data line, as in a
//!   [capture](crate::capture), behind the headings `time_us,line,level` (any
//!   unit); without headings in µs, such as `1250,D0,0`;
//! - **the levels** of both data lines, sampled, behind the headings
//!   `time_us,d0,d1`;
//! - headings, which may come at any time, as when a device starts again;
//! - blank, or a comment behind `#`.
//!
//! Times whose heading gives no unit are in that of [`Options::unit`], else in
//! seconds; where they cannot be seconds that is told once, and their reads are
//! passed over.
//!
//! Everything else is told and passed over. Headings of any other table are told
//! once, and the rows that have as many cells are passed over until other
//! headings come: some of them look like reads.
//!
//! ```
//! use misread::watch::{Event, Intake, Options};
//!
//! let mut intake = Intake::new(Options::default());
//! let mut reads = Vec::new();
//! let mut see = |event| {
//!     if let Event::Read(read) = event {
//!         reads.push(read.bits.to_string());
//!     }
//! };
//! intake.push(b"time_us,line,level\n0,D1,0\n50,D1,1\n1000,D", 0, &mut see);
//! intake.push(b"0,0\n1050,D0,1\n", 2_000_000, &mut see);
//! // Half a second later nothing has followed: the read is over.
//! intake.tick(502_000_000, &mut see);
//! intake.push(b"0110 1010\n", 900_000_000, &mut see);
//! assert_eq!(reads, ["10", "01101010"]);
//! ```

mod change;
mod intake;
mod level_rows;
mod levels;
mod lines;
mod listen;
mod moments;
mod rows;

pub use change::since_change;
pub use intake::{Arrived, DEFAULT_PATIENCE, Event, Intake, Options};
pub use lines::{Half, Line, Lines};
pub use listen::{Heard, listen};
