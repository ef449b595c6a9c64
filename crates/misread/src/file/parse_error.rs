//! Where and why text is not a layout document.

use std::fmt;

use super::shorten::shown;

/// Text that is not a layout document: not TOML or JSON at all, or with a key
/// or value that a layout does not have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ParseError {
    /// The line, from 1.
    pub line: usize,
    /// The character in the line, from 1.
    pub column: usize,
    /// What was found there, as a sentence.
    pub found: String,
    /// What would be accepted there.
    pub expected: String,
}

impl std::error::Error for ParseError {}

impl fmt::Display for ParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}", self.line, self.column, self.found)
    }
}

impl ParseError {
    pub(super) fn from_toml(text: &str, error: &toml::de::Error) -> Self {
        let span = error.span().unwrap_or(0..0);
        let message = match error.message() {
            "duplicate key" => {
                let key = text.get(span.clone()).unwrap_or_default();
                format!("duplicate field `{key}`")
            }
            message => message.to_owned(),
        };
        Self::new(text, span.start, &message, "a layout in TOML")
    }

    pub(super) fn from_json(text: &str, error: &serde_json::Error) -> Self {
        let at = json_place(text, error);
        let said = error.to_string();
        let message = match said.rfind(" at line ") {
            Some(end) if error.line() > 0 => &said[..end],
            _ => said.as_str(),
        };
        Self::new(text, at, message, "a layout in JSON")
    }

    fn new(text: &str, at: usize, message: &str, kind: &str) -> Self {
        let (line, column) = line_and_column(text, at);
        // What a value should have been is always said last, and never holds
        // text from the document.
        let (found, expected) = match message.rsplit_once(", expected ") {
            Some((found, "f64")) => (found, "a number".to_owned()),
            Some((found, expected)) => (found, expected.replace('`', "")),
            None => (message, kind.to_owned()),
        };
        let (found, expected) = in_words(found.trim(), expected);
        ParseError { line, column, found: shown(&found), expected }
    }
}

/// What the libraries say, in an installer's words. They speak of fields and
/// variants; in a layout a field is something else.
fn in_words(found: &str, expected: String) -> (String, String) {
    let rest = |start| found.strip_prefix(start).map(|rest| rest.trim_matches('`'));
    if let Some(key) = rest("unknown field ") {
        (format!("unknown key ‘{key}’"), expected)
    } else if let Some(key) = rest("missing field ") {
        (format!("the key ‘{key}’ is missing"), format!("{key} with its value"))
    } else if let Some(key) = rest("duplicate field ") {
        (format!("the key ‘{key}’ is given twice"), "every key once".to_owned())
    } else if let Some(value) = rest("unknown variant ") {
        (format!("unknown value ‘{value}’"), expected)
    } else if let Some(count) = rest("invalid length ") {
        (format!("found {count} of them"), expected)
    } else if let Some(inside) = rest("EOF while parsing ") {
        (format!("the text ends inside {inside}"), expected)
    } else if let Some(value) = rest("invalid type: ").or_else(|| rest("invalid value: ")) {
        let value = match value {
            "map" => "a single table".to_owned(),
            "sequence" => "a list".to_owned(),
            text if text.starts_with("string ") => text.to_owned(),
            number => number.replace('`', "").replace(" as i128", ""),
        };
        (format!("found {value}"), expected)
    } else {
        (found.to_owned(), expected)
    }
}

/// The line and the character in it, both from 1, of a byte of the text.
pub(super) fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (before.matches('\n').count() + 1, before[start..].chars().count() + 1)
}

/// Where the token begins that the JSON reader refused. The reader says where
/// it stopped: at the last byte of a value or key it did not want.
fn json_place(text: &str, error: &serde_json::Error) -> usize {
    let line_start: usize =
        text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len).sum();
    let stopped = (line_start + error.column().saturating_sub(1)).min(text.len());
    if error.classify() != serde_json::error::Category::Data {
        return stopped;
    }
    let bytes = text.as_bytes();
    let is_word = |byte: &u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'+' | b'.');
    match bytes.get(stopped) {
        Some(b'"') => (0..stopped)
            .rev()
            .find(|&at| bytes[at] == b'"' && (at == 0 || bytes[at - 1] != b'\\'))
            .unwrap_or(stopped),
        Some(byte) if is_word(byte) => {
            (0..stopped).rev().take_while(|&at| is_word(&bytes[at])).last().unwrap_or(stopped)
        }
        _ => stopped,
    }
}
