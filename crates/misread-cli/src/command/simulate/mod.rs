//! `misread simulate`: reads and captures broken on purpose.

mod make;

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use misread::capture::{Opening, WriteError, write_changes, write_vcd};
use misread::cause::Wire;
use misread::channel::{Held, Padding, Short, changes};
use misread::file::write_new;
use misread::keypad::{Key, Mode};
use misread::pulse::{Evidence, FindingKind, Level, Limits, Pulse, Rhythm};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status};
use crate::json::{FieldValue, Fields, Place};
use crate::json_simulate as json;
use crate::masking::Masking;
use crate::priors::PriorsArgs;
use crate::recording::Probe;
use crate::refusal::Refusal;
use crate::values::number;

use make::Made;

const EXAMPLES: &str = "\
Examples:
  What the slipway gate's panel gets for card 42 / 1234 when D0 is weak:
    misread simulate --cause d0-weak --reads 3 facility=42 card=1234
  A capture of the same, as a recorder would have taken it:
    misread simulate --cause d0-weak --as vcd -o slipway.vcd card=1234
  Two faults at once, and a loose conductor that comes and goes:
    misread simulate --cause lines-swapped+d0-weak --reads 3 facility=42 card=1234
    misread simulate --cause d0-open-at-times --share 0.3 --reads 6 card=1234
  A riddle for a new colleague; the answer is written beside it, in
  riddle.truth.json:
    misread simulate --draw-cause --reads 3 --seed 7 --as vcd -o riddle.vcd \\
      facility=42 card=1234
  The sail loft's keypad with its lines swapped:
    misread simulate --keys 2580# --keypad 4 --cause lines-swapped
  A riddle of it:
    misread simulate --draw-cause --keys 2580# --keypad 4 --as vcd -o loft.vcd

The same seed gives the same bytes on every machine.";

/// Make reads or a capture with a fault of your choice, or a hidden one
///
/// The line is broken the way the diagnosis takes it to break: the same causes,
/// rates and findings. Nothing here comes from a real card.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct SimulateArgs {
    /// What the card carries, such as facility=42 card=1234; other fields are
    /// drawn, for each read anew
    #[arg(value_name = "FIELD=VALUE")]
    values: Vec<String>,
    /// The card's layout: a name or a file. With --draw-cause, what the panel is
    /// set to [default: open-26]
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// What happens on the way: a cause that misread causes lists,
    /// lines-swapped+CAUSE, CAUSE-at-times or reads-missing
    #[arg(long, value_name = "CAUSE", default_value = "none")]
    cause: String,
    /// How often it happens, over 0 and at most 1 [default: drawn]
    #[arg(long, value_name = "RATE", value_parser = number, allow_negative_numbers = true)]
    rate: Option<f64>,
    /// Of what comes and goes, how likely each card is to suffer it, 0 to 1
    /// [default: drawn]
    #[arg(long, value_name = "SHARE", value_parser = number, allow_negative_numbers = true)]
    share: Option<f64>,
    /// Draw cause, cards and layout, and the findings in the pulses, as likely as
    /// the diagnosis takes them to be; with --keys, the cause and whether other
    /// keys were pressed. Findings that no pulses with these bits can show are
    /// drawn again; of keys the cause is too, so a ringing line comes seldom
    /// where a key is 4 bits. The truth goes beside the file
    #[arg(long, conflicts_with_all = ["cause", "rate", "share"], requires = "output")]
    draw_cause: bool,
    /// Keys pressed on a keypad instead of a card: digits, * and #. With
    /// --draw-cause, those that are said to have been pressed
    #[arg(long, value_name = "KEYS", requires = "keypad", conflicts_with_all = ["values", "layout"])]
    keys: Option<String>,
    /// How many bits the keypad sends for a key
    #[arg(long, value_name = "BITS", requires = "keys")]
    keypad: Option<KeyBits>,
    /// How often a card is presented
    #[arg(long, value_name = "COUNT", default_value_t = 1, conflicts_with = "keys", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    reads: u32,
    /// What everything drawn is drawn with
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = seed, allow_negative_numbers = true)]
    seed: u64,
    /// What to make: reads as lines or as a table, or a capture of the lines,
    /// which holds card numbers and keys whole, with --mask too. A card that
    /// gives nothing is a line that says so, an empty cell, silence
    #[arg(long = "as", value_name = "KIND", default_value = "bits")]
    kind: Kind,
    /// Write to a new file instead of standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Pulse width in µs; under 45 the runts of a fault are narrower than the 20
    /// that SIA AC-01 allows
    #[arg(long, value_name = "US", default_value_t = 50.0, value_parser = number, allow_negative_numbers = true)]
    width: f64,
    /// Pulse interval in µs
    #[arg(long, value_name = "US", default_value_t = 1000.0, value_parser = number, allow_negative_numbers = true)]
    interval: f64,
    /// By how many percent of the interval a pulse is off at most
    #[arg(long, value_name = "PERCENT", default_value_t = 1.0, value_parser = number, allow_negative_numbers = true)]
    jitter: f64,
    /// The level the lines rest at
    #[arg(long, value_name = "LEVEL", default_value = "high")]
    rest: RestLevel,
    /// With --draw-cause, where the capture is taken
    #[arg(long, value_name = "PLACE", default_value = "panel", requires = "draw_cause")]
    probe_at: Probe,
    #[command(flatten)]
    priors: PriorsArgs,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Kind {
    /// A read a line
    Bits,
    /// A table of reads with when each came and what its card is said to carry,
    /// as explain takes it
    Table,
    /// A table of level changes
    Csv,
    /// A value change dump (IEEE Std 1364)
    Vcd,
}

