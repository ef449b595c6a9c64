//! `misread watch`: reads explained as they come.

mod origin;
mod record;
mod session;

use std::path::PathBuf;
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

use clap::Args;
use misread::watch::{Event, Heard, Intake, Options};

use crate::catalogue::Known;
use crate::command::explain::WeighArgs;
use crate::context::{Context, Outcome, Stop};
use crate::recording::{Probe, Unit};

use origin::{Message, Origin};
use record::Record;
use session::Session;

const EXAMPLES: &str = "\
Examples:
  A recorder at the fuel berth tells every read over its serial port:
    misread watch --device /dev/ttyUSB0
  The same card, 42 / 1234, is presented again and again at the slipway gate:
    misread watch --device /dev/ttyUSB0 --expect facility=42,card=1234
  Another program hands the reads on, and the evening is to be kept:
    sail-loft-log | misread watch --record sail-loft.txt

Enter explains all reads so far; n and Enter forgets them, as after mending; q
and Enter ends. Where another program hands the reads on, this is so as long as
the answers go to the terminal.

Exit status: 0 every read was good, 1 some were not, 2 nothing could be opened
or read, or the record could not be written.";

/// Reads explained as they come, a line each
///
/// What comes is text, a line at a time: a read (bits, or hexadecimal with its
/// length), a row of a table with the headings bits, a time such as time_s and
/// what the card should carry, a level change of a data line under the headings
/// time_us,line,level, or the levels of both under time_us,d0,d1. Anything else
/// is said and passed over.
///
/// The full answer, for the last 64 reads, comes at the end: they are then taken
/// to suffer the same fault at the same reader. Where no one fault explains them
/// all, as when something was mended in between, it is for those since.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct WatchArgs {
    /// The serial port to watch, instead of standard input. When it is
    /// unplugged, it is tried again until it is back
    #[arg(long, value_name = "PATH")]
    device: Option<String>,
    /// How fast the port runs, in bits a second
    #[arg(
        long,
        value_name = "N",
        requires = "device",
        default_value_t = 115_200,
        value_parser = clap::value_parser!(u32).range(1..)
    )]
    baud: u32,
    /// What the presented cards should carry, such as facility=42,card=1234;
    /// what a table's row says goes before it
    #[arg(long, value_name = "FIELD=VALUE,…")]
    expect: Option<String>,
    #[command(flatten)]
    weigh: WeighArgs,
    /// Where the two lines are tapped, if level changes come
    #[arg(long, value_name = "WHERE", default_value = "panel")]
    probe_at: Probe,
    /// The unit of the times of levels, where their heading does not say; else
    /// seconds
    #[arg(long, value_enum, value_name = "UNIT")]
    time_unit: Option<Unit>,
    /// The same bits again within this time are a repeat
    #[arg(
        long,
        value_name = "SECONDS",
        default_value_t = 3.0,
        allow_negative_numbers = true,
        value_parser = seconds
    )]
    repeat_window: f64,
    /// Append what comes to this file, line by line. It holds card numbers
    /// whole, with --mask too
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
}

/// How often is looked whether a read is over.
const TICK: Duration = Duration::from_millis(100);

/// Runs it.
pub(crate) fn run(args: &WatchArgs, known: &Known, context: &mut Context) -> Outcome {
    let mut session = Session::new(args, known, args.probe_at.into(), context.masking)?;
    let mut record = args.record.as_deref().map(Record::open).transpose()?;
    let start = Instant::now();
    let clock = move || i64::try_from(start.elapsed().as_nanos()).unwrap_or(i64::MAX);
    let origin = Origin::of(args);
    let messages = origin.open(clock)?;

    let mut intake =
        Intake::new(Options { unit: args.time_unit.map(Into::into), ..Options::default() });
    let mut events: Vec<Event> = Vec::new();
    loop {
        let mut see = |event| events.push(event);
        match messages.recv_timeout(TICK) {
            Ok(Message::Heard(Heard::Bytes { bytes, now })) => {
                if let Some(Err(refusal)) = record.as_mut().map(|record| record.push(&bytes)) {
                    record = None;
                    session.record_failed(&refusal, context)?;
                }
                intake.push(&bytes, now, &mut see);
            }
            Ok(Message::Heard(Heard::Nothing { now })) => intake.tick(now, &mut see),
            Ok(Message::Heard(Heard::Lost { why, now })) => {
                record.iter_mut().for_each(Record::break_off);
                session.lost_by(&origin, why);
                intake.lost(now, &mut see);
            }
            Ok(Message::Heard(Heard::Back { now })) => intake.back(now, &mut see),
            Ok(Message::Heard(Heard::Ended { why, .. })) => {
                intake.finish(&mut see);
                session.events(&mut events, context)?;
                if let Some(why) = why {
                    context.refuse(&origin.broke_off(&why))?;
                }
                break;
            }
            Ok(Message::Key(key)) => match key.trim() {
                "q" | "Q" => {
                    intake.finish(&mut see);
                    session.events(&mut events, context)?;
                    break;
                }
                "n" | "N" => session.forget(clock(), context)?,
                _ => session.explain(context)?,
            },
            Err(RecvTimeoutError::Timeout) => intake.tick(clock(), &mut see),
            Err(RecvTimeoutError::Disconnected) => break,
        }
        session.events(&mut events, context)?;
    }
    session.end(&origin, context)
}

fn seconds(text: &str) -> Result<f64, String> {
    const MOST: f64 = 86_400.0;
    let seconds: Option<f64> = text.parse().ok().filter(|seconds| (0.0..=MOST).contains(seconds));
    seconds.ok_or_else(|| format!("expected a number of seconds from 0 to {MOST}"))
}

/// What a session may fail with.
type Done = Result<(), Stop>;
