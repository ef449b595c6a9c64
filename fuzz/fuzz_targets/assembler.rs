//! Arbitrary level changes: no panic, no read without pulses or with more than
//! 512, all of it in place, and the same again for the same changes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::pulse::{Assembler, Change, Ended, Level, Line, MAX_PULSES, Read, Rest, Settings};

fuzz_target!(|bytes: &[u8]| {
    let Some((head, rest)) = bytes.split_first_chunk::<9>() else { return };
    let [flags, a, b, c, d, e, f, g, h] = *head;
    let settings = Settings {
        silence: u32::from_le_bytes([a, b, c, d]),
        rest: match flags % 4 {
            0 => Rest::Found,
            1 => Rest::At(Level::Low),
            2 => Rest::Each([Level::High, Level::Low]),
            _ => Rest::At(Level::High),
        },
        glitch: if flags & 4 == 0 { 0 } else { u32::from_le_bytes([e, f, g, h]) },
    };
    let once = assemble(settings, rest);
    assert_eq!(once, assemble(settings, rest));
});

/// The reads' bits, and what ended them.
fn assemble(settings: Settings, bytes: &[u8]) -> Vec<(String, Ended, [Level; 2])> {
    let mut assembler = Assembler::new(settings);
    let place = (&raw const assembler).addr();
    let place = place..place + size_of::<Assembler>();
    assert!(place.len() < 10_000);
    let mut reads = Vec::new();
    let mut keep = |read: Option<Read<'_>>| {
        let Some(read) = read else { return };
        let pulses = read.pulses();
        assert!((1..=MAX_PULSES).contains(&pulses.len()));
        assert!(place.contains(&pulses.as_ptr().addr()));
        assert_eq!(read.bits().len(), pulses.len());
        for pulse in pulses {
            assert!(pulse.end() >= pulse.start);
        }
        assert!(pulses.is_sorted_by_key(|pulse| pulse.start));
        // At most the last pulse of a line has no end.
        for line in Line::BOTH {
            let mut of_line = pulses.iter().rev().filter(|pulse| pulse.line == line);
            of_line.next();
            assert!(of_line.all(|pulse| pulse.complete));
        }
        reads.push((read.bits().to_string(), read.ended(), Line::BOTH.map(|line| read.rest(line))));
    };
    let mut time = 0i64;
    for step in bytes.chunks_exact(4) {
        let [kind, scale, low, high] = *step else { continue };
        let by = i64::from(i16::from_le_bytes([low, high]));
        time = match scale % 5 {
            0 => time.saturating_add(by),
            1 => time.saturating_add(by * 1_000),
            2 => time.saturating_add(by.abs() * 100_000),
            3 => time.saturating_add(by << 44),
            _ => time.saturating_add(by.abs()),
        };
        let line = Line::BOTH[usize::from(kind & 1)];
        let level = Level::from(kind & 2 != 0);
        match kind >> 2 {
            60 => keep(assembler.tick(time)),
            61 => keep(assembler.finish()),
            62 => keep(assembler.begin(time, level, Level::from(kind & 1 != 0))),
            _ => keep(assembler.feed(Change { time, line, level })),
        }
    }
    keep(assembler.finish());
    assert!(assembler.finish().is_none());
    reads
}
