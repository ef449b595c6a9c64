//! In which order to mend, and how long that is expected to take.

/// A mend not done yet, with what it would mend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Job {
    /// Which mend, by its index in the model.
    pub(super) mend: usize,
    /// How long it takes.
    pub(super) minutes: f64,
    /// The weight of the cases that it mends by itself.
    pub(super) alone: f64,
    /// The weight of those that it mends once the lines are swapped too.
    pub(super) with_swap: f64,
    /// Whether it swaps the lines.
    pub(super) is_swap: bool,
    /// `alone` a minute, once they are put in order.
    pub(super) rate: f64,
}

/// Puts jobs in the order that is expected to take least, and says the minutes
/// that takes, times `total`, the weight of all cases. It is given up, for
/// `unmended` minutes, once that takes less.
///
/// With one fault and one mend that meets it, that is the order of weight over
/// minutes (Kadane and Simon 1977). Two faults at once are met by two mends, one
/// of which swaps the lines: the others stand in that order before and behind
/// it, and it stands where all together take least.
pub(super) fn put_in_order(jobs: &mut [Job], total: f64, unmended: f64) -> f64 {
    for job in jobs.iter_mut() {
        job.rate = job.alone / job.minutes;
    }
    jobs.sort_by(|a, b| b.rate.total_cmp(&a.rate));
    let swap = jobs.iter().position(|job| job.is_swap);
    let Some(at) = swap.filter(|_| jobs.iter().any(|job| job.with_swap > 0.0)) else {
        return minutes_of(jobs.iter(), total, unmended);
    };
    jobs[..=at].rotate_right(1);
    let Some((swap, others)) = jobs.split_first() else { return unmended * total };
    let rates = others.iter().map(|job| (job.alone + job.with_swap) / job.minutes);
    let mut behind: Vec<(f64, usize)> = rates.zip(0..).collect();
    behind.sort_by(|a, b| b.0.total_cmp(&a.0));
    // `before` of the others come before the swap.
    let order = |before: usize| {
        let behind = behind.iter().filter(move |(_, at)| *at >= before);
        others[..before].iter().chain([swap]).chain(behind.map(|&(_, at)| &others[at]))
    };
    let (mut least, mut best) = (f64::INFINITY, 0);
    let (mut spent, mut left) = (0.0, total);
    for before in 0..=others.len() {
        let minutes = minutes_of(order(before), total, unmended);
        if minutes < least {
            (least, best) = (minutes, before);
        }
        // Whatever comes behind, what comes before takes this much.
        if let Some(next) = others.get(before) {
            spent += next.minutes * left;
            left -= next.alone;
        }
        if spent >= least {
            break;
        }
    }
    let ordered: Vec<Job> = order(best).copied().collect();
    jobs.copy_from_slice(&ordered);
    least
}

