//! How long the questions about layouts and numbers take: auditing
//! `fascn-200`, comparing a million enrolled cards, every three-step chain
//! between two numbers.
//!
//! `cargo bench -p misread-benches --bench audit`

// A bench that cannot begin says so by panicking.
#![allow(clippy::expect_used)]

use std::fmt::Write;
use std::hint::black_box;
use std::ops::ControlFlow;

use criterion::{Criterion, criterion_group, criterion_main};
use misread::Layout;
use misread::audit::audit;
use misread::clash::{Setting, clashes, offers, read_cards};
use misread::layout::built_in;
use misread::numbers::{Pair, explain, parse_written};

const CARDS: u64 = 1_000_000;

fn layouts() -> Vec<Layout> {
    built_in::SPECS.into_iter().map(|spec| Layout::new(spec).expect("it is sound")).collect()
}

fn audits(c: &mut Criterion) {
    let layouts = layouts();
    let others: Vec<&Layout> = layouts.iter().collect();
    for name in ["open-26", "fascn-200"] {
        let layout = layouts.iter().find(|layout| layout.name() == name).expect("it is built in");
        c.bench_function(&format!("audit {name}"), |b| {
            b.iter(|| audit(black_box(layout), &others).expect("few checks are open"));
        });
    }
}

/// A table of cards of 34 bits, one in 65 536 of which has the low 24 bits of
/// another.
fn table() -> String {
    let mut table = "facility,card\n".to_owned();
    for i in 0..CARDS {
        let mixed = i.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 32;
        writeln!(table, "{},{}", mixed >> 16, mixed & 0xFFFF).expect("text grows");
    }
    table
}

fn cards(c: &mut Criterion) {
    let layouts = layouts();
    let known: Vec<&Layout> = layouts.iter().collect();
    let site = layouts.iter().find(|layout| layout.name() == "site-34").expect("it is built in");
    let table = table();
    let mut group = c.benchmark_group("a million cards");
    group.sample_size(10);
    let going = &mut |_| ControlFlow::Continue(());
    let read = read_cards(table.as_bytes(), &known, Some(site), going).expect("it has headings");
    assert_eq!(read.cards.len() as u64, CARDS);
    group.bench_function("read", |b| {
        b.iter(|| read_cards(table.as_bytes(), &known, Some(site), going).expect("as before"));
    });
    for text in ["low-24", "whole", "serial-34"] {
        let setting = Setting::parse(text, &known).expect("it is a setting");
        group.bench_function(format!("compare, {text}"), |b| {
            b.iter(|| clashes(&read.cards, &setting, going).expect("nobody stops it"));
        });
    }
    group.bench_function("weigh the usual settings", |b| {
        b.iter(|| offers(&read.cards, &Setting::usual(), going).expect("nobody stops it"));
    });
    group.finish();
}

fn numbers(c: &mut Criterion) {
    let layouts = layouts();
    let layouts: Vec<&Layout> = layouts.iter().collect();
    for (printed, shown) in [("0012345678", "188,24910"), ("42,1234", "987654"), ("77", "77")] {
        let written = |text| parse_written(text).expect("it is a number");
        let pairs = [Pair { printed: written(printed), shown: written(shown) }];
        c.bench_function(&format!("numbers {printed} and {shown}"), |b| {
            b.iter(|| explain(black_box(&pairs), &layouts));
        });
    }
}

criterion_group!(benches, audits, cards, numbers);
criterion_main!(benches);
