//! Layout files in TOML.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use misread::file::{Catalogue, FileProblem, LayoutDoc};

fuzz_target!(|bytes: &[u8]| {
    match Catalogue::load_bytes(bytes, Path::new("layout.toml")) {
        Ok(entry) => {
            let doc = LayoutDoc::of(&entry);
            assert_eq!(LayoutDoc::from_toml(&doc.to_toml()).as_ref(), Ok(&doc));
            assert_eq!(doc.into_entry(entry.source.clone()), Ok(entry));
        }
        Err(error) => {
            assert!(!error.to_string().is_empty() && !error.expected().is_empty());
            if let FileProblem::Unsound(problems) = error.problem {
                assert!(!problems.is_empty());
            }
        }
    }
});
