//! `misread layout clash`: enrolled cards that a panel takes for each other.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use clap::Args;
use misread::Layout;
use misread::clash::{
    CardError, CardProblem, Cards, Clashes, Offer, ReadCards, ReadError, Setting, clashes,
    largest_safe, offers, read_cards,
};

use crate::catalogue::Known;
use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{Ink, Line, hanging};
use crate::json::{FieldValue, Fields, Place};
use crate::json_layout as json;
use crate::masking::Masking;
use crate::meter::Meter;
use crate::refusal::Refusal;
use crate::words;

const EXAMPLES: &str = "\
Examples:
  The panel at the fuel berth keeps only sixteen bits. Does any card open as
  another?
    misread layout clash --cards cards.csv --layout site-34 --panel low-16
  What is the safest it could be set to?
    misread layout clash --cards cards.csv --panel low-16 \\
      --offers low-16,low-24,low-32

Settings: whole, no-facility, low-16 (the low 1 to 64 bits of the fields
joined), digits-5 (its last 1 to 19 decimal digits), a layout that the panel
reads with instead of the card's own, or both: serial-34/low-16.

Exit status: 0 every card opens as itself, 1 some do not, 2 something could
not be read.";

/// Which enrolled cards a panel takes for each other
///
/// A panel that keeps only part of what a card carries cannot tell all cards
/// apart, and one card opens for another.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct LayoutClashArgs {
    /// The enrolled cards: a table with a line of headings, a column for each
    /// field, and one named layout where cards differ. `-` stands for standard
    /// input
    #[arg(long, value_name = "FILE")]
    cards: PathBuf,
    /// The layout of every card that names none: a name or a layout file
    #[arg(long, value_name = "LAYOUT")]
    layout: Option<String>,
    /// How the panel reads cards: a setting, see below
    #[arg(long, value_name = "SETTING", default_value = "whole")]
    panel: String,
    /// The settings the panel offers, separated by commas; the usual ones
    /// where none are named
    #[arg(long, value_name = "SETTING", value_delimiter = ',')]
    offers: Vec<String>,
}

/// How many groups, and how many cards of each, are shown.
const MOST_GROUPS: usize = 20;
const MOST_CARDS: usize = 10;

/// Runs it.
pub(crate) fn run(args: &LayoutClashArgs, known: &Known, context: &mut Context) -> Outcome {
    let for_all = args.layout.as_ref().map(|name| known.named(name)).transpose()?;
    let for_all: Option<&Layout> = for_all.as_ref().map(|entry| &entry.layout);
    let mut layouts: Vec<&Layout> = known.entries().iter().map(|entry| &entry.layout).collect();
    layouts.extend(for_all.filter(|own| layouts.iter().all(|other| other.name() != own.name())));
    let setting = |text: &String| {
        Setting::parse(text, &layouts)
            .map_err(|error| Refusal::new(error.to_string(), error.expected()))
    };
    let panel = setting(&args.panel)?;
    let offered = match args.offers.as_slice() {
        [] => Setting::usual(),
        offers => offers.iter().map(setting).collect::<Result<_, _>>()?,
    };
    let file = (args.cards != Path::new("-")).then(|| args.cards.display().to_string());
    let table = bytes(&args.cards, file.as_deref())?;
    let mut meter = Meter::new("reading the cards");
    let read = read_cards(&table, &layouts, for_all, &mut |at| meter.show(at));
    meter.clear();
    let refuse = |error: &CardError| refusal(error, file.as_deref(), context_masking(context));
    let read = match read {
        Ok(read) => read,
        Err(ReadError::Headings(error)) => return Err(refuse(&error).into()),
        Err(ReadError::Stopped(_)) => return Ok(Status::Refused),
    };
    let refused: Vec<Refusal> = read.refused.iter().map(refuse).collect();
    for refusal in &refused {
        context.refuse(refusal)?;
    }
    let mut meter = Meter::new("comparing the cards");
    let found = clashes(&read.cards, &panel, &mut |at| meter.show(at)).map_err(stopped)?;
    let weighed = offers(&read.cards, &offered, &mut |at| meter.show(at)).map_err(stopped)?;
    meter.clear();
    let answer = Answer { read: &read, panel: &panel, found: &found, offers: &weighed };
    if context.json {
        context.out.json(&answer.object(context.masking))?;
    } else {
        context.out.lines(&answer.lines(context.masking))?;
    }
    if !refused.is_empty() {
        return Ok(Status::Refused);
    }
    Ok(Status::of(found.groups.is_empty() && found.unseen.is_empty()))
}

