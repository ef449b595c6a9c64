//! The layouts every panel is likely to meet, named by their structure.
//!
//! All but [`OPEN_26`] and [`FASCN_200`] are *common practice*: met on site,
//! without a published standard behind them.

use super::{Code, FieldSpec, FixedSpec, Kind, Order, ParitySpec, Span, Spec};

/// Every built-in layout's spec, in the order they are listed.
pub static SPECS: [&Spec<'static>; 10] = [
    &OPEN_26, &PLAIN_24, &PLAIN_32, &PLAIN_40, &PLAIN_56, &SITE_34, &SERIAL_34, &KEY_4, &KEY_8,
    &FASCN_200,
];

/// The spec of the built-in layout of that name.
pub fn spec(name: &str) -> Option<&'static Spec<'static>> {
    SPECS.into_iter().find(|spec| spec.name == name)
}

/// The open 26-bit layout: even parity over bits 2–13 in bit 1, facility code
/// in bits 2–9, card number in bits 10–25, odd parity over bits 14–25 in bit
/// 26.
///
/// Source: SIA AC-01-1996.10, *Access Control Standard Protocol for the 26-BIT
/// Wiegand Reader Interface*; the bit table is from memory.
pub static OPEN_26: Spec<'static> = Spec {
    name: "open-26",
    bits: 26,
    fields: &[
        FieldSpec::plain("facility", &[Span::range(2, 9)]),
        FieldSpec::plain("card", &[Span::range(10, 25)]),
    ],
    fixed: &[],
    parity: &[
        ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 13)] },
        ParitySpec { bit: 26, kind: Kind::Odd, over: &[Span::range(14, 25)] },
    ],
};

/// An 8-bit facility code and a 16-bit card number without parity. Common
/// practice.
pub static PLAIN_24: Spec<'static> = Spec {
    name: "plain-24",
    bits: 24,
    fields: &[
        FieldSpec::plain("facility", &[Span::range(1, 8)]),
        FieldSpec::plain("card", &[Span::range(9, 24)]),
    ],
    fixed: &[],
    parity: &[],
};

/// A bare 32-bit number: the usual length of a chip's 4-byte serial number.
/// Common practice.
pub static PLAIN_32: Spec<'static> = Spec {
    name: "plain-32",
    bits: 32,
    fields: &[FieldSpec::plain("card", &[Span::range(1, 32)])],
    fixed: &[],
    parity: &[],
};

/// A bare 40-bit number. Common practice.
pub static PLAIN_40: Spec<'static> = Spec {
    name: "plain-40",
    bits: 40,
    fields: &[FieldSpec::plain("card", &[Span::range(1, 40)])],
    fixed: &[],
    parity: &[],
};

/// A bare 56-bit number: the usual length of a chip's 7-byte serial number.
/// Common practice.
pub static PLAIN_56: Spec<'static> = Spec {
    name: "plain-56",
    bits: 56,
    fields: &[FieldSpec::plain("card", &[Span::range(1, 56)])],
    fixed: &[],
    parity: &[],
};

/// A 16-bit facility code and a 16-bit card number, even parity over bits
/// 2–17 in bit 1, odd parity over bits 18–33 in bit 34. Common practice.
pub static SITE_34: Spec<'static> = Spec {
    name: "site-34",
    bits: 34,
    fields: &[
        FieldSpec::plain("facility", &[Span::range(2, 17)]),
        FieldSpec::plain("card", &[Span::range(18, 33)]),
    ],
    fixed: &[],
    parity: PARITY_34,
};

/// One 32-bit serial number between the parity bits of [`SITE_34`]. Common
/// practice.
pub static SERIAL_34: Spec<'static> = Spec {
    name: "serial-34",
    bits: 34,
    fields: &[FieldSpec::plain("card", &[Span::range(2, 33)])],
    fixed: &[],
    parity: PARITY_34,
};

/// One key of a keypad in four bits, most significant first; 10 for the star
/// key, 11 for the hash key. Common practice.
pub static KEY_4: Spec<'static> = Spec {
    name: "key-4",
    bits: 4,
    fields: &[FieldSpec::plain("key", &[Span::range(1, 4)])],
    fixed: &[],
    parity: &[],
};

