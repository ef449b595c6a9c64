//! Cards that become one, held against comparing every pair by plain
//! arithmetic on numbers of any size.

use std::ops::ControlFlow;

use misread::audit::BigUint;
use misread::clash::{
    CardProblem, Cards, Keep, ReadError, Setting, clashes, largest_safe, offers, read_cards,
};
use misread::layout::{Layout, built_in};
use proptest::prelude::*;

fn layout(name: &str) -> Layout {
    Layout::new(built_in::spec(name).unwrap()).unwrap()
}

fn going<T>(_: T) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn setting(text: &str) -> Setting {
    let layouts = ["open-26", "site-34", "serial-34", "plain-32"].map(layout);
    Setting::parse(text, &layouts.iter().collect::<Vec<_>>()).unwrap()
}

fn table(text: &str, for_all: Option<&str>) -> Cards {
    let layouts = ["open-26", "site-34", "serial-34", "plain-32"].map(layout);
    let for_all = for_all.map(layout);
    let known: Vec<&Layout> = layouts.iter().collect();
    let read = read_cards(text.as_bytes(), &known, for_all.as_ref(), &mut going).unwrap();
    assert_eq!(read.refused, []);
    read.cards
}

fn groups(cards: &Cards, text: &str) -> Vec<Vec<usize>> {
    let found = clashes(cards, &setting(text), &mut going).unwrap();
    found.groups.into_iter().map(|group| group.cards).collect()
}

/// Arithmetic: 298 is 42 + 2⁸, so it is 42 in eight bits; 66 770 is 1234 + 2¹⁶.
#[test]
fn what_is_cut_off_makes_cards_alike() {
    let cards = table("facility,card\n42,1234\n43,1234\n298,1234\n42,1235\n", Some("site-34"));
    assert_eq!(groups(&cards, "whole"), [[0; 0]; 0]);
    assert_eq!(groups(&cards, "low-32"), [[0; 0]; 0]);
    assert_eq!(groups(&cards, "low-24"), [[0, 2]]);
    assert_eq!(groups(&cards, "low-16"), [[0, 1, 2]]);
    assert_eq!(groups(&cards, "no-facility"), [[0, 1, 2]]);
    // 42 · 65536 + 1234 = 2 753 746, 43 · 65536 + 1234 = 2 819 282,
    // 298 · 65536 + 1234 = 19 530 962, 2 753 747.
    assert_eq!(groups(&cards, "digits-1"), [vec![1, 2]]);
    let found = clashes(&cards, &setting("low-16"), &mut going).unwrap();
    assert_eq!(found.groups[0].seen_as, [("number".to_owned(), 1234)]);

    let settings = ["low-16", "whole", "low-24", "low-32"].map(setting);
    let offers = offers(&cards, &settings, &mut going).unwrap();
    // Whole and 32 bits keep as much; the first of them is taken.
    assert_eq!(largest_safe(&offers), Some(1));
    assert_eq!((offers[0].groups, offers[0].clashing), (1, 3));
    assert_eq!(largest_safe(&offers[..1]), None);
}

#[test]
fn cards_of_two_layouts_meet_on_a_panel() {
    let text = "name;layout;facility;card\n\
                loft;open-26;42;1234\n\
                berth;site-34;42;1234\n\
                quay;serial-34;;2753746\n\
                quay again;serial-34;;2753746\n";
    let cards = table(text, None);
    // Two cards of one number; 42 · 65536 + 1234 is the third's.
    assert_eq!(groups(&cards, "whole"), [[0, 1]]);
    assert_eq!(groups(&cards, "serial-34"), [[1, 2, 3]]);
    let found = clashes(&cards, &setting("serial-34"), &mut going).unwrap();
    assert_eq!(found.duplicates, [[2, 3]]);
    // A frame of 26 bits is none of 34.
    assert_eq!(found.unseen, [0]);
}

