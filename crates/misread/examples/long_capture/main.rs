//! Writes a capture of many level changes, or goes over one read by read, to
//! see that memory does not grow with its length:
//!
//! ```text
//! cargo run --release -p misread --example long_capture -- write long.vcd 10000000
//! /usr/bin/time -v target/release/examples/long_capture read long.vcd
//! ```

mod changes;

use std::error::Error;
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::ops::ControlFlow;

use misread::capture::{Opening, Options, open, write_changes, write_vcd};

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["write", path, count] => write(path, count.parse()?),
        ["read", path] => read(path),
        _ => Err("expected: write FILE CHANGES, or read FILE".into()),
    }
}

fn write(path: &str, count: usize) -> Result<(), Box<dyn Error>> {
    let out = BufWriter::new(File::create(path)?);
    let changes = changes::changes(count);
    if path.ends_with(".csv") {
        write_changes(out, Opening::default(), changes)?;
    } else {
        write_vcd(out, None, Opening::default(), changes)?;
    }
    Ok(())
}

fn read(path: &str) -> Result<(), Box<dyn Error>> {
    let open_file = || File::open(path).map(BufReader::new);
    let mut recording = open(open_file, &Options::default())?;
    let (mut bits, mut findings) = (0, 0);
    recording.for_each(|read| {
        bits += read.bits.len();
        findings += read.findings.len();
        ControlFlow::Continue(())
    })?;
    let overview = recording.overview();
    println!("{} reads, {bits} bits, {findings} findings", overview.reads);
    println!("{:?}", overview.rhythm);
    Ok(())
}
