//! Where reads come from: arguments, a file, standard input.

use std::fs::File;
use std::io::{self, IsTerminal, Read};
use std::path::{Path, PathBuf};

use clap::Args;
use misread::Bits;
use misread::bits::{MAX_BITS, ReadText, parse_read_text};

use crate::json::Place;
use crate::lines::{LONGEST, Lines, Numbered};
use crate::masking::Masking;
use crate::refusal::Refusal;

const FORMS: &str = "0, 1 and ? in any grouping, or hexadecimal with its length, such as \
                     0x25409a7/26";

/// The reads of a command line.
#[derive(Args, Clone, Debug, Default)]
pub(crate) struct ReadArgs {
    /// Reads as pasted: 0, 1 and ? (unread) in any grouping, or hexadecimal
    /// with its length (0x95026900/26). Groups of at most eight bits are one
    /// read. `-` stands for standard input, a read a line
    #[arg(value_name = "READ")]
    read: Vec<String>,
    /// A file with a read a line; empty lines and those that begin with # are
    /// passed over
    #[arg(long = "reads", value_name = "FILE", conflicts_with = "read")]
    reads_file: Option<PathBuf>,
    /// Take each argument as a read of its own, however short
    #[arg(long)]
    separate: bool,
}

/// Reads to be answered.
pub(crate) enum Reads {
    /// From the command line, and how many arguments were joined into one.
    Typed { texts: Vec<String>, joined: Option<usize> },
    /// A read a line.
    Stream { lines: Lines<Box<dyn Read>>, file: Option<String> },
}

/// Where reads come from.
pub(crate) enum Source<'a> {
    /// The command line, and how many arguments were joined into one.
    Typed { texts: Vec<String>, joined: Option<usize> },
    /// A file.
    File(&'a Path),
    /// Standard input.
    Stdin,
}

impl ReadArgs {
    /// Opens what was named.
    ///
    /// # Errors
    ///
    /// A file that cannot be opened; no read at all.
    pub(crate) fn open(&self) -> Result<Reads, Refusal> {
        Ok(match self.source()? {
            Source::Typed { texts, joined } => Reads::Typed { texts, joined },
            Source::File(path) => {
                let (file, name) = open_file(path)?;
                Reads::Stream { lines: Lines::new(Box::new(file)), file: Some(name) }
            }
            Source::Stdin => {
                Reads::Stream { lines: Lines::new(Box::new(io::stdin().lock())), file: None }
            }
        })
    }

    /// What was named, not yet opened.
    ///
    /// # Errors
    ///
    /// No read at all.
    pub(crate) fn source(&self) -> Result<Source<'_>, Refusal> {
        if let Some(path) = &self.reads_file {
            return Ok(Source::File(path));
        }
        match self.read.as_slice() {
            [] if io::stdin().is_terminal() => {
                Err(Refusal::new("there is no read to look at", format!("a read: {FORMS}")))
            }
            [] => Ok(Source::Stdin),
            [one] if one == "-" => Ok(Source::Stdin),
            reads if reads.iter().any(|text| text == "-") => Err(Refusal::new(
                "standard input (-) and reads are both given",
                "either reads or - alone",
            )),
            reads if !self.separate && is_one_in_groups(reads) => {
                Ok(Source::Typed { texts: vec![reads.join(" ")], joined: Some(reads.len()) })
            }
            reads => Ok(Source::Typed { texts: reads.to_vec(), joined: None }),
        }
    }
}

/// A file of reads, and its name.
///
/// # Errors
///
/// It cannot be opened.
pub(crate) fn open_file(path: &Path) -> Result<(File, String), Refusal> {
    let name = path.display().to_string();
    match File::open(path) {
        Ok(file) => Ok((file, name)),
        Err(error) => {
            Err(Refusal::new(format!("cannot be read: {error}"), "a file with a read a line")
                .at(Place { file: Some(name), ..Place::default() }))
        }
    }
}

/// One text where a read should be.
#[derive(Clone, Debug)]
pub(crate) struct Item<'a> {
    pub(crate) text: &'a str,
    pub(crate) place: Place,
    pub(crate) joined: Option<usize>,
}

impl Reads {
    /// How many reads there are, where that is known.
    pub(crate) fn known_count(&self) -> Option<usize> {
        match self {
            Reads::Typed { texts, .. } => Some(texts.len()),
            Reads::Stream { .. } => None,
        }
    }

