//! How likely a read is under a cause, given what is known of the frame; or
//! several reads of one card together.

use std::f64::consts::LN_2;

use misread_core::Bits;
use misread_core::layout::Layout;

use super::code::{Code, Known};
use super::held::{Held, Holds};
use super::trellis::{DIFFER, MOST_CHANGED, Matched, TooManyOpen, Trellis, distances, ln_total};
use crate::cause::Cause;
use crate::channel::{BITS_CHANGED, Chance, Padding, Pulses, Short};
pub(crate) use crate::channel::{LONGEST_READ as LONGEST, MOST_LOST, has_bytes, reverse_bytes};

/// Why the probability of a read cannot be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// The layout lacks a field, or a value does not fit its field.
    #[error("the layout cannot carry these values")]
    DoesNotFit,
    /// The cause gives no single read of a frame: two reads are one frame, or
    /// the bits came from no frame at all.
    #[error("this cause does not give one read for one frame")]
    NotOneRead,
    /// Too many parity checks are open at once.
    #[error("{open} parity checks are open after bit {position}, more than the analysis follows")]
    TooManyOpen {
        /// The position, from 1.
        position: usize,
        /// How many are open.
        open: usize,
    },
}

/// The probability of one read under a cause at a rate (passed over for a cause
/// without one), when a card of this layout was presented that carries the
/// `known` values, its other fields uniform. The read's unread bits are summed
/// over.
///
/// # Errors
///
/// See [`ReadError`].
///
/// ```
/// use misread::cause::Cause;
/// use misread::diagnose::read_probability;
/// use misread::layout::{Layout, built_in};
///
/// // A random frame of open-26 is one of 2²⁴; the first bit lost is one of
/// // eight ways to lose some.
/// let open_26 = Layout::new(&built_in::OPEN_26)?;
/// let read = "0010101000000100110100100".parse()?;
/// let p = read_probability(Cause::HeadLost, 0.0, &open_26, &[], &read)?;
/// assert!((p * 8.0 * 2f64.powi(24) - 1.0).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_probability(
    cause: Cause,
    rate: f64,
    layout: &Layout,
    known: &[(&str, u64)],
    read: &Bits,
) -> Result<f64, ReadError> {
    if cause == Cause::FrameSplit || cause.is_without_layout() {
        return Err(ReadError::NotOneRead);
    }
    let posed = Posed::of_values(layout, known.iter().copied()).ok_or(ReadError::DoesNotFit)?;
    if let (true, Err(error)) = (needs_trellis(cause), &posed.trellis) {
        return Err(ReadError::TooManyOpen { position: error.position, open: error.open });
    }
    let received = Received { bits: *read, cut: None };
    let rates = match cause {
        Cause::D0Open | Cause::D1Open => &[1.0][..],
        _ => &[rate][..],
    };
    let lns = ln_likelihood(cause, rates, &received, &posed);
    Ok(lns.iter().map(|&ln| libm::exp(ln)).sum::<f64>() / lns.len() as f64)
}

/// A layout with part of the card known: what a read is held against.
pub(crate) struct Posed {
    pub(crate) code: Code,
    /// The same card with the bytes of its fields in reverse order; `None` for
    /// a layout without such a field.
    pub(crate) bytes_reversed: Option<Code>,
    pub(crate) trellis: Result<Trellis, TooManyOpen>,
}

impl Posed {
    /// `None` where a value does not fit its field, a field is lacking, or the
    /// values contradict the layout.
    pub(crate) fn new(layout: &Layout, holds: &Holds) -> Option<Self> {
        let code = Code::new(layout, known_card(layout, holds, false)?)?;
        let bytes_reversed = layout
            .fields()
            .iter()
            .any(|field| has_bytes(field.width()))
            .then(|| Code::new(layout, known_card(layout, holds, true)?))
            .flatten();
        let trellis = Trellis::new(&code);
        Some(Posed { code, bytes_reversed, trellis })
    }

    /// The same of values that hold wholly.
    pub(crate) fn of_values<'a>(
        layout: &Layout,
        values: impl Iterator<Item = (&'a str, u64)>,
    ) -> Option<Self> {
        let held = |(name, value): (&str, u64)| (name.to_owned(), Held { value, loose: 0 });
        Posed::new(layout, &values.map(held).collect())
    }

