//! Field values in documents.

use std::fmt;

use serde::de::{self, Deserializer, Unexpected, Visitor};
use serde::ser::Serializer;
use serde::{Deserialize, Serialize};

/// The largest whole number that every reader of JSON keeps exactly, 2^53.
const EXACT: u64 = 1 << 53;

/// The value of a field: a number in a document up to 2^53, a decimal string
/// above, so that no reader of the document rounds it. Both are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FieldValue(pub u64);

impl From<u64> for FieldValue {
    fn from(value: u64) -> Self {
        FieldValue(value)
    }
}

impl From<FieldValue> for u64 {
    fn from(value: FieldValue) -> Self {
        value.0
    }
}

impl fmt::Display for FieldValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for FieldValue {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0 <= EXACT {
            serializer.serialize_u64(self.0)
        } else {
            serializer.collect_str(&self.0)
        }
    }
}

impl<'de> Deserialize<'de> for FieldValue {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(FieldValueVisitor)
    }
}

#[cfg(feature = "schema")]
impl schemars::JsonSchema for FieldValue {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "FieldValue".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "The value of a field: a number up to 2^53, a decimal string above.",
            "oneOf": [
                { "type": "integer", "minimum": 0, "maximum": EXACT },
                { "type": "string", "pattern": "^[0-9]{1,20}$" },
            ],
        })
    }
}

struct FieldValueVisitor;

impl Visitor<'_> for FieldValueVisitor {
    type Value = FieldValue;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a whole number from 0 to {}, in quotes above {EXACT}", u64::MAX)
    }

    fn visit_u64<E: de::Error>(self, value: u64) -> Result<FieldValue, E> {
        Ok(FieldValue(value))
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<FieldValue, E> {
        value
            .try_into()
            .map(FieldValue)
            .map_err(|_| E::invalid_value(Unexpected::Signed(value), &self))
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<FieldValue, E> {
        let digits = text.bytes().all(|b| b.is_ascii_digit());
        text.parse()
            .ok()
            .filter(|_| digits)
            .map(FieldValue)
            .ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn documents_keep_every_value(value: u64) {
            let value = FieldValue(value);
            let json = serde_json::to_string(&value).unwrap();
            prop_assert_eq!(json.starts_with('"'), value.0 > 1 << 53);
            prop_assert_eq!(serde_json::from_str::<FieldValue>(&json).unwrap(), value);
        }
    }
}
