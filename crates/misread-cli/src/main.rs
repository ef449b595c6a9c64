//! The `misread` command.
//!
//! Each subcommand has a file in `command`; what is drawn is drawn in `draw`.
#![forbid(unsafe_code)]

mod args;
mod catalogue;
mod command;
mod context;
mod draw;
mod json;
mod json_capture;
mod json_explain;
mod json_keypad;
mod json_layout;
mod json_learn;
mod json_simulate;
mod json_watch;
mod lines;
mod masking;
mod meter;
mod output;
mod overview;
mod priors;
mod reads;
mod recording;
mod refusal;
mod values;
mod words;

use std::io::{self, Write};
use std::process::ExitCode;

use clap::Parser;
use clap::error::{ContextKind, ContextValue, ErrorKind};

use args::{Cli, Command};
use context::{Context, Outcome, Status, Stop};
use draw::{COLUMNS, Ink, hanging};
use masking::Masking;
use output::Output;
use refusal::Refusal;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => return usage(&error),
    };
    let mut context = Context {
        json: cli.json,
        masking: if cli.mask { Masking::On } else { Masking::Off },
        out: Output::new(),
    };
    let mut outcome = run(&cli, &mut context);
    if let Err(Stop::Refused(refusal)) = outcome {
        outcome = context.refuse(&refusal).map(|()| Status::Refused).map_err(Stop::Output);
    }
    match outcome.and_then(|status| Ok(context.out.flush().map(|()| status)?)) {
        Ok(status) => exit(status),
        // Whoever read the answer has seen enough.
        Err(Stop::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => exit(Status::Good),
        Err(Stop::Output(error)) => {
            Refusal::new(format!("the answer cannot be written: {error}"), "").print();
            exit(Status::Refused)
        }
        Err(Stop::Refused(_)) => exit(Status::Refused),
    }
}

fn run(cli: &Cli, context: &mut Context) -> Outcome {
    let folder = cli.catalogue.as_deref();
    match &cli.command {
        Command::Decode(args) => command::decode::run(args, &context.known(folder)?, context),
        Command::Explain(args) => command::explain::run(args, &context.known(folder)?, context),
        Command::Capture(args) => command::capture::run(args, &context.known(folder)?, context),
        Command::Causes(args) => command::causes::run(args, context),
        Command::Frame(args) => command::frame::run(args, &context.known(folder)?, context),
        Command::Layout(args) => command::layout::run(args, folder, context),
        Command::Numbers(args) => command::numbers::run(args, &context.known(folder)?, context),
        Command::Simulate(args) => command::simulate::run(args, &context.known(folder)?, context),
        Command::Keypad(args) => command::keypad::run(args, &context.known(folder)?, context),
        Command::Watch(args) => command::watch::run(args, &context.known(folder)?, context),
        Command::Schema(args) => command::schema::run(args, context),
        Command::Completions(args) => command::completions::run(args, context),
        Command::Man(args) => command::man::run(args, context),
    }
}

/// Help where it was asked for; else what is wrong with the command line.
fn usage(error: &clap::Error) -> ExitCode {
    let json = std::env::args_os().any(|arg| arg == "--json");
    let text = error.render().to_string();
    // The sentence still goes to standard error when this fails.
    let refuse = |refusal| {
        let mut context = Context { json, masking: Masking::Off, out: Output::new() };
        let _ = context.refuse(&refusal);
    };
    if is_bare_read(error) {
        refuse(Refusal::new(
            "a read stands where a command should",
            "misread explain and the read, to be told why it is wrong, or misread decode",
        ));
    } else if error.use_stderr() && json {
        // Up to the first empty line: what is missing may stand in lines of its own.
        let lines: Vec<&str> =
            text.lines().map(str::trim).take_while(|line| !line.is_empty()).collect();
        let message = lines.join(" ");
        let message = message.strip_prefix("error: ").unwrap_or(&message);
        refuse(Refusal::new(message, "the command line that misread --help describes"));
    } else if error.use_stderr() && text.lines().any(|line| line.chars().count() > COLUMNS) {
        let mut stderr = io::stderr().lock();
        for line in text.lines() {
            let indent = " ".repeat(line.len() - line.trim_start().len());
            for line in hanging(Ink::Plain, &indent, line.trim_start()) {
                let _ = writeln!(stderr, "{line}");
            }
        }
    } else {
        let _ = error.print();
    }
    exit(if error.use_stderr() { Status::Refused } else { Status::Good })
}

/// Whether bits or hexadecimal were pasted with no command before them.
fn is_bare_read(error: &clap::Error) -> bool {
    match (error.kind(), error.get(ContextKind::InvalidSubcommand)) {
        (ErrorKind::InvalidSubcommand, Some(ContextValue::String(found))) => {
            found.starts_with(|c: char| c.is_ascii_digit() || c == '?')
        }
        _ => false,
    }
}

fn exit(status: Status) -> ExitCode {
    ExitCode::from(status as u8)
}
