//! What a layout's checks notice, held against closed forms, an independent
//! library, the dual code and plain counting.

// Helpers outside the test functions fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

use misread::audit::{BigUint, audit};
use misread::cause::Cause;
use misread::file::{Catalogue, LayoutDoc};
use misread::layout::{FieldSpec, Kind, Layout, ParitySpec, Span, Spec, built_in};
use misread::{Bit, Bits};
use proptest::prelude::*;

fn open_26() -> Layout {
    Layout::new(&built_in::OPEN_26).unwrap()
}

fn strings(counts: &[BigUint]) -> Vec<String> {
    counts.iter().map(BigUint::to_string).collect()
}

fn parity(bit: u16, over: &[Span]) -> ParitySpec<'_> {
    ParitySpec { bit, kind: Kind::Even, over }
}

/// Source: MacWilliams and Sloane, *The Theory of Error-Correcting Codes*,
/// ch. 1: the Hamming code [7,4] has 1, 0, 0, 7, 7, 0, 0, 1 words of weight 0
/// to 7, its extension [8,4] has 1 + 14z⁴ + z⁸.
#[test]
fn hamming_codes() {
    let covered = [&[3, 5, 7][..], &[3, 6, 7], &[5, 6, 7], &[1, 2, 3, 4, 5, 6, 7]]
        .map(|over| over.iter().copied().map(Span::one).collect::<Vec<_>>());
    let checks: Vec<_> =
        [1, 2, 4, 8].into_iter().zip(&covered).map(|(bit, over)| parity(bit, over)).collect();
    let spec = |bits, parity| Spec { name: "fuel-berth", bits, fields: &[], fixed: &[], parity };
    let of = |spec| audit(&Layout::new(&spec).unwrap(), &[]).unwrap();
    let seven = of(spec(7, &checks[..3]));
    assert_eq!(strings(&seven.undetected), ["1", "0", "0", "7", "7", "0", "0", "1"]);
    assert_eq!(seven.independent_checks, 3);
    let eight = of(spec(8, &checks));
    assert_eq!(strings(&eight.undetected), ["1", "0", "0", "0", "14", "0", "0", "0", "1"]);
}

/// Derived: the undetected patterns of `open-26` are ((1+z)¹³ + (1−z)¹³)² / 4.
/// Each factor of it is the even half of (1+z)¹³.
#[test]
fn the_closed_form_of_open_26() {
    let mut even = [0u64; 14];
    for w in (0..=13).step_by(2) {
        even[w] = (0..w).fold(1, |c, i| c * (13 - i) as u64 / (i + 1) as u64);
    }
    let mut square = vec![0u64; 27];
    for (i, a) in even.iter().enumerate() {
        for (j, b) in even.iter().enumerate() {
            square[i + j] += a * b;
        }
    }
    let audit = audit(&open_26(), &[]).unwrap();
    let expected: Vec<String> = square.iter().map(u64::to_string).collect();
    assert_eq!(strings(&audit.undetected), expected);
    // Derived: a random 26-bit frame passes both parity bits 1 time in 4;
    // swapping the data lines, or reversing the frame, always fails both.
    assert_eq!((audit.random_accept, audit.independent_checks), (0.25, 2));
    for cause in [Cause::LinesSwapped, Cause::BitsInverted, Cause::BitOrderReversed] {
        assert_eq!(audit.share(cause), Some(0.0));
    }
    // Its card number has sixteen bits, and parity follows what is sent.
    assert_eq!(audit.share(Cause::BytesReversed), Some(1.0));
    assert_eq!(audit.share(Cause::BitsChanged), Some(0.0));
    assert!(audit.uncovered.is_empty());
}

