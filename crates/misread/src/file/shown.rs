//! A read from what a panel displays.

use std::fmt;

use super::shorten::shown as in_message;
use super::value_text::{ValueProblem, parse_value};
use crate::{Bit, Bits, Layout};

/// The read of a panel that displays these field values: their bits, and `?`
/// for every bit that is not displayed, parity and fixed bits included.
///
/// ```
/// use misread::file::{Catalogue, read_shown};
///
/// let catalogue = Catalogue::built_in();
/// let open = &catalogue.get("open-26").unwrap().layout;
/// let read = read_shown(open, &[("facility", 213), ("card", 64301)])?;
/// assert_eq!(read.to_string(), "?110101011111101100101101?");
/// # Ok::<(), misread::file::ShownError>(())
/// ```
///
/// # Errors
///
/// A field the layout lacks, one named twice, a value it cannot carry.
pub fn read_shown(layout: &Layout, shown: &[(&str, u64)]) -> Result<Bits, ShownError> {
    let mut read: Bits = std::iter::repeat_n(Bit::Unread, layout.bits()).collect();
    for (i, &(name, number)) in shown.iter().enumerate() {
        let same = |other: &str| other.eq_ignore_ascii_case(name);
        let field = layout.fields().iter().find(|field| same(field.name())).ok_or_else(|| {
            ShownError::UnknownField {
                layout: layout.name().to_owned(),
                field: in_message(name),
                known: layout.fields().iter().map(|field| field.name().to_owned()).collect(),
            }
        })?;
        if shown[..i].iter().any(|(other, _)| same(other)) {
            return Err(ShownError::Twice { field: field.name().to_owned() });
        }
        let raw = field.to_raw(number).ok_or_else(|| ShownError::DoesNotFit {
            field: field.name().to_owned(),
            number,
            max: field.max(),
        })?;
        for (shift, index) in field.indices().rev().enumerate() {
            read.set(index, Bit::from(raw >> shift & 1 == 1));
        }
    }
    Ok(read)
}

/// Displayed values that a layout cannot have given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ShownError {
    /// The layout has no such field.
    #[error("the layout {layout} has no field named {field}; it has {}", list(known))]
    UnknownField {
        /// The layout.
        layout: String,
        /// The name given.
        field: String,
        /// The names it has.
        known: Vec<String>,
    },
    /// A field named twice.
    #[error("{field} is given twice")]
    Twice {
        /// The field.
        field: String,
    },
    /// A value the field cannot carry.
    #[error("{field} is {number}, but the largest the field can carry is {max}")]
    DoesNotFit {
        /// The field.
        field: String,
        /// The value given.
        number: u64,
        /// The largest the field can carry.
        max: u64,
    },
}

/// Reads field values as people type them: `facility=42,card=1234`, decimal or
/// `0x` hexadecimal, spaces anywhere.
///
/// ```
/// let values = misread::file::parse_values("facility = 0x2a, card = 1234")?;
/// assert_eq!(values, [("facility".to_owned(), 42), ("card".to_owned(), 1234)]);
/// # Ok::<(), misread::file::ValuesError>(())
/// ```
///
/// # Errors
///
/// The first part that is no name and value, a name given twice, nothing at
/// all.
pub fn parse_values(text: &str) -> Result<Vec<(String, u64)>, ValuesError> {
    let mut values: Vec<(String, u64)> = Vec::new();
    let mut start = 0;
    for part in text.split(',') {
        // The place of a piece of this part, from where it begins in the text.
        let place =
            |piece: &str, offset: usize| start + offset + (piece.len() - piece.trim_start().len());
        let refuse = |at: usize, problem| {
            let column = text.get(..at).unwrap_or(text).chars().count() + 1;
            Err(ValuesError { at, column, problem })
        };
        if part.trim().is_empty() {
            return refuse(place(part, 0).min(text.len()), ValuesProblem::Empty);
        }
        let Some((name, value)) = part.split_once('=') else {
            let found = in_message(part.trim());
            return refuse(place(part, 0), ValuesProblem::NoValue { found });
        };
        if name.trim().is_empty() {
            return refuse(place(name, 0), ValuesProblem::NoName);
        }
        if values.iter().any(|(other, _)| other.eq_ignore_ascii_case(name.trim())) {
            let name = in_message(name.trim());
            return refuse(place(part, 0), ValuesProblem::Twice { name });
        }
        match parse_value(value) {
            Ok(number) => values.push((name.trim().to_owned(), number)),
            Err(problem) => {
                let name = in_message(name.trim());
                let found = in_message(value.trim());
                let at = place(value, part.len() - value.len());
                return refuse(at, ValuesProblem::Value { name, found, problem });
            }
        }
        start += part.len() + 1;
    }
    Ok(values)
}

/// Text that is no list of field values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ValuesError {
    /// Where in the text, in bytes from its start; on a character boundary.
    pub at: usize,
    /// The character in the text, from 1.
    pub column: usize,
    /// What is wrong there.
    pub problem: ValuesProblem,
}

/// What is wrong with a list of field values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ValuesProblem {
    /// Nothing at all, or nothing between two commas.
    Empty,
    /// A part without `=`.
    NoValue {
        /// The part.
        found: String,
    },
    /// Nothing in front of `=`.
    NoName,
    /// A name given before.
    Twice {
        /// The name.
        name: String,
    },
    /// What stands behind `=` is no field value.
    Value {
        /// The name in front.
        name: String,
        /// What stands behind.
        found: String,
        /// What is wrong with it.
        problem: ValueProblem,
    },
}

impl ValuesError {
    /// What would be accepted at this place.
    pub fn expected(&self) -> &'static str {
        match self.problem {
            ValuesProblem::Twice { .. } => "every field once",
            ValuesProblem::Value { problem, .. } => problem.expected(),
            ValuesProblem::NoValue { ref found } if found.bytes().all(|b| b.is_ascii_digit()) => {
                "a name and a value, such as card=1234; numbers without thousands separators"
            }
            _ => "a name and a value, such as facility=42,card=1234",
        }
    }
}

impl std::error::Error for ValuesError {}

impl fmt::Display for ValuesError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "column {}: ", self.column)?;
        match &self.problem {
            ValuesProblem::Empty => write!(f, "there is no field value"),
            ValuesProblem::NoValue { found } => write!(f, "‘{found}’ has no value"),
            ValuesProblem::NoName => write!(f, "the value has no name"),
            ValuesProblem::Twice { name } => write!(f, "{name} is given twice"),
            ValuesProblem::Value { name, problem: ValueProblem::Empty, .. } => {
                write!(f, "the value of {name} is empty")
            }
            ValuesProblem::Value { found, problem, .. } => write!(f, "‘{found}’ {problem}"),
        }
    }
}

fn list(names: &[String]) -> String {
    if names.is_empty() { "no fields".to_owned() } else { names.join(", ") }
}
