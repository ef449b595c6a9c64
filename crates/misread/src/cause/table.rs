//! The site tests and the mends as a model holds them, where their figures can
//! be overridden.

use super::mends::SiteMend;
use super::site_tests::{Outcome, SiteTest};
use super::{Cause, Fault, Wire};

/// A test an installer can do, with how likely each outcome is.
#[derive(Clone, Debug, PartialEq)]
pub struct TestTable {
    /// Its id.
    pub id: String,
    /// What to do.
    pub says: String,
    /// How long it takes, in minutes; over 0.
    pub minutes: f64,
    /// Whether a conductor is touched.
    pub touches_wire: bool,
    /// What can come of it.
    pub outcomes: Vec<TestOutcome>,
    rows: Vec<Row>,
}

/// The odds of a test's outcomes under a wire state.
#[derive(Clone, Debug, Default, PartialEq)]
struct Row {
    /// The probability of each outcome; they sum to 1.
    odds: Vec<f64>,
    /// Minus their entropy, in bits.
    information: f64,
    /// Whether they are its own, and do not follow from the cause's.
    is_own: bool,
}

/// What can come of a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TestOutcome {
    /// Its id.
    pub id: String,
    /// What is seen.
    pub says: String,
}

impl TestTable {
    pub(super) fn of(test: &SiteTest) -> Self {
        let outcome = |outcome: &Outcome| TestOutcome {
            id: outcome.id.to_owned(),
            says: outcome.says.to_owned(),
        };
        let mut table = TestTable {
            id: test.id.to_owned(),
            says: test.says.to_owned(),
            minutes: test.minutes,
            touches_wire: test.touches_wire,
            outcomes: test.outcomes.iter().map(outcome).collect(),
            rows: vec![Row::default(); ROWS],
        };
        for row in test.rows {
            for &cause in row.causes {
                table.set_odds(cause.into(), row.outcomes.to_vec());
            }
        }
        for row in test.swapped {
            for wire in row.causes.iter().filter_map(|&cause| Wire::swapped(cause)) {
                table.set_odds(wire, row.outcomes.to_vec());
            }
        }
        table.set_odds(Wire::ReadsMissing, test.reads_missing.outcomes.to_vec());
        table
    }

    /// How likely each outcome is under a fault, in the order of the outcomes;
    /// they sum to 1.
    ///
    /// A wire state that has figures of its own has those; behind swapped lines
    /// the outcomes are those of the cause, at times half those of the cause and
    /// half those where nothing is wrong. Where the card is another one the wire
    /// is sound, and a layout that the panel is not set to looks as one that
    /// nobody listed.
    pub fn odds(&self, fault: Fault) -> &[f64] {
        self.rows.get(row_of(fault)).map_or(&[], |row| &row.odds)
    }

    /// Minus the entropy of [`TestTable::odds`], in bits.
    pub(crate) fn information(&self, fault: Fault) -> f64 {
        self.rows.get(row_of(fault)).map_or(0.0, |row| row.information)
    }

    /// Gives a wire state other odds, one an outcome, which sum to 1; those of a
    /// cause hold for it behind swapped lines and at times too, where those have
    /// none of their own.
    pub fn set_odds(&mut self, wire: Wire, odds: Vec<f64>) {
        self.put(wire, odds, !matches!(wire, Wire::Alone(_)));
        let Wire::Alone(cause) = wire else { return };
        if let Some(swapped) = Wire::swapped(cause) {
            self.put(swapped, self.odds(cause.into()).to_vec(), false);
        }
        let none = self.odds(Cause::None.into()).to_vec();
        // What is at times is half of what is sound.
        for at_times in Cause::ALL.into_iter().filter_map(Wire::at_times) {
            let its = self.odds(at_times.cause().into()).iter();
            let half = its.zip(&none).map(|(a, b)| 0.5 * (a + b)).collect();
            self.put(at_times, half, false);
        }
    }

    fn put(&mut self, wire: Wire, odds: Vec<f64>, is_own: bool) {
        let Some(row) = self.rows.get_mut(row_of(wire.into())) else { return };
        if is_own || !row.is_own {
            let terms = odds.iter().filter(|&&p| p > 0.0).map(|&p| p * libm::log2(p));
            *row = Row { information: terms.sum(), odds, is_own };
        }
    }
}

const ROWS: usize = 3 * Cause::ALL.len() + 1;

