//! Field values as typed, and what is said of those that cannot be.

use misread::core::keypad::Key;
use misread::file::{ShownError, ValuesProblem, parse_values};
use misread::{Bits, Layout};

use crate::json::Place;
use crate::masking::Masking;
use crate::refusal::Refusal;

/// A number as typed, for whoever asks to hold against its limits.
pub(crate) fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| "expected a number, such as 0.5".to_owned())
}

/// The values of `facility=42,card=1234`; nothing typed is no value.
///
/// # Errors
///
/// The first part that is no name and value, with its place.
pub(crate) fn parse(text: &str, masking: Masking) -> Result<Vec<(String, u64)>, Refusal> {
    if text.is_empty() {
        return Ok(Vec::new());
    }
    parse_values(text).map_err(|error| {
        let message = match &error.problem {
            ValuesProblem::NoValue { .. } if masking.is_on() => "a part has no value".to_owned(),
            ValuesProblem::Value { name, problem, .. } if masking.is_on() => {
                format!("the value of {name} {problem}")
            }
            _ => {
                let said = error.to_string();
                let column = format!("column {}: ", error.column);
                said.strip_prefix(&column).map(str::to_owned).unwrap_or(said)
            }
        };
        let place = Place { column: Some(error.column as u64), ..Place::default() };
        Refusal {
            excerpt: Some((masking.pasted(text), error.column - 1)),
            ..Refusal::new(message, error.expected()).at(place)
        }
    })
}

/// The keys of `2580#`, as `option` gives them.
///
/// # Errors
///
/// No key at all, or a character that is none, with its place.
pub(crate) fn keys(option: &str, text: &str, masking: Masking) -> Result<Vec<Key>, Refusal> {
    const EXPECTED: &str = "digits, * and #, such as 2580#";
    if text.is_empty() {
        return Err(Refusal::new(format!("{option} has no key"), EXPECTED));
    }
    let key = |(at, c): (usize, char)| {
        Key::from_char(c).ok_or_else(|| Refusal {
            excerpt: Some((masking.pasted(text), at)),
            ..Refusal::new(format!("‘{c}’ is no key"), EXPECTED)
        })
    };
    text.chars().enumerate().map(key).collect()
}

/// The read behind the numbers a panel shows.
///
/// # Errors
///
/// Values that the layout cannot have given.
pub(crate) fn read_shown(
    layout: &Layout,
    values: &[(String, u64)],
    masking: Masking,
) -> Result<Bits, Refusal> {
    let pairs: Vec<(&str, u64)> = values.iter().map(|(name, n)| (name.as_str(), *n)).collect();
    misread::file::read_shown(layout, &pairs).map_err(|error| match &error {
        ShownError::UnknownField { layout, field, known } => {
            unknown_field(layout, field, &known.join(", "))
        }
        ShownError::Twice { .. } => Refusal::new(error.to_string(), "one value for each field"),
        ShownError::DoesNotFit { field, number, max } => {
            does_not_fit(field, *number, *max, masking)
        }
    })
}

/// A field that the layout lacks.
pub(crate) fn unknown_field(layout: &str, field: &str, known: &str) -> Refusal {
    Refusal::new(format!("{layout} has no field ‘{field}’"), format!("a value for {known}"))
}

/// A value too large for its field.
pub(crate) fn does_not_fit(field: &str, number: u64, max: u64, masking: Masking) -> Refusal {
    Refusal::new(
        format!("{field} {} is more than the field can carry", masking.number(number)),
        format!("at most {max}"),
    )
}
