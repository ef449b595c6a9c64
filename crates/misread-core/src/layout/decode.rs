//! From a read to its fields, or to the check that failed.

use core::fmt;

use super::{Field, Kind, Layout, MAX_LAYOUT_BITS, Mask, Parity};
use crate::bits::{Bit, Bits, Turn};

/// A read that fits a layout: its length, fixed bits and parity are right.
///
/// Values are worked out when asked for. What is declared about them, range,
/// value and decimal digits, is checked apart: see [`Decoded::concerns`].
#[derive(Clone, Copy, Debug)]
pub struct Decoded<'a> {
    layout: &'a Layout,
    read: &'a Bits,
    /// The read as one word, first bit at the top, where the layout is narrow
    /// and no bit is unread.
    word: Option<u64>,
}

impl<'a> Decoded<'a> {
    /// The layout it was decoded with.
    pub fn layout(&self) -> &'a Layout {
        self.layout
    }

    /// The value of the field of that name; `None` if there is no such field
    /// or one of its bits is unread.
    #[inline]
    pub fn value(&self, name: &str) -> Option<u64> {
        self.layout.field(name).and_then(|field| self.value_of(field))
    }

    /// Every field with its value, in the layout's order; `None` where one of
    /// the field's bits is unread.
    #[inline]
    pub fn values(&self) -> impl Iterator<Item = (&'a Field, Option<u64>)> + use<'a> {
        let decoded = *self;
        self.layout.fields.iter().map(move |field| (field, decoded.value_of(field)))
    }

    /// The value of a field of this layout, for whoever decodes many reads and
    /// looks the field up once; `None` where one of its bits is unread.
    ///
    /// ```
    /// # use misread_core::{Bits, Layout, layout::built_in};
    /// let layout = Layout::new(&built_in::OPEN_26)?;
    /// let card = layout.field("card").ok_or("no card number in this layout")?;
    /// let read: Bits = "10010101000000100110100100".parse()?;
    /// assert_eq!(layout.decode(&read)?.value_of(card), Some(1234));
    /// # Ok::<(), Box<dyn core::error::Error>>(())
    /// ```
    #[inline]
    pub fn value_of(&self, field: &Field) -> Option<u64> {
        match (self.word, field.run) {
            (Some(word), Some(run)) => Some(run.value_in(word)),
            _ => field.value_in(self.read),
        }
    }

    /// The declared values, ranges and decimal digits that the card fails.
    pub fn concerns(&self) -> impl Iterator<Item = Check<'a>> + use<'a> {
        let read = self.read;
        self.layout
            .declared_checks()
            .filter(move |check| check.outcome(read) == CheckOutcome::Fails)
    }
}

/// Why a read does not fit a layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misfit {
    /// It has another number of bits.
    Length {
        /// How many were received.
        found: usize,
        /// How many the layout has.
        expected: usize,
    },
    /// A parity rule fails.
    Parity {
        /// Even or odd.
        kind: Kind,
        /// The index of the parity bit, from 0.
        bit: usize,
        /// The bits covered and the parity bit.
        group: Mask,
    },
    /// A fixed bit has the other value.
    Fixed {
        /// All fixed bits that have the other value.
        bits: Mask,
    },
}

impl core::error::Error for Misfit {}

impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Misfit::Length { found, expected } => {
                write!(f, "{found} bits arrived; the layout has {expected}")
            }
            Misfit::Parity { kind, bit, group } => {
                write!(f, "{kind} parity in bit {} fails over bits {}", bit + 1, Positions(group))
            }
            Misfit::Fixed { bits } => {
                write!(f, "fixed bit {} has the other value", Positions(bits))
            }
        }
    }
}

