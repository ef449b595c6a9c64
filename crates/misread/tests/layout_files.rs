//! Layout files: the ones under `testdata/layouts`, what is said of broken
//! ones, and round trips of any layout.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use misread::core::layout::{Code, Kind, Order, Span};
use misread::file::{
    Catalogue, Entry, FieldDoc, FieldValue, FileProblem, FixedDoc, LayoutDoc, ParityDoc, Source,
};
use misread::{Bits, Layout};
use proptest::prelude::*;

fn testdata(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/layouts").join(name)
}

/// Loads a file as if it lay in the current folder.
fn load(name: &str) -> Result<Entry, misread::file::FileError> {
    let bytes = std::fs::read(testdata(name)).unwrap();
    Catalogue::load_bytes(&bytes, Path::new(name))
}

/// The message and what would be accepted.
fn refusal(name: &str) -> (String, String) {
    let error = load(name).unwrap_err();
    (error.to_string(), error.expected())
}

fn entry(layout: Layout) -> Entry {
    Entry { layout, title: None, weight: None, source: Source::BuiltIn }
}

#[test]
fn a_hand_written_file_gives_the_built_in_layout() {
    let catalogue = Catalogue::built_in();
    let built_in = catalogue.get("fascn-200").unwrap();
    let file = load("fascn-200.toml").unwrap();
    assert_eq!(file.layout, built_in.layout);
    assert_eq!(file.title, built_in.title);
    assert_eq!(file.source.to_string(), "fascn-200.toml");
}

/// *Technical Implementation Guidance: Smart Card Enabled Physical Access
/// Control Systems*, v2.2, section 6.2, figure 7.
#[test]
fn the_worked_example_of_the_federal_card_goes_through_its_file() {
    let file = load("fascn-200.toml").unwrap();
    let values = [
        ("agency", 32),
        ("system", 1),
        ("credential", 92446),
        ("series", 0),
        ("issue", 1),
        ("person", 1112223333),
        ("category", 1),
        ("organisation", 1223),
        ("association", 2),
    ];
    let frame = file.layout.encode(values).unwrap();
    assert_eq!(
        frame.hex().to_string().to_uppercase(),
        "D0439458210C2C19A0846D83685A1082108CE73984108CA3FC"
    );
    let decoded = file.layout.decode(&frame).unwrap();
    for (name, value) in values {
        assert_eq!(decoded.value(name), Some(value), "{name}");
    }
    assert_eq!(decoded.concerns().count(), 0);
}

/// The frame is worked out by hand: 42 is 00101010, 1234 is 10011010010; bits
/// 2 to 17 hold three 1s, so bit 1 is 1; bit 33 is fixed.
#[test]
fn the_slipway_layout_frames_a_card() {
    let slipway = load("slipway-33.toml").unwrap();
    assert_eq!(slipway.title.as_deref(), Some("Brindle Quay boatyard, slipway gate"));
    assert_eq!(slipway.weight(), 1.0);
    let frame = slipway.layout.encode([("card", 1234)]).unwrap();
    assert_eq!(frame.to_string(), "100101010000000000000100110100101");
    assert_eq!(slipway.layout.field("card").unwrap().range(), Some((1, 6000)));
}

#[test]
fn what_is_wrong_with_a_file_is_said_with_its_place() {
    let expect = |name: &str, message: &str, expected: &str| {
        assert_eq!(refusal(name), (message.to_owned(), expected.to_owned()));
    };
    expect(
        "unknown-key.toml",
        "unknown-key.toml: line 6, column 1: unknown key ‘bit’",
        "one of name, bits, order, code, value, range",
    );
    expect(
        "wrong-kind.toml",
        "wrong-kind.toml: line 6, column 8: unknown value ‘evn’",
        "even or odd",
    );
    expect(
        "missing-key.json",
        "missing-key.json: line 6, column 1: the key ‘bits’ is missing",
        "bits with its value",
    );
    expect(
        "backwards.json",
        "backwards.json: line 5, column 32: \"17-2\" runs backwards; list the bits one by one \
         where their order is unusual",
        "a position (\"7\"), a range (\"2-9\") or a range with a stride (\"1-191/5\"), in quotes",
    );
    expect(
        "cut-off.json",
        "cut-off.json: line 6, column 1: the text ends inside a list",
        "a layout in JSON",
    );
}