    /// A part of the frames, for causes that leave bytes in order.
    pub(crate) fn of_code(code: Code) -> Self {
        let trellis = Trellis::new(&code);
        Posed { code, bytes_reversed: None, trellis }
    }
}

fn known_card(layout: &Layout, holds: &Holds, bytes_reversed: bool) -> Option<Known> {
    let mut known = Known::default();
    for (name, held) in holds {
        let field = layout.field(name)?;
        let turn = |raw: u64| match bytes_reversed && has_bytes(field.width()) {
            true => reverse_bytes(raw, field.width()),
            false => raw,
        };
        let raw = turn(field.to_raw(held.value)?);
        let all = u64::MAX >> (64 - field.width());
        let firm = turn(all & u64::MAX.checked_shl(held.loose as u32).unwrap_or(0));
        for (shift, index) in field.indices().rev().enumerate() {
            if firm >> shift & 1 == 1 {
                known.insert(index, raw >> shift & 1 == 1);
            }
        }
    }
    Some(known)
}

/// Received bits that belong together: one read, or the two halves of a frame
/// that was cut in two.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Received {
    pub(crate) bits: Bits,
    /// Where a second read begins, for [`Cause::FrameSplit`].
    pub(crate) cut: Option<usize>,
}

impl Received {
    /// Every bit the other way.
    pub(crate) fn turned(&self) -> Self {
        Received { bits: self.bits.complement(), ..*self }
    }
}

impl From<Bits> for Received {
    fn from(bits: Bits) -> Self {
        Received { bits, cut: None }
    }
}

/// The natural logarithm of the probability of `received` under a cause, for
/// each of the rates; causes without a rate give one number, those that happen
/// in one of several ways one for each. Minus infinity for never. Not for
/// causes that have no layout.
pub(crate) fn ln_likelihood(
    cause: Cause,
    rates: &[f64],
    received: &Received,
    posed: &Posed,
) -> Vec<f64> {
    match cause {
        Cause::LinesSwapped | Cause::BitsInverted => {
            ln_together(Cause::None, rates, &[received.turned()], false, posed)
        }
        _ => ln_together(cause, rates, std::slice::from_ref(received), false, posed),
    }
}

/// The same of several reads of one card: the sum over frames of the product of
/// their probabilities. `fill` is the bit that [`Cause::Padded`] fills up with.
/// Not for swapped lines: those are the reads turned over.
pub(crate) fn ln_together(
    cause: Cause,
    rates: &[f64],
    reads: &[Received],
    fill: bool,
    posed: &Posed,
) -> Vec<f64> {
    let n = posed.code.n;
    let code = &posed.code;
    let never = f64::NEG_INFINITY;
    let all_of = |code: &Code, of_read: &dyn Fn(&Received) -> Option<Known>| {
        all_agree(reads.iter().map(of_read)).map_or(never, |seen| ln_seen(code, seen))
    };
    let whole = |received: &Received| received.bits.len() == n;
    match cause {
        Cause::None => vec![all_of(code, &|received| {
            whole(received).then(|| Known::of_read(&received.bits, 0))
        })],
        Cause::BitOrderReversed => vec![all_of(code, &|received| {
            whole(received).then(|| Known::of_read(&received.bits.reverse(), 0))
        })],
        Cause::BytesReversed => {
            let of =
                |received: &Received| whole(received).then(|| Known::of_read(&received.bits, 0));
            vec![posed.bytes_reversed.as_ref().map_or(never, |code| all_of(code, &of))]
        }
        Cause::Padded => Padding::ALL
            .map(|way| all_of(code, &|received| unpadded(way, &received.bits, n, fill)))
            .to_vec(),
        Cause::HeadLost | Cause::TailLost => {
            let most = MOST_LOST.min(n - 1);
            let seen = all_of(code, &|received| {
                let lost = n.checked_sub(received.bits.len())?;
                let offset = if cause == Cause::HeadLost { lost } else { 0 };
                (1..=most).contains(&lost).then(|| Known::of_read(&received.bits, offset))
            });
            vec![seen - libm::log(most as f64) * reads.len() as f64]
        }
        Cause::FrameSplit => {
            let seen = all_of(code, &|received| {
                let is = whole(received) && received.cut.is_some_and(|cut| (1..n).contains(&cut));
                is.then(|| Known::of_read(&received.bits, 0))
            });
            vec![seen - libm::log((n - 1) as f64) * reads.len() as f64]
        }
        Cause::FramesMerged => vec![all_of(code, &|received| {
            if received.bits.len() == 2 * n { twice(&received.bits, n) } else { None }
        })],
        Cause::LinesShorted => {
            let taken = |short: Short| {
                let is = reads.iter().all(|received| is_short(short, &received.bits, n));
                if is { 0.0 } else { never }
            };
            Short::ALL.map(taken).to_vec()
        }
        Cause::BitsChanged => match &posed.trellis {
            Ok(trellis) if reads.iter().all(whole) => {
                let reads: Vec<Bits> = reads.iter().map(|received| received.bits).collect();
                vec![ln_changed(&reads, code, trellis)]
            }
            _ => vec![never],
        },
        _ => match (Pulses::of(cause), &posed.trellis) {
            (Some(pulses), Ok(trellis)) if !rates.is_empty() => {
                ln_pulses(&pulses, rates, reads, code, trellis)
            }
            _ => vec![never; rates.len().max(1)],
        },
    }
}

