//! `misread capture`: a recording of the two data lines, to reads and what is
//! wrong with their timing.

mod kinds;
mod object;
mod screen;
mod shown;
mod summary;

use std::path::{Path, PathBuf};

use clap::Args;
use misread::capture::Options;
use misread::file::write_whole;

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{COLUMNS, Fields, Ink, Line, Report, hanging, timing_svg};
use crate::json::Place;
use crate::masking::Masking;
use crate::recording::{Recording, RecordingArgs, damage_refusal, quoted};
use crate::refusal::Refusal;

use shown::View;
use summary::Summary;

const EXAMPLES: &str = "\
Examples:
  A recorder was clipped to the slipway gate's D0, D1 and common, a card was
  presented; is the timing sound, and what was read?
    misread capture slipway.vcd
  The sail loft's recorder calls its inputs in_3 and in_7:
    misread capture --d0 in_3 --d1 in_7 --layout open-26 sail-loft.vcd
  Voltages in a table, time in milliseconds, and a drawing for the report:
    misread capture --time-unit ms --threshold 2.5 --svg berth.svg berth.csv

A table has the headings time,d0,d1 (levels or voltages, a row a sample),
time,line,level (a row a change) or time,line,width (a row a pulse).

CAUTION: clip a recorder on with the controller's supply off. A gate or door may
move when power returns, and the way out must keep working: local codes and
licensed practice come first.

Exit status: 0 there are reads, their timing is within limits and they are good
in the layout; 1 they are not; 2 the file is damaged or cut, and the reads
before that place are given, or nothing could be read, or the command line was
wrong.";

/// Reads and their timing, from a recording of the two data lines
///
/// Takes VCD and FST files and tables in CSV. Every read is shown with its
/// bits, the pulses of both lines along time, and what is wrong with them, held
/// against SIA AC-01-1996.10 and the reader's own beat.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct CaptureArgs {
    /// The recording; `-` is standard input, which is held in memory
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    recording: RecordingArgs,
    /// How long the controller ignores the code it has just read: reads with
    /// the same bits within that time are marked as repeats
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true)]
    repeat_window: Option<u64>,
    /// The layout to decode the reads with: a name or a layout file
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// Draw every read; else the first four, those with something wrong before
    /// the others
    #[arg(long)]
    all: bool,
    /// Draw the reads into an SVG file, for a report
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

/// Runs it.
pub(crate) fn run(args: &CaptureArgs, known: &Known, context: &mut Context) -> Outcome {
    let masking = context.masking;
    let entry = args.layout.as_deref().map(|name| known.named(name)).transpose()?;
    let options = Options { repeat_window: args.repeat_window, ..args.recording.options() };
    let mut recording = Recording::open(&args.file, &options, masking)?;
    let overview = &recording.overview;
    let view =
        View { entry: entry.as_deref(), masking, limits: overview.limits, rhythm: overview.rhythm };
    let mut summary = Summary::default();
    recording.for_each(Stop::from, |index, read| {
        summary.add(&view.show(index, read));
        Ok(())
    })?;
    let drawn = Choice { chosen: summary.chosen(), all: args.all };
    if let Some(path) = &args.svg {
        write_svg(path, &mut recording, &view, &summary, &drawn)?;
    }
    if context.json {
        object::write(&mut recording, &view, &args.file, context)?;
    } else {
        write_screen(&mut recording, &view, &summary, &drawn, args, context)?;
    }
    let overview = &recording.overview;
    if let Some(damage) = &overview.damage {
        context.out.flush()?;
        damage_refusal(damage, &args.file, masking).print();
        return Ok(Status::Refused);
    }
    Ok(Status::of(summary.is_good(overview)))
}

/// Which reads are drawn.
struct Choice {
    chosen: Vec<usize>,
    all: bool,
}

impl Choice {
    fn has(&self, index: usize) -> bool {
        self.all || self.chosen.binary_search(&index).is_ok()
    }
}

fn write_screen(
    recording: &mut Recording,
    view: &View<'_>,
    summary: &Summary,
    drawn: &Choice,
    args: &CaptureArgs,
    context: &mut Context,
) -> Result<(), Stop> {
    context.out.lines(&screen::heading(summary, &recording.overview, view))?;
    // What arrives nowhere is for the diagnosis too.
    let mut wrong = summary.is_empty() && recording.overview.damage.is_none();
    recording.for_each(Stop::from, |index, read| {
        if !drawn.has(index) {
            return Ok(());
        }
        let shown = view.show(index, read);
        context.out.lines(&screen::read(&shown, view))?;
        wrong |= !shown.is_good();
        Ok(())
    })?;
    let mut lines = Vec::new();
    if let Some(rest) = summary.rest().filter(|_| !drawn.all) {
        lines.push(Line::default());
        lines.extend(hanging(Ink::Plain, "", &rest));
    }
    lines.extend(screen::meaning(
        summary,
        &recording.overview,
        wrong.then(|| explain(args, view.masking)).as_deref(),
    ));
    if let Some(path) = &args.svg {
        lines.push(Line::default());
        lines.extend(hanging(Ink::Plain, "", &format!("Drawn in {}.", path.display())));
    }
    context.out.lines(&lines)?;
    Ok(())
}

/// The command that explains the same capture. A long name is left to whoever
/// types it.
fn explain(args: &CaptureArgs, masking: Masking) -> String {
    let layout = args.layout.as_deref().map(|layout| format!(" --layout {}", quoted(layout)));
    let mask = if masking.is_on() { " --mask" } else { "" };
    let flags = args.recording.as_typed() + &layout.unwrap_or_default() + mask;
    let file = quoted(&args.file.display().to_string());
    let command = |file: &str, flags: &str| format!("misread explain --capture {file}{flags}");
    [command(&file, &flags), command("FILE", &flags)]
        .into_iter()
        .find(|command| command.chars().count() + 2 <= COLUMNS)
        .unwrap_or_else(|| command("FILE", " …"))
}

fn write_svg(
    path: &Path,
    recording: &mut Recording,
    view: &View<'_>,
    summary: &Summary,
    drawn: &Choice,
) -> Result<(), Stop> {
    let overview = &recording.overview;
    let says = summary.sentence(overview, view.entry.map(|entry| entry.name()));
    let facts = screen::facts(summary, overview, view.masking);
    let mut report = Report::new(&says, &facts);
    report.scales(&overview.limits, summary.widths, summary.width, summary.interval);
    let (idle, masking) = (overview.drawn_at(), view.masking);
    let rest = summary.rest().filter(|_| !drawn.all);
    recording.for_each(Stop::from, |index, read| {
        if drawn.has(index) {
            let shown = view.show(index, read);
            let fields = shown.layout.map(|layout| Fields { layout, bits: &shown.bits, masking });
            let heading = screen::read_line(&shown, masking);
            report.read(&heading, &shown.train(&view.rhythm), idle, fields);
        }
        Ok(())
    })?;
    write_whole(path, timing_svg(report, rest.as_deref()).as_bytes()).map_err(|error| {
        let place = Place { file: Some(path.display().to_string()), ..Place::default() };
        let expected = "a file in a folder that can be written to";
        Stop::from(Refusal::new(format!("cannot be written: {error}"), expected).at(place))
    })
}

/// Seconds as nanoseconds: 0 to a day.
fn seconds(text: &str) -> Result<u64, String> {
    const DAY: f64 = 86_400.0;
    let seconds = text.parse::<f64>().ok().filter(|seconds| (0.0..=DAY).contains(seconds));
    seconds
        .map(|seconds| (seconds * 1e9) as u64)
        .ok_or_else(|| "expected seconds, from 0 to 86400".into())
}
