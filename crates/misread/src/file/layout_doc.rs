//! A layout as a document: TOML or JSON, both the same object.

use std::fmt;
use std::marker::PhantomData;

use misread_core::layout::{Code, Kind, Order, Span};
use serde::de::{self, Deserializer, SeqAccess, Unexpected, Visitor};
use serde::{Deserialize, Serialize};

use super::entry::Entry;
use super::field_value::FieldValue;
use super::parse_error::ParseError;
use super::spans;

/// A layout as written in a file, not yet checked.
///
/// ```
/// use misread::file::LayoutDoc;
///
/// let doc = LayoutDoc::from_toml(
///     r#"
///     name = "sail-loft-18"
///     bits = 18
///     [[field]]
///     name = "card"
///     bits = ["2-17"]
///     [[parity]]
///     bit = 1
///     kind = "even"
///     over = ["2-9"]
///     [[parity]]
///     bit = 18
///     kind = "odd"
///     over = ["10-17"]
///     "#,
/// )?;
/// let layout = doc.check().map_err(|problems| problems[0].to_string())?;
/// assert_eq!(layout.encode([("card", 1234)])?.to_string(), "100000100110100101");
/// assert_eq!(LayoutDoc::from_json(&doc.to_json())?, doc);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, expecting = "a layout with name and bits")]
pub struct LayoutDoc {
    /// Up to 32 letters, digits, dashes, dots and underscores, a letter or
    /// digit first.
    pub name: String,
    /// What it is, in one line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// How many bits a frame has, 1 to 256.
    #[serde(deserialize_with = "small_number")]
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 256)))]
    pub bits: u16,
    /// How likely this layout is against others before a read is seen, above
    /// 0; 1 where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight: Option<f64>,
    /// The numbers a frame carries.
    #[serde(default, skip_serializing_if = "Vec::is_empty", deserialize_with = "rules")]
    pub field: Vec<FieldDoc>,
    /// Bits that always carry the same value.
    #[serde(default, skip_serializing_if = "Vec::is_empty", deserialize_with = "rules")]
    pub fixed: Vec<FixedDoc>,
    /// Parity bits and what they cover.
    #[serde(default, skip_serializing_if = "Vec::is_empty", deserialize_with = "rules")]
    pub parity: Vec<ParityDoc>,
}

/// A number carried in a frame, as written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, expecting = "a field with name and bits")]
pub struct FieldDoc {
    /// Up to 32 letters, digits, dashes, dots and underscores.
    pub name: String,
    /// Its bits, 1 to 64: positions (`"7"`), ranges (`"2-9"`) and ranges with
    /// a stride (`"1-191/5"`), put together in the order listed, most
    /// significant first.
    #[serde(with = "spans")]
    #[cfg_attr(feature = "schema", schemars(with = "Vec<SpanSchema>"))]
    pub bits: Vec<Span>,
    /// Which end of the listed bits is most significant.
    #[serde(default, skip_serializing_if = "is_default", with = "OrderDoc")]
    pub order: Order,
    /// How the bits make the number.
    #[serde(default, skip_serializing_if = "is_default", with = "CodeDoc")]
    pub code: Code,
    /// What this site's cards carry; checked after decoding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<FieldValue>,
    /// The lowest and the highest value that was ordered; checked after
    /// decoding.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "range")]
    pub range: Option<[FieldValue; 2]>,
}

/// Bits that always carry the same value, as written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, expecting = "a fixed rule with bits and value")]
pub struct FixedDoc {
    /// Which bits.
    #[serde(with = "spans")]
    #[cfg_attr(feature = "schema", schemars(with = "Vec<SpanSchema>"))]
    pub bits: Vec<Span>,
    /// Their values, `0` and `1` in the order of `bits`.
    pub value: String,
}

/// A parity bit and what it covers, as written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, expecting = "a parity rule with bit, kind and over")]
pub struct ParityDoc {
    /// The position of the parity bit, from 1.
    #[serde(deserialize_with = "small_number")]
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 256)))]
    pub bit: u16,
    /// Whether the number of 1s among `over` and `bit` together is even or
    /// odd.
    #[serde(with = "KindDoc")]
    pub kind: Kind,
    /// The bits it covers, itself not among them.
    #[serde(with = "spans")]
    #[cfg_attr(feature = "schema", schemars(with = "Vec<SpanSchema>"))]
    pub over: Vec<Span>,
}

impl LayoutDoc {
    /// Reads a layout document in TOML. It still wants [`LayoutDoc::check`].
    ///
    /// # Errors
    ///
    /// Text that is no TOML, a key that layouts do not have, a key left out or
    /// a value of the wrong kind: the first of them.
    pub fn from_toml(text: &str) -> Result<Self, ParseError> {
        toml::from_str(text).map_err(|error| ParseError::from_toml(text, &error))
    }

    /// Reads a layout document in JSON. It still wants [`LayoutDoc::check`].
    ///
    /// # Errors
    ///
    /// As those of [`LayoutDoc::from_toml`].
    pub fn from_json(text: &str) -> Result<Self, ParseError> {
        serde_json::from_str(text).map_err(|error| ParseError::from_json(text, &error))
    }

    /// The document in TOML.
    // Strings, small numbers and a float: nothing here that TOML cannot hold.
    pub fn to_toml(&self) -> String {
        toml::to_string(self).unwrap_or_else(|error| format!("# {error}\n"))
    }

