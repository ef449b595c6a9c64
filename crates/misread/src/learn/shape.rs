//! Every set of bits of a plain shape.

use super::prior::Shape;

/// A shape on the way through all of them.
pub(super) struct Growing {
    /// The shape so far.
    pub(super) shape: Shape,
    /// The bit it has just grown by.
    pub(super) added: usize,
    /// Whether it is new: the sum starts afresh.
    pub(super) fresh: bool,
    /// Whether it has enough bits to be a shape of its own.
    pub(super) whole: bool,
}

/// Calls `each` for every plain shape in a frame of `bits`, bit by bit: a
/// shape follows the one it adds a bit to, so that sums can be kept.
pub(super) fn for_each(bits: usize, mut each: impl FnMut(Growing)) {
    for stride in 1..=8u8 {
        for first in 0..bits {
            for (count, added) in (first..bits).step_by(usize::from(stride)).enumerate() {
                let shape = Shape::Every { stride, first: first as u8, last: added as u8 };
                let whole = stride == 1 || count > 0;
                each(Growing { shape, added, fresh: count == 0, whole });
            }
        }
    }
    for split in [false, true] {
        for first in 0..bits {
            let left_out = if split { 1 } else { 2 };
            let listed = (first..bits).filter(|index| (index - first) % 3 != left_out);
            for (count, added) in listed.enumerate() {
                let shape = Shape::TwoInThree { split, first: first as u8, last: added as u8 };
                each(Growing { shape, added, fresh: count == 0, whole: count >= 2 });
            }
        }
    }
}
