//! Layout files and the catalogue of layouts.
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
//!
//! Nothing here looks at the environment, and only the functions under the
//! `files` feature open a file.

mod catalogue;
mod entry;
mod field_value;
mod file_error;
mod layout_check;
mod layout_doc;
mod parse_error;
mod shorten;
mod spans;
#[cfg(feature = "files")]
mod store;

pub use catalogue::Catalogue;
pub use entry::{Entry, Source};
pub use field_value::FieldValue;
pub use file_error::{FileError, FileProblem, NameTaken};
pub use layout_check::LayoutProblem;
pub use layout_doc::{FieldDoc, FixedDoc, LayoutDoc, ParityDoc};
pub use parse_error::ParseError;
