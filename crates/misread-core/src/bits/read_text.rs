//! What people paste: 0s and 1s in any grouping, or hexadecimal with a length.

use core::fmt;

use super::{Bit, Bits, MAX_BITS};

/// A read as pasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadText {
    /// The bits.
    Bits(Bits),
    /// Hexadecimal without a length. Which bits are padding can be said only
    /// by someone who knows the layouts in use: see [`HexRead::readings`].
    Hex(HexRead),
}

/// Hexadecimal digits whose bit length was not given.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct HexRead {
    bits: Bits,
}

impl HexRead {
    /// All the bits the digits stand for, padding included: four a digit.
    pub fn bits(&self) -> &Bits {
        &self.bits
    }

    /// The readings with `len` bits: the digits' first bits where the rest is
    /// 0 (left-justified), their last bits where what comes before is 0
    /// (right-justified). Both `None` where `len` is over the number of bits.
    pub fn readings(&self, len: usize) -> Readings {
        let total = self.bits.len();
        if len > total {
            return Readings { left: None, right: None };
        }
        let pad = total - len;
        let left = self.bits.slice(len, total).count_ones() == 0;
        let right = self.bits.slice(0, pad).count_ones() == 0;
        Readings {
            left: left.then(|| self.bits.slice(0, len)),
            right: right.then(|| self.bits.slice(pad, total)),
        }
    }
}

impl fmt::Debug for HexRead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "HexRead({})", self.bits)
    }
}

/// How hexadecimal can be read at one length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Readings {
    /// The bits come first, padding of 0 behind them.
    pub left: Option<Bits>,
    /// Padding of 0 comes first, the bits behind it.
    pub right: Option<Bits>,
}

impl Readings {
    /// The two readings that differ, where neither padding rules one out.
    fn two(&self) -> Option<(Bits, Bits)> {
        match (self.left, self.right) {
            (Some(left), Some(right)) if left != right => Some((left, right)),
            _ => None,
        }
    }
}

/// Text that is not a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TextError {
    /// Where in the text, in bytes from its start; always on a character
    /// boundary.
    pub at: usize,
    /// What is wrong there.
    pub problem: TextProblem,
}

/// What is wrong with text that is not a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextProblem {
    /// A character that is no bit, no digit and no separator.
    Unexpected(char),
    /// No bit in it at all.
    Empty,
    /// More than [`MAX_BITS`] bits.
    TooLong,
    /// The length behind hexadecimal is missing or not a number from 1 to 512.
    Length,
    /// The length behind the bits is not the number of bits.
    LengthDiffers {
        /// The length as written.
        said: usize,
        /// How many bits there are.
        found: usize,
    },
    /// A length greater than four bits a digit.
    TooFewDigits {
        /// The length as written.
        said: usize,
        /// How many bits the digits hold.
        found: usize,
    },
    /// Neither the first nor the last bits leave a padding of 0.
    Padding {
        /// The length as written.
        said: usize,
        /// How many bits the digits hold.
        found: usize,
    },
    /// Both the first and the last bits leave a padding of 0.
    BothJustified {
        /// The reading with the padding at the end.
        left: Bits,
        /// The reading with the padding in front.
        right: Bits,
    },
}

impl core::error::Error for TextError {}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.problem {
            TextProblem::Empty => self.problem.fmt(f),
            problem => write!(f, "column {}: {problem}", self.at + 1),
        }
    }
}

/// What is wrong, without the place.
impl fmt::Display for TextProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            TextProblem::Unexpected(c) if c.is_control() => {
                write!(f, "a control character ({}) is not a bit", c.escape_default())
            }
            TextProblem::Unexpected(c) => write!(f, "‘{c}’ is not a bit"),
            TextProblem::Empty => write!(f, "there are no bits in it"),
            TextProblem::TooLong => {
                write!(f, "more than {MAX_BITS} bits, the longest read there is")
            }
            TextProblem::Length => write!(f, "the length is not a number from 1 to {MAX_BITS}"),
            TextProblem::LengthDiffers { said, found } => write!(
                f,
                "the length says {said} bits, but there {are} {found}",
                are = if found == 1 { "is" } else { "are" }
            ),
            TextProblem::TooFewDigits { said, found } => {
                write!(f, "the length says {said} bits, but the digits hold only {found}")
            }
            TextProblem::Padding { said, found } => write!(
                f,
                "{said} of the {found} bits are the read, but the other {} are 0 neither in front \
                 nor at the end",
                found - said
            ),
            TextProblem::BothJustified { left, right } => write!(
                f,
                "this can be read two ways: {left} (padding at the end) or {right} (padding in \
                 front)"
            ),
        }
    }
}

