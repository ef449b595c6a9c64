//! Tables of reads, and streams that may be tables.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::file::{LineProblem, read_any, read_table};

fuzz_target!(|bytes: &[u8]| {
    let lines = bytes.split(|byte| *byte == b'\n').count() as u64;
    if let Ok(table) = read_table(bytes) {
        let fields: Vec<String> = table.fields().map(str::to_owned).collect();
        let mut last = 0;
        for row in table {
            let line = match row {
                Ok(row) => {
                    assert!(row.expected.iter().all(|(name, _)| fields.contains(name)));
                    row.line
                }
                Err(error) => {
                    assert!(!error.to_string().is_empty() && !error.expected().is_empty());
                    assert!(!matches!(error.problem, LineProblem::Io(_)));
                    error.line as u64
                }
            };
            assert!(last < line && line <= lines);
            last = line;
        }
    }
    if let Ok(reads) = read_any(bytes) {
        reads.for_each(drop);
    }
});