/// How many probabilities [`ln_likelihood`] gives, one for each thing that
/// holds for the whole case and that nobody knows.
pub(crate) fn variants(cause: Cause, rates: &[f64]) -> usize {
    match cause {
        Cause::LinesShorted => Short::ALL.len(),
        Cause::Padded => Padding::ALL.len(),
        _ => rates.len().max(1),
    }
}

/// Whether a cause cannot be asked about where too many checks are open.
pub(crate) fn needs_trellis(cause: Cause) -> bool {
    cause == Cause::BitsChanged || Pulses::of(cause).is_some()
}

/// What a read shows of a frame of `n` bits that is filled up so with `fill`;
/// `None` where it is no such read.
pub(crate) fn unpadded(way: Padding, read: &Bits, n: usize, fill: bool) -> Option<Known> {
    let zeros = way.zeros(n)?;
    if read.len() != n + zeros {
        return None;
    }
    let (frame, filled) = match way.is_at_start() {
        true => (read.slice(zeros, n + zeros), read.slice(0, zeros)),
        false => (read.slice(0, n), read.slice(n, n + zeros)),
    };
    let is = filled.iter().all(|bit| bit.value().is_none_or(|bit| bit == fill));
    is.then(|| Known::of_read(&frame, 0))
}

/// The natural logarithm of the probability of a read of any length whose bits
/// mean nothing, its length apart.
pub(crate) fn ln_any_bits(read: &Bits) -> f64 {
    -LN_2 * (read.len() - read.unread_count()) as f64
}

/// What all of them show together; `None` where one shows nothing or two
/// contradict each other.
pub(crate) fn all_agree(seen: impl Iterator<Item = Option<Known>>) -> Option<Known> {
    seen.reduce(|all, one| all?.and_also(one?)).flatten()
}

pub(crate) fn ln_seen(code: &Code, seen: Known) -> f64 {
    code.seen_at(seen.bits)
        .log2_probability(seen.values)
        .map_or(f64::NEG_INFINITY, |log2| f64::from(log2) * LN_2)
}

fn is_short(short: Short, read: &Bits, n: usize) -> bool {
    let mut bits = read.iter().zip(short.bits().iter().cycle());
    read.len() == n * short.bits().len()
        && bits.all(|(found, &bit)| found.value().is_none_or(|found| found == bit))
}

/// How likely a read is whose read bits differ from the frame in so many
/// places, 0 to [`MOST_CHANGED`]: of its unread bits any may be changed.
fn changed_shares(read: &Bits) -> [f64; DIFFER] {
    let (n, unread) = (read.len(), read.unread_count());
    std::array::from_fn(|differ| {
        let share = |(changed, weight): (usize, &f64)| {
            let hidden = changed.checked_sub(differ)?;
            Some(weight * choose(unread, hidden) / choose(n, changed))
        };
        (1..=MOST_CHANGED).zip(&BITS_CHANGED).filter_map(share).sum()
    })
}

/// How many ways there are to choose `k` of `n`, for small `k`.
fn choose(n: usize, k: usize) -> f64 {
    if k > n {
        return 0.0;
    }
    (0..k).fold(1.0, |ways, i| ways * (n - i) as f64 / (i + 1) as f64)
}

