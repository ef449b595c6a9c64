//! Whether something was changed between two reads, as in mending: then those
//! since are explained together, and not all. What is changed back and forth
//! comes at times, which the diagnosis says by itself.

use crate::diagnose::Verdict;

/// How likely it is that something is changed at the gate between two reads, as
/// the conductors are, or the reader (judgement).
const CHANGED: f64 = 0.02;

/// The first of the reads that are to be explained together. All of them, unless
/// it is likelier that something was changed in between and one thing holds
/// before and another since: then those since.
///
/// `verdicts` are what is said of each read alone, `None` of an empty one;
/// `ln_evidence` gives the natural logarithm of the probability of some of the
/// reads under the model, by their indices. What is empty is as good with the
/// others as apart: 0.
///
/// ```
/// use misread::cause::Cause;
/// use misread::diagnose::Verdict;
/// use misread::watch::since_change;
///
/// // Two reads with the lines swapped, and two good ones: each two together are
/// // far likelier than all four.
/// let swapped = Some(Verdict::Wire(Cause::LinesSwapped.into()));
/// let good = Some(Verdict::None);
/// let ln_evidence = |reads: &[usize]| if reads.len() > 2 { -60.0 } else { -20.0 };
/// assert_eq!(since_change(&[swapped, swapped, good, good], ln_evidence), 2);
/// ```
pub fn since_change(verdicts: &[Option<Verdict>], ln_evidence: impl Fn(&[usize]) -> f64) -> usize {
    let all = verdicts.len();
    let ln = |from: usize, to: usize| ln_evidence(&(from..to).collect::<Vec<_>>());
    let turns = turns(verdicts);
    let changed = |from: usize, at: usize, ln_before: f64| {
        ln_before + ln(at, all) + CHANGED.ln() > ln(from, all)
    };
    let earlier = turns.iter().rev().skip(1).copied().chain([0]);
    let turn = turns
        .iter()
        .rev()
        .copied()
        .zip(earlier)
        .find(|&(at, from)| changed(from, at, ln(from, at)));
    let Some((at, _)) = turn else { return 0 };
    // What came before may have changed too, as when two conductors are swapped
    // and put back.
    let starts = || turns.iter().copied().take_while(|&turn| turn < at);
    let apart: f64 =
        [0].into_iter().chain(starts()).zip(starts().chain([at])).map(|(a, b)| ln(a, b)).sum();
    let before = (apart + starts().count() as f64 * CHANGED.ln()).max(ln(0, at));
    if before + CHANGED.ln() + ln(at, all) > ln(0, all) { at } else { 0 }
}

/// Where a read alone is said to be something else than the one before.
fn turns(verdicts: &[Option<Verdict>]) -> Vec<usize> {
    let mut before = None;
    let is_turn = |&(_, verdict): &(usize, Verdict)| {
        before.replace(verdict).is_some_and(|before| before != verdict)
    };
    let there = verdicts.iter().enumerate().filter_map(|(at, verdict)| Some((at, (*verdict)?)));
    there.filter(is_turn).map(|(at, _)| at).collect()
}
