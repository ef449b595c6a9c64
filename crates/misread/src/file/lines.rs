//! A stream of text, line by line, whatever is wrong with some of them.

use std::io::{self, BufRead, Read};

/// The longest line that is read, in bytes.
pub(crate) const MAX_LINE: usize = 64 * 1024;

/// Lines that say something: blank ones and those that begin with `#` are
/// passed over.
#[derive(Debug)]
pub(crate) struct Lines<R> {
    input: R,
    number: usize,
    waiting: Option<Line>,
    ended: bool,
}

/// A line and its number, from 1.
#[derive(Debug)]
pub(crate) struct Line {
    pub(crate) number: usize,
    pub(crate) text: Result<String, BadLine>,
}

/// Why a line is no text.
#[derive(Debug)]
pub(crate) enum BadLine {
    /// Over [`MAX_LINE`].
    TooLong,
    /// A byte that is not UTF-8, at this character, from 1.
    NotText(usize),
    /// The input is UTF-16.
    Utf16,
    /// The input could not be read; nothing follows.
    Io(io::Error),
}

impl BadLine {
    /// Where the first byte stands that is not UTF-8.
    pub(crate) fn not_text(bytes: &[u8]) -> Self {
        let sound = bytes.utf8_chunks().next().map_or("", |chunk| chunk.valid());
        BadLine::NotText(sound.chars().count() + 1)
    }
}

impl<R: BufRead> Lines<R> {
    pub(crate) fn new(input: R) -> Self {
        Lines { input, number: 0, waiting: None, ended: false }
    }

    /// Takes a line back, to be the next one again.
    pub(super) fn put_back(&mut self, line: Line) {
        self.waiting = Some(line);
    }

    fn read(&mut self) -> Option<Line> {
        self.number += 1;
        let number = self.number;
        let mut bytes = Vec::new();
        let limit = MAX_LINE as u64 + 1;
        match self.input.by_ref().take(limit).read_until(b'\n', &mut bytes) {
            Ok(0) => {
                self.ended = true;
                return None;
            }
            Ok(_) => {}
            Err(error) => {
                self.ended = true;
                return Some(Line { number, text: Err(BadLine::Io(error)) });
            }
        }
        if bytes.last() == Some(&b'\n') {
            bytes.pop();
        } else if bytes.len() > MAX_LINE {
            return Some(Line { number, text: Err(self.skip_line()) });
        }
        let utf16 =
            number == 1 && (bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff"));
        if utf16 {
            // Its line ends are no line ends here, so nothing after it is
            // worth a message of its own.
            self.ended = true;
            return Some(Line { number, text: Err(BadLine::Utf16) });
        }
        let text = String::from_utf8(bytes).map_err(|error| BadLine::not_text(error.as_bytes()));
        let text = match text {
            Ok(text) if number == 1 && text.starts_with('\u{feff}') => Ok(text[3..].to_owned()),
            text => text,
        };
        Some(Line { number, text })
    }

    /// Passes over what is left of a line, without holding it.
    fn skip_line(&mut self) -> BadLine {
        match self.input.skip_until(b'\n') {
            Ok(_) => BadLine::TooLong,
            Err(error) => {
                self.ended = true;
                BadLine::Io(error)
            }
        }
    }
}

impl<R: BufRead> Iterator for Lines<R> {
    type Item = Line;

    fn next(&mut self) -> Option<Line> {
        if let Some(line) = self.waiting.take() {
            return Some(line);
        }
        while !self.ended {
            let line = self.read()?;
            let says_nothing = line.text.as_ref().is_ok_and(|text| {
                let text = text.trim();
                text.is_empty() || text.starts_with('#')
            });
            if !says_nothing {
                return Some(line);
            }
        }
        None
    }
}
