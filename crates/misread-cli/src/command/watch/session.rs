//! What has come so far, and what is said of each as it comes.

use std::collections::VecDeque;
use std::ops::ControlFlow;

use misread::Bits;
use misread::cause::ProbeAt;
use misread::cause::catalogue::{card_info, headline};
use misread::diagnose::{
    Case, CaseRead, DiagnoseError, Diagnosis, Expected, Presented, Verdict, diagnose, percent,
    posterior,
};
use misread::file::{Entry, LineError, LineProblem};
use misread::pulse::{Evidence, Limits, Pulse, Rhythm};
use misread::watch::{Arrived, Event, since_change};

use super::origin::Origin;
use super::{Done, WatchArgs};
use crate::catalogue::Known;
use crate::command::explain::{self, Question, Stream};
use crate::context::{Context, Outcome, Status, Stop};
use crate::draw::{COLUMNS, Ink, Line, hanging};
use crate::json::Place;
use crate::json_watch as json;
use crate::masking::Masking;
use crate::refusal::Refusal;
use crate::values;
use crate::words::lower;

/// How many reads are kept for the full answer.
const KEPT: usize = 64;

/// Lines that are no reads and are said in full on standard error; more are
/// counted. A device that starts has much to say.
const NAMED: u64 = 20;

/// What has come so far.
pub(super) struct Session<'a> {
    /// What reads are weighed against; its case is the one asked about last.
    question: Question,
    expect: Expected,
    probe_at: ProbeAt,
    entries: &'a [Entry],
    window: i64,
    /// The last read that is no repeat, and when it came.
    shown: Option<(Bits, i64)>,
    kept: VecDeque<Kept>,
    /// How many reads have come since the last were forgotten.
    since: usize,
    reads: u64,
    all_good: bool,
    no_reads: u64,
    failed: bool,
    device: String,
    why: String,
}

/// A read that came.
struct Kept {
    read: CaseRead,
    pulses: Vec<Pulse>,
    /// What is said of it alone.
    verdict: Verdict,
}

impl<'a> Session<'a> {
    /// # Errors
    ///
    /// Layouts, priors or expected values that reads cannot be weighed
    /// against.
    pub(super) fn new(
        args: &WatchArgs,
        known: &'a Known,
        probe_at: ProbeAt,
        masking: Masking,
    ) -> Result<Self, Refusal> {
        let expect = values::parse(args.expect.as_deref().unwrap_or_default(), masking)?;
        let session = Session {
            question: Question::without_reads(&args.weigh, known)?,
            expect: expect.into_iter().collect(),
            probe_at,
            entries: known.entries(),
            window: (args.repeat_window * 1e9) as i64,
            shown: None,
            kept: VecDeque::new(),
            since: 0,
            reads: 0,
            all_good: true,
            no_reads: 0,
            failed: false,
            device: String::new(),
            why: String::new(),
        };
        // A read of a single bit shows whether anything can be weighed at all.
        let mut rehearsal = Case::of(["0".parse().unwrap_or_default()]);
        for read in &mut rehearsal.reads {
            read.expected.clone_from(&session.expect);
        }
        match session.weigh(&rehearsal, masking) {
            Err(error) => Err(explain::refuse(&error, masking)),
            Ok(_) => Ok(session),
        }
    }

    /// Says what has happened.
    pub(super) fn events(&mut self, events: &mut Vec<Event>, context: &mut Context) -> Done {
        for event in events.drain(..) {
            match event {
                Event::Read(read) => self.read(*read, context)?,
                Event::NoRead { text, error } => self.no_read(&text, &error, context)?,
                Event::HalfLine { line, text } => self.half_line(line, &text, context)?,
                Event::Lost { at } => {
                    let says = format!("{} is gone ({}); trying again", self.device, self.why);
                    self.aside(json::Happened::Lost { says }, at, context)?;
                }
                Event::Back { at } => {
                    let says = format!("{} is back", self.device);
                    self.aside(json::Happened::Back { says }, at, context)?;
                }
            }
        }
        Ok(context.out.flush()?)
    }

