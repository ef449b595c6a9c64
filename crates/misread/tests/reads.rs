//! Reads from lines, tables, a panel's display and hexadecimal.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::{self, BufReader, Read};

use misread::bits::{ReadText, parse_read_text};
use misread::core::layout::{FieldSpec, FixedSpec, Layout, Span, Spec};
use misread::file::{
    AnyReads, Catalogue, Justified, hex_readings, parse_values, read_any, read_lines, read_shown,
    read_table,
};
use misread::{Bit, Bits};
use proptest::prelude::*;

const OPEN: &str = "10010101000000100110100100";

/// Each read as its line and bits, each refusal as its message and what would
/// be accepted.
fn lines(text: &[u8]) -> Vec<String> {
    read_lines(text)
        .map(|read| match read {
            Ok(read) => format!("{}: {}", read.line, read.bits),
            Err(error) => format!("{error} [{}]", error.expected()),
        })
        .collect()
}

fn rows(text: &[u8]) -> Vec<String> {
    let table = match read_table(text) {
        Ok(table) => table,
        Err(error) => return vec![format!("{error} [{}]", error.expected())],
    };
    table
        .map(|row| match row {
            Ok(row) => {
                let expected: Vec<_> =
                    row.expected.iter().map(|(name, value)| format!(" {name}={value}")).collect();
                format!("{}: {}{}", row.line, row.bits, expected.concat())
            }
            Err(error) => format!("{error} [{}]", error.expected()),
        })
        .collect()
}

#[test]
fn bad_lines_are_told_and_good_ones_still_come() {
    let text = "\u{feff}# Brindle Quay, slipway gate\n\n  # 12 May\n1001\r\n10é1\n\
                slipway gäte: 10x1\n0x25409a7\n0x25409a7/26\n\n101/4\n?011";
    const BITS: &str = "[0, 1 and ? in any grouping (spaces, dashes, underscores, colons), \
                        or hexadecimal with its length, such as 0x25409a7/26]";
    assert_eq!(
        lines(text.as_bytes()),
        [
            "4: 1001".to_owned(),
            format!("line 5, column 3: ‘é’ is not a bit {BITS}"),
            format!("line 6, column 17: ‘x’ is not a bit {BITS}"),
            "line 7: hexadecimal without its length: the digits hold 28 bits, and some may be \
             padding [its length in bits behind it, such as /28, or the bits as 0s and 1s]"
                .to_owned(),
            "8: 10010101000000100110100111".to_owned(),
            "line 10, column 4: the length says 4 bits, but there are 3 [the number of bits, or \
             no length]"
                .to_owned(),
            "11: ?011".to_owned(),
        ]
    );
}

#[test]
fn long_lines_and_bytes_that_are_no_text_spoil_only_themselves() {
    let mut text = b"10\n".to_vec();
    text.extend(std::iter::repeat_n(b' ', 64 * 1024 - 2));
    text.extend(b"11\n");
    text.extend(std::iter::repeat_n(b' ', 64 * 1024 - 1));
    text.extend(b"11\n1\xff0\n01\n");
    text.extend(std::iter::repeat_n(b'1', 300_000));
    assert_eq!(
        lines(&text),
        [
            "1: 10",
            "2: 11",
            "line 3: has more than 65536 bytes [a line of at most 65536 bytes]",
            "line 4, column 2: a byte that is not UTF-8 text [text saved as UTF-8]",
            "5: 01",
            "line 6: has more than 65536 bytes [a line of at most 65536 bytes]",
        ]
    );
    let utf16: Vec<u8> = "10\n11\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let utf16 = [b"\xff\xfe".to_vec(), utf16].concat();
    assert_eq!(lines(&utf16), ["line 1: the text is UTF-16 [text saved as UTF-8]"]);
}

#[test]
fn an_input_that_fails_ends_the_reads() {
    struct Failing;
    impl Read for Failing {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Err(io::Error::other("unplugged"))
        }
    }
    let text = || BufReader::new("10\n11\n0".as_bytes().chain(Failing));
    let mut reads = read_lines(text());
    assert!(reads.next().unwrap().is_ok() && reads.next().unwrap().is_ok());
    let error = reads.next().unwrap().unwrap_err();
    assert_eq!(error.to_string(), "line 3: the input cannot be read: unplugged");
    assert!(reads.next().is_none());
    assert!(read_table(text().chain("bits\n".as_bytes())).is_err());
}

