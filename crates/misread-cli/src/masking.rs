//! Hiding card numbers.
//!
//! Shown are the last two digits of a value, and of a read only the bits that
//! no field carries. Where there is no layout to say which those are, every
//! bit is hidden. A parity bit over a single field bit is a copy of it (or of
//! its opposite) and is hidden with it.

use misread::diagnose::Numbers;
use misread::{Bits, Layout};

/// What stands for a hidden digit or bit.
pub(crate) const HIDDEN: char = '•';

/// Whether card numbers are hidden.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Masking {
    /// Everything is shown.
    Off,
    /// All but the last two digits are hidden.
    On,
}

impl Masking {
    /// Whether anything is hidden.
    pub(crate) fn is_on(self) -> bool {
        self == Masking::On
    }

    /// The same for sentences.
    pub(crate) fn numbers(self) -> Numbers {
        match self {
            Masking::Off => Numbers::Shown,
            Masking::On => Numbers::Masked,
        }
    }

    /// A field's value in decimal.
    pub(crate) fn number(self, value: u64) -> String {
        self.digits(&value.to_string())
    }

    /// Digits, all but the last two hidden.
    pub(crate) fn digits(self, digits: &str) -> String {
        let hidden = if self.is_on() { digits.chars().count().saturating_sub(2) } else { 0 };
        digits.chars().enumerate().map(|(i, c)| if i < hidden { HIDDEN } else { c }).collect()
    }

    /// The bits of a read as text.
    pub(crate) fn bits(self, bits: &Bits, layout: Option<&Layout>) -> String {
        let hidden = self.hidden(bits.len(), layout);
        let text = bits.iter().zip(hidden);
        text.map(|(bit, hidden)| if hidden { HIDDEN } else { bit.as_char() }).collect()
    }

    /// A frame in hexadecimal, left-justified and padded with 0 to whole
    /// bytes. A digit that any hidden bit is part of is hidden.
    pub(crate) fn hex(self, bits: &Bits, layout: Option<&Layout>) -> String {
        let hidden = self.hidden(bits.len(), layout);
        let digits = bits.hex().to_string();
        let hides = |i: usize| hidden.iter().skip(4 * i).take(4).any(|&hidden| hidden);
        digits.chars().enumerate().map(|(i, c)| if hides(i) { HIDDEN } else { c }).collect()
    }

    /// Pasted text, every character hidden that could be part of a number.
    pub(crate) fn pasted(self, text: &str) -> String {
        let hides = |c: char| self.is_on() && (c == '?' || c.is_alphanumeric());
        text.chars().map(|c| if hides(c) { HIDDEN } else { c }).collect()
    }

    /// A name out of a file; a word of more than two digits may be a number.
    pub(crate) fn name(self, text: &str) -> String {
        let words = text.split_inclusive(|c: char| !c.is_alphanumeric());
        words
            .map(|word| match word.chars().filter(char::is_ascii_digit).count() {
                3.. => self.pasted(word),
                _ => word.to_owned(),
            })
            .collect()
    }

    /// Which bits of a read of that length are hidden.
    pub(crate) fn hidden(self, len: usize, layout: Option<&Layout>) -> Vec<bool> {
        let Some(layout) = layout.filter(|layout| self.is_on() && layout.bits() == len) else {
            return vec![self.is_on(); len];
        };
        let mut hidden = vec![false; len];
        let mut hide = |index: usize| hidden.iter_mut().skip(index).take(1).for_each(|h| *h = true);
        layout.fields().iter().flat_map(|field| field.indices()).for_each(&mut hide);
        let copies = layout.parity().iter().filter(|rule| rule.group().count() == 2);
        copies.map(|rule| rule.bit()).for_each(hide);
        hidden
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use misread::layout::built_in;
    use proptest::prelude::*;

    #[test]
    fn two_digits_are_left() {
        assert_eq!(Masking::On.number(1234), "••34");
        assert_eq!(Masking::On.number(42), "42");
        assert_eq!(Masking::On.number(7), "7");
        assert_eq!(Masking::Off.number(1234), "1234");
    }

    #[test]
    fn a_name_is_shown_but_for_numbers_in_it() {
        assert_eq!(Masking::On.name("gate.in_3, channel 12"), "gate.in_3, channel 12");
        assert_eq!(Masking::On.name("‘0x95a2’ 1234 d0"), "‘••••••’ •••• d0");
        assert_eq!(Masking::Off.name("1234"), "1234");
    }

    #[test]
    fn only_the_bits_of_fields_are_hidden() {
        let layout = Layout::new(&built_in::OPEN_26).unwrap();
        let read: Bits = "10010101000000100110100100".parse().unwrap();
        let shown = Masking::On.bits(&read, Some(&layout));
        assert_eq!(shown, format!("1{}0", "•".repeat(24)));
        assert_eq!(Masking::On.bits(&read, None), "•".repeat(26));
        // The last byte holds field bits in its first digit only.
        assert_eq!(Masking::On.hex(&read, Some(&layout)), "•••••••0");
    }

    #[test]
    fn a_parity_bit_that_copies_a_field_bit_is_hidden() {
        let layout = Layout::new(&built_in::KEY_8).unwrap();
        let read: Bits = "10100101".parse().unwrap();
        assert_eq!(Masking::On.bits(&read, Some(&layout)), "•".repeat(8));
    }

    proptest! {
        #[test]
        fn two_cards_that_share_their_last_digits_look_alike(card in 0u64..655, other in 0u64..655) {
            // Everything but the parity bits must be the same.
            let layout = Layout::new(&built_in::PLAIN_24).unwrap();
            let seen = |hundreds: u64| {
                let card = 10_000 + hundreds % 500 * 100 + 34;
                let frame = layout.encode([("facility", 42), ("card", card)]).unwrap();
                (
                    Masking::On.bits(&frame, Some(&layout)),
                    Masking::On.hex(&frame, Some(&layout)),
                    Masking::On.number(card),
                )
            };
            prop_assert_eq!(seen(card), seen(other));
        }
    }
}
