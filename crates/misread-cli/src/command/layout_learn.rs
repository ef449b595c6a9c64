//! `misread layout learn`: a layout from a few cards.

use std::io::{BufReader, ErrorKind};
use std::path::{Path, PathBuf};

use clap::Args;
use misread::Turn;
use misread::diagnose::Numbers;
use misread::file::{LineError, LineProblem, TableRead, read_any, read_cards, write_new};
use misread::layout::Span;
use misread::learn::{Claim, Learned, NextSample, Open, Sample, Wishes, document, learn};

use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{COLUMNS, Ink, Line, draw_open_layout, wrap};
use crate::json::{FieldValue, Fields, Place};
use crate::json_learn::{
    LayoutLearn, LearnAdded, LearnAside, LearnCandidate, LearnNext, LearnOpen, Taken,
};
use crate::masking::Masking;
use crate::reads::open_file;
use crate::refusal::Refusal;
use crate::words;

const EXAMPLES: &str = "\
Examples:
  The sail loft's cards came without papers. Six of them, with their numbers,
  in a table with the headings bits,facility,card:
    misread layout learn sail-loft.csv
  Keep what was learned, the card number stated where the cards leave it open:
    misread layout learn sail-loft.csv --assume card=10-25 --write loft.toml

The number printed on a card whose parts nobody knows goes under the heading
printed. Cells may be empty.

Exit status: 0 the numbers are settled, 1 something they depend on is open, 2
the table or the command line was wrong.";

/// Work a layout out from a few cards
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct LearnArgs {
    /// A table of reads with the numbers that are known of the cards
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// A table of the cards at hand, to choose the next one from
    #[arg(long, value_name = "FILE")]
    cards: Option<PathBuf>,
    /// Where a field stands, as a layout lists its bits: card=10-25. Once for
    /// each field
    #[arg(long, value_name = "FIELD=BITS")]
    assume: Vec<String>,
    /// The layout's name
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Write the layout to a new file, with the parity rules that are settled
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Write the likeliest layout whatever is open
    #[arg(long, requires = "write")]
    anyway: bool,
}

/// Runs it.
pub(crate) fn run(args: &LearnArgs, context: &mut Context) -> Outcome {
    let samples = samples(&args.file, context)?;
    let wishes = Wishes {
        name: args.name.clone().unwrap_or_default(),
        assume: args.assume.iter().map(|text| assumed(text)).collect::<Result<_, _>>()?,
        cards: match &args.cards {
            Some(path) => cards(path, context.masking)?,
            None => Vec::new(),
        },
        numbers: if context.masking.is_on() { Numbers::Masked } else { Numbers::Shown },
    };
    let file = args.file.display().to_string();
    let answers = learn(&samples, &wishes).map_err(|error| {
        Refusal::new(error.to_string(), error.expected())
            .at(Place { file: Some(file.clone()), ..Place::default() })
    })?;
    let mut written = None;
    if let Some(target) = &args.write {
        write(target, &answers, args)?;
        written = Some(target.display().to_string());
    }
    for (i, learned) in answers.iter().enumerate() {
        if context.json {
            context.out.json(&object(learned, context.masking, written.clone()))?;
        } else {
            if i > 0 {
                context.out.text("")?;
            }
            context.out.lines(&lines(learned, context.masking))?;
        }
    }
    if let (Some(written), false) = (written, context.json) {
        context.out.text(&format!("\nWritten to {written}."))?;
    }
    let open = answers.iter().flat_map(|learned| &learned.open).any(|open| open.decoding);
    Ok(Status::of(!open))
}

fn samples(path: &Path, context: &mut Context) -> Result<Vec<Sample>, Stop> {
    let (file, name) = open_file(path)?;
    let masking = context.masking;
    let refusal = |error: &LineError| refused(error, &name, masking);
    let rows = read_any(BufReader::new(file)).map_err(|error| refusal(&error))?;
    let mut samples = Vec::new();
    for row in rows {
        match row {
            Ok(row) => samples.push(Sample::from(row)),
            // One wrong line could make the rest look like another layout.
            Err(error) => return Err(refusal(&error).into()),
        }
    }
    Ok(samples)
}

fn cards(path: &Path, masking: Masking) -> Result<Vec<Vec<(String, u64)>>, Refusal> {
    let (file, name) = open_file(path)?;
    let refusal = |error: LineError| refused(&error, &name, masking);
    let rows = read_cards(file).map_err(refusal)?;
    let known = |row: Result<TableRead, LineError>| row.map(|row| row.expected).map_err(refusal);
    rows.map(known).collect()
}

