//! The posterior held against one found by listing every card and following
//! every way a fault can turn its frame into the reads: an independent second
//! way to the same numbers, of which nothing but the words of the fault model
//! is common to both.

#![allow(clippy::unwrap_used, clippy::panic)]

mod little;

use std::collections::{BTreeMap, BTreeSet};

use little::{
    CARDS, CAUSES, Drawn, Key, Little, LittleField, Said, Shown, draw, field, key, littles,
    suffering, two_bytes, weigh, wires,
};
use misread::cause::{CardState, Cause, Model, Whose, Wire};
use misread::diagnose::DiagnoseError;
use misread::pulse::Evidence;

/// To how much of each number the two ways agree.
const CLOSE: f64 = 1e-9;

/// Under this, what is nearly nothing may be nothing.
const LEAST: f64 = 1e-250;

fn is_close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= CLOSE * expected + LEAST
}

#[test]
fn the_numbers_are_those_of_the_fault_model() {
    let model = Model::default();
    assert_eq!(wires(), Wire::all().collect::<Vec<_>>());
    for (cause, (id, prior, rates)) in Cause::ALL.into_iter().zip(CAUSES) {
        assert_eq!((cause.id(), model.prior(cause)), (id, prior));
        let ours = model.rates(cause);
        let has_rates = !ours.is_empty() && ours != [1.0];
        assert!(if has_rates { ours == rates } else { matches!(rates.len(), 1 | 4) }, "{id}");
    }
    for (state, (id, prior)) in CardState::ALL.into_iter().zip(CARDS) {
        assert_eq!((state.id(), model.card_prior(state)), (id, prior));
    }
    assert_eq!(Whose::ALL.map(Whose::id), ["one-card", "own-cards", "mixed-cards"]);
    assert_eq!(model.presented.0, [0.45, 0.45, 0.10]);
    assert_eq!((model.two_at_once, model.at_times, model.reads_missing), (0.25, 0.04, 0.01));
    assert_eq!((model.empty, &model.shares[..]), (0.05, &[0.1, 0.3, 0.7][..]));
    assert_eq!(model.configured, 0.9);
    let unlisted = model.unlisted;
    assert_eq!([unlisted.usual, unlisted.near, unlisted.any], [0.6, 0.3, 0.1]);
    let probe = model.probe;
    assert_eq!(
        [probe.bits_inverted, probe.padded, probe.lines_swapped_at_reader],
        [0.02, 0.02, 0.02]
    );
}

/// What the cases compared had in them.
#[derive(Default)]
struct Seen {
    /// How many were made from each wire state and could come of it.
    made: BTreeMap<Wire, u32>,
    compared: u32,
    refused: u32,
    suffered: u32,
    /// What does not agree, a line each, smallest case first.
    off: Vec<(usize, String)>,
    /// Cases with some property.
    with: BTreeMap<&'static str, u32>,
}

impl Seen {
    fn note(&mut self, what: &'static str, holds: bool) {
        *self.with.entry(what).or_default() += u32::from(holds);
    }

