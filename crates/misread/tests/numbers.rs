//! Printed and shown numbers, held against arithmetic and against trying every
//! chain through `replay` alone.

// Helpers outside the test functions fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

use misread::layout::{Layout, built_in};
use misread::numbers::{
    Base, Explained, MOST_STEPS, Pair, Path, Step, Written, explain, parse_written, readings,
    replay, steps_anywhere,
};
use proptest::prelude::*;

fn layouts() -> Vec<Layout> {
    built_in::SPECS.into_iter().map(|spec| Layout::new(spec).unwrap()).collect()
}

fn pair(printed: &str, shown: &str) -> Pair {
    Pair { printed: parse_written(printed).unwrap(), shown: parse_written(shown).unwrap() }
}

fn explained(pairs: &[Pair]) -> Explained {
    let layouts = layouts();
    explain(pairs, &layouts.iter().collect::<Vec<_>>())
}

/// The simplest chain for one pair.
fn best(printed: &str, shown: &str) -> Vec<String> {
    explained(&[pair(printed, shown)]).paths.first().map(|path| path.ids()).unwrap_or_default()
}

/// Arithmetic: 12 345 678 = 0xBC614E = 188 · 65536 + 24910.
#[test]
fn ten_digits_hexadecimal_and_three_five_are_one_number() {
    assert_eq!(best("0012345678", "BC614E"), ["hexadecimal"]);
    assert_eq!(best("0012345678", "188,24910"), ["three-five"]);
    assert_eq!(best("188,24910", "12345678"), ["joined-8-16"]);
    assert_eq!(best("BC:61:4E", "12345678"), ["decimal"]);
    assert_eq!(best("0xBC614E", "188 24910"), ["three-five"]);
    assert_eq!(best("0012345678", "12345678"), ["leading-zeros"]);
    assert_eq!(best("0012345678", "24910"), ["low-16"]);
    assert_eq!(best("188,24910", "24910"), ["facility-dropped"]);
}

/// Facility code and card are shown in decimal, whatever base the number was
/// in that they come from: 0xE is 0,14.
#[test]
fn two_numbers_are_shown_in_decimal() {
    let printed = parse_written("0x0000000E").unwrap();
    let end = replay(&[Step::ThreeFive], &printed).unwrap();
    assert_eq!((end.base, end.to_string().as_str()), (Base::Decimal, "0,14"));
    assert_eq!(best("0x0000000E", "0,14"), ["three-five"]);
}

/// Arithmetic: swapped lines turn every field into its largest value minus
/// itself: 255 − 42 = 213, 65 535 − 1234 = 64 301.
#[test]
fn swapped_lines_turn_every_bit_over() {
    assert_eq!(best("42,1234", "213,64301"), ["turned-over-8-16"]);
    let found = explained(&[pair("42,1234", "213,64301"), pair("42,1235", "213,64300")]);
    assert_eq!(found.paths[0].ids(), ["turned-over-8-16"]);
}

/// Arithmetic: 16 777 216 is 0x01000000, its bytes in reverse order 1.
#[test]
fn bytes_in_reverse_order() {
    let found = explained(&[pair("16777216", "1"), pair("16777217", "16777217")]);
    assert_eq!(found.paths[0].ids(), ["bytes-reversed-32"]);
    // 0x12345678 and 0x78563412.
    assert_eq!(best("305419896", "2018915346"), ["bytes-reversed-32"]);
    assert_eq!(best("12345678", "305419896"), ["read-hexadecimal"]);
    // 0x1234 reversed bit by bit in sixteen is 0x2C48.
    assert_eq!(best("4660", "11336"), ["bits-reversed-16"]);
    // Nibble by nibble it is 0x4321.
    assert_eq!(best("4660", "17185"), ["nibbles-reversed-16"]);
}