/// The counts and shares of drawn layouts against galois, an independent
/// library for finite fields; `testdata/audit/make.py` made the table.
#[test]
fn drawn_layouts_against_an_independent_library() {
    let table = include_str!("../../../testdata/audit/codes.json");
    let table: serde_json::Value = serde_json::from_str(table).unwrap();
    let codes = table["codes"].as_array().unwrap();
    assert_eq!(codes.len(), 24);
    for code in codes {
        let layout = LayoutDoc::from_json(&code["layout"].to_string()).unwrap().check().unwrap();
        let audit = audit(&layout, &[]).unwrap();
        let name = layout.name();
        assert_eq!(audit.independent_checks as u64, code["rank"].as_u64().unwrap(), "{name}");
        let undetected: Vec<String> =
            code["undetected"].as_array().unwrap().iter().map(|w| w.to_string()).collect();
        assert_eq!(strings(&audit.undetected), undetected, "{name}");
        for (key, cause) in [
            ("inverted", Cause::LinesSwapped),
            ("inverted", Cause::BitsInverted),
            ("reversed", Cause::BitOrderReversed),
            ("shorted", Cause::LinesShorted),
        ] {
            assert_eq!(audit.share(cause), code[key].as_f64(), "{name} {key}");
        }
    }
}

/// MacWilliams and Sloane, ch. 5: the weights of a code follow from those of
/// its dual, which for a layout is what its checks add up to.
fn by_macwilliams(layout: &Layout) -> Vec<BigUint> {
    let n = layout.bits();
    let mut rows: Vec<[u64; 4]> = layout.parity().iter().map(|rule| rule.group().words()).collect();
    for (index, _) in layout.fixed().iter().flat_map(|rule| rule.bits()) {
        let mut mask = misread::layout::Mask::new();
        mask.insert(index);
        rows.push(mask.words());
    }
    let mut dual = vec![0u64; n + 1];
    for choice in 0..1u64 << rows.len() {
        let mut word = [0; 4];
        for (i, row) in rows.iter().enumerate() {
            if choice >> i & 1 == 1 {
                (0..4).for_each(|w| word[w] ^= row[w]);
            }
        }
        dual[word.iter().map(|w| w.count_ones() as usize).sum::<usize>()] += 1;
    }
    // The sum of dual[w] (1−z)^w (1+z)^(n−w), over their number.
    let mut plus = vec![BigUint::default(); n + 1];
    let mut minus = plus.clone();
    for (weight, &count) in dual.iter().enumerate().filter(|&(_, &count)| count > 0) {
        for w in 0..=n {
            for odd in 0..=w.min(weight) {
                if w - odd > n - weight {
                    continue;
                }
                let ways = binomial(weight, odd) * binomial(n - weight, w - odd) * count;
                if odd % 2 == 0 { plus[w] += ways } else { minus[w] += ways }
            }
        }
    }
    plus.into_iter().zip(minus).map(|(p, m)| (p - m) >> rows.len()).collect()
}

fn binomial(n: usize, k: usize) -> BigUint {
    (0..k).fold(BigUint::from(1u8), |all, i| all * (n - i) / (i + 1))
}

#[test]
fn built_in_layouts_by_the_dual() {
    for spec in built_in::SPECS.into_iter().filter(|spec| spec.name != "fascn-200") {
        let layout = Layout::new(spec).unwrap();
        assert_eq!(
            audit(&layout, &[]).unwrap().undetected,
            by_macwilliams(&layout),
            "{}",
            spec.name
        );
    }
}

/// FASC-N: *Technical Implementation Guidance: Smart Card Enabled Physical
/// Access Control Systems*, v2.2, section 6.2: forty characters with odd
/// parity, the last one of them the sum of the others.
#[test]
fn the_federal_card() {
    let layout = Layout::new(&built_in::FASCN_200).unwrap();
    let audit = audit(&layout, &[]).unwrap();
    assert_eq!(audit.independent_checks, 44 + 28);
    let sum: BigUint = audit.undetected.iter().sum();
    assert_eq!(sum, BigUint::from(1u8) << (200u32 - 72));
    // Each character keeps the weight of a wrong pattern even, and a column
    // keeps it even across characters: the least that passes is a rectangle of
    // four bits. Counted by hand: two of the forty characters, a pair of their
    // four columns or one column and the parity bits; 33 of the characters are
    // free. Parity of the last character's own parity bit is odd as well.
    let free = 33u32;
    let pairs_of_characters = free * (free - 1) / 2;
    let pairs_of_bits = 5 * 4 / 2;
    assert_eq!(audit.undetected[4], BigUint::from(pairs_of_characters * pairs_of_bits));
    assert!(audit.undetected.iter().skip(1).step_by(2).all(|count| *count == BigUint::default()));
    // Turning over five bits turns odd parity to even.
    assert_eq!(audit.share(Cause::LinesSwapped), Some(0.0));
}

