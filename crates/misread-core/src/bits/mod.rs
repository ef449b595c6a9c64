//! A string of up to 512 bits as received, each 0, 1 or unread.
//!
//! Bits are held packed, first bit in the top of the first byte: the order on
//! the wire, and the order in which hexadecimal is written. Indices count from
//! 0 as everywhere in Rust; *positions*, in messages and in layouts, count
//! from 1 as the trade does.
//!
//! An unread bit, written `?`, is one nobody has seen: a panel that shows only
//! facility code and card number leaves the parity bits unread.

mod read_text;

use core::fmt;
use core::str::FromStr;

use bitvec::order::{BitOrder, Msb0};
use bitvec::slice::BitSlice;
use bitvec::store::BitStore;
use bitvec::view::BitView;

pub use read_text::{HexRead, ReadText, TextError, TextProblem, parse_read_text};

/// The longest read, in bits.
pub const MAX_BITS: usize = 512;

const BYTES: usize = MAX_BITS / 8;

const LEN: usize = 0;
const UNREAD: usize = 1;

/// One received bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Bit {
    /// A pulse on D0.
    Zero,
    /// A pulse on D1.
    One,
    /// Not seen by whoever wrote the read down; it may be either.
    Unread,
}

impl Bit {
    /// `true` for 1, `false` for 0, `None` for an unread bit.
    pub fn value(self) -> Option<bool> {
        match self {
            Bit::Zero => Some(false),
            Bit::One => Some(true),
            Bit::Unread => None,
        }
    }

    /// The character it is written as: `0`, `1` or `?`.
    pub fn as_char(self) -> char {
        match self {
            Bit::Zero => '0',
            Bit::One => '1',
            Bit::Unread => '?',
        }
    }
}

impl From<bool> for Bit {
    fn from(value: bool) -> Self {
        if value { Bit::One } else { Bit::Zero }
    }
}

/// A way of turning a whole read around without changing its length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Turn {
    /// As it is.
    AsReceived,
    /// Every bit turned over, as swapped data lines do.
    Inverted,
    /// Last bit first.
    Reversed,
    /// Every bit turned over and last bit first.
    InvertedReversed,
}

impl Turn {
    /// All four, plainest first.
    pub const ALL: [Turn; 4] =
        [Turn::AsReceived, Turn::Inverted, Turn::Reversed, Turn::InvertedReversed];
}

/// A read longer than [`MAX_BITS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a read holds at most {MAX_BITS} bits; this one would be longer")]
pub struct TooLong;

/// A string of up to 512 bits, each 0, 1 or unread.
///
/// ```
/// use misread_core::{Bit, Bits};
///
/// let read: Bits = "10?1".parse()?;
/// assert_eq!(read.len(), 4);
/// assert_eq!(read.get(2), Some(Bit::Unread));
/// assert_eq!(read.complement().to_string(), "01?0");
/// assert_eq!(read.reverse().to_string(), "1?01");
/// # Ok::<(), misread_core::bits::TextError>(())
/// ```
// Beyond `len`, and wherever a bit is unread, the value bits are 0: so equal
// reads are equal bytes, and a word of values can be used without masking.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Bits {
    values: [u8; BYTES],
    unread: [u8; BYTES],
    /// How many bits there are, and how many of them are unread: together, so
    /// that a layout asks for both in one comparison.
    counts: [u16; 2],
}

impl Bits {
    /// The empty read.
    pub const fn new() -> Self {
        Bits { values: [0; BYTES], unread: [0; BYTES], counts: [0; 2] }
    }

    /// The low `len` bits of `value`, most significant first; `len` is at most
    /// 64. `None` if `value` does not fit in `len` bits or `len` is over 64.
    ///
    /// ```
    /// # use misread_core::Bits;
    /// assert_eq!(Bits::from_value(5, 4).unwrap().to_string(), "0101");
    /// assert_eq!(Bits::from_value(16, 4), None);
    /// ```
    pub fn from_value(value: u64, len: usize) -> Option<Self> {
        if len > 64 || (len < 64 && value >> len != 0) {
            return None;
        }
        let mut bits = Bits::new();
        if len > 0 {
            bits.values[..8].copy_from_slice(&(value << (64 - len)).to_be_bytes());
            bits.counts[LEN] = len as u16;
        }
        Some(bits)
    }

