//! Finding the beat among intervals.
//!
//! An interval x is a multiple k of a period p, to within 15 % of the period,
//! for p from 20x/(20k + 3) to 20x/(20k − 3). Going down from the longest
//! period worth trying, an interval comes to fit at the upper of these and
//! ceases to at the lower; the first period that enough of them fit is the one
//! sought. All of it is done in whole numbers, so that a period at an end is
//! inside.

use alloc::collections::BinaryHeap;
use alloc::vec::Vec;
use core::cmp::Ordering;

use crate::pulse::spread::median_counted;

/// The beat: the longest period, between an eighth of the median and the
/// median, of which at least 90 % of the intervals are a whole multiple to
/// within 15 % of the period; then refined as the mean of interval over
/// multiple among those, to the nearest nanosecond. With fewer than three
/// intervals, or where there is no such period, the median. `None` without
/// intervals.
///
/// Sorts the intervals. Leave out those that are too short to be a bit period.
pub fn beat(intervals: &mut [u32]) -> Option<u32> {
    intervals.sort_unstable();
    let counted: Vec<(u32, u64)> = intervals
        .chunk_by(|a, b| a == b)
        .filter_map(|group| Some((*group.first()?, group.len() as u64)))
        .collect();
    beat_counted(&counted)
}

/// The [`beat`] of intervals, each with how often it came, the shortest first.
pub(super) fn beat_counted(intervals: &[(u32, u64)]) -> Option<u32> {
    let median = median_counted(intervals)?;
    let count: u64 = intervals.iter().map(|&(_, count)| count).sum();
    if count < 3 || median == 0 {
        return Some(median);
    }
    let Some(period) = longest_period(intervals, median) else { return Some(median) };
    let mut fitting = 0;
    let mut sum = 0.0;
    for &(interval, count) in intervals {
        if let Some(multiple) = period.multiple(interval) {
            sum += u128::from(interval).saturating_mul(u128::from(count)) as f64 / multiple as f64;
            fitting += count;
        }
    }
    Some((sum / fitting as f64 + 0.5) as u32)
}

fn longest_period(intervals: &[(u32, u64)], median: u32) -> Option<Ratio> {
    let all: u64 = intervals.iter().map(|&(_, count)| count).sum();
    let mut period = Ratio { over: u64::from(median), under: 1 };
    let shortest = Ratio { over: u64::from(median), under: 8 };
    let mut fitting = 0;
    let mut steps = BinaryHeap::new();
    for &(interval, count) in intervals {
        let next = match period.multiple(interval) {
            Some(multiple) => {
                fitting += count;
                Step::cease(interval, multiple, count)
            }
            None => Step::come(interval, first_below(interval, median), count),
        };
        steps.push(next);
    }
    loop {
        if fitting * 10 >= all * 9 {
            return Some(period);
        }
        let step = steps.pop()?;
        period = step.at;
        if period.cmp(&shortest) == Ordering::Less {
            return None;
        }
        if step.comes {
            fitting += step.count;
            steps.push(Step::cease(step.interval, step.multiple, step.count));
        } else {
            fitting -= step.count;
            steps.push(Step::come(step.interval, step.multiple + 1, step.count));
        }
    }
}

/// The lowest multiple whose periods are all below the median, given that none
/// holds the median.
fn first_below(interval: u32, median: u32) -> u64 {
    // 20x / (20k − 3) < m, so 20k > 20x/m + 3.
    let (interval, median) = (u64::from(interval), u64::from(median));
    (20 * interval + 3 * median) / (20 * median) + 1
}

/// An interval comes to fit, or ceases to, as the period grows shorter.
#[derive(PartialEq, Eq)]
struct Step {
    at: Ratio,
    comes: bool,
    interval: u32,
    multiple: u64,
    /// How many intervals of that length there are.
    count: u64,
}

