//! Check values of the fault model, computed independently of this project, to
//! the digits shown.

#![allow(clippy::unwrap_used, reason = "a check value that cannot be set up is a failed check")]
use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{CardState, Cause, Model};
use misread::diagnose::{Candidates, Case, Posterior, posterior};
use misread::layout::{Layout, Spec, built_in};

type Marginals<'a> = &'a [(&'a str, f64)];

fn candidates(specs: &[&Spec<'_>], configured: bool) -> Candidates {
    let layout = |spec: &&Spec<'_>| {
        let weight = if spec.name == "open-26" { 4.0 } else { 1.0 };
        (Arc::new(Layout::new(spec).unwrap()), weight)
    };
    let candidates = Candidates::weighted(specs.iter().map(layout));
    if configured { candidates.configured(0) } else { candidates }
}

fn solve(reads: &[&str], expected: &[(&str, u64)], candidates: &Candidates) -> Posterior {
    let case = Case::of(reads.iter().map(|read| read.parse().unwrap()))
        .expecting(expected.iter().copied());
    posterior(&case, candidates, &Model::default(), &mut |_| ControlFlow::Continue(())).unwrap()
}

fn check(reads: &[&str], expected: &[(&str, u64)], causes: Marginals<'_>, cards: Marginals<'_>) {
    let posterior = solve(reads, expected, &candidates(&[&built_in::OPEN_26], false));
    check_causes(&posterior, causes, reads);
    for &(state, value) in cards {
        let state = CardState::ALL.into_iter().find(|s| s.id() == state).unwrap();
        assert_close(posterior.of_card(state), value, &format!("{reads:?} {state}"));
    }
}

fn check_causes(posterior: &Posterior, causes: Marginals<'_>, reads: &[&str]) {
    for &(cause, value) in causes {
        let found = posterior.of_cause(Cause::from_id(cause).unwrap());
        assert_close(found, value, &format!("{reads:?} {cause}"));
    }
    // The four given are the four most likely.
    let least = causes.iter().map(|&(_, value)| value).fold(1.0, f64::min);
    for cause in Cause::ALL {
        if !causes.iter().any(|&(id, _)| id == cause.id()) {
            assert!(posterior.of_cause(cause) <= least + 5e-7, "{reads:?} {cause}");
        }
    }
    let sum: f64 = posterior.joint.iter().map(|triple| triple.probability).sum();
    assert_close(sum, 1.0, "sum");
}

fn assert_close(found: f64, expected: f64, what: &str) {
    assert!((found - expected).abs() < 5.1e-7, "{what}: {found:.6}, expected {expected:.6}");
}

const BOTH: &[(&str, u64)] = &[("facility", 42), ("card", 1234)];
const SITE: &[(&str, u64)] = &[("facility", 42)];

#[test]
fn one_read_and_nothing_expected() {
    check(
        &["10010101000000100110100100"],
        &[],
        &[
            ("none", 0.910171),
            ("bytes-reversed", 0.045509),
            ("d1-weak", 0.010287),
            ("d0-noise", 0.007598),
        ],
        &[],
    );
    check(
        &["01101010111111011001011011"],
        &[],
        &[
            ("lines-swapped", 0.782584),
            ("bits-inverted", 0.130431),
            ("bit-order-reversed", 0.086954),
            ("unknown-layout", 0.000021),
        ],
        &[],
    );
    check(
        &["?110101011111101100101101?"],
        &[],
        &[
            ("none", 0.593032),
            ("lines-swapped", 0.266864),
            ("bits-inverted", 0.044477),
            ("bit-order-reversed", 0.029652),
        ],
        &[],
    );
    check(
        &["111111111"],
        &[],
        &[
            ("d0-open", 0.998854),
            ("both-weak", 0.000795),
            ("d0-weak", 0.000333),
            ("unknown-layout", 0.000012),
        ],
        &[],
    );
    check(
        &["00000000000000000"],
        &[],
        &[
            ("d1-open", 0.993986),
            ("d1-weak", 0.006010),
            ("both-weak", 0.000003),
            ("unknown-layout", 0.000000),
        ],
        &[],
    );
    check(
        &["1001010100000100110100100"],
        &[],
        &[
            ("d0-weak", 0.339397),
            ("head-lost", 0.286696),
            ("both-weak", 0.229439),
            ("tail-lost", 0.143348),
        ],
        &[],
    );
    check(
        &["1001010100000010011010010010010101000000100110100100"],
        &[],
        &[("frames-merged", 1.000000), ("unknown-layout", 0.000000), ("random-bits", 0.000000)],
        &[],
    );
    check(
        &["0101010101010101010101010101010101010101010101010101"],
        &[],
        &[
            ("lines-shorted", 1.000000),
            ("frames-merged", 0.000000),
            ("unknown-layout", 0.000000),
            ("random-bits", 0.000000),
        ],
        &[],
    );
}

#[test]
fn one_read_and_a_card_expected() {
    check(
        &["10010101000000100110100100"],
        BOTH,
        &[
            ("none", 0.953583),
            ("d1-weak", 0.010778),
            ("d0-noise", 0.007961),
            ("d1-noise", 0.007961),
        ],
        &[("as-expected", 0.999897), ("facility-differs", 0.000103)],
    );
    check(
        &["01101010111111011001011011"],
        BOTH,
        &[
            ("lines-swapped", 0.857143),
            ("bits-inverted", 0.142857),
            ("bit-order-reversed", 0.000000),
            ("unknown-layout", 0.000000),
        ],
        &[("as-expected", 0.999897), ("facility-differs", 0.000103)],
    );
    check(
        &["01101010111111011001011011"],
        &[("facility", 42), ("card", 1235)],
        &[
            ("lines-swapped", 0.856923),
            ("bits-inverted", 0.142821),
            ("bit-order-reversed", 0.000247),
            ("unknown-layout", 0.000006),
        ],
        &[("card-differs", 0.997147), ("different-card", 0.002844)],
    );
    check(
        &["?110101011111101100101101?"],
        BOTH,
        &[
            ("lines-swapped", 0.857143),
            ("bits-inverted", 0.142857),
            ("none", 0.000000),
            ("bit-order-reversed", 0.000000),
        ],
        &[("as-expected", 0.999897), ("facility-differs", 0.000103)],
    );
    check(
        &["111111111"],
        BOTH,
        &[
            ("d0-open", 0.999664),
            ("d0-weak", 0.000333),
            ("unknown-layout", 0.000001),
            ("both-weak", 0.000001),
        ],
        &[("as-expected", 0.984080), ("facility-differs", 0.012746)],
    );
    check(
        &["1001010100000100110100100"],
        BOTH,
        &[
            ("d0-weak", 0.596517),
            ("both-weak", 0.403258),
            ("head-lost", 0.000224),
            ("tail-lost", 0.000000),
        ],
        &[("as-expected", 0.999535), ("facility-differs", 0.000464)],
    );
    check(
        &["100010100000100110100100"],
        BOTH,
        &[
            ("both-weak", 0.984993),
            ("head-lost", 0.015007),
            ("tail-lost", 0.000000),
            ("unknown-layout", 0.000000),
        ],
        &[("as-expected", 0.983022), ("facility-differs", 0.016977)],
    );
    check(
        &["010101000000100110100100"],
        SITE,
        &[
            ("head-lost", 0.995209),
            ("both-weak", 0.004619),
            ("tail-lost", 0.000141),
            ("unknown-layout", 0.000021),
        ],
        &[("as-expected", 0.983859), ("card-differs", 0.015535)],
    );
    check(
        &["11111111111111111111111111"],
        BOTH,
        &[
            ("lines-shorted", 1.000000),
            ("bits-changed", 0.000000),
            ("unknown-layout", 0.000000),
            ("random-bits", 0.000000),
        ],
        &[("as-expected", 0.950000), ("facility-differs", 0.025000)],
    );
    check(
        &["1001011010000100100110100100"],
        BOTH,
        &[
            ("d1-noise", 0.713984),
            ("both-noise", 0.178496),
            ("crosstalk", 0.107520),
            ("d0-noise", 0.000000),
        ],
        &[("as-expected", 0.999737), ("facility-differs", 0.000262)],
    );
    check(
        &["10010100000000100110100100"],
        BOTH,
        &[("bits-changed", 1.000000), ("unknown-layout", 0.000000), ("random-bits", 0.000000)],
        &[("as-expected", 0.999075), ("facility-differs", 0.000924)],
    );
    check(
        &["00100110100000100110100100"],
        BOTH,
        &[
            ("none", 0.953583),
            ("d1-weak", 0.010778),
            ("d0-noise", 0.007961),
            ("d1-noise", 0.007961),
        ],
        &[("facility-differs", 0.999994), ("different-card", 0.000006)],
    );
    check(
        &["00010101011010010000001001"],
        BOTH,
        &[
            ("bytes-reversed", 0.999995),
            ("none", 0.000005),
            ("d1-weak", 0.000000),
            ("d0-noise", 0.000000),
        ],
        &[("as-expected", 0.999892), ("facility-differs", 0.000103)],
    );
}

#[test]
fn two_reads() {
    check(
        &["01101010111111011001011011", "01101010111111011001011000"],
        SITE,
        &[
            ("lines-swapped", 0.857143),
            ("bits-inverted", 0.142857),
            ("bit-order-reversed", 0.000000),
            ("unknown-layout", 0.000000),
        ],
        &[("as-expected", 0.984455), ("card-differs", 0.015544)],
    );
    check(
        &["1001010100000100110100100", "1001010100000100110100100"],
        &[],
        &[
            ("d0-weak", 0.555231),
            ("both-weak", 0.253893),
            ("head-lost", 0.126373),
            ("tail-lost", 0.063186),
        ],
        &[],
    );
    check(
        &["10010101000000100110", "100100"],
        &[],
        &[("frame-split", 0.999935), ("both-weak", 0.000053), ("random-bits", 0.000012)],
        &[],
    );
    check(
        &["1001110100010110101", "1010110100010111001"],
        &[],
        &[
            ("tail-lost", 0.771328),
            ("both-weak", 0.170554),
            ("d1-weak", 0.042033),
            ("unknown-layout", 0.016069),
        ],
        &[],
    );
}

#[test]
fn two_candidate_layouts() {
    let read = ["00010010001101000101011001111000"];
    let candidates = candidates(&[&built_in::OPEN_26, &built_in::PLAIN_32], true);
    let posterior = solve(&read, &[], &candidates);
    check_causes(
        &posterior,
        &[
            ("none", 0.577893),
            ("lines-swapped", 0.260052),
            ("bits-inverted", 0.043342),
            ("bit-order-reversed", 0.028895),
        ],
        &read,
    );
    assert_close(posterior.of_layout(1), 0.968257, "plain-32");
    assert_close(posterior.of_layout(0), 0.031320, "open-26");
}
