//! What the reads of a capture come to.

use std::collections::BTreeMap;

use misread::pulse::FindingKind;

use super::kinds;
use super::shown::Shown;
use crate::overview::Overview;
use crate::words;

/// Reads drawn in full unless all are asked for.
const DRAWN: usize = 4;

/// The shortest and the longest, in nanoseconds.
pub(super) type Extent = Option<(u32, u32)>;

/// What the reads of a capture come to.
#[derive(Debug, Default)]
pub(super) struct Summary {
    reads: usize,
    /// How many reads of each length.
    lengths: BTreeMap<usize, usize>,
    /// How often each kind was found, by its rank.
    kinds: BTreeMap<usize, (FindingKind, Option<usize>)>,
    misfits: usize,
    repeats: usize,
    /// What is said of the capture for how reads came to an end, each once.
    notes: Vec<&'static str>,
    /// Reads with something wrong, and how many of those without are drawn.
    wrong: usize,
    first_wrong: Vec<usize>,
    first_good: Vec<usize>,
    /// The pulse widths of each line, and of both; the intervals.
    pub(super) widths: [Extent; 2],
    pub(super) width: Extent,
    pub(super) interval: Extent,
}

impl Summary {
    /// Counts a read in.
    pub(super) fn add(&mut self, read: &Shown<'_>) {
        self.reads += 1;
        *self.lengths.entry(read.len()).or_default() += 1;
        for group in read.groups() {
            let (_, count) =
                self.kinds.entry(kinds::rank(group.kind)).or_insert((group.kind, Some(0)));
            *count = count.zip(group.count).map(|(sum, count)| sum + count);
        }
        self.misfits += usize::from(read.is_misfit());
        self.repeats += usize::from(read.repeat);
        let note = read.note.map(|note| note.whole);
        self.notes.extend(note.filter(|note| !self.notes.contains(note)));
        self.wrong += usize::from(!read.is_good());
        let first = if read.is_good() { &mut self.first_good } else { &mut self.first_wrong };
        if first.len() < DRAWN {
            first.push(read.index);
        }
        let extend = |extent: &mut Extent, spread: Option<misread::pulse::Spread>| {
            if let Some(spread) = spread {
                let (min, max) = extent.unwrap_or((spread.min, spread.max));
                *extent = Some((min.min(spread.min), max.max(spread.max)));
            }
        };
        for (extent, spread) in self.widths.iter_mut().zip(read.widths) {
            extend(extent, spread);
        }
        extend(&mut self.width, read.width);
        extend(&mut self.interval, read.interval);
    }

    /// Whether there are reads, and nothing is wrong with any.
    pub(super) fn is_good(&self, overview: &Overview) -> bool {
        self.reads > 0
            && self.wrong == 0
            && overview.findings.is_empty()
            && overview.damage.is_none()
    }

    /// Which reads are drawn unless all are: those with something wrong before
    /// the others, in order.
    pub(super) fn chosen(&self) -> Vec<usize> {
        let mut chosen: Vec<usize> =
            self.first_wrong.iter().chain(&self.first_good).take(DRAWN).copied().collect();
        chosen.sort_unstable();
        chosen
    }

    /// Whether there is no read.
    pub(super) fn is_empty(&self) -> bool {
        self.reads == 0
    }

    /// The reads that are not drawn, in a sentence.
    pub(super) fn rest(&self) -> Option<String> {
        let drawn = self.chosen().len();
        let rest = self.reads.checked_sub(drawn).filter(|&rest| rest > 0)?;
        let wrong = self.wrong.saturating_sub(self.first_wrong.len());
        let what = match (rest, wrong) {
            (1, 0) => "nothing wrong with it".to_owned(),
            (_, 0) => "nothing wrong with them".to_owned(),
            (_, wrong) => format!("something wrong with {wrong}"),
        };
        Some(format!("{}, {what}; --all draws every read.", words::count(rest, "more read")))
    }

