//! `misread numbers`: why the number on the card is the number on the screen.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use misread::Layout;
use misread::numbers::{
    Base, End, Explained, Held, MOST_STEPS, Pair, PairError, PairProblem, Path as Chain, Written,
    WrittenError, WrittenProblem, explain, parse_written, read_pairs, replay,
};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status};
use crate::draw::{Ink, Line, hanging};
use crate::json::Place;
use crate::json_layout as json;
use crate::masking::Masking;
use crate::refusal::Refusal;
use crate::words::{self, lower, percent};

const EXAMPLES: &str = "\
Examples:
  The card for the sail loft says 0012345678, the panel 188,24910:
    misread numbers --printed 0012345678 --shown 188,24910
  Three cards, printed and shown, in a table:
    misread numbers --pairs cards.csv

Exit status: 0 a chain of steps leads from what is printed to what is shown, 1
none of those tried does, 2 something could not be read.";

/// Why the number on the card is the number on the screen
///
/// Tries every chain of up to three steps: decimal and hexadecimal, 3,5
/// digits, facility code and card run together or joined, bits cut off or
/// turned over, bytes reversed, parity kept or dropped, the wrong layout.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct NumbersArgs {
    /// The number on the card: 0012345678, 0xBC614E, or facility code and card
    /// (188,24910)
    #[arg(
        long,
        value_name = "NUMBER",
        requires = "shown",
        required_unless_present = "pairs",
        allow_hyphen_values = true
    )]
    printed: Option<String>,
    /// The number on the screen, in the same forms
    #[arg(long, value_name = "NUMBER", requires = "printed", allow_hyphen_values = true)]
    shown: Option<String>,
    /// A table of pairs with the headings printed and shown; only what
    /// explains all of them is kept
    #[arg(long, value_name = "FILE", conflicts_with_all = ["printed", "shown"])]
    pairs: Option<PathBuf>,
}

/// How many other chains are shown, and how heavy they must be.
const MOST_OTHERS: usize = 5;
const WORTH_A_LINE: f64 = 0.005;

/// Luck below this is not worth a line.
const WORTH_SAYING: f64 = 0.01;

/// How many pairs a chain is followed on.
const MOST_PAIRS: usize = 5;

/// Runs it.
pub(crate) fn run(args: &NumbersArgs, known: &Known, context: &mut Context) -> Outcome {
    let masking = context.masking;
    let (asked, refused) = match (&args.pairs, &args.printed, &args.shown) {
        (Some(path), ..) => from_table(path, masking)?,
        (None, Some(printed), Some(shown)) => (vec![typed(printed, shown, masking)?], Vec::new()),
        _ => return Err(Refusal::new("there is no number", "--printed and --shown").into()),
    };
    for refusal in &refused {
        context.refuse(refusal)?;
    }
    if asked.is_empty() {
        return Err(Refusal::new("there is no pair to explain", "a line with both numbers").into());
    }
    let layouts: Vec<&Layout> = known.entries().iter().map(|entry| &entry.layout).collect();
    let pairs: Vec<Pair> = asked.iter().map(|asked| asked.pair).collect();
    let explained = explain(&pairs, &layouts);
    if context.json {
        context.out.json(&object(&asked, &explained, masking))?;
    } else {
        context.out.lines(&lines(&asked, &explained, masking))?;
    }
    if !refused.is_empty() {
        return Ok(Status::Refused);
    }
    Ok(Status::of(!explained.paths.is_empty()))
}

/// A pair as it was written.
struct Asked {
    printed: String,
    shown: String,
    pair: Pair,
}

/// A number as typed behind a flag.
///
/// # Errors
///
/// Text that is no number, with its place.
pub(crate) fn written(flag: &str, text: &str, masking: Masking) -> Result<Written, Refusal> {
    parse_written(text).map_err(|error| {
        let place = Place { column: Some(error.column as u64), ..Place::default() };
        Refusal {
            excerpt: Some((masking.pasted(text), error.column - 1)),
            ..Refusal::new(format!("{flag}: {}", problem(&error, masking)), error.expected())
                .at(place)
        }
    })
}