#[test]
fn everything_that_is_wrong_with_a_layout_is_said() {
    let error = load("overlapping.toml").unwrap_err();
    let FileProblem::Unsound(problems) = &error.problem else { panic!("{error}") };
    let says: Vec<String> = problems.iter().map(|problem| problem.to_string()).collect();
    assert_eq!(
        says,
        [
            "weight: is 0; a weight is above 0 and at most 1000000",
            "field facility: 700 does not fit; the largest it can carry is 511",
            "field card: bits 8-9 are already claimed by field facility; a bit belongs to one \
             rule only",
            "fixed rule 1: lists 1 bits but gives 2 values",
            "parity rule 1 (bit 1): bit 1 is already claimed by field facility; a bit belongs to \
             one rule only",
            "parity rule 2 (bit 19): bit 19 is past the end; the layout has 18 bits",
        ]
    );
    assert_eq!(error.to_string(), format!("overlapping.toml: {}", says.join("; ")));
}

#[test]
fn slips_of_the_pen_in_toml_are_named() {
    let says = |rest: &str| {
        let text = format!("name = \"sail-loft-18\"\nbits = 18\n{rest}");
        let error = LayoutDoc::from_toml(&text).unwrap_err();
        (error.to_string(), error.expected)
    };
    let card = "[[field]]\nname = \"card\"\nbits = [\"2-17\"]\n";
    for (rest, message, expected) in [
        (
            "[field]\nname = \"card\"",
            "line 3, column 1: found a single table",
            "a list of tables: in TOML each in double brackets, as [[field]]",
        ),
        ("name = \"gate\"", "line 3, column 1: the key ‘name’ is given twice", "every key once"),
        ("weight = \"heavy\"", "line 3, column 10: found string \"heavy\"", "a number"),
        ("title = é", "line 3, column 9: string values must be quoted", "literal string"),
        (
            &format!("{card}range = [1, 2, 3]"),
            "line 6, column 9: found 3 of them",
            "the lowest and the highest value, such as [1, 6000]",
        ),
        (
            &format!("{card}value = -4"),
            "line 6, column 9: found integer -4",
            "a whole number from 0 to 18446744073709551615, in quotes above 9007199254740992",
        ),
        (
            "[[field]]\nname = \"card\"\nbits = \"2-17\"",
            "line 5, column 8: found string \"2-17\"",
            "a list of positions in quotes, such as [\"2-9\", \"33\"]",
        ),
        (
            "[[parity]]\nbit = 70000",
            "line 4, column 7: found integer 70000",
            "a whole number from 1 to 256",
        ),
    ] {
        assert_eq!(says(rest), (message.to_owned(), expected.to_owned()));
    }
}

#[test]
fn the_place_in_json_is_where_the_word_begins() {
    let place = |text: &str| {
        let error = LayoutDoc::from_json(text).unwrap_err();
        (error.line, error.column, error.found)
    };
    let is = |line, column, found: &str| (line, column, found.to_owned());
    assert_eq!(place("{ \"name\": \"é\",\n \"bitz\": 3 }"), is(2, 2, "unknown key ‘bitz’"));
    assert_eq!(place("{ \"title\": \"é\", \"bits\": -18 }"), is(1, 25, "found integer -18"));
    assert_eq!(place("{ \"bits\": \"a\\\"b\" }"), is(1, 11, "found string \"a\\\"b\""));
    assert_eq!(place("{\"name\": \"a\", \"bits\": 18} 2"), is(1, 27, "trailing characters"));
    assert_eq!(place(""), is(1, 1, "the text ends inside a value"));
}

#[test]
fn the_text_of_a_file_cannot_write_to_the_terminal() {
    let error = LayoutDoc::from_toml("\"\\u001b[2J\" = 1").unwrap_err();
    assert!(!error.to_string().contains(char::is_control), "{error:?}");
    let doc = LayoutDoc::from_toml("name = \"a\"\nbits = 3\ntitle = \"x\\u001b[2J\"").unwrap();
    assert_eq!(
        doc.check().unwrap_err()[0].to_string(),
        "title: has a line break or another control character; a title is one line of text"
    );
}

