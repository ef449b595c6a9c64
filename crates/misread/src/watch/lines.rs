//! Pieces of a stream into whole lines.

use crate::file::MAX_LINE;

/// Takes pieces of a stream and gives out its whole lines. It holds one line,
/// up to 64 KiB.
///
/// ```
/// use misread::watch::Lines;
///
/// let mut lines = Lines::default();
/// let mut whole = Vec::new();
/// for piece in [&b"10"[..], b"01\r\n11", b"0\n01"] {
///     lines.push(piece, |line| whole.push(line.text.unwrap_or_default().to_vec()));
/// }
/// assert_eq!(whole, [&b"1001\r"[..], b"110"]);
/// assert_eq!(lines.let_go().unwrap().text, b"01");
/// ```
#[derive(Clone, Debug, Default)]
pub struct Lines {
    held: Vec<u8>,
    /// The line in progress is too long, and what comes of it is not held.
    passing: bool,
    /// How many lines have begun and ended.
    ended: u64,
}

/// A whole line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line<'a> {
    /// Its number, from 1.
    pub number: u64,
    /// What it holds, without the line break at its end; `None` where that is
    /// more than 64 KiB.
    pub text: Option<&'a [u8]>,
}

/// A line that never ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Half {
    /// Its number, from 1.
    pub number: u64,
    /// What came of it; empty where that was more than 64 KiB.
    pub text: Vec<u8>,
}

impl Lines {
    /// Takes the next piece, of any length.
    pub fn push(&mut self, piece: &[u8], mut see: impl FnMut(Line<'_>)) {
        for part in piece.split_inclusive(|&byte| byte == b'\n') {
            let Some(end) = part.strip_suffix(b"\n") else {
                self.hold(part);
                continue;
            };
            self.ended += 1;
            let number = self.ended;
            if self.held.is_empty() && !self.passing {
                see(Line { number, text: Some(end).filter(|end| end.len() <= MAX_LINE) });
                continue;
            }
            self.hold(end);
            see(Line { number, text: Some(&*self.held).filter(|_| !self.passing) });
            self.held.clear();
            self.passing = false;
        }
    }

    /// Lets go of a line that has begun and will not end; it counts as one.
    pub fn let_go(&mut self) -> Option<Half> {
        if self.held.is_empty() && !self.passing {
            return None;
        }
        self.passing = false;
        self.ended += 1;
        Some(Half { number: self.ended, text: std::mem::take(&mut self.held) })
    }

    fn hold(&mut self, part: &[u8]) {
        if self.passing {
            return;
        }
        if self.held.len() + part.len() > MAX_LINE {
            self.passing = true;
            self.held = Vec::new();
        } else {
            self.held.extend_from_slice(part);
        }
    }
}