    /// Which device is gone, and why.
    pub(super) fn lost_by(&mut self, origin: &Origin, why: String) {
        self.device = origin.name().to_owned();
        self.why = why;
    }

    /// The record is given up; the reads are answered all the same.
    pub(super) fn record_failed(&mut self, refusal: &Refusal, context: &mut Context) -> Done {
        self.failed = true;
        Ok(context.refuse(refusal)?)
    }

    /// The full answer for the reads that are kept.
    pub(super) fn explain(&mut self, context: &mut Context) -> Done {
        if self.kept.is_empty() {
            if !context.json {
                context.out.text("No read has come yet.")?;
            }
            return Ok(context.out.flush()?);
        }
        let (from, all) = (self.explained_from(), self.kept.len());
        self.question.case = self.case(self.kept.range(from..all));
        if !context.json {
            let since = self.since;
            let title = match (all - from, since) {
                (1, 1) => "The read".to_owned(),
                (1, _) => format!("The last of {since} reads; something was changed before it"),
                (shown, _) if from > 0 => {
                    format!("The last {shown} of {since} reads; something was changed before them")
                }
                (shown, since) if shown == since => format!("All {since} reads together"),
                (shown, since) => format!("The last {shown} of {since} reads together"),
            };
            context.out.lines(&[Line::default(), Line::new(Ink::Faint, title)])?;
        }
        match explain::answer(&mut self.question, None, context) {
            Err(Stop::Refused(refusal)) => context.refuse(&refusal)?,
            answered => drop(answered?),
        }
        if !context.json {
            context.out.text("")?;
        }
        Ok(context.out.flush()?)
    }

    /// Forgets the reads so far, as after mending.
    pub(super) fn forget(&mut self, now: i64, context: &mut Context) -> Done {
        self.kept.clear();
        self.since = 0;
        let says = "the reads so far are forgotten".to_owned();
        self.aside(json::Happened::Forgotten { says }, now, context)?;
        Ok(context.out.flush()?)
    }

    /// The full answer, and how it ended.
    pub(super) fn end(mut self, origin: &Origin, context: &mut Context) -> Outcome {
        if self.no_reads > NAMED {
            let says =
                format!("{} lines were no reads; the first {NAMED} are named", self.no_reads);
            context.out.flush()?;
            Refusal::new(says, "").print();
        }
        if self.reads == 0 {
            return Err(origin.no_read().into());
        }
        if !self.kept.is_empty() {
            self.explain(context)?;
        }
        Ok(if self.failed { Status::Refused } else { Status::of(self.all_good) })
    }

    /// Whether a controller set to ignore repeats would not show it: the bits
    /// of the last read that it did show, within the window. A repeat does not
    /// make the window any longer.
    fn is_repeat(&mut self, bits: Bits, at: i64) -> bool {
        let repeat = self.shown.is_some_and(|(shown, since)| {
            shown == bits && !bits.is_empty() && at.saturating_sub(since) < self.window
        });
        if !repeat {
            self.shown = Some((bits, at));
        }
        repeat
    }

