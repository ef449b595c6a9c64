//! Received bits against the frame they came from.
//!
//! Never drawn where card numbers are hidden: the line on which a bit was lost
//! or added tells its value.

use misread::diagnose::Aligned;
use misread::{Bits, Layout};

use super::canvas::Strip;
use super::segment::INDENT;
use super::{COLUMNS, Ink, Line};

/// Where the bits begin, behind the names of the rows.
const BITS: usize = INDENT + "received ".len();

/// Received bits against the frame they came from.
#[derive(Clone, Debug)]
pub(crate) struct Alignment<'a> {
    /// The frame; `?` where it is not known.
    pub(crate) frame: &'a Bits,
    /// The bits as received.
    pub(crate) read: &'a Bits,
    /// Which came from which.
    pub(crate) way: &'a [Aligned],
    /// The frame's layout: a space stands where one of its parts ends.
    pub(crate) layout: &'a Layout,
}

/// One place of the two rows.
struct Place {
    sent: char,
    received: char,
    mark: Option<char>,
    /// The position in the frame, from 1, where a part begins here.
    begins: Option<usize>,
}

impl Alignment<'_> {
    /// The drawing, at most eighty columns wide: lost bits are marked `-`,
    /// extra ones `+`.
    pub(crate) fn lines(&self) -> Vec<Line> {
        let mut lines = Vec::new();
        for row in self.rows() {
            if !lines.is_empty() {
                lines.push(Line::default());
            }
            lines.extend(draw(&row));
        }
        let count = |mark| self.places().iter().filter(|place| place.mark == Some(mark)).count();
        let says: Vec<String> = [('-', "lost"), ('+', "extra")]
            .into_iter()
            .filter(|&(mark, _)| count(mark) > 0)
            .map(|(mark, word)| format!("{mark} {word} ({})", count(mark)))
            .collect();
        if !says.is_empty() {
            lines.push(Line::new(Ink::Alert, format!("{:BITS$}{}", "", says.join("   "))));
        }
        lines
    }

    fn places(&self) -> Vec<Place> {
        let begins = part_starts(self.layout);
        let of_frame = |index: usize| {
            let sent = self.frame.get(index).map_or('?', |bit| bit.as_char());
            (sent, begins.contains(&index).then_some(index + 1))
        };
        let place = |step: &Aligned| match *step {
            Aligned::Arrived { frame, read } => {
                let (sent, begins) = of_frame(frame);
                let received = self.read.get(read).map_or('?', |bit| bit.as_char());
                Place { sent, received, mark: None, begins }
            }
            Aligned::Lost { frame } => {
                let (sent, begins) = of_frame(frame);
                Place { sent, received: ' ', mark: Some('-'), begins }
            }
            Aligned::Extra { read } => {
                let received = self.read.get(read).map_or('?', |bit| bit.as_char());
                Place { sent: ' ', received, mark: Some('+'), begins: None }
            }
        };
        self.way.iter().map(place).collect()
    }

    /// Whole parts in a row where they fit.
    fn rows(&self) -> Vec<Vec<Place>> {
        let mut parts: Vec<Vec<Place>> = Vec::new();
        for place in self.places() {
            match parts.last_mut() {
                Some(part) if place.begins.is_none() => part.push(place),
                _ => parts.push(vec![place]),
            }
        }
        let mut rows: Vec<Vec<Place>> = vec![Vec::new()];
        let mut used = BITS;
        for part in parts {
            if used > BITS && used + part.len() > COLUMNS {
                rows.push(Vec::new());
                used = BITS;
            }
            for place in part {
                if used >= COLUMNS {
                    rows.push(Vec::new());
                    used = BITS;
                }
                used += 1;
                if let Some(row) = rows.last_mut() {
                    row.push(place);
                }
            }
            used += 1;
        }
        rows
    }
}

fn draw(row: &[Place]) -> Vec<Line> {
    let mut strips: [Strip; 4] = Default::default();
    let [positions, sent, received, marks] = &mut strips;
    sent.put(INDENT, Ink::Plain, "sent");
    received.put(INDENT, Ink::Plain, "received");
    let mut column = BITS;
    for (i, place) in row.iter().enumerate() {
        if place.begins.is_some() && i > 0 {
            column += 1;
        }
        if let Some(position) = place.begins.filter(|_| positions.end() < column) {
            positions.put(column, Ink::Faint, &position.to_string());
        }
        let ink = if place.mark.is_some() { Ink::Alert } else { Ink::Strong };
        sent.put(column, ink, place.sent.encode_utf8(&mut [0; 4]));
        received.put(column, ink, place.received.encode_utf8(&mut [0; 4]));
        if let Some(mark) = place.mark {
            marks.put(column, Ink::Alert, mark.encode_utf8(&mut [0; 4]));
        }
        column += 1;
    }
    let marked = marks.end() > 0;
    let lines = strips.into_iter().take(if marked { 4 } else { 3 });
    lines.map(Strip::line).collect()
}

/// The indices at which a field, a fixed part or a parity bit begins.
fn part_starts(layout: &Layout) -> Vec<usize> {
    let segments = super::segment::of_layout(layout);
    segments.iter().map(|segment| segment.first).collect()
}