fn refused(error: &LineError, file: &str, masking: Masking) -> Refusal {
    let place = Place {
        file: Some(file.to_owned()),
        line: Some(error.line as u64),
        column: error.column.map(|column| column as u64),
        ..Place::default()
    };
    let cell = error.cell.as_ref().map(|cell| format!("cell {cell}: ")).unwrap_or_default();
    let says = match &error.problem {
        LineProblem::Value { .. } if masking.is_on() => "not a number".to_owned(),
        LineProblem::HexLength(_) if masking.is_on() => "hexadecimal without its length".to_owned(),
        problem => problem.to_string(),
    };
    Refusal::new(cell + &says, error.expected()).at(place)
}

/// `card=10-25` or `card=17-24,9-16`.
fn assumed(text: &str) -> Result<(String, Vec<Span>), Refusal> {
    let refuse = |message: String| {
        Refusal::new(
            format!("--assume {text}: {message}"),
            "a field and its bits, such as card=10-25 or card=18-25,10-17",
        )
    };
    let (name, bits) = text.split_once('=').ok_or_else(|| refuse("there is no =".to_owned()))?;
    if name.trim().is_empty() {
        return Err(refuse("there is no field in front of =".to_owned()));
    }
    let spans = bits.split(',').map(|span| {
        let span = span.trim();
        span.parse::<Span>().map_err(|error| refuse(format!("‘{span}’ {error}")))
    });
    Ok((name.trim().to_owned(), spans.collect::<Result<_, _>>()?))
}

/// Writes the layout beside its place and moves it there; no file is replaced.
fn write(target: &Path, answers: &[Learned], args: &LearnArgs) -> Result<(), Refusal> {
    let refuse = |message: String, expected: &str| {
        Refusal::new(message, expected)
            .at(Place { file: Some(target.display().to_string()), ..Place::default() })
    };
    let [learned] = answers else {
        return Err(refuse(
            format!("the reads have {} different lengths, a layout has one", answers.len()),
            "a table of reads of one length",
        ));
    };
    let open = learned.open.iter().find(|open| open.decoding);
    if let (Some(open), false) = (open, args.anyway) {
        return Err(refuse(
            format!(
                "not written, for something that decoding depends on is open. {}",
                open.question
            ),
            "the next card, --assume for what you know, or --anyway",
        ));
    }
    let best = learned.candidates.first();
    let layout = match args.anyway {
        true => best.map(|candidate| &candidate.layout),
        false => learned.sure.as_ref(),
    };
    let layout = layout.ok_or_else(|| {
        refuse(
            "not written: the name given, or the bits stated, make no layout".to_owned(),
            "a name of letters, digits and dashes; every bit stated once",
        )
    })?;
    if best.is_some_and(|candidate| !candidate.offsets.is_empty()) && !args.anyway {
        return Err(refuse(
            "not written: a constant stands between a field and the number on the card, and a \
             layout cannot say so"
                .to_owned(),
            "--anyway, for a layout that gives the number in the frame",
        ));
    }
    let doc = document(layout);
    let text = match target.extension().is_some_and(|e| e.eq_ignore_ascii_case("json")) {
        true => doc.to_json() + "\n",
        false => doc.to_toml(),
    };
    write_new(target, text.as_bytes()).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            refuse("there is such a file already".to_owned(), "the name of a new file")
        }
        _ => refuse(format!("cannot be written: {error}"), "a place where files can be written"),
    })
}

fn lines(learned: &Learned, masking: Masking) -> Vec<Line> {
    let mut lines = heading(learned);
    if let Some(best) = learned.candidates.first() {
        lines.push(Line::default());
        let mut open: Vec<usize> =
            learned.open.iter().flat_map(|open| open.bits.iter().copied()).collect();
        open.sort_unstable();
        open.dedup();
        lines.extend(draw_open_layout(&best.layout, &open));
        for (field, constant) in &best.offsets {
            let (sign, plain) =
                if *constant < 0 { ("less", -constant) } else { ("plus", *constant) };
            lines.push(Line::new(
                Ink::Plain,
                format!("  The number on the card is {field} {sign} {plain}."),
            ));
        }
    }
    section("Settled", &mut lines, learned.settled.iter().map(|said| said.says.clone()));
    section("Open", &mut lines, learned.open.iter().map(|open| question(open, masking)));
    let aside =
        learned.set_aside.iter().map(|aside| format!("Line {}: {}.", aside.line, aside.says));
    section("Set aside", &mut lines, aside);
    if let Some(next) = &learned.next {
        let next = format!("Present {}: {}.", card(next, masking), gain(next));
        section("Next", &mut lines, [next]);
    }
    lines
}

