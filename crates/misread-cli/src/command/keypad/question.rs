//! From the command line to presses, and how they may have been sent.

use std::io::{self, BufRead, BufReader, IsTerminal};
use std::path::Path;
use std::sync::Arc;

use misread::cause::ProbeAt;
use misread::file::Entry;
use misread::keypad::{Answer, Key, Mode, NoReads, Press, Sending, read_presses, reads_in};
use misread::pulse::Ended;
use misread::{Bits, Turn};

use super::{KeypadArgs, ModeArg};
use crate::catalogue::Known;
use crate::command::decode::hexadecimal;
use crate::command::explain::Stream;
use crate::json::Place;
use crate::masking::Masking;
use crate::overview::Cut;
use crate::reads::{self, Item};
use crate::recording::{Recording, damage_refusal, for_captures};
use crate::refusal::Refusal;
use crate::values;

/// The longest pause that makes sense, in seconds: a day.
const LONGEST_PAUSE: f64 = 86_400.0;

/// What is asked.
pub(super) struct Question {
    pub(super) presses: Vec<Press>,
    pub(super) sendings: Vec<Sending>,
    /// In nanoseconds.
    pub(super) pause: Option<u64>,
    pub(super) captured: Option<ProbeAt>,
    /// What was keyed, where that is said.
    pub(super) expected: Option<Vec<Key>>,
    /// Where the last read of a capture may be no whole one.
    pub(super) cut: Option<Cut>,
    /// What could not be read; the rest is answered.
    pub(super) refused: Vec<Refusal>,
}

impl Question {
    pub(super) fn of(args: &KeypadArgs, known: &Known, masking: Masking) -> Result<Self, Refusal> {
        let mut question = Question {
            presses: Vec::new(),
            sendings: sendings(args, known)?,
            pause: args.pause.map(nanoseconds).transpose()?,
            captured: None,
            expected: args
                .expect
                .as_deref()
                .map(|keys| values::keys("--expect", keys, masking))
                .transpose()?,
            cut: None,
            refused: Vec::new(),
        };
        if args.capture.is_none() {
            args.recording.without_capture()?;
            if args.probe_at.is_some() {
                return Err(for_captures("--probe-at"));
            }
        }
        let source = Source { entries: known.entries(), masking };
        match (&args.capture, &args.reads_file) {
            (Some(path), _) => question.capture(path, args, masking)?,
            (None, Some(path)) => {
                let (file, name) = reads::open_file(path)?;
                source.stream(BufReader::new(file), Some(name), &mut question)?;
            }
            (None, None) => source.typed(&args.read, &mut question)?,
        }
        Ok(question)
    }

    fn capture(&mut self, path: &Path, args: &KeypadArgs, masking: Masking) -> Result<(), Refusal> {
        let mut recording = Recording::open(path, &args.recording.options(), masking)?;
        let mut last = Ended::Silence;
        let mut open = false;
        recording.for_each(
            |refusal| refusal,
            |_, read| {
                last = read.ended;
                open = read.pulses.last().is_some_and(|pulse| !pulse.complete);
                let at = read.pulses.first().map(|pulse| pulse.start);
                self.presses.push(Press { bits: read.bits, at, pulses: read.evidence });
                Ok(())
            },
        )?;
        let overview = recording.overview;
        if let [before @ .., press] = self.presses.as_slice() {
            let lengths = before.iter().map(|press| press.bits.len());
            self.cut = overview.cut(last, open, press.bits.len(), lengths);
        }
        if self.cut == Some(Cut::LeftOut) {
            self.presses.pop();
        }
        self.refused.extend(overview.damage.map(|damage| damage_refusal(&damage, path, masking)));
        self.captured = Some(args.probe_at.map_or(ProbeAt::Panel, ProbeAt::from));
        Ok(())
    }

