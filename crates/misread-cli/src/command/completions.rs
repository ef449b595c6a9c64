//! `misread completions`: completions for a shell.

use clap::{Args, CommandFactory};
use clap_complete::{Shell, generate};

use crate::args::Cli;
use crate::context::{Context, Outcome, Status};

const EXAMPLES: &str = "\
Example:
  On the workshop laptop at Brindle Quay, for bash:
    misread completions bash > ~/.local/share/bash-completion/completions/misread";

/// Completions for a shell, on standard output
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct CompletionsArgs {
    /// Which shell
    shell: Shell,
}

/// Runs it.
pub(crate) fn run(args: &CompletionsArgs, context: &mut Context) -> Outcome {
    let mut script = Vec::new();
    generate(args.shell, &mut Cli::command(), "misread", &mut script);
    context.out.bytes(&script)?;
    Ok(Status::Good)
}