#[test]
fn what_no_check_covers_is_said() {
    let layout = Layout::new(&Spec {
        name: "slipway-20",
        bits: 20,
        fields: &[FieldSpec::plain("card", &[Span::range(2, 19)])],
        fixed: &[],
        parity: &[
            parity(1, &[Span::range(2, 9)]),
            ParitySpec { bit: 20, kind: Kind::Odd, over: &[Span::range(14, 19)] },
        ],
    })
    .unwrap();
    let audit = audit(&layout, &[]).unwrap();
    assert_eq!(audit.uncovered, [9, 10, 11, 12]);
    assert!(
        audit
            .advice
            .contains(&"One wrong bit in 10-13 never shows: no check covers them.".to_owned())
    );
    assert!(audit.advice[0].starts_with("Set the panel to check both parity bits: 1 in 4 "));
    assert_eq!(audit.share(Cause::BitsChanged), Some(4.0 / 20.0));
}

#[test]
fn frames_are_taken_for_those_of_other_layouts() {
    let catalogue = Catalogue::built_in();
    let layouts: Vec<&Layout> = catalogue.entries().iter().map(|entry| &entry.layout).collect();
    let of = |name: &str| audit(&catalogue.get(name).unwrap().layout, &layouts).unwrap();
    let site = of("site-34");
    let found: Vec<_> =
        site.taken_for.iter().map(|t| (t.layout.as_str(), t.cause, t.share)).collect();
    assert_eq!(found, [("serial-34", Cause::None, 1.0)]);
    assert!(site.advice.iter().any(|says| says.contains("serial-34")));
    assert!(of("open-26").taken_for.is_empty());
}

#[test]
fn too_many_open_checks_are_refused_with_their_place() {
    // Two rows of bits and a parity bit for each pair, all begun before any
    // ends, and tied to one another.
    let over: Vec<[Span; 2]> = (1..=20).map(|i| [Span::range(i, 20), Span::one(20 + i)]).collect();
    let parity: Vec<ParitySpec<'_>> = over
        .iter()
        .enumerate()
        .map(|(i, over)| ParitySpec { bit: 41 + i as u16, kind: Kind::Even, over })
        .collect();
    let spec = Spec { name: "woven", bits: 60, fields: &[], fixed: &[], parity: &parity };
    let error = audit(&Layout::new(&spec).unwrap(), &[]).unwrap_err();
    assert!(error.to_string().contains("parity checks are open at once"), "{error}");
}

/// A layout of a few bits: for each parity bit which other bits it covers.
fn small_layout(bits: u16, rules: &[u16], odd: u16) -> Option<Layout> {
    let first = bits - rules.len() as u16 + 1;
    let over: Vec<Vec<Span>> = rules
        .iter()
        .map(|covered| (1..first).filter(|p| covered >> p & 1 == 1).map(Span::one).collect())
        .collect();
    let parity: Vec<ParitySpec<'_>> = over
        .iter()
        .enumerate()
        .map(|(i, over)| ParitySpec {
            bit: first + i as u16,
            kind: if odd >> i & 1 == 1 { Kind::Odd } else { Kind::Even },
            over,
        })
        .collect();
    Layout::new(&Spec { name: "small", bits, fields: &[], fixed: &[], parity: &parity }).ok()
}

