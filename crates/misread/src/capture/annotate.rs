//! From a read's pulses to what is to be said of it.

use super::{CaptureRead, Options};
use crate::Bits;
use crate::pulse::{
    Ended, Evidence, Level, Limits, Line, Pulse, Read, Rhythm, between, bits_of, findings,
};

/// A read as the assembler gave it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Raw<'a> {
    pub(super) pulses: &'a [Pulse],
    pub(super) rest: [Level; 2],
    pub(super) ended: Ended,
    pub(super) follows_on: bool,
}

impl<'a> From<&Read<'a>> for Raw<'a> {
    fn from(read: &Read<'a>) -> Self {
        Raw {
            pulses: read.pulses(),
            rest: Line::BOTH.map(|line| read.rest(line)),
            ended: read.ended(),
            follows_on: read.follows_on(),
        }
    }
}

/// Goes over the reads of a capture in order.
pub(super) struct Annotator {
    limits: Limits,
    rhythm: Rhythm,
    repeat_window: Option<u64>,
    /// How many reads came before.
    index: usize,
    /// The pulse that ended last in the read before, if silence ended it.
    before: Option<Pulse>,
    /// The last read that a controller showed, and when it began.
    shown: Option<(Bits, i64)>,
}

impl Annotator {
    pub(super) fn new(options: &Options, limits: Limits, rhythm: Rhythm) -> Self {
        Annotator {
            limits,
            rhythm,
            repeat_window: options.repeat_window,
            index: 0,
            before: None,
            shown: None,
        }
    }

    pub(super) fn read(&mut self, raw: Raw<'_>) -> CaptureRead {
        let Raw { pulses, rest, ended, follows_on } = raw;
        let Annotator { limits, rhythm, index, .. } = *self;
        let bits = bits_of(pulses);
        let repeat = self.is_repeat(&bits, pulses.first().map_or(0, |pulse| pulse.start));
        let findings = self
            .before
            .and_then(|before| between(index, &[before], pulses, &limits))
            .into_iter()
            .chain(findings(index, pulses, &limits, &rhythm))
            .collect();
        self.index += 1;
        self.before = match ended {
            Ended::Silence => pulses.iter().max_by_key(|pulse| pulse.end()).copied(),
            _ => None,
        };
        CaptureRead {
            repeat,
            findings,
            evidence: Evidence::of(pulses, &rhythm),
            bits,
            pulses: pulses.to_vec(),
            rest,
            ended,
            follows_on,
        }
    }

    fn is_repeat(&mut self, bits: &Bits, start: i64) -> bool {
        let Some(window) = self.repeat_window else { return false };
        let repeats = self.shown.as_ref().is_some_and(|(shown, since)| {
            start >= *since && start.abs_diff(*since) < window && shown == bits
        });
        if !repeats {
            self.shown = Some((*bits, start));
        }
        repeats
    }
}