    /// The first `len` bits of packed bytes, first bit in the top of the first
    /// byte. `None` if `bytes` holds fewer than `len` bits or `len` is over
    /// [`MAX_BITS`].
    pub fn from_packed(bytes: &[u8], len: usize) -> Option<Self> {
        if len > MAX_BITS || bytes.len() < len.div_ceil(8) {
            return None;
        }
        let mut bits = Bits::new();
        let whole = len.div_ceil(8);
        bits.values[..whole].copy_from_slice(&bytes[..whole]);
        bits.counts[LEN] = len as u16;
        bits.clear_past_end();
        Some(bits)
    }

    /// Copies a bit slice of any storage and order, its first element first.
    pub fn from_bitslice<T: BitStore, O: BitOrder>(
        slice: &BitSlice<T, O>,
    ) -> Result<Self, TooLong> {
        let mut bits = Bits::new();
        for bit in slice.iter().by_vals() {
            bits.push(bit.into())?;
        }
        Ok(bits)
    }

    /// Adds a bit at the end.
    pub fn push(&mut self, bit: Bit) -> Result<(), TooLong> {
        let index = self.len();
        if index == MAX_BITS {
            return Err(TooLong);
        }
        let mask = 0x80 >> (index % 8);
        match bit {
            Bit::Zero => {}
            Bit::One => self.values[index / 8] |= mask,
            Bit::Unread => {
                self.unread[index / 8] |= mask;
                self.counts[UNREAD] += 1;
            }
        }
        self.counts[LEN] += 1;
        Ok(())
    }

    /// Replaces the bit at `index`; does nothing past the end.
    pub fn set(&mut self, index: usize, bit: Bit) {
        let Some(old) = self.get(index) else { return };
        let (byte, mask) = (index / 8, 0x80 >> (index % 8));
        self.values[byte] &= !mask;
        self.unread[byte] &= !mask;
        if old == Bit::Unread {
            self.counts[UNREAD] -= 1;
        }
        match bit {
            Bit::Zero => {}
            Bit::One => self.values[byte] |= mask,
            Bit::Unread => {
                self.unread[byte] |= mask;
                self.counts[UNREAD] += 1;
            }
        }
    }

    /// How many bits there are.
    pub fn len(&self) -> usize {
        usize::from(self.counts[LEN])
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.counts[LEN] == 0
    }

    /// How many of the bits are unread.
    pub fn unread_count(&self) -> usize {
        usize::from(self.counts[UNREAD])
    }

    /// The bit at `index`, from 0; `None` past the end.
    pub fn get(&self, index: usize) -> Option<Bit> {
        if index >= self.len() {
            return None;
        }
        let mask = 0x80 >> (index % 8);
        Some(if self.unread[index / 8] & mask != 0 {
            Bit::Unread
        } else {
            (self.values[index / 8] & mask != 0).into()
        })
    }

