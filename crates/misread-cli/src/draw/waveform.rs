//! The two lines along time as a picture in SVG, for a report: both waveforms,
//! the bits above their pulses, the fields under them, findings under their
//! place, and the limits as scales drawn to size. Black on white; nothing is
//! said by colour alone.

mod row;

use std::fmt::Write;

use misread::pulse::{Bounds, Level, Limits, Line as DataLine};
use misread::{Bits, Layout};

use super::segment::{self, Owner};
use super::svg::{escaped, text};
use super::timeline::{Drawn, Ruler, Train, places, spreads};
use super::wrap;
use crate::masking::Masking;
use crate::words;

use row::{BEFORE, Row, nice, rows};

/// The page: its width, where time begins, and the room for it. Labels may run
/// into the rest.
const WIDTH: usize = 960;
const EDGE: usize = 24;
const LEFT: usize = 64;
const ROOM: usize = 760;

/// The advance of a character of text, rounded up, and of a small one.
const CHAR: usize = 8;
const SMALL: usize = 6;
const LINE: usize = 16;

/// The starts of two pulses stand at least this far apart, so that the digits
/// above them do.
const APART: usize = 10;

/// Characters in a line of text across the page.
const TEXT: usize = (WIDTH - 2 * EDGE) / CHAR;

/// The shortest and the longest, in nanoseconds.
type Extent = Option<(u32, u32)>;

/// A report while it is being drawn.
pub(crate) struct Report {
    title: String,
    body: String,
    y: usize,
}

/// The bits behind a read's pulses, for the fields under them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fields<'a> {
    pub(crate) layout: &'a Layout,
    pub(crate) bits: &'a Bits,
    pub(crate) masking: Masking,
}

