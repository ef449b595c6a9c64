//! The different frames among the samples, as a system over GF(2).

use std::collections::HashSet;

use crate::Bits;
use crate::diagnose::gf2::Words;

/// The different frames.
#[derive(Clone, Debug)]
pub(super) struct Frames {
    /// How many bits each has.
    pub(super) bits: usize,
    /// How many different ones there are.
    pub(super) count: usize,
    /// The first, against which the others are held.
    pub(super) first: Words,
    /// Bits that are the same in all.
    pub(super) constant: Words,
    /// Frames whose differences from the first are independent: what holds
    /// for these and the first holds for all, as far as it is linear.
    rows: Vec<Words>,
    /// Those differences, each with a bit of its own, by that bit.
    reduced: Vec<(usize, Words)>,
}

impl Frames {
    /// The frames of some reads of one length, none of them with unread bits.
    pub(super) fn of<'a>(reads: impl IntoIterator<Item = &'a Bits>, bits: usize) -> Self {
        let mut seen = HashSet::new();
        let mut frames = Frames {
            bits,
            count: 0,
            first: Words::default(),
            constant: Words::first(bits),
            rows: Vec::new(),
            reduced: Vec::new(),
        };
        for read in reads {
            let frame = words(read);
            if !seen.insert(frame) {
                continue;
            }
            if frames.count == 0 {
                frames.first = frame;
                frames.rows.push(frame);
            }
            frames.count += 1;
            let difference = frame.xor(frames.first);
            frames.constant = frames.constant.without(difference);
            if insert(&mut frames.reduced, difference) {
                frames.rows.push(frame);
            }
        }
        frames
    }

    /// The affine rank: a wrong rule holds by luck with 2 to the minus this.
    pub(super) fn rank(&self) -> usize {
        self.rows.len()
    }

    /// Each bit's values in frames that say as much as all of them.
    pub(super) fn columns(&self) -> Vec<Column> {
        (0..self.bits)
            .map(|index| {
                let mut column = Column::default();
                for (row, frame) in self.rows.iter().enumerate() {
                    if frame.contains(index) {
                        column.0[row / 64] |= 1 << (row % 64);
                    }
                }
                column
            })
            .collect()
    }

    /// A column of 1s.
    pub(super) fn ones(&self) -> Column {
        let mut column = Column::default();
        for row in 0..self.rows.len() {
            column.0[row / 64] |= 1 << (row % 64);
        }
        column
    }

    /// How many independent sets of bits have a constant parity.
    pub(super) fn rules(&self) -> usize {
        self.bits - self.reduced.len()
    }

    /// Whether any such set holds this bit.
    pub(super) fn is_in_a_rule(&self, index: usize) -> bool {
        let mut alone = Words::default();
        alone.set(index, true);
        match self.reduced.iter().find(|(pivot, _)| *pivot == index) {
            Some((_, row)) => *row != alone,
            None => true,
        }
    }

    /// Sets of bits with a constant parity, a basis of all: for each bit in
    /// `solve`, where possible, one that holds no other of them; behind them
    /// those without any of these bits.
    pub(super) fn solved_for(&self, solve: Words) -> (Vec<(usize, Words)>, Vec<Words>) {
        let pivots: HashSet<usize> = self.reduced.iter().map(|(pivot, _)| *pivot).collect();
        let mut solved: Vec<(usize, Words)> = Vec::new();
        let mut rest = Vec::new();
        for free in (0..self.bits).filter(|index| !pivots.contains(index)) {
            let mut set = Words::default();
            set.set(free, true);
            for (pivot, row) in &self.reduced {
                if row.contains(free) {
                    set.set(*pivot, true);
                }
            }
            for (pivot, by) in &solved {
                if set.contains(*pivot) {
                    set = set.xor(*by);
                }
            }
            match set.and(solve).first_index() {
                Some(pivot) => {
                    for (_, other) in &mut solved {
                        if other.contains(pivot) {
                            *other = other.xor(set);
                        }
                    }
                    solved.push((pivot, set));
                }
                None => rest.push(set),
            }
        }
        (solved, rest)
    }
}

