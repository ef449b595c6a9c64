//! Lines of a stream, of any number and at one size in memory.

use std::io::{self, Read};

/// The longest line, in bytes. The longest read takes 512 characters.
pub(crate) const LONGEST: usize = 1 << 16;

const CHUNK: usize = 1 << 18;

/// A stream taken line by line.
pub(crate) struct Lines<R> {
    reader: R,
    buffer: Vec<u8>,
    /// What is read and not yet given out.
    start: usize,
    end: usize,
    number: u64,
    finished: bool,
    /// Set while the rest of a line that was too long is passed over.
    passing: bool,
}

/// One line, without its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Numbered<'a> {
    /// From 1.
    pub(crate) number: u64,
    /// `None` for a line longer than [`LONGEST`].
    pub(crate) text: Option<&'a [u8]>,
}

impl<R: Read> Lines<R> {
    pub(crate) fn new(reader: R) -> Self {
        Lines {
            reader,
            buffer: vec![0; CHUNK],
            start: 0,
            end: 0,
            number: 0,
            finished: false,
            passing: false,
        }
    }

    /// The next line that is already here; `None` where [`fill`](Self::fill)
    /// has to be asked for more.
    #[inline]
    pub(crate) fn buffered(&mut self) -> Option<Numbered<'_>> {
        let (from, to) = match memchr::memchr(b'\n', self.rest()) {
            Some(len) => (self.start, self.start + len),
            // A line too long that ends with the stream is still a line.
            None if self.finished && (self.start < self.end || self.passing) => {
                (self.start, self.end)
            }
            None => return None,
        };
        self.start = (to + 1).min(self.end);
        self.number += 1;
        let passed = std::mem::take(&mut self.passing) || to - from > LONGEST;
        let line = self.buffer.get(from..to).unwrap_or_default();
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        Some(Numbered { number: self.number, text: (!passed).then_some(line) })
    }

    /// Waits for more of the stream; `false` where it has ended.
    ///
    /// # Errors
    ///
    /// What the stream gives.
    pub(crate) fn fill(&mut self) -> io::Result<bool> {
        if self.finished {
            return Ok(false);
        }
        if self.end - self.start > LONGEST {
            self.passing = true;
            self.start = self.end;
        }
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        let room = self.buffer.get_mut(self.end..).unwrap_or_default();
        let got = loop {
            match self.reader.read(room) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                other => break other?,
            }
        };
        self.finished = got == 0;
        self.end += got;
        Ok(true)
    }

    fn rest(&self) -> &[u8] {
        self.buffer.get(self.start..self.end).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(reader: impl Read) -> Vec<(u64, Option<Vec<u8>>)> {
        let mut lines = Lines::new(reader);
        let mut out = Vec::new();
        loop {
            while let Some(line) = lines.buffered() {
                out.push((line.number, line.text.map(<[u8]>::to_vec)));
            }
            if !lines.fill().unwrap() {
                return out;
            }
        }
    }

    /// Gives a few bytes at a time.
    struct Trickle<'a>(&'a [u8], usize);

    impl Read for Trickle<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            let len = self.1.min(self.0.len()).min(buffer.len());
            buffer[..len].copy_from_slice(&self.0[..len]);
            self.0 = &self.0[len..];
            Ok(len)
        }
    }

    #[test]
    fn a_line_too_long_is_named_and_passed_over() {
        for long in [LONGEST + 1, CHUNK - 4, CHUNK, 3 * CHUNK + 5] {
            let long = "0".repeat(long);
            for end in ["", "\n", "\n1\n"] {
                let text = format!("10\n{long}{end}");
                let mut expected = vec![(1, Some(b"10".to_vec())), (2, None)];
                if end.len() > 1 {
                    expected.push((3, Some(b"1".to_vec())));
                }
                assert_eq!(all(text.as_bytes()), expected, "{} {end:?}", long.len());
            }
        }
    }

    proptest! {
        #[test]
        fn the_same_lines_as_the_standard_library(
            text in "[01\n\r]{0,200}",
            step in 1usize..50,
        ) {
            let expected: Vec<_> = text
                .lines()
                .enumerate()
                .map(|(i, line)| (i as u64 + 1, Some(line.as_bytes().to_vec())))
                .collect();
            // The standard library keeps a last line's lone carriage return.
            let ours: Vec<_> = all(Trickle(text.as_bytes(), step));
            prop_assume!(!text.ends_with('\r'));
            prop_assert_eq!(ours, expected);
        }
    }
}
