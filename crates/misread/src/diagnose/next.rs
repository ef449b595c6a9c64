//! What to do next: the shortest way to a verified fix.
//!
//! A mend is a test too: swapping two conductors costs five minutes and ends
//! most days. So tests and mends are weighed together, in minutes, by
//! decision-theoretic troubleshooting (Heckerman, Breese and Rommelse 1995,
//! *Communications of the ACM* 38(3)). There is one fault; each mend meets a
//! share of its cases, which the next read shows. What mending alone takes is
//! then least in the order of the probability that a mend is the one, over its
//! minutes (Kadane and Simon 1977), and a test is worth what it shortens that
//! by, less what it takes itself.

mod order;
mod plan;

pub use plan::Plan;

use crate::cause::{Fault, Model, TestTable, Wire};

/// A test or a mend, with what it is expected to tell and to save.
#[derive(Clone, Debug, PartialEq)]
pub struct NextStep {
    /// The id of the test or of the mend; that of a mend is `fix-` and what is
    /// mended.
    pub id: String,
    /// What to do.
    pub says: String,
    /// How long it takes, in minutes.
    pub minutes: f64,
    /// Whether a conductor is touched.
    pub touches_wire: bool,
    /// The expected information about the fault, in bits; 0 for a mend.
    pub gain_bits: f64,
    /// By how many minutes a test is expected to shorten the way to a verified
    /// fix, its own taken off; 0 for a mend.
    pub saves_minutes: f64,
    /// What each outcome of a test would say, most likely outcome first; empty
    /// for a mend.
    pub outcomes: Vec<OutcomeSays>,
}

impl NextStep {
    /// Whether it mends something.
    pub fn is_mend(&self) -> bool {
        self.outcomes.is_empty()
    }
}

/// What an outcome of a test would say.
#[derive(Clone, Debug, PartialEq)]
pub struct OutcomeSays {
    /// What is seen.
    pub says: String,
    /// How likely it is.
    pub probability: f64,
    /// The most likely fault after it.
    pub fault: Fault,
    /// How likely that fault is then.
    pub fault_probability: f64,
}

/// What to do next: the tests that shorten the way to a verified fix, the one
/// that saves most first, then the mends in the order in which they are best
/// tried.
///
/// `faults` are what can be wrong, each with its probability; they need not sum
/// to 1. What says that nothing is wrong is passed over, and the list is empty
/// where nothing else is left.
///
/// ```
/// use misread::cause::{Cause, Model};
/// use misread::diagnose::next_steps;
///
/// // Swapped lines, most likely, or a recorder that turns bits over: a recording
/// // would tell, but swapping the lines takes less and mends most cases.
/// let faults = [(Cause::LinesSwapped.into(), 0.857), (Cause::BitsInverted.into(), 0.143)];
/// let steps = next_steps(&faults, &Model::default());
/// let ids: Vec<&str> = steps.iter().map(|step| step.id.as_str()).collect();
/// assert_eq!(ids, ["fix-lines-swapped", "fix-bits-inverted"]);
/// ```
pub fn next_steps(faults: &[(Fault, f64)], model: &Model) -> Vec<NextStep> {
    Plan::new(faults, model).steps()
}

/// The test that tells two wire states apart in the least time: of those that
/// tell at least half a bit where the two are equally likely the quickest, else
/// the one that tells the most a minute. `None` where none tells anything.
pub fn tells_apart(a: Wire, b: Wire, model: &Model) -> Option<&TestTable> {
    let plan = Plan::new(&[(a.into(), 0.5), (b.into(), 0.5)], model);
    plan.quickest_to_tell()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::{CardState, Cause};

    fn ids(faults: &[(&str, f64)]) -> Vec<String> {
        let faults: Vec<_> = faults.iter().map(|&(id, p)| (id.parse().unwrap(), p)).collect();
        next_steps(&faults, &Model::default()).into_iter().map(|step| step.id).collect()
    }

    #[test]
    fn swapped_lines_are_mended_before_anything_is_measured() {
        let first = ids(&[
            ("lines-swapped", 0.769202),
            ("bits-inverted", 0.135742),
            ("bit-order-reversed", 0.090494),
            ("lines-swapped+bytes-reversed", 0.001923),
        ]);
        assert_eq!(first[0], "fix-lines-swapped");
    }

    #[test]
    fn of_two_at_once_the_lines_are_swapped_first() {
        let both = ids(&[("lines-swapped+d0-open", 1.0)]);
        assert_eq!(both, ["fix-lines-swapped", "fix-d0-conductor", "fix-cable"]);
    }

    /// A pulse lost on both lines: a minute or four of measuring before a
    /// quarter of an hour at the wrong joint.
    #[test]
    fn what_is_dear_to_mend_is_measured_first() {
        let steps = ids(&[("both-weak", 0.4), ("d0-open", 0.3), ("d1-open", 0.3)]);
        assert!(!steps[0].starts_with("fix-"), "{steps:?}");
    }

    #[test]
    fn nothing_is_to_do_where_nothing_can_be_wrong() {
        assert!(next_steps(&[], &Model::default()).is_empty());
        let good = [
            (Cause::None.into(), 0.9),
            (Fault::Card(CardState::AsExpected), 0.1),
            (Cause::D0Weak.into(), 0.0),
            (Cause::D1Weak.into(), f64::NAN),
        ];
        assert!(next_steps(&good, &Model::default()).is_empty());
    }

    #[test]
    fn a_test_that_tells_is_found() {
        let model = Model::default();
        let tells = |a: &str, b: &str| {
            let (a, b) = (a.parse().unwrap(), b.parse().unwrap());
            tells_apart(a, b, &model).map(|table| table.id.as_str())
        };
        assert_eq!(tells("lines-swapped", "bits-inverted"), Some("capture"));
        assert_eq!(tells("lines-swapped", "bit-order-reversed"), Some("known-card"));
        assert_eq!(tells("d0-open", "d0-open"), None);
    }
}