    /// Compares the case of that number, made from the wire state whose turn it
    /// is.
    fn compare(&mut self, number: u64, littles: &[Little]) {
        let all = wires();
        let made_from = all[number as usize % all.len()];
        let drawn = draw(made_from, littles, 26, number);
        let Some(brute) = self.compare_case(&drawn, littles, number) else { return };
        let possible = brute.iter().any(|(key, &weight)| key.0 == made_from && weight > 0.0);
        *self.made.entry(made_from).or_default() += u32::from(possible);
        let another = all[(number as usize / 3) % all.len()];
        for wire in BTreeSet::from([made_from, another, Wire::ReadsMissing]) {
            let is_at_times = matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing);
            if is_at_times && drawn.shown.len() >= 2 {
                self.compare_suffering(&drawn, littles, wire, number);
            }
        }
    }

    /// What the second way found; `None` where the question is refused, by the
    /// library too.
    fn compare_case(
        &mut self,
        drawn: &Drawn,
        littles: &[Little],
        number: u64,
    ) -> Option<BTreeMap<Key, f64>> {
        let question = drawn.question(littles);
        let asked = drawn.asked(littles);
        let found = asked.posterior();
        let about =
            || format!("case {number}: {asked_case}", asked_case = describe(drawn, littles));
        let (reads, _) = question.reads();
        if reads.is_empty() {
            assert_eq!(found, Err(DiagnoseError::Nothing), "{}", about());
        }
        let is_one_of_two =
            question.said == Said::OneCard && reads.len() > 1 && question.cards_differ();
        if reads.is_empty() || is_one_of_two || !question.fits() {
            assert!(found.is_err(), "should be refused: {}", about());
            self.refused += 1;
            return None;
        }
        let found = found.unwrap_or_else(|error| panic!("{error}: {}", about()));
        let brute = weigh(&question);
        let sum: f64 = brute.values().sum();
        let mut off = Vec::new();
        if (found.ln_evidence - sum.ln()).abs() > CLOSE * sum.ln().abs().max(1.0) {
            off.push(format!("evidence {}, {} expected", found.ln_evidence, sum.ln()));
        }
        let mut listed = BTreeMap::new();
        for combination in &found.joint {
            if listed.insert(key(combination), combination.probability).is_some() {
                off.push(format!("{:?} twice", key(combination)));
            }
        }
        for key in brute.keys().chain(listed.keys()).collect::<BTreeSet<_>>() {
            let expected = brute.get(key).copied().unwrap_or(0.0) / sum;
            let found = listed.get(key).copied().unwrap_or(0.0);
            if !is_close(found, expected) {
                off.push(format!("{key:?}: {found:e} found, {expected:e} expected"));
            }
        }
        self.is_off(off, &about());
        self.compared += 1;
        let whose = question.whose();
        let asks = |of| whose.iter().any(|&(whose, _)| whose == of);
        let lists = || reads.iter().map(|read| &read.expected);
        let has = |bit: Option<bool>| reads.iter().any(|read| read.bits.contains(&bit));
        self.note("one card asked", reads.len() > 1 && asks(Whose::OneCard));
        self.note("mixed cards asked", asks(Whose::MixedCards));
        self.note("said to be one card", question.said == Said::OneCard && reads.len() > 1);
        self.note("said to be several", question.said == Said::Several && reads.len() > 1);
        self.note("an empty presentation", reads.len() < question.shown.len());
        self.note("unread bits", has(None));
        self.note("different expected cards", question.cards_differ());
        self.note(
            "the same expected card",
            reads.len() > 1 && !question.cards_differ() && lists().all(|list| !list.is_empty()),
        );
        self.note(
            "an expected card lacking",
            lists().any(|list| list.is_empty()) && lists().any(|list| !list.is_empty()),
        );
        self.note("two layouts", question.layouts.len() > 1);
        self.note("past the bound of one card", asks(Whose::OneCard) && reads.len() > 6);
        self.note("a capture", question.captured.is_some());
        self.note("priors of its own", drawn.model.causes != Model::default().causes);
        Some(brute)
    }

    fn compare_suffering(&mut self, drawn: &Drawn, littles: &[Little], wire: Wire, number: u64) {
        let expected = suffering(&drawn.question(littles), wire);
        let found = drawn.asked(littles).suffers(wire).unwrap();
        let about = || format!("{wire}, case {number}: {}", describe(drawn, littles));
        let agree = |(&found, &expected): (&f64, &f64)| (found - expected).abs() <= CLOSE;
        let agree = match (&found, &expected) {
            (None, None) => true,
            (Some(found), Some(expected)) => {
                found.len() == expected.len() && found.iter().zip(expected).all(agree)
            }
            _ => false,
        };
        if !agree {
            self.is_off(vec![format!("{found:?} suffer, {expected:?} expected")], &about());
        }
        self.suffered += 1;
    }

    fn is_off(&mut self, off: Vec<String>, about: &str) {
        let all = off.join("\n    ");
        if !off.is_empty() {
            self.off.push((about.len(), format!("{about}:\n    {all}")));
        }
    }

    /// Nothing is off.
    fn hold(mut self) {
        self.off.sort();
        let first: Vec<&str> = self.off.iter().take(8).map(|(_, off)| &off[..]).collect();
        assert!(first.is_empty(), "{} are off:\n{}", self.off.len(), first.join("\n"));
    }
}

