//! Listens to a card reader on two pins and says what it read, and whether its
//! two data conductors are swapped.
//!
//! Readers pull their data lines up to 5 V as a rule: take them through a level
//! shifter unless the pins are made for 5 V, and join the commons. Don't let
//! this drive a lock or a gate: it only listens.
//!
//! The lines come out on the trace port of the debug connector (ITM, port 0),
//! which the debugger has to switch on.
//!
//! It takes 25 KB of flash and 8.4 KB of RAM, 8.2 of them the assembler's
//! (`size` on the release build).
#![no_std]
#![no_main]

mod board;

use core::fmt::Write;

use cortex_m_rt::entry;
use misread_core::layout::built_in::OPEN_26;
use misread_core::pulse::{Assembler, Change, Ended, Level, Line, Read, Rest, Settings};
use misread_core::{Layout, Turn};
use panic_halt as _;

/// 5 µs: a pulse is at least 20 µs, and what is shorter is noise.
const SETTINGS: Settings =
    Settings { silence: 25_000_000, rest: Rest::At(Level::High), glitch: 5_000 };

#[entry]
fn main() -> ! {
    let Some((mut clock, mut trace)) = board::start() else { halt() };
    let Ok(layout) = Layout::new(&OPEN_26) else { halt() };
    // Too large for a small stack.
    let assembler = cortex_m::singleton!(ASSEMBLER: Assembler = Assembler::new(SETTINGS));
    let Some(assembler) = assembler else { halt() };

    let mut before = [Level::High; 2];
    loop {
        let levels = board::levels();
        let time = clock.nanoseconds();
        for line in Line::BOTH {
            let level = levels[line.index()];
            if level != before[line.index()]
                && let Some(read) = assembler.feed(Change { time, line, level })
            {
                report(&mut trace, &layout, &read);
            }
        }
        before = levels;
        if let Some(read) = assembler.tick(time) {
            report(&mut trace, &layout, &read);
        }
    }
}

/// Says what was read. Nobody may be listening, so what fails here is let go.
fn report(out: &mut board::Trace, layout: &Layout, read: &Read<'_>) {
    let bits = read.bits();
    let turns = layout.fitting_turns(&bits);
    let _ = write!(out, "{} bits {bits}: ", bits.len());
    let _ = if read.ended() == Ended::TooManyPulses || read.follows_on() {
        writeln!(out, "noise, more pulses than any card sends")
    } else if read.lines_overlap() {
        writeln!(out, "both data lines active at once: do they touch?")
    } else if let Ok(card) = layout.decode(&bits) {
        let field = |name| card.value(name).unwrap_or_default();
        writeln!(out, "facility {}, card {}", field("facility"), field("card"))
    } else if turns.contains(Turn::Inverted) {
        writeln!(out, "lines swapped: it fits with D0 and D1 the other way round")
    } else {
        writeln!(out, "does not fit {}", layout.name())
    };
}

fn halt() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}
