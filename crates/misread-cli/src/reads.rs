//! Where reads come from: arguments, a file, standard input.

use std::fs::File;
use std::io::{self, IsTerminal, Read};
use std::path::PathBuf;

use clap::Args;
use misread::Bits;
use misread::bits::{MAX_BITS, ReadText, parse_read_text};

use crate::json::Place;
use crate::lines::{LONGEST, Lines};
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
    /// A file with a read a line
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

impl ReadArgs {
    /// Opens what was named.
    ///
    /// # Errors
    ///
    /// A file that cannot be opened; no read at all.
    pub(crate) fn open(&self) -> Result<Reads, Refusal> {
        if let Some(path) = &self.reads_file {
            let name = path.display().to_string();
            let file = File::open(path).map_err(|error| {
                Refusal::new(format!("cannot be read: {error}"), "a file with a read a line")
                    .at(Place { file: Some(name.clone()), ..Place::default() })
            })?;
            return Ok(Reads::Stream { lines: Lines::new(Box::new(file)), file: Some(name) });
        }
        match self.read.as_slice() {
            [] if io::stdin().is_terminal() => {
                Err(Refusal::new("there is no read to look at", format!("a read: {FORMS}")))
            }
            [] => Ok(stdin()),
            [one] if one == "-" => Ok(stdin()),
            reads if reads.iter().any(|text| text == "-") => Err(Refusal::new(
                "standard input (-) and reads are both given",
                "either reads or - alone",
            )),
            reads if !self.separate && is_one_in_groups(reads) => {
                Ok(Reads::Typed { texts: vec![reads.join(" ")], joined: Some(reads.len()) })
            }
            reads => Ok(Reads::Typed { texts: reads.to_vec(), joined: None }),
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

    /// Hands out every text in order; empty lines of a stream are passed over.
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
                let mut any = false;
                loop {
                    while let Some(line) = lines.buffered() {
                        let place = Place {
                            file: file.clone(),
                            line: Some(line.number),
                            ..Place::default()
                        };
                        let Some(text) = line.text else {
                            any = true;
                            each(state, Err(too_long(place)))?;
                            continue;
                        };
                        let text = String::from_utf8_lossy(text);
                        if !text.trim().is_empty() {
                            any = true;
                            each(state, Ok(Item { text: &text, place, joined: None }))?;
                        }
                    }
                    idle(state)?;
                    match lines.fill() {
                        Ok(true) => {}
                        Ok(false) => break,
                        Err(error) => return Err(broken_off(&error, file).into()),
                    }
                }
                if !any {
                    return Err(nothing_in(file).into());
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

/// A line that cannot be a read.
pub(crate) fn too_long(place: Place) -> Refusal {
    let message = format!("longer than {LONGEST} bytes, which no read is");
    Refusal::new(message, format!("at most {MAX_BITS} bits a line")).at(place)
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
        let mut last = [b'0'; 8];
        last.iter_mut().zip(tail).for_each(|(to, from)| *to = *from);
        value = value << tail.len() | eight(last)? >> (8 - tail.len());
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

fn stdin() -> Reads {
    Reads::Stream { lines: Lines::new(Box::new(io::stdin().lock())), file: None }
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
