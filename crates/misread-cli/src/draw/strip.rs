//! The two lines along time, a row each: a pulse is drawn as its bit, so its
//! row, its digit and its place say line, bit and moment.

use misread::pulse::Line as DataLine;

use super::canvas::Strip;
use super::segment::INDENT;
use super::timeline::{Place, Ruler, Train, places, spreads};
use super::{COLUMNS, Ink, Line, hanging};
use crate::words;

/// Where time begins, behind the names of the rows.
const LEFT: usize = INDENT + 4;

/// The columns of one strip.
const ROOM: usize = COLUMNS - LEFT;

/// Whole columns to a beat, so that an even beat is drawn evenly; the best first
/// where the whole read fits one strip, and where it fits several.
const TO_A_BEAT: [u32; 5] = [6, 5, 4, 3, 2];
const OF_SEVERAL: [u32; 3] = [3, 2, 1];

/// A time without a change is cut short where it would take more columns.
const LONGEST: usize = 30;

/// A read of more strips than this is drawn smaller.
const STRIPS: usize = 8;

/// What stands for a time that is cut short.
const CUT: &str = "╱╱";

/// The drawing, at most eighty columns wide: the strips, then what is marked.
pub(crate) fn strip_lines(train: &Train<'_>) -> Vec<Line> {
    let ruler = ruler(train);
    let places = places(train.pulses, ruler);
    let rows = Rows::of(train, &places);
    let mut lines = Vec::new();
    for from in (0..rows.width).step_by(ROOM) {
        if from > 0 {
            lines.push(Line::default());
        }
        lines.extend(rows.slice(train, &places, from));
    }
    for (key, (_, says)) in train.marks.iter().enumerate() {
        lines.extend(hanging(Ink::Alert, &format!("  [{}] ", key + 1), says));
    }
    lines.extend(hanging(Ink::Faint, "  ", &legend(train, &places, ruler)));
    lines
}

/// The largest scale at which the read fits one strip, else several; else one so
/// small that it does.
fn ruler(train: &Train<'_>) -> Ruler {
    let of = |unit: u64| Ruler { unit: unit.max(1), apart: 1, longest: LONGEST };
    let width = |ruler| places(train.pulses, ruler).last().map_or(0, Place::end);
    let beat = u64::from(train.beat);
    let fitting = |columns: &[u32], most: usize| {
        let rulers = columns.iter().map(|&columns| of(beat / u64::from(columns)));
        rulers.into_iter().find(|&ruler| width(ruler) < most)
    };
    fitting(&TO_A_BEAT, ROOM).or_else(|| fitting(&OF_SEVERAL, STRIPS * ROOM)).unwrap_or_else(|| {
        // Once the whole read is one step every pulse takes one column, and the
        // most pulses there are fit the strips.
        let mut ruler = of(beat);
        while width(ruler) >= STRIPS * ROOM && ruler.unit < u64::MAX / 2 {
            ruler.unit *= 2;
        }
        ruler
    })
}

/// D0, hidden bits, D1.
struct Rows {
    rows: [Vec<(Ink, char)>; 3],
    hides: bool,
    width: usize,
}

impl Rows {
    fn of(train: &Train<'_>, places: &[Place]) -> Rows {
        let width = places.iter().map(Place::end).max().unwrap_or(0) + 1;
        let rest = vec![(Ink::Faint, '─'); width];
        let mut rows = [rest.clone(), vec![(Ink::Plain, ' '); width], rest];
        let mut end = 0;
        for (pulse, place) in train.pulses.iter().zip(places) {
            let row = match pulse.line {
                Some(DataLine::D0) => &mut rows[0],
                None => &mut rows[1],
                Some(DataLine::D1) => &mut rows[2],
            };
            let mut text: String = std::iter::once(pulse.bit())
                .chain(std::iter::repeat_n('═', place.len - 1))
                .collect();
            if place.cut {
                let middle = place.len / 2;
                text = text.chars().take(middle).chain(CUT.chars()).collect();
                text.extend(std::iter::repeat_n('═', place.len.saturating_sub(middle + 2)));
            }
            if !pulse.complete {
                text.pop();
                text.push(if place.len == 1 { pulse.bit() } else { '…' });
            }
            put(row, place.at, Ink::Strong, &text);
            if place.after_cut && place.at >= end + 4 {
                let middle = end + (place.at - end) / 2 - 1;
                put(&mut rows[0], middle, Ink::Plain, CUT);
                put(&mut rows[2], middle, Ink::Plain, CUT);
            }
            end = end.max(place.end());
        }
        Rows { rows, hides: train.pulses.iter().any(|pulse| pulse.line.is_none()), width }
    }

