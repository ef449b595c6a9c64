//! Which other layouts a frame can be taken for.

use misread_core::layout::Layout;

use super::shares::{Frames, Origin, equations};
use crate::cause::Cause;

/// How often a layout's frames pass as frames of another.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenFor {
    /// The other layout's name.
    pub layout: String,
    /// What happened to the frame: [`Cause::None`] for nothing,
    /// [`Cause::BothWeak`] for exactly one pulse lost, each equally likely,
    /// [`Cause::BothNoise`] for exactly one extra pulse, in each gap and on
    /// either line equally likely.
    pub cause: Cause,
    /// The share, over 0 up to 1, of the layout's frames, each equally likely,
    /// that then pass every check of the other.
    pub share: f64,
}

pub(super) fn taken_for(layout: &Layout, frames: &Frames, others: &[&Layout]) -> Vec<TakenFor> {
    let mut found: Vec<TakenFor> = others
        .iter()
        .filter(|other| !other.name().eq_ignore_ascii_case(layout.name()))
        .filter_map(|other| {
            let (cause, share) = one(frames, other)?;
            (share > 0.0).then(|| TakenFor { layout: other.name().to_owned(), cause, share })
        })
        .collect();
    // Stable: of equal shares, in the order given.
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

fn one(frames: &Frames, other: &Layout) -> Option<(Cause, f64)> {
    let n = frames.bits();
    let checks = equations(other);
    let whole: Vec<Origin> = (0..n).map(Origin::Bit).collect();
    let share = |received: &[Origin]| frames.share(received, &checks);
    if other.bits() == n {
        Some((Cause::None, share(&whole)))
    } else if other.bits() + 1 == n {
        let lost = |at| {
            let mut received = whole.clone();
            received.remove(at);
            share(&received)
        };
        Some((Cause::BothWeak, (0..n).map(lost).sum::<f64>() / n as f64))
    } else if other.bits() == n + 1 {
        let extra = |at: usize| {
            let mut received = whole.clone();
            received.insert(at, Origin::Always(false));
            let zero = share(&received);
            received[at] = Origin::Always(true);
            (zero + share(&received)) / 2.0
        };
        Some((Cause::BothNoise, (0..=n).map(extra).sum::<f64>() / (n + 1) as f64))
    } else {
        None
    }
}