impl TextError {
    /// What would be accepted at this place.
    pub fn expected(&self) -> &'static str {
        self.problem.expected()
    }
}

impl TextProblem {
    /// What would be accepted instead.
    pub fn expected(&self) -> &'static str {
        match self {
            TextProblem::Unexpected(_) | TextProblem::Empty => {
                "0, 1 and ? in any grouping (spaces, dashes, underscores, colons), \
                 or hexadecimal with its length, such as 0x25409a7/26"
            }
            TextProblem::TooLong => "at most 512 bits",
            TextProblem::Length => "a length in bits from 1 to 512, such as /26",
            TextProblem::LengthDiffers { .. } => "the number of bits, or no length",
            TextProblem::TooFewDigits { .. } => "a length of at most four bits a digit",
            TextProblem::Padding { .. } => "padding of 0 on one side, or another length",
            TextProblem::BothJustified { .. } => "the bits themselves, as 0s and 1s",
        }
    }
}

/// Reads what people paste.
///
/// Bits are 0, 1 and `?` with spaces, dashes, underscores, colons, dots,
/// commas, line breaks and quotes anywhere between, after an optional `0b`.
/// Hexadecimal is `0x…` or `hex:…` with a length such as `/26` behind it,
/// left- or right-justified: where the padding is 0 on one side only, that is
/// the reading; where it is on both, the text is refused with both. A length
/// behind bits is checked. Anything up to a word and a colon in front, as in
/// a log line, is passed over.
///
/// ```
/// use misread_core::bits::{ReadText, parse_read_text};
///
/// let bits = "10010101000000100110100111".parse()?;
/// for text in [
///     "1001 0101-0000_0010:0110 1001 11",
///     "0b10010101000000100110100111",
///     "10:32:07 slipway reader: 10010101000000100110100111",
///     "0x25409a7/26",
///     "hex:95 02 69 c0/26",
/// ] {
///     assert_eq!(parse_read_text(text)?, ReadText::Bits(bits), "{text}");
/// }
/// # Ok::<(), misread_core::bits::TextError>(())
/// ```
pub fn parse_read_text(text: &str) -> Result<ReadText, TextError> {
    let (start, is_hex) = find_start(text);
    let body = &text[start..];
    let (body, length) = match body.find('/') {
        Some(slash) => (&body[..slash], Some((start + slash, &body[slash + 1..]))),
        None => (body, None),
    };
    let length = match length {
        None => None,
        Some((at, digits)) => {
            let digits = digits.trim_matches(|c| is_separator(c) || c == '.');
            match digits.parse::<usize>() {
                Ok(len @ 1..=MAX_BITS) if digits.bytes().all(|b| b.is_ascii_digit()) => {
                    Some((at, len))
                }
                _ => return Err(TextError { at: at + 1, problem: TextProblem::Length }),
            }
        }
    };
    if is_hex {
        let hex = HexRead { bits: parse_hex(text, start, body)? };
        match length {
            None => Ok(ReadText::Hex(hex)),
            Some((at, len)) => with_length(&hex, at, len).map(ReadText::Bits),
        }
    } else {
        let bits = parse_bits(text, start, body)?;
        match length {
            Some((at, said)) if said != bits.len() => Err(TextError {
                at,
                problem: TextProblem::LengthDiffers { said, found: bits.len() },
            }),
            _ => Ok(ReadText::Bits(bits)),
        }
    }
}

/// Only `0`, `1` and `?`.
pub(super) fn parse_plain(text: &str) -> Result<Bits, TextError> {
    let mut bits = Bits::new();
    for (at, c) in text.char_indices() {
        let bit = bit_of(c).ok_or(TextError { at, problem: TextProblem::Unexpected(c) })?;
        bits.push(bit).map_err(|_| TextError { at, problem: TextProblem::TooLong })?;
    }
    Ok(bits)
}

