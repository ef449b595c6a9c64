//! Priors files of any text, and any read weighed with what they make.
#![no_main]

use std::ops::ControlFlow;
use std::sync::Arc;

use libfuzzer_sys::fuzz_target;
use misread::cause::Model;
use misread::diagnose::{Candidates, Case, DiagnoseError, Numbers, diagnose};
use misread::layout::{Layout, built_in};

fuzz_target!(|text: &str| {
    let model = match Model::default().with_priors(text) {
        Ok(model) => model,
        Err(error) => return assert!(!error.to_string().is_empty()),
    };
    let sum: f64 = model.causes.iter().sum();
    assert!((sum - 1.0).abs() < 1e-6);
    let Ok(layout) = Layout::new(&built_in::OPEN_26) else { return };
    let candidates = Candidates::weighted([(Arc::new(layout), 1.0)]);
    for read in ["01101010111111011001011011", "?00101010000010011010010", "111111111"] {
        let Ok(read) = read.parse() else { return };
        let case = Case::of([read]).expecting([("facility", 42)]);
        let go_on = &mut |_| ControlFlow::Continue(());
        match diagnose(&case, &candidates, &model, Numbers::Shown, go_on) {
            Ok(answer) => assert!(!answer.says.is_empty()),
            // Priors can rule out everything that explains a read.
            Err(error) => assert_eq!(error, DiagnoseError::RuledOut),
        }
    }
});