/// Arithmetic: 42 · 65536 + 1234 = 2 753 746.
#[test]
fn two_numbers_run_together_or_joined() {
    assert_eq!(best("42,1234", "4201234"), ["run-together"]);
    assert_eq!(best("42,1234", "421234"), ["run-together-bare"]);
    assert_eq!(best("4201234", "42,1234"), ["taken-apart"]);
    assert_eq!(best("298,1234", "19530962"), ["joined-16-16"]);
    let found = explained(&[pair("298,1234", "19530962")]);
    assert!(found.paths[0].alike > 0, "the serial number of a site-34 frame is the same");
}

/// The frame of facility 42, card 1234 in the open 26-bit layout (SIA
/// AC-01-1996.10): 1 00101010 0000010011010010 0, as one binary number.
#[test]
fn parity_bits_kept_and_dropped() {
    let frame = u64::from_str_radix("10010101000000100110100100", 2).unwrap().to_string();
    assert_eq!(best("42,1234", &frame), ["parity-kept:open-26"]);
    assert_eq!(best(&frame, "2753746"), ["parity-dropped:open-26"]);
}

#[test]
fn what_no_chain_explains_is_said() {
    let found = explained(&[pair("42,1234", "213,64301"), pair("42,1235", "213,64301")]);
    assert_eq!(found.paths, []);
    assert_eq!(found.further, None);
    assert!(found.tried > 10_000, "{}", found.tried);
    assert_eq!(found.layouts_left_out, ["fascn-200"]);
    assert_eq!(explained(&[]).paths, []);
}

#[test]
fn one_more_pair_tells_chains_apart() {
    // Cut to sixteen bits, or in 3,5 digits without the facility code: the
    // same below 2²⁴.
    let one = [pair("0012345678", "24910")];
    let found = explained(&one);
    let further = found.further.clone().unwrap();
    assert!(found.paths.len() > 1 && found.paths[0].weight < 0.99);
    assert!((1..=2).contains(&further.pairs) && further.examples.len() == further.pairs);
    // Answered as each chain would, the pairs leave 99 % on the average. One
    // that does not apply is told from the others by that alone.
    let ends = |path: &Path| -> Vec<_> {
        further.examples.iter().map(|printed| replay(&path.steps, printed)).collect()
    };
    let mut sure = 0.0;
    for path in &found.paths {
        let alike = found.paths.iter().filter(|other| ends(other) == ends(path));
        let weights: Vec<f64> = alike.map(|other| other.weight).collect();
        let answers: Option<Vec<_>> = ends(path).into_iter().collect();
        let top = match answers {
            None => weights.iter().copied().fold(0.0, f64::max) / weights.iter().sum::<f64>(),
            Some(answers) => {
                let shown = answers.iter().map(|end| parse_written(&end.to_string()).unwrap());
                let more = further.examples.iter().zip(shown);
                let more = more.map(|(&printed, shown)| Pair { printed, shown });
                let pairs: Vec<Pair> = one.iter().copied().chain(more).collect();
                explained(&pairs).paths[0].weight
            }
        };
        sure += path.weight * top;
    }
    assert!(sure > 0.98, "{sure}");
    let more = [pair("4294967295", "65535"), pair("0000065537", "1")];
    let found = explained(&[&one[..], &more[..]].concat());
    assert_eq!(found.paths[0].ids(), ["low-16"]);
    assert_eq!(found.further.unwrap().pairs, 0, "{:?}", found.paths);
}