#[test]
fn the_format_is_known_by_the_extension_or_the_first_character() {
    let doc = LayoutDoc::of(&load("slipway-33.toml").unwrap());
    let of = |text: String, name: &str| Catalogue::load_bytes(text.as_bytes(), Path::new(name));
    for name in ["gate", "gate.txt", "gate.JSON"] {
        assert_eq!(of(doc.to_json(), name).unwrap().name(), "slipway-33");
    }
    for name in ["gate", "gate.txt", "gate.Toml"] {
        assert_eq!(of(format!("\u{feff}{}", doc.to_toml()), name).unwrap().name(), "slipway-33");
    }
    assert!(of(doc.to_json(), "gate.toml").is_err());
    let error = Catalogue::load_bytes(b"name = \"a\"\n# \xff", Path::new("x.toml")).unwrap_err();
    assert_eq!(error.to_string(), "x.toml: line 2, column 3: a byte that is not UTF-8 text");
    assert_eq!((error.line(), error.column()), (Some(2), Some(3)));
}

#[test]
fn names_are_taken_whatever_their_capitals() {
    let mut catalogue = Catalogue::built_in();
    let slipway = load("slipway-33.toml").unwrap();
    catalogue.add(slipway.clone()).unwrap();
    assert_eq!(
        catalogue.add(slipway.clone()).unwrap_err().to_string(),
        "the name slipway-33 is that of the layout in slipway-33.toml"
    );
    let mut doc = LayoutDoc::of(&slipway);
    doc.name = "Open-26".to_owned();
    let taken = catalogue.add(doc.into_entry(Source::BuiltIn).unwrap()).unwrap_err();
    assert_eq!(taken.to_string(), "the name Open-26 is that of a built-in layout");
    assert_eq!(catalogue.get("SLIPWAY-33"), Some(&slipway));
    assert_eq!(catalogue.entries().len(), Catalogue::built_in().entries().len() + 1);
}

#[test]
fn every_built_in_layout_goes_through_both_formats() {
    for entry in Catalogue::built_in().entries() {
        let doc = LayoutDoc::of(entry);
        for back in [LayoutDoc::from_toml(&doc.to_toml()), LayoutDoc::from_json(&doc.to_json())] {
            assert_eq!(&back.unwrap().into_entry(Source::BuiltIn).unwrap(), entry);
        }
    }
}

