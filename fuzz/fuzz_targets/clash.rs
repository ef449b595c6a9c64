//! Tables of enrolled cards.
#![no_main]

use std::ops::ControlFlow;

use libfuzzer_sys::fuzz_target;
use misread::clash::{Setting, clashes, offers, read_cards};
use misread::layout::{Layout, built_in};

fuzz_target!(|input: (&str, &[u8])| {
    let (setting, table) = input;
    let layouts: Vec<Layout> = [&built_in::OPEN_26, &built_in::SITE_34, &built_in::PLAIN_32]
        .into_iter()
        .filter_map(|spec| Layout::new(spec).ok())
        .collect();
    let known: Vec<&Layout> = layouts.iter().collect();
    let going = &mut |_| ControlFlow::Continue(());
    // A lone carriage return ends a line as well.
    let lines = table.split(|byte| matches!(byte, b'\n' | b'\r')).count() as u64;
    let Ok(read) = read_cards(table, &known, known.last().copied(), going) else { return };
    for error in &read.refused {
        assert!((1..=lines).contains(&error.line), "{error}");
        assert!(!error.to_string().is_empty() && !error.expected().is_empty());
    }
    let cards = read.cards.len();
    assert!((0..cards).all(|card| read.cards.line(card).is_some_and(|l| u64::from(l) <= lines)));
    let mut settings = Setting::usual();
    settings.extend(Setting::parse(setting, &known));
    for setting in &settings {
        let Ok(found) = clashes(&read.cards, setting, going) else { return };
        assert!(found.groups.iter().all(|group| group.cards.len() > 1));
        assert!(found.groups.iter().flat_map(|group| &group.cards).all(|&card| card < cards));
    }
    let _ = offers(&read.cards, &settings, going);
});
