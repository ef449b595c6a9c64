//! `misread schema`: the JSON Schema of an answer.

use clap::{Args, ValueEnum};
use schemars::{Schema, schema_for};

use crate::context::{Context, Outcome, Status};
use crate::json_learn::LayoutLearn;
use crate::json_simulate::Simulate;
use crate::{json, json_capture, json_explain, json_keypad, json_layout, json_watch};

const EXAMPLES: &str = "\
Example:
  What a script at the fuel berth may rely on:
    misread schema decode";

/// The JSON Schema of a command's answer
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct SchemaArgs {
    /// Whose answer; `error` for the answer to an input that is refused
    #[arg(value_name = "COMMAND")]
    answer: Answer,
}

/// Every answer that has a schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Answer {
    Explain,
    Decode,
    Capture,
    Watch,
    Frame,
    LayoutList,
    LayoutShow,
    LayoutCheck,
    LayoutAdd,
    LayoutLearn,
    LayoutAudit,
    LayoutClash,
    Numbers,
    Keypad,
    Causes,
    Simulate,
    Error,
}

impl Answer {
    /// Its schema, made from the type.
    pub(crate) fn schema(self) -> Schema {
        match self {
            Answer::Explain => schema_for!(json_explain::Explain),
            Answer::Causes => schema_for!(json_explain::Causes),
            Answer::Decode => schema_for!(json::Decode),
            Answer::Capture => schema_for!(json_capture::Capture<Vec<json_capture::Read>>),
            Answer::Watch => schema_for!(json_watch::Watch),
            Answer::Frame => schema_for!(json::Frame),
            Answer::LayoutList => schema_for!(json::LayoutList),
            Answer::LayoutShow => schema_for!(json::LayoutShow),
            Answer::LayoutCheck => schema_for!(json::LayoutCheck),
            Answer::LayoutAdd => schema_for!(json::LayoutAdd),
            Answer::LayoutLearn => schema_for!(LayoutLearn),
            Answer::LayoutAudit => schema_for!(json_layout::LayoutAudit),
            Answer::Keypad => schema_for!(json_keypad::Keypad),
            Answer::LayoutClash => schema_for!(json_layout::LayoutClash),
            Answer::Numbers => schema_for!(json_layout::Numbers),
            Answer::Simulate => schema_for!(Simulate),
            Answer::Error => schema_for!(json::Error),
        }
    }
}

/// Runs it.
pub(crate) fn run(args: &SchemaArgs, context: &mut Context) -> Outcome {
    let text = serde_json::to_string_pretty(&args.answer.schema()).map_err(std::io::Error::from)?;
    context.out.text(&text)?;
    Ok(Status::Good)
}
