//! A layout of at most 64 bits, narrowed to what one word can be checked with:
//! the road of nearly every read.

use super::{Layout, List, MAX_PARITY};
use crate::bits::Bits;

/// The checks of a layout on a read of one word.
///
/// A read is held against the layout's blank frame: it fits where what differs
/// leaves the fixed bits alone and is an even number of bits in every parity
/// group, whatever the rule's kind.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Narrow {
    /// How many bits a read has and how many of them are unread; no read has
    /// both of the counts that stand here for a layout of more than 64 bits.
    counts: [u16; 2],
    blank: u64,
    /// Two parity groups: in nearly every layout all there is to check. No
    /// bits where there is none, and they hold always.
    groups: [u64; 2],
    has_more: bool,
    fixed: u64,
    more_groups: List<u64, MAX_PARITY>,
}

impl Narrow {
    pub(super) fn new(layout: &Layout) -> Self {
        if layout.bits > 64 {
            return Narrow { counts: [0, 1], ..Narrow::default() };
        }
        let mut groups = layout.parity.iter().map(|rule| rule.group.words[0]);
        let narrow = Narrow {
            counts: [layout.bits, 0],
            blank: layout.blank.words[0],
            groups: [groups.next().unwrap_or(0), groups.next().unwrap_or(0)],
            has_more: false,
            fixed: layout.fixed_bits.words[0],
            more_groups: groups.collect(),
        };
        Narrow { has_more: narrow.fixed != 0 || !narrow.more_groups.is_empty(), ..narrow }
    }

    /// The read as one word, first bit at the top, where the layout is narrow,
    /// every bit is read and every check holds. `None` says nothing yet.
    #[inline]
    pub(super) fn fitting_word(&self, read: &Bits) -> Option<u64> {
        if self.counts != read.counts() {
            return None;
        }
        let word = read.word(0);
        let changed = word ^ self.blank;
        let fits = is_even(changed & self.groups[0])
            && is_even(changed & self.groups[1])
            && (!self.has_more || self.more_fits(changed));
        fits.then_some(word)
    }

    /// Out of line, to keep what is inlined of decoding small.
    #[inline(never)]
    fn more_fits(&self, changed: u64) -> bool {
        changed & self.fixed == 0 && self.more_groups.iter().all(|group| is_even(changed & group))
    }
}

#[inline]
fn is_even(bits: u64) -> bool {
    bits.count_ones() & 1 == 0
}
