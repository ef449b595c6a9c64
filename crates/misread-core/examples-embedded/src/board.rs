//! The little there is of a board: a clock, two pins and the trace port. The
//! clock and the trace port are those of every ARMv7-M core; put your part's
//! input register, pins and clock rate here. Its port has to be clocked and the
//! two pins have to be inputs, as most parts have them from reset.

use core::fmt;

use cortex_m::Peripherals;
use cortex_m::itm;
use cortex_m::peripheral::{DWT, ITM};
use misread_core::pulse::Level;

/// The input register of the port with the two pins.
const INPUT: *const u32 = 0x4002_0010 as *const u32;
/// The pin each data conductor is on, D0 first.
const PINS: [u32; 2] = [0, 1];
/// Of the core, in cycles a microsecond.
const CYCLES_A_MICROSECOND: u64 = 16;

/// Starts the clock; `None` the second time.
pub fn start() -> Option<(Clock, Trace)> {
    let mut core = Peripherals::take()?;
    core.DCB.enable_trace();
    core.DWT.enable_cycle_counter();
    Some((Clock { last: DWT::cycle_count(), cycles: 0 }, Trace { itm: core.ITM }))
}

/// The level of each data line, D0 first.
pub fn levels() -> [Level; 2] {
    // SAFETY: an aligned read of a register that is there on this part, and
    // that reading does not change.
    let port = unsafe { INPUT.read_volatile() };
    PINS.map(|pin| Level::from(port & (1 << pin) != 0))
}

/// The cycle counter, carried on past its 32 bits.
pub struct Clock {
    last: u32,
    cycles: u64,
}

impl Clock {
    /// Since the start. Ask more often than the counter goes round.
    pub fn nanoseconds(&mut self) -> i64 {
        let now = DWT::cycle_count();
        self.cycles += u64::from(now.wrapping_sub(self.last));
        self.last = now;
        (self.cycles * 1000 / CYCLES_A_MICROSECOND) as i64
    }
}

/// Port 0 of the trace port.
pub struct Trace {
    itm: ITM,
}

impl fmt::Write for Trace {
    /// Says it if a debugger has switched the port on; waiting for one that has
    /// not would be for ever.
    fn write_str(&mut self, text: &str) -> fmt::Result {
        if self.itm.tcr.read() & 1 != 0 && self.itm.ter[0].read() & 1 != 0 {
            itm::write_all(&mut self.itm.stim[0], text.as_bytes());
        }
        Ok(())
    }
}