    /// The kinds found in the reads and in the whole capture, those that
    /// matter most first.
    pub(super) fn kinds(&self, overview: &Overview) -> Vec<FindingKind> {
        let whole = overview.findings.iter().map(|finding| finding.kind);
        let mut kinds: Vec<FindingKind> =
            self.kinds.values().map(|&(kind, _)| kind).chain(whole).collect();
        kinds.sort_by_key(|&kind| kinds::rank(kind));
        kinds.dedup();
        kinds
    }

    /// The answer in one sentence.
    pub(super) fn sentence(&self, overview: &Overview, layout: Option<&str>) -> String {
        let limits = &overview.limits;
        // In steps so coarse, a pulse of no width at all would not be too short.
        let coarse = match limits.is_below(0, limits.width.shortest) {
            true => String::new(),
            false => {
                let step = words::duration(limits.sample_period.into());
                format!(", as far as steps of {step} show")
            }
        };
        if self.reads == 0 {
            return match overview.damage {
                Some(_) => "No read before the place where the file is damaged.".to_owned(),
                None => format!("No read in this capture: neither line pulses{coarse}."),
            };
        }
        let off: Vec<String> =
            self.kinds.values().map(|&(kind, count)| kinds::phrase(kind, count)).collect();
        let timing = match off.is_empty() {
            true => format!("timing within limits{coarse}"),
            false => format!("the timing is off: {}", kinds::list(&off)),
        };
        let mut but: Vec<String> = Vec::new();
        for finding in &overview.findings {
            but.push(match (finding.kind, finding.line) {
                (FindingKind::LineSilent, Some(line)) => format!("{line} never pulses"),
                (FindingKind::LineHeld, Some(line)) => match overview.idle[line.index()] {
                    Some(level) => format!("something holds it {level}"),
                    None => kinds::phrase(finding.kind, None),
                },
                (FindingKind::IdleLow, Some(line)) => format!("{line} rests low"),
                (kind, _) => kinds::phrase(kind, None),
            });
        }
        if let (misfits @ 1.., Some(layout)) = (self.misfits, layout) {
            but.push(match (misfits, self.reads) {
                (1, 1) => format!("it does not pass {layout}"),
                (1, _) => format!("1 of them does not pass {layout}"),
                (misfits, reads) if misfits == reads => format!("none of them passes {layout}"),
                (misfits, _) => format!("{misfits} of them do not pass {layout}"),
            });
        }
        if overview.damage.is_none() {
            but.extend(self.notes.iter().map(|&note| note.to_owned()));
        } else {
            let them = if self.reads == 1 { "it" } else { "them" };
            but.push(format!("the file is damaged or cut behind {them}"));
        }
        let but = match (but.is_empty(), off.is_empty()) {
            (true, _) => String::new(),
            (false, true) => format!(", but {}", words::list(&but)),
            (false, false) => format!("; {}", words::list(&but)),
        };
        format!("{}; {timing}{but}.", self.count())
    }

    /// `4 reads of 26 bits`, `5 reads: 4 of 26 bits, 1 of 25`.
    fn count(&self) -> String {
        const NAMED: usize = 3;
        let reads = words::count(self.reads, "read");
        let repeats = match self.repeats {
            0 => String::new(),
            1 => ", 1 of them a repeat".to_owned(),
            n => format!(", {n} of them repeats"),
        };
        let mut lengths: Vec<(usize, usize)> = self.lengths.iter().map(|(&l, &n)| (l, n)).collect();
        lengths.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
        let of = match lengths.as_slice() {
            [] => String::new(),
            [(length, _)] => format!(" of {}", words::count(*length, "bit")),
            [(length, count), rest @ ..] if rest.len() < NAMED => {
                let rest = rest.iter().map(|(length, count)| format!(", {count} of {length}"));
                format!(": {count} of {}{}", words::count(*length, "bit"), rest.collect::<String>())
            }
            _ => {
                let ends = self.lengths.keys().next().zip(self.lengths.keys().next_back());
                let (low, high) = ends.unwrap_or((&0, &0));
                format!(" of {low} to {high} bits")
            }
        };
        format!("{reads}{of}{repeats}")
    }
}