    /// The bits in the order received.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = Bit> + ExactSizeIterator + '_ {
        (0..self.len()).map(|index| self.get(index).unwrap_or(Bit::Unread))
    }

    /// How many bits are 1. Unread bits are not counted.
    pub fn count_ones(&self) -> usize {
        self.values.iter().map(|byte| byte.count_ones() as usize).sum()
    }

    /// How many bits are 0. Unread bits are not counted.
    pub fn count_zeros(&self) -> usize {
        self.len() - self.unread_count() - self.count_ones()
    }

    /// The bits as one number, first bit most significant; `None` over 64 bits
    /// or where a bit is unread.
    pub fn to_value(&self) -> Option<u64> {
        match self.len() {
            _ if self.unread_count() > 0 => None,
            0 => Some(0),
            len @ 1..=64 => Some(self.word(0) >> (64 - len)),
            _ => None,
        }
    }

    /// The bits packed into bytes, padded with 0 at the end; unread bits are 0.
    pub fn packed(&self) -> &[u8] {
        &self.values[..self.len().div_ceil(8)]
    }

    /// A view of the bits; unread bits are 0 here and 1 in
    /// [`unread_bitslice`](Self::unread_bitslice).
    pub fn as_bitslice(&self) -> &BitSlice<u8, Msb0> {
        self.values.view_bits::<Msb0>().get(..self.len()).unwrap_or_default()
    }

    /// A view that is 1 where a bit is unread.
    pub fn unread_bitslice(&self) -> &BitSlice<u8, Msb0> {
        self.unread.view_bits::<Msb0>().get(..self.len()).unwrap_or_default()
    }

    /// Every bit turned over, as swapped data lines do. Unread stays unread.
    pub fn complement(&self) -> Self {
        let mut out = *self;
        for (value, unread) in out.values.iter_mut().zip(&self.unread) {
            *value = !*value & !unread;
        }
        out.clear_past_end();
        out
    }

    /// Last bit first.
    pub fn reverse(&self) -> Self {
        self.iter().rev().collect()
    }

    /// The read turned in one of four ways.
    pub fn turned(&self, turn: Turn) -> Self {
        match turn {
            Turn::AsReceived => *self,
            Turn::Inverted => self.complement(),
            Turn::Reversed => self.reverse(),
            Turn::InvertedReversed => self.complement().reverse(),
        }
    }

    /// The bits from index `start` up to and without `end`, both clipped to
    /// the length.
    pub fn slice(&self, start: usize, end: usize) -> Self {
        (start..end.min(self.len())).filter_map(|index| self.get(index)).collect()
    }

    /// This read followed by another.
    pub fn concat(&self, other: &Bits) -> Result<Self, TooLong> {
        let mut out = *self;
        for bit in other.iter() {
            out.push(bit)?;
        }
        Ok(out)
    }

    /// The packed bytes in hexadecimal, left-justified and padded with 0 to
    /// whole bytes; unread bits are 0. Shown through [`fmt::Display`].
    ///
    /// ```
    /// # use misread_core::Bits;
    /// let read: Bits = "1001 1".replace(' ', "").parse()?;
    /// assert_eq!(read.hex().to_string(), "98");
    /// # Ok::<(), misread_core::bits::TextError>(())
    /// ```
    pub fn hex(&self) -> impl fmt::Display + '_ {
        Hex(self.packed())
    }

    /// Whether two reads can be the same bits: equal length, and equal
    /// wherever both are read.
    pub fn agrees_with(&self, other: &Bits) -> bool {
        self.len() == other.len()
            && (0..BYTES).all(|i| {
                (self.values[i] ^ other.values[i]) & !self.unread[i] & !other.unread[i] == 0
            })
    }

    /// Bits `64 * index ..` as a word, first bit at the top. Unread bits and
    /// bits past the end are 0.
    #[inline]
    pub fn word(&self, index: usize) -> u64 {
        be_word(&self.values, index)
    }

    /// Like [`word`](Self::word), 1 where a bit is unread.
    #[inline]
    pub fn unread_word(&self, index: usize) -> u64 {
        be_word(&self.unread, index)
    }

    /// How many bits there are, and how many of them are unread.
    #[inline]
    pub(crate) fn counts(&self) -> [u16; 2] {
        self.counts
    }

    fn clear_past_end(&mut self) {
        let len = self.len();
        if !len.is_multiple_of(8) {
            self.values[len / 8] &= !(0xff >> (len % 8));
        }
        for byte in &mut self.values[len.div_ceil(8)..] {
            *byte = 0;
        }
    }
}

#[inline]
fn be_word(bytes: &[u8; BYTES], index: usize) -> u64 {
    let (words, _) = bytes.as_chunks::<8>();
    words.get(index).map_or(0, |word| u64::from_be_bytes(*word))
}

impl Default for Bits {
    fn default() -> Self {
        Bits::new()
    }
}