impl Report {
    /// The answer, and what was taken for it.
    pub(crate) fn new(title: &str, facts: &[(&'static str, String)]) -> Self {
        let mut report = Report { title: title.to_owned(), body: String::new(), y: EDGE };
        report.say("strong", title);
        for (name, says) in facts {
            report.say("", &format!("{name}: {says}"));
        }
        report.y += LINE;
        report
    }

    /// What is allowed, drawn to size, and what was measured: of each line, or
    /// where that is not to be told, of both together.
    pub(crate) fn scales(
        &mut self,
        limits: &Limits,
        widths: [Extent; 2],
        both: Extent,
        interval: Extent,
    ) {
        let mut rows: Vec<(&str, Extent)> = vec![("on D0", widths[0]), ("on D1", widths[1])];
        rows.retain(|(_, extent)| extent.is_some());
        if rows.is_empty() {
            rows.push(("measured", both));
        }
        self.scale("Pulse width", limits.width, &rows);
        self.scale("Pulse interval, start to start", limits.interval, &[("measured", interval)]);
    }

    /// A read.
    pub(crate) fn read(
        &mut self,
        heading: &str,
        train: &Train<'_>,
        idle: [Level; 2],
        fields: Option<Fields<'_>>,
    ) {
        self.say("strong", heading);
        let beat = usize::try_from(train.beat).unwrap_or(usize::MAX).max(1);
        let first = train.pulses.first().map_or(0, |pulse| pulse.start);
        let last = train.pulses.last().map_or(0, |pulse| pulse.start);
        let beats = usize::try_from(last.abs_diff(first)).unwrap_or(usize::MAX) / beat + 1;
        let to_a_beat = (ROOM / (beats + 1)).clamp(20, 60);
        let ruler = Ruler {
            unit: (beat / to_a_beat).max(1) as u64,
            apart: APART,
            longest: 4 * to_a_beat.max(40),
        };
        let mut places = places(train.pulses, ruler);
        places.iter_mut().for_each(|place| place.at += BEFORE);
        for row in rows(&places) {
            let row = Row { train, places: &places, idle, from: row.0, to: row.1 };
            self.row(&row, fields);
        }
        for (key, (_, says)) in train.marks.iter().enumerate() {
            self.say("", &format!("[{}] {says}", key + 1));
        }
        let mut note = match train.to_time {
            true => "Time counts from the first pulse.".to_owned(),
            false => {
                "A bar over both lines is a pulse on one of them. They are drawn in order and \
                      not to time: line and time would tell the bits."
                    .to_owned()
            }
        };
        if train.to_time && spreads(train.pulses, &places, ruler) {
            note += " Pulses too close to be told apart are drawn further apart than they are.";
        }
        if places.iter().any(|place| place.cut || place.after_cut) {
            note += " At two slanted lines time is cut short.";
        }
        self.say("", &note);
        self.y += LINE;
    }

    /// Text across the page.
    fn say(&mut self, class: &str, says: &str) {
        for line in wrap(says, TEXT) {
            self.y += LINE;
            text(&mut self.body, EDGE, self.y, class, &line);
        }
    }

    fn scale(&mut self, title: &str, bounds: Bounds, measured: &[(&str, Extent)]) {
        const LENGTH: usize = 500;
        const FROM: usize = EDGE + 10 * CHAR;
        let longest = u64::from(bounds.longest);
        let most = measured.iter().filter_map(|(_, extent)| extent.map(|(_, max)| u64::from(max)));
        let top = most.max().unwrap_or(0).clamp(longest + longest / 4, 3 * longest);
        let x = |ns: u64| FROM + usize::try_from(ns.min(top) * LENGTH as u64 / top).unwrap_or(0);
        let allowed = words::durations(bounds.shortest.into(), longest);
        self.say("", &format!("{title}: grey is allowed, {allowed}"));
        let y = self.y + 6;
        let height = measured.len() * LINE + 4;
        let (low, high) = (x(bounds.shortest.into()), x(longest));
        let _ = writeln!(
            self.body,
            "<rect class=\"allowed\" x=\"{low}\" y=\"{y}\" width=\"{}\" height=\"{height}\"/>",
            high - low
        );
        for (row, (name, extent)) in measured.iter().enumerate() {
            let middle = y + 2 + row * LINE + LINE / 2;
            text(&mut self.body, EDGE, middle + 4, "", name);
            let Some((min, max)) = *extent else { continue };
            let (min, max) = (u64::from(min), u64::from(max));
            let (from, to) = (x(min), x(max).max(x(min) + 2));
            let _ = writeln!(self.body, "<path class=\"measured\" d=\"M{from} {middle}H{to}\"/>");
            let says = words::durations(min, max);
            let beyond = if max > top { "  (beyond the scale)" } else { "" };
            text(&mut self.body, FROM + LENGTH + 12, middle + 4, "", &(says + beyond));
        }
        let axis = y + height + 2;
        let _ =
            writeln!(self.body, "<path class=\"line\" d=\"M{FROM} {axis}H{}\"/>", FROM + LENGTH);
        let step = nice(top.div_ceil(6));
        for ns in (0..=top).step_by(usize::try_from(step).unwrap_or(usize::MAX)) {
            let at = x(ns);
            let _ = writeln!(self.body, "<path class=\"line\" d=\"M{at} {axis}v4\"/>");
            text(&mut self.body, at, axis + 14, "faint", &words::duration(ns));
        }
        self.y = axis + 14 + LINE;
    }

    fn row(&mut self, row: &Row<'_, '_>, fields: Option<Fields<'_>>) {
        let levels = row.levels();
        let top = self.y + 8;
        let bits = top + 12 + levels.iter().map(|(_, level)| (level + 1) * 12).max().unwrap_or(12);
        let mut free = 0;
        for (&(index, level), (_, place)) in levels.iter().zip(row.shown()) {
            let x = row.x(place.at) - CHAR / 2;
            let bit = row.train.pulses.get(index).map_or(' ', Drawn::bit);
            let number = (index + 1).to_string();
            if (index == 0 || (index + 1) % 5 == 0) && x >= free {
                text(&mut self.body, x, top + 10, "faint", &number);
                free = x + (number.len() + 1) * SMALL;
            }
            text(&mut self.body, x, bits - level * 12, "", bit.encode_utf8(&mut [0; 4]));
        }
        let tops = [bits + 8, bits + 36];
        for (line, top) in DataLine::BOTH.into_iter().zip(tops) {
            text(&mut self.body, EDGE, top + 12, "", &line.to_string());
            let path = row.waveform(line, top, top + 16);
            let _ = writeln!(self.body, "<path class=\"wave\" d=\"{path}\"/>");
        }
        self.hidden(row, tops[0] - 2, 48);
        self.cuts(row, tops);
        let mut y = tops[1] + 16 + 4;
        for (key, (bits, _)) in row.train.marks.iter().enumerate() {
            let marked: Vec<usize> = bits
                .iter()
                .filter_map(|&bit| row.places.get(bit))
                .filter(|place| row.has(place))
                .map(|place| row.x(place.at))
                .collect();
            if marked.is_empty() {
                continue;
            }
            text(&mut self.body, EDGE, y + 12, "", &format!("[{}]", key + 1));
            for x in marked {
                let _ = writeln!(
                    self.body,
                    "<path class=\"mark\" d=\"M{} {}l4 -8l4 8z\"/>",
                    x - 3,
                    y + 12
                );
            }
            y += LINE;
        }
        if let Some(fields) = fields {
            y = self.spans(row, fields, y);
        }
        self.y = if row.train.to_time { self.axis(row, y + 4) } else { y + 4 };
    }

    /// A bar over both lines where a pulse is on one of them.
    fn hidden(&mut self, row: &Row<'_, '_>, top: usize, height: usize) {
        for (index, place) in row.shown() {
            if row.train.pulses.get(index).is_some_and(|pulse| pulse.line.is_none()) {
                let _ = writeln!(
                    self.body,
                    "<rect class=\"hidden\" x=\"{}\" y=\"{top}\" width=\"6\" height=\"{height}\"/>",
                    row.x(place.at) - 2
                );
            }
        }
    }

    /// Where time is cut short.
    fn cuts(&mut self, row: &Row<'_, '_>, tops: [usize; 2]) {
        let mut end = 0;
        for (index, place) in row.places.iter().enumerate() {
            let middle = if place.after_cut {
                Some((end + place.at) / 2)
            } else if place.cut {
                Some(place.at + place.len / 2)
            } else {
                None
            };
            end = place.end().max(end);
            let line = row.train.pulses.get(index).and_then(|pulse| pulse.line);
            let Some(middle) = middle.filter(|m| (row.from..row.to).contains(m)) else { continue };
            for (data, top) in DataLine::BOTH.into_iter().zip(tops) {
                if place.after_cut || line == Some(data) {
                    let x = row.x(middle);
                    let _ = writeln!(
                        self.body,
                        "<path class=\"cut\" d=\"M{x} {}l6 -24M{} {}l6 -24\"/>",
                        top + 20,
                        x + 6,
                        top + 20
                    );
                }
            }
        }
    }

    /// Brackets under the bits of each field and check, and what hangs from
    /// them; the y of what comes next.
    fn spans(&mut self, row: &Row<'_, '_>, fields: Fields<'_>, y: usize) -> usize {
        let crowded = segment::is_crowded(fields.layout);
        let mut pending: Vec<(usize, String)> = Vec::new();
        // The last piece of a field in this row, and where it ends.
        let mut piece: Option<(Owner<'_>, usize)> = None;
        for part in segment::of_layout(fields.layout) {
            if crowded && matches!(part.owner, Owner::Parity(_)) {
                continue;
            }
            let inside: Vec<usize> = (part.first..part.first + part.len)
                .filter_map(|index| row.places.get(index))
                .filter(|place| row.has(place))
                .map(|place| row.x(place.at))
                .collect();
            let (Some(first), Some(&last)) = (inside.first(), inside.last()) else { continue };
            let first = first - CHAR / 2;
            let begins = row.places.get(part.first).is_some_and(|place| row.has(place));
            let end = last + CHAR / 2;
            let _ = writeln!(self.body, "<path class=\"line\" d=\"M{first} {y}v5H{end}v-5\"/>");
            if let (Some((owner, from)), Owner::Field(_)) = (piece, part.owner)
                && segment::same(&owner, &part.owner)
            {
                let _ = writeln!(
                    self.body,
                    "<path class=\"line joint\" d=\"M{from} {}H{first}\"/>",
                    y + 5
                );
                piece = Some((part.owner, end));
                continue;
            }
            if matches!(part.owner, Owner::Field(_)) {
                piece = Some((part.owner, end));
            }
            let label = match part.owner {
                Owner::Field(field) => match field.value_in(fields.bits) {
                    Some(value) if begins && !part.continues => {
                        format!("{} {}", field.name(), fields.masking.number(value))
                    }
                    _ => format!("{}, continued", field.name()),
                },
                Owner::Parity(rule) => format!("{} parity", rule.kind()),
                Owner::Fixed(_) => "fixed".to_owned(),
                Owner::Unassigned => "unassigned".to_owned(),
                Owner::Nobody => String::new(),
            };
            let room = WIDTH.saturating_sub(first + EDGE / 2) / CHAR;
            pending.push((first, cut(&label, room)));
        }
        let mut y = y + 5;
        while !pending.is_empty() {
            let mut limit = usize::MAX;
            let mut left = Vec::new();
            // From the right: a label may not run into a line or a label there.
            for (x, label) in pending.into_iter().rev() {
                if x + (label.chars().count() + 1) * CHAR < limit {
                    text(&mut self.body, x, y + 13, "", &label);
                } else {
                    let _ = writeln!(self.body, "<path class=\"line\" d=\"M{x} {y}v{LINE}\"/>");
                    left.push((x, label));
                }
                limit = x;
            }
            left.reverse();
            pending = left;
            y += LINE;
        }
        y + 4
    }

    /// Time under a row; the y of what comes next.
    fn axis(&mut self, row: &Row<'_, '_>, y: usize) -> usize {
        let end = row.x(row.to);
        let _ = writeln!(self.body, "<path class=\"line\" d=\"M{LEFT} {y}H{end}\"/>");
        let mut free = 0;
        for (at, ns) in row.ticks() {
            let x = row.x(at);
            let says = words::moment(ns);
            let _ = writeln!(self.body, "<path class=\"line\" d=\"M{x} {y}v4\"/>");
            if x >= free && x + says.chars().count() * SMALL < WIDTH {
                text(&mut self.body, x, y + 14, "faint", &says);
                free = x + (says.chars().count() + 1) * SMALL;
            }
        }
        y + 14 + LINE / 2
    }
}

/// The finished picture, `rest` said last.
pub(crate) fn timing_svg(mut report: Report, rest: Option<&str>) -> String {
    if let Some(rest) = rest {
        report.say("", rest);
    }
    let Report { title, body, y } = report;
    let height = y + EDGE;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
         viewBox=\"0 0 {WIDTH} {height}\" role=\"img\">\n<title>{}</title>\n<style>\n\
         text {{ font: 12px monospace; fill: #111 }}\n\
         .strong {{ font-weight: bold }}\n.faint {{ fill: #444; font-size: 9px }}\n\
         .line {{ stroke: #555; fill: none }}\n.joint {{ stroke-dasharray: 2 3 }}\n.wave {{ stroke: #111; stroke-width: 1.5; fill: none }}\n\
         .mark {{ fill: #111 }}\n.hidden {{ fill: #bbb; stroke: #111 }}\n\
         .cut {{ stroke: #111; fill: none }}\n.allowed {{ fill: #ddd; stroke: #888 }}\n\
         .measured {{ stroke: #111; stroke-width: 5; fill: none }}\n</style>\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>\n{body}</svg>\n",
        escaped(&title)
    )
}

/// A label that is too long loses its end.
fn cut(label: &str, room: usize) -> String {
    if label.chars().count() <= room {
        return label.to_owned();
    }
    label.chars().take(room.saturating_sub(1)).chain(['…']).collect()
}
