//! What a cause makes of one frame, every way followed to its end.

use misread::cause::{Cause, Wire};

use super::{Frame, Little, Read};

/// How one read comes of one frame: in so many ways, in each of which the same
/// number of things happened that happen at a rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sent {
    ways: f64,
    happened: usize,
    did_not: usize,
}

impl Sent {
    const NEVER: Sent = Sent { ways: 0.0, happened: 0, did_not: 0 };

    pub(super) fn surely(probability: f64) -> Sent {
        Sent { ways: probability, ..Sent::NEVER }
    }

    pub(super) fn times(self, factor: f64) -> Sent {
        Sent { ways: factor * self.ways, ..self }
    }

    /// Its probability at this rate.
    pub(super) fn at(self, rate: f64) -> f64 {
        self.ways * rate.powi(self.happened as i32) * (1.0 - rate).powi(self.did_not as i32)
    }
}

/// A cause, and swapped lines before it or not. The way tells the four ways of
/// padding, or of being shorted, apart.
#[derive(Clone, Copy, Debug)]
pub(super) struct Through {
    pub(super) swapped: bool,
    pub(super) cause: Cause,
    pub(super) way: usize,
}

impl Through {
    /// How the frame `t` arrives as the one read `r`. For causes that take one
    /// read a frame and have a layout.
    pub(super) fn sent(self, little: &Little, t: &Frame, r: &Read) -> Sent {
        use Cause::*;
        if self.swapped && self.cause == BytesReversed {
            let turned = little.bytes_reversed(t).map(|sent| turned(&sent));
            return Sent::surely(one(turned.is_some_and(|sent| is(r, sent.into_iter()))));
        }
        if self.swapped {
            return Through { swapped: false, ..self }.sent(little, &turned(t), r);
        }
        let n = t.len();
        let ones = t.iter().filter(|&&bit| bit).count();
        match self.cause {
            None => Sent::surely(one(is(r, t.iter().copied()))),
            LinesSwapped | BitsInverted => Sent::surely(one(is(r, t.iter().map(|bit| !bit)))),
            BitOrderReversed => Sent::surely(one(is(r, t.iter().rev().copied()))),
            BytesReversed => {
                let sent = little.bytes_reversed(t);
                Sent::surely(one(sent.is_some_and(|sent| is(r, sent.into_iter()))))
            }
            Padded => {
                let whole = [8, 32][self.way % 2];
                if n.is_multiple_of(whole) {
                    return Sent::NEVER;
                }
                let zeros = vec![false; n.next_multiple_of(whole) - n];
                let filled = if self.way < 2 { [&t[..], &zeros] } else { [&zeros[..], t] };
                Sent::surely(one(is(r, filled.concat().into_iter())))
            }
            D0Open => Sent::surely(one(is(r, vec![true; ones].into_iter()))),
            D1Open => Sent::surely(one(is(r, vec![false; n - ones].into_iter()))),
            LinesShorted => {
                let taken: &[bool] =
                    [&[false, true][..], &[true, false], &[false], &[true]][self.way];
                Sent::surely(one(is(r, taken.repeat(n).into_iter())))
            }
            HeadLost => {
                let most = 8.min(n - 1);
                let lost = |k: usize| one(is(r, t[k..].iter().copied())) / most as f64;
                Sent::surely((1..=most).map(lost).sum())
            }
            TailLost => {
                let most = 8.min(n - 1);
                let lost = |k: usize| one(is(r, t[..n - k].iter().copied())) / most as f64;
                Sent::surely((1..=most).map(lost).sum())
            }
            FramesMerged => Sent::surely(one(is(r, t.repeat(2).into_iter()))),
            BitsChanged => Sent::surely(changed(t, r)),
            D0Weak | D1Weak | BothWeak => weak(t, r, on(self.cause, [D0Weak, D1Weak])),
            D0Ringing | D1Ringing | BothRinging => {
                ringing(t, r, on(self.cause, [D0Ringing, D1Ringing]))
            }
            Crosstalk => extras(t, r, t.len(), || ways_crosstalk(t, r)),
            D0Noise | D1Noise => {
                let line = self.cause == D1Noise;
                extras(t, r, n + 1, || ways_noise(t, r, &[(line, 1.0)]))
            }
            BothNoise => extras(t, r, n + 1, || ways_noise(t, r, &[(false, 0.5), (true, 0.5)])),
            FrameSplit | UnknownLayout | RandomBits => {
                panic!("{} does not send one frame as one read", self.cause)
            }
        }
    }

