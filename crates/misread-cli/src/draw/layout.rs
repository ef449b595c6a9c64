//! A layout drawn without a read: spans, and what each parity bit covers.

use misread::Layout;
use misread::layout::{Code, Order};

use super::bits::{is_last, mark_lines, positions, span_lines};
use super::segment::{self, Owner};
use super::{Ink, Line};
use crate::words;

/// A layout in spans and words, at most eighty columns wide.
pub(crate) fn draw_layout(layout: &Layout) -> Vec<Line> {
    draw_open_layout(layout, &[])
}

/// The same with the bits at these indices marked as open.
pub(crate) fn draw_open_layout(layout: &Layout, open: &[usize]) -> Vec<Line> {
    let crowded = segment::is_crowded(layout);
    let mut segments = segment::of_layout(layout);
    for segment in &mut segments {
        segment.label = match segment.owner {
            Owner::Field(field) if !segment.continues => field.name().to_owned(),
            Owner::Field(field) if !crowded => format!("{}, continued", field.name()),
            Owner::Fixed(_) if !segment.continues && !crowded => "fixed".to_owned(),
            Owner::Parity(rule) if !crowded => format!("{} parity", rule.kind()),
            Owner::Unassigned => "unassigned".to_owned(),
            _ => String::new(),
        };
    }
    let rows = segment::rows(segments, crowded);
    let mut lines = Vec::new();
    for (number, row) in rows.iter().enumerate() {
        if number > 0 {
            lines.push(Line::default());
        }
        lines.push(positions(row, crowded).line());
        if !open.is_empty() {
            let glyphs: Vec<_> = open.iter().map(|&index| (index, '?')).collect();
            let last = is_last(&rows, number, &glyphs);
            mark_lines(row, &glyphs, last.then_some("open"), Ink::Alert, &mut lines);
        }
        span_lines(row, crowded, &mut lines);
        if crowded {
            continue;
        }
        for rule in layout.parity() {
            let glyphs: Vec<_> = rule
                .group()
                .indices()
                .map(|index| (index, if index == rule.bit() { '^' } else { '═' }))
                .collect();
            let word = format!("bit {}: {}", rule.bit() + 1, words::parity(rule, usize::MAX));
            let last = is_last(&rows, number, &glyphs);
            mark_lines(row, &glyphs, last.then_some(word.as_str()), Ink::Plain, &mut lines);
        }
    }
    if crowded {
        lines.push(Line::new(Ink::Plain, "  ╵ parity bit"));
    }
    lines.push(Line::default());
    lines.extend(in_words(layout, crowded).into_iter().map(|t| Line::new(Ink::Plain, t)));
    lines
}

/// Every rule of the layout in words; the parity rules only where they are not
/// drawn.
fn in_words(layout: &Layout, crowded: bool) -> Vec<String> {
    let mut rows = Vec::new();
    for field in layout.fields() {
        let listed: Vec<usize> = field.listed_positions().map(|p| usize::from(p) - 1).collect();
        let mut says = format!("0 to {}", field.max());
        if field.code() == Code::Bcd {
            says.push_str(", four bits a decimal digit");
        }
        if field.order() == Order::LsbFirst {
            says.push_str(", least significant bit first");
        }
        if let Some(value) = field.value() {
            says.push_str(&format!("; this site's is {}", value));
        }
        if let Some((low, high)) = field.range() {
            says.push_str(&format!("; {low} to {high} were ordered"));
        }
        rows.push((field.name().to_owned(), words::bits(&listed), says));
    }
    for rule in layout.fixed() {
        let indices: Vec<usize> = rule.bits().map(|(index, _)| index).collect();
        let value: String = rule.bits().map(|(_, one)| if one { '1' } else { '0' }).collect();
        rows.push(("fixed".to_owned(), words::bits(&indices), format!("always {value}")));
    }
    for rule in layout.parity().iter().filter(|_| crowded) {
        let says = words::parity(rule, usize::MAX);
        rows.push(("parity".to_owned(), words::bits(&[rule.bit()]), says));
    }
    let unassigned: Vec<usize> = layout.unassigned().indices().collect();
    if !unassigned.is_empty() {
        rows.push((
            "unassigned".to_owned(),
            words::bits(&unassigned),
            "may carry anything; sent as 0".to_owned(),
        ));
    }
    table(&rows)
}

fn table(rows: &[(String, String, String)]) -> Vec<String> {
    // A column that one long cell would push off the page is wrapped instead.
    const WIDEST: usize = 24;
    let name = rows.iter().map(|row| row.0.len()).max().unwrap_or(0);
    let bits = rows.iter().map(|row| row.1.len()).max().unwrap_or(0).min(WIDEST);
    let mut lines = Vec::new();
    for row in rows {
        let mut place = super::wrap(&row.1, bits).into_iter();
        let mut says = super::wrap(&row.2, super::COLUMNS - name - bits - 6).into_iter();
        let mut label = row.0.as_str();
        loop {
            let (left, right) = (place.next(), says.next());
            if left.is_none() && right.is_none() {
                break;
            }
            let (left, right) = (left.unwrap_or_default(), right.unwrap_or_default());
            lines.push(format!("  {label:name$}  {left:bits$}  {right}").trim_end().to_owned());
            label = "";
        }
    }
    lines
}