/// Collects up to [`MAX_BITS`] bits; what comes after is dropped, so take care
/// to bound the iterator or use [`Bits::push`].
impl FromIterator<Bit> for Bits {
    fn from_iter<I: IntoIterator<Item = Bit>>(iter: I) -> Self {
        let mut bits = Bits::new();
        for bit in iter.into_iter().take(MAX_BITS) {
            if bits.push(bit).is_err() {
                break;
            }
        }
        bits
    }
}

/// Nothing but the characters `0`, `1` and `?`. For what people paste, see
/// [`parse_read_text`].
impl FromStr for Bits {
    type Err = TextError;

    fn from_str(text: &str) -> Result<Self, TextError> {
        read_text::parse_plain(text)
    }
}

impl fmt::Display for Bits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use fmt::Write;
        self.iter().try_for_each(|bit| f.write_char(bit.as_char()))
    }
}

impl fmt::Debug for Bits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Bits({self})")
    }
}

struct Hex<'a>(&'a [u8]);

impl fmt::Display for Hex<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

#[cfg(test)]
mod tests {
    use std::string::ToString;
    use std::vec::Vec;

    use super::*;
    use proptest::prelude::*;

    fn any_bits() -> impl Strategy<Value = Bits> {
        proptest::collection::vec(0u8..3, 0..=MAX_BITS).prop_map(|bits| {
            bits.into_iter()
                .map(|bit| match bit {
                    0 => Bit::Zero,
                    1 => Bit::One,
                    _ => Bit::Unread,
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn complement_twice_and_reverse_twice_give_the_read_back(bits in any_bits()) {
            prop_assert_eq!(bits.complement().complement(), bits);
            prop_assert_eq!(bits.reverse().reverse(), bits);
            prop_assert_eq!(
                bits.turned(Turn::InvertedReversed),
                bits.reverse().complement()
            );
        }

        #[test]
        fn text_gives_the_read_back(bits in any_bits()) {
            prop_assert_eq!(bits.to_string().parse::<Bits>().unwrap(), bits);
        }

        #[test]
        fn bitvec_sees_the_same_bits(bits in any_bits()) {
            let view: Vec<bool> = bits.as_bitslice().iter().by_vals().collect();
            let ours: Vec<bool> = bits.iter().map(|bit| bit == Bit::One).collect();
            prop_assert_eq!(&view, &ours);
            prop_assert_eq!(bits.unread_bitslice().count_ones(), bits.unread_count());
            prop_assert_eq!(bits.as_bitslice().count_ones(), bits.count_ones());
            if bits.unread_count() == 0 {
                prop_assert_eq!(Bits::from_bitslice(bits.as_bitslice()).unwrap(), bits);
                prop_assert_eq!(Bits::from_packed(bits.packed(), bits.len()).unwrap(), bits);
            }
        }

        #[test]
        fn values_give_the_read_back(value: u64, len in 1usize..=64) {
            let value = if len < 64 { value & ((1 << len) - 1) } else { value };
            prop_assert_eq!(Bits::from_value(value, len).unwrap().to_value(), Some(value));
        }

        #[test]
        fn set_equals_building_anew(bits in any_bits(), index in 0usize..600, to in 0u8..3) {
            let to = [Bit::Zero, Bit::One, Bit::Unread][usize::from(to)];
            let mut changed = bits;
            changed.set(index, to);
            let anew: Bits =
                bits.iter().enumerate().map(|(i, b)| if i == index { to } else { b }).collect();
            prop_assert_eq!(changed, anew);
        }
    }

    #[test]
    fn the_longest_read_is_512_bits() {
        let mut bits: Bits = core::iter::repeat_n(Bit::One, 512).collect();
        assert_eq!(bits.push(Bit::One), Err(TooLong));
        assert_eq!(bits.count_ones(), 512);
        assert_eq!(bits.complement().count_ones(), 0);
    }

    #[test]
    fn unread_bits_agree_with_either_value() {
        let read: Bits = "1?0".parse().unwrap();
        assert!(read.agrees_with(&"110".parse().unwrap()));
        assert!(read.agrees_with(&"10?".parse().unwrap()));
        assert!(!read.agrees_with(&"111".parse().unwrap()));
        assert!(!read.agrees_with(&"1?00".parse().unwrap()));
    }
}
