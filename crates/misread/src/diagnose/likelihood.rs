//! How likely a read is under a cause, given what is known of the frame.

use std::f64::consts::LN_2;

use misread_core::Bits;
use misread_core::layout::Layout;

use super::code::{Code, Known};
use super::trellis::{Matched, TooManyOpen, Trellis, ln_total};
use crate::cause::Cause;
use crate::channel::{Chance, Pulses, Short};
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
    let posed = Posed::new(layout, known.iter().copied()).ok_or(ReadError::DoesNotFit)?;
    if let (Some(_), Err(error)) = (Pulses::of(cause), &posed.trellis) {
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
    pub(crate) fn new<'a>(
        layout: &Layout,
        values: impl Iterator<Item = (&'a str, u64)> + Clone,
    ) -> Option<Self> {
        let code = Code::new(layout, known_card(layout, values.clone(), false)?)?;
        let bytes_reversed = layout
            .fields()
            .iter()
            .any(|field| has_bytes(field.width()))
            .then(|| Code::new(layout, known_card(layout, values, true)?))
            .flatten();
        let trellis = Trellis::new(&code);
        Some(Posed { code, bytes_reversed, trellis })
    }
}

fn known_card<'a>(
    layout: &Layout,
    values: impl Iterator<Item = (&'a str, u64)>,
    bytes_reversed: bool,
) -> Option<Known> {
    let mut known = Known::default();
    for (name, number) in values {
        let field = layout.field(name)?;
        let mut raw = field.to_raw(number)?;
        if bytes_reversed && has_bytes(field.width()) {
            raw = reverse_bytes(raw, field.width());
        }
        for (shift, index) in field.indices().rev().enumerate() {
            known.insert(index, raw >> shift & 1 == 1);
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

/// The natural logarithm of the probability of `received` under a cause, for
/// each of the rates; causes without a rate give one number, a short between
/// the lines one for each way the receiver may take it. Minus infinity for
/// never. Not for causes that have no layout.
pub(crate) fn ln_likelihood(
    cause: Cause,
    rates: &[f64],
    received: &Received,
    posed: &Posed,
) -> Vec<f64> {
    let n = posed.code.n;
    let read = &received.bits;
    let len = read.len();
    let one = |ln: f64| vec![ln];
    let never = f64::NEG_INFINITY;
    match cause {
        Cause::None if len == n => one(ln_seen(&posed.code, Known::of_read(read, 0))),
        Cause::LinesSwapped | Cause::BitsInverted if len == n => {
            one(ln_seen(&posed.code, Known::of_read(&read.complement(), 0)))
        }
        Cause::BitOrderReversed if len == n => {
            one(ln_seen(&posed.code, Known::of_read(&read.reverse(), 0)))
        }
        Cause::BytesReversed if len == n => match &posed.bytes_reversed {
            Some(code) => one(ln_seen(code, Known::of_read(read, 0))),
            None => one(never),
        },
        Cause::BitsChanged if len == n => one(ln_one_changed(&posed.code, read)),
        Cause::HeadLost | Cause::TailLost => {
            let most = MOST_LOST.min(n - 1);
            match n.checked_sub(len) {
                Some(lost) if (1..=most).contains(&lost) => {
                    let offset = if cause == Cause::HeadLost { lost } else { 0 };
                    let seen = Known::of_read(read, offset);
                    one(ln_seen(&posed.code, seen) - libm::log(most as f64))
                }
                _ => one(never),
            }
        }
        Cause::FrameSplit => match received.cut {
            Some(cut) if len == n && (1..n).contains(&cut) => {
                let cuts = libm::log((n - 1) as f64);
                one(ln_seen(&posed.code, Known::of_read(read, 0)) - cuts)
            }
            _ => one(never),
        },
        Cause::FramesMerged if len == 2 * n => match twice(read, n) {
            Some(seen) => one(ln_seen(&posed.code, seen)),
            None => one(never),
        },
        Cause::LinesShorted => {
            let taken = |short: Short| {
                let mut bits = read.iter().zip(short.bits().iter().cycle());
                let is = len == n * short.bits().len()
                    && bits.all(|(found, &bit)| found.value().is_none_or(|found| found == bit));
                if is { 0.0 } else { never }
            };
            Short::ALL.map(taken).to_vec()
        }
        _ => match (Pulses::of(cause), &posed.trellis) {
            (Some(pulses), Ok(trellis)) if !rates.is_empty() => {
                ln_pulses(&pulses, rates, read, &posed.code, trellis)
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
        _ => rates.len().max(1),
    }
}

/// The natural logarithm of the probability of a read of any length whose bits
/// mean nothing, its length apart.
pub(crate) fn ln_any_bits(read: &Bits) -> f64 {
    -LN_2 * (read.len() - read.unread_count()) as f64
}

fn ln_seen(code: &Code, seen: Known) -> f64 {
    code.seen_at(seen.bits)
        .log2_probability(seen.values)
        .map_or(f64::NEG_INFINITY, |log2| f64::from(log2) * LN_2)
}

fn ln_one_changed(code: &Code, read: &Bits) -> f64 {
    let seen = Known::of_read(read, 0);
    let window = code.seen_at(seen.bits);
    let probabilities = (0..code.n)
        .filter_map(|index| window.log2_probability(with_one_changed(seen, index).values));
    // Each is the same where it is possible at all.
    let (count, log2) = probabilities.fold((0, 0), |(count, _), log2| (count + 1, log2));
    libm::log(f64::from(count) / code.n as f64) + f64::from(log2) * LN_2
}

/// An unread bit stays unread whichever value it had.
pub(crate) fn with_one_changed(mut seen: Known, index: usize) -> Known {
    if seen.bits.contains(index) {
        let value = seen.values.contains(index);
        seen.values.set(index, !value);
    }
    seen
}

/// What two copies of a frame, one behind the other, show of it; `None` where
/// they differ.
pub(crate) fn twice(read: &Bits, n: usize) -> Option<Known> {
    let first = Known::of_read(&read.slice(0, n), 0);
    let second = Known::of_read(&read.slice(n, 2 * n), 0);
    let both = first.bits.and(second.bits);
    first.values.xor(second.values).and(both).is_empty().then_some(Known {
        bits: first.bits.or(second.bits),
        values: first.values.or(second.values),
    })
}

fn ln_pulses(
    pulses: &Pulses,
    rates: &[f64],
    read: &Bits,
    code: &Code,
    trellis: &Trellis,
) -> Vec<f64> {
    // The sum without a channel: each check halves what free bits at ½ each
    // leave.
    let ln_frames = -LN_2 * code.checks.len() as f64;
    match chances(pulses, code.n, read) {
        Chances::Impossible => vec![f64::NEG_INFINITY; rates.len()],
        Chances::Counted { happens, spared } => {
            let by_rate = |&rate: &f64| ln_power(rate, happens) + ln_power(1.0 - rate, spared);
            let by_rate: Vec<f64> = rates.iter().map(by_rate).collect();
            if by_rate.iter().all(|&ln| ln == f64::NEG_INFINITY) {
                return by_rate;
            }
            let matched = Matched::new(pulses, read, 1.0, 1.0);
            let ways = ln_total(trellis, &matched) - ln_frames;
            by_rate.into_iter().map(|ln| ln + ways).collect()
        }
        Chances::Varying { happens } => rates
            .iter()
            .map(|&rate| {
                let matched = Matched::new(pulses, read, 1.0, 1.0 - rate);
                ln_power(rate, happens) + ln_total(trellis, &matched) - ln_frames
            })
            .collect(),
    }
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

pub(crate) fn chances(pulses: &Pulses, n: usize, read: &Bits) -> Chances {
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