    /// The document in JSON, on several lines.
    // As above.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap_or_else(|error| format!("\"{error}\""))
    }

    /// The document that says what a checked layout says: reading and checking
    /// it gives the same layout, title and weight.
    pub fn of(entry: &Entry) -> Self {
        let layout = &entry.layout;
        LayoutDoc {
            name: layout.name().to_owned(),
            title: entry.title.clone(),
            bits: layout.bits() as u16,
            weight: entry.weight,
            field: layout
                .fields()
                .iter()
                .map(|field| FieldDoc {
                    name: field.name().to_owned(),
                    bits: spans::compress(field.listed_positions()),
                    order: field.order(),
                    code: field.code(),
                    value: field.value().map(FieldValue),
                    range: field.range().map(|(low, high)| [low.into(), high.into()]),
                })
                .collect(),
            fixed: layout
                .fixed()
                .iter()
                .map(|fixed| FixedDoc {
                    bits: spans::compress(fixed.bits().map(|(index, _)| index as u16 + 1)),
                    value: fixed.bits().map(|(_, one)| if one { '1' } else { '0' }).collect(),
                })
                .collect(),
            parity: layout
                .parity()
                .iter()
                .map(|rule| ParityDoc {
                    bit: rule.bit() as u16 + 1,
                    kind: rule.kind(),
                    over: spans::compress(rule.over()),
                })
                .collect(),
        }
    }
}

// The core crate's types stay free of serde; these tell it how to see them.

#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(remote = "Order", rename_all = "kebab-case")]
enum OrderDoc {
    /// The first listed bit is most significant.
    MsbFirst,
    /// The last listed bit is; with `bcd`, the last of each four.
    LsbFirst,
}

#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(remote = "Code", rename_all = "kebab-case")]
enum CodeDoc {
    /// A binary number.
    Binary,
    /// A decimal digit in each four bits, first group most significant.
    Bcd,
}

#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(remote = "Kind", rename_all = "kebab-case")]
enum KindDoc {
    /// An even number of 1s.
    Even,
    /// An odd number of 1s.
    Odd,
}

fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

/// A position, a range of positions or a range with a stride, from 1.
#[cfg(feature = "schema")]
#[derive(schemars::JsonSchema)]
#[expect(dead_code, reason = "only its schema is used")]
struct SpanSchema(#[schemars(regex(pattern = "^[0-9]+(-[0-9]+(/[0-9]+)?)?$"))] String);

/// A length or a position. One that no layout has is left for the check to
/// explain, as long as it can be held.
fn small_number<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u16, D::Error> {
    struct SmallNumber;

    impl Visitor<'_> for SmallNumber {
        type Value = u16;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a whole number from 1 to 256")
        }

        fn visit_i64<E: de::Error>(self, value: i64) -> Result<u16, E> {
            value.try_into().map_err(|_| E::invalid_value(Unexpected::Signed(value), &self))
        }

        fn visit_u64<E: de::Error>(self, value: u64) -> Result<u16, E> {
            value.try_into().map_err(|_| E::invalid_value(Unexpected::Unsigned(value), &self))
        }
    }

    deserializer.deserialize_u16(SmallNumber)
}

/// A list of rules; one table in single brackets is the likely slip.
fn rules<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Vec<T>, D::Error> {
    struct Rules<T>(PhantomData<T>);

    impl<'de, T: Deserialize<'de>> Visitor<'de> for Rules<T> {
        type Value = Vec<T>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a list of tables: in TOML each in double brackets, as [[field]]")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Vec<T>, A::Error> {
            let mut rules = Vec::new();
            while let Some(rule) = list.next_element()? {
                rules.push(rule);
            }
            Ok(rules)
        }
    }

    deserializer.deserialize_seq(Rules(PhantomData))
}

/// Exactly two values; a third is no slip to pass over.
fn range<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<[FieldValue; 2]>, D::Error> {
    struct Range;

    impl<'de> Visitor<'de> for Range {
        type Value = Option<[FieldValue; 2]>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("the lowest and the highest value, such as [1, 6000]")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let low = list.next_element()?.ok_or_else(|| de::Error::invalid_length(0, &self))?;
            let high = list.next_element()?.ok_or_else(|| de::Error::invalid_length(1, &self))?;
            let mut more = 0;
            while list.next_element::<de::IgnoredAny>()?.is_some() {
                more += 1;
            }
            if more > 0 {
                return Err(de::Error::invalid_length(2 + more, &self));
            }
            Ok(Some([low, high]))
        }
    }

    deserializer.deserialize_seq(Range)
}

#[cfg(all(test, feature = "schema"))]
mod tests {
    use super::*;

    #[test]
    fn the_schema_says_what_is_read() {
        let schema = serde_json::to_value(schemars::schema_for!(LayoutDoc)).unwrap();
        let keys = |schema: &serde_json::Value| {
            schema["properties"].as_object().unwrap().keys().cloned().collect::<Vec<_>>()
        };
        assert_eq!(keys(&schema), ["bits", "field", "fixed", "name", "parity", "title", "weight"]);
        assert_eq!(schema["additionalProperties"], false);
        assert_eq!(schema["required"], serde_json::json!(["name", "bits"]));
        assert_eq!(schema["properties"]["bits"]["maximum"], 256);
        let field = &schema["$defs"]["FieldDoc"];
        assert_eq!(keys(field), ["bits", "code", "name", "order", "range", "value"]);
        assert_eq!(field["required"], serde_json::json!(["name", "bits"]));
        assert_eq!(
            schema["$defs"]["ParityDoc"]["required"],
            serde_json::json!(["bit", "kind", "over"])
        );
        let text = schema.to_string();
        for word in ["msb-first", "lsb-first", "binary", "bcd", "even", "odd"] {
            assert!(text.contains(&format!("\"{word}\"")), "{word}: {text}");
        }
    }
}