fn all_reads(bits: usize) -> impl Iterator<Item = Bits> {
    (0..1u64 << bits).map(move |value| Bits::from_value(value, bits).unwrap())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Every pattern on one frame, every frame under every cause.
    #[test]
    fn counts_and_shares_by_brute_force(
        bits in 5u16..=10,
        rules in proptest::collection::vec(any::<u16>(), 0..4),
        others in proptest::collection::vec(any::<u16>(), 0..3),
        odd: u16,
        longer in -1i32..=1,
    ) {
        let Some(layout) = small_layout(bits, &rules, odd) else { return Ok(()) };
        let other_bits = (i32::from(bits) + longer) as u16;
        let Some(other) = small_layout(other_bits, &others, odd >> 4) else { return Ok(()) };
        let other = misread::file::LayoutDoc::of(&misread::file::Entry {
            layout: other,
            title: None,
            weight: None,
            source: misread::file::Source::BuiltIn,
        });
        let other = LayoutDoc { name: "other".to_owned(), ..other }.check().unwrap();
        let audit = audit(&layout, &[&layout, &other]).unwrap();
        let n = layout.bits();

        let frames: Vec<Bits> = all_reads(n).filter(|read| layout.decode(read).is_ok()).collect();
        let mut counted = vec![0u64; n + 1];
        let first = frames[0].to_value().unwrap();
        for frame in &frames {
            counted[(frame.to_value().unwrap() ^ first).count_ones() as usize] += 1;
        }
        let undetected: Vec<String> = counted.iter().map(u64::to_string).collect();
        prop_assert_eq!(strings(&audit.undetected), undetected);
        let sum: BigUint = audit.undetected.iter().sum();
        prop_assert_eq!(sum, BigUint::from(1u8) << (n - audit.independent_checks));
        prop_assert_eq!(audit.random_accept, frames.len() as f64 / (1u64 << n) as f64);
        prop_assert_eq!(&audit.undetected, &by_macwilliams(&layout));

        let share = |send: &dyn Fn(&Bits) -> Vec<Bits>, layout: &Layout| {
            let sent: Vec<Bits> = frames.iter().flat_map(send).collect();
            sent.iter().filter(|read| layout.decode(read).is_ok()).count() as f64
                / sent.len() as f64
        };
        let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
        prop_assert_eq!(
            audit.share(Cause::LinesSwapped),
            Some(share(&|f| vec![f.complement()], &layout))
        );
        prop_assert_eq!(
            audit.share(Cause::BitOrderReversed),
            Some(share(&|f| vec![f.reverse()], &layout))
        );
        let one_changed = |f: &Bits| (0..n).map(|i| {
            let mut changed = *f;
            changed.set(i, Bit::from(f.get(i) == Some(Bit::Zero)));
            changed
        }).collect::<Vec<_>>();
        prop_assert!(near(
            audit.share(Cause::BitsChanged).unwrap(),
            share(&one_changed, &layout)
        ));

        let one_lost = |f: &Bits| (0..n)
            .map(|i| f.slice(0, i).concat(&f.slice(i + 1, n)).unwrap())
            .collect::<Vec<_>>();
        let one_extra = |f: &Bits| (0..=n)
            .flat_map(|i| ["0", "1"].map(|bit| {
                let head = f.slice(0, i).concat(&bit.parse().unwrap()).unwrap();
                head.concat(&f.slice(i, n)).unwrap()
            }))
            .collect::<Vec<_>>();
        let (cause, expected) = match longer {
            0 => (Cause::None, share(&|f| vec![*f], &other)),
            -1 => (Cause::BothWeak, share(&one_lost, &other)),
            _ => (Cause::BothNoise, share(&one_extra, &other)),
        };
        match audit.taken_for.as_slice() {
            [] => prop_assert_eq!(expected, 0.0),
            [taken] => {
                prop_assert_eq!((taken.layout.as_str(), taken.cause), ("other", cause));
                prop_assert!(near(taken.share, expected), "{} {}", taken.share, expected);
            }
            more => prop_assert!(false, "{:?}", more),
        }
    }
}
