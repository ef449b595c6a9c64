//! Whatever comes in, a case ends in an answer or in an error that says what to
//! do, never in a panic.

#![allow(clippy::unwrap_used)]

mod outside_bytes;

use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::Model;
use misread::channel::{draw_case, seeded};
use misread::diagnose::{
    Candidates, Case, DiagnoseError, Expected, Numbers, Posterior, diagnose, posterior,
};
use misread::layout::{FieldSpec, Kind, Layout, ParitySpec, Span, Spec};
use outside_bytes::case_from_bytes;
use proptest::prelude::*;

fn solve(case: &Case, candidates: &Candidates, model: &Model) -> Result<Posterior, DiagnoseError> {
    posterior(case, candidates, model, &mut |_| ControlFlow::Continue(()))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn any_case_ends_in_an_answer_or_an_error(
        bytes in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let (case, candidates, model) = case_from_bytes(&bytes);
        match solve(&case, &candidates, &model) {
            Ok(found) => {
                let sum: f64 = found.joint.iter().map(|triple| triple.probability).sum();
                prop_assert!((sum - 1.0).abs() < 1e-9, "{}", sum);
                prop_assert!(found.joint.iter().all(|triple| triple.probability >= 0.0));
                let answer =
                    diagnose(&case, &candidates, &model, Numbers::Shown, &mut |_| {
                        ControlFlow::Continue(())
                    }).unwrap();
                prop_assert!(!answer.says.is_empty());
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
        let drawn = draw_case(&candidates, &model, &mut seeded(1, bytes.len() as u64));
        prop_assert!(drawn.is_ok() || !drawn.unwrap_err().to_string().is_empty());
    }
}

/// A layout whose twenty checks are all open at once: each parity bit in the
/// front half covers one bit of the back half, in the same order.
fn twenty_open() -> Candidates {
    let over: Vec<[Span; 1]> = (21..=40).map(|bit| [Span::one(bit)]).collect();
    let parity: Vec<ParitySpec<'_>> =
        (1..=20).zip(&over).map(|(bit, over)| ParitySpec { bit, kind: Kind::Odd, over }).collect();
    let layout = Layout::new(&Spec {
        name: "mooring-40",
        bits: 40,
        fields: &[FieldSpec::plain("card", &[Span::range(21, 40)])],
        fixed: &[],
        parity: &parity,
    });
    Candidates::weighted([(Arc::new(layout.unwrap()), 1.0)])
}

#[test]
fn too_many_open_checks_are_said_and_a_known_card_helps() {
    let candidates = twenty_open();
    let frame = candidates.layouts()[0].encode([("card", 1234)]).unwrap();
    let case = Case::of([frame]);
    let error = solve(&case, &candidates, &Model::default()).unwrap_err();
    assert_eq!(
        error,
        DiagnoseError::TooManyOpen { layout: "mooring-40".to_owned(), position: 17, open: 17 }
    );
    let found = solve(&case.expecting([("card", 1234)]), &candidates, &Model::default()).unwrap();
    assert!(!found.left_out.is_empty());
    let sum: f64 = found.joint.iter().map(|triple| triple.probability).sum();
    assert!((sum - 1.0).abs() < 1e-9);
}

#[test]
fn nothing_to_go_by_is_said() {
    let candidates = twenty_open();
    let model = Model::default();
    assert_eq!(solve(&Case::default(), &candidates, &model), Err(DiagnoseError::Nothing));
    let none = Candidates::weighted([]);
    let case = Case::of(["0101".parse().unwrap()]);
    assert_eq!(solve(&case, &none, &model), Err(DiagnoseError::Nothing));
    let strange = Expected::from([("berth".to_owned(), 3)]);
    let mut unfit = case.clone();
    unfit.reads[0].expected = strange;
    let error = solve(&unfit, &candidates, &model).unwrap_err();
    assert!(error.to_string().contains("mooring-40 has no field berth"), "{error}");
    let stopped = posterior(&case, &candidates, &model, &mut |_| ControlFlow::Break(()));
    assert_eq!(stopped, Err(DiagnoseError::Stopped));
}
