//! Which received bit came from which bit of the frame.

use misread_core::Bits;

use crate::cause::Cause;
use crate::channel::{Arrival, Chance, Pulses};

/// A step along a frame and what was received for it. Indices from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aligned {
    /// A bit of the frame that arrived.
    Arrived {
        /// Its index in the frame.
        frame: usize,
        /// Its index in the read.
        read: usize,
    },
    /// A bit of the frame that did not arrive.
    Lost {
        /// Its index in the frame.
        frame: usize,
    },
    /// A received bit that the frame does not have.
    Extra {
        /// Its index in the read.
        read: usize,
    },
}

/// The most likely way from a frame to a read under a cause that loses or adds
/// pulses; `None` for another cause, or where there is no way. Where several
/// are equally likely, as within a run of equal bits, it is one of them.
///
/// ```
/// use misread::cause::Cause;
/// use misread::diagnose::{Aligned, align};
///
/// let way = align(Cause::D0Weak, 0.3, &"1101".parse()?, &"111".parse()?).unwrap();
/// assert_eq!(way[2], Aligned::Lost { frame: 2 });
/// # Ok::<(), misread::bits::TextError>(())
/// ```
pub fn align(cause: Cause, rate: f64, frame: &Bits, read: &Bits) -> Option<Vec<Aligned>> {
    let pulses = Pulses::of(cause)?;
    let (n, m) = (frame.len(), read.len());
    let sent: Vec<&[Arrival]> = frame
        .iter()
        .map(|bit| bit.value().map(|bit| pulses.bit[usize::from(bit)]))
        .chain([Some(pulses.tail)])
        .collect::<Option<_>>()?;
    let ln = |arrival: &Arrival| {
        libm::log(arrival.factor)
            + match arrival.chance {
                Chance::Sure => 0.0,
                Chance::Happens => libm::log(rate),
                Chance::Spared => libm::log(1.0 - rate),
            }
    };
    let fits = |arrival: &Arrival, at: usize| {
        arrival.bits.iter().enumerate().all(|(i, &bit)| {
            read.get(at + i).is_some_and(|found| found.value().is_none_or(|found| found == bit))
        })
    };
    // best[i][u]: the best way from step i with u received bits used up.
    let mut best = vec![vec![(f64::NEG_INFINITY, 0); m + 1]; n + 2];
    best[n + 1][m].0 = 0.0;
    for i in (0..=n).rev() {
        for u in 0..=m {
            for (which, arrival) in sent[i].iter().enumerate() {
                let after = u + arrival.bits.len();
                if after <= m && fits(arrival, u) {
                    let weight = ln(arrival) + best[i + 1][after].0;
                    if weight > best[i][u].0 {
                        best[i][u] = (weight, which);
                    }
                }
            }
        }
    }
    if best[0][0].0 == f64::NEG_INFINITY {
        return None;
    }
    let mut way = Vec::with_capacity(n + m);
    let mut used = 0;
    for (i, arrivals) in sent.iter().enumerate() {
        let arrival = &arrivals[best[i][used].1];
        match (i < n, arrival.bits) {
            (true, []) => way.push(Aligned::Lost { frame: i }),
            (true, [_]) => way.push(Aligned::Arrived { frame: i, read: used }),
            // Noise comes before the bit it is counted with, an echo after it.
            (true, [_, _]) if pulses.tail.len() > 1 => way.extend([
                Aligned::Extra { read: used },
                Aligned::Arrived { frame: i, read: used + 1 },
            ]),
            (true, _) => way.extend([
                Aligned::Arrived { frame: i, read: used },
                Aligned::Extra { read: used + 1 },
            ]),
            (false, bits) => way.extend((0..bits.len()).map(|k| Aligned::Extra { read: used + k })),
        }
        used += arrival.bits.len();
    }
    Some(way)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(cause: Cause, frame: &str, read: &str) -> Option<String> {
        let (frame, read): (Bits, Bits) = (frame.parse().unwrap(), read.parse().unwrap());
        let way = align(cause, 0.3, &frame, &read)?;
        let symbol = |step: &Aligned| match *step {
            Aligned::Arrived { frame: f, read: r } => {
                assert_eq!(frame.get(f), read.get(r));
                read.get(r).unwrap().as_char()
            }
            Aligned::Lost { .. } => '-',
            Aligned::Extra { .. } => '+',
        };
        Some(way.iter().map(symbol).collect())
    }

    #[test]
    fn lost_and_extra_pulses_are_placed() {
        assert_eq!(shown(Cause::D1Weak, "010", "00").unwrap(), "0-0");
        assert_eq!(shown(Cause::D0Open, "0110", "11").unwrap(), "-11-");
        assert_eq!(shown(Cause::D0Noise, "111", "1101").unwrap(), "11+1");
        assert_eq!(shown(Cause::D1Noise, "00", "001").unwrap(), "00+");
        assert_eq!(shown(Cause::D1Ringing, "010", "0110").unwrap(), "01+0");
        assert_eq!(shown(Cause::Crosstalk, "00", "010").unwrap(), "0+0");
        assert_eq!(shown(Cause::D0Weak, "11", "1"), None);
        assert_eq!(shown(Cause::None, "11", "11"), None);
    }
}
