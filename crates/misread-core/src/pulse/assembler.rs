//! Level changes in, finished reads out.

use super::read::{Ended, Marks, Read};
use super::{Change, Level, Line, MAX_PULSES, Pulse, duration, elapsed};

/// How long both lines are still before a read is taken to be finished, in
/// nanoseconds: 25 ms (common practice), more than the longest pulse interval.
pub const DEFAULT_SILENCE: u32 = 25_000_000;

/// How reads are told apart and pulses are told from noise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// A read ends when neither line has changed for this long, in
    /// nanoseconds; taken as 1 if it is 0.
    pub silence: u32,
    /// The level the lines rest at.
    pub rest: Rest,
    /// The glitch filter: a line that leaves a level and is back within less
    /// than this, in nanoseconds, never left it. 0 is off, as an analysis
    /// wants it, since a short pulse is evidence. Kept below the silence.
    pub glitch: u32,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { silence: DEFAULT_SILENCE, rest: Rest::Found, glitch: 0 }
    }
}

/// The level the lines rest at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rest {
    /// Given.
    At(Level),
    /// Given for each line, D0 first: one of them was taken through an
    /// inverting stage.
    Each([Level; 2]),
    /// Found for each read: the level that the lines which changed in it held
    /// for longer, from half a silence before its first change to the end of
    /// the silence behind it. Where the stream begins or ends within that, the
    /// lines are taken to have stood as they did for an eighth of a silence
    /// more. Where both levels are held for as long, as in the read before, and
    /// high at first.
    ///
    /// So lines that fall when the supply goes, and rise when it comes back,
    /// are no read.
    Found,
}

/// Assembles level changes into reads.
///
/// It takes anything and never panics:
///
/// - A change to the level the line already has is no change, but its time
///   counts as with [`tick`](Self::tick).
/// - The first change of a line tells what its level was before.
/// - A change with a time before the last one, by less than the silence, is
///   taken to have come at the time of the last one, and the read is marked. By
///   the silence or more, the clock has started anew: the read in progress ends
///   there, and the change begins another.
/// - The pulse after the 512th ends the read with
///   [`Ended::TooManyPulses`] and begins another that is marked to follow on.
/// - A line that stays active does not keep a read open: silence means no
///   change. When the line comes back later, that is no pulse of the next read.
///
/// It holds some 8 KiB, all in place.
#[derive(Clone, Debug)]
pub struct Assembler {
    pulses: [Pulse; MAX_PULSES],
    len: usize,
    /// Of each line.
    rest: [Level; 2],
    /// Of each line; `None` until its first change.
    levels: [Option<Level>; 2],
    /// What they were at the end of the read that is given out.
    levels_at_end: [Option<Level>; 2],
    /// The index of each line's active pulse, or `NOT_ACTIVE`.
    active: [usize; 2],
    /// The time of the last change.
    last: i64,
    /// A change that comes this long after the last one, or longer, needs a
    /// closer look. 0 outside a read, so that every change there gets one; a
    /// time before the last one is a large number and gets one too.
    patience: u64,
    silence: u64,
    /// Where the read in progress begins, if there is one, for finding its
    /// resting level: up to half a silence before its first change.
    window: Option<i64>,
    /// Of each line, the trailing edge that came first in the read, of an
    /// active level that began before it.
    stray: [Option<i64>; 2],
    find_rest: bool,
    glitch: u64,
    /// Of each line, its last change that stands and the one before; kept for
    /// the glitch filter only.
    edges: [Edges; 2],
    marks: Marks,
    ended: Ended,
    /// The read in `pulses` has been given out.
    given: bool,
    /// The change that ended a read and belongs to the next.
    held: Option<Change>,
    /// Whether `last` is a time of this stream.
    begun: bool,
}

#[derive(Clone, Copy, Debug, Default)]
struct Edges {
    last: Option<i64>,
    before: Option<i64>,
}

const NOT_ACTIVE: usize = usize::MAX;
const NO_PULSE: Pulse = Pulse { start: 0, width: 0, line: Line::D0, complete: false };