#[test]
fn a_table_says_which_card_each_read_should_be() {
    let text = "\u{feff}# sail loft\n\n Facility , BITS ,card\r\n\
                42,10 11,0x4d2\r\n,\"1,0-1\",\n\n7,,\n,,,\n# later\n42,0b1011,12,\n";
    assert_eq!(
        rows(text.as_bytes()),
        [
            "4: 1011 Facility=42 card=1234",
            "5: 101",
            "7:  Facility=7",
            "10: 1011 Facility=42 card=12"
        ]
    );
    assert_eq!(rows(b"bits;card\n10;3\n"), ["2: 10 card=3"]);
    assert_eq!(rows(b"bits\tcard\n10\t3\n"), ["2: 10 card=3"]);
    assert_eq!(rows(b"bits\n10\n"), ["2: 10"]);
    assert_eq!(rows(b"bits,card,\n10,3,\n"), ["2: 10 card=3"]);
    let table = read_table("card,bits,,facility\n".as_bytes()).unwrap();
    assert_eq!(table.fields().collect::<Vec<_>>(), ["card", "facility"]);
}

#[test]
fn bad_rows_are_told_and_good_ones_still_come() {
    let text = "bits,card,\n1x01,3,\n0xb,3\n10,\"1,234\"\n10,-3\n10,ten\n10,\"3\n10,3,,\n\
                10,3,4\n10,3,,5\n10,18446744073709551616\n10,\u{ff}\n10,3\n"
        .chars()
        .map(|c| c as u8)
        .collect::<Vec<u8>>();
    const WHOLE: &str = "[a whole number, decimal (1234) or hexadecimal (0x4d2)]";
    assert_eq!(
        rows(&text),
        [
            "line 2, cell bits, character 2: ‘x’ is not a bit [0, 1 and ? in any grouping \
             (spaces, dashes, underscores, colons), or hexadecimal with its length, such as \
             0x25409a7/26]"
                .to_owned(),
            "line 3, cell bits: hexadecimal without its length: the digits hold 4 bits, and some \
             may be padding [its length in bits behind it, such as /4, or the bits as 0s and 1s]"
                .to_owned(),
            "line 4, cell card: ‘1,234’ has a thousands separator [the digits alone, such as \
             1234]"
                .to_owned(),
            format!("line 5, cell card: ‘-3’ is not a whole number {WHOLE}"),
            format!("line 6, cell card: ‘ten’ is not a whole number {WHOLE}"),
            "line 7: a quote is not closed on its line [a closing quote, and each row on one \
             line]"
                .to_owned(),
            "8: 10 card=3".to_owned(),
            "line 9: a cell without a heading is not empty [the name of a field at the top of \
             the column]"
                .to_owned(),
            "line 10: has 4 cells under 3 headings [no more cells than headings]".to_owned(),
            "line 11, cell card: ‘18446744073709551616’ is larger than any field can carry [a \
             number of at most 18446744073709551615]"
                .to_owned(),
            "line 12, column 4: a byte that is not UTF-8 text [text saved as UTF-8]".to_owned(),
            "13: 10 card=3".to_owned(),
        ]
    );
}

#[test]
fn wrong_headings_are_refused() {
    const HEADINGS: &str = "[a first line of headings, such as bits,facility,card]";
    assert_eq!(rows(b"read,card\n10,3\n"), [format!("line 1: no heading is ‘bits’ {HEADINGS}")]);
    assert_eq!(rows(b"# only this\n"), [format!("line 1: there is no table {HEADINGS}")]);
    assert_eq!(
        rows(b"\nbits,card,Card\n"),
        ["line 2, cell Card: this heading is there twice [every heading once]"]
    );
}

#[test]
fn the_first_line_decides_between_lines_and_a_table() {
    let table = |text: &str| match read_any(text.as_bytes()) {
        Ok(AnyReads::Table(_)) | Err(_) => true,
        Ok(AnyReads::Lines(_)) => false,
    };
    for text in ["bits\n", "# x\n\nfacility,Bits\n", "\"bits\";card\n", "read,card\n", "a\tbits"] {
        assert!(table(text), "{text}");
    }
    for text in ["", "# bits\n", "1011\n", "1,0,1\n", "bits: 1011\n", "gate 1, front: 1011\n", "x"]
    {
        assert!(!table(text), "{text}");
    }
    let read = read_any("\n10\n11\n".as_bytes()).unwrap().map(Result::unwrap);
    assert_eq!(read.map(|read| read.line).collect::<Vec<_>>(), [2, 3]);
    assert_eq!(
        read_any("read,card\n10,3\n".as_bytes()).unwrap_err().to_string(),
        "line 1: no heading is ‘bits’"
    );
}

