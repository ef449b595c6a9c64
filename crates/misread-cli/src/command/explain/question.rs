//! From the command line to a case, its candidate layouts and the model.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::BufReader;
use std::path::Path;

use misread::bits::ReadText;
use misread::cause::{Model, ProbeAt};
use misread::diagnose::{Candidates, Case, CaseRead, Presented};
use misread::file::{self, Entry, LineError, LineProblem, TableRead};
use misread::pulse::{Ended, Finding, FindingKind};
use misread::{Bits, Layout};

use super::{ExplainArgs, WeighArgs};
use crate::catalogue::Known;
use crate::command::decode::hexadecimal;
use crate::json::Place;
use crate::masking::Masking;
use crate::overview::Cut;
use crate::reads::{self, Item, Source};
use crate::recording::{Recording, damage_refusal, for_captures};
use crate::refusal::{Refusal, text_message};
use crate::values;
use crate::words::count;

/// What is asked.
pub(crate) struct Question {
    pub(crate) case: Case,
    pub(crate) candidates: Candidates,
    pub(crate) model: Model,
    /// How many arguments were joined into one read.
    pub(crate) joined: Option<usize>,
    /// Lines of a file that are no reads, and where a capture is damaged; the
    /// rest is answered.
    pub(crate) refused: Vec<Refusal>,
    /// What else there is to say of a capture.
    pub(crate) timing: Timing,
}

/// What a capture shows beside what is weighed.
#[derive(Default)]
pub(crate) struct Timing {
    /// What is wrong with it as a whole.
    pub(crate) whole: Vec<Finding>,
    /// What is to be said of a last read that is cut.
    pub(crate) cut: Option<Cut>,
    /// How often each kind of finding about the limits is in its reads.
    pub(crate) limits: BTreeMap<FindingKind, usize>,
}

impl Question {
    pub(super) fn of(args: &ExplainArgs, known: &Known, masking: Masking) -> Result<Self, Refusal> {
        let configured = configured(&args.weigh, known)?;
        let candidates = known.candidates(&args.weigh.among, configured.as_deref())?;
        let model = args.weigh.priors.model()?;
        let mut joined = None;
        let mut refused = Vec::new();
        let mut reads = Vec::new();
        let mut captured = None;
        if args.capture.is_none() {
            args.recording.without_capture()?;
            if args.probe_at.is_some() {
                return Err(for_captures("--probe-at"));
            }
        }
        let mut timing = Timing::default();
        if let Some(path) = &args.capture {
            let mut last = Ended::Silence;
            let mut open = false;
            let mut recording = Recording::open(path, &args.recording.options(), masking)?;
            recording.for_each(
                |refusal| refusal,
                |_, read| {
                    timing.count(&read.findings);
                    last = read.ended;
                    open = read.pulses.last().is_some_and(|pulse| !pulse.complete);
                    reads.push(CaseRead { pulses: read.evidence, ..CaseRead::from(read.bits) });
                    if reads.len() > MOST_CAPTURED { Err(too_many(path)) } else { Ok(()) }
                },
            )?;
            let overview = recording.overview;
            if let [before @ .., read] = reads.as_slice() {
                let lengths = before.iter().map(|read| read.bits.len());
                timing.cut = overview.cut(last, open, read.bits.len(), lengths);
            }
            if timing.cut == Some(Cut::LeftOut) {
                reads.pop();
            }
            refused.extend(overview.damage.map(|damage| damage_refusal(&damage, path, masking)));
            timing.whole = overview.findings;
            if reads.is_empty() {
                // Lines that never pulse are what a dead reader gives.
                reads.push(of_bits(Bits::new()));
            }
            captured = Some(args.probe_at.map_or(ProbeAt::Panel, ProbeAt::from));
        } else if let (false, Some(entry)) = (args.shown.is_empty(), &configured) {
            for text in &args.shown {
                let values = values::parse(text, masking)?;
                reads.push(of_bits(values::read_shown(&entry.layout, &values, masking)?));
            }
        } else {
            match args.reads.source()? {
                Source::Typed { texts, joined: of } => {
                    joined = of;
                    for (i, text) in texts.iter().enumerate() {
                        let read = (texts.len() > 1).then_some(i + 1);
                        let place = Place { read, ..Place::default() };
                        reads.push(of_bits(typed(text, place, known.entries(), masking)?));
                    }
                }
                Source::File(path) => {
                    let (file, name) = reads::open_file(path)?;
                    let lines = Stream { file: Some(name), entries: known.entries(), masking };
                    lines.read(BufReader::new(file), &mut reads, &mut refused)?;
                }
                Source::Stdin => {
                    let lines = Stream { file: None, entries: known.entries(), masking };
                    lines.read(std::io::stdin().lock(), &mut reads, &mut refused)?;
                }
            }
        }
        expect(&args.expect, &mut reads, masking)?;
        let case = Case {
            reads,
            captured,
            presented: args.presented.map_or(Presented::Unsaid, Presented::from),
        };
        Ok(Question { case, candidates, model, joined, refused, timing })
    }