    /// The strip that begins at that column.
    fn slice(&self, train: &Train<'_>, places: &[Place], from: usize) -> Vec<Line> {
        let to = (from + ROOM).min(self.width);
        let mut numbers = Strip::default();
        for (index, place) in places.iter().enumerate() {
            let text = (index + 1).to_string();
            let column = LEFT + place.at.saturating_sub(from);
            let wanted = index == 0 || (index + 1) % 5 == 0;
            let free = numbers.end() == 0 || numbers.end() < column;
            if wanted && (from..to).contains(&place.at) && free && column + text.len() <= COLUMNS {
                numbers.put(column, Ink::Faint, &text);
            }
        }
        let mut lines = vec![numbers.line()];
        for (row, name) in self.rows.iter().zip(["D0", "", "D1"]) {
            if name.is_empty() && !self.hides {
                continue;
            }
            let mut strip = Strip::default();
            strip.put(INDENT, Ink::Plain, name);
            let cells = row.iter().skip(from).take(to - from).enumerate();
            for (column, &(ink, c)) in cells.filter(|(_, (_, c))| *c != ' ') {
                strip.put(LEFT + column, ink, c.encode_utf8(&mut [0; 4]));
            }
            lines.push(strip.line());
        }
        for (key, (bits, _)) in train.marks.iter().enumerate() {
            let mut strip = Strip::default();
            for place in bits.iter().filter_map(|&bit| places.get(bit)) {
                if (from..to).contains(&place.at) {
                    strip.put(LEFT + place.at - from, Ink::Alert, "^");
                }
            }
            if strip.end() > 0 {
                strip.put(INDENT, Ink::Alert, &format!("[{}]", key + 1));
                lines.push(strip.line());
            }
        }
        lines
    }
}

fn put(row: &mut [(Ink, char)], at: usize, ink: Ink, text: &str) {
    row.iter_mut().skip(at).zip(text.chars()).for_each(|(cell, c)| *cell = (ink, c));
}

fn legend(train: &Train<'_>, places: &[Place], ruler: Ruler) -> String {
    if !train.to_time {
        return "Each • is a pulse on one of the two lines. They are drawn in order and not to \
                time: line and time would tell the bits."
            .to_owned();
    }
    let mut says =
        format!("A pulse is drawn as its bit; a column is about {}.", words::about(ruler.unit));
    if spreads(train.pulses, places, ruler) {
        says += " Pulses closer than that stand side by side.";
    }
    if train.pulses.iter().zip(places).any(|(_, place)| place.len > 1) {
        says += " ═ is a pulse that lasts.";
    }
    if places.iter().any(|place| place.cut || place.after_cut) {
        says += " At ╱╱ time is cut short.";
    }
    if train.pulses.iter().any(|pulse| !pulse.complete) {
        says += " The end of the last pulse was not seen.";
    }
    says
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::timeline::Drawn;
    use super::*;

    /// The digits on the rows of the two lines, by strip and column.
    fn read_back(lines: &[Line]) -> String {
        let lines: Vec<String> = lines.iter().map(Line::to_string).collect();
        let rows = |name: &str| -> Vec<Vec<char>> {
            let rows = lines.iter().filter_map(|line| line.strip_prefix(&format!("  {name}  ")));
            rows.map(|row| row.chars().collect()).collect()
        };
        let mut bits = String::new();
        for (d0, d1) in rows("D0").into_iter().zip(rows("D1")) {
            for pair in d0.into_iter().zip(d1) {
                match pair {
                    ('0', '1') => panic!("two pulses at once"),
                    ('0', _) => bits.push('0'),
                    (_, '1') => bits.push('1'),
                    _ => {}
                }
            }
        }
        bits
    }

    proptest! {
        #[test]
        fn the_bits_can_be_read_back_from_the_rows(
            pulses in proptest::collection::vec((any::<bool>(), 1u32..200, 0u32..40_000), 1..200),
            beat in 100u32..5_000,
        ) {
            let mut start = 0i64;
            let mut bits = String::new();
            let pulses: Vec<Drawn> = pulses.into_iter().map(|(one, width, gap)| {
                let line = if one { DataLine::D1 } else { DataLine::D0 };
                let pulse = Drawn { line: Some(line), start, width, complete: true };
                bits.push(line.bit().as_char());
                start += i64::from(width + gap);
                pulse
            }).collect();
            let marks = vec![((0..pulses.len()).collect(), "every one".to_owned())];
            let lines = strip_lines(&Train { pulses: &pulses, beat, to_time: true, marks });
            prop_assert_eq!(read_back(&lines), bits);
            let text: Vec<String> = lines.iter().map(Line::to_string).collect();
            for line in &text {
                prop_assert!(line.chars().count() <= COLUMNS, "{}", line);
            }
            // Each pulse is marked once.
            prop_assert_eq!(text.concat().matches('^').count(), pulses.len());
            prop_assert!(text.iter().filter(|line| line.starts_with("  D0")).count() <= STRIPS);
        }
    }
}
