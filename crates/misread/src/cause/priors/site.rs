//! What a priors file says of the site tests and the mends.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{PriorsError, probability, sense, unknown};
use crate::cause::{CardState, Cause, Fault, Mend, TestTable, Wire};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TestDoc {
    minutes: Option<f64>,
    #[serde(default)]
    outcomes: BTreeMap<String, BTreeMap<String, f64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MendDoc {
    minutes: Option<f64>,
    #[serde(default)]
    mends: BTreeMap<String, f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct UnmendedDoc {
    pub(super) minutes: Option<f64>,
}

pub(super) fn override_tests(
    tests: &mut [TestTable],
    given: &BTreeMap<String, TestDoc>,
) -> Result<(), PriorsError> {
    for (id, doc) in given {
        let names: Vec<String> = tests.iter().map(|test| test.id.clone()).collect();
        match tests.iter_mut().find(|test| test.id == *id) {
            Some(table) => override_test(table, doc)?,
            None => return unknown("tests", id, &names),
        }
    }
    Ok(())
}

fn override_test(table: &mut TestTable, doc: &TestDoc) -> Result<(), PriorsError> {
    let at = format!("tests.{}", table.id);
    override_minutes(&at, &mut table.minutes, doc.minutes)?;
    for (id, given) in &doc.outcomes {
        let at = format!("{at}.outcomes");
        let Ok(wire) = id.parse::<Wire>() else {
            return sense(&at, format!("there is no ‘{id}’; expected one of {}", wire_states()));
        };
        let at = format!("{at}.{id}");
        let mut row = vec![0.0; table.outcomes.len()];
        for (outcome, &share) in given {
            let ids: Vec<&str> = table.outcomes.iter().map(|outcome| outcome.id.as_str()).collect();
            let Some(index) = ids.iter().position(|known| known == outcome) else {
                return unknown(&at, outcome, &ids);
            };
            row[index] = probability(&at, outcome, share)?;
        }
        let sum: f64 = row.iter().sum();
        if (sum - 1.0).abs() > 1e-6 {
            return sense(&at, format!("the outcomes sum to {sum}; expected 1"));
        }
        table.set_odds(wire, row.into_iter().map(|p| p / sum).collect());
    }
    Ok(())
}

pub(super) fn override_mends(
    mends: &mut [Mend],
    given: &BTreeMap<String, MendDoc>,
) -> Result<(), PriorsError> {
    for (id, doc) in given {
        let names: Vec<String> = mends.iter().map(|mend| mend.id.clone()).collect();
        let Some(mend) = mends.iter_mut().find(|mend| mend.id == *id) else {
            return unknown("mends", id, &names);
        };
        override_minutes(&format!("mends.{id}"), &mut mend.minutes, doc.minutes)?;
        let at = format!("mends.{id}.mends");
        for (fault, &share) in &doc.mends {
            let known = fault.parse().ok().filter(|of: &Fault| of.mended_as() == *of);
            let Some(of) = known.filter(|of| !of.is_none()) else {
                return unknown(&at, fault, &mendable());
            };
            let share = probability(&at, fault, share)?;
            mend.shares.retain(|(known, _)| *known != of);
            if share > 0.0 {
                mend.shares.push((of, share));
            }
        }
    }
    for id in mendable() {
        let Ok(fault) = id.parse::<Fault>() else { continue };
        let shares = || mends.iter().map(|mend| (&mend.id, mend.share(fault)));
        let sum: f64 = shares().map(|(_, share)| share).sum();
        if sum > 1.0 + 1e-9 {
            let all = shares().filter(|&(_, share)| share > 0.0);
            let all: Vec<String> = all.map(|(id, share)| format!("{id} {share}")).collect();
            let (all, sum) = (all.join(", "), (sum * 1e9).round() / 1e9);
            let says = format!("the shares of ‘{fault}’ sum to {sum} ({all}); expected 1 at most");
            return sense("mends", says);
        }
    }
    Ok(())
}

/// The faults that a mend can be said to mend.
fn mendable() -> Vec<String> {
    let wires = Cause::ALL.into_iter().map(Wire::Alone).chain([Wire::ReadsMissing]);
    let cards = CardState::ALL.into_iter().map(Fault::Card);
    let all = wires.map(Fault::Wire).chain(cards).chain([Fault::LayoutDiffers]);
    all.filter(|fault| !fault.is_none()).map(|fault| fault.to_string()).collect()
}

/// The wire states, in few words.
fn wire_states() -> String {
    let causes = Cause::ALL.map(Cause::id).join(", ");
    format!("{causes}, reads-missing, lines-swapped+CAUSE, CAUSE-at-times")
}

pub(super) fn override_minutes(
    at: &str,
    minutes: &mut f64,
    given: Option<f64>,
) -> Result<(), PriorsError> {
    let Some(given) = given else { return Ok(()) };
    if !(given > 0.0 && given.is_finite()) {
        return sense(&format!("{at}.minutes"), format!("{given} is not a time over 0"));
    }
    *minutes = given;
    Ok(())
}
