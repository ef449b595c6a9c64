//! The site tests and the mends as a model holds them, where their figures can
//! be overridden.

use std::collections::BTreeMap;

use super::mends::SiteMend;
use super::site_tests::{Outcome, Row, SiteTest};
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
    /// For each cause, in the order of [`Cause::ALL`], the probability of each
    /// outcome; they sum to 1.
    pub likelihood: [Vec<f64>; Cause::ALL.len()],
    /// The same for the wire states that do not follow from their cause: see
    /// [`TestTable::odds`].
    pub own: BTreeMap<Wire, Vec<f64>>,
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
        let among = |rows: &[Row], cause: Cause| {
            let row = rows.iter().find(|row| row.causes.contains(&cause));
            row.map(|row| row.outcomes.to_vec())
        };
        let swapped = Cause::ALL
            .into_iter()
            .filter_map(|cause| Some((Wire::swapped(cause)?, among(test.swapped, cause)?)));
        let missing = (Wire::ReadsMissing, test.reads_missing.outcomes.to_vec());
        TestTable {
            id: test.id.to_owned(),
            says: test.says.to_owned(),
            minutes: test.minutes,
            touches_wire: test.touches_wire,
            outcomes: test.outcomes.iter().map(outcome).collect(),
            likelihood: Cause::ALL.map(|cause| among(test.rows, cause).unwrap_or_default()),
            own: swapped.chain([missing]).collect(),
        }
    }

    /// How likely each outcome is under a fault.
    ///
    /// A wire state that has a row of its own has that; behind swapped lines the
    /// outcomes are those of the cause, at times half those of the cause and half
    /// those where nothing is wrong. Where the card is another one the wire is
    /// sound, and a layout that the panel is not set to looks as one that nobody
    /// listed.
    pub fn odds(&self, fault: Fault) -> Odds<'_> {
        let of = |cause: Cause| self.likelihood[cause.index()].as_slice();
        let one = |row| Odds { row, other: row };
        match fault {
            Fault::Wire(Wire::Alone(cause)) => one(of(cause)),
            Fault::Card(_) => one(of(Cause::None)),
            Fault::LayoutDiffers => one(of(Cause::UnknownLayout)),
            Fault::Wire(wire) => match (self.own.get(&wire), wire) {
                (Some(row), _) => one(row),
                (None, Wire::AtTimes(cause)) => Odds { row: of(cause), other: of(Cause::None) },
                (None, _) => one(of(wire.cause())),
            },
        }
    }
}

/// How likely each outcome of a test is under a fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Odds<'a> {
    // Half of each; the same twice where there is only one.
    row: &'a [f64],
    other: &'a [f64],
}

impl Odds<'_> {
    /// The probability of each outcome, in the order of the test's; they sum to
    /// 1.
    pub fn iter(&self) -> impl Iterator<Item = f64> + '_ {
        self.row.iter().zip(self.other).map(|(a, b)| 0.5 * (a + b))
    }

    /// The probability of an outcome; 0 where there is none of that index.
    pub fn of(&self, outcome: usize) -> f64 {
        match (self.row.get(outcome), self.other.get(outcome)) {
            (Some(a), Some(b)) => 0.5 * (a + b),
            _ => 0.0,
        }
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

    fn odds(test: &str, wire: &str) -> Vec<f64> {
        let model = Model::default();
        let table = model.tests.iter().find(|table| table.id == test).unwrap();
        table.odds(wire.parse().unwrap()).iter().collect()
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
    fn a_mend_knows_its_share() {
        let model = Model::default();
        let supply = model.mends.iter().find(|mend| mend.id == "fix-supply").unwrap();
        for id in ["both-weak", "both-weak-at-times", "lines-swapped+both-weak"] {
            assert_eq!(supply.share(id.parse().unwrap()), 0.5);
        }
        assert_eq!(supply.share(Fault::LayoutDiffers), 0.0);
    }
}
