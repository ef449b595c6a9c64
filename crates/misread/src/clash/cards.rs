//! Enrolled cards, from a table.

use std::ops::ControlFlow;

use csv::ByteRecord;

use super::error::{CardError, CardProblem, ReadError};
use super::{Progress, Stopped};
use crate::Layout;
use crate::file::{delimiter, parse_value, shown};

/// Enrolled cards: for each its layout and the value of every field.
#[derive(Clone, Debug, Default)]
pub struct Cards {
    layouts: Vec<Layout>,
    /// By card.
    layout: Vec<u16>,
    lines: Vec<u32>,
    /// By card, as many as the layout with the most fields has, in the order
    /// of the layout.
    values: Vec<u64>,
    stride: usize,
}

impl Cards {
    /// No cards yet, of these layouts; the first 65 536 of them count.
    pub fn new(layouts: impl IntoIterator<Item = Layout>) -> Self {
        let layouts: Vec<Layout> = layouts.into_iter().take(1 << 16).collect();
        let stride = layouts.iter().map(|layout| layout.fields().len()).max().unwrap_or(0);
        Cards { layouts, stride, ..Cards::default() }
    }

    /// Adds a card of the layout at index `layout` that stood on line `line`,
    /// with the value of every field in the layout's order. `false`, and
    /// nothing is added, where there is no such layout, a value is missing or
    /// too large, or there are 2³² − 1 cards already.
    pub fn push(&mut self, layout: usize, line: u32, values: &[u64]) -> bool {
        let fits = self.layouts.get(layout).is_some_and(|layout| {
            layout.fields().len() == values.len()
                && layout.fields().iter().zip(values).all(|(f, &v)| f.to_raw(v).is_some())
        });
        if !fits || self.len() >= u32::MAX as usize {
            return false;
        }
        self.add(layout, line, values);
        true
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.layout.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.layout.is_empty()
    }

    /// The layouts they may have.
    pub fn layouts(&self) -> &[Layout] {
        &self.layouts
    }

    /// The layout of a card, and the values of its fields in the layout's
    /// order; `None` past the end.
    pub fn get(&self, card: usize) -> Option<(&Layout, &[u64])> {
        let layout = self.layouts.get(usize::from(*self.layout.get(card)?))?;
        Some((layout, self.values_of(card)))
    }

    /// The line a card stood on, from 1; `None` past the end.
    pub fn line(&self, card: usize) -> Option<u32> {
        self.lines.get(card).copied()
    }

    pub(super) fn layout_index(&self, card: usize) -> usize {
        usize::from(self.layout[card])
    }

    /// Whether a card has the layout at that index.
    pub(super) fn has_layout(&self, layout: usize) -> bool {
        self.layout.iter().any(|&index| usize::from(index) == layout)
    }

    /// The values of a card's fields.
    pub(super) fn values_of(&self, card: usize) -> &[u64] {
        let fields = self.layouts[self.layout_index(card)].fields().len();
        &self.values[card * self.stride..][..fields]
    }

    fn add(&mut self, layout: usize, line: u32, values: &[u64]) {
        self.layout.push(layout as u16);
        self.lines.push(line);
        self.values.extend_from_slice(values);
        self.values.resize(self.layout.len() * self.stride, 0);
    }
}

/// What a table of cards held.
#[derive(Clone, Debug)]
pub struct ReadCards {
    /// The cards.
    pub cards: Cards,
    /// The rows that are no cards.
    pub refused: Vec<CardError>,
    /// Headings of columns that are no field of any layout, such as names;
    /// nothing was taken from them.
    pub passed_over: Vec<String>,
}

