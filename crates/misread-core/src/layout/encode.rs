//! From field values to the frame a card should give.

use core::fmt;

use super::name::Name;
use super::{Fixed, Layout, Mask};
use crate::bits::{Bit, Bits};

/// Field values that make no frame.
#[derive(Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EncodeError {
    /// The layout has no such field.
    #[error("the layout has no field of that name (value {number})")]
    UnknownField {
        /// The value given for it.
        number: u64,
    },
    /// A value was given twice.
    #[error("{} is given twice", field.as_str())]
    Twice {
        /// The field.
        field: FieldName,
    },
    /// A field without a declared value was left out.
    #[error("{} is missing", field.as_str())]
    Missing {
        /// The field.
        field: FieldName,
    },
    /// A value the field cannot carry.
    #[error("{} is {number}, but the largest the field can carry is {max}", field.as_str())]
    DoesNotFit {
        /// The field.
        field: FieldName,
        /// The value given.
        number: u64,
        /// The largest the field can carry.
        max: u64,
    },
}

/// The name of a field, held in place.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct FieldName(Name);

impl FieldName {
    /// As text.
    pub fn as_str(&self) -> &str {
        self.0.as_str()
    }
}

impl fmt::Debug for FieldName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for EncodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Layout {
    /// The frame that carries these field values. A field left out carries its
    /// declared value; unassigned bits are 0.
    ///
    /// # Errors
    ///
    /// A name the layout lacks, a value too large or given twice, a field left
    /// out that has no declared value.
    pub fn encode<'a>(
        &self,
        values: impl IntoIterator<Item = (&'a str, u64)>,
    ) -> Result<Bits, EncodeError> {
        let mut frame = Mask::new();
        let mut given = Mask::new();
        for (name, number) in values {
            let index = self
                .fields
                .iter()
                .position(|field| field.name() == name)
                .ok_or(EncodeError::UnknownField { number })?;
            if given.contains(index) {
                return Err(EncodeError::Twice { field: FieldName(self.fields[index].name) });
            }
            given.insert(index);
            self.put(&mut frame, index, number)?;
        }
        for (index, field) in self.fields.iter().enumerate() {
            if !given.contains(index) {
                let number =
                    field.value.ok_or(EncodeError::Missing { field: FieldName(field.name) })?;
                self.put(&mut frame, index, number)?;
            }
        }
        self.complete(&mut frame);
        Ok((0..self.bits()).map(|index| Bit::from(frame.contains(index))).collect())
    }

    fn put(&self, frame: &mut Mask, index: usize, number: u64) -> Result<(), EncodeError> {
        let field = &self.fields[index];
        let raw = field.to_raw(number).ok_or(EncodeError::DoesNotFit {
            field: FieldName(field.name),
            number,
            max: field.max(),
        })?;
        for (shift, index) in field.indices().rev().enumerate() {
            if raw >> shift & 1 == 1 {
                frame.insert(index);
            }
        }
        Ok(())
    }

    /// The frame whose fields and unassigned bits are all 0.
    pub(super) fn blank_frame(&self) -> Mask {
        let mut frame = Mask::new();
        self.complete(&mut frame);
        frame
    }

    /// Sets fixed and parity bits.
    fn complete(&self, frame: &mut Mask) {
        for (index, value) in self.fixed.iter().flat_map(Fixed::bits) {
            if value {
                frame.insert(index);
            }
        }
        for rule in self.order.iter().filter_map(|&i| self.parity.get(usize::from(i))) {
            let ones: u32 =
                frame.words.iter().zip(rule.group.words).map(|(w, g)| (w & g).count_ones()).sum();
            if (ones & 1 == 1) != rule.kind.is_odd() {
                frame.insert(rule.bit());
            }
        }
    }
}