/// Any sound layout: all positions dealt out in any order to fields, fixed
/// rules and parity bits. A parity rule covers positions dealt before it.
fn any_doc() -> impl Strategy<Value = LayoutDoc> {
    let text = (
        "[A-Za-z0-9][A-Za-z0-9._-]{0,31}",
        proptest::option::of("[^\\p{C}]{0,40}"),
        proptest::option::of(1e-9..1e6),
    );
    let deal = (1u16..=256)
        .prop_flat_map(|bits| (Just(bits), Just((1..=bits).collect::<Vec<_>>()).prop_shuffle()));
    let rules = proptest::collection::vec((0..4u8, 1..=64usize, any::<[u64; 3]>()), 1..24);
    (text, deal, rules).prop_map(|((name, title, weight), (bits, dealt), rules)| {
        let mut doc =
            LayoutDoc { name, title, bits, weight, field: vec![], fixed: vec![], parity: vec![] };
        let mut start = 0;
        for (i, (kind, width, [a, b, c])) in rules.into_iter().enumerate() {
            let before = dealt[..start].to_vec();
            let rest = &dealt[start..];
            let Some(&bit) = rest.first() else { break };
            let mut taken = rest[..width.min(rest.len())].to_vec();
            if a % 2 == 0 {
                taken.sort_unstable();
            }
            let spans: Vec<Span> = taken.iter().copied().map(Span::one).collect();
            match kind {
                0 | 1 => {
                    let bcd = taken.len() % 4 == 0 && b % 2 == 0;
                    let code = if bcd { Code::Bcd } else { Code::Binary };
                    let max = match taken.len() as u32 {
                        width if bcd => 10u64.pow(width / 4) - 1,
                        width => u64::MAX >> (64 - width),
                    };
                    let within = |x: u64| if max == u64::MAX { x } else { x % (max + 1) };
                    let (low, high) = (within(b).min(within(c)), within(b).max(within(c)));
                    doc.field.push(FieldDoc {
                        name: format!("field-{i}"),
                        bits: spans,
                        order: if c % 2 == 0 { Order::MsbFirst } else { Order::LsbFirst },
                        code,
                        value: (c % 3 == 0).then_some(FieldValue(low)),
                        range: (b % 3 == 0).then_some([low.into(), high.into()]),
                    });
                    start += taken.len();
                }
                2 => {
                    let value =
                        (0..taken.len()).map(|i| if b >> i & 1 == 1 { '1' } else { '0' }).collect();
                    doc.fixed.push(FixedDoc { bits: spans, value });
                    start += taken.len();
                }
                _ if before.is_empty() => {}
                _ => {
                    let kind = if a % 2 == 0 { Kind::Even } else { Kind::Odd };
                    let over = before.iter().step_by(1 + (b % 7) as usize);
                    doc.parity.push(ParityDoc {
                        bit,
                        kind,
                        over: over.copied().map(Span::one).collect(),
                    });
                    start += 1;
                }
            }
        }
        doc
    })
}

proptest! {
    #[test]
    fn any_layout_goes_through_both_formats(doc in any_doc()) {
        prop_assert_eq!(&LayoutDoc::from_toml(&doc.to_toml()).unwrap(), &doc);
        prop_assert_eq!(&LayoutDoc::from_json(&doc.to_json()).unwrap(), &doc);
        let entry = doc.into_entry(Source::BuiltIn).unwrap();

        // The document made from the layout is shorter and says the same.
        let short = LayoutDoc::of(&entry);
        for back in [LayoutDoc::from_toml(&short.to_toml()), LayoutDoc::from_json(&short.to_json())] {
            let back = back.unwrap();
            prop_assert_eq!(&back, &short);
            prop_assert_eq!(&back.into_entry(Source::BuiltIn).unwrap(), &entry);
        }
    }

    #[test]
    fn no_text_panics_and_every_place_is_in_it(text in "[\\PC\n]{0,60}") {
        let errors = [LayoutDoc::from_toml(&text).err(), LayoutDoc::from_json(&text).err()];
        for error in errors.into_iter().flatten() {
            prop_assert!(error.line <= text.matches('\n').count() + 1);
            prop_assert!(error.column <= text.chars().count() + 1);
            prop_assert!(!error.found.is_empty() && !error.expected.is_empty());
        }
    }

    /// A sound document with a few bytes changed: read as something else, or
    /// refused in words, by reading or by checking.
    #[test]
    fn damaged_documents_do_not_panic(
        doc in any_doc(),
        damage in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
    ) {
        for (text, name) in [(doc.to_toml(), "a.toml"), (doc.to_json(), "a.json")] {
            let mut bytes = text.into_bytes();
            for (at, byte) in &damage {
                let at = at.index(bytes.len());
                bytes[at] = *byte;
            }
            if let Err(error) = Catalogue::load_bytes(&bytes, Path::new(name)) {
                prop_assert!(!error.to_string().is_empty() && !error.expected().is_empty());
                if let FileProblem::Unsound(problems) = error.problem {
                    prop_assert!(!problems.is_empty());
                }
            }
        }
    }
}

#[test]
fn a_layout_without_rules_is_a_layout() {
    let doc = LayoutDoc::from_json("{ \"name\": \"blank\", \"bits\": 4 }").unwrap();
    let layout = doc.check().unwrap();
    assert_eq!(layout.unassigned().count(), 4);
    assert_eq!(LayoutDoc::of(&entry(layout)), doc);
    let read: Bits = "1010".parse().unwrap();
    assert!(doc.check().unwrap().decode(&read).is_ok());
}