/// Every chain of up to three steps, followed one by one.
fn by_replay(pairs: &[Pair], layouts: &[&Layout]) -> usize {
    let anywhere = steps_anywhere(layouts);
    let ends = |chain: &[Step]| -> Option<Vec<_>> {
        pairs.iter().map(|pair| replay(chain, &pair.printed)).collect()
    };
    let shown = |chain: &[Step]| {
        pairs.iter().all(|p| replay(chain, &p.printed).is_some_and(|end| end.is_shown_as(&p.shown)))
    };
    let mut count = if shown(&[]) { 1 } else { usize::from(shown(&[Step::LeadingZeros])) };
    let mut chains: Vec<Vec<Step>> = vec![vec![], vec![Step::ReadHexadecimal]];
    while let Some(chain) = chains.pop() {
        if ends(&chain).is_none() {
            continue;
        }
        // It does not come back to where it was; digits do not matter.
        let stops: Vec<_> = (usize::from(chain.first() == Some(&Step::ReadHexadecimal))
            ..=chain.len())
            .filter_map(|len| ends(&chain[..len]))
            .map(|ends| ends.iter().map(|end| (end.held, end.base)).collect::<Vec<_>>())
            .collect();
        if stops[..stops.len() - 1].contains(&stops[stops.len() - 1]) {
            continue;
        }
        let as_is = shown(&chain);
        count += usize::from(as_is && !chain.is_empty());
        if chain.len() == MOST_STEPS {
            continue;
        }
        let zeros = chain.is_empty() && shown(&[Step::LeadingZeros]);
        for last in [Step::Decimal, Step::Hexadecimal] {
            let longer = [&chain[..], &[last]].concat();
            let back = longer == [Step::ReadHexadecimal, Step::Hexadecimal];
            count += usize::from(!as_is && !zeros && !back && shown(&longer));
        }
        chains
            .extend(anywhere.iter().map(|step| [&chain[..], std::slice::from_ref(step)].concat()));
    }
    count
}

#[test]
fn nothing_is_missed() {
    let layouts = layouts();
    let layouts: Vec<&Layout> = layouts.iter().collect();
    for (printed, shown) in
        [("0012345678", "24910"), ("42,1234", "1234"), ("4E61", "BC"), ("77", "77"), ("5", "9")]
    {
        let pairs = [pair(printed, shown)];
        let found = explain(&pairs, &layouts);
        let listed: usize = found.paths.iter().map(|path| 1 + path.alike).sum();
        assert_eq!(listed + found.left_out, by_replay(&pairs, &layouts), "{printed} {shown}");
    }
}

/// Plain counting: of all numbers of three digits, those that are explained.
#[test]
fn short_numbers_are_explained_by_luck() {
    let by_luck = explained(&[pair("42,1234", "500")]).by_luck.unwrap();
    let shown = (100..1000).map(|n| n.to_string());
    let chains = |shown: &String| {
        let paths = explained(&[pair("42,1234", shown)]).paths;
        // Shown in hexadecimal is another number that looks the same.
        paths.iter().any(|path| !path.steps.contains(&Step::Hexadecimal))
    };
    let counted = shown.filter(chains).count();
    assert!((by_luck - counted as f64 / 900.0).abs() < 1e-9, "{by_luck} {counted}");
    assert_eq!(explained(&[pair("1", "1"), pair("2", "2")]).by_luck, None);
}

#[test]
fn numbers_are_read_as_they_are_written() {
    let two = |facility, card| Ok(Written::Two { facility, card });
    assert_eq!(parse_written(" 42 1234 "), two(42, 1234));
    assert_eq!(parse_written("042/01234"), two(42, 1234));
    assert_eq!(parse_written("12 345 678"), Ok(Written::decimal(12_345_678)));
    assert_eq!(
        parse_written("18446744073709551615"),
        Ok(Written::Number { decimal: Some(u64::MAX), hexadecimal: None, digits: 20 })
    );
    assert_eq!(parse_written("4E 61 BC h"), parse_written("0x4e61bc"));
    for (text, column) in [
        ("", 1),
        ("  ", 1),
        ("42,", 3),
        ("12x", 3),
        ("é", 1),
        ("99999999999999999999", 1),
        ("0x", 3),
    ] {
        let error = parse_written(text).unwrap_err();
        assert_eq!(error.column, column, "{text:?}: {error}");
        assert!(!error.expected().is_empty());
    }
}

