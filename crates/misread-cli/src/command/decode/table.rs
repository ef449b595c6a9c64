//! `misread decode --csv`: a row a read, as fast as reads can be read.

use misread::Bits;
use misread::bits::ReadText;
use misread::file::Entry;

use super::answer;
use super::{Work, candidates, hexadecimal};
use crate::context::{Outcome, Status, Stop};
use crate::json::Place;
use crate::lines::Numbered;
use crate::masking::Masking;
use crate::reads::{self, Item, Reads, Texts};
use crate::refusal::Refusal;

/// Bad lines that are named; the rest are counted.
pub(crate) const NAMED: u64 = 20;

/// Rows are passed on when this many bytes of them are ready.
const READY: usize = 1 << 16;

/// Writes the header and a row a read.
pub(super) fn run(reads: Reads, mut work: Work<'_>) -> Outcome {
    let candidates = candidates(work.known, work.chosen);
    let entries = work.chosen.map_or_else(|| std::mem::take(&mut work.entries), |one| vec![one]);
    let mut table = Table {
        rows: Vec::with_capacity(2 * READY),
        masking: work.context.masking,
        chosen: work.chosen,
        middles: entries.iter().map(|entry| middle(entry)).collect(),
        entries,
        all_ok: true,
    };
    table.header();
    let mut refused = 0;
    match reads {
        Reads::Typed { texts, joined } => {
            for (i, text) in texts.iter().enumerate() {
                let place = Place { read: Some(i + 1), ..Place::default() };
                let item = Item { text, place, joined };
                match patient(&item, candidates, table.masking) {
                    Ok(bits) => table.row(i as u64 + 1, &bits, None),
                    Err(refusal) => refuse(&mut work, &mut refused, &refusal),
                }
            }
        }
        Reads::Stream { mut lines, file } => {
            let mut texts = Texts::of(file);
            let mut any = false;
            loop {
                while let Some(line) = lines.buffered() {
                    if let Some(text) = line.text
                        && let Some(bits) = reads::parse_quickly(text)
                    {
                        any = true;
                        table.row(line.number, &bits, Some(text));
                        if table.rows.len() >= READY {
                            work.context.out.bytes(&table.rows)?;
                            table.rows.clear();
                        }
                        continue;
                    }
                    match patient_line(line, &mut texts, candidates, table.masking) {
                        Ok(Some(bits)) => {
                            any = true;
                            table.row(line.number, &bits, None);
                        }
                        Ok(None) => {}
                        Err(refusal) => {
                            any = true;
                            refuse(&mut work, &mut refused, &refusal);
                        }
                    }
                }
                work.context.out.bytes(&table.rows)?;
                table.rows.clear();
                work.context.out.flush()?;
                match lines.fill() {
                    Ok(true) => {}
                    Ok(false) => break,
                    Err(error) => return Err(reads::broken_off(&error, texts.file()).into()),
                }
            }
            if !any {
                return Err(reads::nothing_in(texts.file()).into());
            }
        }
    }
    work.context.out.bytes(&table.rows)?;
    work.context.out.flush()?;
    if refused > NAMED {
        let message = format!("{refused} lines are no reads; the first {NAMED} are named above");
        Refusal::new(message, "").print();
    }
    let status = if refused > 0 { Status::Refused } else { Status::of(table.all_ok) };
    Ok::<_, Stop>(status)
}

struct Table<'a> {
    rows: Vec<u8>,
    masking: Masking,
    chosen: Option<&'a Entry>,
    /// The layouts to be tried: the chosen one, or all, best first.
    entries: Vec<&'a Entry>,
    /// For each of them, what stands between the bits and the fields of a
    /// read that fits it.
    middles: Vec<String>,
    all_ok: bool,
}

