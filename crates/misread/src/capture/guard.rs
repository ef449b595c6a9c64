//! A text file, watched on its way into the VCD reader.
//!
//! That reader says neither where it stopped nor that a file ends in the middle
//! of a line. It writes a warning to standard output when the time goes back,
//! and takes the time that follows for the name of a vector that has none. So
//! the guard counts the lines, and stops the reader before either.

use std::collections::VecDeque;
use std::io::{self, BufRead, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, PoisonError};

use memchr::{memchr_iter, memmem};

/// What the guard has seen, to be asked when the reader has let go of the guard.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    told: Arc<Mutex<Told>>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Told {
    line: u64,
    cut: Option<u64>,
    refused: Option<(u64, &'static str)>,
    /// The file ends before its list of signals does.
    no_body: bool,
}

impl Seen {
    /// The line the reader had come to, from 1.
    pub(super) fn line(&self) -> u64 {
        let told = self.told();
        told.refused.map_or(told.line, |(line, _)| line)
    }

    /// The last line, from 1, if it has no end.
    pub(super) fn cut(&self) -> Option<u64> {
        self.told().cut
    }

    /// Why the guard stopped the reader, if it did.
    pub(super) fn refused(&self) -> Option<&'static str> {
        self.told().refused.map(|(_, why)| why)
    }

    /// Whether the file ends before its list of signals does.
    pub(super) fn has_no_body(&self) -> bool {
        self.told().no_body
    }

    fn told(&self) -> Told {
        *self.told.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, change: impl FnOnce(&mut Told)) {
        change(&mut self.told.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

/// How much is read and looked through at once, in bytes.
const PIECE: usize = 1 << 16;
/// The longest piece of a line that is held at once, in bytes.
const LONGEST: usize = 1 << 20;

pub(super) struct Guard<R> {
    inner: R,
    buffer: Vec<u8>,
    /// How much of the buffer has been handed on, has been looked through and
    /// may be, and is filled.
    used: usize,
    ready: usize,
    filled: usize,
    /// The position of the start of the buffer, and the lines that end before.
    position: u64,
    lines: u64,
    /// The line the reader had come to at the start of the buffer, from 1.
    line: u64,
    /// The last positions the reader asked for, to which it may come back, each
    /// with the number of lines before it.
    asked: VecDeque<(u64, u64)>,
    look: Look,
    refused: Option<&'static str>,
    seen: Seen,
}

impl<R: Read + Seek> Guard<R> {
    pub(super) fn new(inner: R) -> (Self, Seen) {
        let seen = Seen::default();
        let guard = Guard {
            inner,
            buffer: vec![0; PIECE],
            used: 0,
            ready: 0,
            filled: 0,
            position: 0,
            lines: 0,
            line: 1,
            asked: VecDeque::new(),
            look: Look::default(),
            refused: None,
            seen: seen.clone(),
        };
        (guard, seen)
    }

    /// Gets whole lines ready, or the last one without its end; none at the end
    /// of the file.
    #[cold]
    fn get_ready(&mut self) -> io::Result<()> {
        if let Some(why) = self.refused {
            return Err(io::Error::other(why));
        }
        self.line = self.line_acted_on();
        self.lines += lines_in(&self.buffer[..self.ready]);
        self.position += self.ready as u64;
        self.buffer.copy_within(self.ready..self.filled, 0);
        self.filled -= self.ready;
        (self.used, self.ready) = (0, 0);
        while self.ready == 0 {
            if self.filled == self.buffer.len() {
                if self.filled >= LONGEST {
                    self.look_through(self.filled);
                    break;
                }
                self.buffer.resize(self.filled * 2, 0);
            }
            let before = self.filled;
            let read = self.inner.read(&mut self.buffer[before..])?;
            self.filled += read;
            if read == 0 {
                if self.filled > 0 {
                    let line = self.lines + 1;
                    self.seen.tell(|told| told.cut = Some(line));
                }
                self.look_through(self.filled);
                let no_body = !self.look.in_body;
                self.seen.tell(|told| told.no_body = no_body);
                break;
            }
            let fresh = &self.buffer[before..self.filled];
            if let Some(end) = memchr::memrchr(b'\n', fresh) {
                self.look_through(before + end + 1);
            }
            if self.refused.is_some() {
                break;
            }
        }
        match self.refused {
            Some(why) if self.ready == 0 => Err(io::Error::other(why)),
            _ => Ok(()),
        }
    }

    /// Looks through the buffer up to there. What the reader must not see is not
    /// made ready, nor is what is behind it.
    fn look_through(&mut self, end: usize) {
        let piece = &self.buffer[..end];
        let mut start = 0;
        if !self.look.in_body {
            const END: &[u8] = b"$enddefinitions";
            let Some(at) = memmem::find(piece, END) else {
                self.ready = end;
                return;
            };
            self.look.in_body = true;
            start = memchr::memchr(b'\n', &piece[at..]).map_or(end, |length| at + length + 1);
        }
        let ends = memchr_iter(b'\n', &piece[start..]).map(|at| start + at);
        let last = (!piece.ends_with(b"\n")).then_some(end);
        let mut from = start;
        for to in ends.chain(last) {
            if let Some(why) = self.look.trouble(&piece[from..to.max(from)]) {
                self.refused = Some(why);
                let line = self.lines + lines_in(&piece[..from]) + 1;
                self.seen.tell(|told| told.refused = Some((line, why)));
                self.ready = from;
                return;
            }
            from = to + 1;
        }
        self.ready = end;
    }
}

impl<R> Guard<R> {
    /// The line the reader has come to: it acts on a word when it has the byte
    /// behind it.
    fn line_acted_on(&self) -> u64 {
        match self.used.checked_sub(1) {
            Some(acted_on) => self.lines + lines_in(&self.buffer[..acted_on]) + 1,
            None => self.line,
        }
    }
}

fn lines_in(bytes: &[u8]) -> u64 {
    memchr_iter(b'\n', bytes).count() as u64
}

/// Looks at the lines of the body, one after the other.
#[derive(Clone, Debug, Default)]
struct Look {
    in_body: bool,
    in_comment: bool,
    time: Option<u64>,
}

impl Look {
    /// What in the line the reader must not see.
    #[inline]
    fn trouble(&mut self, line: &[u8]) -> Option<&'static str> {
        if !self.in_comment {
            match line {
                // A line that is all time, and one that is a value of one bit.
                [b'#', digits @ ..] => {
                    if let Some(time) = plain_time(digits) {
                        return self.time(time);
                    }
                }
                [b'0' | b'1', name @ ..] if name.iter().all(|&byte| byte > b' ') => return None,
                _ => {}
            }
        }
        self.trouble_in_words(line)
    }

    fn trouble_in_words(&mut self, line: &[u8]) -> Option<&'static str> {
        let mut follows_value = false;
        for word in line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty()) {
            if self.in_comment {
                self.in_comment = word != b"$end";
                continue;
            }
            // Behind the value of a vector stands a name, and it may look like
            // a time or a value.
            let is_name = follows_value;
            follows_value =
                !is_name && matches!(word.first(), Some(b'b' | b'B' | b'r' | b'R' | b's' | b'S'));
            if follows_value && word.len() == 1 {
                return Some("a vector without a value");
            }
            if is_name {
                continue;
            }
            self.in_comment = word == b"$comment";
            let Some((b'#', digits)) = word.split_first() else { continue };
            let trouble = match any_time(digits) {
                Some(Ok(time)) => self.time(time),
                Some(Err(trouble)) => Some(trouble),
                None => None,
            };
            if trouble.is_some() {
                return trouble;
            }
        }
        follows_value.then_some("a value without the name of a signal")
    }

    fn time(&mut self, time: u64) -> Option<&'static str> {
        let back = self.time.replace(time).is_some_and(|before| time < before);
        back.then_some("the time goes back")
    }
}