/// Where the bits or digits begin, and whether they are hexadecimal.
fn find_start(text: &str) -> (usize, bool) {
    // Hexadecimal first: its digits are letters too, so "0x95:0a:" must not
    // look like a word with a colon behind it.
    let mut marks = text.char_indices().filter_map(|(at, _)| {
        let begins_word = !text[..at].ends_with(char::is_alphanumeric);
        let rest = text.get(at..at + 2).filter(|p| begins_word && p.eq_ignore_ascii_case("0x"));
        if rest.is_some() {
            return Some(at + 2);
        }
        let word = text.get(at..at + 3).filter(|p| begins_word && p.eq_ignore_ascii_case("hex"))?;
        let gap = text[at + word.len()..].trim_start();
        gap.starts_with(':').then(|| text.len() - gap.len() + 1)
    });
    if let Some(start) = marks.next_back() {
        return (start, true);
    }
    let after_words = text
        .char_indices()
        .filter(|&(at, c)| c == ':' && ends_in_word(&text[..at]))
        .map(|(at, _)| at + 1)
        .next_back();
    let mut start = after_words.unwrap_or(0);
    let rest = &text[start..];
    start += rest.len() - rest.trim_start_matches(is_separator).len();
    let mark = text.get(start..start + 2).unwrap_or_default();
    if mark.eq_ignore_ascii_case("0b") { (start + 2, false) } else { (start, false) }
}

/// Whether what stands between the last colon and the end has a letter in it,
/// the mark of binary digits aside.
fn ends_in_word(text: &str) -> bool {
    let part = text.rsplit(':').next().unwrap_or_default();
    let part = part.trim_start_matches(is_separator);
    let mark = part.get(..2).is_some_and(|p| p.eq_ignore_ascii_case("0b"));
    part[if mark { 2 } else { 0 }..].chars().any(char::is_alphabetic)
}

fn is_separator(c: char) -> bool {
    c.is_whitespace()
        || matches!(c, '-' | '_' | ':' | ',' | '.' | '|' | '"' | '\'' | '`' | '“' | '”' | '‘' | '’')
}

fn bit_of(c: char) -> Option<Bit> {
    match c {
        '0' => Some(Bit::Zero),
        '1' => Some(Bit::One),
        '?' => Some(Bit::Unread),
        _ => None,
    }
}

fn parse_bits(text: &str, start: usize, body: &str) -> Result<Bits, TextError> {
    let mut bits = Bits::new();
    for (offset, c) in body.char_indices() {
        let at = start + offset;
        if let Some(bit) = bit_of(c) {
            bits.push(bit).map_err(|_| TextError { at, problem: TextProblem::TooLong })?;
        } else if !is_separator(c) {
            return Err(TextError { at, problem: TextProblem::Unexpected(c) });
        }
    }
    not_empty(text, bits)
}

fn parse_hex(text: &str, start: usize, body: &str) -> Result<Bits, TextError> {
    let mut bits = Bits::new();
    for (offset, c) in body.char_indices() {
        let at = start + offset;
        if let Some(digit) = c.to_digit(16) {
            for shift in [3, 2, 1, 0] {
                bits.push((digit >> shift & 1 == 1).into())
                    .map_err(|_| TextError { at, problem: TextProblem::TooLong })?;
            }
        } else if !is_separator(c) {
            return Err(TextError { at, problem: TextProblem::Unexpected(c) });
        }
    }
    not_empty(text, bits)
}

fn not_empty(text: &str, bits: Bits) -> Result<Bits, TextError> {
    if bits.is_empty() {
        return Err(TextError { at: text.len(), problem: TextProblem::Empty });
    }
    Ok(bits)
}

fn with_length(hex: &HexRead, at: usize, len: usize) -> Result<Bits, TextError> {
    let found = hex.bits.len();
    let refuse = |problem| Err(TextError { at, problem });
    if len > found {
        return refuse(TextProblem::TooFewDigits { said: len, found });
    }
    let readings = hex.readings(len);
    if let Some((left, right)) = readings.two() {
        return refuse(TextProblem::BothJustified { left, right });
    }
    match readings.left.or(readings.right) {
        Some(bits) => Ok(bits),
        None => refuse(TextProblem::Padding { said: len, found }),
    }
}

#[cfg(test)]
mod tests {
    use std::string::{String, ToString};

    use super::*;
    use proptest::prelude::*;

    fn bits(text: &str) -> Bits {
        match parse_read_text(text) {
            Ok(ReadText::Bits(bits)) => bits,
            other => panic!("{text}: {other:?}"),
        }
    }

    fn refusal(text: &str) -> TextError {
        parse_read_text(text).unwrap_err()
    }

