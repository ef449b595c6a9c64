//! The answer for people.

use misread::cause::catalogue::WIRE_CAUTION;
use misread::pulse::{Line as DataLine, Spread};

use super::kinds;
use super::shown::{Shown, View};
use super::summary::{Extent, Summary};
use crate::command::decode::first_line;
use crate::draw::{COLUMNS, Drawing, Ink, Line, Marked, hanging, strip_lines, wrap};
use crate::masking::Masking;
use crate::overview::Overview;
use crate::words;

/// The answer, and what was taken for it.
pub(super) fn heading(summary: &Summary, overview: &Overview, view: &View<'_>) -> Vec<Line> {
    let says = summary.sentence(overview, view.entry.map(|entry| entry.name()));
    let mut lines: Vec<Line> =
        wrap(&says, COLUMNS).into_iter().map(|text| Line::new(Ink::Strong, text)).collect();
    lines.push(Line::default());
    for (name, says) in facts(summary, overview, view.masking) {
        lines.extend(hanging(Ink::Plain, &format!("  {name:<10}"), &says));
    }
    lines
}

/// What was taken for the answer: each with its name.
pub(super) fn facts(
    summary: &Summary,
    overview: &Overview,
    masking: Masking,
) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    for (line, terminal) in DataLine::BOTH.into_iter().zip(["D0", "D1"]) {
        let stands = match (overview.is_silent(line), overview.idle[line.index()]) {
            (false, Some(level)) => format!("rests {level}"),
            (true, Some(level)) => format!("always {level}"),
            (_, None) => "never pulses".to_owned(),
        };
        let mut says = format!("{}, {stands}", overview.lines[line.index()]);
        if masking == Masking::Off {
            let extent = summary.widths[line.index()];
            if let Some(widths) = extent_text(extent, overview.rhythm.width_of(line)) {
                says += &format!("; pulses {widths}");
            }
        }
        facts.push((terminal, says));
    }
    if let (Masking::On, Some(widths)) = (masking, extent_text(summary.width, None)) {
        facts.push(("pulses", format!("{widths}, both lines together")));
    }
    if let Some(beat) = overview.rhythm.beat {
        let intervals = extent_text(summary.interval, None);
        let intervals = intervals.map(|text| format!("; intervals {text}")).unwrap_or_default();
        facts.push(("beat", words::duration(beat.into()) + &intervals));
    }
    let limits = &overview.limits;
    let bounds = |bounds: misread::pulse::Bounds| {
        words::durations(bounds.shortest.into(), bounds.longest.into())
    };
    facts.push((
        "allowed",
        format!(
            "pulses {}, intervals {} (SIA AC-01-1996.10)",
            bounds(limits.width),
            bounds(limits.interval)
        ),
    ));
    let mut capture = Vec::new();
    if limits.sample_period > 0 {
        let period = words::duration(limits.sample_period.into());
        capture.push(format!("times are in steps of {period}, and each may be off by as much"));
    }
    if let Some(threshold) = overview.threshold {
        capture.push(format!("{threshold:.2} V and more is high"));
    }
    if let Some(unit) = overview.unit_taken {
        capture.push(format!("times are taken as {}; --time-unit says otherwise", unit.name()));
    }
    if !capture.is_empty() {
        facts.push(("capture", capture.join("; ")));
    }
    facts
}

/// One read, with its bits and its timing.
pub(super) fn read(shown: &Shown<'_>, view: &View<'_>) -> Vec<Line> {
    let masking = view.masking;
    let mut lines = vec![Line::default()];
    let says = read_line(shown, masking);
    lines.extend(wrap(&says, COLUMNS).into_iter().map(|text| Line::new(Ink::Strong, text)));
    let marks = shown.layout.map(|layout| Marked::failures(layout, &shown.bits));
    let drawing = Drawing {
        bits: &shown.bits,
        layout: shown.layout,
        marks: marks.unwrap_or_default(),
        masking,
    };
    lines.extend(drawing.lines());
    lines.push(Line::default());
    lines.extend(strip_lines(&shown.train(&view.rhythm)));
    lines.extend(hanging(Ink::Faint, "  ", &timing(shown)));
    lines
}

/// When a read came, how long it is, and what is to be said of it.
pub(super) fn read_line(shown: &Shown<'_>, masking: Masking) -> String {
    let mut says = format!(
        "Read {}, at {}: {}",
        shown.index + 1,
        words::moment(shown.start),
        words::count(shown.len(), "bit")
    );
    if shown.repeat {
        says += ", a repeat that a controller set to ignore repeats does not show";
    }
    if let Some(note) = shown.note {
        says += &format!("; {}", note.read);
    }
    if let Some(answer) = &shown.answer {
        says += &format!("; {}", first_line(&shown.bits, answer, masking));
    }
    says
}

/// What was found means, once for each kind; and what to do: the command that
/// explains it, where there is something to explain.
pub(super) fn meaning(summary: &Summary, overview: &Overview, explain: Option<&str>) -> Vec<Line> {
    let mut lines = Vec::new();
    let kinds = summary.kinds(overview);
    if !kinds.is_empty() {
        lines.push(Line::default());
        lines.push(Line::new(Ink::Strong, "What that usually means"));
        for &kind in &kinds {
            let says = format!("{}: {}", kinds::title(kind), kind.meaning());
            lines.extend(hanging(Ink::Plain, "  - ", &says));
        }
        let lead = "  CAUTION: ";
        lines.extend(hanging(
            Ink::Alert,
            lead,
            &format!("Before a wire is touched: {WIRE_CAUTION}"),
        ));
    }
    if let Some(explain) = explain {
        lines.push(Line::default());
        lines.push(Line::new(Ink::Strong, "Next: the cause, and what to do"));
        lines.push(Line::new(Ink::Plain, format!("  {explain}")));
    }
    lines
}

fn timing(shown: &Shown<'_>) -> String {
    let mut says = Vec::new();
    for (line, widths) in DataLine::BOTH.into_iter().zip(shown.widths) {
        says.extend(spread(widths).map(|text| format!("pulses on {line} {text}")));
    }
    if shown.blurred {
        says.extend(spread(shown.width).map(|text| format!("pulses {text}")));
    }
    says.extend(spread(shown.interval).map(|text| format!("intervals {text}")));
    if says.is_empty() { String::new() } else { format!("Here {}.", words::list(&says)) }
}

fn spread(spread: Option<Spread>) -> Option<String> {
    extent_text(spread.map(|spread| (spread.min, spread.max)), spread.map(|spread| spread.median))
}

/// `77 to 83 µs, usually 80 µs`.
fn extent_text(extent: Extent, usual: Option<u32>) -> Option<String> {
    let (low, high) = extent?;
    let text = words::durations(low.into(), high.into());
    Some(match usual.filter(|_| low != high) {
        Some(usual) => format!("{text} (mostly {})", words::duration(usual.into())),
        None => text,
    })
}
