//! A finished read, and what ended it.

use crate::bits::Bits;

use super::{Level, Line, Pulse, bits_of};

/// What ended a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ended {
    /// Neither line changed for the set silence: the usual end.
    Silence,
    /// One more pulse than a read can hold came without a silence. No card
    /// sends that many: it is noise, and so is the read that follows.
    TooManyPulses,
    /// There was no more to come: the last read of a capture, perhaps cut.
    StreamEnd,
    /// The clock went back by the set silence or more, so nothing is known
    /// about the time between.
    ClockRanBack,
}

/// A finished read, borrowed from the assembler until it is fed again.
#[derive(Clone, Copy, Debug)]
pub struct Read<'a> {
    pub(super) pulses: &'a [Pulse],
    pub(super) rest: [Level; 2],
    pub(super) levels: [Option<Level>; 2],
    pub(super) ended: Ended,
    pub(super) marks: Marks,
}

/// What else is to be said of a read.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Marks {
    pub(super) clock_ran_back: bool,
    pub(super) follows_on: bool,
    pub(super) glitches: u32,
}

impl<'a> Read<'a> {
    /// The pulses in the order of their leading edges, one a bit; 1 to
    /// [`MAX_PULSES`](super::MAX_PULSES) of them.
    pub fn pulses(&self) -> &'a [Pulse] {
        self.pulses
    }

    /// The bits, one a pulse.
    pub fn bits(&self) -> Bits {
        bits_of(self.pulses)
    }

    /// How many bits there are.
    pub fn len(&self) -> usize {
        self.pulses.len()
    }

    /// Whether there are none; a read that is given out has at least one.
    pub fn is_empty(&self) -> bool {
        self.pulses.is_empty()
    }

    /// The leading edge of the first pulse, in nanoseconds.
    pub fn start(&self) -> i64 {
        self.pulses.first().map_or(0, |pulse| pulse.start)
    }

    /// The level a line rests at between the pulses.
    pub fn rest(&self, line: Line) -> Level {
        self.rest[line.index()]
    }

    /// The level a line had when the read ended; `None` where nothing has told
    /// it yet.
    pub fn level(&self, line: Line) -> Option<Level> {
        self.levels[line.index()]
    }

    /// What ended it.
    pub fn ended(&self) -> Ended {
        self.ended
    }

    /// Whether it is the rest of a read that had too many pulses.
    pub fn follows_on(&self) -> bool {
        self.marks.follows_on
    }

    /// Whether a change in it came with an earlier time than the one before,
    /// by less than the silence. It was taken to have come at the same time.
    pub fn clock_ran_back(&self) -> bool {
        self.marks.clock_ran_back
    }

    /// How many glitches the filter took out of it.
    pub fn glitches(&self) -> u32 {
        self.marks.glitches
    }

    /// Whether both lines were active at once somewhere in it.
    pub fn lines_overlap(&self) -> bool {
        let mut last: [Option<&Pulse>; 2] = [None, None];
        self.pulses.iter().any(|pulse| {
            let across = last[pulse.line.other().index()];
            last[pulse.line.index()] = Some(pulse);
            across.is_some_and(|other| pulse.overlap(other) > 0)
        })
    }

    /// Whether a line was still active when the read ended: held, or cut.
    pub fn still_active(&self, line: Line) -> bool {
        self.pulses.iter().any(|pulse| pulse.line == line && !pulse.complete)
    }
}
