//! Input that is refused: one sentence, the place, what would be accepted.

use std::io::Write;

use misread::bits::{TextError, TextProblem};

use crate::draw::{COLUMNS, Ink, Line, wrap};
use crate::json::{self, Place};
use crate::masking::Masking;

/// An input that is refused.
#[derive(Clone, Debug, Default)]
pub(crate) struct Refusal {
    /// What is wrong, without the place.
    pub(crate) message: String,
    /// Where.
    pub(crate) place: Box<Place>,
    /// What would be accepted.
    pub(crate) expected: String,
    /// The text it was found in, and how many characters stand before the
    /// place.
    pub(crate) excerpt: Option<(String, usize)>,
    /// What hexadecimal without a length could be: the text to type instead,
    /// and what it then is.
    pub(crate) readings: Vec<json::Reading>,
}

impl Refusal {
    /// A refusal without a place in a text.
    pub(crate) fn new(message: impl Into<String>, expected: impl Into<String>) -> Self {
        Refusal { message: message.into(), expected: expected.into(), ..Refusal::default() }
    }

    /// The same with its place.
    pub(crate) fn at(self, place: Place) -> Self {
        Refusal { place: Box::new(place), ..self }
    }

    /// Pasted text that is not a read.
    pub(crate) fn text(text: &str, error: &TextError, place: Place, masking: Masking) -> Self {
        let before = text.get(..error.at).map_or(0, |before| before.chars().count());
        Refusal {
            message: text_message(&error.problem, masking),
            place: Box::new(Place { column: Some(before as u64 + 1), ..place }),
            expected: error.expected().to_owned(),
            excerpt: Some((masking.pasted(text), before)),
            readings: Vec::new(),
        }
    }

    /// The place and what is wrong, in one sentence.
    pub(crate) fn sentence(&self) -> String {
        let place = self.place.to_string();
        let colon = if place.is_empty() { "" } else { ": " };
        format!("{place}{colon}{}", self.message)
    }

    /// The refusal as programs see it.
    pub(crate) fn object(&self) -> json::Error {
        json::Error {
            schema: json::Error::SCHEMA,
            message: self.sentence(),
            place: (*self.place).clone(),
            expected: self.expected.clone(),
            readings: self.readings.clone(),
        }
    }

    /// The refusal as people see it.
    pub(crate) fn lines(&self) -> Vec<Line> {
        let sentence = format!("misread: {}", self.sentence());
        let mut lines: Vec<Line> =
            wrap(&sentence, COLUMNS).into_iter().map(|text| Line::new(Ink::Alert, text)).collect();
        let expected = format!("expected {}", self.expected);
        if let Some((text, at)) = &self.excerpt {
            let (shown, caret) = window(text, *at);
            lines.push(Line::new(Ink::Plain, format!("  {shown}")));
            lines.push(Line::new(Ink::Alert, format!("  {}^", " ".repeat(caret))));
        }
        if !self.expected.is_empty() {
            let texts = wrap(&expected, COLUMNS - 2).into_iter();
            lines.extend(texts.map(|text| Line::new(Ink::Plain, format!("  {text}"))));
        }
        if !self.readings.is_empty() {
            lines.push(Line::new(Ink::Plain, "  to be read as one of these, type:"));
            let width = self.readings.iter().map(|r| r.text.chars().count()).max().unwrap_or(0);
            lines.extend(self.readings.iter().map(|reading| {
                Line::new(Ink::Plain, format!("    {:width$}  {}", reading.text, reading.says))
            }));
        }
        lines
    }

    /// Writes it to standard error.
    pub(crate) fn print(&self) {
        let mut stream = anstream::stderr().lock();
        for line in self.lines() {
            // Nobody is left to tell when standard error is gone.
            let _ = writeln!(stream, "{}", line.styled());
        }
    }
}

/// What is wrong; masked, nothing of the text is quoted.
pub(crate) fn text_message(problem: &TextProblem, masking: Masking) -> String {
    match *problem {
        TextProblem::BothJustified { .. } if masking.is_on() => {
            "this can be read two ways, with padding at the end or in front".to_owned()
        }
        TextProblem::Unexpected(c) if masking.is_on() && c.is_alphanumeric() => {
            "a letter or digit that is not a bit".to_owned()
        }
        problem => problem.to_string(),
    }
}

/// The part of a long text around a place, without control characters, and how
/// far into it the place is.
fn window(text: &str, at: usize) -> (String, usize) {
    const WIDTH: usize = COLUMNS - 4;
    let plain: Vec<char> = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if plain.len() <= WIDTH {
        return (plain.into_iter().collect(), at);
    }
    let start = at.saturating_sub(WIDTH * 2 / 3).min(plain.len() - WIDTH);
    let mut shown: String = plain.iter().skip(start).take(WIDTH).collect();
    let mut caret = at - start;
    if start > 0 {
        shown.insert(0, '…');
        caret += 1;
    }
    if start + WIDTH < plain.len() {
        shown.push('…');
    }
    (shown, caret)
}

#[cfg(test)]
mod tests {
    use misread::bits::parse_read_text;
    use proptest::prelude::*;

    use super::*;

    fn caret(text: &str) -> (Vec<String>, String) {
        let error = parse_read_text(text).unwrap_err();
        let refusal = Refusal::text(text, &error, Place::default(), Masking::Off);
        let lines: Vec<String> = refusal.lines().iter().map(Line::to_string).collect();
        let at = lines.iter().position(|line| line.trim() == "^").unwrap();
        let under = lines[at - 1].chars().nth(lines[at].chars().count() - 1);
        (lines, under.map(String::from).unwrap_or_default())
    }

    #[test]
    fn the_caret_stands_under_the_place() {
        assert_eq!(caret("10x1").1, "x");
        assert_eq!(caret("“10x1”").1, "x");
        assert_eq!(caret(&format!("{}x{}", "10".repeat(100), "10".repeat(100))).1, "x");
        assert_eq!(caret("10\t10x").1, "x");
    }

    proptest! {
        #[test]
        fn no_refusal_is_wider_than_the_page(text in "[01]{0,300}[g-z][01]{0,300}") {
            // 0x before bits and h behind them mark hexadecimal.
            prop_assume!(parse_read_text(&text).is_err());
            let (lines, _) = caret(&text);
            for line in lines {
                prop_assert!(line.chars().count() <= COLUMNS, "{}", line);
            }
        }
    }
}
