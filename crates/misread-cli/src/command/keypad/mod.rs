//! `misread keypad`: which keys were pressed, and why they come wrong.

mod object;
mod question;
mod screen;

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use misread::diagnose::Numbers;
use misread::keypad::{AnswerError, DEFAULT_PAUSE, Habits, Setting, answer};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status};
use crate::priors::PriorsArgs;
use crate::recording::{Probe, RecordingArgs};
use crate::refusal::Refusal;
use crate::values::number;

use question::Question;

const EXAMPLES: &str = "\
Examples:
  Somebody keys 4 1 7 # at the sail loft, and the panel logs these reads:
    misread keypad 0100 0001 0111 1011
  The fuel berth's keypad sends 8 bits a key:
    misread keypad --mode 8 10110100 11100001 10000111 01001011
  It sends the whole code in a frame, and the panel is set to open-26:
    misread keypad --layout open-26 10010101000000100110100100
  The reads leave it open, but you know that 7 8 # was pressed:
    misread keypad --expect 78# 0111 1000 1011
  The two data lines were recorded at the slipway gate:
    misread keypad --capture slipway-keypad.vcd

Exit status: 0 the keypad is good, 1 it is not, or it cannot be told, 2 \
something could not be read.";

/// Which keys were pressed at a keypad, and why they come wrong
///
/// Finds how the keypad sends (4, 6 or 8 bits a key, or with --layout the whole
/// code in a frame), whether the data lines are swapped, and the codes keyed.
/// A code ends with the hash key (#), a pause or the last read; the star key
/// (*) clears it. With --mask every digit is hidden.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct KeypadArgs {
    /// Reads as pasted, in the order pressed: 0s and 1s, a read between spaces,
    /// or hexadecimal with its length (0x4b/8). `-` stands for standard input
    #[arg(value_name = "READ")]
    read: Vec<String>,
    /// A file of reads, or a table (CSV) with the heading bits and, where times
    /// are known, time_s, time_ms or time_us
    #[arg(long = "reads", value_name = "FILE", conflicts_with = "read")]
    reads_file: Option<PathBuf>,
    /// A capture of the two data lines: VCD, FST or CSV; `-` is standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["read", "reads_file"])]
    capture: Option<PathBuf>,
    /// Where the capture was taken [default: panel]
    #[arg(long, value_name = "PLACE")]
    probe_at: Option<Probe>,
    #[command(flatten)]
    recording: RecordingArgs,
    /// How the keypad sends, where that is known: so many bits a key, or the
    /// whole code in a frame of --layout
    #[arg(long, value_name = "MODE")]
    mode: Option<ModeArg>,
    /// The site's layout, a name or a file: the keypad may send the whole code
    /// as a card number
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// How long nobody presses a key before a code is over; 5 unless given
    #[arg(long, value_name = "SECONDS", value_parser = number, allow_negative_numbers = true)]
    pause: Option<f64>,
    /// What was keyed, all of it and once, such as 2580#
    #[arg(long, value_name = "KEYS")]
    expect: Option<String>,
    #[command(flatten)]
    priors: PriorsArgs,
}

/// How a keypad sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ModeArg {
    /// 4 bits a key
    #[value(name = "4")]
    Four,
    /// 6 bits a key
    #[value(name = "6")]
    Six,
    /// 8 bits a key
    #[value(name = "8")]
    Eight,
    /// The whole code in a frame
    WholeCode,
}

fn refuse(error: AnswerError) -> Refusal {
    let expected = match error {
        AnswerError::RuledOut => "--priors that leave some explanation possible",
    };
    Refusal::new(error.to_string(), expected)
}

/// Runs it.
pub(crate) fn run(args: &KeypadArgs, known: &Known, context: &mut Context) -> Outcome {
    let question = Question::of(args, known, context.masking)?;
    for refusal in &question.refused {
        context.refuse(refusal)?;
    }
    let numbers = if context.masking.is_on() { Numbers::Masked } else { Numbers::Shown };
    let setting = Setting {
        sendings: &question.sendings,
        habits: Habits::default(),
        pause: question.pause.unwrap_or(DEFAULT_PAUSE),
        captured: question.captured,
        expected: question.expected.as_deref(),
    };
    let model = args.priors.model()?;
    let answer = answer(&question.presses, &setting, &model, numbers).map_err(refuse)?;
    if context.json {
        context.out.json(&object::of(&question, &answer, numbers))?;
    } else {
        let fitting = question.fitting(known);
        context.out.lines(&screen::lines(&question, &answer, &fitting, numbers))?;
    }
    if !question.refused.is_empty() {
        return Ok(Status::Refused);
    }
    Ok(Status::of(answer.ok))
}