#[test]
fn rows_that_are_no_cards_are_told_and_the_others_read() {
    let text = "\u{feff}# the sail loft\n\nName,Layout,Facility,Card\n\
                a,open-26,42,1234\n\
                b,open-27,42,1234\n\
                \n\
                c,open-26,256,1234\n\
                d,open-26,,1234\n\
                e,plain-32,42,1234\n\
                f,open-26,42,\"1,234\"\n\
                \"g,open-26,42,1\n\
                h,open-26,42,1235\n\
                i,,42,1236\n\
                # j\n\
                k,open-26,42,1237,5\n\
                l,open-26,42,1238\n";
    let layouts = ["open-26", "plain-32"].map(layout);
    let known: Vec<&Layout> = layouts.iter().collect();
    let read = read_cards(text.as_bytes(), &known, None, &mut going).unwrap();
    let kept: Vec<u64> = (0..read.cards.len()).map(|i| read.cards.get(i).unwrap().1[1]).collect();
    assert_eq!(kept, [1234, 1235, 1238]);
    assert_eq!(read.passed_over, ["Name"]);
    assert_eq!(read.cards.line(2), Some(16));
    let refused: Vec<String> = read.refused.iter().map(ToString::to_string).collect();
    assert_eq!(
        refused,
        [
            "line 5, cell Layout: no layout is named ‘open-27’",
            "line 7, cell Facility: 256 is over 255, the largest that open-26 carries there",
            "line 8, cell Facility: is empty, and a card of open-26 needs it",
            "line 9, cell Facility: is filled in, but plain-32 has no such field",
            "line 10, cell Card: ‘1,234’ has a thousands separator",
            "line 11: a quote is not closed on its line",
            "line 13, cell Layout: nothing says which layout this card has",
            "line 15: 5 cells stand under 4 headings",
        ]
    );
    assert!(read.refused.iter().all(|error| !error.expected().is_empty()));
}

#[test]
fn a_table_without_fields_is_refused_with_what_it_needs() {
    let open = layout("open-26");
    let refused = |text: &str| match read_cards(text.as_bytes(), &[&open], None, &mut going) {
        Err(ReadError::Headings(error)) => error,
        other => panic!("{other:?}"),
    };
    assert_eq!(refused("").problem, CardProblem::NoTable);
    assert_eq!(refused("card,Card\n").problem, CardProblem::HeadingTwice);
    let error = refused("\nholder,number\n1,2\n");
    assert_eq!(error.line, 2);
    assert_eq!(error.expected(), "a heading for each field, of card, facility");
}

#[test]
fn settings_are_read_as_they_are_written() {
    for text in ["whole", "no-facility", "low-1", "low-64", "digits-19", "site-34", "site-34/low-8"]
    {
        assert_eq!(setting(text).to_string(), text);
    }
    for text in ["", "low", "low-0", "low-65", "low-+5", "digits-20", "site-35", "whole/site-34"] {
        let error = Setting::parse(text, &[]).unwrap_err();
        assert!(error.to_string().contains(text) && !error.expected().is_empty());
    }
}

#[test]
fn whoever_watches_can_stop() {
    let cards = table("card\n1\n", Some("plain-32"));
    let stop = &mut |_| ControlFlow::Break(());
    assert!(clashes(&cards, &setting("whole"), stop).is_err());
    assert!(offers(&cards, &Setting::usual(), stop).is_err());
}

