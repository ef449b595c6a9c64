//! The likelihood of a case whose reads are all of one card: the sum over frames
//! of the product of what each read comes to, given the frame.
//!
//! Where a cause comes at times, a read of the frame's length may be sound, and
//! then it is the frame. So the sum over frames falls into those that some read
//! shows whole, taken one by one, and all others, under which every read
//! suffers: that is the same sum as for the cause by itself.

use misread_core::Bits;
use rustc_hash::FxHashMap;

use super::code::{Code, Known};
use super::likelihood::{MOST_CHANGED_READS, Posed, Received, variants};
use super::likelihoods::{Base, ln_add};
use super::posterior::ln_sum;
use super::sums::{OffFrame, Suffering};
use super::units::{Findings, Kind, times};
use crate::cause::{Cause, Model, Wire};
use crate::channel::Pulses;

/// How large the product over the reads may be of the bits that may be missing
/// or too many, and one: the walk over all reads keeps that many counts.
const MOST_COUNTS: usize = 10_000;

/// How many ways reads with unread bits may be sound or not are gone through.
const MOST_PARTS: usize = 1_024;

/// Whether a layout is within the bound on reads of one card for causes that
/// lose or add pulses.
pub(crate) fn is_within(bits: usize, mut lengths: impl Iterator<Item = usize>) -> bool {
    let counts = lengths.try_fold(1usize, |product, length| {
        let each = length.min(bits.abs_diff(length)) + 1;
        product.checked_mul(each).filter(|&product| product <= MOST_COUNTS)
    });
    counts.is_some()
}

/// Whether it is asked of a cause, by itself, behind swapped lines or at times,
/// if so many reads are of one card; `is_within` says so of its layout.
pub(crate) fn is_asked_of_one_card(cause: Cause, reads: usize, is_within: bool) -> bool {
    match cause {
        Cause::BitsChanged => reads <= MOST_CHANGED_READS,
        _ => is_within || Pulses::of(cause).is_none(),
    }
}

/// The reads of a case, all of one card of one layout.
pub(crate) struct OneCard<'a> {
    pub(crate) posed: &'a Posed,
    pub(crate) kinds: &'a [Kind],
    pub(crate) pairs: Option<&'a [Received]>,
    pub(crate) findings: &'a [Findings],
    pub(crate) model: &'a Model,
    pub(crate) off_frame: &'a dyn OffFrame,
}

