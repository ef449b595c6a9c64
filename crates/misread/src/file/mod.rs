//! Layout files, the catalogue of layouts, and reads from text and tables.
//!
//! What comes in from outside comes in here, and here it is either understood
//! or refused with its place. A walk through it:
//!
//! - **A layout document.** [`LayoutDoc`] is a layout as someone writes it
//!   down, in TOML or JSON. [`LayoutDoc::check`] compiles it into a
//!   [`Layout`](crate::Layout) or says everything that is wrong with it.
//! - **The catalogue.** An [`Entry`] is a layout with its title, weight and
//!   [`Source`]; a [`Catalogue`] holds the built-in ones and the user's own,
//!   from bytes, from a file, or from a folder where they are kept.
//! - **Reads as lines.** [`read_lines`] takes one read a line, as pasted from a
//!   log. Bad lines are told one by one and the good ones still come.
//! - **Reads as a table.** [`read_table`] takes a table with a column `bits`
//!   and one for each field of the card that was presented. [`read_any`] takes
//!   either.
//! - **Reads from a panel's display.** [`read_shown`] makes a read of the
//!   numbers a panel shows; what it does not show is unread. [`parse_values`]
//!   takes them as typed.
//! - **Hexadecimal without a length.** [`hex_readings`] lists what it can be.
//!
//! Nothing here looks at the environment, and only the functions under the
//! `files` feature open a file.
//!
//! ```
//! use misread::file::{Catalogue, parse_values, read_lines, read_shown};
//!
//! let catalogue = Catalogue::built_in();
//! let open = &catalogue.get("open-26").unwrap().layout;
//!
//! // What the panel at the fuel berth shows, and what the log says.
//! let values = parse_values("facility=42, card=1234")?;
//! let shown: Vec<_> = values.iter().map(|(name, value)| (name.as_str(), *value)).collect();
//! let displayed = read_shown(open, &shown)?;
//! for read in read_lines("fuel berth: 1001 0101 0000 0010 0110 1001 00\n".as_bytes()) {
//!     assert!(displayed.agrees_with(&read?.bits));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod any_reads;
mod catalogue;
mod entry;
mod field_value;
mod file_error;
mod hex_readings;
mod layout_check;
mod layout_doc;
mod line_error;
mod lines;
mod parse_error;
mod reads;
mod shorten;
mod shown;
mod spans;
#[cfg(feature = "files")]
mod store;
mod tables;
mod value_text;

pub use any_reads::{AnyReads, read_any};
pub use catalogue::Catalogue;
pub use entry::{Entry, Source};
pub use field_value::FieldValue;
pub use file_error::{FileError, FileProblem, NameTaken};
pub use hex_readings::{HexReading, Justified, hex_readings};
pub use layout_check::LayoutProblem;
pub use layout_doc::{FieldDoc, FixedDoc, LayoutDoc, ParityDoc};
pub use line_error::{LineError, LineProblem};
pub(crate) use lines::{Line, Lines};
pub use parse_error::ParseError;
pub use reads::{LineRead, ReadLines, read_lines};
pub(crate) use shorten::shown;
pub use shown::{ShownError, ValuesError, ValuesProblem, parse_values, read_shown};
pub(crate) use spans::listed as positions_in_words;
#[cfg(feature = "files")]
pub use store::{write_new, write_whole};
pub(crate) use tables::{RowReader, delimiter};
pub use tables::{Table, TableRead, read_cards, read_table};
pub use value_text::ValueProblem;
pub(crate) use value_text::parse_value;
#[cfg(feature = "captures")]
pub(crate) use {
    lines::{BadLine, MAX_LINE},
    reads::read_of,
    tables::{Columns, is_bits},
};
