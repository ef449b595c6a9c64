//! The timing limits are those of SIA AC-01-1996.10; what is checked against
//! something else says so.

mod assembling;
mod looking;
mod round_trip;

use std::vec::Vec;

use super::*;

const US: u32 = 1_000;
const MS: u32 = 1_000_000;

/// A read, kept.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Kept {
    pulses: Vec<Pulse>,
    rest: Level,
    ended: Ended,
    follows_on: bool,
    clock_ran_back: bool,
    glitches: u32,
}

impl Kept {
    fn bits(&self) -> std::string::String {
        std::format!("{}", bits_of(&self.pulses))
    }
}

/// Of a read whose lines rest at one level.
fn keep(read: Read<'_>) -> Kept {
    assert_eq!(read.rest(Line::D0), read.rest(Line::D1));
    Kept {
        pulses: read.pulses().to_vec(),
        rest: read.rest(Line::D0),
        ended: read.ended(),
        follows_on: read.follows_on(),
        clock_ran_back: read.clock_ran_back(),
        glitches: read.glitches(),
    }
}

fn assemble(settings: Settings, changes: impl IntoIterator<Item = Change>) -> Vec<Kept> {
    let mut assembler = Assembler::new(settings);
    let mut reads = Vec::new();
    for change in changes {
        reads.extend(assembler.feed(change).map(keep));
    }
    reads.extend(assembler.finish().map(keep));
    reads
}

/// Low pulses: their starts and widths in microseconds.
fn train(pulses: &[(Line, i64, i64)]) -> Vec<Change> {
    let mut changes: Vec<Change> = pulses
        .iter()
        .flat_map(|&(line, start, width)| {
            [
                Change { time: start * 1000, line, level: Level::Low },
                Change { time: (start + width) * 1000, line, level: Level::High },
            ]
        })
        .collect();
    changes.sort_by_key(|change| change.time);
    changes
}