/// facts.md's worked case of swapped lines: 42, 1234 shows as 213, 64301
/// (arithmetic).
#[test]
fn a_panel_shows_its_fields_and_nothing_else() {
    let catalogue = Catalogue::built_in();
    let open = &catalogue.get("open-26").unwrap().layout;
    let shown = read_shown(open, &[("facility", 213), ("card", 64301)]).unwrap();
    assert_eq!(shown.to_string(), "?110101011111101100101101?");
    let swapped = OPEN.parse::<Bits>().unwrap().complement();
    assert!(shown.agrees_with(&swapped));
    let card_only = read_shown(open, &[("CARD", 1234)]).unwrap();
    assert_eq!(card_only.to_string(), "?????????0000010011010010?");
    let says = |shown: &[(&str, u64)]| read_shown(open, shown).unwrap_err().to_string();
    assert_eq!(
        says(&[("site", 1)]),
        "the layout open-26 has no field named site; it has facility, card"
    );
    assert_eq!(says(&[("card", 1), ("Card", 1)]), "card is given twice");
    assert_eq!(
        says(&[("card", 65536)]),
        "card is 65536, but the largest the field can carry is 65535"
    );
}

#[test]
fn typed_values_are_read_or_marked() {
    let values = parse_values(" facility = 42 ,card=0X4D2").unwrap();
    assert_eq!(values, [("facility".to_owned(), 42), ("card".to_owned(), 1234)]);
    let says = |text: &str| {
        let error = parse_values(text).unwrap_err();
        assert!(text.is_char_boundary(error.at), "{text}");
        format!("{error} [{}]", error.expected())
    };
    const FORM: &str = "[a name and a value, such as facility=42,card=1234]";
    for (text, message) in [
        ("", format!("column 1: there is no field value {FORM}")),
        ("card=1, ", format!("column 9: there is no field value {FORM}")),
        ("card=1,,site=2", format!("column 8: there is no field value {FORM}")),
        ("gäte", format!("column 1: ‘gäte’ has no value {FORM}")),
        ("gäte=1, =2", format!("column 9: the value has no name {FORM}")),
        ("card=1, Card=2", "column 9: Card is given twice [every field once]".to_owned()),
        (
            "card=1,234",
            "column 8: ‘234’ has no value [a name and a value, such as card=1234; numbers without \
             thousands separators]"
                .to_owned(),
        ),
        (
            "card= 1.234",
            "column 7: ‘1.234’ has a thousands separator [the digits alone, such as 1234]"
                .to_owned(),
        ),
        (
            "card=",
            "column 6: the value of card is empty [a whole number, decimal (1234) or hexadecimal \
             (0x4d2)]"
                .to_owned(),
        ),
        (
            "card=1=2",
            "column 6: ‘1=2’ is not a whole number [a whole number, decimal (1234) or \
             hexadecimal (0x4d2)]"
                .to_owned(),
        ),
    ] {
        assert_eq!(says(text), message, "{text}");
    }
}

#[test]
fn hexadecimal_is_seen_through_the_layouts() {
    let catalogue = Catalogue::built_in();
    let readings = |text: &str| {
        let Ok(ReadText::Hex(hex)) = parse_read_text(text) else { panic!("{text}") };
        hex_readings(&hex, catalogue.entries())
            .into_iter()
            .map(|found| (found.entry.name().to_owned(), found.bits.to_string(), found.justified))
            .collect::<Vec<_>>()
    };
    // The open frame of facility 42, card 1234, left- and right-justified.
    let open = ("open-26".to_owned(), OPEN.to_owned());
    let of = |justified| (open.0.clone(), open.1.clone(), justified);
    assert!(readings("0x95026900").contains(&of(Justified::Left)));
    assert!(readings("0x025409a4").contains(&of(Justified::Right)));
    let bare = |text: &str| readings(text).iter().filter(|(name, ..)| name == "plain-32").count();
    assert_eq!(bare("0x95026900"), 1);
    assert_eq!(readings("0xb"), [("key-4".to_owned(), "1011".to_owned(), Justified::Either)]);
    assert_eq!(readings("0x1"), [("key-4".to_owned(), "0001".to_owned(), Justified::Either)]);
    assert_eq!(readings("0x777"), []);
}