    fn read(&mut self, arrived: Arrived, context: &mut Context) -> Done {
        let Arrived { bits, pulses, expected, at, line, .. } = arrived;
        let repeat = self.is_repeat(bits, at);
        let expected: Expected = match expected.is_empty() {
            true => self.expect.clone(),
            false => expected.into_iter().collect(),
        };
        let read = CaseRead { bits, expected, pulses: Evidence::default() };
        let verdict = Verdict::NoData;
        self.kept.push_back(Kept { read: read.clone(), pulses: pulses.clone(), verdict });
        let evidence = Evidence::of(&pulses, &self.rhythm());
        let captured = (!pulses.is_empty()).then_some(self.probe_at);
        let reads = vec![CaseRead { pulses: evidence, ..read }];
        let case = Case { reads, captured, ..Case::default() };
        let diagnosis = match self.weigh(&case, context.masking) {
            Ok(diagnosis) => diagnosis,
            Err(error) => {
                self.kept.pop_back();
                let place = Place { line: Some(line), ..Place::default() };
                let refusal = explain::refuse(&error, context.masking).at(place);
                return self.refuse(&refusal, context);
            }
        };
        if let Some(kept) = self.kept.back_mut() {
            kept.verdict = diagnosis.verdict;
        }
        if self.kept.len() > KEPT {
            self.kept.pop_front();
        }
        self.since += 1;
        self.reads += 1;
        self.all_good &= diagnosis.ok;
        self.question.case = case;
        if context.json {
            let object = self.object(&diagnosis, line, at, repeat, context.masking);
            return Ok(context.out.json(&object)?);
        }
        let masking = context.masking;
        let length = format!("{} bit{}", bits.len(), if bits.len() == 1 { "" } else { "s" });
        let word = if diagnosis.ok { "good" } else { "wrong" };
        let lead = format!("{}  {length:>8}  {word:<5}  ", time(at));
        let tail = if repeat { ", repeat" } else { "" };
        let texts: Vec<String> =
            self.texts(&diagnosis, masking).into_iter().map(|text| text + tail).collect();
        let room = COLUMNS - lead.chars().count();
        let short = texts.iter().find(|text| text.chars().count() <= room).or(texts.last());
        let ink = if diagnosis.ok { Ink::Plain } else { Ink::Strong };
        let text = short.map_or("", String::as_str);
        Ok(context.out.lines(&hanging(ink, &lead, text))?)
    }

    /// The answer to a read in short, the fullest first.
    fn texts(&self, diagnosis: &Diagnosis, masking: Masking) -> Vec<String> {
        let says = |text: &str, probability| {
            let text = text.trim_end_matches('.');
            format!("{} ({})", lower(text), percent(probability))
        };
        let found = diagnosis.answer_wire();
        let card = found.and_then(|found| found.decoded.first()?.as_ref());
        let layout = card.and_then(|card| self.question.layout(card.layout));
        let whole = says(&diagnosis.says, diagnosis.probability);
        match diagnosis.verdict {
            Verdict::None if diagnosis.ok => {
                let values = layout.zip(card).map(|(layout, card)| {
                    let values = masking.numbers().values(layout, &card.fields);
                    let colon = if values.is_empty() { "" } else { ": " };
                    format!("{}{colon}{values}", layout.name())
                });
                vec![format!("{} ({})", values.unwrap_or_default(), percent(diagnosis.probability))]
            }
            Verdict::Wire(wire) => {
                vec![whole, says(&headline(wire.into()), diagnosis.probability)]
            }
            Verdict::Card(state) => {
                vec![whole, says(card_info(state).headline, diagnosis.probability)]
            }
            Verdict::NoData => vec!["nothing arrived".to_owned()],
            Verdict::LayoutDiffers | Verdict::None => vec![whole],
        }
    }

    fn object(
        &self,
        diagnosis: &Diagnosis,
        line: u64,
        at: i64,
        repeat: bool,
        masking: Masking,
    ) -> json::Watch {
        let found = diagnosis.answer_wire();
        let card = found.and_then(|found| found.decoded.first()?.as_ref());
        let layout = card.and_then(|card| self.question.layout(card.layout));
        let read = self.question.case.reads.first();
        let bits = read.map(|read| read.bits).unwrap_or_default();
        let fields = layout.zip(card);
        let happened = json::Happened::Read(Box::new(json::Read {
            line,
            bits: masking.bits(&bits, layout),
            length: bits.len(),
            repeat,
            verdict: diagnosis.verdict.to_string(),
            ok: diagnosis.ok,
            answer: explain::short_answer(&self.question, diagnosis),
            fields: fields.and_then(|(layout, card)| explain::card_fields(card, layout, masking)),
            pulses: diagnosis.moved.iter().map(|moved| moved.says.clone()).collect(),
        }));
        json::Watch::at(at, happened)
    }