    /// Hands out every text in order; empty lines of a stream, those that
    /// begin with `#` and a table's headings are passed over.
    /// `idle` is called before waiting for more.
    ///
    /// # Errors
    ///
    /// What `each` and `idle` give; a stream that breaks off, or that has
    /// nothing in it.
    pub(crate) fn for_each<E: From<Refusal>, S>(
        self,
        state: &mut S,
        mut each: impl FnMut(&mut S, Result<Item<'_>, Refusal>) -> Result<(), E>,
        mut idle: impl FnMut(&mut S) -> Result<(), E>,
    ) -> Result<(), E> {
        match self {
            Reads::Typed { texts, joined } => {
                for (i, text) in texts.iter().enumerate() {
                    let read = (texts.len() > 1).then_some(i + 1);
                    let place = Place { read, ..Place::default() };
                    each(state, Ok(Item { text, place, joined }))?;
                }
            }
            Reads::Stream { mut lines, file } => {
                let mut texts = Texts::of(file);
                let mut any = false;
                loop {
                    while let Some(line) = lines.buffered() {
                        match texts.of_line(line) {
                            Ok(None) => continue,
                            Ok(Some((text, place))) => {
                                each(state, Ok(Item { text, place, joined: None }))?;
                            }
                            Err(refusal) => each(state, Err(refusal))?,
                        }
                        any = true;
                    }
                    idle(state)?;
                    match lines.fill() {
                        Ok(true) => {}
                        Ok(false) => break,
                        Err(error) => return Err(broken_off(&error, texts.file()).into()),
                    }
                }
                if !any {
                    return Err(nothing_in(texts.file()).into());
                }
            }
        }
        Ok(())
    }
}

/// A read, or hexadecimal whose length is not given.
///
/// # Errors
///
/// Text that is neither, with the place in it.
pub(crate) fn parse(item: &Item<'_>, masking: Masking) -> Result<ReadText, Refusal> {
    parse_read_text(item.text)
        .map_err(|error| Refusal::text(item.text, &error, item.place.clone(), masking))
}

/// The stream stopped giving.
pub(crate) fn broken_off(error: &io::Error, file: Option<String>) -> Refusal {
    let what = if file.is_some() { "" } else { "standard input " };
    Refusal::new(format!("{what}cannot be read: {error}"), "a file with a read a line")
        .at(Place { file, ..Place::default() })
}

/// A stream without a read.
pub(crate) fn nothing_in(file: Option<String>) -> Refusal {
    let message = match file {
        Some(_) => "there is no read in it",
        None => "there is no read in standard input",
    };
    Refusal::new(message, format!("a read a line: {FORMS}")).at(Place { file, ..Place::default() })
}

/// The texts of a stream's lines: a read a line, or the cells under the heading
/// `bits` where the first line is a table's headings.
pub(crate) struct Texts {
    file: Option<String>,
    begun: bool,
    cell: Option<Cell>,
}

/// Which cell of a row holds the read.
#[derive(Clone, Copy)]
struct Cell {
    delimiter: char,
    index: usize,
}

impl Texts {
    pub(crate) fn of(file: Option<String>) -> Self {
        Texts { file, begun: false, cell: None }
    }

    /// The file's name, where it is no standard input.
    pub(crate) fn file(&self) -> Option<String> {
        self.file.clone()
    }

    /// The text of a line and its place; `None` for an empty line, one that
    /// begins with `#`, and a table's headings.
    ///
    /// # Errors
    ///
    /// A line too long to be a read, or that is no text; a row that ends
    /// before its read.
    pub(crate) fn of_line<'a>(
        &mut self,
        line: Numbered<'a>,
    ) -> Result<Option<(&'a str, Place)>, Refusal> {
        let place = Place { file: self.file(), line: Some(line.number), ..Place::default() };
        let Some(bytes) = line.text else {
            let message = format!("longer than {LONGEST} bytes, which no read is");
            return Err(Refusal::new(message, format!("at most {MAX_BITS} bits a line")).at(place));
        };
        let text = match str::from_utf8(bytes) {
            Ok(text) => text,
            Err(error) => {
                let before = bytes.get(..error.valid_up_to()).unwrap_or(bytes);
                let column = String::from_utf8_lossy(before).chars().count() as u64 + 1;
                let place = Place { column: Some(column), ..place };
                let message = "a byte that is not UTF-8 text";
                return Err(Refusal::new(message, "text saved as UTF-8").at(place));
            }
        };
        // The mark that some editors put at the start.
        let text = if line.number == 1 { text.trim_start_matches('\u{feff}') } else { text };
        if text.trim().is_empty() || text.trim_start().starts_with('#') {
            return Ok(None);
        }
        if !std::mem::replace(&mut self.begun, true) {
            self.cell = Cell::under_bits(text);
            if self.cell.is_some() {
                return Ok(None);
            }
        }
        let Some(cell) = self.cell else { return Ok(Some((text, place))) };
        match cells(text, cell.delimiter).nth(cell.index) {
            Some(text) => Ok(Some((text, place))),
            None => {
                Err(Refusal::new("the row ends before its cell bits", "a cell for every heading")
                    .at(place))
            }
        }
    }
}