/// Cells as a spreadsheet would write them, by the csv library: what this
/// reads back is what was put in.
fn any_table() -> impl Strategy<Value = Vec<(String, Option<u64>, Option<u64>)>> {
    let row = ("[01?]{1,40}", any::<Option<u64>>(), any::<Option<u64>>());
    proptest::collection::vec(row, 0..20)
}

proptest! {
    #[test]
    fn tables_written_by_a_library_are_read_back(rows in any_table(), delimiter in 0usize..3) {
        let mut writer = csv::WriterBuilder::new()
            .delimiter(b",;\t"[delimiter])
            .quote_style(csv::QuoteStyle::Always)
            .from_writer(Vec::new());
        writer.write_record(["facility", "bits", "card"]).unwrap();
        let text = |value: &Option<u64>| value.map_or(String::new(), |value| value.to_string());
        for (bits, facility, card) in &rows {
            writer.write_record([&text(facility), bits, &text(card)]).unwrap();
        }
        let table = writer.into_inner().unwrap();
        let read: Vec<_> = read_any(table.as_slice()).unwrap().map(Result::unwrap).collect();
        prop_assert_eq!(read.len(), rows.len());
        for (i, (read, (bits, facility, card))) in read.iter().zip(&rows).enumerate() {
            let mut expected = Vec::new();
            expected.extend(facility.map(|value| ("facility".to_owned(), value)));
            expected.extend(card.map(|value| ("card".to_owned(), value)));
            prop_assert_eq!(read.line, i as u64 + 2);
            prop_assert_eq!(&read.bits.to_string(), bits);
            prop_assert_eq!(&read.expected, &expected);
        }
    }

    /// Whatever stands on other lines, a good line is read.
    #[test]
    fn nothing_spoils_another_line(
        junk in proptest::collection::vec(proptest::collection::vec(any::<u8>(), 0..30), 0..12),
        good in any::<prop::sample::Index>(),
    ) {
        let mut all: Vec<Vec<u8>> = junk
            .into_iter()
            .map(|line| line.into_iter().filter(|byte| *byte != b'\n').collect())
            .collect();
        let at = good.index(all.len() + 1);
        all.insert(at, OPEN.as_bytes().to_vec());
        // A mark of UTF-16 in front means none of it is lines.
        prop_assume!(!all[0].starts_with(b"\xff\xfe") && !all[0].starts_with(b"\xfe\xff"));
        let text = all.join(&b'\n');
        let found = read_lines(text.as_slice()).flatten().any(|read| {
            read.line == at + 1 && read.bits.to_string() == OPEN
        });
        prop_assert!(found);

        let text = [b"bits\n".to_vec(), text].concat();
        let found = read_table(text.as_slice()).unwrap().flatten().any(|row| {
            row.line == at as u64 + 2 && row.bits.to_string() == OPEN
        });
        prop_assert!(found);
    }

    #[test]
    fn no_values_panic(text in "\\PC{0,30}") {
        if let Err(error) = parse_values(&text) {
            prop_assert!(text.is_char_boundary(error.at));
        }
    }

    /// What is shown is what decoding gives, and only fields are shown.
    #[test]
    fn a_shown_card_decodes_to_what_was_shown(facility: u16, card: u16) {
        const FIXED: [Span; 1] = [Span::one(1)];
        const CARD: [Span; 1] = [Span::range(20, 35)];
        const FACILITY: [Span; 1] = [Span::range(2, 17)];
        let spec = Spec {
            name: "fuel-berth-35",
            bits: 35,
            fields: &[
                FieldSpec::plain("card", &CARD),
                FieldSpec::plain("facility", &FACILITY),
            ],
            fixed: &[FixedSpec { bits: &FIXED, value: "1" }],
            parity: &[],
        };
        let layout = Layout::new(&spec).unwrap();
        let values = [("facility", u64::from(facility)), ("card", u64::from(card))];
        let shown = read_shown(&layout, &values).unwrap();
        prop_assert!(shown.agrees_with(&layout.encode(values).unwrap()));
        let decoded = layout.decode(&shown).unwrap();
        prop_assert_eq!(decoded.value("facility"), Some(facility.into()));
        prop_assert_eq!(decoded.value("card"), Some(card.into()));
        prop_assert_eq!(shown.unread_count(), 3);
        prop_assert_eq!(shown.get(0), Some(Bit::Unread));
    }
}
