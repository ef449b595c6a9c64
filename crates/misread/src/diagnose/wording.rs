//! Numbers and counts in sentences.

use misread_core::layout::{Field, Layout};

use super::case::Expected;

/// Whether card numbers are shown in sentences.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Numbers {
    /// Whole.
    #[default]
    Shown,
    /// All but the last two digits hidden.
    Masked,
}

impl Numbers {
    /// A field's value as text.
    ///
    /// ```
    /// use misread::diagnose::Numbers;
    ///
    /// assert_eq!(Numbers::Shown.text(1234), "1234");
    /// assert_eq!(Numbers::Masked.text(1234), "••34");
    /// ```
    pub fn text(self, number: u64) -> String {
        let digits = number.to_string();
        match self {
            Numbers::Shown => digits,
            Numbers::Masked => {
                let hidden = digits.len().saturating_sub(2);
                "•".repeat(hidden) + &digits[hidden..]
            }
        }
    }

    /// Values in the order of the layout's fields: "facility 42, card 1234".
    pub fn values(self, layout: &Layout, values: &Expected) -> String {
        let of = |field: &Field| {
            let number = values.get(field.name())?;
            Some(format!("{} {}", field.name(), self.text(*number)))
        };
        join(&layout.fields().iter().filter_map(of).collect::<Vec<_>>(), ", ")
    }
}

/// A probability as people say it; never "100%" of what is not certain.
///
/// ```
/// use misread::diagnose::percent;
///
/// assert_eq!(percent(0.857143), "86%");
/// assert_eq!(percent(0.99999), "over 99.9%");
/// ```
pub fn percent(probability: f64) -> String {
    let percent = 100.0 * probability;
    match percent {
        p if p >= 99.95 => "over 99.9%".to_owned(),
        p if p >= 99.0 => format!("{p:.1}%"),
        p if p >= 0.95 => format!("{p:.0}%"),
        p if p >= 0.05 => format!("{p:.1}%"),
        _ => "under 0.1%".to_owned(),
    }
}

/// "one 0", "three 1s", "14 bits".
pub(crate) fn count(n: usize, of: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {of}{s}", number_word(n))
}

/// Small numbers as words, as people say them.
pub(crate) fn number_word(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS.get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// "a, b and c".
pub(crate) fn and(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", join(most, ", ")),
    }
}

fn join(parts: &[String], between: &str) -> String {
    parts.join(between)
}

/// The first letter small, but for a name such as D0.
pub(crate) fn lower(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_lowercase().to_string()).unwrap_or_default();
    match chars.clone().next() {
        Some(second) if second.is_lowercase() || second == ' ' => {
            format!("{first}{}", chars.as_str())
        }
        _ => text.to_owned(),
    }
}

/// The first letter large.
pub(crate) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", chars.as_str())
}