/// The minutes that mending in this order takes, times the weight `total` of
/// all cases, where it is given up, for `unmended` minutes, once that takes
/// less.
fn minutes_of<'a>(jobs: impl Iterator<Item = &'a Job>, total: f64, unmended: f64) -> f64 {
    let (mut spent, mut left, mut waiting) = (0.0, total, 0.0);
    let mut is_swapped = false;
    let mut least = unmended * total;
    for job in jobs {
        spent += job.minutes * left;
        left -= job.alone;
        if job.is_swap {
            is_swapped = true;
            left -= waiting;
        } else if is_swapped {
            left -= job.with_swap;
        } else {
            waiting += job.with_swap;
        }
        least = least.min(spent + unmended * left.max(0.0));
    }
    least
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn job(mend: usize, minutes: f64, alone: f64, with_swap: f64) -> Job {
        Job { mend, minutes, alone, with_swap, is_swap: mend == 0, rate: 0.0 }
    }

    /// Worked by hand. 5 minutes mend 0.8, 10 mend 0.15, and 0.05 nobody does:
    /// 5 + 0.2 × 10 + 0.05 × 30 = 8.5.
    #[test]
    fn worked_minutes() {
        let mut jobs = [job(1, 10.0, 0.15, 0.0), job(0, 5.0, 0.8, 0.0)];
        put_in_order(&mut jobs, 1.0, 30.0);
        assert_eq!(jobs[0].mend, 0);
        assert!((minutes_of(jobs.iter(), 1.0, 30.0) - 8.5).abs() < 1e-12);
    }

    /// Worked by hand. Swapped lines 0.2, an open line 0.3, both at once 0.5.
    /// 5 minutes for the swap and 10 for the line, whichever comes first: the
    /// swap first takes 5 + 0.8 × 10 = 13, the line first 10 + 0.7 × 5 = 13.5.
    #[test]
    fn worked_minutes_of_two_at_once() {
        let mut jobs = [job(1, 10.0, 0.3, 0.5), job(0, 5.0, 0.2, 0.0)];
        put_in_order(&mut jobs, 1.0, 30.0);
        assert_eq!(jobs[0].mend, 0);
        assert!((minutes_of(jobs.iter(), 1.0, 30.0) - 13.0).abs() < 1e-12);
        jobs.reverse();
        assert!((minutes_of(jobs.iter(), 1.0, 30.0) - 13.5).abs() < 1e-12);
    }

    /// What takes longer than help is not done.
    #[test]
    fn a_long_shot_is_given_up() {
        let jobs = [job(1, 10.0, 0.1, 0.0)];
        assert_eq!(minutes_of(jobs.iter(), 1.0, 30.0), 30.0);
    }

    fn orders(jobs: &[Job]) -> Vec<Vec<Job>> {
        let mut all = vec![Vec::new()];
        for job in jobs {
            let longer = |order: Vec<Job>| {
                (0..=order.len()).map(move |at| {
                    let mut order = order.clone();
                    order.insert(at, *job);
                    order
                })
            };
            all = all.into_iter().flat_map(longer).collect();
        }
        all
    }

    fn least(jobs: &[Job], total: f64) -> f64 {
        let all = orders(jobs).into_iter();
        all.map(|jobs| minutes_of(jobs.iter(), total, 30.0)).fold(f64::INFINITY, f64::min)
    }

    fn some_jobs(pairs: bool) -> impl Strategy<Value = (Vec<Job>, f64)> {
        let each = (1.0..30.0f64, 0.0..1.0f64, 0.0..1.0f64);
        (proptest::collection::vec(each, 1..6), 0.0..0.5f64).prop_map(move |(jobs, unmended)| {
            let jobs: Vec<Job> = jobs
                .into_iter()
                .enumerate()
                .map(|(i, (minutes, alone, both))| {
                    job(i, minutes, alone, if pairs && i > 0 { both } else { 0.0 })
                })
                .collect();
            let all = jobs.iter().map(|job| job.alone + job.with_swap);
            let total = all.sum::<f64>() + unmended;
            (jobs, total)
        })
    }

    proptest! {
        /// Without two at once no order takes less, by trying all.
        #[test]
        fn no_order_takes_less((mut jobs, total) in some_jobs(false)) {
            let mine = put_in_order(&mut jobs, total, 30.0);
            prop_assert!((minutes_of(jobs.iter(), total, 30.0) - mine).abs() < 1e-9);
            prop_assert!(mine <= least(&jobs, total) + 1e-9);
        }

        /// With two at once hardly any does.
        #[test]
        fn hardly_an_order_takes_less_with_two_at_once((mut jobs, total) in some_jobs(true)) {
            let mine = put_in_order(&mut jobs, total, 30.0);
            prop_assert!((minutes_of(jobs.iter(), total, 30.0) - mine).abs() < 1e-9);
            prop_assert!(mine <= 1.1 * least(&jobs, total), "{mine} {}", least(&jobs, total));
        }
    }
}