fn row_of(fault: Fault) -> usize {
    match fault {
        Fault::Wire(Wire::Alone(cause)) => cause.index(),
        Fault::Wire(Wire::Swapped(cause)) => Cause::ALL.len() + cause.index(),
        Fault::Wire(Wire::AtTimes(cause)) => 2 * Cause::ALL.len() + cause.index(),
        Fault::Wire(Wire::ReadsMissing) => 3 * Cause::ALL.len(),
        Fault::Card(_) => Cause::None.index(),
        Fault::LayoutDiffers => Cause::UnknownLayout.index(),
    }
}

/// Something an installer can do to mend a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Mend {
    /// Its id: `fix-` and what is mended.
    pub id: String,
    /// What to do.
    pub says: String,
    /// How long it takes, in minutes, presenting a card again included; over 0.
    pub minutes: f64,
    /// Whether a conductor is touched.
    pub touches_wire: bool,
    /// The faults of which it mends a share, each over 0, at most 1; of the wire
    /// only causes by themselves and [`Wire::ReadsMissing`]. A fault's shares
    /// over all mends sum to 1 at most.
    pub shares: Vec<(Fault, f64)>,
}

impl Mend {
    pub(super) fn of(mend: &SiteMend) -> Self {
        let shares = mend.mends.iter().flat_map(|row| row.faults.iter().map(|&f| (f, row.share)));
        Mend {
            id: mend.id.to_owned(),
            says: mend.says.to_owned(),
            minutes: mend.minutes,
            touches_wire: mend.touches_wire,
            shares: shares.collect(),
        }
    }

    /// The share of a fault's cases that it mends; behind swapped lines, once
    /// those are swapped too.
    pub fn share(&self, fault: Fault) -> f64 {
        let cause = fault.mended_as();
        self.shares.iter().find(|(of, _)| *of == cause).map_or(0.0, |&(_, share)| share)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::Model;

    fn odds(test: &str, fault: &str) -> Vec<f64> {
        let model = Model::default();
        let table = model.tests.iter().find(|table| table.id == test).unwrap();
        table.odds(fault.parse().unwrap()).to_vec()
    }

    /// The rules of the fault model for what has no row of its own.
    #[test]
    fn two_at_once_and_at_times_follow_from_the_cause() {
        assert_eq!(odds("supply", "lines-swapped+both-weak"), odds("supply", "both-weak"));
        assert_eq!(odds("exchange-lines", "lines-swapped+bits-changed"), [0.7, 0.3]);
        for ((times, cause), none) in odds("capture", "d0-weak-at-times")
            .iter()
            .zip(odds("capture", "d0-weak"))
            .zip(odds("capture", "none"))
        {
            assert!((times - 0.5 * (cause + none)).abs() < 1e-15);
        }
        assert_eq!(odds("supply", "reads-missing"), [0.65, 0.35]);
        assert_eq!(odds("known-card", "card-differs"), odds("known-card", "none"));
        assert_eq!(odds("known-card", "layout-differs"), odds("known-card", "unknown-layout"));
    }

    #[test]
    fn odds_sum_to_one_under_every_fault() {
        for table in &Model::default().tests {
            for wire in Wire::all() {
                let sum: f64 = table.odds(wire.into()).iter().sum();
                assert!((sum - 1.0).abs() < 1e-9, "{} {wire}", table.id);
            }
        }
    }

    #[test]
    fn other_odds_hold_for_what_follows_from_them() {
        let mut table = Model::default().tests.remove(0);
        let certain = |at: usize| (0..6).map(|i| if i == at { 1.0 } else { 0.0 }).collect();
        table.set_odds(Wire::AtTimes(Cause::D1Weak), certain(5));
        for cause in [Cause::D0Weak, Cause::D1Weak, Cause::None] {
            table.set_odds(cause.into(), certain(if cause == Cause::None { 0 } else { 1 }));
        }
        let of = |id: &str| table.odds(id.parse().unwrap());
        assert_eq!(of("lines-swapped+d0-weak")[1], 1.0);
        assert_eq!(of("d0-weak-at-times")[..2], [0.5, 0.5]);
        assert_eq!(of("d1-weak-at-times")[5], 1.0);
        assert_eq!(table.information("d0-weak-at-times".parse().unwrap()), -1.0);
    }

    #[test]
    fn a_mend_knows_its_share() {
        let model = Model::default();
        let supply = model.mends.iter().find(|mend| mend.id == "fix-supply").unwrap();
        for id in ["both-weak", "both-weak-at-times", "lines-swapped+both-weak"] {
            assert_eq!(supply.share(id.parse().unwrap()), 0.5);
        }
        assert_eq!(supply.share(Fault::LayoutDiffers), 0.0);
    }
}
