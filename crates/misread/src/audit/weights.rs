//! How many patterns of wrong bits pass, by the number of wrong bits.
//!
//! A pattern passes when it holds an even number of bits of every parity group
//! and none that is fixed. The patterns are walked bit by bit, counting by
//! running parities and by wrong bits so far.

use misread_core::layout::Layout;
use num_bigint::BigUint;

use super::AuditError;
use crate::diagnose::code::{Code, Known};
use crate::diagnose::gf2::{Equation, Words, minimal_spans};
use crate::diagnose::trellis::Trellis;

/// Entry *w* is the number of patterns of *w* wrong bits that pass.
pub(super) fn undetected(layout: &Layout) -> Result<Vec<BigUint>, AuditError> {
    let fixed =
        layout.fixed().iter().fold(Words::default(), |sum, rule| sum.or(Words::of(rule.mask())));
    let groups: Vec<Words> =
        layout.parity().iter().map(|rule| Words::of(rule.group()).without(fixed)).collect();
    let covered = groups.iter().fold(fixed, |sum, &group| sum.or(group));
    let loose = layout.bits() - covered.count();
    // Checks that share no bit, directly or through others, are counted apart.
    let mut total = vec![BigUint::from(1u8)];
    for component in components(groups) {
        total = product(&total, &of_component(&component)?);
    }
    for _ in 0..loose {
        total = product(&total, &[BigUint::from(1u8), BigUint::from(1u8)]);
    }
    total.resize(layout.bits() + 1, BigUint::default());
    Ok(total)
}

/// The groups in sets, so that no two sets share a bit.
fn components(groups: Vec<Words>) -> Vec<Vec<Words>> {
    let mut components: Vec<(Words, Vec<Words>)> = Vec::new();
    for group in groups.into_iter().filter(|group| !group.is_empty()) {
        let mut joined = (group, vec![group]);
        components.retain_mut(|(bits, members)| {
            let apart = bits.and(joined.0).is_empty();
            if !apart {
                joined.0 = joined.0.or(*bits);
                joined.1.append(members);
            }
            apart
        });
        components.push(joined);
    }
    components.into_iter().map(|(_, members)| members).collect()
}

/// The patterns of the bits of some groups alone.
fn of_component(groups: &[Words]) -> Result<Vec<BigUint>, AuditError> {
    let bits = groups.iter().fold(Words::default(), |sum, &group| sum.or(group));
    let indices: Vec<usize> = bits.indices().collect();
    let checks: Vec<Equation> = groups
        .iter()
        .map(|group| {
            let mut over = Words::default();
            for (i, &index) in indices.iter().enumerate() {
                over.set(i, group.contains(index));
            }
            Equation { over, odd: false }
        })
        .collect();
    // Even sums never contradict one another: no wrong bits at all pass.
    let checks = minimal_spans(&checks).unwrap_or_default();
    let n = indices.len();
    // A path never counts twice, and every path can be finished, so no entry
    // on the way is larger than what passes in all.
    let log2_passing = n - checks.len();
    let code = Code { n, known: Known::default(), checks, free: n };
    let trellis = Trellis::new(&code).map_err(|error| AuditError::TooManyOpen {
        position: indices.get(error.position - 1).map_or(error.position, |index| index + 1),
        open: error.open,
    })?;
    Ok(match log2_passing {
        0..=63 => walk::<u64>(&trellis).into_iter().map(BigUint::from).collect(),
        64..=127 => walk::<u128>(&trellis).into_iter().map(BigUint::from).collect(),
        _ => walk::<Wide>(&trellis).into_iter().map(BigUint::from).collect(),
    })
}

/// A whole number of fixed size, large enough by the caller's word.
trait Count: Copy + Default + PartialEq {
    const ONE: Self;
    fn plus(self, other: Self) -> Self;
}

impl Count for u64 {
    const ONE: Self = 1;
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
}

impl Count for u128 {
    const ONE: Self = 1;
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
}

/// 256 bits, held in place: a heap number for each entry would be slow.
#[derive(Clone, Copy, Default, PartialEq)]
struct Wide {
    low: u128,
    high: u128,
}

impl Count for Wide {
    const ONE: Self = Wide { low: 1, high: 0 };
    fn plus(self, other: Self) -> Self {
        let (low, carry) = self.low.overflowing_add(other.low);
        let high = self.high.wrapping_add(other.high).wrapping_add(u128::from(carry));
        Wide { low, high }
    }
}

impl From<Wide> for BigUint {
    fn from(wide: Wide) -> Self {
        (BigUint::from(wide.high) << 128u32) + wide.low
    }
}

/// Every path of a trellis, by how many of its bits are 1.
fn walk<N: Count>(trellis: &Trellis) -> Vec<N> {
    let n = trellis.len();
    let width = n + 1;
    // By state, then by wrong bits so far.
    let mut before = vec![N::default(); trellis.states() * width];
    let mut after = before.clone();
    before[0] = N::ONE;
    for index in 0..n {
        after.fill(N::default());
        for state in 0..trellis.states() {
            let from = &before[state * width..][..=index];
            if from.iter().all(|count| *count == N::default()) {
                continue;
            }
            for bit in [false, true] {
                if let Some(next) = trellis.next(index, state, bit) {
                    let to = &mut after[next * width + usize::from(bit)..][..=index];
                    for (to, from) in to.iter_mut().zip(from) {
                        *to = to.plus(*from);
                    }
                }
            }
        }
        std::mem::swap(&mut before, &mut after);
    }
    before.truncate(width);
    before
}

/// The product of two polynomials.
fn product(one: &[BigUint], other: &[BigUint]) -> Vec<BigUint> {
    let mut product = vec![BigUint::default(); one.len() + other.len() - 1];
    for (i, a) in one.iter().enumerate() {
        for (j, b) in other.iter().enumerate() {
            product[i + j] += a * b;
        }
    }
    product
}
