//! Field values as people write them.

/// Why text is not a field value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ValueProblem {
    /// Nothing is written.
    #[error("is empty")]
    Empty,
    /// Digits in groups of three.
    #[error("has a thousands separator")]
    Thousands,
    /// Below 0, with a decimal point, an exponent, or no number at all.
    #[error("is not a whole number")]
    NotWhole,
    /// Over 2^64 - 1.
    #[error("is larger than any field can carry")]
    TooLarge,
}

impl ValueProblem {
    /// What would be accepted.
    pub fn expected(self) -> &'static str {
        match self {
            ValueProblem::Thousands => "the digits alone, such as 1234",
            ValueProblem::TooLarge => "a number of at most 18446744073709551615",
            ValueProblem::Empty | ValueProblem::NotWhole => {
                "a whole number, decimal (1234) or hexadecimal (0x4d2)"
            }
        }
    }
}

/// A whole number, decimal or `0x` hexadecimal, spaces around it aside.
pub(crate) fn parse_value(text: &str) -> Result<u64, ValueProblem> {
    let text = text.trim();
    let mark = text.get(..2).is_some_and(|mark| mark.eq_ignore_ascii_case("0x"));
    let (digits, radix) = if mark { (&text[2..], 16) } else { (text, 10) };
    if text.is_empty() {
        Err(ValueProblem::Empty)
    } else if in_thousands(text) {
        Err(ValueProblem::Thousands)
    } else if digits.is_empty() || !digits.chars().all(|c| c.is_digit(radix)) {
        Err(ValueProblem::NotWhole)
    } else {
        u64::from_str_radix(digits, radix).map_err(|_| ValueProblem::TooLarge)
    }
}

/// Whether the digits stand in groups of three, whatever stands between.
fn in_thousands(text: &str) -> bool {
    let Some(mark) = text.chars().find(|c| !c.is_ascii_digit()) else { return false };
    if mark.is_alphabetic() || matches!(mark, '-' | '+' | '/' | ':') {
        return false;
    }
    let digits = |group: &str| group.bytes().all(|b| b.is_ascii_digit());
    let mut groups = text.split(mark);
    groups.next().is_some_and(|first| (1..=3).contains(&first.len()) && digits(first))
        && groups.all(|group| group.len() == 3 && digits(group))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn values_are_read_in_decimal_and_hexadecimal() {
        assert_eq!(parse_value("0012"), Ok(12));
        assert_eq!(parse_value(" 0x4D2 "), Ok(1234));
        assert_eq!(parse_value("0X4d2"), Ok(1234));
        assert_eq!(parse_value("18446744073709551615"), Ok(u64::MAX));
    }

    #[test]
    fn what_is_no_value_is_refused() {
        for text in ["1,234", "12.345.678", "1 234", "1'234", "1_234", "1\u{202f}234"] {
            assert_eq!(parse_value(text), Err(ValueProblem::Thousands), "{text}");
        }
        for text in ["-1", "+1", "1.5", "1.23E+05", "0x", "ten", "1-234", "4d2", "٤٢"] {
            assert_eq!(parse_value(text), Err(ValueProblem::NotWhole), "{text}");
        }
        assert_eq!(parse_value(" "), Err(ValueProblem::Empty));
        assert_eq!(parse_value("18446744073709551616"), Err(ValueProblem::TooLarge));
    }

    proptest! {
        #[test]
        fn written_values_are_read_back(value: u64) {
            prop_assert_eq!(parse_value(&value.to_string()), Ok(value));
            prop_assert_eq!(parse_value(&format!("{value:#x}")), Ok(value));
        }

        #[test]
        fn no_value_panics(text in "\\PC*") {
            let _ = parse_value(&text);
        }
    }
}