impl Cell {
    fn under_bits(headings: &str) -> Option<Self> {
        [',', ';', '\t'].into_iter().find_map(|delimiter| {
            let index = cells(headings, delimiter).position(|c| c.eq_ignore_ascii_case("bits"))?;
            Some(Cell { delimiter, index })
        })
    }
}

/// The cells of a row without their quotes. No read has a quote in it, so what
/// stands inside one is not looked at.
fn cells(row: &str, delimiter: char) -> impl Iterator<Item = &str> {
    let mut quoted = false;
    let split = row.split(move |c: char| {
        quoted ^= c == '"';
        c == delimiter && !quoted
    });
    split.map(|cell| cell.trim().trim_matches('"').trim())
}

/// Plain 0s and 1s of at most 64, quickly; `None` for anything else.
///
/// Eight characters at a time: with 0x30 taken off each, a byte of the word
/// that is more than 1 is no bit; the multiplication gathers the eight low
/// bits in the top byte, first character highest.
#[inline]
pub(crate) fn parse_quickly(line: &[u8]) -> Option<Bits> {
    if line.is_empty() || line.len() > 64 {
        return None;
    }
    let (chunks, tail) = line.as_chunks::<8>();
    let mut value = 0u64;
    for chunk in chunks {
        value = value << 8 | eight(*chunk)?;
    }
    if !tail.is_empty() {
        let last = match line.last_chunk::<8>() {
            // Some of the eight are there already and fall off at the top.
            Some(last) => eight(*last)?,
            None => tail.iter().try_fold(0, |bits, c| match c {
                b'0' => Some(bits << 1),
                b'1' => Some(bits << 1 | 1),
                _ => None,
            })?,
        };
        value = value << tail.len() | last & (0xff >> (8 - tail.len()));
    }
    Bits::from_value(value, line.len())
}

#[inline]
fn eight(chars: [u8; 8]) -> Option<u64> {
    let bits = u64::from_le_bytes(chars) ^ 0x3030_3030_3030_3030;
    if bits & !0x0101_0101_0101_0101 != 0 {
        return None;
    }
    Some(bits.wrapping_mul(0x8040_2010_0804_0201) >> 56)
}

/// Whether the arguments look like the groups of a single read.
fn is_one_in_groups(reads: &[String]) -> bool {
    let is_group = |text: &String| {
        (1..=8).contains(&text.len()) && text.bytes().all(|b| matches!(b, b'0' | b'1' | b'?'))
    };
    reads.len() > 1 && reads.iter().all(is_group)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn groups_are_one_read() {
        let texts = |texts: &[&str]| texts.iter().map(|t| (*t).to_owned()).collect::<Vec<_>>();
        assert!(is_one_in_groups(&texts(&["1001", "0101", "00"])));
        assert!(!is_one_in_groups(&texts(&["1001"])));
        assert!(!is_one_in_groups(&texts(&["1001", "010100000"])));
        assert!(!is_one_in_groups(&texts(&["1001", "0x2/4"])));
    }

    proptest! {
        #[test]
        fn quick_reading_is_the_plain_reading(text in "[01]{1,64}") {
            prop_assert_eq!(parse_quickly(text.as_bytes()).unwrap(), text.parse::<Bits>().unwrap());
        }

        #[test]
        fn anything_else_is_left_to_the_patient_reading(text in "[01]{0,30}[^01][01]{0,30}") {
            prop_assert_eq!(parse_quickly(text.as_bytes()), None);
        }
    }
}