    /// The probability that the frame arrives as these two reads; only for a
    /// split frame.
    pub(super) fn split(self, t: &Frame, first: &Read, second: &Read) -> f64 {
        match self.swapped {
            true => arrives_split(&turned(t), first, second),
            false => arrives_split(t, first, second),
        }
    }
}

/// The probability that the frame `t`, sent through this cause at this rate,
/// arrives as the one read `r`; for a line that is shorted, and for padding,
/// the rate is the number of the way.
pub(crate) fn arrives(cause: &str, rate: f64, little: &Little, t: &Frame, r: &Read) -> f64 {
    let cause = Cause::ALL.into_iter().find(|c| c.id() == cause).unwrap();
    arrives_by(Wire::Alone(cause), rate, little, t, r)
}

/// The same of a wire state that does not come and go.
pub(crate) fn arrives_by(wire: Wire, rate: f64, little: &Little, t: &Frame, r: &Read) -> f64 {
    let (swapped, cause) = (matches!(wire, Wire::Swapped(_)), wire.cause());
    let has_ways = matches!(cause, Cause::LinesShorted | Cause::Padded);
    let way = if has_ways { rate as usize } else { 0 };
    Through { swapped, cause, way }.sent(little, t, r).at(rate)
}

/// The probability that the frame arrives as two reads.
pub(crate) fn arrives_split(t: &Frame, first: &Read, second: &Read) -> f64 {
    let n = t.len();
    let cut = |k: usize| is(first, t[..k].iter().copied()) && is(second, t[k..].iter().copied());
    (1..n).filter(|&k| cut(k)).count() as f64 / (n - 1) as f64
}

/// The probability that nothing at all arrives of the frame.
pub(crate) fn nothing_arrives(wire: Wire, rate: f64, little: &Little, t: &Frame) -> f64 {
    use Cause::*;
    match wire.cause() {
        D0Open | D1Open | D0Weak | D1Weak | BothWeak => {
            arrives_by(wire, rate, little, t, &Read::new())
        }
        // What else there is leaves at least one bit of four.
        _ => 0.0,
    }
}

/// Every bit complemented.
pub(super) fn turned(t: &[bool]) -> Frame {
    t.iter().map(|bit| !bit).collect()
}

fn is(read: &[Option<bool>], bits: impl ExactSizeIterator<Item = bool>) -> bool {
    read.len() == bits.len() && read.iter().zip(bits).all(|(r, b)| r.is_none_or(|r| r == b))
}

