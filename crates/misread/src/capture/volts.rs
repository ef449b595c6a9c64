//! Where the two levels of a table of voltages are parted.

use super::CaptureError;

const BINS: usize = 4096;
/// Closer than this, in volts, two levels are noise on one.
const CLOSEST: f64 = 0.2;

/// Half way between the two levels at which the lines rest: the median of the
/// voltages above and that of those below, parted half way between them in
/// turn, from half way between the lowest and the highest.
///
/// `go_over` hands every voltage to what it is given, each time it is called.
pub(super) fn threshold(
    mut go_over: impl FnMut(&mut dyn FnMut(f64)) -> std::io::Result<()>,
) -> Result<f64, CaptureError> {
    let (mut lowest, mut highest) = (f64::INFINITY, f64::NEG_INFINITY);
    go_over(&mut |volts| {
        lowest = lowest.min(volts);
        highest = highest.max(volts);
    })?;
    let range = highest - lowest;
    if !range.is_finite() || range < CLOSEST {
        return Err(CaptureError::Flat { lowest, highest });
    }
    let mut bins = vec![0u64; BINS];
    go_over(&mut |volts| {
        let bin = ((volts - lowest) / range * BINS as f64) as usize;
        bins[bin.min(BINS - 1)] += 1;
    })?;
    let mut part = BINS / 2;
    for _ in 0..BINS {
        let low = median_bin(&bins[..part]);
        let high = part + median_bin(&bins[part..]);
        let next = (low + high).div_ceil(2).clamp(1, BINS - 1);
        if next == part {
            break;
        }
        part = next;
    }
    let low = median_bin(&bins[..part]);
    let high = part + median_bin(&bins[part..]);
    Ok(lowest + ((low + high + 1) as f64 / 2.0) * range / BINS as f64)
}

fn median_bin(bins: &[u64]) -> usize {
    let half = bins.iter().sum::<u64>().div_ceil(2).max(1);
    let mut sum = 0;
    bins.iter()
        .position(|&count| {
            sum += count;
            sum >= half
        })
        .unwrap_or(bins.len() / 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(volts: &[f64]) -> Result<f64, CaptureError> {
        threshold(|see| {
            volts.iter().copied().for_each(see);
            Ok(())
        })
    }

    #[test]
    fn it_is_half_way_between_where_the_lines_rest() {
        // At 4.9 V for most of the time, at 0.3 V in pulses, with a spike each
        // way: half way is 2.6 V.
        let mut volts = vec![4.9; 1000];
        volts.extend([0.3; 50]);
        volts.extend([7.0, -1.5, 2.0, 3.0]);
        let found = of(&volts).unwrap();
        assert!((found - 2.6).abs() < 0.01, "{found}");
    }

    #[test]
    fn one_level_is_refused() {
        assert!(matches!(of(&[3.3, 3.31, 3.29]), Err(CaptureError::Flat { .. })));
        assert!(matches!(of(&[]), Err(CaptureError::Flat { .. })));
    }
}
