//! What came, kept in a file.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

use misread::watch::Lines;

use crate::json::Place;
use crate::refusal::Refusal;

/// A file that whole lines are appended to, each at once.
pub(super) struct Record {
    file: File,
    name: String,
    lines: Lines,
}

impl Record {
    /// Opens the file, or makes it.
    ///
    /// # Errors
    ///
    /// It cannot be opened.
    pub(super) fn open(path: &Path) -> Result<Self, Refusal> {
        let name = path.display().to_string();
        match open(path) {
            Ok(file) => Ok(Record { file, name, lines: Lines::default() }),
            Err(error) => Err(refusal(&name, &error)),
        }
    }

    /// Takes the next piece of what came.
    ///
    /// # Errors
    ///
    /// It cannot be written.
    pub(super) fn push(&mut self, piece: &[u8]) -> Result<(), Refusal> {
        let Record { file, name, lines } = self;
        let mut written = Ok(());
        lines.push(piece, |line| {
            // A line too long to be anything is not held, and so not kept.
            if let (Ok(()), Some(text)) = (&written, line.text) {
                // In one piece, so that no half line is left behind.
                written = file.write_all(&[text, b"\n"].concat()).and_then(|()| file.flush());
            }
        });
        written.map_err(|error| refusal(name, &error))
    }

    /// The stream has broken off; what came of a line is dropped.
    pub(super) fn break_off(&mut self) {
        self.lines.let_go();
    }
}

/// A file whose last line has no end is given one first.
fn open(path: &Path) -> io::Result<File> {
    let mut file = OpenOptions::new().create(true).read(true).append(true).open(path)?;
    let mut last = [b'\n'];
    if file.metadata()?.len() > 0 {
        file.seek(SeekFrom::End(-1))?;
        file.read_exact(&mut last)?;
    }
    if last != *b"\n" {
        file.write_all(b"\n")?;
    }
    Ok(file)
}

fn refusal(name: &str, error: &io::Error) -> Refusal {
    Refusal::new(format!("cannot be written: {error}"), "a file that can be appended to")
        .at(Place { file: Some(name.to_owned()), ..Place::default() })
}