/// Reads enrolled cards from a table: comma-, semicolon- or tab-separated, a
/// line of headings first, each row on one line. Headings are field names, and
/// `layout` where cards have different ones; a row without goes by `for_all`.
/// Fields with a declared value may be left out. Blank lines and lines that
/// begin with `#` are passed over. Progress is told in bytes.
///
/// # Errors
///
/// No headings that are fields, or a request to stop. Rows that are no cards
/// are told in [`ReadCards::refused`], and the others are read.
pub fn read_cards(
    table: &[u8],
    layouts: &[&Layout],
    for_all: Option<&Layout>,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<ReadCards, ReadError> {
    let table = table.strip_prefix(b"\xef\xbb\xbf").unwrap_or(table);
    let mut known: Vec<Layout> = layouts.iter().map(|&layout| layout.clone()).collect();
    let for_all = for_all.map(|layout| {
        known.iter().position(|other| other.name() == layout.name()).unwrap_or_else(|| {
            known.push(layout.clone());
            known.len() - 1
        })
    });
    let (headings, delimiter, mut at, mut line) = headings(table)?;
    let columns = Columns::new(&headings, &known).map_err(|(cell, problem)| {
        ReadError::Headings(CardError { line: line - 1, cell, problem })
    })?;
    let mut read = ReadCards {
        cards: Cards::new(known),
        refused: Vec::new(),
        passed_over: columns.passed_over.iter().map(|&i| shown(&headings[i])).collect(),
    };
    let mut record = ByteRecord::new();
    let mut values = Vec::new();
    let told = |at| Progress { done: at, of: table.len() };
    // A quote left open runs on over the lines after it. It is refused, and
    // reading begins again behind its own line.
    while at < table.len() {
        let from = at;
        let mut rows = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_reader(&table[from..]);
        at = table.len();
        let first_line = line;
        // Reading from memory does not fail, so an error is the end.
        while rows.read_byte_record(&mut record).unwrap_or(false) {
            let Some(start) = record.position() else { break };
            line = first_line + start.line() - 1;
            let begins = from + start.byte() as usize;
            let ends = from + rows.position().byte() as usize;
            let row = table.get(begins..ends).unwrap_or_default();
            let (text_begins, passed) = before_row(row);
            line += passed;
            let row = &row[text_begins..];
            if let Some(end) = row.iter().position(|&b| b == b'\n')
                && row[end..].iter().any(|b| !b.is_ascii_whitespace())
            {
                let problem = CardProblem::OpenQuote;
                read.refused.push(CardError { line, cell: None, problem });
                at = begins + text_begins + end + 1;
                line += 1;
                break;
            }
            let card = columns.card(&record, &read.cards.layouts, for_all, &mut values);
            match card {
                Ok(None) => {}
                Ok(Some(_)) if read.cards.len() >= u32::MAX as usize => {
                    let problem = CardProblem::TooMany;
                    read.refused.push(CardError { line, cell: None, problem });
                    return Ok(read);
                }
                Ok(Some(layout)) => {
                    let line = u32::try_from(line).unwrap_or(u32::MAX);
                    read.cards.add(layout, line, &values);
                }
                Err((column, problem)) => {
                    let cell = column.and_then(|at| headings.get(at)).map(|text| shown(text));
                    read.refused.push(CardError { line, cell, problem });
                }
            }
            if line.is_multiple_of(1 << 16) && progress(told(ends)).is_break() {
                return Err(Stopped.into());
            }
        }
    }
    Ok(read)
}

/// How many bytes and lines stand before a row: blank lines and comments.
fn before_row(text: &[u8]) -> (usize, u64) {
    let is_passed = |line: &&[u8]| line.first().is_none_or(|&b| matches!(b, b'\n' | b'\r' | b'#'));
    text.split_inclusive(|&b| b == b'\n')
        .take_while(is_passed)
        .fold((0, 0), |(bytes, lines), line| (bytes + line.len(), lines + 1))
}

/// The headings, what separates them, where the next line begins, and its
/// number.
fn headings(table: &[u8]) -> Result<(Vec<String>, u8, usize, u64), ReadError> {
    let refuse = |line, problem| Err(ReadError::Headings(CardError { line, cell: None, problem }));
    let mut at = 0;
    for (line, text) in (1..).zip(table.split_inclusive(|&b| b == b'\n')) {
        at += text.len();
        let Ok(text) = std::str::from_utf8(text) else { return refuse(line, CardProblem::NotText) };
        let text = text.trim();
        if text.is_empty() || text.starts_with('#') {
            continue;
        }
        let delimiter = delimiter(text);
        let mut cells = csv::StringRecord::new();
        let read = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes())
            .read_record(&mut cells);
        return match read {
            Ok(_) => Ok((cells.iter().map(str::to_owned).collect(), delimiter, at, line + 1)),
            Err(_) => refuse(line, CardProblem::NotText),
        };
    }
    refuse(1, CardProblem::NoTable)
}

