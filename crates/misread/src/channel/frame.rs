//! Frames of cards drawn at random, and the order of their bytes.

use misread_core::layout::Kind;
use misread_core::{Bit, Bits, Layout};
use rand_core::Rng;

use super::known::{Known, put};
use super::unlisted::even;

/// Whether a field of so many bits is sent in bytes that can be reversed: 16,
/// 24, 32 … 64 bits.
pub fn has_bytes(width: usize) -> bool {
    width >= 16 && width.is_multiple_of(8)
}

/// The bits of a field as one word, last bit lowest, its bytes in reverse
/// order. `width` is 8 to 64 bits, and the word has no more.
pub fn reverse_bytes(raw: u64, width: usize) -> u64 {
    raw.swap_bytes() >> (64 - width)
}

/// A frame of a card that carries these values: all other field bits and
/// unassigned bits are 0 or 1 with ½, fixed and parity bits as the layout says.
/// A field's declared value or range plays no part. `None` where the layout
/// lacks a field or a value is too large for it.
///
/// ```
/// use misread::channel::{draw_frame, seeded};
/// use misread::layout::{Layout, built_in};
///
/// let layout = Layout::new(&built_in::OPEN_26)?;
/// let frame = draw_frame(&layout, [("facility", 42)], &mut seeded(7, 0)).unwrap();
/// assert_eq!(layout.decode(&frame)?.value("facility"), Some(42));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn draw_frame<'a>(
    layout: &Layout,
    values: impl IntoIterator<Item = (&'a str, u64)>,
    random: &mut impl Rng,
) -> Option<Bits> {
    let known = Known::whole(layout, values)?;
    Some(draw_known(layout, &known, random))
}

/// The same of a card of which this is known.
pub(super) fn draw_known(layout: &Layout, known: &Known, random: &mut impl Rng) -> Bits {
    let mut frame = even(layout.bits(), random);
    known.put(layout, &mut frame);
    for (index, value) in layout.fixed().iter().flat_map(|rule| rule.bits()) {
        frame.set(index, value.into());
    }
    complete(layout, &mut frame);
    frame
}

/// The frame a reader sends that reverses the bytes of every field of 16, 24,
/// 32 … 64 bits; parity follows what is sent. `None` for a layout without such
/// a field, a frame of another length, or one with an unread bit.
pub fn bytes_reversed(layout: &Layout, frame: &Bits) -> Option<Bits> {
    if frame.len() != layout.bits() || frame.unread_count() > 0 {
        return None;
    }
    let mut sent = *frame;
    let mut reversed = false;
    for field in layout.fields().iter().filter(|field| has_bytes(field.width())) {
        put(&mut sent, field, reverse_bytes(field.raw_in(frame)?, field.width()), 0);
        reversed = true;
    }
    complete(layout, &mut sent);
    reversed.then_some(sent)
}

/// Sets the parity bits. A rule may cover the parity bit of another one, so
/// this goes round until all hold: one round settles at least one more rule,
/// since a layout's rules can be worked out one after the other.
fn complete(layout: &Layout, frame: &mut Bits) {
    for _ in layout.parity() {
        let mut settled = true;
        for rule in layout.parity() {
            let ones = rule.group().indices().filter(|&i| frame.get(i) == Some(Bit::One)).count();
            if (ones % 2 == 1) != (rule.kind() == Kind::Odd) {
                let bit = frame.get(rule.bit()) != Some(Bit::One);
                frame.set(rule.bit(), bit.into());
                settled = false;
            }
        }
        if settled {
            break;
        }
    }
}

#[cfg(test)]
mod tests {
    use misread_core::layout::built_in;

    use super::*;
    use crate::channel::seeded;

    #[test]
    fn drawn_frames_fit_their_layout_and_carry_what_is_known() {
        for spec in built_in::SPECS {
            let layout = Layout::new(spec).unwrap();
            let field = &layout.fields()[0];
            for number in 0..50 {
                let random = &mut seeded(3, number);
                let value = number % (field.max() + 1);
                let frame = draw_frame(&layout, [(field.name(), value)], random).unwrap();
                let decoded = layout.decode(&frame).unwrap();
                assert_eq!(decoded.value(field.name()), Some(value), "{}", spec.name);
            }
        }
    }

    #[test]
    fn reversed_bytes_come_back_and_parity_follows() {
        let layout = Layout::new(&built_in::OPEN_26).unwrap();
        let frame = layout.encode([("facility", 42), ("card", 0x04d2)]).unwrap();
        let sent = bytes_reversed(&layout, &frame).unwrap();
        assert_eq!(sent, layout.encode([("facility", 42), ("card", 0xd204)]).unwrap());
        assert_eq!(bytes_reversed(&layout, &sent), Some(frame));
        let keys = Layout::new(&built_in::KEY_8).unwrap();
        let key = keys.encode([("key", 7)]).unwrap();
        assert_eq!(bytes_reversed(&keys, &key), None);
    }
}