    /// What else there is to say.
    pub(super) fn notes<'a>(&self, answer: &'a Answer) -> impl Iterator<Item = &'a str> {
        answer.notes.iter().map(String::as_str).chain(self.cut.map(Cut::says))
    }

    /// The layouts that the first read fits, as received or turned over: it may
    /// be a whole code of one of them.
    pub(super) fn fitting<'a>(&self, known: &'a Known) -> Vec<&'a str> {
        let Some(press) = self.presses.iter().find(|press| !press.bits.is_empty()) else {
            return Vec::new();
        };
        let fits = |entry: &&Entry| {
            let turns = entry.layout.fitting_turns(&press.bits);
            let carries_number = entry.layout.field(misread::keypad::NUMBER).is_some();
            carries_number && (turns.contains(Turn::AsReceived) || turns.contains(Turn::Inverted))
        };
        known.best_first().into_iter().filter(fits).map(Entry::name).collect()
    }
}

fn sendings(args: &KeypadArgs, known: &Known) -> Result<Vec<Sending>, Refusal> {
    let whole_code = match &args.layout {
        None => None,
        Some(name) => {
            let layout = Arc::new(known.named(name)?.layout.clone());
            let sending = Sending::whole_code(layout)
                .map_err(|error| Refusal::new(error.to_string(), "a layout with a field ‘card’"))?;
            Some(sending)
        }
    };
    Ok(match args.mode {
        None => Sending::all(whole_code),
        Some(ModeArg::Four) => vec![Sending::Keys(Mode::FourBit)],
        Some(ModeArg::Six) => vec![Sending::Keys(Mode::SixBit)],
        Some(ModeArg::Eight) => vec![Sending::Keys(Mode::EightBit)],
        Some(ModeArg::WholeCode) => vec![whole_code.ok_or_else(|| {
            Refusal::new(
                "--mode whole-code needs the layout of its frame",
                "--layout with the layout the panel is set to",
            )
        })?],
    })
}

fn nanoseconds(seconds: f64) -> Result<u64, Refusal> {
    if seconds > 0.0 && seconds <= LONGEST_PAUSE {
        // At most 8.64e13.
        Ok((seconds * 1e9).round() as u64)
    } else {
        Err(Refusal::new(
            format!("--pause {seconds} is no pause"),
            format!("seconds, over 0 and at most {LONGEST_PAUSE}"),
        ))
    }
}

/// What is known where texts are taken apart.
struct Source<'a> {
    entries: &'a [Entry],
    masking: Masking,
}

impl Source<'_> {
    fn typed(&self, texts: &[String], question: &mut Question) -> Result<(), Refusal> {
        match texts {
            [] if io::stdin().is_terminal() => {
                Err(Refusal::new("there is no read to look at", "the reads of some key presses"))
            }
            [] => self.stream(io::stdin().lock(), None, question),
            [one] if one == "-" => self.stream(io::stdin().lock(), None, question),
            texts if texts.iter().any(|text| text == "-") => Err(Refusal::new(
                "standard input (-) and reads are both given",
                "either reads or - alone",
            )),
            texts => {
                for (i, text) in texts.iter().enumerate() {
                    let read = (texts.len() > 1).then_some(i + 1);
                    let place = Place { read, ..Place::default() };
                    let reads = self.argument(text, place)?;
                    question.presses.extend(reads.into_iter().map(Press::from));
                }
                Ok(())
            }
        }
    }

    fn argument(&self, text: &str, place: Place) -> Result<Vec<Bits>, Refusal> {
        // Nothing at all is what a dead keypad gives.
        if text.trim().is_empty() {
            return Ok(vec![Bits::new()]);
        }
        reads_in(text).map_err(|no_reads| match no_reads {
            NoReads::Text(error) => Refusal::text(text, &error, place, self.masking),
            NoReads::Hex(hex) => {
                let item = Item { text, place, joined: None };
                hexadecimal(&hex, &item, self.entries, self.masking)
            }
        })
    }

    fn stream(
        &self,
        input: impl BufRead,
        file: Option<String>,
        question: &mut Question,
    ) -> Result<(), Refusal> {
        let lines = Stream { file, entries: self.entries, masking: self.masking };
        let found = read_presses(input);
        question.refused = found.refused.iter().map(|e| lines.refusal(e)).collect();
        question.presses = found.presses;
        if !question.presses.is_empty() {
            return Ok(());
        }
        // The first line says best that the file is not what it should be.
        let first = std::mem::take(&mut question.refused).into_iter().next();
        Err(first.unwrap_or_else(|| reads::nothing_in(lines.file)))
    }
}
