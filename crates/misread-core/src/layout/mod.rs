//! Fields, fixed bits and parity rules; checked once when built, then decode
//! and encode.
//!
//! A [`Spec`] is a layout as written down. [`Layout::new`] checks and compiles
//! it; after that no accessor fails, and [`Layout::decode`] has no error but
//! "these bits do not fit", with the check that failed and the bits it covers.
//!
//! Every bit is claimed at most once: by a field, by a fixed value or as a
//! parity bit. Bits that nothing claims are *unassigned*: they may carry
//! anything, and are sent as 0. A parity rule may cover any bits, other parity
//! bits included, as long as the rules can be worked out one after the other.
//!
//! # Capacities without the `alloc` feature
//!
//! A layout then holds at most 8 fields, 8 fixed rules and 16 parity rules, in
//! place. With it, as many as its 256 bits allow.
//!
//! ```
//! use misread_core::layout::{FieldSpec, Kind, Layout, ParitySpec, Span, Spec};
//!
//! let layout = Layout::new(&Spec {
//!     name: "sail-loft-18",
//!     bits: 18,
//!     fields: &[FieldSpec::plain("card", &[Span::range(2, 17)])],
//!     fixed: &[],
//!     parity: &[
//!         ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 9)] },
//!         ParitySpec { bit: 18, kind: Kind::Odd, over: &[Span::range(10, 17)] },
//!     ],
//! })?;
//! let frame = layout.encode([("card", 1234)])?;
//! assert_eq!(frame.to_string(), "100000100110100101");
//! assert_eq!(layout.decode(&frame)?.value("card"), Some(1234));
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```

mod build;
pub mod built_in;
mod decode;
mod encode;
mod mask;
mod name;
mod narrow;
mod spec;
#[cfg(all(test, feature = "alloc"))]
mod tests;

pub use build::{LayoutError, Problem, Rule};
pub use decode::{Check, CheckOutcome, Decoded, FittingTurns, Misfit};
pub use encode::EncodeError;
pub use mask::Mask;
pub use spec::{Code, FieldSpec, FixedSpec, Kind, Order, ParitySpec, Span, SpanError, Spec};

use name::Name;
use narrow::Narrow;

/// The longest layout, in bits.
pub const MAX_LAYOUT_BITS: usize = 256;

/// The widest field, in bits.
pub const MAX_FIELD_BITS: usize = 64;

/// The longest name of a layout or a field, in bytes.
pub const MAX_NAME: usize = 32;

#[cfg(feature = "alloc")]
pub(crate) type List<T, const N: usize> = alloc::vec::Vec<T>;
#[cfg(not(feature = "alloc"))]
pub(crate) type List<T, const N: usize> = arrayvec::ArrayVec<T, N>;

pub(crate) const MAX_FIELDS: usize = 8;
pub(crate) const MAX_FIXED: usize = 8;
pub(crate) const MAX_PARITY: usize = 16;

/// A checked and compiled layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    name: Name,
    bits: u16,
    fields: List<Field, MAX_FIELDS>,
    fixed: List<Fixed, MAX_FIXED>,
    parity: List<Parity, MAX_PARITY>,
    /// Indices into `parity`, each rule after those whose bits it covers.
    order: List<u16, MAX_PARITY>,
    /// All fixed bits together.
    fixed_bits: Mask,
    /// The frame whose fields are all 0.
    blank: Mask,
    narrow: Narrow,
    unassigned: Mask,
}

impl Layout {
    /// Checks and compiles a layout.
    ///
    /// # Errors
    ///
    /// The first thing that is wrong with it; [`Layout::check`] reports all.
    pub fn new(spec: &Spec<'_>) -> Result<Self, LayoutError> {
        let mut first = None;
        let layout = Self::check(spec, &mut |error| {
            first.get_or_insert(error);
        });
        match (layout, first) {
            (_, Some(error)) => Err(error),
            (Some(layout), None) => Ok(layout),
            (None, None) => Err(LayoutError { rule: Rule::Layout, problem: Problem::TooMany }),
        }
    }

    /// Checks a layout and reports everything that is wrong with it, in the
    /// order written; compiles it where nothing is.
    pub fn check(spec: &Spec<'_>, report: &mut dyn FnMut(LayoutError)) -> Option<Self> {
        build::build(spec, report)
    }

    /// Its name.
    pub fn name(&self) -> &str {
        self.name.as_str()
    }

    /// How many bits a frame has, 1 to 256.
    pub fn bits(&self) -> usize {
        usize::from(self.bits)
    }

    /// The fields, in the order written.
    pub fn fields(&self) -> &[Field] {
        &self.fields
    }

    /// The field of that name.
    #[inline]
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.name.as_bytes() == name.as_bytes())
    }

    /// The fixed rules, in the order written.
    pub fn fixed(&self) -> &[Fixed] {
        &self.fixed
    }

    /// The parity rules, in the order written.
    pub fn parity(&self) -> &[Parity] {
        &self.parity
    }

    /// The bits that no field, fixed rule or parity rule claims or covers.
    pub fn unassigned(&self) -> &Mask {
        &self.unassigned
    }

    /// How many independent checks a frame must pass: each parity rule and
    /// each fixed bit is one, since no two claim the same bit.
    pub fn independent_checks(&self) -> usize {
        self.parity.len() + self.fixed_bits.count()
    }
}

/// A field of a compiled layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    name: Name,
    /// Indices into the frame, from 0, most significant bit first.
    indices: [u8; MAX_FIELD_BITS],
    width: u8,
    order: Order,
    code: Code,
    value: Option<u64>,
    range: Option<(u64, u64)>,
    run: Option<Run>,
}

/// A binary field that is one run of bits within the first word of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Run {
    /// How far to move the word down, 0 to 63.
    shift: u8,
    /// What to keep of it then.
    keep: u64,
}

impl Run {
    /// The index just past its last bit.
    fn end(self) -> usize {
        64 - usize::from(self.shift)
    }

    #[inline]
    fn value_in(self, word: u64) -> u64 {
        word >> (self.shift & 63) & self.keep
    }
}

impl Field {
    /// Its name.
    pub fn name(&self) -> &str {
        self.name.as_str()
    }

    /// How many bits it has, 1 to 64.
    pub fn width(&self) -> usize {
        usize::from(self.width)
    }

    /// Indices into the frame, from 0, most significant bit of the number
    /// first, whichever order they were listed in.
    pub fn indices(&self) -> impl DoubleEndedIterator<Item = usize> + ExactSizeIterator + '_ {
        self.indices[..self.width()].iter().map(|&index| usize::from(index))
    }

    /// The positions, from 1, in the order they were listed.
    pub fn listed_positions(&self) -> impl Iterator<Item = u16> + '_ {
        let width = self.width();
        (0..width).map(move |i| {
            u16::from(self.indices[significance(i, width, self.order, self.code)]) + 1
        })
    }

    /// Which end of the listed bits is most significant.
    pub fn order(&self) -> Order {
        self.order
    }

    /// How its bits make its number.
    pub fn code(&self) -> Code {
        self.code
    }

    /// What this site's cards carry, where that is declared.
    pub fn value(&self) -> Option<u64> {
        self.value
    }

    /// The lowest and the highest value that was ordered, where declared.
    pub fn range(&self) -> Option<(u64, u64)> {
        self.range
    }

    /// The largest number it can carry.
    pub fn max(&self) -> u64 {
        match self.code {
            Code::Binary => u64::MAX >> (64 - self.width()),
            Code::Bcd => 10u64.pow(u32::from(self.width) / 4) - 1,
        }
    }

    /// The bits that carry `number`, as one word, last bit lowest; `None`
    /// where it is too large.
    pub fn to_raw(&self, number: u64) -> Option<u64> {
        if number > self.max() {
            return None;
        }
        Some(match self.code {
            Code::Binary => number,
            Code::Bcd => {
                let mut rest = number;
                let mut raw = 0;
                for group in 0..self.width() / 4 {
                    raw |= (rest % 10) << (4 * group);
                    rest /= 10;
                }
                raw
            }
        })
    }

    /// The number that bits carry. A group of four over nine counts as its
    /// binary value, ten to fifteen: see [`digits_are_decimal`](Self::digits_are_decimal).
    pub fn from_raw(&self, raw: u64) -> u64 {
        match self.code {
            Code::Binary => raw,
            Code::Bcd => (0..self.width() / 4)
                .rev()
                .fold(0, |number, group| number * 10 + (raw >> (4 * group) & 15)),
        }
    }

    /// Whether every group of four is at most nine; true for a binary field.
    pub fn digits_are_decimal(&self, raw: u64) -> bool {
        self.code == Code::Binary || (0..self.width() / 4).all(|group| raw >> (4 * group) & 15 <= 9)
    }

    /// Its bits as a set.
    pub fn mask(&self) -> Mask {
        let mut mask = Mask::new();
        self.indices().for_each(|index| mask.insert(index));
        mask
    }
}

/// Where the bit listed at `i` stands when the most significant comes first;
/// its own inverse.
fn significance(i: usize, width: usize, order: Order, code: Code) -> usize {
    match (order, code) {
        (Order::MsbFirst, _) => i,
        (Order::LsbFirst, Code::Binary) => width - 1 - i,
        (Order::LsbFirst, Code::Bcd) => i ^ 3,
    }
}

/// A fixed rule of a compiled layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fixed {
    /// Indices into the frame, from 0, in the order listed.
    indices: List<u8, MAX_FIELD_BITS>,
    bits: Mask,
    values: Mask,
}

impl Fixed {
    /// Its bits and the value of each, in the order listed; indices from 0.
    pub fn bits(&self) -> impl Iterator<Item = (usize, bool)> + '_ {
        self.indices.iter().map(|&i| (usize::from(i), self.values.contains(usize::from(i))))
    }

    /// Its bits as a set.
    pub fn mask(&self) -> &Mask {
        &self.bits
    }
}

/// A parity rule of a compiled layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parity {
    bit: u8,
    kind: Kind,
    /// The bits covered and the parity bit.
    group: Mask,
}

impl Parity {
    /// The index of the parity bit, from 0.
    pub fn bit(&self) -> usize {
        usize::from(self.bit)
    }

    /// Even or odd.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The bits covered and the parity bit together: the number of 1s among
    /// them is even or odd.
    pub fn group(&self) -> &Mask {
        &self.group
    }

    /// The positions covered, from 1, in order; the parity bit not among them.
    pub fn over(&self) -> impl Iterator<Item = u16> + '_ {
        self.group.indices().filter(|&index| index != self.bit()).map(|index| index as u16 + 1)
    }
}
