//! Sets of positions in a frame.

use super::MAX_LAYOUT_BITS;
use crate::bits::Bits;

const WORDS: usize = MAX_LAYOUT_BITS / 64;

/// A set of bits of a frame, or the values of a frame's bits. The first bit
/// is the top of the first word, as in [`Bits::word`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Mask {
    pub(crate) words: [u64; WORDS],
}

impl Mask {
    /// The empty set.
    pub const fn new() -> Self {
        Mask { words: [0; WORDS] }
    }

    /// Adds the bit at `index`, from 0; nothing happens past 255.
    pub fn insert(&mut self, index: usize) {
        if let Some(word) = self.words.get_mut(index / 64) {
            *word |= 1 << (63 - index % 64);
        }
    }

    /// Whether the bit at `index`, from 0, is in the set.
    pub fn contains(&self, index: usize) -> bool {
        self.words.get(index / 64).is_some_and(|word| word >> (63 - index % 64) & 1 == 1)
    }

    /// The indices in the set, from 0, in order.
    pub fn indices(&self) -> impl Iterator<Item = usize> + '_ {
        (0..MAX_LAYOUT_BITS).filter(|&index| self.contains(index))
    }

    /// How many bits are in the set.
    pub fn count(&self) -> usize {
        self.words.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// The set as words: the bit at index 0 is the top of the first word.
    pub fn words(&self) -> [u64; WORDS] {
        self.words
    }

    /// Whether the number of 1s of `read` inside the set is odd.
    #[inline]
    pub(crate) fn parity_of(&self, read: &Bits) -> bool {
        let folded = (0..WORDS).fold(0, |sum, i| sum ^ (self.words[i] & read.word(i)));
        folded.count_ones() & 1 == 1
    }

    /// Whether an unread bit of `read` is in the set.
    pub(crate) fn has_unread(&self, read: &Bits) -> bool {
        (0..WORDS).any(|i| self.words[i] & read.unread_word(i) != 0)
    }
}
