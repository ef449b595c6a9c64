//! What to do next: the test that tells the most about the cause, a minute.

use crate::cause::{Cause, Model, TestTable};

/// A test with what it is expected to tell.
#[derive(Clone, Debug, PartialEq)]
pub struct NextTest {
    /// Its id.
    pub test: String,
    /// What to do.
    pub says: String,
    /// How long it takes, in minutes.
    pub minutes: f64,
    /// Whether a conductor is touched.
    pub touches_wire: bool,
    /// The expected information about the cause, in bits; 0 for a test that
    /// cannot separate what is left.
    pub gain_bits: f64,
    /// What each outcome would say, most likely outcome first.
    pub outcomes: Vec<CauseOutcome>,
}

/// What an outcome of a test would say.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseOutcome {
    /// What is seen.
    pub says: String,
    /// How likely it is.
    pub probability: f64,
    /// The most likely cause after it.
    pub cause: Cause,
    /// How likely that cause is then.
    pub cause_probability: f64,
}

/// The tests, most expected information a minute first; of equals, in the
/// order of the model.
///
/// `causes` is the probability of each cause, in the order of [`Cause::ALL`].
///
/// ```
/// use misread::cause::{Cause, Model};
/// use misread::diagnose::next_tests;
///
/// // Swapped lines or a recorder that turns bits over: swapping the
/// // conductors cures both, so it tells nothing.
/// let mut causes = [0.0; Cause::ALL.len()];
/// causes[Cause::LinesSwapped.index()] = 0.857;
/// causes[Cause::BitsInverted.index()] = 0.143;
/// let tests = next_tests(&causes, &Model::default());
/// assert_eq!(tests[0].test, "capture");
/// let swap = tests.iter().find(|test| test.test == "exchange-lines").unwrap();
/// assert_eq!(swap.gain_bits, 0.0);
/// ```
pub fn next_tests(causes: &[f64; Cause::ALL.len()], model: &Model) -> Vec<NextTest> {
    let mut tests: Vec<NextTest> =
        model.tests.iter().map(|table| expected_of(causes, table)).collect();
    tests.sort_by(|a, b| (b.gain_bits / b.minutes).total_cmp(&(a.gain_bits / a.minutes)));
    tests
}

/// The probability of each cause once an outcome was seen; as before where the
/// outcome is impossible.
pub fn after_outcome(
    causes: &[f64; Cause::ALL.len()],
    table: &TestTable,
    outcome: usize,
) -> [f64; Cause::ALL.len()] {
    let mut after = *causes;
    for (probability, cause) in after.iter_mut().zip(Cause::ALL) {
        let row = table.odds(cause.into());
        *probability *= row.get(outcome).copied().unwrap_or(0.0);
    }
    let sum: f64 = after.iter().sum();
    if sum > 0.0 { after.map(|probability| probability / sum) } else { *causes }
}

fn expected_of(causes: &[f64; Cause::ALL.len()], table: &TestTable) -> NextTest {
    let mut outcomes = Vec::new();
    let mut left = 0.0;
    for (index, outcome) in table.outcomes.iter().enumerate() {
        let probability: f64 = causes
            .iter()
            .zip(Cause::ALL)
            .map(|(p, cause)| p * table.odds(cause.into())[index])
            .sum();
        if probability <= 0.0 {
            continue;
        }
        let after = after_outcome(causes, table, index);
        left += probability * entropy_bits(&after);
        let best = Cause::ALL.into_iter().fold(Cause::None, |best, cause| {
            if after[cause.index()] > after[best.index()] { cause } else { best }
        });
        outcomes.push(CauseOutcome {
            says: outcome.says.clone(),
            probability,
            cause: best,
            cause_probability: after[best.index()],
        });
    }
    outcomes.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    // What rounding leaves of nothing is nothing.
    let gain = entropy_bits(causes) - left;
    NextTest {
        test: table.id.clone(),
        says: table.says.clone(),
        minutes: table.minutes,
        touches_wire: table.touches_wire,
        gain_bits: if gain < 1e-12 { 0.0 } else { gain },
        outcomes,
    }
}

/// The entropy of a distribution, in bits.
fn entropy_bits(probabilities: &[f64]) -> f64 {
    let terms = probabilities.iter().filter(|&&p| p > 0.0).map(|&p| -p * libm::log2(p));
    terms.sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gain(of: &[(Cause, f64)], test: &str) -> f64 {
        let mut causes = [0.0; Cause::ALL.len()];
        for &(cause, probability) in of {
            causes[cause.index()] = probability;
        }
        let tests = next_tests(&causes, &Model::default());
        tests.iter().find(|next| next.test == test).unwrap().gain_bits
    }

    /// Worked by hand. Swapped lines and a recorder's inversion, a half
    /// each: a recording gives "as before" 0.96 and "turned over" 0.96, the
    /// other eight outcomes 0.005 alike. 0.04 of the time nothing is learned,
    /// 0.96 of the time everything: 0.96 bits.
    #[test]
    fn worked_gain_of_a_capture() {
        let of = [(Cause::LinesSwapped, 0.5), (Cause::BitsInverted, 0.5)];
        assert!((gain(&of, "capture") - 0.96).abs() < 1e-12);
        assert_eq!(gain(&of, "exchange-lines"), 0.0);
        assert_eq!(gain(&of, "known-card"), 0.0);
        assert_eq!(gain(&of, "same-card-thrice"), 0.0);
    }

    /// Worked by hand. Swapped lines and last bit first, a half each, a
    /// known card: "turned over" 0.98 against 0, "last bit first" 0 against
    /// 0.98, the last 0.02 alike: 0.98 bits.
    #[test]
    fn worked_gain_of_a_known_card() {
        let of = [(Cause::LinesSwapped, 0.5), (Cause::BitOrderReversed, 0.5)];
        assert!((gain(&of, "known-card") - 0.98).abs() < 1e-12);
    }

    /// Worked by hand. Both lines weak and nothing wrong, a half each, the
    /// supply: "steady" 0.45 and 0.95, so 0.7 of the time, with 0.225/0.7 =
    /// 0.321429 for weak: entropy 0.905928; "low" 0.3 of the time, with
    /// 0.275/0.3 = 0.916667: entropy 0.413817. What is left is 0.7 × 0.905928
    /// + 0.3 × 0.413817 = 0.758295, so the gain is 0.241705 bits.
    #[test]
    fn worked_gain_of_the_supply() {
        let of = [(Cause::BothWeak, 0.5), (Cause::None, 0.5)];
        assert!((gain(&of, "supply") - 0.241705).abs() < 1e-5, "{}", gain(&of, "supply"));
    }

    #[test]
    fn nothing_is_learned_where_nothing_is_open() {
        for table in &Model::default().tests {
            assert_eq!(gain(&[(Cause::D0Open, 1.0)], &table.id), 0.0);
        }
    }
}