impl Assembler {
    /// An assembler that has seen nothing yet.
    pub const fn new(settings: Settings) -> Self {
        let silence = if settings.silence == 0 { 1 } else { settings.silence };
        let glitch = if settings.glitch < silence { settings.glitch } else { silence - 1 };
        let (rest, find_rest) = match settings.rest {
            Rest::At(level) => ([level; 2], false),
            Rest::Each(levels) => (levels, false),
            Rest::Found => ([Level::High; 2], true),
        };
        Assembler {
            pulses: [NO_PULSE; MAX_PULSES],
            len: 0,
            rest,
            levels: [None; 2],
            levels_at_end: [None; 2],
            active: [NOT_ACTIVE; 2],
            last: 0,
            patience: 0,
            silence: silence as u64,
            window: None,
            stray: [None; 2],
            find_rest,
            glitch: glitch as u64,
            edges: [Edges { last: None, before: None }; 2],
            marks: Marks { clock_ran_back: false, follows_on: false, glitches: 0 },
            ended: Ended::Silence,
            given: false,
            held: None,
            begun: false,
        }
    }

    /// Says where the lines stand at a moment, as a capture begins. Not
    /// needed, but it helps to find the resting level where the first read is
    /// cut short. Ends a read in progress, as [`finish`](Self::finish) does.
    pub fn begin(&mut self, time: i64, d0: Level, d1: Level) -> Option<Read<'_>> {
        let finished = self.end_stream();
        self.last = time;
        self.begun = true;
        self.levels = [Some(d0), Some(d1)];
        self.given_read(finished)
    }

    /// Takes a level change, in the order of time; gives the read before it,
    /// if the change comes after its silence.
    #[inline]
    pub fn feed(&mut self, change: Change) -> Option<Read<'_>> {
        if elapsed(self.last, change.time) >= self.patience {
            return self.feed_closely(change);
        }
        let finished = self.place(change);
        self.given_read(finished)
    }

    /// Says that it is this late and nothing changed; gives the read that has
    /// ended by then. Call it now and then, so that a read need not wait for
    /// the next card.
    pub fn tick(&mut self, now: i64) -> Option<Read<'_>> {
        self.settle();
        let finished = match self.clock(now) {
            Clock::Silent => self.close(Ended::Silence),
            Clock::Anew => self.close(Ended::ClockRanBack),
            Clock::Goes | Clock::BackABit => false,
        };
        self.given_read(finished)
    }

    /// Says that nothing more comes; gives the read in progress. After that
    /// the assembler can be fed another stream; it still knows where the lines
    /// rest.
    pub fn finish(&mut self) -> Option<Read<'_>> {
        let finished = self.end_stream();
        self.given_read(finished)
    }

    #[cold]
    #[inline(never)]
    fn feed_closely(&mut self, mut change: Change) -> Option<Read<'_>> {
        self.settle();
        let finished = match self.clock(change.time) {
            Clock::Goes => false,
            Clock::Silent => self.close(Ended::Silence),
            Clock::Anew => self.close(Ended::ClockRanBack),
            Clock::BackABit => {
                change.time = self.last;
                self.marks.clock_ran_back = true;
                false
            }
        };
        if finished {
            self.held = Some(change);
            return self.given_read(true);
        }
        let finished = self.place_closely(change);
        self.given_read(finished)
    }

    /// Places a change that may begin a read, or undo the one before.
    /// Whether a read has ended by it.
    fn place_closely(&mut self, change: Change) -> bool {
        let line = change.line.index();
        if self.levels[line] == Some(change.level) {
            return false;
        }
        if self.glitch > 0 && self.undo_glitch(change) {
            return false;
        }
        if self.window.is_none() {
            let known = if self.begun { elapsed(self.last, change.time) } else { 0 };
            // A clock that has started anew says nothing about the time before.
            let known = if known > i64::MAX as u64 { 0 } else { known };
            let known = known.clamp(self.silence / 4, self.silence);
            self.window = Some(change.time.saturating_sub_unsigned(known / 2));
            self.patience = if self.glitch > 0 { 0 } else { self.silence };
            self.begun = true;
        }
        let full = self.place(change);
        if self.glitch > 0 && !full {
            let edges = &mut self.edges[line];
            *edges = Edges { last: Some(change.time), before: edges.last };
        }
        full
    }

    /// Places a change in the read in progress. Whether the read ended by it,
    /// because it was full.
    #[inline(always)]
    fn place(&mut self, change: Change) -> bool {
        let line = change.line.index();
        if self.levels[line] == Some(change.level) {
            return false;
        }
        if change.level != self.rest[line] {
            let Some(pulse) = self.pulses.get_mut(self.len) else {
                return self.end_full(change);
            };
            *pulse = Pulse { start: change.time, width: 0, line: change.line, complete: false };
            self.active[line] = self.len;
            self.len += 1;
        } else if let Some(pulse) = self.pulses.get_mut(self.active[line]) {
            pulse.width = duration(pulse.start, change.time);
            pulse.complete = true;
            self.active[line] = NOT_ACTIVE;
        } else {
            self.stray[line] = Some(change.time);
        }
        self.levels[line] = Some(change.level);
        self.last = change.time;
        false
    }

    #[cold]
    #[inline(never)]
    fn end_full(&mut self, change: Change) -> bool {
        if self.close(Ended::TooManyPulses) {
            self.held = Some(change);
            return true;
        }
        self.place_closely(change)
    }

    /// Takes out a change of the same line that this one follows too soon, and
    /// this one with it. Whether there was one.
    fn undo_glitch(&mut self, change: Change) -> bool {
        let line = change.line.index();
        let Some(edge) = self.edges[line].last else { return false };
        if elapsed(edge, change.time) >= self.glitch {
            return false;
        }
        if change.level == self.rest[line] {
            let index = self.active[line];
            if index >= self.len {
                return false;
            }
            if let Some(from_here) = self.pulses.get_mut(index..self.len) {
                from_here.rotate_left(1);
            }
            self.len -= 1;
            self.active[line] = NOT_ACTIVE;
            let across = &mut self.active[change.line.other().index()];
            if *across != NOT_ACTIVE && *across > index {
                *across -= 1;
            }
        } else {
            let pulses = self.pulses.get(..self.len).unwrap_or_default();
            let before = pulses.iter().rposition(|pulse| pulse.line == change.line);
            if let Some(index) = before {
                if let Some(pulse) = self.pulses.get_mut(index) {
                    pulse.complete = false;
                }
                self.active[line] = index;
            } else if self.stray[line].is_some() {
                self.stray[line] = None;
            } else {
                return false;
            }
        }
        self.levels[line] = Some(change.level);
        self.marks.glitches = self.marks.glitches.saturating_add(1);
        self.edges[line].last = self.edges[line].before;
        // A glitch does not put off the silence.
        if let Some(last) = self.edges[0].last.max(self.edges[1].last) {
            self.last = last;
        }
        if self.len == 0 && self.stray == [None; 2] {
            self.window = None;
        }
        true
    }

    fn clock(&self, now: i64) -> Clock {
        if !self.begun {
            return Clock::Goes;
        }
        if now >= self.last {
            if elapsed(self.last, now) >= self.silence { Clock::Silent } else { Clock::Goes }
        } else if elapsed(now, self.last) >= self.silence {
            Clock::Anew
        } else {
            Clock::BackABit
        }
    }

    /// Ends the read in progress. Whether there is one with a pulse; it is then
    /// in `pulses` until [`settle`](Self::settle).
    fn close(&mut self, ended: Ended) -> bool {
        let Some(window) = self.window else { return false };
        let (end, beyond) = match ended {
            Ended::Silence => (self.last.saturating_add_unsigned(self.silence), 0),
            Ended::TooManyPulses | Ended::StreamEnd | Ended::ClockRanBack => {
                (self.last, self.silence / 8)
            }
        };
        for index in self.active {
            if let Some(pulse) = self.pulses.get_mut(index) {
                pulse.width = duration(pulse.start, end);
            }
        }
        self.ended = ended;
        self.levels_at_end = self.levels;
        if self.find_rest && self.mostly_active(since(window, end), beyond) {
            self.turn_over(end);
        }
        self.given = true;
        self.patience = 0;
        if self.len == 0 {
            self.settle();
            return false;
        }
        true
    }

    /// Whether the lines that changed in the read were active for the greater
    /// part of a window of that length, which goes on for some time beyond the
    /// end of the read.
    fn mostly_active(&self, window: u64, beyond: u64) -> bool {
        let mut active: u64 = 0;
        let mut changed = [false; 2];
        for line in Line::BOTH {
            if let Some(stray) = self.stray[line.index()] {
                changed[line.index()] = true;
                active = active.saturating_add(since(self.window.unwrap_or(stray), stray));
            }
        }
        for pulse in self.pulses.iter().take(self.len) {
            changed[pulse.line.index()] = true;
            active = active.saturating_add(u64::from(pulse.width));
            if !pulse.complete {
                active = active.saturating_add(beyond);
            }
        }
        let lines = changed.into_iter().filter(|&changed| changed).count() as u64;
        active.saturating_mul(2) > window.saturating_add(beyond).saturating_mul(lines)
    }

    /// Takes what was between the pulses of each line for the pulses.
    fn turn_over(&mut self, end: i64) {
        self.rest = self.rest.map(Level::other);
        let mut starts = self.stray;
        let mut kept = 0;
        for index in 0..self.len {
            let Some(&old) = self.pulses.get(index) else { break };
            let next = old.complete.then_some(old.end());
            let start = core::mem::replace(&mut starts[old.line.index()], next);
            if let (Some(start), Some(pulse)) = (start, self.pulses.get_mut(kept)) {
                let width = duration(start, old.start);
                *pulse = Pulse { start, width, line: old.line, complete: true };
                kept += 1;
            }
        }
        for line in Line::BOTH {
            let Some(start) = starts[line.index()] else { continue };
            let width = duration(start, end);
            match self.pulses.get_mut(kept) {
                Some(pulse) => {
                    *pulse = Pulse { start, width, line, complete: false };
                    kept += 1;
                }
                None => self.ended = Ended::TooManyPulses,
            }
        }
        self.len = kept;
        if let Some(pulses) = self.pulses.get_mut(..kept) {
            // Pulses of a line that begin at once: all but the last have no width,
            // and only the last may be cut.
            pulses.sort_unstable_by_key(|pulse| {
                (pulse.start, pulse.line, pulse.width, !pulse.complete)
            });
        }
    }

    /// Lets go of a read that was given out, and places the change that ended
    /// it.
    fn settle(&mut self) {
        if !self.given {
            return;
        }
        self.given = false;
        self.len = 0;
        self.active = [NOT_ACTIVE; 2];
        self.stray = [None; 2];
        self.window = None;
        self.marks = Marks {
            follows_on: self.ended == Ended::TooManyPulses && self.held.is_some(),
            ..Marks::default()
        };
        if let Some(change) = self.held.take() {
            self.place_closely(change);
        }
    }

    fn end_stream(&mut self) -> bool {
        self.settle();
        let finished = self.close(Ended::StreamEnd);
        self.begun = false;
        self.levels = [None; 2];
        self.edges = [Edges::default(); 2];
        finished
    }

    #[inline(always)]
    fn given_read(&self, finished: bool) -> Option<Read<'_>> {
        if !finished {
            return None;
        }
        Some(Read {
            pulses: self.pulses.get(..self.len).unwrap_or_default(),
            rest: self.rest,
            levels: self.levels_at_end,
            ended: self.ended,
            marks: self.marks,
        })
    }
}

/// From one moment to another; 0 if the other is earlier.
fn since(from: i64, to: i64) -> u64 {
    if to <= from { 0 } else { elapsed(from, to) }
}

enum Clock {
    /// On, by less than the silence.
    Goes,
    /// On, by the silence or more.
    Silent,
    /// Back, by less than the silence.
    BackABit,
    /// Back, by the silence or more.
    Anew,
}
