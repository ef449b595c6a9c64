//! The keys of a keypad.

use core::fmt;

/// A key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Key {
    /// 0 to 9.
    Digit(Digit),
    /// The star key: clears what was keyed.
    Star,
    /// The hash key: ends a code.
    Hash,
}

/// A decimal digit, 0 to 9.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digit(u8);

impl Digit {
    /// `None` over nine.
    pub const fn new(value: u8) -> Option<Self> {
        if value <= 9 { Some(Digit(value)) } else { None }
    }

    /// 0 to 9.
    pub const fn value(self) -> u8 {
        self.0
    }

    /// `0` to `9`.
    pub const fn as_char(self) -> char {
        (b'0' + self.0) as char
    }
}

impl Key {
    /// Every key, in the order of their values.
    pub const ALL: [Key; 12] = [
        Key::Digit(Digit(0)),
        Key::Digit(Digit(1)),
        Key::Digit(Digit(2)),
        Key::Digit(Digit(3)),
        Key::Digit(Digit(4)),
        Key::Digit(Digit(5)),
        Key::Digit(Digit(6)),
        Key::Digit(Digit(7)),
        Key::Digit(Digit(8)),
        Key::Digit(Digit(9)),
        Key::Star,
        Key::Hash,
    ];

    /// The key a value stands for: 0 to 9 the digits, 10 the star key, 11 the
    /// hash key (common practice). `None` over 11.
    pub const fn from_value(value: u8) -> Option<Self> {
        match value {
            0..=9 => Some(Key::Digit(Digit(value))),
            10 => Some(Key::Star),
            11 => Some(Key::Hash),
            _ => None,
        }
    }

    /// Its value, 0 to 11.
    pub const fn value(self) -> u8 {
        match self {
            Key::Digit(digit) => digit.0,
            Key::Star => 10,
            Key::Hash => 11,
        }
    }

    /// `0` to `9`, `*` or `#`.
    pub const fn as_char(self) -> char {
        match self {
            Key::Digit(digit) => digit.as_char(),
            Key::Star => '*',
            Key::Hash => '#',
        }
    }

    /// The key written as this character: see [`as_char`](Self::as_char).
    pub fn from_char(c: char) -> Option<Self> {
        Key::ALL.into_iter().find(|key| key.as_char() == c)
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Write::write_char(f, self.as_char())
    }
}

impl fmt::Display for Digit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Write::write_char(f, self.as_char())
    }
}
