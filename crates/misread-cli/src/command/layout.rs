//! `misread layout`: the layouts that are known, and the user's own.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use misread::file::{Catalogue, Entry, FileProblem, LayoutDoc, LayoutProblem};

use super::layout_learn::{self, LearnArgs};
use crate::catalogue::{Known, file_refusal, own_folder};
use crate::command::layout_audit::{self, LayoutAuditArgs};
use crate::command::layout_clash::{self, LayoutClashArgs};
use crate::context::{Context, Outcome, Status};
use crate::draw::{COLUMNS, Ink, Line, draw_layout, wrap};
use crate::json;
use crate::refusal::Refusal;
use crate::words;

/// The layouts that are known, and your own
#[derive(Args, Clone, Debug)]
pub(crate) struct LayoutArgs {
    #[command(subcommand)]
    command: LayoutCommand,
}

#[derive(Subcommand, Clone, Debug)]
enum LayoutCommand {
    List(ListArgs),
    Show(ShowArgs),
    Check(CheckArgs),
    Add(AddArgs),
    Learn(LearnArgs),
    Audit(LayoutAuditArgs),
    Clash(LayoutClashArgs),
}

const LIST_EXAMPLES: &str = "\
Example:
  Which layouts does the workshop laptop at Brindle Quay know?
    misread layout list";

/// Every layout that is known
#[derive(Args, Clone, Debug)]
#[command(after_help = LIST_EXAMPLES)]
struct ListArgs {}

const SHOW_EXAMPLES: &str = "\
Examples:
  What stands where in the slipway gate's frame?
    misread layout show open-26
  A start for a layout file of your own:
    misread layout show open-26 --toml > sail-loft.toml";

/// A layout drawn and in words
#[derive(Args, Clone, Debug)]
#[command(after_help = SHOW_EXAMPLES)]
struct ShowArgs {
    /// A name or a layout file
    #[arg(value_name = "LAYOUT")]
    layout: String,
    /// As a layout file
    #[arg(long, conflicts_with = "json")]
    toml: bool,
}

const CHECK_EXAMPLES: &str = "\
Example:
  Does the layout written for the fuel berth hold together?
    misread layout check fuel-berth.toml

Exit status: 0 it does, 1 its rules contradict each other, 2 it is no layout \
file.";