fn typed(printed: &str, shown: &str, masking: Masking) -> Result<Asked, Refusal> {
    let pair = Pair {
        printed: written("--printed", printed, masking)?,
        shown: written("--shown", shown, masking)?,
    };
    Ok(Asked { printed: printed.trim().to_owned(), shown: shown.trim().to_owned(), pair })
}

fn from_table(path: &Path, masking: Masking) -> Result<(Vec<Asked>, Vec<Refusal>), Refusal> {
    let file = path.display().to_string();
    let place = |line| Place { file: Some(file.clone()), line, ..Place::default() };
    let table = fs::read(path).map_err(|error| {
        Refusal::new(format!("cannot be read: {error}"), "a table of printed and shown numbers")
            .at(place(None))
    })?;
    let read = read_pairs(&table);
    let refusal = |error: &PairError| {
        let cell = error.cell.as_ref().map(|cell| format!("cell {cell}: ")).unwrap_or_default();
        let says = match &error.problem {
            PairProblem::Written { error, .. } if masking.is_on() => problem(error, masking),
            problem => problem.to_string(),
        };
        Refusal::new(format!("{cell}{says}"), error.expected()).at(place(Some(error.line)))
    };
    let refused: Vec<Refusal> = read.refused.iter().map(refusal).collect();
    let asked = read
        .pairs
        .into_iter()
        .map(|found| Asked { printed: found.printed, shown: found.shown, pair: found.pair })
        .collect();
    Ok((asked, refused))
}

/// What is wrong with a number; the place stands before it.
fn problem(error: &WrittenError, masking: Masking) -> String {
    match &error.problem {
        WrittenProblem::Empty => "no number is written".to_owned(),
        WrittenProblem::Character { .. } if masking.is_on() => {
            "a character is no part of a number".to_owned()
        }
        WrittenProblem::Character { found } => format!("‘{found}’ is no part of a number"),
        WrittenProblem::TooLarge => "the number is over 64 bits".to_owned(),
    }
}

fn lines(asked: &[Asked], explained: &Explained, masking: Masking) -> Vec<Line> {
    let mut lines = Vec::new();
    let several = asked.len() > 1;
    let Some((best, others)) = explained.paths.split_first() else {
        let says = if several {
            "No chain of steps makes every printed number the one that is shown: some of these \
             are not the same card, or bits were lost on the way."
        } else {
            "No chain of steps makes the printed number the one that is shown: they are not the \
             same card, or bits were lost on the way."
        };
        lines.extend(hanging(Ink::Strong, "", says));
        lines.extend(hanging(
            Ink::Plain,
            "",
            "Next: present the card again, and give the bits of the read to misread explain.",
        ));
        lines.push(Line::default());
        lines.extend(hanging(Ink::Plain, "", &searched(explained)));
        return lines;
    };
    let agree = if several { "Every pair agrees" } else { "The two numbers agree" };
    let sure = format!("{agree} ({} sure of how): {}", percent(best.weight), lower(&best.says));
    lines.extend(hanging(Ink::Strong, "", &sure));
    for asked in asked.iter().take(MOST_PAIRS) {
        lines.extend(hanging(Ink::Plain, "  ", &followed(best, asked, masking)));
    }
    let others: Vec<&Chain> =
        others.iter().filter(|path| path.weight >= WORTH_A_LINE).take(MOST_OTHERS).collect();
    if !others.is_empty() {
        lines.push(Line::default());
        lines.push(Line::new(Ink::Strong, "It could also be:"));
        for path in others {
            let lead = format!("  {:>5}  ", percent(path.weight));
            lines.extend(hanging(Ink::Plain, &lead, &path.says));
        }
    }
    if let Some(further) = &explained.further
        && further.pairs > 0
    {
        let printed: Vec<String> =
            further.examples.iter().map(|written| written_text(written, masking)).collect();
        let pairs = words::count(further.pairs, "more pair");
        let which = match further.any {
            any if any >= 0.9 => "nearly any other card will do".to_owned(),
            _ if masking.is_on() => "some cards tell more than others".to_owned(),
            _ => format!("such as of a card printed {}", words::list(&printed)),
        };
        lines.push(Line::default());
        let says = format!("{pairs} would leave one of them with 99%: {which}.");
        lines.extend(hanging(Ink::Plain, "", &says));
    }
    if let Some(luck) = explained.by_luck.filter(|&luck| luck >= WORTH_SAYING) {
        lines.push(Line::default());
        let says = format!(
            "Take care: {} of unrelated numbers this long would be explained by luck. Try another \
             card.",
            percent(luck)
        );
        lines.extend(hanging(Ink::Alert, "", &says));
    }
    lines.push(Line::default());
    lines.extend(hanging(Ink::Plain, "", &searched(explained)));
    lines
}

