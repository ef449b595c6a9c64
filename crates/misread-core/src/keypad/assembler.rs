//! Keys in, finished codes out.

use core::fmt;

use arrayvec::ArrayVec;

use super::{Digit, Key};
use crate::bits::MAX_BITS;

/// How long nobody presses a key before a code is taken to be over, in
/// nanoseconds: 5 s (judgement; panels commonly give up on a code that is half
/// keyed after some five to ten seconds).
pub const DEFAULT_PAUSE: u64 = 5_000_000_000;

/// The most keys in one code; more end it. As many as the longest burst holds.
pub const MAX_KEYS: usize = MAX_BITS / 4;

/// Assembles keys into codes.
///
/// A code ends with the hash key, with a pause, or with the end of the stream.
/// The star key clears what was keyed since the last code. It takes anything
/// and never panics: a time before the last one counts as no pause, and the
/// key after the longest code begins another.
///
/// ```
/// use misread_core::keypad::{Assembler, Ended, Key};
///
/// let mut codes = Assembler::new(5_000_000_000);
/// let keys = |text: &'static str| text.chars().map(Key::from_char);
/// let mut done = Vec::new();
/// for (second, key) in (0..).zip(keys("12*34#5")) {
///     done.extend(codes.press(key, Some(second * 1_000_000_000)));
/// }
/// done.extend(codes.press(Key::from_char('6'), Some(60_000_000_000)));
/// done.extend(codes.finish());
/// let texts: Vec<String> = done.iter().map(ToString::to_string).collect();
/// assert_eq!(texts, ["34", "5", "6"]);
/// assert_eq!(done[0].cleared(), 2);
/// assert_eq!(done[1].ended(), Ended::Pause);
/// assert_eq!(done[2].ended(), Ended::StreamEnd);
/// ```
#[derive(Clone, Debug)]
pub struct Assembler {
    pause: u64,
    code: Code,
    /// When the last key was pressed, where that is known.
    last: Option<i64>,
}

impl Assembler {
    /// An assembler that has seen nothing yet. A code ends where the next key
    /// comes `pause` nanoseconds after the last one, or later.
    pub const fn new(pause: u64) -> Self {
        Assembler { pause, code: Code::new(), last: None }
    }

    /// Takes a key, or `None` for a press that could not be read, with the time
    /// it came in nanoseconds, where that is known. Gives the codes it ended:
    /// one before it by a pause, and one by itself.
    pub fn press(&mut self, key: Option<Key>, at: Option<i64>) -> Finished {
        let paused = at.is_some_and(|at| self.is_over(at));
        self.last = at;
        let before = if paused { self.take(Ended::Pause) } else { None };
        let now = match key {
            Some(Key::Hash) => Some(self.code.ended_by(Ended::Hash)),
            Some(Key::Star) => {
                self.code.cleared += self.code.keys.len();
                self.code.keys.clear();
                None
            }
            Some(Key::Digit(digit)) => self.add(Some(digit)),
            None => self.add(None),
        };
        Finished([before, now])
    }

    /// Whether a key that came at this time would come after a pause.
    pub fn is_over(&self, at: i64) -> bool {
        self.last.is_some_and(|last| at > last && at.abs_diff(last) >= self.pause)
    }

    /// The code that the end of the stream cuts off, if there is one.
    pub fn finish(&mut self) -> Option<Code> {
        self.last = None;
        self.take(Ended::StreamEnd)
    }

    fn add(&mut self, key: Option<Digit>) -> Option<Code> {
        let full = self.code.keys.is_full().then(|| self.code.ended_by(Ended::TooManyKeys));
        // There is room now.
        let _ = self.code.keys.try_push(key);
        full
    }

    /// What was keyed, unless that is nothing.
    fn take(&mut self, ended: Ended) -> Option<Code> {
        let code = self.code.ended_by(ended);
        (!code.keys.is_empty()).then_some(code)
    }
}

/// With [`DEFAULT_PAUSE`].
impl Default for Assembler {
    fn default() -> Self {
        Assembler::new(DEFAULT_PAUSE)
    }
}

/// A code as it was keyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Code {
    keys: ArrayVec<Option<Digit>, MAX_KEYS>,
    cleared: usize,
    ended: Ended,
}

impl Code {
    const fn new() -> Self {
        Code { keys: ArrayVec::new_const(), cleared: 0, ended: Ended::StreamEnd }
    }

    /// The digits in the order keyed; `None` for a press that could not be
    /// read. None at all where the hash key was pressed alone.
    pub fn keys(&self) -> &[Option<Digit>] {
        &self.keys
    }

    /// How many presses the star key cleared before it.
    pub fn cleared(&self) -> usize {
        self.cleared
    }

    /// What ended it.
    pub fn ended(&self) -> Ended {
        self.ended
    }

    /// This code, ended; an empty one takes its place.
    fn ended_by(&mut self, ended: Ended) -> Code {
        let code = core::mem::replace(self, Code::new());
        Code { ended, ..code }
    }
}

/// The digits; `?` for a press that could not be read.
impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use fmt::Write;
        self.keys.iter().try_for_each(|key| f.write_char(key.map_or('?', Digit::as_char)))
    }
}

/// What ended a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ended {
    /// The hash key.
    Hash,
    /// Nobody pressed a key for as long as the set pause.
    Pause,
    /// There was no more to come.
    StreamEnd,
    /// It had [`MAX_KEYS`] keys and another one came.
    TooManyKeys,
}

/// The codes that a key ended, up to two, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finished([Option<Code>; 2]);

impl Iterator for Finished {
    type Item = Code;

    fn next(&mut self) -> Option<Code> {
        let [first, second] = &mut self.0;
        first.take().or_else(|| second.take())
    }
}