/// Everything that is wrong with a layout file
#[derive(Args, Clone, Debug)]
#[command(after_help = CHECK_EXAMPLES)]
struct CheckArgs {
    /// The layout file, TOML or JSON
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

const ADD_EXAMPLES: &str = "\
Example:
  Keep the fuel berth's layout, so that its name is enough from now on:
    misread layout add fuel-berth.toml";

/// Keep a layout file in the catalogue
#[derive(Args, Clone, Debug)]
#[command(after_help = ADD_EXAMPLES)]
struct AddArgs {
    /// The layout file, TOML or JSON
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Replace the layout kept under its name
    #[arg(long)]
    replace: bool,
}

/// Runs it.
pub(crate) fn run(args: &LayoutArgs, folder: Option<&Path>, context: &mut Context) -> Outcome {
    match &args.command {
        LayoutCommand::List(_) => list(&context.known(folder)?, context),
        LayoutCommand::Show(args) => show(args, &context.known(folder)?, context),
        LayoutCommand::Check(args) => check(args, context),
        LayoutCommand::Add(args) => add(args, folder, context),
        LayoutCommand::Learn(args) => layout_learn::run(args, context),
        LayoutCommand::Audit(args) => layout_audit::run(args, &context.known(folder)?, context),
        LayoutCommand::Clash(args) => layout_clash::run(args, &context.known(folder)?, context),
    }
}

fn list(known: &Known, context: &mut Context) -> Outcome {
    let entries = known.entries();
    if context.json {
        let layouts = entries.iter().map(|entry| json::SourcedLayout {
            layout: LayoutDoc::of(entry),
            source: entry.source.to_string(),
        });
        let layouts = layouts.collect();
        context.out.json(&json::LayoutList { schema: json::LayoutList::SCHEMA, layouts })?;
        return Ok(Status::Good);
    }
    let width = entries.iter().map(|entry| entry.name().len()).max().unwrap_or(0);
    let mut lines = Vec::new();
    for entry in entries {
        let start = format!("{:width$}  {:>3} bits  ", entry.name(), entry.layout.bits());
        let indent = " ".repeat(start.len());
        let title = entry.title.clone().unwrap_or_else(|| entry.source.to_string());
        let texts = wrap(&title, COLUMNS - start.len());
        lines.extend(texts.into_iter().enumerate().map(|(i, text)| {
            Line::new(Ink::Plain, format!("{}{text}", if i == 0 { &start } else { &indent }))
        }));
    }
    context.out.lines(&lines)?;
    Ok(Status::Good)
}

fn show(args: &ShowArgs, known: &Known, context: &mut Context) -> Outcome {
    let entry = known.named(&args.layout)?;
    if args.toml {
        context.out.bytes(LayoutDoc::of(&entry).to_toml().as_bytes())?;
    } else if context.json {
        context.out.json(&json::LayoutShow {
            schema: json::LayoutShow::SCHEMA,
            layout: LayoutDoc::of(&entry),
            source: entry.source.to_string(),
        })?;
    } else {
        let title = entry.title.as_deref().map(|title| format!(": {title}")).unwrap_or_default();
        let mut lines = heading(&format!("{}{title}", entry.name()));
        lines.push(Line::new(Ink::Plain, summary(&entry)));
        lines.push(Line::default());
        lines.extend(draw_layout(&entry.layout));
        context.out.lines(&lines)?;
    }
    Ok(Status::Good)
}

fn check(args: &CheckArgs, context: &mut Context) -> Outcome {
    let source = args.file.display().to_string();
    let (checked, problems) = match Catalogue::load_file(&args.file) {
        Ok(entry) => (Some(entry), Vec::new()),
        Err(error) => match error.problem {
            FileProblem::Unsound(problems) => (None, problems),
            _ => return Err(file_refusal(&error).into()),
        },
    };
    if context.json {
        let unassigned = checked.iter().flat_map(|entry| {
            let indices: Vec<usize> = entry.layout.unassigned().indices().collect();
            indices.into_iter().map(|index| index + 1)
        });
        context.out.json(&json::LayoutCheck {
            schema: json::LayoutCheck::SCHEMA,
            unassigned: unassigned.collect(),
            layout: checked.as_ref().map(LayoutDoc::of),
            source,
            problems: problems.iter().map(problem).collect(),
        })?;
    } else if let Some(entry) = &checked {
        let mut lines = heading(&format!("{} checks out", entry.name()));
        lines.push(Line::new(Ink::Plain, summary(entry)));
        lines.push(Line::default());
        lines.extend(draw_layout(&entry.layout));
        context.out.lines(&lines)?;
    } else {
        let count = words::count(problems.len(), "problem");
        let mut lines = heading(&format!("{source} does not check out: {count}"));
        for problem in &problems {
            let texts = wrap(&problem.to_string(), COLUMNS - 2);
            lines.extend(texts.into_iter().enumerate().map(|(i, text)| {
                Line::new(Ink::Plain, format!("{}{text}", if i == 0 { "- " } else { "  " }))
            }));
        }
        context.out.lines(&lines)?;
    }
    Ok(Status::of(checked.is_some()))
}

fn add(args: &AddArgs, folder: Option<&Path>, context: &mut Context) -> Outcome {
    let folder = folder.map(Path::to_owned).or_else(own_folder).ok_or_else(|| {
        Refusal::new("there is no configuration folder for this user", "--catalogue with a folder")
    })?;
    let kept = Catalogue::save_into(&folder, &args.file, args.replace).map_err(|error| {
        let refusal = file_refusal(&error);
        if matches!(error.problem, FileProblem::Exists { .. }) && !args.replace {
            return Refusal { expected: "another name, or --replace".to_owned(), ..refusal };
        }
        refusal
    })?;
    let entry = Catalogue::load_file(&kept).map_err(|error| file_refusal(&error))?;
    if context.json {
        context.out.json(&json::LayoutAdd {
            schema: json::LayoutAdd::SCHEMA,
            layout: LayoutDoc::of(&entry),
            source: entry.source.to_string(),
        })?;
    } else {
        context.out.text(&format!("{} is kept in {}", entry.name(), kept.display()))?;
    }
    Ok(Status::Good)
}

fn heading(text: &str) -> Vec<Line> {
    wrap(text, COLUMNS).into_iter().map(|text| Line::new(Ink::Strong, text)).collect()
}

fn summary(entry: &Entry) -> String {
    let layout = &entry.layout;
    format!(
        "{}, {}, {}; {}",
        words::count(layout.bits(), "bit"),
        words::count(layout.fields().len(), "field"),
        words::count(layout.independent_checks(), "check"),
        entry.source
    )
}

fn problem(problem: &LayoutProblem) -> json::Problem {
    json::Problem { rule: problem.rule.clone(), says: problem.says.clone() }
}
