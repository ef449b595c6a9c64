//! Cases of any kind, from reads to the whole answer.
#![no_main]

#[path = "../../crates/misread/tests/outside_bytes/mod.rs"]
mod outside_bytes;

use std::ops::ControlFlow;

use libfuzzer_sys::fuzz_target;
use misread::diagnose::{Numbers, diagnose, posterior};
use outside_bytes::case_from_bytes;

fuzz_target!(|bytes: &[u8]| {
    let (case, candidates, model) = case_from_bytes(bytes);
    let go_on = &mut |_| ControlFlow::Continue(());
    match posterior(&case, &candidates, &model, go_on) {
        Ok(found) => {
            let sum: f64 = found.joint.iter().map(|triple| triple.probability).sum();
            assert!((sum - 1.0).abs() < 1e-9);
            let answer = diagnose(&case, &candidates, &model, Numbers::Shown, go_on);
            assert!(answer.is_ok_and(|answer| !answer.says.is_empty()));
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