/// A case in words; of its model only what is not usual.
fn describe(drawn: &Drawn, littles: &[Little]) -> String {
    let names: Vec<&str> = drawn.layouts.iter().map(|&at| littles[at].name).collect();
    let mut all = format!("{names:?}");
    if drawn.layouts.len() > 1 {
        all += &format!(" configured {:?} weights {:?}", drawn.configured, drawn.weights);
    }
    for read in &drawn.asked(littles).case.reads {
        all += &format!(" ‘{}’", read.bits);
        if !read.expected.is_empty() {
            all += &format!(" {:?}", read.expected);
        }
        if read.pulses != Evidence::default() {
            all += &format!(" {:?}", read.pulses);
        }
    }
    if drawn.said != Said::Nothing {
        all += &format!(", said {:?}", drawn.said);
    }
    if drawn.captured.is_some() {
        all += &format!(", captured {:?}", drawn.captured);
    }
    let usual = Model::default();
    if drawn.model != usual {
        let Model { causes, cards, shares, empty, presented, rates, .. } = &drawn.model;
        all += &format!(
            ", causes {causes:?} cards {cards:?} shares {shares:?} empty {empty} {presented:?} {rates:?}"
        );
    }
    all
}

fn all_littles() -> Vec<Little> {
    littles().into_iter().chain(two_bytes()).collect()
}

/// Three cases of each wire state; one of those whose layout has two bytes,
/// and 65,536 frames.
#[test]
fn the_posterior_is_that_of_brute_force() {
    let littles = all_littles();
    let mut seen = Seen::default();
    let all = wires();
    for number in 0..3 * all.len() as u64 {
        let is_long = all[number as usize % all.len()].cause() == Cause::BytesReversed;
        if !is_long || number < all.len() as u64 {
            seen.compare(number, &littles);
        }
    }
    assert!(seen.compared > 180, "{}", seen.compared);
    for wire in wires() {
        assert!(seen.made.get(&wire).is_some_and(|&count| count >= 1), "{wire}: {:?}", seen.made);
    }
    seen.hold();
}

/// A thousand cases, fifteen of each wire state. `cargo test --release -p
/// misread --test brute_force -- --ignored`
#[test]
#[ignore = "a minute; .ci/run and who changes the model run it"]
fn the_posterior_is_that_of_brute_force_a_thousand_times() {
    let littles = all_littles();
    let mut seen = Seen::default();
    for number in 0..15 * wires().len() as u64 {
        seen.compare(number, &littles);
    }
    assert!(seen.compared > 950 && seen.refused > 5, "{} {}", seen.compared, seen.refused);
    assert!(seen.suffered > 500, "{}", seen.suffered);
    for wire in wires() {
        assert!(seen.made.get(&wire).is_some_and(|&count| count >= 10), "{wire}: {:?}", seen.made);
    }
    for (what, &count) in &seen.with {
        assert!(count >= 10, "{what}: {count}");
    }
    println!(
        "{} compared, {} refused, {} suffer; {:?}",
        seen.compared, seen.refused, seen.suffered, seen.with
    );
    seen.hold();
}

fn shown(bits: &str, expected: &[(&str, u64)]) -> Shown {
    let bit = |bit| match bit {
        '?' => None,
        bit => Some(bit == '1'),
    };
    let expected = expected.iter().map(|&(name, value)| (name.to_owned(), value)).collect();
    Shown { bits: bits.chars().map(bit).collect(), expected, pulses: Evidence::default() }
}