/// One bit's values, a frame a bit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Column([u64; 5]);

impl Column {
    pub(super) fn add(&mut self, other: &Column) {
        for (word, by) in self.0.iter_mut().zip(other.0) {
            *word ^= by;
        }
    }

    /// The column, turned over where it begins with 1; and whether it was.
    pub(super) fn beginning_with_zero(mut self, ones: &Column) -> (Self, bool) {
        let turned = self.0[0] & 1 == 1;
        if turned {
            self.add(ones);
        }
        (self, turned)
    }
}

/// Sums of sets of bits.
#[derive(Clone, Debug, Default)]
pub(super) struct Span(Vec<(usize, Words)>);

impl Span {
    pub(super) fn of(sets: impl IntoIterator<Item = Words>) -> Self {
        let mut span = Span::default();
        for set in sets {
            insert(&mut span.0, set);
        }
        span
    }

    pub(super) fn dimension(&self) -> usize {
        self.0.len()
    }

    pub(super) fn holds(&self, mut set: Words) -> bool {
        for (pivot, row) in &self.0 {
            if set.contains(*pivot) {
                set = set.xor(*row);
            }
        }
        set.is_empty()
    }

    /// The sums, each with a bit of its own: the same for the same span.
    pub(super) fn rows(mut self) -> Vec<Words> {
        // Each row's own bit is its first, and no other row holds it.
        self.0.sort_by_key(|(pivot, _)| *pivot);
        self.0.into_iter().map(|(_, row)| row).collect()
    }

    pub(super) fn reaches(&self, index: usize) -> bool {
        self.0.iter().any(|(_, row)| row.contains(index))
    }
}

/// The bits of a read that has none unread.
pub(super) fn words(read: &Bits) -> Words {
    Words(std::array::from_fn(|i| read.word(i)))
}

/// Adds a row to rows that each have a bit of their own; `false` where it was
/// a sum of them already.
fn insert(rows: &mut Vec<(usize, Words)>, mut row: Words) -> bool {
    for (pivot, by) in rows.iter() {
        if row.contains(*pivot) {
            row = row.xor(*by);
        }
    }
    let Some(pivot) = row.first_index() else { return false };
    for (_, other) in rows.iter_mut() {
        if other.contains(pivot) {
            *other = other.xor(row);
        }
    }
    rows.push((pivot, row));
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against galois, a general-purpose library: `testdata/learn/make.py`.
    #[test]
    fn ranks_and_null_spaces_are_those_of_an_independent_library() {
        #[derive(serde::Deserialize)]
        struct Made {
            cases: Vec<Case>,
        }
        #[derive(serde::Deserialize)]
        struct Case {
            frames: Vec<String>,
            rank: usize,
            null_space: Vec<String>,
        }
        let text = include_str!("../../../../testdata/learn/null_spaces.json");
        let made: Made = serde_json::from_str(text).unwrap();
        assert!(made.cases.len() >= 24);
        for case in made.cases {
            let reads: Vec<Bits> = case.frames.iter().map(|frame| frame.parse().unwrap()).collect();
            let bits = reads[0].len();
            let frames = Frames::of(&reads, bits);
            assert_eq!(frames.rank(), case.rank + 1);
            let theirs: Vec<Words> =
                case.null_space.iter().map(|set| words(&set.parse().unwrap())).collect();
            assert_eq!(frames.rules(), theirs.len());
            for solve in [Words::default(), Words::first(bits / 2)] {
                let (solved, rest) = frames.solved_for(solve);
                let ours: Vec<Words> =
                    solved.iter().map(|(_, set)| *set).chain(rest.iter().copied()).collect();
                assert_eq!(Span::of(ours.iter().copied()).rows(), Span::of(theirs.clone()).rows());
                for (pivot, _) in &solved {
                    let holding = ours.iter().filter(|set| set.contains(*pivot)).count();
                    assert_eq!((solve.contains(*pivot), holding), (true, 1));
                }
            }
            for index in 0..bits {
                let theirs = theirs.iter().any(|set| set.contains(index));
                assert_eq!(frames.is_in_a_rule(index), theirs);
            }
        }
    }
}