impl Kind {
    fn is_capture(self) -> bool {
        matches!(self, Kind::Csv | Kind::Vcd)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum KeyBits {
    #[value(name = "4")]
    Four,
    #[value(name = "6")]
    Six,
    #[value(name = "8")]
    Eight,
}

impl KeyBits {
    fn mode(self) -> Mode {
        match self {
            KeyBits::Four => Mode::FourBit,
            KeyBits::Six => Mode::SixBit,
            KeyBits::Eight => Mode::EightBit,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum RestLevel {
    High,
    Low,
}

/// Runs it.
pub(crate) fn run(args: &SimulateArgs, known: &Known, context: &mut Context) -> Outcome {
    let made = Made::of(args, known, context.masking)?;
    let bytes = bytes(args, &made, context.masking)?;
    let Some(path) = &args.output else {
        if !context.json {
            context.out.bytes(&bytes)?;
            return Ok(Status::Good);
        }
        if args.kind.is_capture() {
            return Err(Refusal::new(
                "the answer in JSON and the capture cannot both go to standard output",
                "-o FILE for the capture",
            )
            .into());
        }
        context.out.json(&object(args, &made, None, None, context.masking))?;
        return Ok(Status::Good);
    };
    let name = path.display().to_string();
    let truth = args.draw_cause.then(|| path.with_extension("truth.json"));
    if let Some(truth) = &truth {
        // First: a riddle without its answer is no use.
        let object = object(args, &made, Some(&name), Some(truth), context.masking);
        let mut text = serde_json::to_string_pretty(&object).map_err(std::io::Error::from)?;
        text.push('\n');
        write(truth, text.as_bytes())?;
    }
    if let Err(refusal) = write(path, &bytes) {
        // Nothing is left of what could not be done.
        if let Some(truth) = &truth {
            let _ = std::fs::remove_file(truth);
        }
        return Err(refusal.into());
    }
    if context.json {
        context.out.json(&object(args, &made, Some(&name), truth.as_deref(), context.masking))?;
        return Ok(Status::Good);
    }
    context.out.text(&summary(args, &made, &name, truth.as_deref(), context.masking))?;
    Ok(Status::Good)
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("expected a whole number from 0 to {}", u64::MAX))
}

/// What was asked for.
fn bytes(args: &SimulateArgs, made: &Made, masking: Masking) -> Result<Vec<u8>, Refusal> {
    let mut bytes = Vec::new();
    let rest = match args.rest {
        RestLevel::High => Level::High,
        RestLevel::Low => Level::Low,
    };
    let changes = || changes(made.reads.iter().map(|read| &read.pulses), rest);
    let opening = Opening { time: 0, levels: [rest; 2] };
    let written = match args.kind {
        Kind::Bits => {
            for read in &made.reads {
                let line = match read.bits.is_empty() {
                    // Passed over wherever reads are read.
                    true => "# nothing arrived".to_owned(),
                    false => masking.bits(&read.bits, made.layout_of(read)),
                };
                bytes.extend(line.bytes());
                bytes.push(b'\n');
            }
            Ok(())
        }
        Kind::Table => {
            bytes.extend(table(made, masking).bytes());
            Ok(())
        }
        Kind::Csv => write_changes(&mut bytes, opening, changes()),
        Kind::Vcd => write_vcd(&mut bytes, None, opening, changes()),
    };
    written.map_err(|error: WriteError| Refusal::new(error.to_string(), ""))?;
    Ok(bytes)
}

/// The reads as a table; the cell of one of which nothing arrived is empty.
fn table(made: &Made, masking: Masking) -> String {
    /// Between two cards; a card that gives nothing takes as long.
    const PAUSE: f64 = 1.0;
    let names: String = made.said.iter().map(|(name, _)| format!("{name},")).collect();
    let values: String = made.said.iter().map(|(_, value)| masking.number(*value) + ",").collect();
    let mut text = format!("time_s,{names}bits\n");
    let mut time = 0.0;
    for read in &made.reads {
        time = read.pulses.first().map_or(time + PAUSE, |pulse| pulse.start as f64 / 1e9);
        let bits = masking.bits(&read.bits, made.layout_of(read));
        text += &format!("{time:.6},{values}{bits}\n");
        time = read.pulses.iter().map(Pulse::end).max().map_or(time, |end| end as f64 / 1e9);
    }
    text
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Refusal> {
    write_new(path, bytes).map_err(|error| {
        let place = Place { file: Some(path.display().to_string()), ..Place::default() };
        match error.kind() {
            std::io::ErrorKind::AlreadyExists => {
                Refusal::new("there is a file of that name, which stays as it is", "a new name")
                    .at(place)
            }
            _ => Refusal::new(
                format!("cannot be written: {error}"),
                "a new file in a folder that can be written to",
            )
            .at(place),
        }
    })
}

fn summary(
    args: &SimulateArgs,
    made: &Made,
    file: &str,
    truth: Option<&Path>,
    masking: Masking,
) -> String {
    let count = made.arrived().count();
    let empty = made.reads.len() - count;
    let reads = if count == 1 { "1 read".to_owned() } else { format!("{count} reads") };
    let mut text = format!("{reads} written to {file}.");
    if empty > 0 {
        text += &format!(" Of {empty} more nothing arrived.");
    }
    if let Some(truth) = truth {
        if !made.said.is_empty() {
            let values: Vec<String> = made
                .said
                .iter()
                .map(|(name, value)| format!("{name} {}", masking.number(*value)))
                .collect();
            text += &format!("\nThe cards presented are said to carry {}.", values.join(", "));
        }
        if let Some(keys) = &made.keys {
            text += &format!("\nThe keys pressed are said to be {}.", shown(&keys.said, masking));
        }
        text += &format!(
            "\nWhat is wrong, and what would you do? The answer is in {}.",
            truth.display()
        );
    } else {
        text += &fault(made);
    }
    if args.kind.is_capture() && count == 0 {
        text += "\nThe capture shows no pulse at all.";
    }
    text
}

/// What is wrong, in a sentence or two.
fn fault(made: &Made) -> String {
    let wire = made.fault.wire();
    let held = match made.fault.held() {
        Held::Rate(rate) => format!(" at a rate of {rate}"),
        Held::Short(short) => format!(", each bit taken for {}", taken_for(short)),
        Held::Padding(padding) => {
            format!(" at the {} to a multiple of {} bits", padded_at(padding), padding.multiple())
        }
        Held::Nothing | Held::Length(_) | Held::Lengths(_) => String::new(),
    };
    let Some(share) = made.fault.share() else {
        return match wire.is_none() {
            true => " Nothing is wrong.".to_owned(),
            false => format!(" The fault: {wire}{held}."),
        };
    };
    let all = made.reads.len();
    let those = (1..).zip(&made.reads).filter(|(_, read)| read.suffers == Some(true));
    let those: Vec<String> = those.map(|(number, _)| number.to_string()).collect();
    let does = match wire {
        Wire::ReadsMissing => "gives nothing",
        _ => "suffers it",
    };
    let who = match those.as_slice() {
        [] => format!("none of {all} presentations {does}"),
        [one] => format!("presentation {one} of {all} {does}"),
        more => format!(
            "presentations {} of {all} {}",
            more.join(", "),
            if wire == Wire::ReadsMissing { "give nothing" } else { "suffer it" }
        ),
    };
    format!(" The fault: {wire}{held}, with a share of {share}; {who}.")
}

fn object(
    args: &SimulateArgs,
    made: &Made,
    file: Option<&str>,
    truth: Option<&Path>,
    masking: Masking,
) -> json::Simulate {
    let limits = Limits::default();
    let rhythm = Rhythm::of(made.reads.iter().map(|read| &read.pulses[..]), &limits);
    let reads = made.reads.iter().map(|read| json::Read {
        bits: masking.bits(&read.bits, made.layout_of(read)),
        length: read.bits.len(),
        frame: read.frame.map(|at| at + 1),
        suffers: read.suffers,
        findings: found(&Evidence::of(&read.pulses, &rhythm))
            .map(|kind| kind.id().to_owned())
            .collect(),
    });
    let hides_keys = made.keys.is_some() && masking.is_on();
    let frames = made.frames.iter().map(|(layout, frame)| json::Frame {
        layout: layout.name().to_owned(),
        bits: masking.bits(frame, Some(layout)),
        fields: {
            let value = |field: &misread::layout::Field| {
                let value = FieldValue::new(field.value_in(frame), masking);
                (field.name().to_owned(), value)
            };
            // A key has no more digits than may be shown of a card's number.
            let shown = layout.fields().iter().filter(|_| !hides_keys);
            Fields(shown.map(value).collect())
        },
    });
    let held = made.fault.held();
    let keys = made.keys.as_ref().map(|keys| json::Keys {
        said: shown(&keys.said, masking),
        pressed: keys.pressed.as_ref().map(|pressed| shown(pressed, masking)),
    });
    let said = made.said.iter();
    let said = said.map(|(name, value)| (name.clone(), FieldValue::new(Some(*value), masking)));
    json::Simulate {
        schema: json::Simulate::SCHEMA,
        file: file.map(str::to_owned),
        truth: truth.map(|truth| truth.display().to_string()),
        seed: args.seed,
        cause: made.fault.wire().to_string(),
        rate: if let Held::Rate(rate) = held { Some(rate) } else { None },
        share: made.fault.share(),
        taken_for: match held {
            Held::Short(short) => Some(taken_for(short).to_owned()),
            _ => None,
        },
        padding: match held {
            Held::Padding(padding) => {
                Some(json::Padding { at: padded_at(padding).to_owned(), to: padding.multiple() })
            }
            _ => None,
        },
        card: made.card.map(|card| card.id().to_owned()),
        presented: made.whose.map(|whose| whose.id().to_owned()),
        layout: made.layout.as_ref().map(|layout| layout.name().to_owned()),
        expected: (!made.said.is_empty()).then(|| Fields(said.collect())),
        keys,
        frames: frames.collect(),
        reads: reads.collect(),
    }
}

/// Keys as text; masked, each is hidden.
fn shown(keys: &[Key], masking: Masking) -> String {
    keys.iter().map(|key| if masking.is_on() { '•' } else { key.as_char() }).collect()
}

fn found(evidence: &Evidence) -> impl Iterator<Item = FindingKind> {
    let any = |found: [Option<bool>; 2]| found.contains(&Some(true));
    [
        (FindingKind::LinesOverlap, evidence.lines_overlap == Some(true)),
        (FindingKind::ShortPulse, any(evidence.short_pulse)),
        (FindingKind::DoublePulse, any(evidence.double_pulse)),
        (FindingKind::MissingBeat, evidence.missing_beat == Some(true)),
    ]
    .into_iter()
    .filter(|&(_, found)| found)
    .map(|(kind, _)| kind)
}

fn taken_for(short: Short) -> &'static str {
    match short {
        Short::ZeroOne => "01",
        Short::OneZero => "10",
        Short::Zero => "0",
        Short::One => "1",
    }
}

fn padded_at(padding: Padding) -> &'static str {
    if padding.is_at_start() { "start" } else { "end" }
}
