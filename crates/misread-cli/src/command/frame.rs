//! `misread frame`: the frame a card should give.

use clap::Args;
use misread::layout::EncodeError;
use misread::{Bits, Layout};

use crate::catalogue::Known;
use crate::command::decode::answer::concerns;
use crate::context::{Context, Outcome, Status};
use crate::draw::{COLUMNS, Drawing, Ink, Line, wrap};
use crate::json::{self, FieldValue, Fields};
use crate::masking::Masking;
use crate::refusal::Refusal;
use crate::values;

const EXAMPLES: &str = "\
Examples:
  What the slipway gate's reader must send for card 1234:
    misread frame --layout open-26 facility=42 card=1234
  The same for a script:
    misread frame --layout open-26 --json facility=42 card=1234

Exit status: 0 here it is, 1 here it is, but it is none of the cards the \
layout declares, 2 there is no such frame.";

/// The frame a card should give
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct FrameArgs {
    /// The layout: a name or a layout file
    #[arg(long, value_name = "LAYOUT")]
    layout: String,
    /// Field values, such as facility=42 card=1234, decimal or 0x hexadecimal.
    /// A field with a declared value may be left out
    #[arg(value_name = "FIELD=VALUE")]
    values: Vec<String>,
}

/// Runs it.
pub(crate) fn run(args: &FrameArgs, known: &Known, context: &mut Context) -> Outcome {
    let entry = known.named(&args.layout)?;
    let layout = &entry.layout;
    let values = values::parse(&args.values.join(","), context.masking)?;
    let pairs = values.iter().map(|(name, value)| (name.as_str(), *value));
    let frame =
        layout.encode(pairs).map_err(|error| refuse(&error, layout, &values, context.masking))?;
    let problem = concerns(layout, &frame, context.masking);
    let status = Status::of(problem.is_none());
    if context.json {
        let fields = layout.fields().iter().map(|field| {
            (field.name().to_owned(), FieldValue::new(field.value_in(&frame), context.masking))
        });
        context.out.json(&json::Frame {
            schema: json::Frame::SCHEMA,
            layout: entry.name().to_owned(),
            fields: Fields(fields.collect()),
            bits: context.masking.bits(&frame, Some(layout)),
            length: frame.len(),
            hex: context.masking.hex(&frame, Some(layout)),
            problem,
        })?;
    } else {
        context.out.lines(&picture(&frame, layout, problem, context.masking))?;
    }
    Ok(status)
}

fn picture(frame: &Bits, layout: &Layout, problem: Option<String>, masking: Masking) -> Vec<Line> {
    let mut lines = vec![
        Line::new(Ink::Strong, masking.bits(frame, Some(layout))),
        Line::new(
            Ink::Plain,
            format!("{} bits, 0x{}/{}", frame.len(), masking.hex(frame, Some(layout)), frame.len()),
        ),
    ];
    if let Some(problem) = problem {
        let text = format!("but {problem}");
        lines.extend(wrap(&text, COLUMNS).into_iter().map(|text| Line::new(Ink::Alert, text)));
    }
    lines.push(Line::default());
    let drawing = Drawing { bits: frame, layout: Some(layout), marks: Vec::new(), masking };
    lines.extend(drawing.lines());
    lines
}

fn refuse(
    error: &EncodeError,
    layout: &Layout,
    values: &[(String, u64)],
    masking: Masking,
) -> Refusal {
    let names: Vec<&str> = layout.fields().iter().map(|field| field.name()).collect();
    let names = names.join(", ");
    match error {
        EncodeError::UnknownField { .. } => {
            let unknown = values.iter().find(|(name, _)| layout.field(name).is_none());
            let name = unknown.map_or("", |(name, _)| name.as_str());
            values::unknown_field(layout.name(), name, &names)
        }
        EncodeError::Twice { .. } => Refusal::new(error.to_string(), "one value for each field"),
        EncodeError::Missing { field } => Refusal::new(
            format!("the value of {} is missing", field.as_str()),
            format!("a value for each of {names}, such as {}=1234", field.as_str()),
        ),
        EncodeError::DoesNotFit { field, number, max } => {
            values::does_not_fit(field.as_str(), *number, *max, masking)
        }
    }
}
