//! Pasted reads, one a line, and the same text typed as field values.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::bits::{ReadText, parse_read_text};
use misread::file::{LineProblem, parse_values, read_lines};

fuzz_target!(|bytes: &[u8]| {
    let lines = bytes.split(|byte| *byte == b'\n').count();
    let mut last = 0;
    for read in read_lines(bytes) {
        let line = match read {
            Ok(read) => {
                // What is read is written back as the same read.
                assert_eq!(parse_read_text(&read.bits.to_string()), Ok(ReadText::Bits(read.bits)));
                read.line
            }
            Err(error) => {
                assert!(!error.to_string().is_empty() && !error.expected().is_empty());
                assert!(!matches!(error.problem, LineProblem::Io(_)));
                error.line
            }
        };
        assert!(last < line && line <= lines);
        last = line;
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        if let Err(error) = parse_read_text(text) {
            assert!(text.is_char_boundary(error.at));
        }
        match parse_values(text) {
            Ok(values) => assert!(!values.is_empty()),
            Err(error) => assert!(text.is_char_boundary(error.at)),
        }
    }
});