impl Step {
    fn come(interval: u32, multiple: u64, count: u64) -> Step {
        let at = Ratio { over: 20 * u64::from(interval), under: 20 * multiple - 3 };
        Step { at, comes: true, interval, multiple, count }
    }

    fn cease(interval: u32, multiple: u64, count: u64) -> Step {
        let at = Ratio { over: 20 * u64::from(interval), under: 20 * multiple + 3 };
        Step { at, comes: false, interval, multiple, count }
    }
}

impl Ord for Step {
    /// The longest period is the greatest; where equal, what comes is before
    /// what ceases, since the ends are inside.
    fn cmp(&self, other: &Self) -> Ordering {
        self.at.cmp(&other.at).then(self.comes.cmp(&other.comes))
    }
}

impl PartialOrd for Step {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// A period in nanoseconds, exactly.
#[derive(Clone, Copy, Debug)]
struct Ratio {
    over: u64,
    under: u64,
}

impl Ratio {
    /// The nearest multiple of this period, 1 or more, that the interval is, to
    /// within 15 % of the period.
    fn multiple(self, interval: u32) -> Option<u64> {
        let (over, under) = (u128::from(self.over), u128::from(self.under));
        let interval = u128::from(interval) * under;
        let nearest = ((interval + over / 2) / over).max(1);
        let off = interval.abs_diff(nearest * over);
        if off * 20 <= over * 3 { u64::try_from(nearest).ok() } else { None }
    }
}

impl Ord for Ratio {
    fn cmp(&self, other: &Self) -> Ordering {
        let left = u128::from(self.over) * u128::from(other.under);
        left.cmp(&(u128::from(other.over) * u128::from(self.under)))
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Ratio {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Ratio {}

#[cfg(test)]
mod tests {
    use std::vec;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;
    use crate::pulse::median;

    const US: u32 = 1_000;

    #[test]
    fn the_beat_of_even_intervals_is_the_interval() {
        assert_eq!(beat(&mut [1000 * US; 25]), Some(1000 * US));
    }

    #[test]
    fn lost_bits_do_not_move_the_beat() {
        // Most intervals are two beats: the median is 2 ms, the beat 1 ms.
        let mut intervals = [2000 * US; 13];
        intervals[..5].fill(1000 * US);
        intervals[5] = 3000 * US;
        assert_eq!(beat(&mut intervals), Some(1000 * US));
    }

    #[test]
    fn an_interval_fits_up_to_15_percent_of_the_period() {
        // 1150 is one beat of 1000 to within 15 %, and 1151 is not.
        assert_eq!(beat(&mut [1000, 1000, 1000, 1150]), Some(1038));
        assert_eq!(crate::pulse::multiple_of(1150, 1000), Some(1));
        assert_eq!(crate::pulse::multiple_of(1151, 1000), None);
        assert_eq!(crate::pulse::multiple_of(1849, 1000), None);
        assert_eq!(crate::pulse::multiple_of(1850, 1000), Some(2));
        assert_eq!(crate::pulse::multiple_of(850, 1000), Some(1));
        assert_eq!(crate::pulse::multiple_of(849, 1000), None);
        assert_eq!(crate::pulse::multiple_of(0, 1000), None);
        assert_eq!(crate::pulse::multiple_of(5, 0), None);
    }

    #[test]
    fn nine_in_ten_are_enough() {
        let mut intervals = vec![1000; 18];
        intervals.extend([1500, 1500]);
        assert_eq!(beat(&mut intervals), Some(1000));
        // With a third one, only a period of which 1500 is a multiple will do:
        // the longest is 1500 / 2.85, of which 1000 is twice less 10 %.
        intervals.push(1500);
        let refined: f64 = (18.0 * 500.0 + 3.0 * 500.0) / 21.0;
        assert_eq!(beat(&mut intervals), Some(refined.round() as u32));
    }

    #[test]
    fn without_a_common_period_it_is_the_median() {
        assert_eq!(beat(&mut []), None);
        assert_eq!(beat(&mut [700]), Some(700));
        assert_eq!(beat(&mut [700, 901]), Some(800));
        let mut odd = [1000, 1234, 1437, 1613, 1789, 1951, 2099, 2287, 2411, 2603];
        let middle = median(&mut odd).unwrap();
        assert!(trial(&odd, middle).is_none());
        assert_eq!(beat(&mut odd), Some(middle));
        assert_eq!(beat(&mut [0, 0, 0, 1]), Some(0));
    }

    /// The same by trying every period that could be one, with no heap.
    fn trial(intervals: &[u32], median: u32) -> Option<Ratio> {
        let longest = Ratio { over: u64::from(median), under: 1 };
        let shortest = Ratio { over: u64::from(median), under: 8 };
        let mut trials = vec![longest];
        for &interval in intervals {
            trials.extend(
                (1..)
                    .map(|multiple| Step::come(interval, multiple, 1).at)
                    .take_while(|at| *at >= shortest)
                    .filter(|at| *at <= longest),
            );
        }
        trials.sort_by(|a, b| b.cmp(a));
        trials.into_iter().find(|period| {
            let fits = |&&x: &&u32| {
                // |x − kp| ≤ 0.15 p for some k, in the words of the definition.
                let (over, under) = (u128::from(period.over), u128::from(period.under));
                (1..=400u128).any(|k| (u128::from(x) * under).abs_diff(k * over) * 100 <= 15 * over)
            };
            intervals.iter().filter(fits).count() * 10 >= intervals.len() * 9
        })
    }

    proptest! {
        #[test]
        fn it_is_the_longest_period_there_is(
            mut intervals in proptest::collection::vec(
                prop_oneof![900u32..1100, 1800u32..2200, 200u32..6000], 3..40)
        ) {
            let middle = median(&mut intervals).unwrap();
            let counted: Vec<(u32, u64)> = intervals.iter().map(|&interval| (interval, 1)).collect();
            prop_assert_eq!(longest_period(&counted, middle), trial(&intervals, middle));
        }

        #[test]
        fn the_beat_is_the_mean_of_interval_over_multiple(
            mut intervals in proptest::collection::vec(
                prop_oneof![900u32..1100, 1800u32..2200, 200u32..6000], 3..20),
            often in 1usize..5,
        ) {
            let middle = median(&mut intervals).unwrap();
            // All of them as often leaves median, period and mean alone.
            let found = beat(&mut intervals.repeat(often)).unwrap();
            let period = trial(&intervals, middle);
            prop_assert!(period.is_some() || found == middle);
            let Some(period) = period else { return Ok(()) };
            // One by one, in the words of the definition.
            let parts: Vec<f64> = intervals
                .iter()
                .filter_map(|&x| Some(f64::from(x) / period.multiple(x)? as f64))
                .collect();
            let mean = parts.iter().sum::<f64>() / parts.len() as f64;
            prop_assert!((f64::from(found) - mean).abs() <= 0.5 + 1e-9, "{} {}", found, mean);
        }

        #[test]
        fn a_jittery_reader_with_lost_bits_keeps_its_beat(
            beat_us in 250u32..15_000,
            multiples in proptest::collection::vec(1u32..4, 10..60),
            jitter in proptest::collection::vec(-3i64..=3, 100),
        ) {
            // Enough single beats that the median is one.
            let mut multiples = multiples;
            multiples.extend(vec![1; multiples.len() + 1]);
            let period = i64::from(beat_us) * 1000;
            let mut intervals: Vec<u32> = multiples
                .iter()
                .zip(jitter.iter().cycle())
                .map(|(&k, &percent)| (i64::from(k) * period + period * percent / 100) as u32)
                .collect();
            let found = i64::from(beat(&mut intervals).unwrap());
            prop_assert!((found - period).abs() <= period * 3 / 100, "{} {}", found, period);
        }
    }
}
