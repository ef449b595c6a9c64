//! What share of a layout's frames pass a set of checks after something was
//! done to them: a matter of rank over GF(2).
//!
//! What is done to a frame is written as where each received bit came from.
//! Then a check on received bits is an equation on the frame's bits, and the
//! frames that meet it are all, none, or half of those that met the ones
//! before.

use misread_core::layout::{Kind, Layout};
use num_bigint::BigUint;

use super::{CauseShare, to_f64};
use crate::cause::Cause;
use crate::diagnose::gf2::{Eliminated, Equation, Words, eliminate};
use crate::diagnose::has_bytes;

/// Where a received bit came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// A bit of the frame, by its index.
    Bit(usize),
    /// A bit of the frame, turned over.
    Not(usize),
    /// From no bit of the frame.
    Always(bool),
}

/// All frames of a layout, each equally likely.
pub(super) struct Frames {
    bits: usize,
    equations: Vec<Equation>,
    checks: usize,
}

impl Frames {
    pub(super) fn of(layout: &Layout) -> Self {
        let equations = equations(layout);
        let checks = solve(&equations).solved.len();
        Frames { bits: layout.bits(), equations, checks }
    }

    pub(super) fn bits(&self) -> usize {
        self.bits
    }

    /// How many checks are independent.
    pub(super) fn checks(&self) -> usize {
        self.checks
    }

    /// The bits in no check.
    pub(super) fn uncovered(&self) -> Words {
        self.equations.iter().fold(Words::first(self.bits), |left, e| left.without(e.over))
    }

    /// The share of these frames that meet `checks` when received like this.
    pub(super) fn share(&self, received: &[Origin], checks: &[Equation]) -> f64 {
        let mut all = self.equations.clone();
        all.extend(checks.iter().map(|check| on_frame(check, received)));
        let together = solve(&all);
        if together.rest.iter().any(|equation| equation.odd) {
            return 0.0;
        }
        libm::exp2(self.checks as f64 - together.solved.len() as f64)
    }

    /// The share of these frames that still pass their own checks.
    pub(super) fn own_share(&self, received: &[Origin]) -> f64 {
        self.share(received, &self.equations)
    }

    /// 1 where a read of nothing but 0s, or nothing but 1s, passes the checks,
    /// else 0.
    pub(super) fn constant_passes(&self, value: bool) -> f64 {
        self.own_share(&vec![Origin::Always(value); self.bits])
    }

    /// Whether two ways to receive a frame give the same set of reads, so that
    /// no read tells them apart. Both must keep every bit.
    pub(super) fn alike(&self, one: &[Origin], other: &[Origin]) -> bool {
        let sent_back = |received: &[Origin]| {
            // Where each frame bit is found in the read.
            let mut found = vec![Origin::Always(false); self.bits];
            for (at, from) in received.iter().enumerate() {
                match *from {
                    Origin::Bit(index) => found[index] = Origin::Bit(at),
                    Origin::Not(index) => found[index] = Origin::Not(at),
                    Origin::Always(_) => {}
                }
            }
            self.equations.iter().map(|e| on_frame(e, &found)).collect::<Vec<_>>()
        };
        let (one, other) = (sent_back(one), sent_back(other));
        let together = solve(&[one, other].concat());
        together.solved.len() == self.checks && together.rest.iter().all(|e| !e.odd)
    }

    pub(super) fn inverted(&self) -> Vec<Origin> {
        (0..self.bits).map(Origin::Not).collect()
    }

    pub(super) fn reversed(&self) -> Vec<Origin> {
        (0..self.bits).rev().map(Origin::Bit).collect()
    }
}

/// The checks of a layout as equations: one a parity rule, one a fixed bit.
pub(super) fn equations(layout: &Layout) -> Vec<Equation> {
    let parity = layout
        .parity()
        .iter()
        .map(|rule| Equation { over: Words::of(rule.group()), odd: rule.kind() == Kind::Odd });
    let fixed = layout.fixed().iter().flat_map(|rule| rule.bits()).map(|(index, value)| {
        let mut over = Words::default();
        over.set(index, true);
        Equation { over, odd: value }
    });
    parity.chain(fixed).collect()
}

/// The share of a layout's frames that pass under each cause that can keep
/// their length.
pub(super) fn of_causes(
    layout: &Layout,
    frames: &Frames,
    undetected: &[BigUint],
) -> Vec<CauseShare> {
    let n = layout.bits();
    let share = |cause, undetected| CauseShare { cause, undetected };
    let inverted = frames.own_share(&frames.inverted());
    let mut causes = vec![
        share(Cause::LinesSwapped, inverted),
        share(Cause::BitsInverted, inverted),
        share(Cause::BitOrderReversed, frames.own_share(&frames.reversed())),
    ];
    // The parity bits follow what is sent, so such a frame is sound.
    if layout.fields().iter().any(|field| has_bytes(field.width())) {
        causes.push(share(Cause::BytesReversed, 1.0));
    }
    let shorted = frames.constant_passes(false) + frames.constant_passes(true);
    causes.push(share(Cause::LinesShorted, shorted / 4.0));
    let single = undetected.get(1).map_or(0.0, to_f64);
    causes.push(share(Cause::BitsChanged, single / n as f64));
    causes
}

fn on_frame(check: &Equation, received: &[Origin]) -> Equation {
    let mut on_frame = Equation { over: Words::default(), odd: check.odd };
    for at in check.over.indices() {
        match received.get(at) {
            Some(&Origin::Bit(index)) => flip(&mut on_frame.over, index),
            Some(&Origin::Not(index)) => {
                flip(&mut on_frame.over, index);
                on_frame.odd ^= true;
            }
            Some(&Origin::Always(value)) => on_frame.odd ^= value,
            None => {}
        }
    }
    on_frame
}

fn flip(over: &mut Words, index: usize) {
    over.set(index, !over.contains(index));
}

fn solve(equations: &[Equation]) -> Eliminated {
    eliminate(equations, Words::first(256))
}