/// A check of a layout on a read.
#[derive(Clone, Copy, Debug)]
pub enum Check<'a> {
    /// A parity rule.
    Parity(&'a Parity),
    /// A fixed rule.
    Fixed(&'a super::Fixed),
    /// A field's declared value.
    Value(&'a Field, u64),
    /// A field's declared range.
    Range(&'a Field, (u64, u64)),
    /// That a bcd field's digits are at most nine.
    Digit(&'a Field),
}

/// What a check says of a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CheckOutcome {
    /// It holds.
    Holds,
    /// It fails.
    Fails,
    /// Unread bits leave it open.
    Open,
}

impl Check<'_> {
    /// The bits it looks at.
    pub fn bits(&self) -> Mask {
        match self {
            Check::Parity(rule) => *rule.group(),
            Check::Fixed(rule) => *rule.mask(),
            Check::Value(field, _) | Check::Range(field, _) | Check::Digit(field) => field.mask(),
        }
    }

    /// Whether it holds for a read of the layout's length.
    pub fn outcome(&self, read: &Bits) -> CheckOutcome {
        let known = |holds: Option<bool>| match holds {
            Some(true) => CheckOutcome::Holds,
            Some(false) => CheckOutcome::Fails,
            None => CheckOutcome::Open,
        };
        match self {
            Check::Parity(rule) if rule.group.has_unread(read) => CheckOutcome::Open,
            Check::Parity(rule) => known(Some(rule.group.parity_of(read) == rule.kind.is_odd())),
            Check::Fixed(rule) => {
                let values = rule
                    .bits()
                    .map(|(i, value)| read.get(i).and_then(Bit::value).map(|found| found == value));
                values.fold(CheckOutcome::Holds, |sum, holds| match (sum, known(holds)) {
                    (CheckOutcome::Fails, _) | (_, CheckOutcome::Fails) => CheckOutcome::Fails,
                    (CheckOutcome::Open, _) => CheckOutcome::Open,
                    (_, one) => one,
                })
            }
            Check::Value(field, value) => known(field.value_in(read).map(|found| found == *value)),
            Check::Range(field, (low, high)) => {
                known(field.value_in(read).map(|found| (*low..=*high).contains(&found)))
            }
            Check::Digit(field) => {
                known(field.raw_in(read).map(|raw| field.digits_are_decimal(raw)))
            }
        }
    }
}

/// The ways of turning a read around that make it fit a layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FittingTurns(u8);

impl FittingTurns {
    /// Whether the read fits when turned this way.
    pub fn contains(self, turn: Turn) -> bool {
        self.0 >> turn as u8 & 1 == 1
    }

    /// The turns that fit, plainest first.
    pub fn iter(self) -> impl Iterator<Item = Turn> {
        Turn::ALL.into_iter().filter(move |&turn| self.contains(turn))
    }

    /// Whether none fits.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
}

impl Layout {
    /// The fields of a read, or the first check that fails: the length, then
    /// fixed bits, then parity rules in the order written. Unread bits match
    /// either value, so a check that covers one does not fail.
    ///
    /// # Errors
    ///
    /// [`Misfit`] where these bits do not fit this layout.
    #[inline]
    pub fn decode<'a>(&'a self, read: &'a Bits) -> Result<Decoded<'a>, Misfit> {
        if let Some(word) = self.narrow.fitting_word(read) {
            return Ok(Decoded { layout: self, read, word: Some(word) });
        }
        match self.misfit(read) {
            None => Ok(Decoded { layout: self, read, word: None }),
            Some(misfit) => Err(misfit),
        }
    }

    /// Out of line, to keep what is inlined of decoding small.
    #[cold]
    #[inline(never)]
    fn misfit(&self, read: &Bits) -> Option<Misfit> {
        if read.len() != self.bits() {
            return Some(Misfit::Length { found: read.len(), expected: self.bits() });
        }
        let mut wrong = Mask::new();
        let words = wrong.words.iter_mut().zip(self.blank.words).zip(self.fixed_bits.words);
        for (i, ((wrong, value), bits)) in words.enumerate() {
            *wrong = (read.word(i) ^ value) & bits & !read.unread_word(i);
        }
        if wrong != Mask::new() {
            return Some(Misfit::Fixed { bits: wrong });
        }
        self.parity
            .iter()
            .find(|rule| Check::Parity(rule).outcome(read) == CheckOutcome::Fails)
            .map(|rule| Misfit::Parity { kind: rule.kind, bit: rule.bit(), group: rule.group })
    }

    /// In which of four ways the read fits: as it is, with every bit turned
    /// over, last bit first, or both. An embedded panel can say "data lines
    /// swapped" by itself; the card comes from decoding
    /// [`read.turned(turn)`](Bits::turned).
    pub fn fitting_turns(&self, read: &Bits) -> FittingTurns {
        Turn::ALL.into_iter().fold(FittingTurns(0), |fits, turn| {
            let ok = self.decode(&read.turned(turn)).is_ok();
            FittingTurns(fits.0 | u8::from(ok) << turn as u8)
        })
    }

    /// Every check in the order written: parity rules, fixed rules, then what
    /// is declared about each field.
    pub fn checks(&self) -> impl Iterator<Item = Check<'_>> {
        let parity = self.parity.iter().map(Check::Parity);
        let fixed = self.fixed.iter().map(Check::Fixed);
        parity.chain(fixed).chain(self.declared_checks())
    }

    fn declared_checks(&self) -> impl Iterator<Item = Check<'_>> {
        self.fields.iter().flat_map(|field| {
            let digit = (field.code == super::Code::Bcd).then_some(Check::Digit(field));
            let value = field.value.map(|value| Check::Value(field, value));
            let range = field.range.map(|range| Check::Range(field, range));
            [digit, value, range].into_iter().flatten()
        })
    }
}

impl Field {
    /// Its number in a read of the layout's length; `None` where a bit is
    /// unread or missing.
    // Out of line, to keep what is inlined of decoding small.
    #[inline(never)]
    pub fn value_in(&self, read: &Bits) -> Option<u64> {
        self.raw_in(read).map(|raw| self.from_raw(raw))
    }

    /// Its bits in a read as one word, last bit lowest; `None` where a bit is
    /// unread or missing.
    pub fn raw_in(&self, read: &Bits) -> Option<u64> {
        match self.run {
            Some(run) if read.unread_count() == 0 && run.end() <= read.len() => {
                Some(run.value_in(read.word(0)))
            }
            _ => self.indices().try_fold(0, |raw, index| {
                let bit = read.get(index)?.value()?;
                Some(raw << 1 | u64::from(bit))
            }),
        }
    }
}

/// A set of positions as people write it: `1-13, 20`.
pub(crate) struct Positions<'a>(pub(crate) &'a Mask);

impl fmt::Display for Positions<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut index = 0;
        let mut first = true;
        while index < MAX_LAYOUT_BITS {
            if !self.0.contains(index) {
                index += 1;
                continue;
            }
            let start = index;
            while index < MAX_LAYOUT_BITS && self.0.contains(index) {
                index += 1;
            }
            let comma = if first { "" } else { ", " };
            first = false;
            match index - start {
                1 => write!(f, "{comma}{}", start + 1)?,
                _ => write!(f, "{comma}{}-{index}", start + 1)?,
            }
        }
        Ok(())
    }
}

impl fmt::Display for Mask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Positions(self).fmt(f)
    }
}
