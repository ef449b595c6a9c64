//! A layout as a picture in SVG: whose each bit is, and what each check
//! covers.

use std::fmt::Write;

use misread::Layout;

use super::segment::{self, Owner, Segment};
use crate::words;

/// Bits in a row.
const ROW: usize = 40;

/// The side of a bit, and the height of a line of text or of a check.
const CELL: usize = 20;
const LINE: usize = 16;

/// Room left of the bits, and right of them for words.
const LEFT: usize = 16;
const RIGHT: usize = 300;

/// A layout with what covers what. A filled dot is a bit that a check covers,
/// a ring its parity bit; nothing is said by colour alone.
pub(crate) fn layout_svg(layout: &Layout, title: Option<&str>) -> String {
    let columns = layout.bits().min(ROW);
    let mut body = String::new();
    let mut y = 12 + LINE;
    let heading = match title {
        Some(title) => format!("{}: {title}", layout.name()),
        None => layout.name().to_owned(),
    };
    text(&mut body, LEFT, y, "strong", &heading);
    y += LINE;
    let segments = segment::of_layout(layout);
    for first in (0..layout.bits()).step_by(ROW) {
        y = row(&mut body, layout, &segments, first..(first + ROW).min(layout.bits()), y) + LINE;
    }
    if !layout.parity().is_empty() {
        let says = "filled dot: a bit the check covers; ring: its parity bit";
        text(&mut body, LEFT, y, "faint", says);
        y += LINE;
    }
    let longest = heading.chars().count() * 8;
    let width = (LEFT + columns * CELL + RIGHT).max(2 * LEFT + longest);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{y}\" \
         viewBox=\"0 0 {width} {y}\" role=\"img\">\n<title>{}</title>\n<style>\n\
         text {{ font: 12px sans-serif; fill: #222 }}\n\
         .strong {{ font-weight: bold }}\n.faint {{ fill: #666; font-size: 9px }}\n\
         .bit {{ fill: #fff; stroke: #555 }}\n.check {{ fill: #ddd }}\n\
         .line {{ stroke: #555; fill: none }}\n.ring {{ stroke: #222; stroke-width: 2; fill: #fff }}\n\
         .dot {{ fill: #222 }}\n</style>\n\
         <rect width=\"{width}\" height=\"{y}\" fill=\"#fff\"/>\n{body}</svg>\n",
        escaped(&heading)
    )
}

/// One row of bits from `y` on, and where the next thing goes.
fn row(
    body: &mut String,
    layout: &Layout,
    segments: &[Segment<'_>],
    shown: std::ops::Range<usize>,
    y: usize,
) -> usize {
    let x = |index: usize| LEFT + (index - shown.start) * CELL;
    let top = y + LINE;
    for index in shown.clone() {
        let numbered = index == shown.start || (index + 1) % 5 == 0 || index + 1 == shown.end;
        if numbered {
            text(body, x(index) + 3, y + 10, "faint", &(index + 1).to_string());
        }
    }
    let mut labels = 0;
    for part in segments {
        let (from, to) = (part.first.max(shown.start), (part.first + part.len).min(shown.end));
        if from >= to {
            continue;
        }
        let is_check = matches!(part.owner, Owner::Parity(_) | Owner::Fixed(_));
        for index in from..to {
            let class = if is_check { "bit check" } else { "bit" };
            let _ = writeln!(
                body,
                "<rect class=\"{class}\" x=\"{}\" y=\"{top}\" width=\"{CELL}\" height=\"{CELL}\"/>",
                x(index)
            );
            if let Owner::Fixed(rule) = part.owner
                && let Some((_, value)) = rule.bits().find(|&(at, _)| at == index)
            {
                text(body, x(index) + 7, top + 14, "", if value { "1" } else { "0" });
            }
        }
        let label = match part.owner {
            Owner::Field(field) => field.name(),
            Owner::Unassigned => "unassigned",
            Owner::Fixed(_) | Owner::Parity(_) | Owner::Nobody => continue,
        };
        labels = 1;
        let line = top + CELL + 5;
        let (left, right) = (x(from) + 2, x(to) - 2);
        let _ = writeln!(body, "<path class=\"line\" d=\"M{left} {}v5H{right}v-5\"/>", line - 3);
        // A label wider than its bits would run into the next one.
        let room = (to - from) * CELL / 6;
        if label.chars().count() <= room {
            text(body, left, line + LINE - 2, "", label);
        }
    }
    let mut y = top + CELL + labels * (LINE + 6) + 4;
    for rule in layout.parity() {
        let covered: Vec<usize> =
            rule.group().indices().filter(|index| shown.contains(index)).collect();
        let (Some(&first), Some(&last)) = (covered.first(), covered.last()) else { continue };
        let middle = y + LINE / 2;
        let at = |index: usize| x(index) + CELL / 2;
        let _ = writeln!(body, "<path class=\"line\" d=\"M{} {middle}H{}\"/>", at(first), at(last));
        for index in covered {
            let (class, r) = if index == rule.bit() { ("ring", 5) } else { ("dot", 3) };
            let _ = writeln!(
                body,
                "<circle class=\"{class}\" cx=\"{}\" cy=\"{middle}\" r=\"{r}\"/>",
                at(index)
            );
        }
        let says = format!("bit {}: {}", rule.bit() + 1, words::parity(rule, 40));
        text(body, x(shown.end) + 8, middle + 4, "", &says);
        y += LINE;
    }
    y
}

pub(super) fn text(body: &mut String, x: usize, y: usize, class: &str, says: &str) {
    let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
    // Writing to a string cannot fail.
    let _ = writeln!(body, "<text{class} x=\"{x}\" y=\"{y}\">{}</text>", escaped(says));
}

/// Text that stands for itself in XML; characters XML has no place for are
/// left out.
pub(super) fn escaped(text: &str) -> String {
    let allowed = |c: &char| !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}');
    text.chars().filter(allowed).fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
        out
    })
}