fn ln_changed(reads: &[Bits], code: &Code, trellis: &Trellis) -> f64 {
    let Some((different, share)) = changed(reads) else { return f64::NEG_INFINITY };
    let weights = distances(trellis, &different).into_iter().enumerate();
    let weights = weights.filter(|&(_, weight)| weight > 0.0);
    let sum: f64 = weights.map(|(at, weight)| weight * share(at)).sum();
    libm::log(sum) + LN_2 * code.checks.len() as f64
}

/// The different reads, since equal ones differ from any frame in the same
/// places, and how likely all are that differ in so many places, as in
/// [`distances`]. `None` where they are too many.
pub(crate) fn changed(reads: &[Bits]) -> Option<(Vec<Bits>, impl Fn(usize) -> f64)> {
    let mut different: Vec<(Bits, i32)> = Vec::new();
    for read in reads {
        match different.iter_mut().find(|(other, _)| other == read) {
            Some((_, times)) => *times += 1,
            None => different.push((*read, 1)),
        }
    }
    if different.len() > MOST_CHANGED_READS {
        return None;
    }
    let shares: Vec<[f64; DIFFER]> = different
        .iter()
        .map(|(read, times)| changed_shares(read).map(|share| share.powi(*times)))
        .collect();
    let share = move |mut at: usize| {
        let of_read = |shares: &[f64; DIFFER]| {
            let share = shares[at % DIFFER];
            at /= DIFFER;
            share
        };
        shares.iter().rev().map(of_read).product()
    };
    Some((different.into_iter().map(|(read, _)| read).collect(), share))
}

/// The most reads of one card of which changed bits are asked about.
pub(crate) const MOST_CHANGED_READS: usize = 6;

/// What two copies of a frame, one behind the other, show of it; `None` where
/// they differ.
pub(crate) fn twice(read: &Bits, n: usize) -> Option<Known> {
    let first = Known::of_read(&read.slice(0, n), 0);
    first.and_also(Known::of_read(&read.slice(n, 2 * n), 0))
}

fn ln_pulses(
    pulses: &Pulses,
    rates: &[f64],
    reads: &[Received],
    code: &Code,
    trellis: &Trellis,
) -> Vec<f64> {
    // The sum without a channel: each check halves what free bits at ½ each
    // leave.
    let ln_frames = -LN_2 * code.checks.len() as f64;
    let can_be = reads.iter().all(|received| keeps_count(pulses, &received.bits, code.n, trellis));
    match chances_of_all(pulses, code.n, reads) {
        _ if !can_be => vec![f64::NEG_INFINITY; rates.len()],
        Chances::Impossible => vec![f64::NEG_INFINITY; rates.len()],
        Chances::Counted { happens, spared } => {
            let by_rate = |&rate: &f64| ln_power(rate, happens) + ln_power(1.0 - rate, spared);
            let by_rate: Vec<f64> = rates.iter().map(by_rate).collect();
            if by_rate.iter().all(|&ln| ln == f64::NEG_INFINITY) {
                return by_rate;
            }
            let ways = ln_ways(pulses, reads, code, trellis);
            by_rate.into_iter().map(|ln| ln + ways).collect()
        }
        Chances::Varying { happens } => rates
            .iter()
            .map(|&rate| {
                let matched: Vec<Matched> = reads
                    .iter()
                    .map(|received| Matched::new(pulses, &received.bits, 1.0, 1.0 - rate))
                    .collect();
                ln_power(rate, happens) + ln_total(trellis, &matched) - ln_frames
            })
            .collect(),
    }
}

/// Whether a read has as many pulses on a line that loses and gains none as some
/// frame has.
fn keeps_count(pulses: &Pulses, read: &Bits, n: usize, trellis: &Trellis) -> bool {
    let (fewest, most) = trellis.ones();
    let unread = read.unread_count();
    match pulses.spares() {
        None => true,
        Some(true) => {
            (read.count_ones()..=read.count_ones() + unread).any(|k| (fewest..=most).contains(&k))
        }
        Some(false) => {
            let zeros = read.count_zeros();
            (zeros..=zeros + unread).any(|k| k <= n && (fewest..=most).contains(&(n - k)))
        }
    }
}

