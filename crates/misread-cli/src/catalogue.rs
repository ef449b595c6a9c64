//! Which layouts are known, and finding the one that was named.

use std::borrow::Cow;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use etcetera::BaseStrategy;
use misread::diagnose::{Candidates, SHORTEST_LAYOUT};
use misread::file::{Catalogue, Entry, FileError, FileProblem};

use crate::json::Place;
use crate::refusal::Refusal;

/// The layouts that are known: the built-in ones and those of the folder.
#[derive(Debug)]
pub(crate) struct Known {
    catalogue: Catalogue,
    /// Files of the folder that are no layouts, said once by whoever opens it.
    pub(crate) refused: Vec<Refusal>,
}

impl Known {
    /// The built-in layouts and those of `folder`, or of the user's
    /// configuration folder where there is one.
    ///
    /// # Errors
    ///
    /// A folder that was named and cannot be read.
    pub(crate) fn open(folder: Option<&Path>) -> Result<Self, Refusal> {
        let mut known = Known { catalogue: Catalogue::built_in(), refused: Vec::new() };
        let named = folder.is_some();
        let Some(folder) = folder.map(Path::to_owned).or_else(own_folder) else {
            return Ok(known);
        };
        match known.catalogue.add_folder(&folder) {
            Ok(refused) => known.refused = refused.iter().map(file_refusal).collect(),
            Err(error) if !named && is_absent(&error) => {}
            Err(error) => return Err(file_refusal(&error)),
        }
        Ok(known)
    }

    /// Every layout, in the order known.
    pub(crate) fn entries(&self) -> &[Entry] {
        self.catalogue.entries()
    }

    /// Every layout, the likeliest first; of equal weight, in the order known.
    pub(crate) fn best_first(&self) -> Vec<&Entry> {
        let mut entries: Vec<&Entry> = self.entries().iter().collect();
        entries.sort_by(|a, b| b.weight().total_cmp(&a.weight()));
        entries
    }

    /// The layout of that name, or in that file.
    ///
    /// # Errors
    ///
    /// There is none, or the file holds none.
    pub(crate) fn named(&self, name: &str) -> Result<Cow<'_, Entry>, Refusal> {
        if let Some(entry) = self.catalogue.get(name) {
            return Ok(Cow::Borrowed(entry));
        }
        let path = Path::new(name);
        if path.extension().is_some() || path.components().count() > 1 || path.is_file() {
            return Catalogue::load_file(path).map(Cow::Owned).map_err(|e| file_refusal(&e));
        }
        let names: Vec<&str> = self.entries().iter().map(Entry::name).collect();
        Err(Refusal::new(
            format!("no layout is named ‘{name}’"),
            format!("a layout file, or one of {}", names.join(", ")),
        ))
    }
}

impl Known {
    /// The layouts a card may use: those named, or every one that is long
    /// enough to say something; and that of the panel, where it is set.
    ///
    /// # Errors
    ///
    /// A layout that is not known.
    pub(crate) fn candidates(
        &self,
        among: &[String],
        configured: Option<&Entry>,
    ) -> Result<Candidates, Refusal> {
        let mut entries: Vec<Entry> = Vec::new();
        if among.is_empty() {
            let long_enough = |entry: &&Entry| entry.layout.bits() >= SHORTEST_LAYOUT;
            entries.extend(self.entries().iter().filter(long_enough).cloned());
        }
        for name in among {
            let entry = self.named(name)?;
            if !entries.iter().any(|other| other.layout == entry.layout) {
                entries.push(entry.into_owned());
            }
        }
        if let Some(set) = configured
            && !entries.iter().any(|entry| entry.layout == set.layout)
        {
            entries.insert(0, set.clone());
        }
        let is_set = |entry: &Entry| configured.is_some_and(|set| entry.layout == set.layout);
        let at = entries.iter().position(is_set);
        let weighted = entries.into_iter().map(|entry| {
            let weight = entry.weight();
            (Arc::new(entry.layout), weight)
        });
        let candidates = Candidates::weighted(weighted);
        Ok(at.map_or(candidates.clone(), |at| candidates.configured(at)))
    }
}

/// Where layouts are kept when no folder is named.
pub(crate) fn own_folder() -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    Some(base.config_dir().join("misread").join("layouts"))
}

/// A file that could not be read, understood or written, with the line that
/// is to blame.
pub(crate) fn file_refusal(error: &FileError) -> Refusal {
    let message = match &error.problem {
        FileProblem::Parse(problem) => problem.found.clone(),
        FileProblem::NotText { .. } => "a byte that is not UTF-8 text".to_owned(),
        problem => problem.to_string(),
    };
    let place = Place {
        file: Some(error.path.display().to_string()),
        line: error.line().map(|line| line as u64),
        column: error.column().map(|column| column as u64),
        ..Place::default()
    };
    let excerpt = error.line().zip(error.column()).and_then(|(line, column)| {
        let bytes = fs::read(&error.path).ok()?;
        let text = String::from_utf8_lossy(&bytes).into_owned();
        Some((text.lines().nth(line - 1)?.to_owned(), column - 1))
    });
    Refusal { excerpt, ..Refusal::new(message, error.expected()).at(place) }
}

fn is_absent(error: &FileError) -> bool {
    matches!(&error.problem, FileProblem::Read(e) if e.kind() == io::ErrorKind::NotFound)
}
