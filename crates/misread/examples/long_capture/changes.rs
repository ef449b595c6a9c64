//! The level changes of a reader that is never left alone.

use misread::pulse::{Change, Level, Timing, send};
use misread::{Bit, Bits};

/// That many changes: reads of 26 bits every 100 ms, their bits drawn by a
/// linear congruence (the multiplier of Knuth, *The Art of Computer
/// Programming*, vol. 2, 3.3.4).
pub(crate) fn changes(count: usize) -> impl Iterator<Item = Change> {
    let mut state = 1u64;
    let mut bit = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        Bit::from(state >> 63 == 1)
    };
    (1..)
        .flat_map(move |read: i64| {
            let frame: Bits = std::iter::repeat_with(&mut bit).take(26).collect();
            let sent = send(&frame, Timing::default(), read * 100_000_000, Level::High);
            sent.collect::<Vec<_>>()
        })
        .take(count)
}
