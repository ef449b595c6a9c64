//! A stated probability comes true as often as it says.

#![allow(clippy::unwrap_used)]

#[path = "../examples/calibration/bands.rs"]
mod bands;

use bands::{Given, calibrate, interval};

/// Few enough for every run; the example tells of more.
#[test]
fn what_is_stated_comes_true_as_often() {
    let mut found = calibrate(Given::Bits, 500, 1).unwrap();
    assert_eq!(found.cases, 500);
    assert!(found.holds(), "{}", found.tables());
    // It says something: most wire states are nearly sure, and many are not.
    let sure = found.wires[9];
    assert!(sure.statements > 250 && sure.mean() > 0.94);
    let unsure: u64 = found.wires[1..9].iter().map(|band| band.statements).sum();
    assert!(unsure > 100);
    // And where it is off by a tenth that is seen.
    found.wires[9].came_true -= found.wires[9].statements / 10;
    assert!(!found.holds());
}

/// More of them than there should be, so that much is stated.
#[test]
fn what_is_stated_of_who_suffers_comes_true_as_often() {
    let mut found = calibrate(Given::AtTimes, 300, 1).unwrap();
    assert!(found.holds(), "{}", found.tables());
    let stated: u64 = found.suffering.iter().map(|band| band.statements).sum();
    assert!(stated > 60, "{stated}");
    let sure = &mut found.suffering[9];
    sure.came_true -= sure.statements / 3;
    assert!(!found.holds());
}

/// From captures, each written to a file and read back: the probabilities
/// still hold, and the pulses add to what the bits say.
#[test]
fn what_is_stated_of_captures_comes_true_as_often() {
    let found = calibrate(Given::Captures, 300, 1).unwrap();
    assert!(found.cases + found.not_shown == 300 && found.not_shown < 10);
    assert!(found.holds(), "{}", found.tables());
    assert!(found.right > found.right_by_bits, "{} {}", found.right, found.right_by_bits);
}

#[test]
fn the_same_seed_gives_the_same_tables() {
    assert_eq!(calibrate(Given::Bits, 20, 3).unwrap(), calibrate(Given::Bits, 20, 3).unwrap());
    assert_ne!(calibrate(Given::Bits, 20, 3).unwrap(), calibrate(Given::Bits, 20, 4).unwrap());
}

/// Source: the example of the exact binomial test in the documentation of R
/// (682 of 925 plants, after Conover, *Practical Nonparametric Statistics*);
/// from memory.
#[test]
fn the_interval_is_the_exact_one() {
    let (low, high) = interval(682, 925, 0.95);
    assert!((low - 0.7076683).abs() < 5e-7 && (high - 0.7654066).abs() < 5e-7, "{low} {high}");
    assert_eq!(interval(0, 10, 0.99).0, 0.0);
    // With no miss in n, the lower end is the nth root of the tail.
    let (low, high) = interval(10, 10, 0.99);
    assert!((low - 0.005f64.powf(0.1)).abs() < 1e-9 && high == 1.0, "{low}");
}
