//! Random layouts against tables made by two general-purpose bit libraries,
//! bitstring and bitstruct (for Python; the versions stand in the tables).
//! `testdata/tables/make.py` made them and says how.

use std::path::PathBuf;

use misread_core::layout::{
    CheckOutcome, Code, FieldSpec, FixedSpec, Kind, Order, ParitySpec, Span, Spec,
};
use misread_core::{Bits, Layout, Misfit};
use serde::Deserialize;

#[derive(Deserialize)]
struct Table {
    made_with: String,
    layouts: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    bits: u16,
    fields: Vec<FieldRow>,
    fixed: Vec<FixedRow>,
    parity: Vec<ParityRow>,
    reads: Vec<ReadRow>,
}

#[derive(Deserialize)]
struct FieldRow {
    name: String,
    bits: Vec<String>,
    order: String,
    code: String,
}

#[derive(Deserialize)]
struct FixedRow {
    bits: Vec<String>,
    value: String,
}

#[derive(Deserialize)]
struct ParityRow {
    bit: u16,
    kind: String,
    over: Vec<String>,
}

#[derive(Deserialize)]
struct ReadRow {
    read: String,
    fields: Vec<String>,
    wrong: Vec<usize>,
    fixed: Vec<usize>,
}

#[test]
fn scattered_layouts_agree_with_bitstring() {
    agrees_with(&table("bitstring"));
}

#[test]
fn layouts_of_runs_agree_with_bitstruct() {
    agrees_with(&table("bitstruct"));
}

fn table(name: &str) -> Table {
    let path: PathBuf =
        [env!("CARGO_MANIFEST_DIR"), "..", "testdata", "tables", &format!("{name}.json")]
            .iter()
            .collect();
    let text = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let table: Table = serde_json::from_str(&text).unwrap();
    assert!(table.made_with.starts_with(name), "{} is no table of {name}", path.display());
    table
}

fn agrees_with(table: &Table) {
    let (mut sound, mut refused) = (0, 0);
    for row in &table.layouts {
        let layout = row.compile();
        for (i, read) in row.reads.iter().enumerate() {
            let fits = read.agrees_with(&layout);
            *if fits { &mut sound } else { &mut refused } += 1;
            // The first two reads of each are frames as they were made.
            if i < 2 {
                let bits: Bits = read.read.parse().unwrap();
                assert!(fits);
                assert_eq!(layout.encode(read.values(&layout)).unwrap(), bits);
            }
        }
    }
    assert!(sound > 150 && refused > 100, "{sound} sound, {refused} refused");
}

impl Row {
    fn compile(&self) -> Layout {
        let field_bits: Vec<_> = self.fields.iter().map(|field| spans(&field.bits)).collect();
        let fixed_bits: Vec<_> = self.fixed.iter().map(|fixed| spans(&fixed.bits)).collect();
        let over: Vec<_> = self.parity.iter().map(|rule| spans(&rule.over)).collect();
        let fields: Vec<_> = self
            .fields
            .iter()
            .zip(&field_bits)
            .map(|(field, bits)| FieldSpec {
                order: match field.order.as_str() {
                    "msb-first" => Order::MsbFirst,
                    "lsb-first" => Order::LsbFirst,
                    other => panic!("order {other}"),
                },
                code: match field.code.as_str() {
                    "binary" => Code::Binary,
                    "bcd" => Code::Bcd,
                    other => panic!("code {other}"),
                },
                ..FieldSpec::plain(&field.name, bits)
            })
            .collect();
        let fixed: Vec<_> = self
            .fixed
            .iter()
            .zip(&fixed_bits)
            .map(|(fixed, bits)| FixedSpec { bits, value: &fixed.value })
            .collect();
        let parity: Vec<_> = self
            .parity
            .iter()
            .zip(&over)
            .map(|(rule, over)| ParitySpec {
                bit: rule.bit,
                kind: match rule.kind.as_str() {
                    "even" => Kind::Even,
                    "odd" => Kind::Odd,
                    other => panic!("parity {other}"),
                },
                over,
            })
            .collect();
        let spec = Spec {
            name: "from-table",
            bits: self.bits,
            fields: &fields,
            fixed: &fixed,
            parity: &parity,
        };
        Layout::new(&spec).unwrap()
    }
}

impl ReadRow {
    fn values<'l>(&self, layout: &'l Layout) -> Vec<(&'l str, u64)> {
        let numbers = self.fields.iter().map(|number| number.parse().unwrap());
        layout.fields().iter().map(|field| field.name()).zip(numbers).collect()
    }

    /// Checks everything we say of the read; whether it fits.
    fn agrees_with(&self, layout: &Layout) -> bool {
        let read: Bits = self.read.parse().unwrap();
        for (field, number) in self.values(layout) {
            assert_eq!(layout.field(field).unwrap().value_in(&read), Some(number), "{read}");
        }
        let failing = layout.checks().filter(|check| check.outcome(&read) == CheckOutcome::Fails);
        let failing_parity: Vec<usize> = failing
            .filter_map(|check| match check {
                misread_core::layout::Check::Parity(rule) => {
                    layout.parity().iter().position(|other| other.bit() == rule.bit())
                }
                _ => None,
            })
            .collect();
        assert_eq!(failing_parity, self.wrong, "{read}");
        match layout.decode(&read) {
            Ok(decoded) => {
                assert!(self.wrong.is_empty() && self.fixed.is_empty(), "{read}");
                let ours = decoded.values().map(|(field, number)| (field.name(), number.unwrap()));
                assert!(ours.eq(self.values(layout)), "{read}");
                true
            }
            Err(Misfit::Fixed { bits }) => {
                let positions: Vec<usize> = bits.indices().map(|index| index + 1).collect();
                assert_eq!(positions, self.fixed, "{read}");
                false
            }
            Err(Misfit::Parity { bit, .. }) => {
                assert!(self.fixed.is_empty(), "{read}");
                assert_eq!(layout.parity()[self.wrong[0]].bit(), bit, "{read}");
                false
            }
            Err(misfit) => panic!("{read}: {misfit}"),
        }
    }
}

fn spans(texts: &[String]) -> Vec<Span> {
    texts.iter().map(|text| text.parse().unwrap()).collect()
}