fn heading(learned: &Learned) -> Vec<Line> {
    let decoding = learned.open.iter().filter(|open| open.decoding).count();
    let other = learned.open.len() - decoding;
    let verdict = match (decoding, other) {
        (0, 0) => "the layout is settled".to_owned(),
        (0, _) => "the numbers are settled; some checks are open".to_owned(),
        (1, _) => "one thing the numbers depend on is open".to_owned(),
        (n, _) => format!("{n} things the numbers depend on are open"),
    };
    // The fault comes before the layout: every card of the site suffers it.
    let inverted = learned.settled.iter().any(|said| said.claim == Claim::Inverted);
    let fault = if inverted { ", all turned over (D0 and D1 swapped?)" } else { "" };
    let text = format!(
        "{} of {}{fault}: {verdict}",
        words::count(learned.samples, "read"),
        words::count(learned.length, "bit")
    );
    wrap(&text, COLUMNS).into_iter().map(|text| Line::new(Ink::Strong, text)).collect()
}

fn section(title: &str, lines: &mut Vec<Line>, says: impl IntoIterator<Item = String>) {
    for (i, says) in says.into_iter().enumerate() {
        if i == 0 {
            lines.push(Line::default());
            lines.push(Line::new(Ink::Strong, title));
        }
        let texts = wrap(&says, COLUMNS - 4).into_iter().enumerate();
        lines.extend(texts.map(|(i, text)| {
            Line::new(Ink::Plain, format!("{}{text}", if i == 0 { "  - " } else { "    " }))
        }));
    }
}

fn question(open: &Open, masking: Masking) -> String {
    match &open.next_sample {
        Some(next) => {
            format!("{} {} would tell best.", open.question, capital(&card(next, masking)))
        }
        None => open.question.clone(),
    }
}

fn card(next: &NextSample, masking: Masking) -> String {
    let numbers: Vec<String> = next
        .card
        .iter()
        .map(|(name, number)| format!("{name} {}", masking.number(*number)))
        .collect();
    format!("a card with {}", numbers.join(", "))
}

fn gain(next: &NextSample) -> String {
    format!("it is expected to remove {:.1} bits of doubt", next.gain_bits)
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn object(learned: &Learned, masking: Masking, written: Option<String>) -> LayoutLearn {
    let next = |next: &NextSample| LearnNext {
        card: Fields(
            next.card
                .iter()
                .map(|(name, number)| (name.clone(), FieldValue::new(Some(*number), masking)))
                .collect(),
        ),
        gain_bits: next.gain_bits,
    };
    LayoutLearn {
        schema: LayoutLearn::SCHEMA,
        samples: learned.samples,
        length: learned.length,
        candidates: learned
            .candidates
            .iter()
            .map(|candidate| LearnCandidate {
                layout: document(&candidate.layout),
                weight: candidate.weight,
                added: candidate
                    .offsets
                    .iter()
                    .map(|(field, constant)| LearnAdded {
                        field: field.clone(),
                        constant: constant.to_string(),
                    })
                    .collect(),
            })
            .collect(),
        settled: learned.settled.iter().map(|said| said.says.clone()).collect(),
        open: learned
            .open
            .iter()
            .map(|open| LearnOpen {
                question: open.question.clone(),
                next_sample: open.next_sample.as_ref().map(next),
                decoding: open.decoding,
                bits: open.bits.iter().map(|index| index + 1).collect(),
            })
            .collect(),
        set_aside: learned
            .set_aside
            .iter()
            .map(|aside| LearnAside { line: aside.line, says: aside.says.clone() })
            .collect(),
        listed: learned.listed,
        taken: match learned.turn {
            Turn::AsReceived => Taken::AsReceived,
            Turn::Inverted => Taken::Inverted,
            Turn::Reversed => Taken::Reversed,
            Turn::InvertedReversed => Taken::InvertedReversed,
        },
        next: learned.next.as_ref().map(next),
        written,
    }
}
