//! A read drawn once, with its fields as spans under it.

use misread::layout::{Check, CheckOutcome};
use misread::{Bits, Layout};

use super::canvas::Strip;
use super::segment::{self, INDENT, Owner, Segment};
use super::{COLUMNS, Ink, Line, wrap};
use crate::masking::Masking;
use crate::words;

/// A read to be drawn.
#[derive(Clone, Debug)]
pub(crate) struct Drawing<'a> {
    /// The bits as received.
    pub(crate) bits: &'a Bits,
    /// The layout whose fields stand under them. Used only where the length
    /// is the same; else the bits stand in groups of eight.
    pub(crate) layout: Option<&'a Layout>,
    /// The bits that decide, drawn with a caret under each.
    pub(crate) marks: Vec<Marked>,
    /// Whether card numbers are hidden.
    pub(crate) masking: Masking,
}

/// Bits that decide something, and what they decide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Marked {
    /// Indices from 0.
    pub(crate) bits: Vec<usize>,
    /// What is to be said about them, in a few words.
    pub(crate) word: String,
}

impl Marked {
    /// The checks of a layout that fail, each with the bits it looks at.
    pub(crate) fn failures(layout: &Layout, bits: &Bits) -> Vec<Marked> {
        if layout.bits() != bits.len() {
            return Vec::new();
        }
        // Values mean nothing while the frame itself is wrong.
        let fits = layout.decode(bits).is_ok();
        layout
            .checks()
            .filter(|check| fits || matches!(check, Check::Parity(_) | Check::Fixed(_)))
            .filter(|check| check.outcome(bits) == CheckOutcome::Fails)
            .map(|check| {
                let word = match check {
                    Check::Parity(rule) => {
                        format!("{} parity in bit {} fails", rule.kind(), rule.bit() + 1)
                    }
                    Check::Fixed(_) => "fixed, with another value".to_owned(),
                    Check::Value(field, _) => format!("not the {} declared", field.name()),
                    Check::Range(field, _) => format!("{} out of range", field.name()),
                    Check::Digit(field) => format!("a digit of {} over nine", field.name()),
                };
                Marked { bits: check.bits().indices().collect(), word }
            })
            .collect()
    }
}

impl Drawing<'_> {
    /// The drawing, at most eighty columns wide.
    pub(crate) fn lines(&self) -> Vec<Line> {
        let layout = self.layout.filter(|layout| layout.bits() == self.bits.len());
        let crowded = layout.is_some_and(segment::is_crowded);
        let mut segments = match layout {
            Some(layout) => segment::of_layout(layout),
            None => segment::of_bits(self.bits),
        };
        if let Some(layout) = layout {
            let proven = layout.decode(self.bits).is_ok();
            for segment in &mut segments {
                self.label(segment, crowded, proven);
            }
        }
        let rows = segment::rows(segments, crowded);
        let text: Vec<char> = self.masking.bits(self.bits, layout).chars().collect();
        let mut lines = Vec::new();
        for (number, row) in rows.iter().enumerate() {
            if number > 0 {
                lines.push(Line::default());
            }
            lines.push(positions(row, crowded).line());
            lines.push(self.bit_strip(row, &text).line());
            for mark in &self.marks {
                let glyphs: Vec<_> = mark.bits.iter().map(|&index| (index, '^')).collect();
                let last = is_last(&rows, number, &glyphs);
                mark_lines(
                    row,
                    &glyphs,
                    last.then_some(mark.word.as_str()),
                    Ink::Alert,
                    &mut lines,
                );
            }
            if layout.is_some() {
                span_lines(row, crowded, &mut lines);
            }
        }
        if let Some(layout) = layout.filter(|_| crowded) {
            lines.push(Line::default());
            lines.push(Line::new(Ink::Plain, self.parity_legend(layout)));
        }
        lines
    }

    fn bit_strip(&self, row: &[Segment<'_>], text: &[char]) -> Strip {
        let mut strip = Strip::default();
        for segment in row {
            for index in segment.first..segment.first + segment.len {
                let marked = self.marks.iter().any(|mark| mark.bits.contains(&index));
                let ink = if marked { Ink::Alert } else { Ink::Strong };
                if let (Some(c), Some(column)) = (text.get(index), segment.column_of(index)) {
                    strip.put(column, ink, c.encode_utf8(&mut [0; 4]));
                }
            }
        }
        strip
    }

    fn label(&self, segment: &mut Segment<'_>, crowded: bool, proven: bool) {
        if segment.continues {
            if let (Owner::Field(field), false) = (segment.owner, crowded) {
                segment.label = format!("{}, continued", field.name());
            }
            return;
        }
        let outcome = |check: Check<'_>| check.outcome(self.bits);
        let said = |outcome| match outcome {
            CheckOutcome::Holds => "holds",
            CheckOutcome::Fails => "fails",
            CheckOutcome::Open => "unread",
        };
        segment.label = match segment.owner {
            Owner::Field(field) => match field.value_in(self.bits) {
                Some(value) => {
                    let doubt = if proven { "" } else { ", unproven" };
                    format!("{} {}{doubt}", field.name(), self.masking.number(value))
                }
                None => format!("{}: unread bits", field.name()),
            },
            Owner::Parity(_) if crowded => String::new(),
            Owner::Parity(rule) => {
                let outcome = outcome(Check::Parity(rule));
                segment.alert = outcome == CheckOutcome::Fails;
                format!("{}: {}", words::parity(rule, words::SHORT), said(outcome))
            }
            Owner::Fixed(rule) => {
                let outcome = outcome(Check::Fixed(rule));
                segment.alert = outcome == CheckOutcome::Fails;
                format!("fixed: {}", said(outcome))
            }
            Owner::Unassigned => "unassigned".to_owned(),
            Owner::Nobody => String::new(),
        };
    }

    fn parity_legend(&self, layout: &Layout) -> String {
        let fails = layout
            .parity()
            .iter()
            .filter(|rule| Check::Parity(rule).outcome(self.bits) == CheckOutcome::Fails)
            .count();
        let open = layout
            .parity()
            .iter()
            .filter(|rule| Check::Parity(rule).outcome(self.bits) == CheckOutcome::Open)
            .count();
        let all = layout.parity().len();
        let said = match (fails, open) {
            (0, 0) => format!("all {all} hold"),
            (fails, 0) => format!("{fails} of {all} fail"),
            (fails, open) => format!("{fails} of {all} fail, {open} rest on unread bits"),
        };
        format!("  ╵ parity bit; {said}")
    }
}

