//! The assembler alone: how many level changes a second become reads.
//!
//! Reads of 26 and 200 bits with their usual timing, 100 ms apart, already in
//! memory. The reads are looked at once each, so that they are not for nothing.
//!
//! `cargo bench -p misread-benches --bench assembler`

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use misread_core::pulse::{Assembler, Change, Level, Rest, Settings, Timing, send};
use misread_core::{Bit, Bits};

fn assembler(c: &mut Criterion) {
    let mut group = c.benchmark_group("assembler");
    for bits in [26, 200] {
        let changes = changes(bits, 100_000 / bits);
        group.throughput(Throughput::Elements(changes.len() as u64));
        for (name, rest, glitch) in [
            ("rest given", Rest::At(Level::High), 0),
            ("rest found", Rest::Found, 0),
            ("glitch filter", Rest::At(Level::High), 5_000),
        ] {
            let settings = Settings { rest, glitch, ..Settings::default() };
            group.bench_with_input(BenchmarkId::new(name, bits), &changes, |b, changes| {
                b.iter(|| assemble(settings, black_box(changes)));
            });
        }
    }
    group.finish();
}

fn assemble(settings: Settings, changes: &[Change]) -> usize {
    let mut assembler = Assembler::new(settings);
    let mut bits = 0;
    for &change in changes {
        if let Some(read) = assembler.feed(change) {
            bits += black_box(read.pulses()).len();
        }
    }
    bits + assembler.finish().map_or(0, |read| read.len())
}

/// The changes of that many reads, their bits drawn by a linear congruence
/// (the multiplier of Knuth, *The Art of Computer Programming*, vol. 2, 3.3.4).
fn changes(bits: usize, reads: usize) -> Vec<Change> {
    let timing = Timing::default();
    let read_time = timing.interval as i64 * bits as i64 + 100_000_000;
    let mut state = 1u64;
    let mut frame = || -> Bits {
        std::iter::repeat_with(|| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            Bit::from(state >> 63 == 1)
        })
        .take(bits)
        .collect()
    };
    (0..reads)
        .flat_map(|read| {
            send(&frame(), timing, read as i64 * read_time, Level::High).collect::<Vec<_>>()
        })
        .collect()
}

criterion_group!(benches, assembler);
criterion_main!(benches);
