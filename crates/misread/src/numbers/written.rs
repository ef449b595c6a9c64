//! Numbers as they are printed on cards and shown by panels.

use std::fmt;

use crate::file::shown;

/// The base a number is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Base {
    /// Ten.
    Decimal,
    /// Sixteen.
    Hexadecimal,
}

/// What is printed on a card or shown by a panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Written {
    /// One number.
    Number {
        /// Its value where the digits are read as decimal; `None` where one of
        /// them is a letter, the number is marked as hexadecimal, or it is
        /// over 64 bits.
        decimal: Option<u64>,
        /// Its value where they are read as hexadecimal; `None` over 64 bits.
        hexadecimal: Option<u64>,
        /// How many digits, zeros in front included.
        digits: u8,
    },
    /// Two numbers: facility code and card.
    Two {
        /// The first one.
        facility: u64,
        /// The second one.
        card: u64,
    },
}

impl Written {
    /// A decimal number without zeros in front.
    pub fn decimal(number: u64) -> Self {
        let text = number.to_string();
        Written::Number {
            decimal: Some(number),
            hexadecimal: u64::from_str_radix(&text, 16).ok(),
            digits: text.len() as u8,
        }
    }

    /// The base it is plainly written in: decimal unless that is impossible.
    pub fn base(&self) -> Base {
        match self {
            Written::Number { decimal: None, .. } => Base::Hexadecimal,
            _ => Base::Decimal,
        }
    }
}

/// Text that is no number of this kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenError {
    /// The character in the text, from 1.
    pub column: usize,
    /// What is wrong there.
    pub problem: WrittenProblem,
}

/// What is wrong with the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WrittenProblem {
    /// Nothing is written.
    Empty,
    /// A character that is neither a digit nor stands between digits.
    Character {
        /// The text from there on, shortened.
        found: String,
    },
    /// A number over 64 bits.
    TooLarge,
}

impl WrittenError {
    /// What would be accepted.
    pub fn expected(&self) -> &'static str {
        match self.problem {
            WrittenProblem::TooLarge => "a number of at most 64 bits: 18446744073709551615",
            _ => {
                "digits (0012345678), hexadecimal (0xBC614E), or facility code and card \
                 (188,24910)"
            }
        }
    }
}

impl std::error::Error for WrittenError {}

impl fmt::Display for WrittenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.problem {
            WrittenProblem::Empty => write!(f, "no number is written"),
            WrittenProblem::Character { found } => {
                write!(f, "character {}: ‘{found}’ is no part of a number", self.column)
            }
            WrittenProblem::TooLarge => {
                write!(f, "character {}: the number is over 64 bits", self.column)
            }
        }
    }
}

/// Reads what is printed or shown. Digits in two groups are facility code and
/// card; in more, or with a letter among them, one number. A comma, a slash, a
/// colon, a dash, a dot or spaces may stand between groups. `0x` in front, `h`
/// behind and letters mark hexadecimal.
///
/// # Errors
///
/// Nothing written, something else written, or a number over 64 bits.
///
/// ```
/// use misread::numbers::{Written, parse_written};
///
/// let two = Written::Two { facility: 42, card: 1234 };
/// for text in ["42,1234", "042 / 01234", "42-1234", "42:1234"] {
///     assert_eq!(parse_written(text)?, two);
/// }
/// assert_eq!(parse_written("00:BC:61:4E")?, parse_written("0x00bc614e")?);
/// # Ok::<(), misread::numbers::WrittenError>(())
/// ```
pub fn parse_written(text: &str) -> Result<Written, WrittenError> {
    let refuse = |at: usize, problem| {
        let column = text[..at].chars().count() + 1;
        Err(WrittenError { column, problem })
    };
    let begins = text.len() - text.trim_start().len();
    let body = text.trim();
    if body.is_empty() {
        return refuse(0, WrittenProblem::Empty);
    }
    let marked = body.get(..2).is_some_and(|mark| mark.eq_ignore_ascii_case("0x"));
    let (body, begins) = if marked { (&body[2..], begins + 2) } else { (body, begins) };
    let unmarked = body.strip_suffix(['h', 'H']).map(str::trim_end);
    let (body, marked) = (unmarked.unwrap_or(body), marked || unmarked.is_some());
    let between = |c: char| c.is_whitespace() || matches!(c, ',' | '/' | ':' | '-' | ';' | '.');
    let strange = body.char_indices().find(|&(at, c)| {
        !(c.is_ascii_hexdigit() || (between(c) && at > 0 && at + c.len_utf8() < body.len()))
    });
    if let Some((at, _)) = strange {
        let found = shown(&body[at..]);
        return refuse(begins + at, WrittenProblem::Character { found });
    }
    let groups: Vec<&str> = body.split(between).filter(|group| !group.is_empty()).collect();
    if groups.is_empty() {
        return refuse(begins, WrittenProblem::Empty);
    }
    let marked = marked || body.bytes().any(|b| b.is_ascii_alphabetic());
    if let ([facility, card], false) = (groups.as_slice(), marked) {
        return match (facility.parse(), card.parse()) {
            (Ok(facility), Ok(card)) => Ok(Written::Two { facility, card }),
            _ => refuse(begins, WrittenProblem::TooLarge),
        };
    }
    let digits = groups.concat();
    let decimal = if marked { None } else { digits.parse().ok() };
    let hexadecimal = u64::from_str_radix(&digits, 16).ok();
    if decimal.is_none() && (hexadecimal.is_none() || !marked) {
        return refuse(begins, WrittenProblem::TooLarge);
    }
    let digits = u8::try_from(digits.len()).unwrap_or(u8::MAX);
    Ok(Written::Number { decimal, hexadecimal, digits })
}
