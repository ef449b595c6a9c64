//! The one place that draws.
//!
//! Everything a person sees as a picture is made here, as lines of inked text
//! that fit eighty columns; nothing here writes to a stream. Every character
//! used is one column wide.

mod alignment;
mod bits;
mod canvas;
mod layout;
mod segment;
mod strip;
mod svg;
#[cfg(test)]
mod tests;
mod timeline;
mod waveform;

use anstyle::{AnsiColor, Style};

pub(crate) use alignment::Alignment;
pub(crate) use bits::{Drawing, Marked};
pub(crate) use layout::{draw_layout, draw_open_layout};
pub(crate) use strip::strip_lines;
pub(crate) use svg::layout_svg;
pub(crate) use timeline::{Drawn, Train};
pub(crate) use waveform::{Fields, Report, timing_svg};

/// How wide a drawing may be.
pub(crate) const COLUMNS: usize = 80;

/// How a piece of text is meant. Never the only sign of anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ink {
    /// Ordinary text.
    Plain,
    /// The answer.
    Strong,
    /// What only helps to find one's way: position numbers, lines.
    Faint,
    /// What proves that something is wrong.
    Alert,
}

impl Ink {
    /// The terminal style.
    pub(crate) fn style(self) -> Style {
        match self {
            Ink::Plain => Style::new(),
            Ink::Strong => Style::new().bold(),
            Ink::Faint => Style::new().dimmed(),
            Ink::Alert => Style::new().bold().fg_color(Some(AnsiColor::Red.into())),
        }
    }
}

/// One line of inked text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Line(Vec<(Ink, String)>);

impl Line {
    /// A line in one ink.
    pub(crate) fn new(ink: Ink, text: impl Into<String>) -> Self {
        Line(vec![(ink, text.into())])
    }

    /// The line with its styles, for a stream that drops them where there is
    /// no terminal.
    pub(crate) fn styled(&self) -> String {
        use std::fmt::Write;
        self.0.iter().fold(String::new(), |mut out, (ink, text)| {
            let style = ink.style();
            // Writing to a string cannot fail.
            let _ = write!(out, "{style}{text}{style:#}");
            out
        })
    }

    fn push(&mut self, ink: Ink, c: char) {
        match self.0.last_mut() {
            Some((last, text)) if *last == ink => text.push(c),
            _ => self.0.push((ink, c.into())),
        }
    }
}

/// The text alone.
impl std::fmt::Display for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|(_, text)| f.write_str(text))
    }
}

/// Wrapped text behind a lead such as `- `, later lines set in as far.
pub(crate) fn hanging(ink: Ink, lead: &str, text: &str) -> Vec<Line> {
    let indent = lead.chars().count();
    let lines = wrap(text, COLUMNS - indent).into_iter().enumerate();
    lines
        .map(|(i, line)| {
            let lead = if i == 0 { lead.to_owned() } else { " ".repeat(indent) };
            Line::new(ink, format!("{lead}{line}"))
        })
        .collect()
}

/// Breaks text at spaces into lines of at most `width` columns; a longer word
/// stands on a line of its own.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split_whitespace() {
        let len = word.chars().count();
        if used > 0 && used + 1 + len > width {
            lines.push(String::new());
            used = 0;
        }
        if let Some(line) = lines.last_mut() {
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += len;
        }
    }
    lines
}