fn case(layouts: &[usize], shown: Vec<Shown>, said: Said) -> Drawn {
    Drawn {
        layouts: layouts.to_vec(),
        weights: vec![1.0; layouts.len()],
        configured: Some(0),
        shown,
        said,
        captured: None,
        model: Model::default(),
    }
}

fn compare_all(littles: &[Little], cases: Vec<Drawn>) -> Vec<BTreeMap<Key, f64>> {
    let mut seen = Seen::default();
    let mut brute = Vec::new();
    for (number, drawn) in cases.iter().enumerate() {
        brute.push(seen.compare_case(drawn, littles, number as u64).unwrap());
        for wire in wires().into_iter().filter(|_| drawn.shown.len() >= 2) {
            if matches!(wire, Wire::AtTimes(_) | Wire::ReadsMissing) {
                seen.compare_suffering(drawn, littles, wire, number as u64);
            }
        }
    }
    seen.hold();
    brute
}

/// A neighbour keeps all but the lowest eight bits of each field, wherever
/// those stand: of twelve bits of digits the lowest two digits are free.
#[test]
fn neighbours_keep_all_but_their_lowest_eight_bits() {
    let littles = vec![
        Little {
            name: "buoy-12",
            bits: 12,
            fields: vec![LittleField { bcd: true, ..field("card", 1..=12) }],
            fixed: vec![],
            parity: vec![],
        },
        Little {
            name: "float-13",
            bits: 13,
            fields: vec![LittleField { bcd: true, lsb_first: true, ..field("card", 2..=13) }],
            fixed: vec![],
            parity: vec![(1, true, (2..=13).collect())],
        },
        Little {
            name: "mast-12",
            bits: 12,
            fields: vec![
                LittleField { lsb_first: true, ..field("card", 1..=10) },
                field("facility", 11..=12),
            ],
            fixed: vec![],
            parity: vec![],
        },
    ];
    // 123, then 147 and 623, digit by digit; 1 + 2 + 16, then + 4, then + 512.
    let cases = [
        (0, "000100100011", 123),
        (0, "000101000111", 123),
        (0, "011000100011", 123),
        (1, "1100001001100", 123),
        (1, "0100000101110", 123),
        (1, "?000001101100", 123),
        (2, "110010000011", 19),
        (2, "111010000011", 19),
        (2, "110010000111", 19),
        (2, "1?00?00001?1", 19),
    ];
    let drawn = cases
        .map(|(at, bits, card)| case(&[at], vec![shown(bits, &[("card", card)])], Said::Nothing));
    let brute = compare_all(&littles, drawn.into());
    let differs = |brute: &BTreeMap<Key, f64>| -> f64 {
        let of = |(key, _): &(&Key, &f64)| {
            key.0 == Wire::Alone(Cause::None) && key.1 == Some(CardState::CardDiffers)
        };
        brute.iter().filter(of).map(|(_, weight)| weight).sum()
    };
    // A neighbour is likelier than a stranger, by the 15/16 that it need not
    // share: (2/3 · 16 + 1/3) to 1/3, as good as.
    let ratio = differs(&brute[1]) / differs(&brute[2]);
    assert!((ratio - 33.0).abs() < 1e-9, "{ratio}");
}

