//! What timing is allowed.

/// The shortest and the longest allowed, both included, in nanoseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// The shortest allowed.
    pub shortest: u32,
    /// The longest allowed.
    pub longest: u32,
}

/// What timing is allowed, and how much a measurement may be off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Pulse width, *Tpw*.
    pub width: Bounds,
    /// Pulse interval, *Tpi*, leading edge to leading edge.
    pub interval: Bounds,
    /// The shortest gap between two reads, from the trailing edge of the last
    /// pulse to the leading edge of the next, in nanoseconds.
    pub gap: u32,
    /// The sample period of the capture, in nanoseconds; 0 if each change has
    /// its own exact time. A measurement is up to one sample off.
    pub sample_period: u32,
    /// How far over a limit is still let pass, in thousandths of the limit.
    pub tolerance: u32,
}

impl Limits {
    /// Widths of 20 µs to 100 µs and intervals of 200 µs to 20 ms, from SIA
    /// AC-01-1996.10, *Access Control Standard Protocol for the 26-BIT Wiegand
    /// Reader Interface*. A tolerance of 2 %, since many readers sit right at
    /// 100 µs (common practice). A gap of 50 ms: receivers commonly wait 25 ms
    /// or more for the end of a frame (common practice), and twice that leaves
    /// room for the slower ones (judgement).
    pub const SIA_AC_01: Limits = Limits {
        width: Bounds { shortest: 20_000, longest: 100_000 },
        interval: Bounds { shortest: 200_000, longest: 20_000_000 },
        gap: 50_000_000,
        sample_period: 0,
        tolerance: 20,
    };

    /// The same limits for a capture of that sample period, in nanoseconds.
    pub const fn sampled_every(self, sample_period: u32) -> Limits {
        Limits { sample_period, ..self }
    }

    /// Whether a measured duration is below a lower limit by more than the
    /// sample period and the tolerance.
    pub fn is_below(&self, measured: u32, limit: u32) -> bool {
        u64::from(measured) + self.slack(limit) < u64::from(limit)
    }

    /// Whether a measured duration is above an upper limit by more than the
    /// sample period and the tolerance.
    pub fn is_above(&self, measured: u32, limit: u32) -> bool {
        u64::from(measured) > u64::from(limit) + self.slack(limit)
    }

    fn slack(&self, limit: u32) -> u64 {
        u64::from(self.sample_period) + u64::from(limit) * u64::from(self.tolerance) / 1000
    }
}

/// [`Limits::SIA_AC_01`].
impl Default for Limits {
    fn default() -> Self {
        Limits::SIA_AC_01
    }
}
