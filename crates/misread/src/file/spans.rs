//! Lists of positions as text: `"2-9"`, `"33"`, `"1-191/5"`.

use std::fmt;

use misread_core::layout::{Span, SpanError};
use serde::de::{self, Deserializer, Expected, SeqAccess, Visitor};
use serde::ser::Serializer;
use serde::{Deserialize, Serialize};

/// The fewest spans, front to back, that list these positions in this order: a
/// range for two or more in a row, a stride for three or more.
pub(super) fn compress(positions: impl IntoIterator<Item = u16>) -> Vec<Span> {
    let positions: Vec<u16> = positions.into_iter().collect();
    let mut spans = Vec::new();
    let mut rest = positions.as_slice();
    while let Some((&first, others)) = rest.split_first() {
        let step = others.first().and_then(|next| next.checked_sub(first)).unwrap_or(0);
        let run = if step == 0 {
            1
        } else {
            1 + rest
                .windows(2)
                .take_while(|pair| pair[1].checked_sub(pair[0]) == Some(step))
                .count()
        };
        let run = if step > 1 && run < 3 { 1 } else { run };
        let last = rest[run - 1];
        spans.push(Span { first, last, step: if run == 1 { 1 } else { step } });
        rest = &rest[run..];
    }
    spans
}

/// Positions as people write them: `1-13, 20`.
pub(crate) fn listed(positions: impl IntoIterator<Item = u16>) -> String {
    let spans: Vec<String> = compress(positions).iter().map(Span::to_string).collect();
    spans.join(", ")
}

pub(super) fn serialize<S: Serializer>(spans: &[Span], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(spans.iter().map(|&span| SpanText(span)))
}

pub(super) fn deserialize<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Vec<Span>, D::Error> {
    deserializer.deserialize_seq(SpansVisitor)
}

struct SpansVisitor;

impl<'de> Visitor<'de> for SpansVisitor {
    type Value = Vec<Span>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of positions in quotes, such as [\"2-9\", \"33\"]")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Vec<Span>, A::Error> {
        let mut spans = Vec::new();
        while let Some(SpanText(span)) = list.next_element()? {
            spans.push(span);
        }
        Ok(spans)
    }
}

struct SpanText(Span);

impl Serialize for SpanText {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for SpanText {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_str(SpanVisitor).map(SpanText)
    }
}

struct SpanVisitor;

impl Visitor<'_> for SpanVisitor {
    type Value = Span;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "a position (\"7\"), a range (\"2-9\") or a range with a stride (\"1-191/5\"), in \
             quotes",
        )
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<Span, E> {
        text.parse().map_err(|problem| match problem {
            SpanError::Form => E::invalid_value(de::Unexpected::Str(text), &self),
            _ => E::custom(format_args!("{text:?} {problem}, expected {}", &self as &dyn Expected)),
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn runs_and_strides_are_found() {
        assert_eq!(listed([]), "");
        assert_eq!(listed([7]), "7");
        assert_eq!(listed(2..=9), "2-9");
        assert_eq!(listed((1..=191).step_by(5)), "1-191/5");
        assert_eq!(listed([1, 3, 4, 5]), "1, 3-5");
        assert_eq!(listed([9, 8, 7, 7]), "9, 8, 7, 7");
        assert_eq!(listed([1, 65535]), "1, 65535");
    }

    proptest! {
        #[test]
        fn spans_list_the_same_positions(
            positions in prop_oneof![
                proptest::collection::vec(1u16..=256, 0..40),
                proptest::collection::vec(1u16..=9, 0..40),
                Just((1u16..=256).collect::<Vec<_>>()).prop_shuffle(),
            ],
        ) {
            let spans = compress(positions.iter().copied());
            let back: Vec<u16> = spans.iter().flat_map(Span::positions).collect();
            prop_assert_eq!(back, positions);
        }
    }
}