/// The number that a few digits are, and nothing else.
#[inline]
fn plain_time(digits: &[u8]) -> Option<u64> {
    const MOST: usize = 18;
    if digits.is_empty() || digits.len() > MOST {
        return None;
    }
    digits.iter().try_fold(0, |time, byte| {
        let digit = byte.wrapping_sub(b'0');
        (digit < 10).then_some(time * 10 + u64::from(digit))
    })
}

/// The time that the reader takes it for: whole, if need be as a decimal
/// fraction. One that it would bend to fit is trouble.
fn any_time(digits: &[u8]) -> Option<Result<u64, &'static str>> {
    let text = std::str::from_utf8(digits).ok()?;
    if let Ok(time) = text.parse() {
        return Some(Ok(time));
    }
    let time: f64 = text.parse().ok().filter(|time: &f64| time.fract() == 0.0)?;
    Some(match time {
        ..0.0 => Err("a time below 0; export the capture with times from 0 on"),
        time if time < u64::MAX as f64 => Ok(time as u64),
        _ => Err("a time too large to be one"),
    })
}

/// Tells how far the reader has come when it lets go.
impl<R> Drop for Guard<R> {
    fn drop(&mut self) {
        let line = self.line_acted_on();
        self.seen.tell(|told| told.line = line);
    }
}

impl<R: Read + Seek> BufRead for Guard<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.used == self.ready {
            self.get_ready()?;
        }
        Ok(&self.buffer[self.used..self.ready])
    }

    fn consume(&mut self, amount: usize) {
        self.used = self.used.saturating_add(amount).min(self.ready);
    }
}

impl<R: Read + Seek> Read for Guard<R> {
    /// The VCD reader asks byte by byte.
    #[inline]
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.used == self.ready {
            self.get_ready()?;
        }
        let available = &self.buffer[self.used..self.ready];
        let read = match (&mut *buffer, available) {
            ([slot], [byte, ..]) => {
                *slot = *byte;
                1
            }
            (_, mut available) => available.read(buffer)?,
        };
        self.used += read;
        Ok(read)
    }
}

impl<R: Read + Seek> Seek for Guard<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let here = self.position + self.used as u64;
        let target = match to {
            SeekFrom::Current(0) => {
                self.asked.truncate(7);
                let lines = self.lines + lines_in(&self.buffer[..self.used]);
                self.asked.push_front((here, lines));
                return Ok(here);
            }
            SeekFrom::Current(by) => self.inner.seek(SeekFrom::Start(
                here.checked_add_signed(by).ok_or(io::ErrorKind::InvalidInput)?,
            ))?,
            to => self.inner.seek(to)?,
        };
        let back_to = self.asked.iter().find(|&&(position, _)| position == target).copied();
        (self.used, self.ready, self.filled) = (0, 0, 0);
        self.position = target;
        self.refused = None;
        if target == 0 {
            self.lines = 0;
            self.look = Look::default();
        } else if let Some((_, lines)) = back_to {
            self.lines = lines;
            self.look = Look { in_body: self.look.in_body, ..Look::default() };
        }
        Ok(target)
    }
}