fn searched(explained: &Explained) -> String {
    let left_out = match explained.layouts_left_out.as_slice() {
        [] => String::new(),
        names => format!("; not with frames of {}", words::list(names)),
    };
    format!(
        "Tried every chain of up to {MOST_STEPS} steps that applies, {} of them, with frames of \
         {}{left_out}.",
        explained.tried,
        words::list(&explained.layouts)
    )
}

/// A pair, stop by stop.
fn followed(path: &Chain, asked: &Asked, masking: Masking) -> String {
    let mut stops = vec![number_text(&asked.printed, masking)];
    for len in 1..=path.steps.len() {
        let stop = replay(path.steps.get(..len).unwrap_or_default(), &asked.pair.printed);
        stops.extend(stop.map(|end| number_text(&end.to_string(), masking)));
    }
    if path.steps.is_empty() {
        stops.push(number_text(&asked.shown, masking));
    }
    stops.join(" → ")
}

/// Every number in a text, masked where numbers are.
fn number_text(text: &str, masking: Masking) -> String {
    let parts: Vec<String> = text
        .split_inclusive(|c: char| !c.is_alphanumeric())
        .map(|part| {
            let digits = part.trim_end_matches(|c: char| !c.is_alphanumeric());
            format!("{}{}", masking.digits(digits), &part[digits.len()..])
        })
        .collect();
    parts.concat()
}

fn written_text(written: &Written, masking: Masking) -> String {
    let held = match *written {
        Written::Two { facility, card } => Held::Two { facility, card },
        Written::Number { decimal: Some(number), .. }
        | Written::Number { hexadecimal: Some(number), .. } => Held::Number(number),
        Written::Number { .. } => return String::new(),
    };
    let digits = match written {
        Written::Number { digits, .. } => Some(*digits),
        Written::Two { .. } => None,
    };
    let text = End { held, base: written.base(), digits }.to_string();
    let mark = if written.base() == Base::Hexadecimal { "0x" } else { "" };
    format!("{mark}{}", number_text(&text, masking))
}

fn object(asked: &[Asked], explained: &Explained, masking: Masking) -> json::Numbers {
    let pairs: Vec<json::NumberPair> = asked
        .iter()
        .map(|asked| json::NumberPair {
            printed: number_text(&asked.printed, masking),
            shown: number_text(&asked.shown, masking),
        })
        .collect();
    let only = |text: fn(&json::NumberPair) -> &String| match pairs.as_slice() {
        [one] => Some(text(one).clone()),
        _ => None,
    };
    json::Numbers {
        schema: json::Numbers::SCHEMA,
        printed: only(|pair| &pair.printed),
        shown: only(|pair| &pair.shown),
        paths: explained
            .paths
            .iter()
            .map(|path| json::NumberPath {
                steps: path.ids(),
                says: path.says.clone(),
                weight: path.weight,
                alike: path.alike,
            })
            .collect(),
        searched: json::Searched {
            chains: explained.tried,
            most_steps: MOST_STEPS,
            layouts: explained.layouts.clone(),
            layouts_left_out: explained.layouts_left_out.clone(),
            by_luck: explained.by_luck,
            chains_left_out: explained.left_out,
        },
        further: explained.further.as_ref().map(|further| json::NumberFurther {
            pairs: further.pairs,
            examples: further
                .examples
                .iter()
                .map(|written| written_text(written, masking))
                .collect(),
            any: further.any,
        }),
        pairs,
    }
}
