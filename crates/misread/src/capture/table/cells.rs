//! What the headings and cells of a table of the two lines say, in a file or as
//! it comes.

use super::TimeUnit;
use crate::capture::signals::line_named;
use crate::pulse::Line;

/// The first words of the headings of a time, of a line's name, of a level and of
/// a pulse's width.
pub(crate) const TIMES: &[&str] = &["time", "t", "timestamp"];
pub(crate) const LINES: &[&str] = &["line", "channel", "signal"];
pub(crate) const LEVELS: &[&str] = &["level", "value"];
pub(super) const WIDTHS: &[&str] = &["width", "duration"];

/// The furthest time, in nanoseconds: a thousand days and more. Fractions are
/// exact to the nanosecond up to 104 days.
pub(super) const FURTHEST: u64 = 90_000_000_000_000_000;

/// `Time [µs]` is time, µs.
pub(crate) fn words(heading: &str) -> Vec<String> {
    heading
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

/// The first heading that begins with one of those words.
pub(crate) fn column_of<H: AsRef<str>>(headings: &[H], wanted: &[&str]) -> Option<usize> {
    headings.iter().position(|heading| {
        words(heading.as_ref()).first().is_some_and(|word| wanted.contains(&word.as_str()))
    })
}

/// The unit in the heading of a time.
pub(crate) fn unit_in(heading: &str) -> Option<TimeUnit> {
    words(heading).iter().skip(1).find_map(|word| TimeUnit::named(word))
}

/// The line that a cell names.
pub(crate) fn line_in(cell: &str) -> Option<Line> {
    match cell {
        "0" => Some(Line::D0),
        "1" => Some(Line::D1),
        name => line_named(name),
    }
}

/// The number in a cell; where commas do not part the cells, one may be the
/// decimal point.
pub(crate) fn number_in(cell: &str, delimiter: u8) -> Option<f64> {
    let number: Option<f64> = if delimiter == b',' || cell.contains('.') {
        cell.parse().ok()
    } else {
        cell.replacen(',', ".", 1).parse().ok()
    };
    number.filter(|number| number.is_finite())
}

/// A time in nanoseconds; none where it is too far off.
pub(crate) fn nanoseconds(time: f64, unit: TimeUnit) -> Option<i64> {
    let nanoseconds = (time * unit.nanoseconds()).round();
    (nanoseconds.abs() <= FURTHEST as f64).then_some(nanoseconds as i64)
}
