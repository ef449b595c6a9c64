//! The command line, written down once: help, man page and completions are
//! made from it.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::command::{
    capture, causes, completions, decode, explain, frame, keypad, layout, man, numbers, schema,
    simulate, watch,
};

const ABOUT: &str = "Why a card reader's number arrives wrong, and what to do";

const LONG_ABOUT: &str = "\
Why a card reader's number arrives wrong, and what to do.

Paste the bits a reader sent over its two data lines, D0 and D1, and be told \
the number they carry, or why it is wrong and what to do. Nothing is sent \
anywhere, and nothing is written that was not asked for.";

const EXAMPLES: &str = "\
Example:
  The slipway gate at Brindle Quay sent this for a card marked 42 / 1234:
    misread explain --expect facility=42,card=1234 01101010111111011001011011

Exit status: 0 it worked and the answer is good; 1 it worked and the answer \
is not good; 2 the input or the command line was wrong.";

/// The whole command line.
#[derive(Parser, Debug)]
#[command(
    name = "misread",
    version,
    about = ABOUT,
    long_about = LONG_ABOUT,
    after_help = EXAMPLES,
    max_term_width = 80,
    disable_help_subcommand = true
)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
    /// Answer in JSON, an object a line
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// Hide all but the last two digits of card numbers
    #[arg(long, global = true)]
    pub(crate) mask: bool,
    /// The folder of layout files, instead of misread/layouts in the user's
    /// configuration folder
    #[arg(long, global = true, value_name = "DIR")]
    pub(crate) catalogue: Option<PathBuf>,
}

/// The subcommands.
#[derive(Subcommand, Debug)]
pub(crate) enum Command {
    Explain(explain::ExplainArgs),
    Decode(decode::DecodeArgs),
    Capture(capture::CaptureArgs),
    Watch(watch::WatchArgs),
    Frame(frame::FrameArgs),
    Layout(layout::LayoutArgs),
    Numbers(numbers::NumbersArgs),
    Keypad(keypad::KeypadArgs),
    Causes(causes::CausesArgs),
    Simulate(simulate::SimulateArgs),
    Schema(schema::SchemaArgs),
    Completions(completions::CompletionsArgs),
    Man(man::ManArgs),
}