    fn no_read(&mut self, text: &str, error: &LineError, context: &mut Context) -> Done {
        let stream = Stream { file: None, entries: self.entries, masking: context.masking };
        let mut refusal = stream.refusal(error);
        match error.problem {
            LineProblem::Headings => {
                refusal.expected += "; of other tables of the two lines misread capture FILE \
                                     makes reads, once they are in a file";
            }
            LineProblem::NoSeconds => refusal.expected += ", or --time-unit with it",
            _ => {}
        }
        let column = error.column.filter(|_| error.cell.is_none());
        if let Some(column) = column.filter(|&column| column <= text.chars().count()) {
            refusal.excerpt = Some((context.masking.pasted(text), column - 1));
        }
        self.refuse(&refusal, context)
    }

    fn half_line(&mut self, line: u64, text: &str, context: &mut Context) -> Done {
        let place = Place { line: Some(line), ..Place::default() };
        let refusal = Refusal {
            excerpt: Some((context.masking.pasted(text), text.chars().count())),
            ..Refusal::new("the line broke off and is left out", "lines that end with a line break")
        };
        self.refuse(&refusal.at(place), context)
    }

    /// Says that something is passed over. Standard error is spared after a
    /// while, an object is always given.
    fn refuse(&mut self, refusal: &Refusal, context: &mut Context) -> Done {
        self.no_reads += 1;
        if self.no_reads <= NAMED {
            return Ok(context.refuse(refusal)?);
        }
        if context.json {
            context.out.json(&refusal.object())?;
        }
        Ok(())
    }

    /// Something beside the reads.
    fn aside(&self, happened: json::Happened, at: i64, context: &mut Context) -> Done {
        if context.json {
            return Ok(context.out.json(&json::Watch::at(at, happened))?);
        }
        let lead = format!("{}  ", time(at));
        Ok(context.out.lines(&hanging(Ink::Strong, &lead, happened.says()))?)
    }

    /// The first of the reads that are explained together.
    fn explained_from(&self) -> usize {
        let verdicts: Vec<Option<Verdict>> = self
            .kept
            .iter()
            .map(|kept| (!kept.read.bits.is_empty()).then_some(kept.verdict))
            .collect();
        since_change(&verdicts, |reads| {
            let Question { candidates, model, .. } = &self.question;
            // One card presented before and after would speak for taking the reads
            // together, whatever was changed.
            let kept = reads.iter().filter_map(|&at| self.kept.get(at));
            let case = Case { presented: Presented::Several, ..self.case(kept) };
            let go_on = &mut |_| ControlFlow::Continue(());
            posterior(&case, candidates, model, go_on).map_or(0.0, |found| found.ln_evidence)
        })
    }

    /// Some of the reads that are kept.
    fn case<'k>(&self, kept: impl Iterator<Item = &'k Kept> + Clone) -> Case {
        let rhythm = self.rhythm();
        let reads = kept.clone().map(|kept| CaseRead {
            pulses: Evidence::of(&kept.pulses, &rhythm),
            ..kept.read.clone()
        });
        let captured = kept.clone().all(|kept| !kept.pulses.is_empty());
        Case {
            reads: reads.collect(),
            captured: captured.then_some(self.probe_at),
            ..Case::default()
        }
    }

    /// The rhythm of the reads so far.
    fn rhythm(&self) -> Rhythm {
        Rhythm::of(self.kept.iter().map(|kept| &kept.pulses[..]), &Limits::default())
    }

    fn weigh(&self, case: &Case, masking: Masking) -> Result<Diagnosis, DiagnoseError> {
        let Question { candidates, model, .. } = &self.question;
        let go_on = &mut |_| ControlFlow::Continue(());
        diagnose(case, candidates, model, masking.numbers(), go_on)
    }
}

/// The time since the start.
fn time(at: i64) -> String {
    format!("{:>7.1} s", at as f64 / 1e9)
}