/// What a panel sees of a card, worked out from text and big numbers.
fn seen(layout: &Layout, values: &[u64], setting: &Setting) -> Option<Vec<String>> {
    let names: Vec<&str> = layout.fields().iter().map(|field| field.name()).collect();
    let frame = layout.encode(names.iter().copied().zip(values.iter().copied())).unwrap();
    let panel = setting.layout.as_ref().unwrap_or(layout);
    let decoded = panel.decode(&frame).ok()?;
    let named: Vec<(String, u64)> =
        decoded.values().map(|(f, v)| (f.name().to_owned(), v.unwrap())).collect();
    let joined: String = panel
        .fields()
        .iter()
        .flat_map(|f| f.indices())
        .map(|i| frame.to_string().as_bytes()[i] as char)
        .collect();
    let number = BigUint::parse_bytes(joined.as_bytes(), 2).unwrap();
    Some(match setting.keep {
        Keep::Whole => named.iter().map(|(n, v)| format!("{n} {v}")).collect(),
        Keep::NoFacility => {
            let kept = named.iter().filter(|(n, _)| n != "facility");
            kept.map(|(n, v)| format!("{n} {v}")).collect()
        }
        Keep::LowBits(bits) => vec![(number % (BigUint::from(1u8) << u32::from(bits))).to_string()],
        Keep::Digits(digits) => {
            vec![(number % BigUint::from(10u8).pow(u32::from(digits))).to_string()]
        }
    })
}

fn any_setting() -> impl Strategy<Value = Setting> {
    let keep = prop_oneof![
        Just("whole".to_owned()),
        Just("no-facility".to_owned()),
        (1u8..=64).prop_map(|bits| format!("low-{bits}")),
        (1u8..=19).prop_map(|digits| format!("digits-{digits}")),
    ];
    (prop_oneof![Just(""), Just("site-34/"), Just("serial-34/"), Just("open-26/")], keep)
        .prop_map(|(layout, keep)| setting(&format!("{layout}{keep}")))
}

proptest! {
    #[test]
    fn groups_by_comparing_every_pair(
        drawn in proptest::collection::vec((0usize..3, 0u64..3, 0u64..3, 0u64..2, 0u64..2), 0..24),
        setting in any_setting(),
    ) {
        let layouts = ["open-26", "site-34", "serial-34"].map(layout);
        let mut cards = Cards::new(layouts.clone());
        for &(at, facility, card, high, other) in &drawn {
            let values = match at {
                0 => vec![facility + 128 * high, card + 256 * other],
                1 => vec![facility + 256 * high, card + 1000 * other],
                _ => vec![(facility << 16) + (high << 24) + card],
            };
            prop_assert!(cards.push(at, 1, &values));
        }
        let found = clashes(&cards, &setting, &mut going).unwrap();
        let sights: Vec<_> = (0..cards.len())
            .map(|i| cards.get(i).and_then(|(l, v)| seen(l, v, &setting)))
            .collect();
        let group_of = |card: usize| found.groups.iter().position(|g| g.cards.contains(&card));
        for a in 0..cards.len() {
            prop_assert_eq!(found.unseen.contains(&a), sights[a].is_none());
            for b in 0..a {
                let alike = sights[a].is_some() && sights[a] == sights[b];
                let same = cards.get(a) == cards.get(b);
                if alike && !same {
                    prop_assert!(group_of(a).is_some() && group_of(a) == group_of(b));
                } else if !alike {
                    prop_assert!(group_of(a).is_none() || group_of(a) != group_of(b));
                }
                let twice = found.duplicates.iter().any(|d| d.contains(&a) && d.contains(&b));
                prop_assert_eq!(twice, same);
            }
        }
        for group in &found.groups {
            let first = cards.get(group.cards[0]);
            prop_assert!(group.cards.iter().any(|&card| cards.get(card) != first));
        }
        let offer = &offers(&cards, std::slice::from_ref(&setting), &mut going).unwrap()[0];
        prop_assert_eq!(offer.groups, found.groups.len());
        prop_assert_eq!(offer.unseen, found.unseen.len());
    }

    #[test]
    fn no_table_panics(bytes in proptest::collection::vec(any::<u8>(), 0..200), text in "(card|layout|[,;\"\n#0-9])*") {
        let layouts = ["open-26", "plain-32"].map(layout);
        let known: Vec<&Layout> = layouts.iter().collect();
        for table in [&bytes[..], text.as_bytes(), format!("layout,card\n{text}").as_bytes()] {
            let _ = read_cards(table, &known, Some(&layouts[1]), &mut going);
        }
    }
}
