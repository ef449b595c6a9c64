//! `misread layout audit`: what a layout's checks can and cannot notice.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use clap::Args;
use misread::Layout;
use misread::audit::{Audit, audit};
use misread::cause::Cause;
use misread::file::{Entry, write_whole};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status};
use crate::draw::{COLUMNS, Ink, Line, hanging, layout_svg};
use crate::json::Place;
use crate::json_layout as json;
use crate::refusal::Refusal;
use crate::words;

const EXAMPLES: &str = "\
Examples:
  What would go unseen at the slipway gate?
    misread layout audit open-26
  Is the other layout the supplier offers any better?
    misread layout audit open-26 site-34 sail-loft.toml
  A picture for the folder in the cabinet:
    misread layout audit open-26 --svg open-26.svg";

/// What a layout's checks can and cannot notice
///
/// Exact: how many wrong bits pass, which faults on the wires still give a
/// sound frame, and which other layouts a frame can be taken for.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct LayoutAuditArgs {
    /// Names or layout files
    #[arg(value_name = "LAYOUT", required = true)]
    layouts: Vec<String>,
    /// Draw the layout with what covers what into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

/// How many layouts stand side by side.
const SIDE_BY_SIDE: usize = 4;

/// Up to how many wrong bits are listed.
const MOST_WRONG: usize = 4;

/// Runs it.
pub(crate) fn run(args: &LayoutAuditArgs, known: &Known, context: &mut Context) -> Outcome {
    let entries: Vec<Cow<'_, Entry>> =
        args.layouts.iter().map(|name| known.named(name)).collect::<Result<_, _>>()?;
    let others: Vec<&Layout> = known.entries().iter().map(|entry| &entry.layout).collect();
    let audits: Vec<Audit> = entries
        .iter()
        .map(|entry| {
            audit(&entry.layout, &others).map_err(|error| {
                Refusal::new(
                    format!("{}: {error}", entry.name()),
                    "a layout whose parity checks overlap less",
                )
            })
        })
        .collect::<Result<_, _>>()?;
    if let Some(path) = &args.svg {
        draw(path, &entries)?;
    }
    if context.json {
        for audit in &audits {
            context.out.json(&object(audit))?;
        }
    } else {
        let mut lines = Vec::new();
        for audits in audits.chunks(SIDE_BY_SIDE) {
            lines.extend(table(audits));
            lines.push(Line::default());
        }
        for audit in &audits {
            lines.push(Line::new(Ink::Strong, format!("What that means for {}:", audit.layout)));
            for says in &audit.advice {
                lines.extend(hanging(Ink::Plain, "- ", says));
            }
            lines.push(Line::default());
        }
        lines.pop();
        context.out.lines(&lines)?;
    }
    Ok(Status::Good)
}

fn draw(path: &Path, entries: &[Cow<'_, Entry>]) -> Result<(), Refusal> {
    let [entry] = entries else {
        return Err(Refusal::new("--svg draws one layout", "one layout, or no --svg"));
    };
    let svg = layout_svg(&entry.layout, entry.title.as_deref());
    write_whole(path, svg.as_bytes()).map_err(|error| {
        let place = Place { file: Some(path.display().to_string()), ..Place::default() };
        Refusal::new(
            format!("cannot be written: {error}"),
            "a file in a folder that can be written to",
        )
        .at(place)
    })
}

/// The audits side by side.
fn table(audits: &[Audit]) -> Vec<Line> {
    let row = |label: &str, of: &dyn Fn(&Audit) -> String| {
        let cells = audits.iter().map(of).collect::<Vec<_>>();
        (label.to_owned(), cells)
    };
    let share = |audit: &Audit, cause| audit.share(cause).map_or("-".to_owned(), percent);
    let mut rows = vec![
        row("", &|audit| audit.layout.clone()),
        row("bits", &|audit| audit.bits.to_string()),
        row("independent checks", &|audit| audit.independent_checks.to_string()),
        row("random reads that pass", &|audit| match audit.independent_checks {
            0..=7 => percent(audit.random_accept),
            many => format!("1 in 2^{many}"),
        }),
    ];
    for wrong in 1..=MOST_WRONG {
        let label = format!("{} that pass", words::count(wrong, "wrong bit"));
        rows.push(row(&label, &|audit| {
            audit.undetected_share(wrong).map_or("-".to_owned(), percent)
        }));
    }
    for (label, cause) in [
        ("swapped lines that pass", Cause::LinesSwapped),
        ("reversed bit order that passes", Cause::BitOrderReversed),
        ("reversed bytes that pass", Cause::BytesReversed),
        ("touching lines that pass", Cause::LinesShorted),
    ] {
        rows.push(row(label, &|audit| share(audit, cause)));
    }
    rows.push(row("bits no check covers", &|audit| match audit.uncovered.len() {
        0 => "none".to_owned(),
        all if all == audit.bits => "all".to_owned(),
        some => some.to_string(),
    }));
    let label = rows.iter().map(|(label, _)| label.chars().count()).max().unwrap_or(0);
    let room = (COLUMNS - label) / audits.len().max(1);
    let widest = rows.iter().flat_map(|(_, cells)| cells).map(|cell| cell.chars().count());
    let width = room.min(2 + widest.max().unwrap_or(0));
    rows.into_iter()
        .enumerate()
        .map(|(i, (name, cells))| {
            let cells: String =
                cells.iter().map(|cell| format!("{:>width$}", cut(cell, width - 1))).collect();
            let ink = if i == 0 { Ink::Strong } else { Ink::Plain };
            Line::new(ink, format!("{name:label$}{cells}"))
        })
        .collect()
}

/// A cell that is too long loses its end.
fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

fn percent(share: f64) -> String {
    match share {
        0.0 => "none".to_owned(),
        1.0 => "all".to_owned(),
        small if small < 0.001 => "< 0.1 %".to_owned(),
        share if share > 0.999 => "> 99.9 %".to_owned(),
        share => format!("{:.1} %", 100.0 * share),
    }
}

fn object(audit: &Audit) -> json::LayoutAudit {
    json::LayoutAudit {
        schema: json::LayoutAudit::SCHEMA,
        layout: audit.layout.clone(),
        bits: audit.bits,
        independent_checks: audit.independent_checks,
        random_accept: audit.random_accept,
        undetected_by_weight: audit.undetected.iter().map(ToString::to_string).collect(),
        causes: audit
            .causes
            .iter()
            .map(|found| json::CauseShare {
                cause: found.cause.id().to_owned(),
                undetected: found.undetected,
            })
            .collect(),
        uncovered: audit.uncovered.iter().map(|index| index + 1).collect(),
        taken_for: audit
            .taken_for
            .iter()
            .map(|taken| json::TakenFor {
                layout: taken.layout.clone(),
                cause: taken.cause.id().to_owned(),
                share: taken.share,
            })
            .collect(),
        advice: audit.advice.clone(),
    }
}
