//! Which findings of a capture moved the answer, and by how much.

use misread_core::pulse::Evidence;

use super::wording::{percent, sentence};
use crate::cause::Sought;

/// What shifts a probability by less than this is not spoken of.
const LEAST_SHIFT: f64 = 0.005;

/// A finding, found or looked for in vain, that moved the answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// What was looked for.
    pub sought: Sought,
    /// In how many reads it was found.
    pub found: usize,
    /// In how many reads it was looked for.
    pub looked: usize,
    /// The probability of the answer's cause if it had not been looked for,
    /// with everything else that was.
    pub without: f64,
    /// The probability of the answer's cause.
    pub with: f64,
    /// The same in one sentence.
    pub says: String,
}

/// What moved a probability to `with`, the strongest first. `pulses` is what was
/// looked for in each read; `without` gives the probability if one of the
/// findings had not been.
pub(crate) fn moved(
    pulses: &[Evidence],
    with: f64,
    mut without: impl FnMut(Sought) -> f64,
) -> Vec<Moved> {
    let mut moved = Vec::new();
    for sought in Sought::ALL {
        let looked: Vec<bool> = pulses.iter().filter_map(|seen| sought.found_in(seen)).collect();
        if looked.is_empty() {
            continue;
        }
        let without = without(sought);
        if (with - without).abs() >= LEAST_SHIFT {
            let found = looked.iter().filter(|&&found| found).count();
            let says = says(sought, found, looked.len(), without, with);
            moved.push(Moved { sought, found, looked: looked.len(), without, with, says });
        }
    }
    moved.sort_by(|a, b| (b.with - b.without).abs().total_cmp(&(a.with - a.without).abs()));
    moved
}

fn says(sought: Sought, found: usize, looked: usize, without: f64, with: f64) -> String {
    let what = match (found, looked) {
        (0, 1) => sought.says_not(),
        (0, _) => format!("{} in any of the {looked} reads", sought.says_not()),
        (1, 1) => sought.says(),
        (found, looked) => format!("{} in {found} of {looked} reads", sought.says()),
    };
    let verb = if with > without { "raises" } else { "lowers" };
    let (from, to) = (percent(without), percent(with));
    sentence(&format!("{what}, which {verb} this from {from} to {to}."))
}

#[cfg(test)]
mod tests {
    use misread_core::pulse::Line;

    use super::*;

    #[test]
    fn sentences_say_how_often_and_which_way() {
        let short = Sought::ShortPulse(Line::D0);
        assert_eq!(
            says(short, 2, 3, 0.34, 0.971),
            "A pulse on D0 is unusually narrow in 2 of 3 reads, which raises this from 34% to \
             97%."
        );
        assert_eq!(
            says(Sought::MissingBeat, 0, 1, 0.5, 0.1),
            "No beat of the reader is missing, which lowers this from 50% to 10%."
        );
    }
}
