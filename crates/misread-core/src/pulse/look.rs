//! Looking for findings: in a read, between two reads, in a whole capture.

use arrayvec::ArrayVec;

use super::{
    Ended, Finding, FindingKind, Level, Limits, Line, Pulse, Read, Rhythm, duration, elapsed,
    multiple_of,
};

/// The findings in one read, bit by bit.
///
/// `read` is its index in the capture, from 0. The pulses are in the order of
/// their leading edges. What `rhythm` leaves open is not looked for.
///
/// ```
/// use misread_core::pulse::{FindingKind, Level, Line, Limits, Pulse, Rhythm, findings};
///
/// let pulse = |start, line| Pulse { start, width: 50_000, line, complete: true };
/// let pulses = [pulse(0, Line::D1), pulse(1_000_000, Line::D0), pulse(3_000_000, Line::D0)];
/// let rhythm = Rhythm { beat: Some(1_000_000), width: [Some(50_000); 2] };
/// let found: Vec<_> = findings(0, &pulses, &Limits::default(), &rhythm).collect();
/// assert_eq!(found.len(), 1);
/// assert_eq!(found[0].kind, FindingKind::MissingBeat);
/// assert_eq!(
///     found[0].to_string(),
///     "Read 1, bit 3: the pulse comes 2 ms after the one before; \
///      the reader's beat is 1 ms, so a bit may be missing."
/// );
/// ```
pub fn findings<'a>(
    read: usize,
    pulses: &'a [Pulse],
    limits: &'a Limits,
    rhythm: &'a Rhythm,
) -> impl Iterator<Item = Finding> + 'a {
    let mut before: Option<&Pulse> = None;
    let mut last: [Option<&Pulse>; 2] = [None, None];
    pulses.iter().enumerate().flat_map(move |(bit, pulse)| {
        let seen = Seen {
            before,
            same_line: last[pulse.line.index()],
            other_line: last[pulse.line.other().index()],
        };
        before = Some(pulse);
        last[pulse.line.index()] = Some(pulse);
        let place = Finding {
            kind: FindingKind::PulseTooShort,
            line: Some(pulse.line),
            read: Some(read),
            bit: Some(bit),
            value: None,
            limit: None,
        };
        at_bit(place, pulse, seen, limits, rhythm)
    })
}

/// Whether two consecutive reads are too close. `read` is the index of the
/// second one in the capture, from 0.
pub fn between(read: usize, first: &[Pulse], second: &[Pulse], limits: &Limits) -> Option<Finding> {
    let end = first.iter().map(Pulse::end).max()?;
    let gap = duration(end, second.first()?.start);
    limits.is_below(gap, limits.gap).then_some(Finding {
        kind: FindingKind::FramesTooClose,
        line: None,
        read: Some(read),
        bit: Some(0),
        value: Some(gap),
        limit: Some(limits.gap),
    })
}

/// What the reads of a capture have in common.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    reads: u64,
    /// Of each line: how many pulses it had; in how many reads it rested low;
    /// in how many it had low at the end, and in how many high.
    pulses: [u64; 2],
    resting_low: [u64; 2],
    ending: [[u64; 2]; 2],
    /// In how many reads each line tells by itself where it rests, and in how
    /// many of those that is low.
    telling: [u64; 2],
    telling_low: [u64; 2],
}

impl Tally {
    /// Counts a read in.
    pub fn count(&mut self, read: &Read<'_>) {
        self.reads += 1;
        for pulse in read.pulses() {
            self.pulses[pulse.line.index()] += 1;
        }
        for line in Line::BOTH {
            let index = line.index();
            self.resting_low[index] += u64::from(read.rest(line) == Level::Low);
            if let Some(level) = read.level(line) {
                self.ending[index][usize::from(level == Level::High)] += 1;
            }
            if let Some(rest) = own_rest(read, line) {
                self.telling[index] += 1;
                self.telling_low[index] += u64::from(rest == Level::Low);
            }
        }
    }

    /// How many reads were counted.
    pub fn reads(&self) -> u64 {
        self.reads
    }

    /// How many pulses a line had in them.
    pub fn pulses(&self, line: Line) -> u64 {
        self.pulses[line.index()]
    }

    /// The level at which a line rests in more than half of the reads; high
    /// where it is half and half.
    pub fn rest(&self, line: Line) -> Level {
        let low = self.resting_low[line.index()];
        if low > self.reads / 2 { Level::Low } else { Level::High }
    }

    /// The level at which a line stands throughout, where it never pulses and
    /// that was told.
    pub fn stands(&self, line: Line) -> Option<Level> {
        match self.ending[line.index()] {
            _ if self.pulses(line) > 0 => None,
            [0, 0] => None,
            [low, high] => Some(Level::from(high >= low)),
        }
    }