/// The first and last position of each stretch, where there is room.
pub(super) fn positions(row: &[Segment<'_>], crowded: bool) -> Strip {
    let mut strip = Strip::default();
    for segment in row {
        if crowded && (segment.continues || matches!(segment.owner, Owner::Parity(_))) {
            continue;
        }
        let first = (segment.first + 1).to_string();
        let last = (segment.first + segment.len).to_string();
        if strip.end() < segment.column || strip.end() == 0 {
            strip.put(segment.column, Ink::Faint, &first);
        }
        let column = segment.end().saturating_sub(last.len());
        if segment.len > 1 && strip.end() < column {
            strip.put(column, Ink::Faint, &last);
        }
    }
    strip
}

/// The spans under the bits, and the words that hang from them.
pub(super) fn span_lines(row: &[Segment<'_>], crowded: bool, lines: &mut Vec<Line>) {
    let mut strip = Strip::default();
    for (i, segment) in row.iter().enumerate() {
        if crowded && segment.continues {
            let before = row[..i].iter().rev();
            let mut others = before.skip_while(|s| matches!(s.owner, Owner::Parity(_)));
            if let Some(piece) = others.next().filter(|s| segment::same(&s.owner, &segment.owner)) {
                for column in piece.end()..segment.column {
                    if !row.iter().any(|s| (s.column..s.end()).contains(&column)) {
                        strip.put(column, Ink::Faint, "╌");
                    }
                }
            }
        }
        strip.put(segment.column, Ink::Faint, &span(segment));
    }
    lines.push(strip.line());

    let mut pending: Vec<&Segment<'_>> = row.iter().filter(|s| !s.label.is_empty()).collect();
    while !pending.is_empty() {
        let mut strip = Strip::default();
        let mut limit = usize::MAX;
        let mut left = Vec::new();
        // From the right: a label may not run into a line or a label there.
        for segment in pending.into_iter().rev() {
            let anchor = segment.anchor();
            if anchor + segment.label.chars().count() < limit {
                let ink = if segment.alert { Ink::Alert } else { Ink::Plain };
                strip.put(anchor, ink, &segment.label);
            } else {
                strip.put(anchor, Ink::Faint, "│");
                left.push(segment);
            }
            limit = anchor;
        }
        left.reverse();
        pending = left;
        lines.push(strip.line());
    }
}

fn span(segment: &Segment<'_>) -> String {
    let hangs = !segment.label.is_empty();
    let middle = segment.anchor() - segment.column;
    match segment.len {
        1 if hangs => "│".to_owned(),
        1 => "╵".to_owned(),
        len => (0..len)
            .map(|i| match i {
                _ if i == middle && hangs && i == 0 => '├',
                _ if i == middle && hangs => '┬',
                0 => '└',
                _ if i + 1 == len => '┘',
                _ => '─',
            })
            .collect(),
    }
}

/// One line of glyphs under chosen bits, and the word about them beside it or
/// on lines of its own.
pub(super) fn mark_lines(
    row: &[Segment<'_>],
    glyphs: &[(usize, char)],
    word: Option<&str>,
    ink: Ink,
    lines: &mut Vec<Line>,
) {
    let mut strip = Strip::default();
    for &(index, glyph) in glyphs {
        if let Some(column) = row.iter().find_map(|segment| segment.column_of(index)) {
            strip.put(column, ink, glyph.encode_utf8(&mut [0; 4]));
        }
    }
    let drawn = strip.end() > 0;
    let beside = strip.end() + 2;
    let first = strip.start();
    match word {
        Some(word) if drawn && beside + word.chars().count() <= COLUMNS => {
            strip.put(beside, ink, word);
            lines.push(strip.line());
        }
        Some(word) if drawn && INDENT + word.chars().count() + 2 <= first => {
            strip.put(first - 2 - word.chars().count(), ink, word);
            lines.push(strip.line());
        }
        Some(word) => {
            if drawn {
                lines.push(strip.line());
            }
            for text in wrap(word, COLUMNS - INDENT) {
                let mut strip = Strip::default();
                strip.put(INDENT, ink, &text);
                lines.push(strip.line());
            }
        }
        None if drawn => lines.push(strip.line()),
        None => {}
    }
}

/// Whether no later row shows any of these bits, and this one shows some; for
/// bits that no row shows, whether this is the last row.
pub(super) fn is_last(rows: &[Vec<Segment<'_>>], number: usize, glyphs: &[(usize, char)]) -> bool {
    let shows = |row: &Vec<Segment<'_>>| {
        glyphs.iter().any(|&(index, _)| row.iter().any(|s| s.column_of(index).is_some()))
    };
    rows.iter().rposition(shows).unwrap_or(rows.len() - 1) == number
}