/// The logarithm of the sum over frames, each by its probability, of the number
/// of ways from it to the reads.
fn ln_ways(pulses: &Pulses, reads: &[Received], code: &Code, trellis: &Trellis) -> f64 {
    let matched = |received: &Received| Matched::new(pulses, &received.bits, 1.0, 1.0);
    let (whole, other): (Vec<&Received>, Vec<&Received>) =
        reads.iter().partition(|received| received.bits.len() == code.n);
    if whole.is_empty() {
        return ln_ways_to(&other.into_iter().map(matched).collect::<Vec<_>>(), code, trellis);
    }
    // A read of the frame's length is the frame, whatever else may have been.
    let seen = all_agree(whole.iter().map(|whole| Some(Known::of_read(&whole.bits, 0))));
    let Some(seen) = seen else { return f64::NEG_INFINITY };
    if other.is_empty() {
        return ln_seen(code, seen);
    }
    let Some(narrowed) = code.narrowed(seen) else { return f64::NEG_INFINITY };
    let Ok(trellis) = Trellis::new(&narrowed) else { return f64::NEG_INFINITY };
    let share = narrowed.log2_frames() as f64 - code.log2_frames() as f64;
    let other: Vec<Matched> = other.into_iter().map(matched).collect();
    LN_2 * share + ln_ways_to(&other, &narrowed, &trellis)
}

fn ln_ways_to(reads: &[Matched], code: &Code, trellis: &Trellis) -> f64 {
    let ln_frames = -LN_2 * code.checks.len() as f64;
    if code.log2_frames() == 0 {
        // One frame: the reads have nothing more to do with each other.
        let each = reads.iter().map(|read| ln_total(trellis, std::slice::from_ref(read)));
        return each.map(|ln| ln - ln_frames).sum();
    }
    ln_total(trellis, reads) - ln_frames
}

/// How often a chance was taken and not taken on the way to a read.
pub(crate) enum Chances {
    /// Equally often for every frame and every way to the read, so that the
    /// rate can stay outside the sum.
    Counted { happens: usize, spared: usize },
    /// How often it was not taken depends on the values of unread bits.
    Varying { happens: usize },
    /// No frame of this length gives a read of that length, or with so many
    /// bits on that line.
    Impossible,
}

/// The same for several reads of one card together.
pub(crate) fn chances_of_all(pulses: &Pulses, n: usize, reads: &[Received]) -> Chances {
    let mut all = (0, 0, false);
    for received in reads {
        match chances(pulses, n, &received.bits) {
            Chances::Counted { happens, spared } => all = (all.0 + happens, all.1 + spared, all.2),
            Chances::Varying { happens } => all = (all.0 + happens, all.1, true),
            Chances::Impossible => return Chances::Impossible,
        }
    }
    match all {
        (happens, _, true) => Chances::Varying { happens },
        (happens, spared, false) => Chances::Counted { happens, spared },
    }
}

fn chances(pulses: &Pulses, n: usize, read: &Bits) -> Chances {
    let has_chance = |arrivals: &[crate::channel::Arrival]| {
        arrivals.iter().any(|arrival| arrival.chance == Chance::Happens)
    };
    let loses = pulses.bit.iter().flat_map(|arrivals| arrivals.iter()).any(|a| a.bits.is_empty());
    let happens = if loses { n.checked_sub(read.len()) } else { read.len().checked_sub(n) };
    let Some(happens) = happens else { return Chances::Impossible };
    let spared = match [has_chance(pulses.bit[0]), has_chance(pulses.bit[1])] {
        [true, true] => (n + usize::from(has_chance(pulses.tail))).checked_sub(happens),
        _ if read.unread_count() > 0 => return Chances::Varying { happens },
        // One line only: a pulse on it that was lost left nothing, one that
        // was counted twice left two.
        [on_d0, _] => {
            let arrived = if on_d0 { read.count_zeros() } else { read.count_ones() };
            if loses { Some(arrived) } else { arrived.checked_sub(2 * happens) }
        }
    };
    spared.map_or(Chances::Impossible, |spared| Chances::Counted { happens, spared })
}

/// The logarithm of a power, where 0 to the 0 is 1.
fn ln_power(base: f64, times: usize) -> f64 {
    if times == 0 { 0.0 } else { times as f64 * libm::log(base) }
}
