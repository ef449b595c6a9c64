//! `misread decode`: from reads to the numbers on the cards.

mod answer;
mod table;

use clap::Args;
use misread::Bits;
use misread::bits::ReadText;
use misread::layout::{Check, CheckOutcome, Kind};

use crate::catalogue::{Entry, Known};
use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{COLUMNS, Drawing, Ink, Line, Marked, wrap};
use crate::json::{self, FieldValue, Fields};
use crate::masking::Masking;
use crate::reads::{self, Item, ReadArgs};
use crate::refusal::Refusal;

use answer::Answer;

const EXAMPLES: &str = "\
Examples:
  The slipway gate's reader sent this; what is on the card?
    misread decode 10010101000000100110100100
  The fuel berth's panel logged it in hexadecimal, 26 bits:
    misread decode 0x95026900/26
  Only one layout will do:
    misread decode --layout open-26 10010101000000100110100100
  A morning's log from the sail loft, a read a line:
    misread decode --reads sail-loft.txt

Exit status: 0 every read is good, 1 a read fits no layout or fails a check, \
2 something could not be read.";

/// From reads to the numbers on the cards
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct DecodeArgs {
    #[command(flatten)]
    reads: ReadArgs,
    /// The layout to decode with: a name or a layout file. Without it, the
    /// likeliest of the known layouts that fit
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// Answer in CSV, a row a read: line, bits, length, layout, ok, then a
    /// column for each field of --layout; without --layout one column of
    /// name=value pairs. The fields of a read that does not fit are empty.
    /// Lines that are no reads are named on standard error, the first 20 in
    /// full and then their number
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

/// Runs it.
pub(crate) fn run(args: &DecodeArgs, known: &Known, context: &mut Context) -> Outcome {
    let chosen = args.layout.as_deref().map(|name| known.named(name)).transpose()?;
    let reads = args.reads.open()?;
    let single = reads.known_count() == Some(1);
    let mut work = Work { entries: known.best_first(), chosen, context, status: Status::Good };
    if args.csv {
        return table::run(reads, work);
    }
    reads.for_each(
        &mut work,
        |work, item| work.one(item, single),
        |work| Ok::<(), Stop>(work.context.out.flush()?),
    )?;
    Ok(work.status)
}

struct Work<'a> {
    entries: Vec<&'a Entry>,
    chosen: Option<&'a Entry>,
    context: &'a mut Context,
    status: Status,
}

impl Work<'_> {
    fn one(&mut self, item: Result<Item<'_>, Refusal>, single: bool) -> Result<(), Stop> {
        let masking = self.context.masking;
        let read = item.and_then(|item| match reads::parse(&item, masking)? {
            ReadText::Bits(bits) => Ok((bits, item)),
            ReadText::Hex(_) => Err(hexadecimal(&item)),
        });
        let (bits, item) = match read {
            Ok(read) => read,
            Err(refusal) => {
                self.status = Status::Refused;
                return Ok(self.context.refuse(&refusal)?);
            }
        };
        let answer = answer::answer(&bits, &self.entries, self.chosen, masking);
        self.status = self.status.max(Status::of(answer.ok));
        if self.context.json {
            self.context.out.json(&object(&bits, &answer, &item, masking))?;
        } else if single {
            self.context.out.lines(&picture(&bits, &answer, &item, masking))?;
        } else {
            let number = item.place.line.or(item.place.read.map(|read| read as u64));
            let number = number.unwrap_or_default();
            let text = format!("{number:>4}  {}", first_line(&bits, &answer, masking));
            self.context.out.text(&text)?;
        }
        Ok(())
    }
}

/// Hexadecimal without a length.
fn hexadecimal(item: &Item<'_>) -> Refusal {
    Refusal::new(
        "hexadecimal without a length can be more than one read",
        "the length behind it, such as /26",
    )
    .at(item.place.clone())
}

/// The answer in one sentence.
fn first_line(bits: &Bits, answer: &Answer<'_>, masking: Masking) -> String {
    let problem = answer.problem.as_deref().unwrap_or_default();
    match answer.entry {
        Some(entry) if answer.fits => {
            let fields = answer::fields(&entry.layout, bits, masking);
            let but = if answer.ok { "" } else { ", but " };
            format!("{}: {fields}{but}{problem}", entry.name())
        }
        _ => problem.to_owned(),
    }
}

fn picture(bits: &Bits, answer: &Answer<'_>, item: &Item<'_>, masking: Masking) -> Vec<Line> {
    let mut lines: Vec<Line> = wrap(&first_line(bits, answer, masking), COLUMNS)
        .into_iter()
        .map(|text| Line::new(Ink::Strong, text))
        .collect();
    let mut say = |text: String| {
        lines.extend(wrap(&text, COLUMNS).into_iter().map(|text| Line::new(Ink::Plain, text)));
    };
    if !answer.also.is_empty() {
        let names: Vec<&str> = answer.also.iter().map(|entry| entry.name()).collect();
        say(format!("also fits {}", names.join(", ")));
    }
    if let Some(joined) = item.joined {
        say(format!("{joined} groups joined into one read; --separate takes them apart"));
    }
    lines.push(Line::default());
    let marks = answer.nearest.map(|layout| Marked::failures(layout, bits)).unwrap_or_default();
    lines.extend(Drawing { bits, layout: answer.nearest, marks, masking }.lines());
    if !answer.ok {
        lines.push(Line::default());
        lines.push(Line::new(
            Ink::Plain,
            "`misread explain` and the same read: what could have caused this, and what to do.",
        ));
    }
    lines
}

fn object(bits: &Bits, answer: &Answer<'_>, item: &Item<'_>, masking: Masking) -> json::Decode {
    let layout = answer.entry.map(|entry| &entry.layout);
    let same_length = layout.filter(|layout| layout.bits() == bits.len());
    let fields = layout.filter(|_| answer.fits).map_or_else(Vec::new, |layout| {
        let values = layout
            .fields()
            .iter()
            .map(|field| (field.name().to_owned(), FieldValue::new(field.value_in(bits), masking)));
        values.collect()
    });
    json::Decode {
        schema: json::Decode::SCHEMA,
        bits: masking.bits(bits, same_length),
        length: bits.len(),
        layout: layout.map(|layout| layout.name().to_owned()),
        ok: answer.ok,
        fields: Fields(fields),
        checks: same_length.map_or_else(Vec::new, |layout| {
            layout.checks().map(|check| check_object(check, bits, masking)).collect()
        }),
        also: answer.also.iter().map(|entry| entry.name().to_owned()).collect(),
        problem: answer.problem.clone(),
        line: item.place.line,
        joined: item.joined,
    }
}

fn check_object(check: Check<'_>, bits: &Bits, masking: Masking) -> json::Check {
    json::Check {
        kind: match check {
            Check::Parity(rule) if rule.kind() == Kind::Even => json::CheckKind::Even,
            Check::Parity(_) => json::CheckKind::Odd,
            Check::Fixed(_) => json::CheckKind::Fixed,
            Check::Value(..) => json::CheckKind::Value,
            Check::Range(..) => json::CheckKind::Range,
            Check::Digit(_) => json::CheckKind::Digit,
        },
        bits: check.bits().indices().map(|index| index + 1).collect(),
        ok: match check.outcome(bits) {
            CheckOutcome::Holds => Some(true),
            CheckOutcome::Fails => Some(false),
            CheckOutcome::Open => None,
        },
        says: answer::describe(check, masking),
    }
}
