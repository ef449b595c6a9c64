//! How a keypad sends a key.

use core::fmt;
use core::iter;

use super::Key;
use crate::bits::Bits;
use crate::layout::{FieldSpec, Kind, ParitySpec, Span, Spec, built_in};

/// How a keypad sends a key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mode {
    /// Four bits: the key's value, most significant first. Common practice.
    FourBit,
    /// Six bits: the same four between an even parity bit over the first two
    /// of them and an odd parity bit over the last two. From memory.
    SixBit,
    /// Eight bits: the same four complemented, then the four. Common practice.
    EightBit,
}

/// One key in six bits as a layout: bits 2–5 the key, bit 1 even parity over
/// bits 2–3, bit 6 odd parity over bits 4–5. From memory.
pub static KEY_6: Spec<'static> = Spec {
    name: "key-6",
    bits: 6,
    fields: &[FieldSpec::plain("key", &[Span::range(2, 5)])],
    fixed: &[],
    parity: &[
        ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 3)] },
        ParitySpec { bit: 6, kind: Kind::Odd, over: &[Span::range(4, 5)] },
    ],
};

impl Mode {
    /// Every mode, shortest first.
    pub const ALL: [Mode; 3] = [Mode::FourBit, Mode::SixBit, Mode::EightBit];

    /// How many bits a key takes.
    pub const fn bits(self) -> usize {
        match self {
            Mode::FourBit => 4,
            Mode::SixBit => 6,
            Mode::EightBit => 8,
        }
    }

    /// One key as a layout with a single field `key`, whose value may be any
    /// of 0 to 15.
    pub fn spec(self) -> &'static Spec<'static> {
        match self {
            Mode::FourBit => &built_in::KEY_4,
            Mode::SixBit => &KEY_6,
            Mode::EightBit => &built_in::KEY_8,
        }
    }

    /// The bits a keypad sends for a key.
    ///
    /// ```
    /// use misread_core::keypad::{Key, Mode};
    ///
    /// assert_eq!(Mode::FourBit.encode(Key::Hash).to_string(), "1011");
    /// assert_eq!(Mode::SixBit.encode(Key::Hash).to_string(), "110111");
    /// assert_eq!(Mode::EightBit.encode(Key::Hash).to_string(), "01001011");
    /// ```
    pub fn encode(self, key: Key) -> Bits {
        Bits::from_value(self.frame(key.value()), self.bits()).unwrap_or_default()
    }

    /// The key of a read that is one key.
    ///
    /// # Errors
    ///
    /// Another length, an unread bit, a check that fails, a value over 11.
    pub fn key(self, read: &Bits) -> Result<Key, NoKey> {
        if read.len() != self.bits() {
            let why = Why::Length { found: read.len(), each: self.bits() };
            return Err(NoKey { index: 0, why });
        }
        self.key_at(read, 0)
    }