/// Lists that agree once the card state has dropped what it drops.
#[test]
fn a_split_frame_has_one_card() {
    let littles = littles();
    let at = |name: &str| littles.iter().position(|little| little.name == name).unwrap();
    let (loft, rope) = (at("loft-8"), at("rope-10"));
    let pairs: [[&[(&str, u64)]; 2]; 8] = [
        [&[("facility", 1), ("card", 5)], &[("facility", 2), ("card", 5)]],
        [&[("facility", 1), ("card", 5)], &[("facility", 1), ("card", 6)]],
        [&[("facility", 1), ("card", 5)], &[("facility", 1)]],
        [&[("facility", 1)], &[("card", 5)]],
        [&[("facility", 1)], &[]],
        [&[("facility", 1)], &[("facility", 2)]],
        [&[("card", 3)], &[("card", 12)]],
        [&[], &[("facility", 3), ("card", 9)]],
    ];
    let mut cases = Vec::new();
    for [first, second] in pairs {
        for said in [Said::Nothing, Said::Several] {
            cases.push(case(&[loft], vec![shown("011", first), shown("01010", second)], said));
            cases.push(case(
                &[loft, at("shed-5")],
                vec![
                    shown("1", first),
                    shown("0?10", second),
                    shown("", first),
                    shown("01", &[]),
                    shown("1?0110", first),
                ],
                said,
            ));
        }
    }
    // In nine bits a neighbour keeps one: these two have it in common or not.
    for [first, second] in [[5, 200], [5, 300]] {
        let reads = vec![shown("0101", &[("card", first)]), shown("??1?0?", &[("card", second)])];
        cases.push(case(&[rope], reads, Said::Nothing));
    }
    compare_all(&littles, cases);
}

/// Ten reads of half a layout's length are past what is asked of one card,
/// and so are seven for changed bits; eight of nearly its length are not.
#[test]
fn one_card_is_asked_within_bounds() {
    let littles = littles();
    let at = |name: &str| littles.iter().position(|little| little.name == name).unwrap();
    let (berth, shed) = (at("berth-10"), at("shed-5"));
    let frame = "1001000000";
    let repeated = |bits: &[&str], count: usize| -> Vec<Shown> {
        (0..count).map(|at| shown(bits[at % bits.len()], &[])).collect()
    };
    let cases = vec![
        case(&[berth], repeated(&["10000", "00000", "10011"], 5), Said::Nothing),
        case(&[berth], repeated(&["10000", "00000", "10011"], 6), Said::Nothing),
        case(&[berth], repeated(&[frame, "100100000"], 7), Said::Nothing),
        case(&[berth], repeated(&[frame, "1001000001"], 6), Said::OneCard),
        case(&[berth], repeated(&[frame, "1001000001"], 7), Said::OneCard),
        case(&[berth, shed], repeated(&["10011", "1001?", "1001"], 6), Said::Nothing),
        case(&[berth, shed], repeated(&["10011", "1001?", "1001"], 7), Said::OneCard),
    ];
    let brute = compare_all(&littles, cases);
    let weight = |brute: &BTreeMap<Key, f64>, cause: Cause| -> f64 {
        let of = |(key, _): &(&Key, &f64)| key.0 == Wire::Alone(cause) && key.3 == Whose::OneCard;
        brute.iter().filter(of).map(|(_, weight)| weight).sum()
    };
    let possible = |at: usize, cause| weight(&brute[at], cause) > 0.0;
    assert!(possible(0, Cause::BothWeak) && !possible(1, Cause::BothWeak));
    assert!(possible(2, Cause::BothWeak));
    assert!(possible(3, Cause::BitsChanged) && !possible(4, Cause::BitsChanged));
}

/// What is expected of a presentation of which nothing came is not looked at.
#[test]
fn what_is_empty_pairs_nothing_and_says_nothing() {
    let littles = littles();
    let loft = littles.iter().position(|little| little.name == "loft-8").unwrap();
    let expected: &[(&str, u64)] = &[("facility", 1), ("card", 5)];
    let other: &[(&str, u64)] = &[("facility", 2), ("card", 7)];
    let unfit: &[(&str, u64)] = &[("berth", 2)];
    let cases = vec![
        case(&[loft], vec![shown("", expected), shown("01101010", &[])], Said::Nothing),
        case(&[loft], vec![shown("01101010", expected), shown("", other)], Said::OneCard),
        case(&[loft], vec![shown("", unfit), shown("01101010", expected)], Said::Several),
        case(
            &[loft, 0],
            vec![shown("011", expected), shown("", other), shown("", unfit), shown("01010", &[])],
            Said::OneCard,
        ),
    ];
    compare_all(&littles, cases);
}