fn context_masking(context: &Context) -> Masking {
    context.masking
}

fn stopped(_: misread::clash::Stopped) -> Stop {
    Refusal::new("stopped", "").into()
}

fn bytes(path: &Path, file: Option<&str>) -> Result<Vec<u8>, Refusal> {
    let mut bytes = Vec::new();
    let read = match file {
        None => io::stdin().lock().read_to_end(&mut bytes),
        Some(_) => File::open(path).and_then(|mut file| file.read_to_end(&mut bytes)),
    };
    match read {
        Ok(_) => Ok(bytes),
        Err(error) => {
            let place = Place { file: file.map(str::to_owned), ..Place::default() };
            Err(Refusal::new(format!("cannot be read: {error}"), "a table of cards").at(place))
        }
    }
}

fn refusal(error: &CardError, file: Option<&str>, masking: Masking) -> Refusal {
    let cell = error.cell.as_ref().map(|cell| format!("cell {cell}: ")).unwrap_or_default();
    let problem = match &error.problem {
        CardProblem::Value { problem, .. } if masking.is_on() => format!("the value {problem}"),
        CardProblem::DoesNotFit { layout, found, max } if masking.is_on() => format!(
            "{} is over {max}, the largest that {layout} carries there",
            masking.number(*found)
        ),
        problem => problem.to_string(),
    };
    let place = Place { file: file.map(str::to_owned), line: Some(error.line), ..Place::default() };
    Refusal::new(format!("{cell}{problem}"), error.expected()).at(place)
}

struct Answer<'a> {
    read: &'a ReadCards,
    panel: &'a Setting,
    found: &'a Clashes,
    offers: &'a [Offer],
}

impl Answer<'_> {
    fn lines(&self, masking: Masking) -> Vec<Line> {
        let Answer { read, panel, found, offers } = self;
        let cards = &read.cards;
        let clashing: usize = found.groups.iter().map(|group| group.cards.len()).sum();
        let mut lines = hanging(Ink::Strong, "", &verdict(cards.len(), clashing, found));
        lines.extend(hanging(Ink::Plain, "", &format!("The panel reads {}.", panel.says())));
        if !read.passed_over.is_empty() {
            let columns = words::list(&read.passed_over);
            lines.extend(hanging(Ink::Plain, "", &format!("Passed over: {columns}.")));
        }
        for group in found.groups.iter().take(MOST_GROUPS) {
            let seen = named(&group.seen_as, masking);
            lines.push(Line::default());
            lines.extend(hanging(Ink::Strong, "", &format!("Seen as {seen}:")));
            let listed = group.cards.iter().take(MOST_CARDS);
            lines.extend(
                listed
                    .flat_map(|&card| hanging(Ink::Plain, "  ", &card_text(cards, card, masking))),
            );
            lines.extend(more(group.cards.len(), MOST_CARDS, "  ", "card"));
        }
        lines.extend(more(found.groups.len(), MOST_GROUPS, "", "group"));
        lines.extend(self.remarks());
        lines.push(Line::default());
        lines.extend(table(offers));
        lines.push(Line::default());
        let safest = match largest_safe(offers).and_then(|at| offers.get(at)) {
            Some(offer) => format!(
                "Largest safe setting of these: {}. After changing it, present one card of each \
                 layout before the gate is left.",
                offer.setting
            ),
            None => {
                "None of these settings is safe: some cards must be given other numbers.".to_owned()
            }
        };
        lines.extend(hanging(Ink::Strong, "", &safest));
        lines
    }

    /// What is odd about the cards themselves.
    fn remarks(&self) -> Vec<Line> {
        let Answer { read, found, .. } = self;
        let numbers = |cards: &[usize]| {
            let lines: Vec<String> = cards
                .iter()
                .take(MOST_CARDS)
                .filter_map(|&card| read.cards.line(card))
                .map(|line| line.to_string())
                .collect();
            let dots = if cards.len() > MOST_CARDS { " …" } else { "" };
            format!("{}{dots}", lines.join(", "))
        };
        let mut lines = Vec::new();
        if !found.unseen.is_empty() {
            lines.push(Line::default());
            let says = format!("No frame the panel takes: lines {}.", numbers(&found.unseen));
            lines.extend(hanging(Ink::Plain, "", &says));
        }
        if !found.duplicates.is_empty() {
            lines.push(Line::default());
        }
        for same in found.duplicates.iter().take(MOST_GROUPS) {
            let says = format!("One card enrolled more than once: lines {}.", numbers(same));
            lines.extend(hanging(Ink::Plain, "", &says));
        }
        lines.extend(more(found.duplicates.len(), MOST_GROUPS, "", "such card"));
        lines
    }

    fn object(&self, masking: Masking) -> json::LayoutClash {
        let Answer { read, panel, found, offers } = self;
        let cards = &read.cards;
        let lines = |of: &[usize]| of.iter().filter_map(|&card| cards.line(card)).collect();
        let fields = |named: &[(String, u64)]| {
            let value = |value: u64| FieldValue::new(Some(value), masking);
            Fields(named.iter().map(|(name, number)| (name.clone(), value(*number))).collect())
        };
        json::LayoutClash {
            schema: json::LayoutClash::SCHEMA,
            cards: cards.len(),
            setting: panel.to_string(),
            groups: found
                .groups
                .iter()
                .map(|group| json::Group {
                    seen_as: fields(&group.seen_as),
                    cards: group
                        .cards
                        .iter()
                        .filter_map(|&card| {
                            let (layout, _) = cards.get(card)?;
                            Some(json::Card {
                                line: cards.line(card)?,
                                layout: layout.name().to_owned(),
                                fields: fields(&values(cards, card)),
                            })
                        })
                        .collect(),
                })
                .collect(),
            duplicates: found.duplicates.iter().map(|same| lines(same)).collect(),
            unseen: lines(&found.unseen),
            offers: offers
                .iter()
                .map(|offer| json::Offer {
                    setting: offer.setting.to_string(),
                    kept_bits: offer.kept_bits,
                    groups: offer.groups,
                    clashing: offer.clashing,
                    unseen: offer.unseen,
                    safe: offer.is_safe(),
                })
                .collect(),
            largest_safe: largest_safe(offers)
                .and_then(|at| offers.get(at))
                .map(|offer| offer.setting.to_string()),
            passed_over: read.passed_over.clone(),
        }
    }
}

