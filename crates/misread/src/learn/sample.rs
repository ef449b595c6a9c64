//! What the installer has: reads, and the numbers that are known of the cards.

use std::collections::{BTreeMap, HashMap, HashSet};

use misread_core::layout::{MAX_LAYOUT_BITS, MAX_NAME, Span};

use crate::Bits;
use crate::diagnose::Numbers;
use crate::file::TableRead;

/// A read with what is known of its card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sample {
    /// The line it stood on, from 1; answers name it.
    pub line: u64,
    /// The read.
    pub bits: Bits,
    /// Known numbers by name. [`PRINTED`] is a number whose parts are unknown.
    pub known: Vec<(String, u64)>,
}

/// The name of a number as printed on the card: it may be a field, or facility
/// and card run together.
pub const PRINTED: &str = "printed";

impl From<TableRead> for Sample {
    fn from(read: TableRead) -> Self {
        Sample { line: read.line, bits: read.bits, known: read.expected }
    }
}

/// What is asked beside the samples.
#[derive(Clone, Debug, Default)]
pub struct Wishes {
    /// The learned layout's name; `learned-` and its length where empty.
    pub name: String,
    /// Fields the user states: the name, and the positions as a layout lists
    /// them. The reads can contradict them.
    pub assume: Vec<(String, Vec<Span>)>,
    /// The cards at hand: the next sample is chosen among them. Where there
    /// are none, among all numbers.
    pub cards: Vec<Vec<(String, u64)>>,
    /// Whether sentences show card numbers whole.
    pub numbers: Numbers,
}

/// Why there is nothing to learn from.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LearnError {
    /// Fewer than two different reads of any length.
    #[error(
        "there {} of the same length; a layout shows only in what differs from card to card",
        if *.different == 1 { "is one read".to_owned() } else { format!("are {different} reads") }
    )]
    TooFew {
        /// The most different reads of one length.
        different: usize,
    },
    /// The same read stands beside two different numbers.
    #[error("lines {first} and {second} have the same bits but different numbers for {name}")]
    TwoNumbers {
        /// A line.
        first: u64,
        /// The other line.
        second: u64,
        /// The name of the number.
        name: String,
    },
    /// A field that the user states and the reads contradict.
    #[error("{name} cannot be bits {positions}: the numbers given do not stand there")]
    Assumed {
        /// The field's name.
        name: String,
        /// The positions stated.
        positions: String,
    },
    /// A stated field lists a position that the reads lack.
    #[error("{name} is stated to reach bit {position}, but the reads have {bits} bits")]
    PastEnd {
        /// The field's name.
        name: String,
        /// The position.
        position: u16,
        /// How many bits the reads have.
        bits: usize,
    },
}

impl LearnError {
    /// What would be accepted.
    pub fn expected(&self) -> &'static str {
        match self {
            LearnError::TooFew { .. } => {
                "reads of at least two cards, six or more with their numbers if possible"
            }
            LearnError::TwoNumbers { .. } => {
                "one number for a card: look at the card again and correct one of the lines"
            }
            LearnError::Assumed { .. } => "positions that carry the numbers, or none stated",
            LearnError::PastEnd { .. } => "positions within the reads",
        }
    }
}

/// A sample that takes no part, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// Its line.
    pub line: u64,
    /// Why, in a sentence.
    pub says: String,
}

/// Samples of one length.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) bits: usize,
    pub(super) samples: Vec<Sample>,
    /// The names under which numbers are known, as a layout can hold them.
    pub(super) columns: Vec<String>,
}

/// Sorts samples by length, the length with the most samples first.
pub(super) fn groups(samples: &[Sample]) -> Result<(Vec<Group>, Vec<SetAside>), LearnError> {
    let mut aside = Vec::new();
    let mut by_length: BTreeMap<usize, Vec<Sample>> = BTreeMap::new();
    for sample in samples {
        let says = if sample.bits.is_empty() {
            "nothing arrived".to_owned()
        } else if sample.bits.unread_count() > 0 {
            "has unread bits; a layout is learned from whole reads".to_owned()
        } else if sample.bits.len() > MAX_LAYOUT_BITS {
            format!(
                "has {} bits; a layout has at most {MAX_LAYOUT_BITS}. Two frames that ran \
                 together, perhaps",
                sample.bits.len()
            )
        } else {
            let known = sample.known.iter().map(|(name, number)| (plain(name), *number)).collect();
            by_length
                .entry(sample.bits.len())
                .or_default()
                .push(Sample { known, ..sample.clone() });
            continue;
        };
        aside.push(SetAside { line: sample.line, says });
    }
    let mut groups = Vec::new();
    let mut most = 0;
    for (bits, samples) in by_length {
        two_numbers(&samples)?;
        let different: HashSet<&Bits> = samples.iter().map(|sample| &sample.bits).collect();
        most = most.max(different.len());
        if different.len() < 2 {
            aside.extend(samples.iter().map(|sample| SetAside {
                line: sample.line,
                says: format!("is the only read of {bits} bits"),
            }));
            continue;
        }
        let mut columns: Vec<String> = Vec::new();
        for (name, _) in samples.iter().flat_map(|sample| &sample.known) {
            if !columns.contains(name) {
                columns.push(name.clone());
            }
        }
        groups.push(Group { bits, samples, columns });
    }
    if groups.is_empty() {
        return Err(LearnError::TooFew { different: most });
    }
    groups.sort_by_key(|group| std::cmp::Reverse(group.samples.len()));
    Ok((groups, aside))
}

fn two_numbers(samples: &[Sample]) -> Result<(), LearnError> {
    let mut seen: HashMap<(&Bits, &str), (u64, u64)> = HashMap::new();
    for sample in samples {
        for (name, number) in &sample.known {
            let (first, one) = *seen.entry((&sample.bits, name)).or_insert((sample.line, *number));
            if one != *number {
                let name = name.clone();
                return Err(LearnError::TwoNumbers { first, second: sample.line, name });
            }
        }
    }
    Ok(())
}

/// A heading as a name that a layout can hold.
pub(super) fn plain(heading: &str) -> String {
    let mut name: String = heading
        .trim()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '_') { c } else { '-' })
        .take(MAX_NAME)
        .collect();
    if !name.starts_with(|c: char| c.is_ascii_alphanumeric()) {
        name.insert(0, 'n');
        name.truncate(MAX_NAME);
    }
    name
}