    /// Nothing asked yet, to be weighed against these.
    pub(crate) fn without_reads(args: &WeighArgs, known: &Known) -> Result<Self, Refusal> {
        let configured = configured(args, known)?;
        let candidates = known.candidates(&args.among, configured.as_deref())?;
        let model = args.priors.model()?;
        Ok(Question {
            case: Case::default(),
            candidates,
            model,
            joined: None,
            refused: Vec::new(),
            timing: Timing::default(),
        })
    }

    pub(crate) fn layout(&self, index: usize) -> Option<&Layout> {
        self.candidates.layouts().get(index).map(|layout| &**layout)
    }
}

impl Timing {
    fn count(&mut self, findings: &[Finding]) {
        use FindingKind::*;
        let limit = |kind| {
            matches!(
                kind,
                PulseTooShort | PulseTooLong | IntervalTooShort | IntervalTooLong | FramesTooClose
            )
        };
        for finding in findings.iter().filter(|finding| limit(finding.kind)) {
            *self.limits.entry(finding.kind).or_default() += 1;
        }
    }
}

/// The reads of a capture suffer one fault at one reader; those of a day may
/// not.
const MOST_CAPTURED: usize = 256;

fn too_many(path: &Path) -> Refusal {
    let place = Place { file: Some(path.display().to_string()), ..Place::default() };
    Refusal::new(
        format!("there are more than {MOST_CAPTURED} reads in it"),
        "a capture of some presented cards; misread capture shows a long one",
    )
    .at(place)
}

fn of_bits(bits: Bits) -> CaseRead {
    CaseRead::from(bits)
}

fn configured<'a>(args: &WeighArgs, known: &'a Known) -> Result<Option<Cow<'a, Entry>>, Refusal> {
    args.layout.as_deref().map(|name| known.named(name)).transpose()
}

fn typed(text: &str, place: Place, entries: &[Entry], masking: Masking) -> Result<Bits, Refusal> {
    // Nothing at all is what a dead reader gives.
    if text.trim().is_empty() {
        return Ok(Bits::new());
    }
    let item = Item { text, place, joined: None };
    match reads::parse(&item, masking)? {
        ReadText::Bits(bits) => Ok(bits),
        ReadText::Hex(hex) => Err(hexadecimal(&hex, &item, entries, masking)),
    }
}

/// Reads that stand in lines or in a table.
pub(crate) struct Stream<'a> {
    pub(crate) file: Option<String>,
    pub(crate) entries: &'a [Entry],
    pub(crate) masking: Masking,
}

impl Stream<'_> {
    fn read(
        &self,
        input: impl std::io::BufRead,
        reads: &mut Vec<CaseRead>,
        refused: &mut Vec<Refusal>,
    ) -> Result<(), Refusal> {
        for read in file::read_any(input).map_err(|error| self.refusal(&error))? {
            match read {
                Ok(TableRead { bits, expected, .. }) => {
                    reads.push(CaseRead {
                        expected: expected.into_iter().collect(),
                        ..CaseRead::from(bits)
                    });
                }
                Err(error) => refused.push(self.refusal(&error)),
            }
        }
        if !reads.is_empty() {
            return Ok(());
        }
        // The first line says best that the file is not what it should be.
        let first = std::mem::take(refused).into_iter().next();
        Err(first.unwrap_or_else(|| reads::nothing_in(self.file.clone())))
    }

    /// A line that is no read, with its place.
    pub(crate) fn refusal(&self, error: &LineError) -> Refusal {
        let place = Place {
            file: self.file.clone(),
            line: Some(error.line as u64),
            column: error.column.map(|column| column as u64),
            ..Place::default()
        };
        match &error.problem {
            LineProblem::HexLength(hex) => {
                let digits = format!("0x{}", hex.bits().hex());
                let item = Item { text: &digits, place, joined: None };
                hexadecimal(hex, &item, self.entries, self.masking)
            }
            problem => {
                let cell = error.cell.as_ref().map(|cell| format!("cell {cell}: "));
                let says = match problem {
                    LineProblem::Text(problem) => text_message(problem, self.masking),
                    LineProblem::Value { .. } if self.masking.is_on() => {
                        "a cell that is no field value".to_owned()
                    }
                    LineProblem::Time { .. } if self.masking.is_on() => {
                        "a cell that is no time".to_owned()
                    }
                    LineProblem::Cell { .. } if self.masking.is_on() => {
                        "a cell that is not what its heading says".to_owned()
                    }
                    problem => problem.to_string(),
                };
                let message = cell.unwrap_or_default() + &says;
                Refusal::new(message, error.expected()).at(place)
            }
        }
    }
}

/// Puts what is expected beside the reads.
fn expect(texts: &[String], reads: &mut [CaseRead], masking: Masking) -> Result<(), Refusal> {
    if texts.is_empty() {
        return Ok(());
    }
    if reads.iter().any(|read| !read.expected.is_empty()) {
        return Err(Refusal::new(
            "the table says what is expected, and so does --expect",
            "one of the two",
        ));
    }
    if texts.len() != 1 && texts.len() != reads.len() {
        return Err(Refusal::new(
            format!("--expect is given {} times for {}", texts.len(), count(reads.len(), "read")),
            "--expect once, for every read, or once for each read",
        ));
    }
    for (i, read) in reads.iter_mut().enumerate() {
        let text = texts.get(i).or(texts.first()).map_or("", String::as_str);
        read.expected = values::parse(text, masking)?.into_iter().collect();
    }
    Ok(())
}
