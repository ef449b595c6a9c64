//! A recorder's file of ten million level changes, to reads; beside it the
//! library that takes the file apart, alone.
//!
//! - VCD: wellen streaming the two signals, its changes counted.
//! - CSV: the csv crate yielding the records, their cells counted.
//!
//! Reads of 26 bits with their usual timing, 100 ms apart, on disk.
//!
//! `cargo bench -p misread-benches --bench captures`

// A bench that cannot go on stops.
#![allow(clippy::unwrap_used)]

use std::fs::File;
use std::hint::black_box;
use std::io::{BufReader, BufWriter};
use std::ops::ControlFlow;
use std::path::Path;
use std::time::Duration;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use misread::capture::{self, Opening, Options};
use wellen::stream::Filter;
use wellen::{LoadOptions, SignalRef};

#[path = "../crates/misread/examples/long_capture/changes.rs"]
mod changes;

use changes::changes;

const CHANGES: usize = 10_000_000;

fn captures(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let vcd = folder.path().join("slipway.vcd");
    let csv = folder.path().join("slipway.csv");
    let out = |path| BufWriter::new(File::create(path).unwrap());
    capture::write_vcd(out(&vcd), None, Opening::default(), changes(CHANGES)).unwrap();
    capture::write_changes(out(&csv), Opening::default(), changes(CHANGES)).unwrap();

    let mut group = c.benchmark_group("captures");
    group.throughput(Throughput::Elements(CHANGES as u64));
    group.sample_size(10).warm_up_time(Duration::from_secs(1));
    group.bench_function("vcd: wellen alone", |b| b.iter(|| wellen_alone(black_box(&vcd))));
    group.bench_function("vcd: reads", |b| b.iter(|| reads(black_box(&vcd))));
    group.bench_function("vcd: reads with findings", |b| b.iter(|| findings(black_box(&vcd))));
    group.bench_function("csv: csv alone", |b| b.iter(|| csv_alone(black_box(&csv))));
    group.bench_function("csv: reads", |b| b.iter(|| reads(black_box(&csv))));
    group.bench_function("csv: reads with findings", |b| b.iter(|| findings(black_box(&csv))));
    group.finish();
}

fn open(path: &Path) -> BufReader<File> {
    BufReader::new(File::open(path).unwrap())
}

/// The bits in all reads, without findings.
fn reads(path: &Path) -> usize {
    let mut bits = 0;
    let pass = capture::reads(open(path), &Options::default(), |read| {
        bits += black_box(read.bits()).len();
        ControlFlow::Continue(())
    });
    assert_eq!(pass.unwrap().damage, None);
    assert_eq!(bits, CHANGES / 2);
    bits
}

/// The bits in all reads, with their findings: two passes.
fn findings(path: &Path) -> usize {
    let mut bits = 0;
    let mut recording =
        capture::open(|| Ok(BufReader::new(File::open(path)?)), &Options::default()).unwrap();
    let each = recording.for_each(|read| {
        bits += black_box(read).bits.len();
        ControlFlow::Continue(())
    });
    each.unwrap();
    assert_eq!(bits, CHANGES / 2);
    bits
}

fn wellen_alone(path: &Path) -> usize {
    let load = LoadOptions { multi_thread: false, ..LoadOptions::default() };
    let mut wave = wellen::stream::read(open(path), &load).unwrap();
    let hierarchy = wave.hierarchy();
    let signals: Vec<SignalRef> =
        hierarchy.all_vars().map(|var| hierarchy[var].signal_ref()).collect();
    let mut seen = 0;
    let streamed = wave.stream_changes(Filter::include_signals(&signals), |time, signal, value| {
        black_box((time, signal, value));
        seen += 1;
        Ok::<(), ()>(())
    });
    streamed.unwrap();
    // Those at the beginning too.
    assert_eq!(seen, CHANGES + 2);
    seen
}

fn csv_alone(path: &Path) -> usize {
    let mut reader = csv::Reader::from_reader(open(path));
    let mut record = csv::ByteRecord::new();
    let mut cells = 0;
    while reader.read_byte_record(&mut record).unwrap() {
        cells += black_box(&record).len();
    }
    assert_eq!(cells, 3 * (CHANGES + 2));
    cells
}

criterion_group!(benches, captures);
criterion_main!(benches);
