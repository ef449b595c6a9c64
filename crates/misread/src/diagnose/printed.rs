//! A diagnosis where all that is known of the card is the number printed on it.

use std::ops::ControlFlow;
use std::sync::Arc;

use misread_core::Layout;

use super::case::{Candidates, Case, Expected};
use super::diagnosis::{Diagnosis, diagnose};
use super::posterior::{DiagnoseError, LayoutUsed, Progress, posterior};
use super::wording::Numbers;
use crate::cause::Model;
use crate::numbers::{Written, readings};

/// One way to take the printed number, and how likely it is after the reads.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenAs {
    /// The index of the candidate layout it is taken for.
    pub layout: usize,
    /// The fields it then says.
    pub fields: Expected,
    /// The steps from the printed number to the fields, in words; empty where
    /// it is taken as it stands.
    pub steps: Vec<String>,
    /// Its probability, 0 to 1, over all ways.
    pub probability: f64,
}

/// The answer to a case with a printed number.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedDiagnosis {
    /// The ways to take the printed number, most likely first.
    pub taken: Vec<TakenAs>,
    /// The answer where it is taken in the most likely way.
    pub diagnosis: Diagnosis,
}

/// The answer to a case whose every read is of a card with this number printed
/// on it. Each way to take the number is weighed by its description length and
/// by how well the reads then agree with it; the answer is that of the best.
///
/// What the case itself says is expected is passed over.
///
/// # Errors
///
/// [`DiagnoseError::ExpectedFitsNoLayout`] where no candidate layout has a
/// field the number can stand for, and all that [`diagnose`] refuses.
pub fn diagnose_printed(
    case: &Case,
    printed: &Written,
    candidates: &Candidates,
    model: &Model,
    numbers: Numbers,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Result<PrintedDiagnosis, DiagnoseError> {
    let layouts: Vec<&Layout> = candidates.layouts().iter().map(Arc::as_ref).collect();
    let mut found = Vec::new();
    // A layout's own weight is in the posterior, so each is asked alone.
    for (index, layout) in layouts.iter().enumerate() {
        for reading in readings(printed, &[(layout, 1.0)]) {
            let fields: Expected = reading.fields.into_iter().collect();
            let steps = reading.steps.iter().map(|step| step.says()).collect();
            found.push((
                TakenAs { layout: index, fields, steps, probability: 0.0 },
                libm::log(reading.weight),
            ));
        }
    }
    if found.is_empty() {
        return Err(DiagnoseError::ExpectedFitsNoLayout {
            why: "none has a field that the printed number can stand for".to_owned(),
        });
    }
    let of = found.len();
    let mut lns = Vec::new();
    for (done, (taken, ln)) in found.iter().enumerate() {
        let case = expecting(case, &taken.fields);
        // No bits at all say nothing about the number either; one that the reads
        // rule out is left at nothing.
        let all =
            match posterior(&case, candidates, model, &mut |_| progress(Progress { done, of })) {
                Ok(all) => all,
                Err(DiagnoseError::Nothing) => {
                    lns.push(*ln);
                    continue;
                }
                Err(DiagnoseError::RuledOut) => {
                    lns.push(f64::NEG_INFINITY);
                    continue;
                }
                Err(error) => return Err(error),
            };
        let share = all.sum(|found| match found.layout {
            Some(LayoutUsed::Candidate(layout)) => layout == taken.layout,
            Some(LayoutUsed::Mixed) | None => true,
        });
        lns.push(ln + all.ln_evidence + libm::log(share));
    }
    let total = super::posterior::ln_sum(lns.iter().copied());
    let mut taken: Vec<TakenAs> = found
        .into_iter()
        .zip(lns)
        .map(|((taken, _), ln)| TakenAs { probability: libm::exp(ln - total), ..taken })
        .collect();
    taken.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let case = match taken.first() {
        Some(best) => expecting(case, &best.fields),
        None => case.clone(),
    };
    let diagnosis = diagnose(&case, candidates, model, numbers, progress)?;
    Ok(PrintedDiagnosis { taken, diagnosis })
}

fn expecting(case: &Case, fields: &Expected) -> Case {
    case.clone().expecting(fields.iter().map(|(name, &value)| (name.as_str(), value)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::Verdict;
    use crate::numbers::parse_written;
    use misread_core::layout::built_in;

    fn answer(printed: &str, read: &str) -> PrintedDiagnosis {
        let open = Arc::new(Layout::new(&built_in::OPEN_26).unwrap());
        let case = Case::of([read.parse().unwrap()]);
        let printed = parse_written(printed).unwrap();
        let candidates = Candidates::weighted([(open, 1.0)]);
        let go_on = &mut |_| ControlFlow::Continue(());
        diagnose_printed(&case, &printed, &candidates, &Model::default(), Numbers::Shown, go_on)
            .unwrap()
    }

    /// Arithmetic: 42 × 65536 + 1234 = 2753746; the digits 4201234 run
    /// together are facility 42, card 1234 as well.
    #[test]
    fn the_reads_say_which_way_the_number_is_meant() {
        for printed in ["0002753746", "42,1234", "4201234", "1234"] {
            let found = answer(printed, "10010101000000100110100100");
            assert_eq!(found.diagnosis.verdict, Verdict::None, "{printed}: {:?}", found.taken);
            assert_eq!(found.taken[0].fields.get("card"), Some(&1234), "{printed}");
            let sum: f64 = found.taken.iter().map(|taken| taken.probability).sum();
            assert!((sum - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn swapped_lines_show_through_a_printed_number() {
        let found = answer("0002753746", "01101010111111011001011011");
        assert_eq!(found.diagnosis.verdict.to_string(), "lines-swapped");
        assert_eq!(found.taken[0].fields.get("facility"), Some(&42));
    }
}