impl OneCard<'_> {
    /// By wire state, in the order of [`Wire::all`], the logarithm of the
    /// probability of all reads; minus infinity too for one that is not asked
    /// about. Not for a cause without a layout by itself.
    pub(crate) fn ln(&self, asks: impl Fn(Wire) -> bool) -> Vec<f64> {
        let reads = self.reads();
        let is_within = self.is_within();
        let mut parts = None;
        let mut by_wire = vec![f64::NEG_INFINITY; Wire::COUNT];
        for wire in Wire::all().filter(|&wire| asks(wire) && !wire.is_without_layout()) {
            if !self.is_asked(wire.cause(), is_within) {
                continue;
            }
            by_wire[wire.index()] = match wire {
                Wire::AtTimes(_) => {
                    let parts = parts.get_or_insert_with(|| parts_of(self.posed, self.kinds));
                    let mut lns = Vec::new();
                    self.each_term(wire, parts, &mut |term| lns.push(term.ln));
                    ln_sum(lns.iter().copied()) - libm::log(self.cases(Base::of(wire)) as f64)
                }
                _ => self.ln_always(wire, &reads),
            };
        }
        by_wire
    }

    /// Who suffers what comes at times, given all reads; `None` where that cannot
    /// be.
    pub(crate) fn suffers(&self, wire: Wire) -> Option<Suffering> {
        if !self.is_asked(wire.cause(), self.is_within()) {
            return None;
        }
        let parts = parts_of(self.posed, self.kinds);
        let mut lns = Vec::new();
        self.each_term(wire, &parts, &mut |term| lns.push(term.ln));
        let total = ln_sum(lns.iter().copied());
        if total == f64::NEG_INFINITY {
            return None;
        }
        let mut suffers = Suffering { by_kind: vec![1.0; self.kinds.len()], share: 0.0 };
        self.each_term(wire, &parts, &mut |term| {
            let weight = libm::exp(term.ln - total);
            suffers.share += weight * term.share;
            for &(kind, share) in term.sound {
                suffers.by_kind[kind] -= weight * share;
            }
        });
        Some(suffers)
    }

    fn ln_always(&self, wire: Wire, reads: &[Received]) -> f64 {
        let base = Base::of(wire);
        let lns = match (base.cause, self.pairs) {
            (Cause::FrameSplit, Some(pairs)) => base.ln_together(&[], pairs, self.posed),
            (Cause::FrameSplit, None) => return f64::NEG_INFINITY,
            _ => base.ln_together(self.model.rates(base.cause), reads, self.posed),
        };
        let kinds = self.kinds.iter().zip(self.findings);
        let found: f64 =
            kinds.map(|(kind, found)| kind.times as f64 * found[wire.cause().index()]).sum();
        ln_sum(lns.iter().copied()) - libm::log(lns.len() as f64) + found
    }

    /// Every read, as often as it came.
    fn reads(&self) -> Vec<Received> {
        let of_kind = |kind: &Kind| std::iter::repeat_n(Received::from(kind.bits), kind.times);
        self.kinds.iter().flat_map(of_kind).collect()
    }

    fn is_within(&self) -> bool {
        let each = |kind: &Kind| std::iter::repeat_n(kind.bits.len(), kind.times);
        is_within(self.posed.code.n, self.kinds.iter().flat_map(each))
    }

    /// Whether the question is within its bound.
    fn is_asked(&self, cause: Cause, is_within: bool) -> bool {
        is_asked_of_one_card(cause, self.kinds.iter().map(|kind| kind.times).sum(), is_within)
    }

    /// How many things may hold for the case where a cause comes at times.
    fn cases(&self, base: Base) -> usize {
        variants(base.cause, self.model.rates(base.cause)) * self.model.shares.len()
    }

    /// The logarithm of the probability of reads that suffer, by what holds for
    /// the case.
    fn ln_suffering(&self, base: Base, reads: &[Received], posed: &Posed) -> Vec<f64> {
        let rates = self.model.rates(base.cause);
        if base.cause.is_without_layout() {
            return vec![reads.iter().map(|read| self.off_frame.ln(base.cause, &read.bits)).sum()];
        }
        match reads.is_empty() {
            true => vec![0.0; variants(base.cause, rates)],
            false => base.ln_together(rates, reads, posed),
        }
    }

    /// Goes through everything that may have been under a cause at times.
    fn each_term(&self, wire: Wire, parts: &[Part], see: &mut dyn FnMut(Term<'_>)) {
        for part in parts {
            let asked = Asked { of: self, part, cause: wire.cause(), base: Base::of(wire) };
            asked.all_suffer(see);
            let off_frame = asked.ln_off_frame();
            let who: Vec<f64> =
                self.model.shares.iter().map(|&share| asked.ln_who(share, true)).collect();
            for (frame, shows) in &part.frames {
                asked.frame(frame, shows, off_frame.as_deref(), &who, see);
            }
        }
    }
}

/// One of the things that may have been under a cause at times.
struct Term<'t> {
    /// The logarithm of its weight.
    ln: f64,
    /// The share of the presentations that suffers.
    share: f64,
    /// Of each kind of read the share that is sound, where there is one.
    sound: &'t [(usize, f64)],
}

/// Frames that agree with what the sound ones of the reads with unread bits
/// show.
struct Part {
    /// `None` for all frames there are.
    posed: Option<Posed>,
    /// The logarithm of its share of all frames.
    ln_share: f64,
    /// How many of each kind are sound; 0 of those that show one frame.
    sound: Vec<usize>,
    /// The frames that reads show whole, and which kinds show each.
    frames: Vec<(Posed, Vec<usize>)>,
}

/// A cause that comes at times, in one part of the frames.
struct Asked<'a> {
    of: &'a OneCard<'a>,
    part: &'a Part,
    cause: Cause,
    base: Base,
}

