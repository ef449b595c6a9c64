//! `misread man`: the manual page.

use clap::{Args, Command, CommandFactory};
use clap_mangen::Man;

use crate::args::Cli;
use crate::context::{Context, Outcome, Status};
use crate::refusal::Refusal;

const EXAMPLES: &str = "\
Examples:
  Read it here:
    misread man | man -l -
  The page of one command:
    misread man decode | man -l -";

/// The manual page, on standard output
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct ManArgs {
    /// The page of this command, such as `decode` or `layout check`
    #[arg(value_name = "COMMAND")]
    command: Vec<String>,
}

/// Runs it.
pub(crate) fn run(args: &ManArgs, context: &mut Context) -> Outcome {
    let mut root = Cli::command();
    // Gives every command its full name, and the options of all commands.
    root.build();
    let mut command = &root;
    for name in &args.command {
        command = command.find_subcommand(name).ok_or_else(|| unknown(name, command))?;
    }
    let mut page = Vec::new();
    Man::new(command.clone()).render(&mut page)?;
    context.out.bytes(&page)?;
    Ok(Status::Good)
}

fn unknown(name: &str, command: &Command) -> Refusal {
    let names: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
    let expected = if names.is_empty() { "no further word".to_owned() } else { names.join(", ") };
    Refusal::new(format!("{} has no command ‘{name}’", command.get_name()), expected)
}