    /// Where each line rests, D0 first, if in nine reads of ten that is low for
    /// one and high for the other: one was taken through an inverting stage.
    /// Then the reads want to be assembled anew, with
    /// [`Rest::Each`](super::Rest::Each).
    pub fn apart(&self) -> Option<[Level; 2]> {
        let own = |line: Line| {
            let (reads, low) = (self.telling[line.index()], self.telling_low[line.index()]);
            match low {
                _ if reads == 0 => None,
                low if low * 10 >= reads * 9 => Some(Level::Low),
                low if low * 10 <= reads => Some(Level::High),
                _ => None,
            }
        };
        let levels = [own(Line::D0)?, own(Line::D1)?];
        (levels[0] != levels[1]).then_some(levels)
    }

    /// The findings about the capture as a whole.
    pub fn findings(&self) -> impl Iterator<Item = Finding> + use<> {
        let whole =
            |kind, line| Finding { kind, line, read: None, bit: None, value: None, limit: None };
        let mut found: ArrayVec<Finding, 5> = ArrayVec::new();
        let low = Line::BOTH.map(|line| self.rest(line) == Level::Low);
        match low {
            [true, true] => found.push(whole(FindingKind::IdleLow, None)),
            [true, false] => found.push(whole(FindingKind::IdleLow, Some(Line::D0))),
            [false, true] => found.push(whole(FindingKind::IdleLow, Some(Line::D1))),
            [false, false] => {}
        }
        if self.reads > 0 {
            for line in Line::BOTH.into_iter().filter(|&line| self.pulses(line) == 0) {
                found.push(whole(FindingKind::LineSilent, Some(line)));
                if self.stands(line).is_some_and(|level| level != self.rest(line)) {
                    found.push(whole(FindingKind::LineHeld, Some(line)));
                }
            }
        }
        found.into_iter()
    }
}

/// Where a line rests by its own pulses, whatever the other one does. It was
/// taken the wrong way round if it was active for most of the time from its
/// first pulse to its last, and through the silence behind. `None` where it had
/// fewer than two pulses, or no silence ended the read.
fn own_rest(read: &Read<'_>, line: Line) -> Option<Level> {
    let mut pulses = read.pulses().iter().filter(|pulse| pulse.line == line);
    let first = pulses.next()?;
    let mut active = 0;
    let mut last = first;
    for pulse in pulses {
        active += u64::from(last.width);
        last = pulse;
    }
    if core::ptr::eq(first, last) || read.ended() != Ended::Silence {
        return None;
    }
    let lasted = elapsed(first.start, last.start);
    let wrong = !last.complete && active.saturating_mul(2) > lasted;
    Some(if wrong { read.rest(line).other() } else { read.rest(line) })
}

/// The pulses before one.
struct Seen<'a> {
    before: Option<&'a Pulse>,
    same_line: Option<&'a Pulse>,
    other_line: Option<&'a Pulse>,
}

/// Up to one of each of eight kinds.
fn at_bit(
    place: Finding,
    pulse: &Pulse,
    seen: Seen<'_>,
    limits: &Limits,
    rhythm: &Rhythm,
) -> ArrayVec<Finding, 8> {
    let found =
        |kind, value, limit| Finding { kind, value: Some(value), limit: Some(limit), ..place };
    let of_both = |finding| Finding { line: None, ..finding };
    let width = pulse.width;
    let mut list = ArrayVec::new();

    // A pulse cut by the end of the read may still have been wide enough.
    if pulse.complete && limits.is_below(width, limits.width.shortest) {
        list.push(found(FindingKind::PulseTooShort, width, limits.width.shortest));
    }
    if limits.is_above(width, limits.width.longest) {
        list.push(found(FindingKind::PulseTooLong, width, limits.width.longest));
    }
    if let Some(usual) = rhythm.width_of(pulse.line)
        && pulse.complete
        && u64::from(width) * 2 < u64::from(usual)
    {
        list.push(found(FindingKind::ShortPulse, width, usual / 2));
    }
    if let Some(other) = seen.other_line
        && pulse.overlap(other) > 0
    {
        list.push(of_both(found(FindingKind::LinesOverlap, pulse.overlap(other), 0)));
    }
    if let Some(before) = seen.before {
        let interval = duration(before.start, pulse.start);
        if limits.is_below(interval, limits.interval.shortest) {
            let limit = limits.interval.shortest;
            list.push(found(FindingKind::IntervalTooShort, interval, limit));
        }
        if limits.is_above(interval, limits.interval.longest) {
            let limit = limits.interval.longest;
            list.push(found(FindingKind::IntervalTooLong, interval, limit));
        }
        if let Some(beat) = rhythm.beat
            && multiple_of(interval, beat).is_some_and(|multiple| multiple >= 2)
        {
            list.push(of_both(found(FindingKind::MissingBeat, interval, beat)));
        }
    }
    if let Some(before) = seen.same_line
        && let Some(beat) = rhythm.beat
    {
        let interval = duration(before.start, pulse.start);
        if u64::from(interval) * 4 < u64::from(beat) {
            list.push(found(FindingKind::DoublePulse, interval, beat / 4));
        }
    }
    list
}
