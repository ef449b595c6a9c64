//! A text file line by line, watched on its way into the VCD reader.
//!
//! That reader says neither where it stopped nor that a file ends in the middle
//! of a line. It writes a warning to standard output when the time goes back,
//! and takes the time that follows for the name of a vector that has none. So
//! the guard counts the lines, and stops the reader before either.

use std::collections::VecDeque;
use std::io::{self, BufRead, Read, Seek, SeekFrom};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

/// What the guard has seen, to be asked while the reader holds the guard.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    line: Arc<AtomicU64>,
    cut: Arc<AtomicBool>,
    refused: Arc<OnceLock<&'static str>>,
}

impl Seen {
    /// The line the reader is at, from 1.
    pub(super) fn line(&self) -> u64 {
        self.line.load(Ordering::Relaxed)
    }

    /// Whether the last line has no end.
    pub(super) fn cut(&self) -> bool {
        self.cut.load(Ordering::Relaxed)
    }

    /// Why the guard stopped the reader, if it did.
    pub(super) fn refused(&self) -> Option<&'static str> {
        self.refused.get().copied()
    }
}

/// The longest piece of a line that is held at once, in bytes.
const LONGEST: u64 = 1 << 20;

pub(super) struct Guard<R> {
    inner: R,
    line: Vec<u8>,
    used: usize,
    /// The position of the start of `line`.
    position: u64,
    number: u64,
    /// The last positions the reader asked for, to which it may come back, each
    /// with the number of lines before it.
    asked: VecDeque<(u64, u64)>,
    in_body: bool,
    time: Option<u64>,
    seen: Seen,
}

impl<R: BufRead + Seek> Guard<R> {
    pub(super) fn new(inner: R) -> (Self, Seen) {
        let seen = Seen::default();
        let guard = Guard {
            inner,
            line: Vec::new(),
            used: 0,
            position: 0,
            number: 0,
            asked: VecDeque::new(),
            in_body: false,
            time: None,
            seen: seen.clone(),
        };
        (guard, seen)
    }

    fn next_line(&mut self) -> io::Result<()> {
        self.position += self.line.len() as u64;
        let ended = self.line.is_empty() || self.line.ends_with(b"\n");
        self.line.clear();
        self.used = 0;
        self.inner.by_ref().take(LONGEST).read_until(b'\n', &mut self.line)?;
        if self.line.is_empty() {
            return Ok(());
        }
        self.number += u64::from(ended);
        self.seen.line.store(self.number, Ordering::Relaxed);
        let cut = !self.line.ends_with(b"\n") && (self.line.len() as u64) < LONGEST;
        self.seen.cut.store(cut, Ordering::Relaxed);
        if self.in_body
            && let Some(trouble) = self.trouble()
        {
            let trouble = self.seen.refused.get_or_init(|| trouble);
            self.line.clear();
            return Err(io::Error::other(*trouble));
        }
        if !self.in_body {
            const END: &[u8] = b"$enddefinitions";
            self.in_body = self.line.windows(END.len()).any(|window| window == END);
        }
        Ok(())
    }

    /// What in the line the reader must not see.
    fn trouble(&mut self) -> Option<&'static str> {
        let mut follows_value = false;
        for word in self.line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty()) {
            // Behind the value of a vector stands a name, and it may look like
            // a time or a value.
            let is_name = follows_value;
            follows_value =
                !is_name && matches!(word.first(), Some(b'b' | b'B' | b'r' | b'R' | b's' | b'S'));
            if follows_value && word.len() == 1 {
                return Some("a vector without a value");
            }
            let Some((b'#', digits)) = word.split_first() else { continue };
            let time = std::str::from_utf8(digits).ok().and_then(|digits| digits.parse().ok());
            let Some(time) = time.filter(|_| !is_name) else { continue };
            if self.time.is_some_and(|before| time < before) {
                return Some("the time goes back");
            }
            self.time = Some(time);
        }
        follows_value.then_some("a value without the name of a signal")
    }
}

impl<R: BufRead + Seek> BufRead for Guard<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.used == self.line.len() {
            self.next_line()?;
        }
        Ok(self.line.get(self.used..).unwrap_or_default())
    }

    fn consume(&mut self, amount: usize) {
        self.used = self.used.saturating_add(amount).min(self.line.len());
    }
}

impl<R: BufRead + Seek> Read for Guard<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut available = self.fill_buf()?;
        let read = available.read(buffer)?;
        self.consume(read);
        Ok(read)
    }
}

impl<R: BufRead + Seek> Seek for Guard<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let here = self.position + self.used as u64;
        let target = match to {
            SeekFrom::Current(0) => {
                // What is left of a line is counted when it is read again.
                let begun = u64::from(self.used < self.line.len());
                self.asked.truncate(7);
                self.asked.push_front((here, self.number.saturating_sub(begun)));
                return Ok(here);
            }
            SeekFrom::Current(by) => self.inner.seek(SeekFrom::Start(
                here.checked_add_signed(by).ok_or(io::ErrorKind::InvalidInput)?,
            ))?,
            to => self.inner.seek(to)?,
        };
        let back_to = self.asked.iter().find(|&&(position, _)| position == target).copied();
        self.line.clear();
        self.used = 0;
        self.position = target;
        if let Some((_, number)) = back_to {
            self.number = number;
            self.time = None;
        } else if target == 0 {
            self.number = 0;
            self.in_body = false;
            self.time = None;
        }
        Ok(target)
    }
}