/// One key of a keypad in eight bits: the four bits complemented, then the
/// four bits. Common practice.
// A bit and its complement hold exactly one 1 between them: odd parity.
pub static KEY_8: Spec<'static> = Spec {
    name: "key-8",
    bits: 8,
    fields: &[FieldSpec::plain("key", &[Span::range(5, 8)])],
    fixed: &[],
    parity: &[
        ParitySpec { bit: 1, kind: Kind::Odd, over: &[Span::one(5)] },
        ParitySpec { bit: 2, kind: Kind::Odd, over: &[Span::one(6)] },
        ParitySpec { bit: 3, kind: Kind::Odd, over: &[Span::one(7)] },
        ParitySpec { bit: 4, kind: Kind::Odd, over: &[Span::one(8)] },
    ],
};

const PARITY_34: &[ParitySpec<'static>] = &[
    ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 17)] },
    ParitySpec { bit: 34, kind: Kind::Odd, over: &[Span::range(18, 33)] },
];

/// The U.S. federal identity card's 200-bit number: 40 characters of five
/// bits, each a decimal digit least significant bit first and an odd parity
/// bit; separators between the numbers; at the end a character whose four
/// bits make each column even.
///
/// Its 44 parity rules need the `alloc` feature. That a digit is at most nine
/// is checked after decoding.
///
/// Source: *Technical Implementation Guidance: Smart Card Enabled Physical
/// Access Control Systems*, v2.2, section 6.2, figure 7.
pub static FASCN_200: Spec<'static> = Spec {
    name: "fascn-200",
    bits: 200,
    fields: &[
        digits("agency", 1, 4),
        digits("system", 6, 4),
        digits("credential", 11, 6),
        digits("series", 18, 1),
        digits("issue", 20, 1),
        digits("person", 22, 10),
        digits("category", 32, 1),
        digits("organisation", 33, 4),
        digits("association", 37, 1),
    ],
    fixed: &[
        FixedSpec { bits: characters(0, 1), value: "1101" },
        FixedSpec { bits: characters(5, 1), value: "1011" },
        FixedSpec { bits: characters(10, 1), value: "1011" },
        FixedSpec { bits: characters(17, 1), value: "1011" },
        FixedSpec { bits: characters(19, 1), value: "1011" },
        FixedSpec { bits: characters(21, 1), value: "1011" },
        FixedSpec { bits: characters(38, 1), value: "1111" },
    ],
    parity: &FASCN_PARITY,
};

/// The four digit bits of each of the 40 characters.
static FASCN_CHARACTERS: [Span; 40] = {
    let mut spans = [Span::one(1); 40];
    let mut i = 0;
    while i < 40 {
        let first = 5 * i as u16 + 1;
        spans[i] = Span::range(first, first + 3);
        i += 1;
    }
    spans
};

/// Bit by bit, the 39 characters the last one is made from.
static FASCN_COLUMNS: [[Span; 1]; 4] = [
    [Span::every(5, 1, 191)],
    [Span::every(5, 2, 192)],
    [Span::every(5, 3, 193)],
    [Span::every(5, 4, 194)],
];

static FASCN_PARITY: [ParitySpec<'static>; 44] = {
    let mut rules = [ParitySpec { bit: 1, kind: Kind::Odd, over: &[] }; 44];
    let mut i = 0;
    while i < 40 {
        rules[i].bit = 5 * i as u16 + 5;
        rules[i].over = characters(i, 1);
        i += 1;
    }
    let mut column = 0;
    while column < 4 {
        rules[40 + column] =
            ParitySpec { bit: 196 + column as u16, kind: Kind::Even, over: &FASCN_COLUMNS[column] };
        column += 1;
    }
    rules
};

const fn characters(first: usize, count: usize) -> &'static [Span] {
    FASCN_CHARACTERS.split_at(first).1.split_at(count).0
}

const fn digits(name: &'static str, first: usize, count: usize) -> FieldSpec<'static> {
    FieldSpec {
        name,
        bits: characters(first, count),
        order: Order::LsbFirst,
        code: Code::Bcd,
        value: None,
        range: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Layout;

    #[test]
    fn every_built_in_layout_compiles_and_assigns_every_bit() {
        for spec in SPECS {
            match Layout::new(spec) {
                Ok(layout) => assert_eq!(layout.unassigned().count(), 0, "{}", spec.name),
                Err(error) => assert!(
                    !cfg!(feature = "alloc") && spec.name == "fascn-200",
                    "{}: {error}",
                    spec.name
                ),
            }
        }
    }
}