/// Where a table has what.
struct Columns {
    headings: usize,
    layout: Option<usize>,
    /// By layout and field, the column.
    fields: Vec<Vec<Option<usize>>>,
    /// By layout, the columns that are fields of others only.
    foreign: Vec<Vec<usize>>,
    passed_over: Vec<usize>,
}

/// A column, where it is one, and what is wrong there.
type Bad<C> = (Option<C>, CardProblem);

impl Columns {
    fn new(headings: &[String], layouts: &[Layout]) -> Result<Self, Bad<String>> {
        for (i, heading) in headings.iter().enumerate() {
            let taken = headings[..i].iter().any(|other| other.eq_ignore_ascii_case(heading));
            if taken && !heading.is_empty() {
                return Err((Some(shown(heading)), CardProblem::HeadingTwice));
            }
        }
        let column = |name: &str| headings.iter().position(|h| h.eq_ignore_ascii_case(name));
        let fields: Vec<Vec<Option<usize>>> = layouts
            .iter()
            .map(|layout| layout.fields().iter().map(|field| column(field.name())).collect())
            .collect();
        let of_any = |at: &usize| fields.iter().flatten().any(|column| *column == Some(*at));
        let used: Vec<usize> = (0..headings.len()).filter(of_any).collect();
        if used.is_empty() {
            let mut fields: Vec<String> = layouts
                .iter()
                .flat_map(|layout| layout.fields().iter().map(|field| field.name().to_owned()))
                .collect();
            fields.sort();
            fields.dedup();
            return Err((None, CardProblem::NoFields { fields }));
        }
        let foreign = fields
            .iter()
            .map(|own| used.iter().copied().filter(|at| !own.contains(&Some(*at))).collect())
            .collect();
        let layout = column("layout").filter(|at| !used.contains(at));
        let passed_over = (0..headings.len())
            .filter(|at| !used.contains(at) && Some(*at) != layout && !headings[*at].is_empty())
            .collect();
        Ok(Columns { headings: headings.len(), layout, fields, foreign, passed_over })
    }

    /// The layout of a row's card, whose values are left in `values`; `None`
    /// for a row in which every cell is empty.
    fn card(
        &self,
        row: &ByteRecord,
        layouts: &[Layout],
        for_all: Option<usize>,
        values: &mut Vec<u64>,
    ) -> Result<Option<usize>, Bad<usize>> {
        let cell = |at: usize| row.get(at).unwrap_or_default();
        let filled = (0..row.len()).rev().find(|&at| !cell(at).is_empty()).map_or(0, |at| at + 1);
        if filled == 0 {
            return Ok(None);
        }
        if filled > self.headings {
            return Err((None, CardProblem::Cells { found: filled, expected: self.headings }));
        }
        let named = self.layout.map(|at| (at, cell(at))).filter(|(_, name)| !name.is_empty());
        let index = match named {
            Some((at, name)) => layouts
                .iter()
                .position(|layout| layout.name().as_bytes().eq_ignore_ascii_case(name))
                .ok_or_else(|| {
                    let found = shown(&String::from_utf8_lossy(name));
                    (Some(at), CardProblem::UnknownLayout { found })
                })?,
            None => for_all.ok_or((self.layout, CardProblem::NoLayout))?,
        };
        let layout = &layouts[index];
        let name = || layout.name().to_owned();
        values.clear();
        for (field, column) in layout.fields().iter().zip(&self.fields[index]) {
            let text = column.map(cell).filter(|text| !text.is_empty());
            let value = match (text, field.value()) {
                (Some(text), _) => {
                    let text =
                        std::str::from_utf8(text).map_err(|_| (*column, CardProblem::NotText))?;
                    parse_value(text).map_err(|problem| {
                        (*column, CardProblem::Value { found: shown(text), problem })
                    })?
                }
                (None, Some(value)) => value,
                (None, None) => return Err((*column, CardProblem::Missing { layout: name() })),
            };
            if value > field.max() {
                let (found, max) = (value, field.max());
                return Err((*column, CardProblem::DoesNotFit { layout: name(), found, max }));
            }
            values.push(value);
        }
        match self.foreign[index].iter().find(|&&at| !cell(at).is_empty()) {
            Some(&at) => Err((Some(at), CardProblem::NoSuchField { layout: name() })),
            None => Ok(Some(index)),
        }
    }
}