impl Table<'_> {
    fn header(&mut self) {
        self.rows.extend_from_slice(b"line,bits,length,layout,ok");
        match self.chosen {
            Some(entry) => {
                for field in entry.layout.fields() {
                    self.rows.push(b',');
                    self.rows.extend_from_slice(field.name().as_bytes());
                }
            }
            None => self.rows.extend_from_slice(b",fields"),
        }
        self.rows.push(b'\n');
    }

    /// One row. `text` is the read as 0s and 1s, where it came so.
    #[inline]
    fn row(&mut self, number: u64, bits: &Bits, text: Option<&[u8]>) {
        let best = answer::best(bits, &self.entries);
        let entry = best.and_then(|(index, _)| self.entries.get(index).copied());
        self.number(number);
        self.rows.push(b',');
        match text {
            Some(text) if !self.masking.is_on() => self.rows.extend_from_slice(text),
            _ => {
                let layout = entry.or(self.chosen).map(|entry| &entry.layout);
                self.rows.extend_from_slice(self.masking.bits(bits, layout).as_bytes());
            }
        }
        match best {
            Some((index, true)) => {
                if let Some(middle) = self.middles.get(index) {
                    self.rows.extend_from_slice(middle.as_bytes());
                }
            }
            _ => {
                self.all_ok = false;
                let name = entry.or(self.chosen).map_or("", |entry| entry.name());
                self.rows.extend_from_slice(format!(",{},{name},false", bits.len()).as_bytes());
            }
        }
        match (self.chosen, entry) {
            (Some(_), Some(entry)) => {
                for field in entry.layout.fields() {
                    self.rows.push(b',');
                    self.value(field.value_in(bits));
                }
            }
            (None, Some(entry)) => {
                let mut mark = b',';
                for field in entry.layout.fields() {
                    self.rows.push(mark);
                    mark = b' ';
                    self.rows.extend_from_slice(field.name().as_bytes());
                    self.rows.push(b'=');
                    self.value(field.value_in(bits));
                }
                if entry.layout.fields().is_empty() {
                    self.rows.push(b',');
                }
            }
            (Some(chosen), None) => {
                let fields = chosen.layout.fields().len();
                self.rows.extend(std::iter::repeat_n(b',', fields));
            }
            (None, None) => self.rows.push(b','),
        }
        self.rows.push(b'\n');
    }

    /// A field's value; nothing where it is unread.
    #[inline]
    fn value(&mut self, value: Option<u64>) {
        match value {
            Some(value) if self.masking.is_on() => {
                self.rows.extend_from_slice(self.masking.number(value).as_bytes());
            }
            Some(value) => self.number(value),
            None => {}
        }
    }

    #[inline]
    fn number(&mut self, number: u64) {
        self.rows.extend_from_slice(itoa::Buffer::new().format(number).as_bytes());
    }
}

/// What stands between the bits and the fields of a read that fits.
fn middle(entry: &Entry) -> String {
    format!(",{},{},true", entry.layout.bits(), entry.name())
}

/// A line's read, read with all forgiveness; `None` for an empty line.
#[cold]
fn patient_line(
    line: Numbered<'_>,
    texts: &mut Texts,
    entries: &[Entry],
    masking: Masking,
) -> Result<Option<Bits>, Refusal> {
    match texts.of_line(line)? {
        Some((text, place)) => {
            patient(&Item { text, place, joined: None }, entries, masking).map(Some)
        }
        None => Ok(None),
    }
}

#[cold]
fn patient(item: &Item<'_>, entries: &[Entry], masking: Masking) -> Result<Bits, Refusal> {
    match reads::parse(item, masking)? {
        ReadText::Bits(bits) => Ok(bits),
        ReadText::Hex(hex) => Err(hexadecimal(&hex, item, entries, masking)),
    }
}

#[cold]
fn refuse(work: &mut Work<'_>, refused: &mut u64, refusal: &Refusal) {
    *refused += 1;
    if *refused <= NAMED {
        // A terminal shows the rows before it first.
        let _ = work.context.out.flush();
        refusal.print();
    }
}