impl Asked<'_> {
    /// Every read suffers that is not said to be sound, whatever the frame.
    fn all_suffer(&self, see: &mut dyn FnMut(Term<'_>)) {
        let of_kind = |(at, kind): (usize, &Kind)| {
            std::iter::repeat_n(Received::from(kind.bits), self.rest(at))
        };
        let reads: Vec<Received> = self.of.kinds.iter().enumerate().flat_map(of_kind).collect();
        let posed = self.part.posed.as_ref().unwrap_or(self.of.posed);
        let sound = self.sound();
        for ln in self.of.ln_suffering(self.base, &reads, posed) {
            for &share in &self.of.model.shares {
                let ln = ln + self.part.ln_share + self.ln_who(share, false);
                if ln > f64::NEG_INFINITY {
                    see(Term { ln, share, sound: &sound });
                }
            }
        }
    }

    /// What all reads come to that are not said to be sound, where they suffer
    /// and the frame makes no difference to that; by case, the share fastest.
    fn ln_off_frame(&self) -> Option<Vec<f64>> {
        if !self.base.cause.is_without_layout() {
            return None;
        }
        let each = |share: &f64| -> f64 {
            let of = |(at, kind): (usize, &Kind)| {
                let ln = self.of.off_frame.ln(self.base.cause, &kind.bits);
                times(self.rest(at) as f64, ln + libm::log(*share) + self.found(at, self.cause))
            };
            self.of.kinds.iter().enumerate().map(of).sum()
        };
        let all: Vec<f64> = self.of.model.shares.iter().map(each).collect();
        all.iter().all(|ln| ln.is_finite()).then_some(all)
    }

    /// One frame that reads show whole: what those come to that may be sound,
    /// less what they come to where all suffer, which is counted already.
    fn frame(
        &self,
        frame: &Posed,
        shows: &[usize],
        off_frame: Option<&[f64]>,
        who: &[f64],
        see: &mut dyn FnMut(Term<'_>),
    ) {
        let never = f64::NEG_INFINITY;
        let model = self.of.model;
        let shares = model.shares.len();
        // By case, the share fastest. Where the frame makes no difference to
        // reads that suffer, only those that show it are more than that.
        let mut any =
            off_frame.map_or_else(|| vec![0.0; self.of.cases(self.base)], <[f64]>::to_vec);
        let mut suffer = any.clone();
        let mut fractions: Vec<(usize, Vec<f64>)> = Vec::new();
        let all = 0..self.of.kinds.len();
        let kinds: &mut dyn Iterator<Item = usize> = match off_frame {
            Some(_) => &mut shows.iter().copied(),
            None => &mut all.into_iter(),
        };
        for at in kinds {
            let rest = self.rest(at) as f64;
            if rest == 0.0 {
                continue;
            }
            let is_sound = shows.contains(&at);
            let lns = self.of.ln_suffering(self.base, &[self.of.kinds[at].bits.into()], frame);
            let mut fraction = vec![0.0; any.len()];
            for (case, (any, suffer)) in any.iter_mut().zip(&mut suffer).enumerate() {
                let share = model.shares[case % shares];
                let ln = lns[case / shares] + libm::log(share) + self.found(at, self.cause);
                let all_suffer = times(rest, ln);
                let sound = libm::log(1.0 - share) + self.found(at, Cause::None);
                let mixed = if is_sound { ln_add(ln, sound) } else { ln };
                match off_frame {
                    // All reads are counted as suffering.
                    Some(_) => *any += times(rest, mixed) - all_suffer,
                    None => {
                        *any += times(rest, mixed);
                        *suffer += all_suffer;
                    }
                }
                if is_sound {
                    fraction[case] = libm::exp(sound - mixed);
                }
            }
            if is_sound {
                fractions.push((at, fraction));
            }
            if any.iter().all(|&ln| ln == never) {
                return;
            }
        }
        let ln_frame = -std::f64::consts::LN_2 * self.of.posed.code.log2_frames() as f64;
        let mut sound = self.sound();
        let said = sound.len();
        for (case, (&any, &suffer)) in any.iter().zip(&suffer).enumerate() {
            let more = any + ln_1m_exp(suffer - any);
            if any == never || more == never {
                continue;
            }
            sound.truncate(said);
            let share = libm::exp(more - any);
            sound.extend(fractions.iter().map(|(at, of)| (*at, of[case] / share)));
            let which = case % shares;
            let ln = more + ln_frame + who[which];
            see(Term { ln, share: model.shares[which], sound: &sound });
        }
    }

    /// How many reads of a kind are not said to be sound.
    fn rest(&self, kind: usize) -> usize {
        self.of.kinds[kind].times - self.part.sound[kind]
    }

    fn found(&self, kind: usize, cause: Cause) -> f64 {
        self.of.findings[kind][cause.index()]
    }

    /// The kinds of which some are said to be sound, with their share.
    fn sound(&self) -> Vec<(usize, f64)> {
        let kinds = self.of.kinds.iter().zip(&self.part.sound).enumerate();
        kinds
            .filter(|(_, (_, sound))| **sound > 0)
            .map(|(at, (kind, &sound))| (at, sound as f64 / kind.times as f64))
            .collect()
    }

    /// The logarithm of the weight of those being sound that are said to be, and
    /// of the others suffering unless that `is_in_reads` already.
    fn ln_who(&self, share: f64, is_in_reads: bool) -> f64 {
        let of = |(at, kind): (usize, &Kind)| {
            let (sound, rest) = (self.part.sound[at], self.rest(at) as f64);
            let suffer = match is_in_reads {
                true => 0.0,
                false => times(rest, libm::log(share) + self.found(at, self.cause)),
            };
            ln_choose(kind.times, sound)
                + times(sound as f64, libm::log(1.0 - share) + self.found(at, Cause::None))
                + suffer
        };
        self.of.kinds.iter().enumerate().map(of).sum()
    }
}

/// The logarithm of one minus an exponential.
fn ln_1m_exp(ln: f64) -> f64 {
    libm::log(-libm::expm1(ln.min(0.0)))
}

fn ln_choose(n: usize, k: usize) -> f64 {
    if k == 0 || k == n {
        return 0.0;
    }
    libm::lgamma(n as f64 + 1.0) - libm::lgamma(k as f64 + 1.0) - libm::lgamma((n - k) as f64 + 1.0)
}

/// What a read would be that is sound.
enum Sound {
    /// It has another length, or bits that no frame has.
    Never,
    /// This frame.
    Frame(Known),
    /// One of several frames, for its unread bits.
    Loose(Known),
}

impl Sound {
    fn of(code: &Code, read: &Bits) -> Self {
        if read.len() != code.n {
            return Sound::Never;
        }
        let seen = Known::of_read(read, 0);
        match code.narrowed(seen) {
            None => Sound::Never,
            Some(narrowed) if narrowed.log2_frames() == 0 => Sound::Frame(narrowed.known),
            Some(_) => Sound::Loose(seen),
        }
    }
}

/// Every way that the reads with unread bits may be sound or not. Nothing where
/// there are too many.
fn parts_of(posed: &Posed, kinds: &[Kind]) -> Vec<Part> {
    let sounds: Vec<Sound> = kinds.iter().map(|kind| Sound::of(&posed.code, &kind.bits)).collect();
    let mut chosen = vec![(Known::default(), vec![0; kinds.len()])];
    for (index, sound) in sounds.iter().enumerate() {
        let Sound::Loose(seen) = sound else { continue };
        let agreeing: Vec<(Known, Vec<usize>)> = chosen
            .iter()
            .filter_map(|(known, counts)| Some((known.and_also(*seen)?, counts.clone())))
            .collect();
        if chosen.len() + agreeing.len() * kinds[index].times > MOST_PARTS {
            return Vec::new();
        }
        for (known, counts) in agreeing {
            chosen.extend((1..=kinds[index].times).map(|count| {
                let mut counts = counts.clone();
                counts[index] = count;
                (known, counts)
            }));
        }
    }
    chosen.into_iter().filter_map(|(known, sound)| part(posed, known, sound, &sounds)).collect()
}

fn part(posed: &Posed, known: Known, sound: Vec<usize>, sounds: &[Sound]) -> Option<Part> {
    let is_all = sound.iter().all(|&count| count == 0);
    let narrowed = if is_all { None } else { Some(posed.code.narrowed(known)?) };
    let within = narrowed.as_ref().unwrap_or(&posed.code);
    let log2_share = within.log2_frames() as f64 - posed.code.log2_frames() as f64;
    let mut numbers: FxHashMap<Known, Option<usize>> = FxHashMap::default();
    let mut frames: Vec<(Posed, Vec<usize>)> = Vec::new();
    for (kind, sound) in sounds.iter().enumerate() {
        let Sound::Frame(frame) = sound else { continue };
        // One that shows a frame outside of this part is not sound in it.
        let number = *numbers.entry(*frame).or_insert_with(|| {
            frames.push((Posed::of_code(within.narrowed(*frame)?), Vec::new()));
            Some(frames.len() - 1)
        });
        if let Some(number) = number {
            frames[number].1.push(kind);
        }
    }
    Some(Part {
        ln_share: std::f64::consts::LN_2 * log2_share,
        posed: narrowed.map(Posed::of_code),
        sound,
        frames,
    })
}
