//! The headings of a table: its time, and which shape it has.

use std::io::{BufRead, Read, Seek};

use super::TimeUnit;
use super::cells::{LEVELS, LINES, TIMES, WIDTHS, column_of, unit_in};
use crate::capture::error::shown;
use crate::capture::signals::choose;
use crate::capture::{CaptureError, Options};

/// What a table's headings say.
#[derive(Debug)]
pub(in crate::capture) struct Headings {
    pub(super) delimiter: u8,
    names: Vec<String>,
    pub(super) time: usize,
    pub(super) unit: TimeUnit,
    /// Whether nothing says that it is.
    pub(super) unit_taken: bool,
    pub(super) shape: Shape,
    /// The line they stand in, from 1.
    pub(super) line: u64,
}

/// The columns of each shape of table.
#[derive(Debug, PartialEq)]
pub(super) enum Shape {
    /// The levels of D0 and D1.
    Levels([usize; 2]),
    /// A level change.
    Changes { line: usize, level: usize },
    /// A pulse.
    Pulses { line: usize, width: usize, unit: TimeUnit },
    /// Levels, but it is not clear which; said why.
    Unclear(String),
}

impl Headings {
    pub(super) fn name(&self, column: usize) -> &str {
        self.names.get(column).map_or("", String::as_str)
    }

    pub(super) fn count(&self) -> usize {
        self.names.len()
    }
}

const EXPECTED: &str = "headings such as time_us,d0,d1 (levels), time_us,line,level (changes) or \
                        time_us,line,width (pulses)";

/// The longest line of headings, in bytes.
const LONGEST: u64 = 64 * 1024;

pub(super) fn find<R: BufRead + Seek>(
    input: &mut R,
    options: &Options,
) -> Result<Headings, CaptureError> {
    input.rewind()?;
    let mut line = 0;
    let mut text = Vec::new();
    let found = loop {
        text.clear();
        line += 1;
        if input.by_ref().take(LONGEST).read_until(b'\n', &mut text)? == 0 {
            return Err(CaptureError::Empty);
        }
        let content = text.trim_ascii();
        let content = content.strip_prefix(b"\xef\xbb\xbf").unwrap_or(content);
        if !content.is_empty() && !content.starts_with(b"#") {
            break content;
        }
    };
    if found.contains(&b'\r') {
        return Err(CaptureError::Headings {
            line,
            found: "found lines that end in a carriage return alone".to_owned(),
            expected: "lines that end in a line feed: save the table again, as CSV with such \
                       line ends"
                .to_owned(),
        });
    }
    let refuse = |found: String| CaptureError::Headings { line, found, expected: EXPECTED.into() };
    let found =
        std::str::from_utf8(found).map_err(|_| refuse("found bytes that are no text".into()))?;

    let count = |delimiter: u8| found.bytes().filter(|&byte| byte == delimiter).count();
    let delimiter = [b',', b';', b'\t'].into_iter().rev().max_by_key(|&d| count(d)).unwrap_or(b',');
    let mut record = csv::StringRecord::new();
    csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(found.as_bytes())
        .read_record(&mut record)
        .map_err(|_| refuse(format!("found ‘{}’", shown(found))))?;
    let names: Vec<String> = record.iter().map(str::to_owned).collect();

    let named = |wanted: &[&str]| column_of(&names, wanted);
    let Some(time) = named(TIMES) else {
        return Err(refuse(format!("no time among the headings ‘{}’", shown(found))));
    };
    let unit_of = |column: usize| names.get(column).and_then(|name| unit_in(name));
    let said = unit_of(time).or(options.unit);
    let unit = said.unwrap_or(TimeUnit::Seconds);

    let line_column = named(LINES).filter(|_| {
        options.d0.is_none() || {
            // A column that was named as D0 is no column of names.
            !names.iter().any(|name| Some(name) == options.d0.as_ref())
        }
    });
    let shape = match (line_column, named(LEVELS), named(WIDTHS)) {
        (Some(line), Some(level), _) if line != level => Shape::Changes { line, level },
        (Some(line), None, Some(width)) => {
            Shape::Pulses { line, width, unit: unit_of(width).unwrap_or(unit) }
        }
        _ => match choose(&names, options) {
            Ok(columns) => Shape::Levels(columns),
            Err(_) if names.len() < 3 => {
                return Err(refuse(format!("found the headings ‘{}’", shown(found))));
            }
            Err(unclear) => Shape::Unclear(unclear),
        },
    };
    Ok(Headings { delimiter, names, time, unit, unit_taken: said.is_none(), shape, line })
}