    #[test]
    fn pasted_text_is_forgiven() {
        for text in [
            "1011",
            " 1 0 1 1 ",
            "10-11",
            "1_0_11",
            "10:11",
            "\"1011\"",
            "'10' '11'",
            "0b1011",
            "0B10_11",
            "10\n11",
            "read: 1011",
            "reader 3: 0b1011",
            "12:07:31 sail loft: 10 11",
            "“1011”",
            "1011/4",
            "0xb/4",
            "hex:B/4",
            "hex: 0xB/4",
            "bits : 1011",
            "1,0,1,1",
            "0b10:11",
            "hex : b /4",
            "log 0xb:/4",
            "D: 1011",
        ] {
            assert_eq!(bits(text).to_string(), "1011", "{text}");
        }
    }

    #[test]
    fn hexadecimal_is_read_on_the_side_its_padding_allows() {
        assert_eq!(bits("0xb0/4").to_string(), "1011");
        assert_eq!(bits("0x0b/4").to_string(), "1011");
        assert_eq!(bits("0x00/4").to_string(), "0000");
        let both = refusal("0x18/4");
        assert!(matches!(both.problem, TextProblem::Padding { said: 4, found: 8 }));
        let two = refusal("0x0180/12");
        let TextProblem::BothJustified { left, right } = two.problem else { panic!("{two}") };
        assert_eq!(left.to_string(), "000000011000");
        assert_eq!(right.to_string(), "000110000000");
        assert!(matches!(
            refusal("0xb/5").problem,
            TextProblem::TooFewDigits { said: 5, found: 4 }
        ));
    }

    #[test]
    fn hexadecimal_without_a_length_is_left_open() {
        let Ok(ReadText::Hex(hex)) = parse_read_text("0x0b") else { panic!() };
        assert_eq!(hex.bits().to_string(), "00001011");
        assert_eq!(hex.readings(4).right.unwrap().to_string(), "1011");
        assert_eq!(hex.readings(4).left, None);
        assert_eq!(hex.readings(9), Readings { left: None, right: None });
    }

    #[test]
    fn refusals_mark_the_place() {
        let e = refusal("1002");
        assert_eq!((e.at, e.problem), (3, TextProblem::Unexpected('2')));
        assert_eq!(refusal("read: 10x1").at, 8);
        assert_eq!(refusal("").problem, TextProblem::Empty);
        assert_eq!(refusal("read:").problem, TextProblem::Empty);
        assert_eq!(refusal("10/").problem, TextProblem::Length);
        assert_eq!(refusal("10/+2").problem, TextProblem::Length);
        assert_eq!(refusal("10/513").problem, TextProblem::Length);
        assert_eq!(refusal("101/4").problem, TextProblem::LengthDiffers { said: 4, found: 3 });
        let long: String = core::iter::repeat_n('1', 513).collect();
        assert_eq!((refusal(&long).at, refusal(&long).problem), (512, TextProblem::TooLong));
    }

    proptest! {
        #[test]
        fn no_text_panics_and_places_are_in_the_text(text in "\\PC*") {
            if let Err(e) = parse_read_text(&text) {
                prop_assert!(text.is_char_boundary(e.at), "{}", e);
                prop_assert!(!e.to_string().is_empty() && !e.expected().is_empty());
            }
        }

        #[test]
        fn likely_text_does_not_panic(text in "[01?xXbBhe: /_.0-9a-f\"-]{0,40}") {
            if let Err(e) = parse_read_text(&text) {
                prop_assert!(text.is_char_boundary(e.at), "{}", e);
            }
        }

        #[test]
        fn hexadecimal_by_another_library(bytes in proptest::collection::vec(any::<u8>(), 1..64)) {
            // Against the hex crate.
            let text = std::format!("0x{}/{}", hex_text(&bytes), bytes.len() * 8);
            prop_assert_eq!(bits(&text), Bits::from_packed(&bytes, bytes.len() * 8).unwrap());
            prop_assert_eq!(bits(&text).hex().to_string(), hex_text(&bytes));
        }
    }

    fn hex_text(bytes: &[u8]) -> String {
        let mut buffer = [0u8; 128];
        let buffer = &mut buffer[..bytes.len() * 2];
        hex::encode_to_slice(bytes, buffer).unwrap();
        core::str::from_utf8(buffer).unwrap().to_string()
    }
}
