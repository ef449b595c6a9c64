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

/// The first letter large.
pub(crate) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", chars.as_str())
}