fn verdict(cards: usize, clashing: usize, found: &Clashes) -> String {
    let of = words::count(cards, "card");
    let unseen = found.unseen.len();
    match (clashing, unseen) {
        (0, 0) => format!("Each of {of} opens as itself alone."),
        (0, unseen) => format!("{unseen} of {of} do not open at all; none opens as another."),
        (clashing, 0) => format!(
            "{clashing} of {of} open as another: {}.",
            words::count(found.groups.len(), "group")
        ),
        (clashing, unseen) => {
            format!("{clashing} of {of} open as another, and {unseen} do not open at all.")
        }
    }
}

fn table(offers: &[Offer]) -> Vec<Line> {
    let names = offers.iter().map(|offer| offer.setting.to_string().chars().count());
    let width = names.max().unwrap_or(0).max("setting".len());
    let head = format!("{:width$}  open as another  do not open", "setting");
    let rows = offers.iter().map(|offer| {
        let setting = offer.setting.to_string();
        format!("{setting:width$}  {:>15}  {:>11}", offer.clashing, offer.unseen)
    });
    let rows = rows.map(|row| Line::new(Ink::Plain, row));
    [Line::new(Ink::Faint, head)].into_iter().chain(rows).collect()
}

fn card_text(cards: &Cards, card: usize, masking: Masking) -> String {
    let line = cards.line(card).unwrap_or(0);
    let layout = cards.get(card).map(|(layout, _)| layout.name()).unwrap_or_default();
    format!("line {line}: {layout}, {}", named(&values(cards, card), masking))
}

fn values(cards: &Cards, card: usize) -> Vec<(String, u64)> {
    let Some((layout, values)) = cards.get(card) else { return Vec::new() };
    let names = layout.fields().iter().map(|field| field.name().to_owned());
    names.zip(values.iter().copied()).collect()
}

fn named(values: &[(String, u64)], masking: Masking) -> String {
    let parts: Vec<String> =
        values.iter().map(|(name, value)| format!("{name} {}", masking.number(*value))).collect();
    parts.join(", ")
}

fn more(all: usize, shown: usize, lead: &str, noun: &str) -> Option<Line> {
    let rest = all.checked_sub(shown).filter(|&rest| rest > 0)?;
    let noun = words::count(rest, &format!("more {noun}"));
    Some(Line::new(Ink::Plain, format!("{lead}and {noun}; --json lists them all")))
}
