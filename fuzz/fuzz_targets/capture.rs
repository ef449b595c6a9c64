//! Bytes as captures in VCD and in tables: no panic, and the same reads and
//! findings, or the same error, whether they are read whole, from what a first
//! pass kept, in a second pass, or without findings.
#![no_main]

use std::io::Cursor;
use std::ops::ControlFlow;

use libfuzzer_sys::fuzz_target;
use misread::capture::{CaptureRead, Options, TimeUnit, open, read, reads};
use misread::pulse::{Level, Line, Rest};

fuzz_target!(|bytes: &[u8]| {
    let Some((&flags, file)) = bytes.split_first() else { return };
    // FST has lengths in it that a library takes on trust.
    if file.first() == Some(&0) || file.len() > 20_000 {
        return;
    }
    let file = file.to_vec();
    let options = Options {
        silence: if flags & 1 == 0 { 25_000_000 } else { 3_000 },
        rest: if flags & 2 == 0 { Rest::Found } else { Rest::At(Level::Low) },
        unit: (flags & 4 != 0).then_some(TimeUnit::Microseconds),
        threshold: (flags & 8 != 0).then_some(1.5),
        repeat_window: (flags & 16 != 0).then_some(1_000_000_000),
        ..Options::default()
    };
    let whole = read(Cursor::new(file.clone()), &options);
    let mut raw = Vec::new();
    let pass = reads(Cursor::new(file.clone()), &options, |read| {
        raw.push((
            read.bits(),
            read.pulses().to_vec(),
            Line::BOTH.map(|line| read.rest(line)),
            read.ended(),
        ));
        ControlFlow::Continue(())
    });
    match (&whole, pass) {
        (Ok(whole), Ok(pass)) => {
            assert_eq!(whole.damage, pass.damage);
            assert_eq!(whole.lines, pass.lines);
            // Lines that rest apart take one pass more than `reads` makes.
            let apart = whole.reads.iter().any(|read| read.rest[0] != read.rest[1]);
            assert!(apart || whole.reads.len() == raw.len());
            let raw = raw.into_iter().take(if apart { 0 } else { usize::MAX });
            for (read, raw) in whole.reads.iter().zip(raw) {
                assert_eq!((read.bits, read.pulses.clone(), read.rest, read.ended), raw);
            }
        }
        (Err(whole), Err(pass)) => assert_eq!(whole.to_string(), pass.to_string()),
        (whole, pass) => panic!("{whole:?} {pass:?}"),
    }
    for keep in [0, 20, usize::MAX] {
        let options = Options { keep, ..options.clone() };
        let opened = open(|| Ok(Cursor::new(file.clone())), &options);
        let (whole, mut recording) = match (&whole, opened) {
            (Ok(whole), Ok(recording)) => (whole, recording),
            (Err(whole), Err(open)) => return assert_eq!(whole.to_string(), open.to_string()),
            (whole, open) => panic!("{whole:?} {open:?}"),
        };
        let mut given: Vec<CaptureRead> = Vec::new();
        let each = recording.for_each(|read| {
            given.push(read);
            ControlFlow::Continue(())
        });
        each.unwrap();
        assert_eq!(given, whole.reads);
        let overview = recording.overview();
        assert_eq!(overview.reads, whole.reads.len() as u64);
        assert_eq!(overview.rhythm, whole.rhythm);
        assert_eq!(overview.findings, whole.findings);
        assert_eq!(overview.damage, whole.damage);
    }
});