fn one(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

/// Which lines suffer: D0, D1. A cause that is neither line's is both's.
fn on(cause: Cause, [d0, d1]: [Cause; 2]) -> [bool; 2] {
    [cause != d1, cause != d0]
}

/// One to three bits are complemented: those that differ, and as many as are
/// missing to their number among those that nobody read.
fn changed(t: &[bool], r: &[Option<bool>]) -> f64 {
    if t.len() != r.len() {
        return 0.0;
    }
    let differ = t.iter().zip(r).filter(|(t, r)| r.is_some_and(|r| r != **t)).count();
    let unread = r.iter().filter(|r| r.is_none()).count();
    let of = |(share, k): (f64, usize)| {
        let ways = k.checked_sub(differ).map_or(0.0, |rest| choices(unread, rest));
        share * ways / choices(t.len(), k)
    };
    [(0.97, 1), (0.02, 2), (0.01, 3)].into_iter().map(of).sum()
}

/// How many choices of `k` out of `n` there are.
fn choices(n: usize, k: usize) -> f64 {
    if k > n { 0.0 } else { (0..k).fold(1.0, |ways, i| ways * (n - i) as f64 / (i + 1) as f64) }
}

fn pulses_on(t: &[bool], lines: [bool; 2]) -> usize {
    t.iter().filter(|&&bit| lines[usize::from(bit)]).count()
}

fn weak(t: &[bool], r: &[Option<bool>], lines: [bool; 2]) -> Sent {
    let pulses = pulses_on(t, lines);
    let happened = match t.len().checked_sub(r.len()) {
        Some(lost) if lost <= pulses => lost,
        _ => return Sent::NEVER,
    };
    Sent { ways: ways_weak(t, r, lines), happened, did_not: pulses - happened }
}

fn ringing(t: &[bool], r: &[Option<bool>], lines: [bool; 2]) -> Sent {
    extras(t, r, pulses_on(t, lines), || ways_ringing(t, r, lines))
}

/// As many extra pulses as the read is longer than the frame, out of so many
/// that could be.
fn extras(t: &[bool], r: &[Option<bool>], most: usize, ways: impl FnOnce() -> f64) -> Sent {
    match r.len().checked_sub(t.len()) {
        Some(happened) if happened <= most => {
            Sent { ways: ways(), happened, did_not: most - happened }
        }
        _ => Sent::NEVER,
    }
}

/// Whether the next received bit can be this one, and what follows it.
fn take(r: &[Option<bool>], bit: bool) -> Option<&[Option<bool>]> {
    let (first, rest) = r.split_first()?;
    first.is_none_or(|first| first == bit).then_some(rest)
}

/// In how many ways pulses can be lost on these lines so that this is left.
fn ways_weak(t: &[bool], r: &[Option<bool>], lines: [bool; 2]) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() > t.len() {
        return 0.0;
    }
    let lost = if lines[usize::from(bit)] { ways_weak(sent, r, lines) } else { 0.0 };
    lost + take(r, bit).map_or(0.0, |rest| ways_weak(sent, rest, lines))
}

/// In how many ways pulses can count twice on these lines so that this comes.
fn ways_ringing(t: &[bool], r: &[Option<bool>], lines: [bool; 2]) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() < t.len() {
        return 0.0;
    }
    let Some(rest) = take(r, bit) else { return 0.0 };
    let twice = take(rest, bit).filter(|_| lines[usize::from(bit)]);
    ways_ringing(sent, rest, lines) + twice.map_or(0.0, |rest| ways_ringing(sent, rest, lines))
}

/// In how many ways pulses can be followed by one on the other line.
fn ways_crosstalk(t: &[bool], r: &[Option<bool>]) -> f64 {
    let Some((&bit, sent)) = t.split_first() else { return one(r.is_empty()) };
    if r.len() < t.len() {
        return 0.0;
    }
    let Some(rest) = take(r, bit) else { return 0.0 };
    ways_crosstalk(sent, rest) + take(rest, !bit).map_or(0.0, |rest| ways_crosstalk(sent, rest))
}

/// In how many ways gaps can hold an extra pulse, each way weighed by how
/// likely its extra pulses stand on the lines they stand on. A gap, then a bit,
/// and at the end one more gap.
fn ways_noise(t: &[bool], r: &[Option<bool>], lines: &[(bool, f64)]) -> f64 {
    if r.len() < t.len() {
        return 0.0;
    }
    let after_gap = |r: &[Option<bool>]| match t.split_first() {
        None => one(r.is_empty()),
        Some((&bit, sent)) => take(r, bit).map_or(0.0, |rest| ways_noise(sent, rest, lines)),
    };
    let extra = |&(line, share)| take(r, line).map_or(0.0, |rest| share * after_gap(rest));
    after_gap(r) + lines.iter().map(extra).sum::<f64>()
}