    /// The keys of a read that may be a burst of several. A read whose length
    /// is no whole number of keys gives that one problem and nothing else.
    ///
    /// ```
    /// use misread_core::keypad::{Key, Mode};
    ///
    /// let burst = "000110111110".parse()?;
    /// let mut keys = Mode::FourBit.keys(&burst);
    /// assert_eq!(keys.next(), Some(Ok(Key::ALL[1])));
    /// assert_eq!(keys.next(), Some(Ok(Key::Hash)));
    /// assert_eq!(keys.next().unwrap().unwrap_err().index, 8);
    /// assert_eq!(keys.next(), None);
    /// # Ok::<(), misread_core::bits::TextError>(())
    /// ```
    pub fn keys(self, read: &Bits) -> Keys<'_> {
        Keys { mode: self, read, next: 0 }
    }

    fn key_at(self, read: &Bits, index: usize) -> Result<Key, NoKey> {
        let no = |why| NoKey { index, why };
        let bits = read.slice(index, index + self.bits());
        let Some(found) = bits.to_value() else {
            let at = bits.iter().position(|bit| bit.value().is_none());
            return Err(no(Why::Unread { index: index + at.unwrap_or_default() }));
        };
        let value = match self {
            Mode::FourBit => found,
            Mode::SixBit => found >> 1 & 15,
            Mode::EightBit => found & 15,
        };
        let wrong = found ^ self.frame(value as u8);
        match self {
            Mode::SixBit if wrong & 32 != 0 => {
                return Err(no(Why::Parity { kind: Kind::Even, index }));
            }
            Mode::SixBit if wrong & 1 != 0 => {
                return Err(no(Why::Parity { kind: Kind::Odd, index: index + 5 }));
            }
            Mode::EightBit if wrong != 0 => {
                // The first of the four that is no complement.
                let at = wrong.leading_zeros() as usize - 56;
                return Err(no(Why::NotComplement { index: index + at }));
            }
            _ => {}
        }
        let first = match self {
            Mode::FourBit => index,
            Mode::SixBit => index + 1,
            Mode::EightBit => index + 4,
        };
        Key::from_value(value as u8).ok_or(no(Why::Value { found: value as u8, index: first }))
    }

    /// The bits of a value from 0 to 15, last one lowest.
    const fn frame(self, value: u8) -> u64 {
        let value = value as u64 & 15;
        match self {
            Mode::FourBit => value,
            Mode::SixBit => {
                let even = (value >> 3 ^ value >> 2) & 1;
                let odd = (value >> 1 ^ value) & 1 ^ 1;
                even << 5 | value << 1 | odd
            }
            Mode::EightBit => (value ^ 15) << 4 | value,
        }
    }
}

impl fmt::Display for Mode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} bits a key", self.bits())
    }
}

/// The keys of a read: see [`Mode::keys`].
#[derive(Clone, Debug)]
pub struct Keys<'a> {
    mode: Mode,
    read: &'a Bits,
    next: usize,
}

impl Iterator for Keys<'_> {
    type Item = Result<Key, NoKey>;

    fn next(&mut self) -> Option<Self::Item> {
        let (len, each) = (self.read.len(), self.mode.bits());
        if self.next >= len {
            return None;
        }
        if !len.is_multiple_of(each) {
            self.next = len;
            return Some(Err(NoKey { index: 0, why: Why::Length { found: len, each } }));
        }
        let index = self.next;
        self.next += each;
        Some(self.mode.key_at(self.read, index))
    }
}

impl iter::FusedIterator for Keys<'_> {}

/// Bits that are no key, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct NoKey {
    /// The index in the read, from 0, of the first of the bits that should be
    /// a key.
    pub index: usize,
    /// What is wrong with them.
    pub why: Why,
}

/// Why bits are no key. Indices count from 0 in the whole read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The read's length is no whole number of keys.
    Length {
        /// How many bits were received.
        found: usize,
        /// How many a key takes.
        each: usize,
    },
    /// A bit was not seen.
    Unread {
        /// Which.
        index: usize,
    },
    /// In eight bits, one of the first four equals the bit four behind it.
    NotComplement {
        /// The first that does.
        index: usize,
    },
    /// In six bits, a parity bit is wrong.
    Parity {
        /// Even for the first bit, odd for the last.
        kind: Kind,
        /// The parity bit.
        index: usize,
    },
    /// A value over 11, which no key sends.
    Value {
        /// 12 to 15.
        found: u8,
        /// The first of the four bits that hold it.
        index: usize,
    },
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Why::Length { found, each } => {
                let s = if found == 1 { "" } else { "s" };
                write!(f, "{found} bit{s} arrived; a key takes {each}")
            }
            Why::Unread { index } => write!(f, "bit {} is unread", index + 1),
            Why::NotComplement { index } => write!(
                f,
                "bits {} and {} are alike; the first four should be the last four turned over",
                index + 1,
                index + 5
            ),
            Why::Parity { kind, index } => {
                // The two bits behind the even one, or before the odd one.
                let over = if kind == Kind::Odd { index.saturating_sub(1) } else { index + 2 };
                let position = index + 1;
                write!(f, "{kind} parity in bit {position} fails over bits {over}-{}", over + 1)
            }
            Why::Value { found, index } => {
                write!(f, "bits {}-{} hold {found}, which is no key", index + 1, index + 4)
            }
        }
    }
}
