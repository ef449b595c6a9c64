//! A read of a capture as it may be shown.
//!
//! With `--mask` a pulse of a field must not be told by its line, and not by its
//! timing either: where one line's pulses are all too wide, or one line loses
//! some, the places of the findings tell the bits. So from a read with hidden
//! bits only what is the same whichever line each pulse stands on is taken: it
//! is looked at with every pulse put on one line, its findings lose their
//! places and their number, and it is drawn evenly and not to time.

use misread::capture::CaptureRead;
use misread::file::Entry;
use misread::layout::Field;
use misread::pulse::{
    Ended, Finding, FindingKind, Limits, Line, Pulse, Rhythm, Spread, findings, intervals, median,
};
use misread::{Bits, Layout};

use super::kinds::{self, Group};
use crate::command::decode::answer::{Answer, answer};
use crate::draw::{Drawn, Train};
use crate::masking::Masking;

/// The beat of pulses that are not drawn to time, in nanoseconds.
const EVEN: u32 = 1_000_000;

/// How the reads of a capture are to be shown.
pub(super) struct View<'a> {
    pub(super) entry: Option<&'a Entry>,
    pub(super) masking: Masking,
    pub(super) limits: Limits,
    pub(super) rhythm: Rhythm,
}

/// A read as it may be shown.
pub(super) struct Shown<'a> {
    /// Its place in the capture, from 0.
    pub(super) index: usize,
    /// In nanoseconds.
    pub(super) start: i64,
    /// As received: for [`Masking`] to show.
    pub(super) bits: Bits,
    pub(super) repeat: bool,
    /// What else is to be said of it.
    pub(super) note: Option<Note>,
    /// The pulse widths of each line; nothing where bits are hidden.
    pub(super) widths: [Option<Spread>; 2],
    /// The pulse widths of both lines together.
    pub(super) width: Option<Spread>,
    pub(super) interval: Option<Spread>,
    /// Where bits are hidden, one of each kind, without place and line.
    pub(super) findings: Vec<Finding>,
    /// Whether findings have lost their places and their number.
    pub(super) blurred: bool,
    pub(super) pulses: Vec<Drawn>,
    /// What a layout that was named says of it.
    pub(super) answer: Option<Answer<'a>>,
    /// The named layout, where it has that many bits.
    pub(super) layout: Option<&'a Layout>,
}

impl<'a> View<'a> {
    /// The read of that index, from 0.
    pub(super) fn show(&self, index: usize, read: &CaptureRead) -> Shown<'a> {
        let fits = |entry: &&Entry| entry.layout.bits() == read.bits.len();
        let layout = self.entry.filter(fits).map(|entry| &entry.layout);
        let hidden = self.masking.hidden(read.bits.len(), layout);
        let blurred = hidden.contains(&true);
        let pulses = &read.pulses;
        let of_line = |line| if blurred { None } else { Spread::of_widths(pulses, line) };
        Shown {
            index,
            start: pulses.first().map_or(0, |pulse| pulse.start),
            bits: read.bits,
            repeat: read.repeat,
            note: note(read),
            widths: Line::BOTH.map(of_line),
            width: spread(pulses.iter().filter(|pulse| pulse.complete).map(|pulse| pulse.width)),
            interval: spread(intervals(pulses)),
            findings: if blurred { self.blurred(index, read) } else { read.findings.clone() },
            blurred,
            pulses: self.drawn(pulses, &hidden, blurred),
            answer: self.entry.map(|entry| answer(&read.bits, &[], Some(entry), self.masking)),
            layout,
        }
    }

    /// The findings that do not depend on which line a pulse stands on, the
    /// worst of each kind, without place and line.
    fn blurred(&self, index: usize, read: &CaptureRead) -> Vec<Finding> {
        let alike: Vec<Pulse> =
            read.pulses.iter().map(|pulse| Pulse { line: Line::D0, ..*pulse }).collect();
        let usual = spread(alike.iter().filter(|pulse| pulse.complete).map(|pulse| pulse.width));
        let rhythm =
            Rhythm { beat: self.rhythm.beat, width: [usual.map(|usual| usual.median), None] };
        let whole = Finding {
            kind: FindingKind::LinesOverlap,
            line: None,
            read: Some(index),
            bit: None,
            value: None,
            limit: Some(0),
        };
        // Pulses of one line are never active at once, so those that are stand
        // on both.
        let overlaps = alike.windows(2).filter_map(|pair| match pair {
            [first, second] if first.overlap(second) > 0 => {
                Some(Finding { value: Some(first.overlap(second)), ..whole })
            }
            _ => None,
        });
        let close = read.findings.iter().filter(|f| f.kind == FindingKind::FramesTooClose).copied();
        let found: Vec<Finding> =
            close.chain(findings(index, &alike, &self.limits, &rhythm)).chain(overlaps).collect();
        let groups = kinds::groups(&found, true);
        let bare = |group: Group| Finding { line: None, bit: None, ..group.worst };
        groups.into_iter().map(bare).collect()
    }

    fn drawn(&self, pulses: &[Pulse], hidden: &[bool], blurred: bool) -> Vec<Drawn> {
        let places = pulses.iter().zip(hidden).enumerate();
        places
            .map(|(index, (pulse, &hidden))| Drawn {
                line: (!hidden).then_some(pulse.line),
                start: if blurred { index as i64 * i64::from(EVEN) } else { pulse.start },
                width: if blurred { 0 } else { pulse.width },
                complete: blurred || pulse.complete,
            })
            .collect()
    }
}