/// The same arithmetic as above, read for the fields of a layout.
#[test]
fn a_printed_number_is_read_for_its_fields() {
    let layouts = layouts();
    let weighted: Vec<(&Layout, f64)> = layouts.iter().map(|layout| (layout, 1.0)).collect();
    let fields = |text: &str, name: &str| {
        let found = readings(&parse_written(text).unwrap(), &weighted);
        let sum: f64 = found.iter().map(|reading| reading.weight).sum();
        assert!(found.is_empty() || (sum - 1.0).abs() < 1e-9);
        assert!(found.windows(2).all(|two| two[0].weight >= two[1].weight));
        let of = found.into_iter().filter(|reading| layouts[reading.layout].name() == name);
        of.map(|reading| reading.fields).collect::<Vec<_>>()
    };
    let both = |f, c| vec![("facility".to_owned(), f), ("card".to_owned(), c)];
    let card = |c| vec![("card".to_owned(), c)];
    assert_eq!(fields("0012345678", "open-26"), [both(188, 24910), both(123, 45678)]);
    assert_eq!(fields("42,1234", "site-34"), [both(42, 1234)]);
    assert_eq!(
        fields("1234", "open-26"),
        [card(1234), both(0, 1234), card(0x1234), both(0, 0x1234)]
    );
    // 0x12345678.
    assert_eq!(fields("12345678", "plain-32"), [card(12_345_678), card(305_419_896)]);
    assert_eq!(fields("300,1234", "open-26"), [[]; 0]);
}

fn any_written() -> impl Strategy<Value = String> {
    prop_oneof![
        (0u64..1 << 34).prop_map(|n| format!("{n:010}")),
        (0u64..1 << 24).prop_map(|n| format!("{n}")),
        (0u64..1 << 32).prop_map(|n| format!("0x{n:08X}")),
        (0u64..256, 0u64..65536).prop_map(|(f, c)| format!("{f},{c:05}")),
        (0u64..65536, 0u64..65536).prop_map(|(f, c)| format!("{f} {c}")),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// A chain drawn at random is found again from what it gives, and whatever
    /// is found holds for every pair.
    #[test]
    fn what_a_chain_gives_is_explained(
        printed in proptest::collection::vec(any_written(), 1..4),
        drawn in proptest::collection::vec(any::<prop::sample::Index>(), 0..=MOST_STEPS),
    ) {
        let layouts = layouts();
        let layouts: Vec<&Layout> = layouts.iter().collect();
        let anywhere = steps_anywhere(&layouts);
        let chain: Vec<Step> = drawn.iter().map(|at| at.get(&anywhere).clone()).collect();
        let pairs: Vec<Pair> = printed
            .iter()
            .filter_map(|text| {
                let printed = parse_written(text).unwrap();
                let end = replay(&chain, &printed)?;
                // Digits that could be either are marked, as a panel does by
                // showing letters sooner or later.
                let mark = if end.base == Base::Hexadecimal { "0x" } else { "" };
                let shown = parse_written(&format!("{mark}{end}")).unwrap();
                Some(Pair { printed, shown })
            })
            .collect();
        let found = explain(&pairs, &layouts);
        prop_assert_eq!(found.paths.is_empty(), pairs.is_empty());
        let sum: f64 = found.paths.iter().map(|path| path.weight).sum();
        prop_assert!(pairs.is_empty() || (sum - 1.0).abs() < 0.01, "{}", sum);
        for path in &found.paths {
            prop_assert!(path.steps.len() <= MOST_STEPS);
            for pair in &pairs {
                let end = replay(&path.steps, &pair.printed);
                prop_assert!(end.is_some_and(|end| end.is_shown_as(&pair.shown)));
            }
        }
    }

    #[test]
    fn no_text_panics(text in "\\PC*", digits in "[0-9a-fxhH ,:/.-]{0,24}") {
        for text in [text, digits] {
            if let Ok(written) = parse_written(&text) {
                let layouts = layouts();
                let weighted: Vec<_> = layouts.iter().map(|layout| (layout, 1.0)).collect();
                let _ = readings(&written, &weighted);
            }
        }
    }
}
