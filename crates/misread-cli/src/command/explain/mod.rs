//! `misread explain`: why a read is wrong, and what to do now.

mod object;
mod question;
mod screen;

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use misread::diagnose::{Presented, diagnose, diagnose_printed};

use crate::catalogue::Known;
use crate::command::numbers::written;
use crate::context::{Context, Outcome, Status, Stop};
use crate::masking::Masking;
use crate::meter::Meter;
use crate::priors::PriorsArgs;
use crate::reads::ReadArgs;
use crate::recording::{Probe, RecordingArgs};
use crate::refusal::Refusal;

pub(crate) use object::{answer as short_answer, card_fields};
pub(crate) use question::{Question, Stream};

const EXAMPLES: &str = "\
Examples:
  The slipway gate's panel shows a number nobody enrolled:
    misread explain 01101010111111011001011011
  The card presented was 42 / 1234:
    misread explain --expect facility=42,card=1234 1001010100000100110100100
  Only the number printed on the card is known:
    misread explain --printed 0002753746 01101010111111011001011011
  The panel at the fuel berth shows only numbers, no bits:
    misread explain --layout open-26 --shown facility=213,card=64301
  Both lines were recorded at the slipway gate's panel:
    misread explain --capture slipway.vcd --expect facility=42,card=1234
  Three reads of one card, and the panel's layout is known:
    misread explain --layout open-26 --reads sail-loft.txt

Exit status: 0 the reads are good, 1 they are not, 2 something could not be \
read.";

/// Why a read is wrong, and what to do now
///
/// Weighs every cause between card and panel against the bits: the wires, the
/// card, the panel's layout. All reads of one call are taken to suffer the
/// same fault at the same reader.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct ExplainArgs {
    #[command(flatten)]
    reads: ReadArgs,
    /// What the presented card should carry, such as facility=42,card=1234;
    /// given once it holds for every read, given as often as there are reads
    /// it goes with them in order
    #[arg(long, value_name = "FIELD=VALUE,…")]
    expect: Vec<String>,
    /// Whose cards were presented: one card every time, or several; without it
    /// both are weighed
    #[arg(long, value_name = "WHOSE")]
    presented: Option<Whose>,
    /// The number printed on the card, where its fields are not known: every
    /// way to take it is weighed
    #[arg(long, value_name = "NUMBER", conflicts_with = "expect", allow_hyphen_values = true)]
    printed: Option<String>,
    /// What the panel shows instead of bits, read through --layout; as often
    /// as there are reads
    #[arg(long, value_name = "FIELD=VALUE,…", requires = "layout", conflicts_with_all = ["read", "reads_file"])]
    shown: Vec<String>,
    /// A capture of the two data lines, whose pulses are weighed with the bits:
    /// VCD, FST or CSV; `-` is standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["read", "reads_file", "shown"])]
    capture: Option<PathBuf>,
    /// Where the capture was taken [default: panel]
    #[arg(long, value_name = "PLACE")]
    probe_at: Option<Probe>,
    #[command(flatten)]
    recording: RecordingArgs,
    #[command(flatten)]
    weigh: WeighArgs,
}

/// Whose cards were presented.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Whose {
    /// One card, every time
    One,
    /// A card of its own each time
    Several,
}

impl From<Whose> for Presented {
    fn from(whose: Whose) -> Self {
        match whose {
            Whose::One => Presented::One,
            Whose::Several => Presented::Several,
        }
    }
}

/// What reads are weighed against.
#[derive(Args, Clone, Debug)]
pub(crate) struct WeighArgs {
    /// What the panel is set to: a layout's name or file
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// A layout the card may use, instead of the whole catalogue; may be
    /// repeated
    #[arg(long, value_name = "LAYOUT")]
    among: Vec<String>,
    #[command(flatten)]
    priors: PriorsArgs,
}

/// Runs it.
pub(crate) fn run(args: &ExplainArgs, known: &Known, context: &mut Context) -> Outcome {
    let mut question = Question::of(args, known, context.masking)?;
    for refusal in &question.refused {
        context.refuse(refusal)?;
    }
    let ok = answer(&mut question, args.printed.as_deref(), context)?;
    if !question.refused.is_empty() {
        return Ok(Status::Refused);
    }
    Ok(Status::of(ok))
}

/// Answers what is asked, on a page or as an object. Whether the reads are
/// good.
///
/// # Errors
///
/// What cannot be weighed.
pub(crate) fn answer(
    question: &mut Question,
    printed: Option<&str>,
    context: &mut Context,
) -> Result<bool, Stop> {
    let numbers = context.masking.numbers();
    let mut meter = Meter::new("weighing the causes");
    let Question { case, candidates, model, .. } = &*question;
    let answered = match printed {
        None => diagnose(case, candidates, model, numbers, &mut |progress| meter.show(progress))
            .map(|diagnosis| (diagnosis, Vec::new())),
        Some(text) => {
            let printed = written("--printed", text, context.masking)?;
            let go_on = &mut |progress| meter.show(progress);
            diagnose_printed(case, &printed, candidates, model, numbers, go_on)
                .map(|answer| (answer.diagnosis, answer.taken))
        }
    };
    meter.clear();
    let (diagnosis, taken) = answered.map_err(|error| refuse(&error, context.masking))?;
    if let Some(best) = taken.first() {
        for read in &mut question.case.reads {
            read.expected.clone_from(&best.fields);
        }
    }
    if context.json {
        context.out.json(&object::of(question, &diagnosis, &taken, context.masking))?;
    } else {
        context.out.lines(&screen::lines(question, &diagnosis, &taken, context.masking))?;
    }
    Ok(diagnosis.ok)
}

/// Why reads cannot be weighed.
pub(crate) fn refuse(error: &misread::diagnose::DiagnoseError, masking: Masking) -> Refusal {
    use misread::diagnose::DiagnoseError;
    let expected = match error {
        DiagnoseError::Nothing => "at least one read, and a layout it may have",
        DiagnoseError::LayoutTooShort { .. } => "layouts of four bits or more",
        DiagnoseError::ExpectedFitsNoLayout { .. } => {
            "values that fit one of the layouts; misread layout list names them"
        }
        DiagnoseError::TooManyOpen { .. } => "--expect with a value for every field",
        DiagnoseError::OneCardDiffers => "--presented several, or the same --expect for every read",
        DiagnoseError::RuledOut => "--priors that leave some explanation possible",
        DiagnoseError::Stopped => "",
    };
    let message = match error {
        DiagnoseError::ExpectedFitsNoLayout { .. } if masking.is_on() => {
            "no candidate layout can carry all the expected values".to_owned()
        }
        _ => error.to_string(),
    };
    Refusal::new(message, expected)
}
