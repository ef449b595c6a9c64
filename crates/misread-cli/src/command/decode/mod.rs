//! `misread decode`: from reads to the numbers on the cards.

pub(crate) mod answer;
mod table;

use clap::Args;
use misread::Bits;
use misread::bits::{HexRead, ReadText, parse_read_text};
use misread::file::{Entry, hex_readings};
use misread::layout::{Check, CheckOutcome, Kind};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{COLUMNS, Drawing, Ink, Line, Marked, wrap};
use crate::json::{self, FieldValue, Fields};
use crate::masking::Masking;
use crate::reads::{self, Item, ReadArgs, Reads};
use crate::refusal::Refusal;
use crate::values;

use answer::Answer;

const EXAMPLES: &str = "\
Examples:
  The slipway gate's reader sent this; what is on the card?
    misread decode 10010101000000100110100100
  The fuel berth's panel logged it in hexadecimal, 26 bits:
    misread decode 0x95026900/26
  Only one layout will do:
    misread decode --layout open-26 10010101000000100110100100
  The panel shows numbers and no bits:
    misread decode --layout open-26 --shown facility=213,card=64301
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
    /// Numbers a panel shows, such as facility=213,card=64301, in place of
    /// reads; every bit it does not show is unread
    #[arg(
        long,
        value_name = "FIELD=VALUE,…",
        requires = "layout",
        conflicts_with_all = ["read", "reads_file"]
    )]
    shown: Option<String>,
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
    let masking = context.masking;
    let chosen = args.layout.as_deref().map(|name| known.named(name)).transpose()?;
    let chosen = chosen.as_deref();
    if let (Some(text), Some(entry)) = (&args.shown, chosen) {
        let bits = values::read_shown(&entry.layout, &values::parse(text, masking)?, masking)?;
        let text = bits.to_string();
        let reads = Reads::Typed { texts: vec![text], joined: None };
        return decode(args, reads, known, chosen, context);
    }
    decode(args, args.reads.open()?, known, chosen, context)
}

fn decode(
    args: &DecodeArgs,
    reads: Reads,
    known: &Known,
    chosen: Option<&Entry>,
    context: &mut Context,
) -> Outcome {
    let single = reads.known_count() == Some(1);
    let mut work =
        Work { known, entries: known.best_first(), chosen, context, status: Status::Good };
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
    known: &'a Known,
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
            ReadText::Hex(hex) => {
                Err(hexadecimal(&hex, &item, candidates(self.known, self.chosen), masking))
            }
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

/// The layouts hexadecimal may be read with: the chosen one, or all.
fn candidates<'a>(known: &'a Known, chosen: Option<&'a Entry>) -> &'a [Entry] {
    chosen.map_or(known.entries(), std::slice::from_ref)
}

/// Hexadecimal without a length, and what it can be.
pub(crate) fn hexadecimal(
    hex: &HexRead,
    item: &Item<'_>,
    entries: &[Entry],
    masking: Masking,
) -> Refusal {
    let bits = hex.bits();
    let digits: String = bits.hex().to_string().chars().take(bits.len().div_ceil(4)).collect();
    let mut found = hex_readings(hex, entries);
    found.sort_by(|a, b| b.entry.weight().total_cmp(&a.entry.weight()));
    let length = found.first().map_or(bits.len(), |reading| reading.bits.len());
    let readings = found.iter().map(|reading| {
        let layout = &reading.entry.layout;
        // The digits with their length where that is plain, else the bits.
        let short = format!("0x{digits}/{}", reading.bits.len());
        let plain = parse_read_text(&short) == Ok(ReadText::Bits(reading.bits));
        let text = if plain {
            format!("0x{}/{}", masking.pasted(&digits), reading.bits.len())
        } else {
            masking.pasted(&reading.bits.to_string())
        };
        let fields = answer::fields(layout, &reading.bits, masking);
        json::Reading {
            text,
            layout: layout.name().to_owned(),
            // The last digits under several layouts would add up to more than
            // the last digits.
            says: if masking.is_on() {
                layout.name().to_owned()
            } else {
                format!("{}: {fields}", layout.name())
            },
        }
    });
    Refusal {
        excerpt: Some((masking.pasted(item.text), item.text.trim_end().chars().count())),
        readings: readings.collect(),
        ..Refusal::new(
            "hexadecimal without its length can be more than one read",
            format!("its length in bits behind it, such as /{length}"),
        )
        .at(item.place.clone())
    }
}

/// The answer in one sentence.
pub(crate) fn first_line(bits: &Bits, answer: &Answer<'_>, masking: Masking) -> String {
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
        let also = if answer.fits { "also fits" } else { "it does fit" };
        say(format!("{also} {}", names.join(", ")));
    }
    if let Some(joined) = item.joined {
        say(format!("{joined} groups joined into one read; --separate takes them apart"));
    }
    lines.push(Line::default());
    let marks = answer.nearest.map(|layout| Marked::failures(layout, bits)).unwrap_or_default();
    lines.extend(Drawing { bits, layout: answer.nearest, marks, masking }.lines());
    if !answer.ok {
        lines.push(Line::default());
        let next = "Next: misread explain and the same read, for the cause and what to do.";
        lines.push(Line::new(Ink::Plain, next));
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
