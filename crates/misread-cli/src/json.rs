//! The machine-readable answers.
//!
//! Keys may be added within a version, never renamed, retyped or removed.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;

use misread::file::LayoutDoc;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use crate::masking::Masking;

/// Above this a number is written as decimal text, since many JSON readers
/// keep numbers as doubles.
const LARGEST_EXACT: u64 = 1 << 53;

/// What `misread decode` answers, once a read.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Decode {
    #[schemars(extend("const" = Decode::SCHEMA))]
    pub(crate) schema: &'static str,
    /// The bits in the order received: 0, 1, ? for unread, • for hidden.
    pub(crate) bits: String,
    /// How many bits.
    pub(crate) length: usize,
    /// The layout it was decoded with; null where it fits none.
    pub(crate) layout: Option<String>,
    /// Whether it fits and every declared value and range holds.
    pub(crate) ok: bool,
    /// Each field's value; empty where the read does not fit.
    pub(crate) fields: Fields,
    /// Every check of the layout, in the order of the layout.
    pub(crate) checks: Vec<Check>,
    /// Other layouts that fit, best first.
    pub(crate) also: Vec<String>,
    /// What is wrong, in one sentence.
    pub(crate) problem: Option<String>,
    /// The line of the input it stood on, where there are lines.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) line: Option<u64>,
    /// How many arguments were joined into this read, where more than one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) joined: Option<usize>,
}

impl Decode {
    pub(crate) const SCHEMA: &str = "misread/decode/1";
}

/// One check of a layout on a read.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Check {
    pub(crate) kind: CheckKind,
    /// The positions it looks at, from 1.
    pub(crate) bits: Vec<usize>,
    /// Whether it holds; null where unread bits leave it open.
    pub(crate) ok: Option<bool>,
    /// The check in words.
    pub(crate) says: String,
}

#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum CheckKind {
    Even,
    Odd,
    Fixed,
    Range,
    Value,
    Digit,
}

/// What `misread frame` answers: the frame a card should give.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Frame {
    #[schemars(extend("const" = Frame::SCHEMA))]
    pub(crate) schema: &'static str,
    pub(crate) layout: String,
    /// The value of every field.
    pub(crate) fields: Fields,
    /// The bits in the order sent.
    pub(crate) bits: String,
    /// How many bits.
    pub(crate) length: usize,
    /// The bits left-justified into bytes and padded with 0.
    pub(crate) hex: String,
    /// What is declared about the fields and does not hold, in one sentence.
    pub(crate) problem: Option<String>,
}

impl Frame {
    pub(crate) const SCHEMA: &str = "misread/frame/1";
}

/// What `misread layout list` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutList {
    #[schemars(extend("const" = LayoutList::SCHEMA))]
    pub(crate) schema: &'static str,
    /// Every layout that is known, built-in ones first.
    pub(crate) layouts: Vec<SourcedLayout>,
}

impl LayoutList {
    pub(crate) const SCHEMA: &str = "misread/layout-list/1";
}

/// A layout and where it came from.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct SourcedLayout {
    #[serde(flatten)]
    pub(crate) layout: LayoutDoc,
    /// `built in`, or the file.
    pub(crate) source: String,
}

/// What `misread layout show` answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutShow {
    #[schemars(extend("const" = LayoutShow::SCHEMA))]
    pub(crate) schema: &'static str,
    #[serde(flatten)]
    pub(crate) layout: LayoutDoc,
    /// `built in`, or the file.
    pub(crate) source: String,
}

impl LayoutShow {
    pub(crate) const SCHEMA: &str = "misread/layout-show/1";
}

/// What `misread layout check` answers: the layout's own keys where it checks
/// out, and what is wrong where it does not.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutCheck {
    #[schemars(extend("const" = LayoutCheck::SCHEMA))]
    pub(crate) schema: &'static str,
    #[serde(flatten)]
    pub(crate) layout: Option<LayoutDoc>,
    /// The file.
    pub(crate) source: String,
    /// Everything that is wrong with it.
    pub(crate) problems: Vec<Problem>,
    /// The positions that nothing claims or covers, from 1.
    pub(crate) unassigned: Vec<usize>,
}

