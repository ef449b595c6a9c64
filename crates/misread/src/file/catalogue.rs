//! The layouts at hand, by name.

use std::path::Path;

use super::entry::{Entry, Source, built_in};
use super::file_error::{FileError, FileProblem, NameTaken};
use super::layout_doc::LayoutDoc;
use super::parse_error::line_and_column;

/// The layouts at hand: the built-in ones, then the user's own in the order
/// added. No two have the same name, capitals aside.
///
/// ```
/// use misread::file::Catalogue;
/// use std::path::Path;
///
/// let mut catalogue = Catalogue::built_in();
/// assert_eq!(catalogue.get("open-26").map(|entry| entry.layout.bits()), Some(26));
///
/// let file = br#"{ "name": "fuel-berth-9", "bits": 9,
///     "field": [{ "name": "card", "bits": ["1-8"] }],
///     "parity": [{ "bit": 9, "kind": "odd", "over": ["1-8"] }] }"#;
/// catalogue.add(Catalogue::load_bytes(file, Path::new("fuel-berth.json"))?)?;
/// assert_eq!(catalogue.entries().last().map(|entry| entry.name()), Some("fuel-berth-9"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    entries: Vec<Entry>,
}

impl Catalogue {
    /// The built-in layouts.
    pub fn built_in() -> Self {
        Catalogue { entries: built_in() }
    }

    /// The layout of that name, capitals aside.
    pub fn get(&self, name: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.name().eq_ignore_ascii_case(name))
    }

    /// All layouts, built-in ones first.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Adds a layout at the end.
    ///
    /// # Errors
    ///
    /// Another layout has the name; nothing is added then.
    pub fn add(&mut self, entry: Entry) -> Result<(), NameTaken> {
        if let Some(other) = self.get(entry.name()) {
            return Err(NameTaken { name: entry.name().to_owned(), by: other.source.clone() });
        }
        self.entries.push(entry);
        Ok(())
    }

    /// Reads and checks a layout file's bytes. `path` says which file they are
    /// from; where it ends in neither `.toml` nor `.json` the text decides.
    ///
    /// # Errors
    ///
    /// Bytes that are no text, text that is no layout document, a document
    /// that contradicts itself.
    pub fn load_bytes(bytes: &[u8], path: &Path) -> Result<Entry, FileError> {
        let refuse = |problem| FileError::new(path, problem);
        let text = text_of(bytes).map_err(refuse)?;
        let doc = match Format::of(text, path) {
            Format::Toml => LayoutDoc::from_toml(text),
            Format::Json => LayoutDoc::from_json(text),
        };
        let doc = doc.map_err(|error| refuse(FileProblem::Parse(error)))?;
        doc.into_entry(Source::File(path.to_owned()))
            .map_err(|problems| refuse(FileProblem::Unsound(problems)))
    }
}

/// How a layout file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    Toml,
    Json,
}

impl Format {
    /// By the extension, else by the first character: a document in JSON
    /// begins with a brace, one in TOML never does.
    pub(super) fn of(text: &str, path: &Path) -> Self {
        match Format::of_extension(path) {
            Some(format) => format,
            None if text.trim_start().starts_with('{') => Format::Json,
            None => Format::Toml,
        }
    }

    pub(super) fn of_extension(path: &Path) -> Option<Self> {
        let extension = path.extension()?;
        [Format::Toml, Format::Json]
            .into_iter()
            .find(|format| extension.eq_ignore_ascii_case(format.extension()))
    }

    pub(super) fn extension(self) -> &'static str {
        match self {
            Format::Toml => "toml",
            Format::Json => "json",
        }
    }
}

/// The text, without the mark that some editors put at its start.
pub(super) fn text_of(bytes: &[u8]) -> Result<&str, FileProblem> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let sound = String::from_utf8_lossy(&bytes[..error.valid_up_to()]);
        let (line, column) = line_and_column(&sound, sound.len());
        FileProblem::NotText { line, column }
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}
