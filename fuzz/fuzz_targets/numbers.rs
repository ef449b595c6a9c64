//! Printed and shown numbers, as text and as a table.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::layout::{Layout, built_in};
use misread::numbers::{explain, parse_written, read_pairs, readings, replay};

fuzz_target!(|text: &str| {
    let layouts: Vec<Layout> = [&built_in::OPEN_26, &built_in::SITE_34, &built_in::SERIAL_34]
        .into_iter()
        .filter_map(|spec| Layout::new(spec).ok())
        .collect();
    let weighted: Vec<_> = layouts.iter().map(|layout| (layout, 1.0)).collect();
    match parse_written(text) {
        Ok(written) => {
            for reading in readings(&written, &weighted) {
                assert!((0.0..=1.0 + 1e-9).contains(&reading.weight));
                let layout = &layouts[reading.layout];
                assert!(reading.fields.iter().all(|(name, value)| {
                    layout.field(name).is_some_and(|field| field.to_raw(*value).is_some())
                }));
            }
        }
        Err(error) => {
            assert!(error.column <= text.chars().count() + 1);
            assert!(!error.to_string().is_empty() && !error.expected().is_empty());
        }
    }
    let read = read_pairs(text.as_bytes());
    assert!(read.refused.iter().all(|error| !error.to_string().is_empty()));
    let pairs: Vec<_> = read.pairs.iter().take(2).map(|found| found.pair).collect();
    let layouts: Vec<&Layout> = layouts.iter().collect();
    for path in explain(&pairs, &layouts).paths {
        for pair in &pairs {
            let end = replay(&path.steps, &pair.printed);
            assert!(end.is_some_and(|end| end.is_shown_as(&pair.shown)));
        }
    }
});