impl LayoutCheck {
    pub(crate) const SCHEMA: &str = "misread/layout-check/1";
}

/// One thing that is wrong with a layout.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Problem {
    /// In which of its rules.
    pub(crate) rule: String,
    /// What is wrong, in one sentence.
    pub(crate) says: String,
}

/// What `misread layout add` answers: the layout as it is kept.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct LayoutAdd {
    #[schemars(extend("const" = LayoutAdd::SCHEMA))]
    pub(crate) schema: &'static str,
    #[serde(flatten)]
    pub(crate) layout: LayoutDoc,
    /// The file it is kept in.
    pub(crate) source: String,
}

impl LayoutAdd {
    pub(crate) const SCHEMA: &str = "misread/layout-add/1";
}

/// An input that was refused.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Error {
    #[schemars(extend("const" = Error::SCHEMA))]
    pub(crate) schema: &'static str,
    /// The place and what is wrong, in one sentence.
    pub(crate) message: String,
    pub(crate) place: Place,
    /// What would be accepted.
    pub(crate) expected: String,
    /// What hexadecimal without a length could be, best first.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(crate) readings: Vec<Reading>,
}

impl Error {
    pub(crate) const SCHEMA: &str = "misread/error/1";
}

/// Where an input was refused, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub(crate) struct Place {
    /// The file; null for the command line and standard input.
    pub(crate) file: Option<String>,
    /// The line, from 1.
    pub(crate) line: Option<u64>,
    /// The character in the line or in the read, from 1.
    pub(crate) column: Option<u64>,
    /// The byte of a file that is no text, from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) byte: Option<u64>,
    /// Which read of the command line, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) read: Option<usize>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = [
            self.file.clone(),
            self.line.map(|line| format!("line {line}")),
            self.read.map(|read| format!("read {read}")),
            self.column.map(|column| format!("column {column}")),
            self.byte.map(|byte| format!("byte {byte}")),
        ];
        f.write_str(&parts.into_iter().flatten().collect::<Vec<_>>().join(", "))
    }
}

/// One way to read hexadecimal whose length was not given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub(crate) struct Reading {
    /// The read to type instead.
    pub(crate) text: String,
    /// The layout it then fits.
    pub(crate) layout: String,
    /// What it then is, in words.
    pub(crate) says: String,
}

/// Field values by name, in the order of the layout.
#[derive(Clone, Debug, Default)]
pub(crate) struct Fields(pub(crate) Vec<(String, FieldValue)>);

impl Serialize for Fields {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (name, value) in &self.0 {
            map.serialize_entry(name, value)?;
        }
        map.end()
    }
}

impl JsonSchema for Fields {
    fn schema_name() -> Cow<'static, str> {
        "Fields".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        BTreeMap::<String, FieldValue>::json_schema(generator)
    }
}

/// A field's value: a number up to 2^53, decimal text above, text with all but
/// the last two digits hidden where numbers are masked, null where unread.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(untagged)]
pub(crate) enum FieldValue {
    Number(u64),
    Text(String),
    Unread,
}

impl FieldValue {
    pub(crate) fn new(value: Option<u64>, masking: Masking) -> Self {
        match value {
            None => FieldValue::Unread,
            Some(value) if masking.is_on() => FieldValue::Text(masking.number(value)),
            Some(value) if value > LARGEST_EXACT => FieldValue::Text(value.to_string()),
            Some(value) => FieldValue::Number(value),
        }
    }
}

impl JsonSchema for FieldValue {
    fn schema_name() -> Cow<'static, str> {
        "FieldValue".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A number up to 2^53; decimal text above, or where masked (all but the last two digits •); null where a bit is unread.",
            "anyOf": [
                { "type": "integer", "minimum": 0, "maximum": LARGEST_EXACT },
                { "type": "string", "pattern": "^•*[0-9]+$" },
                { "type": "null" },
            ],
        })
    }
}