impl Shown<'_> {
    /// How many bits.
    pub(super) fn len(&self) -> usize {
        self.bits.len()
    }

    /// Whether nothing is wrong with it, and it is all there.
    pub(super) fn is_good(&self) -> bool {
        self.findings.is_empty() && self.note.is_none() && !self.is_misfit()
    }

    /// Whether a layout was named and it does not fit, or a declared value or
    /// range does not hold.
    pub(super) fn is_misfit(&self) -> bool {
        self.answer.as_ref().is_some_and(|answer| !answer.ok)
    }

    /// The findings by kind.
    pub(super) fn groups(&self) -> Vec<Group> {
        kinds::groups(&self.findings, self.blurred)
    }

    /// What is drawn along time.
    pub(super) fn train(&self, rhythm: &Rhythm) -> Train<'_> {
        let usual = self.interval.map(|interval| interval.median);
        Train {
            pulses: &self.pulses,
            beat: if self.blurred { EVEN } else { rhythm.beat.or(usual).unwrap_or(EVEN).max(1) },
            to_time: !self.blurred,
            marks: self
                .groups()
                .into_iter()
                .map(|group| (group.bits.clone(), group.says()))
                .collect(),
        }
    }

    /// The fields of the layout that was named, where the read fits it.
    pub(super) fn fields(&self) -> Option<&[Field]> {
        let fits = self.answer.as_ref().is_some_and(|answer| answer.fits);
        self.layout.filter(|_| fits).map(Layout::fields)
    }
}

/// How a read came to an end that is none of its own.
#[derive(Clone, Copy)]
pub(super) struct Note {
    /// Said of the read.
    pub(super) read: &'static str,
    /// Said of the capture.
    pub(super) whole: &'static str,
}

fn note(read: &CaptureRead) -> Option<Note> {
    const MANY: &str = "more pulses came in a row than any card sends";
    let note = |read, whole| Some(Note { read, whole });
    let cut = read.pulses.last().is_some_and(|pulse| !pulse.complete);
    match read.ended {
        _ if read.follows_on => {
            note("the rest of a read with more pulses than any card sends", MANY)
        }
        Ended::TooManyPulses => note("more pulses than any card sends: noise", MANY),
        Ended::ClockRanBack => {
            note("the recorder's clock went back behind it", "the recorder's clock went back")
        }
        Ended::StreamEnd if cut => {
            note("the capture ends inside its last pulse", "the capture ends inside a pulse")
        }
        Ended::Silence | Ended::StreamEnd => None,
    }
}

fn spread(durations: impl Iterator<Item = u32>) -> Option<Spread> {
    let mut sorted: Vec<u32> = durations.collect();
    let median = median(&mut sorted)?;
    Some(Spread { min: *sorted.first()?, median, max: *sorted.last()? })
}
