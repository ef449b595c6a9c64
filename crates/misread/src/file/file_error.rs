//! What went wrong with a file, and where in it.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use super::entry::Source;
use super::layout_check::LayoutProblem;
use super::parse_error::ParseError;

/// A file that could not be read, understood or written.
#[derive(Debug)]
pub struct FileError {
    /// The file or folder.
    pub path: PathBuf,
    /// What is wrong.
    pub problem: FileProblem,
}

/// What is wrong with a file.
#[derive(Debug)]
pub enum FileProblem {
    /// The system would not read it.
    Read(io::Error),
    /// The system would not write it. Nothing was changed.
    Write(io::Error),
    /// Larger than a layout file can sensibly be.
    TooLarge {
        /// The most bytes a layout file may have.
        most: usize,
    },
    /// Bytes that are not UTF-8 text.
    NotText {
        /// The line, from 1.
        line: usize,
        /// The character in the line, from 1.
        column: usize,
    },
    /// Not a layout document.
    Parse(ParseError),
    /// A layout document that contradicts itself: everything that is wrong.
    Unsound(Vec<LayoutProblem>),
    /// Another layout has this name.
    NameTaken(NameTaken),
    /// A layout of that name is kept already; it is replaced only when that is
    /// asked for.
    Exists {
        /// The layout's name.
        name: String,
        /// The file it is kept in.
        kept: PathBuf,
    },
}

/// Another layout of a catalogue has this name, capitals aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NameTaken {
    /// The name.
    pub name: String,
    /// Where the layout that has it came from.
    pub by: Source,
}

impl FileError {
    pub(super) fn new(path: &Path, problem: FileProblem) -> Self {
        FileError { path: path.to_owned(), problem }
    }

    /// The line, from 1, where one is to blame.
    pub fn line(&self) -> Option<usize> {
        self.place().map(|(line, _)| line)
    }

    /// The character in the line, from 1, where one is to blame.
    pub fn column(&self) -> Option<usize> {
        self.place().map(|(_, column)| column)
    }

    /// What would be accepted, or what to do.
    pub fn expected(&self) -> String {
        match &self.problem {
            FileProblem::Read(_) => "a file that can be read".to_owned(),
            FileProblem::Write(_) => "a folder that can be written to".to_owned(),
            FileProblem::TooLarge { most } => format!("a layout file of at most {most} bytes"),
            FileProblem::NotText { .. } => "text saved as UTF-8".to_owned(),
            FileProblem::Parse(error) => error.expected.clone(),
            FileProblem::Unsound(_) => "a layout whose rules agree with each other".to_owned(),
            FileProblem::NameTaken(_) => "another name".to_owned(),
            FileProblem::Exists { .. } => {
                "another name, or the wish to replace the layout kept under this one".to_owned()
            }
        }
    }

    fn place(&self) -> Option<(usize, usize)> {
        match &self.problem {
            FileProblem::NotText { line, column } => Some((*line, *column)),
            FileProblem::Parse(error) => Some((error.line, error.column)),
            _ => None,
        }
    }
}

impl std::error::Error for FileError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &self.problem {
            FileProblem::Read(error) | FileProblem::Write(error) => Some(error),
            FileProblem::Parse(error) => Some(error),
            _ => None,
        }
    }
}

impl std::error::Error for NameTaken {}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.path.display(), self.problem)
    }
}

impl fmt::Display for FileProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FileProblem::Read(error) => write!(f, "cannot be read: {error}"),
            FileProblem::Write(error) => write!(f, "cannot be written: {error}"),
            FileProblem::TooLarge { most } => write!(f, "has more than {most} bytes"),
            FileProblem::NotText { line, column } => {
                write!(f, "line {line}, column {column}: a byte that is not UTF-8 text")
            }
            FileProblem::Parse(error) => error.fmt(f),
            FileProblem::Unsound(problems) => {
                for (i, problem) in problems.iter().enumerate() {
                    let between = if i == 0 { "" } else { "; " };
                    write!(f, "{between}{problem}")?;
                }
                Ok(())
            }
            FileProblem::NameTaken(taken) => taken.fmt(f),
            FileProblem::Exists { name, kept } => {
                write!(f, "a layout named {name} is kept already, in {}", kept.display())
            }
        }
    }
}

impl fmt::Display for NameTaken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.by {
            Source::BuiltIn => write!(f, "the name {} is that of a built-in layout", self.name),
            Source::File(path) => {
                write!(f, "the name {} is that of the layout in {}", self.name, path.display())
            }
        }
    }
}
