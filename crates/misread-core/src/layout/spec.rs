//! A layout as someone writes it down, before it is checked.

use core::fmt;
use core::str::FromStr;

/// A layout as plain data, ready to be checked by [`Layout::new`](super::Layout::new).
///
/// It borrows everything, so that it can stand in a `static` of a
/// microcontroller.
#[derive(Clone, Copy, Debug)]
pub struct Spec<'a> {
    /// Up to 32 letters, digits, dashes, dots and underscores.
    pub name: &'a str,
    /// How many bits a frame has, 1 to 256.
    pub bits: u16,
    /// The fields.
    pub fields: &'a [FieldSpec<'a>],
    /// Bits that always carry the same value.
    pub fixed: &'a [FixedSpec<'a>],
    /// The parity rules.
    pub parity: &'a [ParitySpec<'a>],
}

/// A number carried in a frame.
#[derive(Clone, Copy, Debug)]
pub struct FieldSpec<'a> {
    /// Up to 32 letters, digits, dashes, dots and underscores.
    pub name: &'a str,
    /// Its bits, most significant first unless `order` says otherwise; 1 to 64
    /// of them.
    pub bits: &'a [Span],
    /// Which end of the listed bits is most significant.
    pub order: Order,
    /// Binary, or a decimal digit in each four bits.
    pub code: Code,
    /// What this site's cards carry, where that is known. Checked after
    /// decoding.
    pub value: Option<u64>,
    /// The lowest and the highest value that was ordered. Checked after
    /// decoding.
    pub range: Option<(u64, u64)>,
}

impl FieldSpec<'_> {
    /// A binary field, most significant bit first.
    pub const fn plain<'a>(name: &'a str, bits: &'a [Span]) -> FieldSpec<'a> {
        FieldSpec {
            name,
            bits,
            order: Order::MsbFirst,
            code: Code::Binary,
            value: None,
            range: None,
        }
    }
}

/// Bits that always carry the same value.
#[derive(Clone, Copy, Debug)]
pub struct FixedSpec<'a> {
    /// Which bits.
    pub bits: &'a [Span],
    /// Their values, `0` and `1` in the order of `bits`.
    pub value: &'a str,
}

/// A parity bit and the bits it covers.
#[derive(Clone, Copy, Debug)]
pub struct ParitySpec<'a> {
    /// The position of the parity bit.
    pub bit: u16,
    /// Whether the number of 1s among `over` and `bit` together is even or odd.
    pub kind: Kind,
    /// The bits it covers, itself not among them.
    pub over: &'a [Span],
}

/// Which end of a field's listed bits is most significant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Order {
    /// The first listed bit is.
    #[default]
    MsbFirst,
    /// The last listed bit is; with [`Code::Bcd`], the last of each four.
    LsbFirst,
}

/// How a field's bits make its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Code {
    /// A binary number.
    #[default]
    Binary,
    /// A decimal digit in each four bits, first group most significant.
    Bcd,
}

/// The kind of a parity rule: what the number of 1s is, parity bit included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// An even number of 1s.
    Even,
    /// An odd number of 1s.
    Odd,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Kind::Even => "even",
            Kind::Odd => "odd",
        })
    }
}

/// One position, a range of positions, or every so many of a range, both ends
/// included. Positions count from 1.
///
/// ```
/// use misread_core::layout::Span;
///
/// let every_fifth: Span = "1-191/5".parse()?;
/// assert_eq!(every_fifth, Span { first: 1, last: 191, step: 5 });
/// assert_eq!(every_fifth.positions().take(3).collect::<Vec<_>>(), [1, 6, 11]);
/// assert_eq!("7".parse::<Span>()?.to_string(), "7");
/// # Ok::<(), misread_core::layout::SpanError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Span {
    /// The first position.
    pub first: u16,
    /// The last position that may be part of it.
    pub last: u16,
    /// The distance from one position to the next, at least 1.
    pub step: u16,
}

impl Span {
    /// A single position.
    pub const fn one(position: u16) -> Self {
        Span { first: position, last: position, step: 1 }
    }

    /// All positions from `first` to `last`.
    pub const fn range(first: u16, last: u16) -> Self {
        Span { first, last, step: 1 }
    }

    /// Every `step`th position from `first`, up to `last`.
    pub const fn every(step: u16, first: u16, last: u16) -> Self {
        Span { first, last, step }
    }

    /// The positions, in order. None where `first` is over `last`.
    pub fn positions(&self) -> impl Iterator<Item = u16> + Clone + use<> {
        (self.first..=self.last).step_by(usize::from(self.step.max(1)))
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.first == self.last {
            write!(f, "{}", self.first)
        } else if self.step == 1 {
            write!(f, "{}-{}", self.first, self.last)
        } else {
            write!(f, "{}-{}/{}", self.first, self.last, self.step)
        }
    }
}

/// Text that is not a position, a range or a range with a stride.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SpanError {
    /// Not of the form `7`, `2-9` or `1-191/5`.
    #[error("is not a position (7), a range (2-9) or a range with a stride (1-191/5)")]
    Form,
    /// Position 0; positions count from 1.
    #[error("counts from 0; positions count from 1")]
    Zero,
    /// The first position is over the last.
    #[error("runs backwards; list the bits one by one where their order is unusual")]
    Backwards,
    /// A stride of 0.
    #[error("has a stride of 0")]
    Stride,
}

impl FromStr for Span {
    type Err = SpanError;

    fn from_str(text: &str) -> Result<Self, SpanError> {
        let number = |text: &str| -> Result<u16, SpanError> {
            let text = text.trim();
            if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
                return Err(SpanError::Form);
            }
            text.parse().map_err(|_| SpanError::Form)
        };
        let (range, step) = match text.split_once('/') {
            Some((range, step)) => (range, Some(number(step)?)),
            None => (text, None),
        };
        let (first, last) = match range.split_once('-') {
            Some((first, last)) => (number(first)?, number(last)?),
            None if step.is_some() => return Err(SpanError::Form),
            None => (number(range)?, number(range)?),
        };
        if first == 0 {
            Err(SpanError::Zero)
        } else if step == Some(0) {
            Err(SpanError::Stride)
        } else if first > last {
            Err(SpanError::Backwards)
        } else {
            Ok(Span { first, last, step: step.unwrap_or(1) })
        }
    }
}

#[cfg(test)]
mod tests {
    use std::string::ToString;

    use super::*;

    #[test]
    fn spans_are_read_and_written() {
        for text in ["7", "2-9", "1-191/5", "256"] {
            assert_eq!(text.parse::<Span>().unwrap().to_string(), text);
        }
        assert_eq!(" 2 - 9 ".parse::<Span>().unwrap(), Span::range(2, 9));
    }

    #[test]
    fn what_is_no_span_is_refused() {
        for text in ["", "-", "a", "2-", "-9", "2-9/", "7/2", "2--9", "+2", "99999", "2-9/x"] {
            assert_eq!(text.parse::<Span>(), Err(SpanError::Form), "{text}");
        }
        assert_eq!("0".parse::<Span>(), Err(SpanError::Zero));
        assert_eq!("9-2".parse::<Span>(), Err(SpanError::Backwards));
        assert_eq!("2-9/0".parse::<Span>(), Err(SpanError::Stride));
    }
}
