//! Linear equations over GF(2) on the bits of a frame.

use misread_core::layout::Mask;

/// The bits of a frame as words: index 0 is the top of the first word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Words(pub(crate) [u64; 4]);

impl Words {
    pub(crate) fn of(mask: &Mask) -> Self {
        Words(mask.words())
    }

    /// The first `n` bits set.
    pub(crate) fn first(n: usize) -> Self {
        let mut words = [0; 4];
        for (i, word) in words.iter_mut().enumerate() {
            let bits = n.saturating_sub(64 * i).min(64);
            *word = if bits == 0 { 0 } else { u64::MAX << (64 - bits) };
        }
        Words(words)
    }

    pub(crate) fn contains(&self, index: usize) -> bool {
        self.0[index / 64] >> (63 - index % 64) & 1 == 1
    }

    pub(crate) fn set(&mut self, index: usize, value: bool) {
        let bit = 1 << (63 - index % 64);
        if value {
            self.0[index / 64] |= bit;
        } else {
            self.0[index / 64] &= !bit;
        }
    }

    pub(crate) fn and(self, other: Words) -> Words {
        Words(std::array::from_fn(|i| self.0[i] & other.0[i]))
    }

    pub(crate) fn or(self, other: Words) -> Words {
        Words(std::array::from_fn(|i| self.0[i] | other.0[i]))
    }

    pub(crate) fn xor(self, other: Words) -> Words {
        Words(std::array::from_fn(|i| self.0[i] ^ other.0[i]))
    }

    pub(crate) fn without(self, other: Words) -> Words {
        Words(std::array::from_fn(|i| self.0[i] & !other.0[i]))
    }

    pub(crate) fn is_empty(self) -> bool {
        self.0 == [0; 4]
    }

    pub(crate) fn count(self) -> usize {
        self.0.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// Whether an odd number of bits is set.
    pub(crate) fn is_odd(self) -> bool {
        self.0.iter().fold(0, |sum, word| sum ^ word).count_ones() & 1 == 1
    }

    pub(crate) fn first_index(self) -> Option<usize> {
        let word = self.0.iter().position(|&word| word != 0)?;
        Some(64 * word + self.0[word].leading_zeros() as usize)
    }

    pub(crate) fn last_index(self) -> Option<usize> {
        let word = self.0.iter().rposition(|&word| word != 0)?;
        Some(64 * word + 63 - self.0[word].trailing_zeros() as usize)
    }

    pub(crate) fn indices(self) -> impl Iterator<Item = usize> {
        let mut rest = self;
        std::iter::from_fn(move || {
            let index = rest.first_index()?;
            rest.set(index, false);
            Some(index)
        })
    }
}

/// The sum of the bits in `over` is `odd`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Equation {
    pub(crate) over: Words,
    pub(crate) odd: bool,
}

impl Equation {
    fn add(&mut self, other: Equation) {
        self.over = self.over.xor(other.over);
        self.odd ^= other.odd;
    }

    /// Puts in the values of the bits in `bits`.
    pub(crate) fn substitute(&mut self, bits: Words, values: Words) {
        self.odd ^= self.over.and(bits).and(values).is_odd();
        self.over = self.over.without(bits);
    }

    pub(crate) fn holds(&self, values: Words) -> bool {
        self.over.and(values).is_odd() == self.odd
    }
}

/// What is left of a system once some bits are eliminated.
pub(crate) struct Eliminated {
    /// Independent equations, each solved for a bit of the eliminated set that
    /// no other of them holds.
    pub(crate) solved: Vec<(usize, Equation)>,
    /// Equations on the other bits alone. One over no bits that asks for an
    /// odd sum is a contradiction.
    pub(crate) rest: Vec<Equation>,
}

/// Eliminates the bits of `away` as far as the equations allow.
pub(crate) fn eliminate(equations: &[Equation], away: Words) -> Eliminated {
    let mut solved: Vec<(usize, Equation)> = Vec::new();
    let mut rest = Vec::new();
    for &equation in equations {
        let mut equation = equation;
        for &(pivot, by) in &solved {
            if equation.over.contains(pivot) {
                equation.add(by);
            }
        }
        match equation.over.and(away).first_index() {
            Some(pivot) => {
                for (_, other) in &mut solved {
                    if other.over.contains(pivot) {
                        other.add(equation);
                    }
                }
                solved.push((pivot, equation));
            }
            None => rest.push(equation),
        }
    }
    Eliminated { solved, rest }
}

/// Adds equations to one another until all first bits differ and all last bits
/// differ: then no other choice of equations spans fewer bits. `None` for a
/// contradiction; dependent equations are dropped.
pub(crate) fn minimal_spans(equations: &[Equation]) -> Option<Vec<Equation>> {
    let all = Words([u64::MAX; 4]);
    let Eliminated { solved, rest } = eliminate(equations, all);
    if rest.iter().any(|equation| equation.odd) {
        return None;
    }
    let mut rows: Vec<Equation> = solved.into_iter().map(|(_, equation)| equation).collect();
    // Solved for first bits, so those differ. Where two end together, adding
    // the one that begins later to the other shortens it and keeps its first
    // bit, so this ends.
    rows.sort_by_key(|row| row.over.first_index());
    loop {
        let mut by_last = [None; 256];
        let mut clash = None;
        for (i, row) in rows.iter().enumerate() {
            let last = row.over.last_index()?;
            if let Some(earlier) = by_last[last] {
                clash = Some((earlier, i));
                break;
            }
            by_last[last] = Some(i);
        }
        let Some((earlier, later)): Option<(usize, usize)> = clash else { return Some(rows) };
        let by = rows[later];
        rows[earlier].add(by);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn satisfies(equations: &[Equation], value: u16) -> bool {
        equations.iter().all(|equation| equation.holds(Words([u64::from(value) << 48, 0, 0, 0])))
    }

    fn any_equations() -> impl Strategy<Value = Vec<Equation>> {
        proptest::collection::vec((0u64..1 << 10, any::<bool>()), 0..8).prop_map(|rows| {
            rows.into_iter()
                .map(|(bits, odd)| Equation { over: Words([bits << 54, 0, 0, 0]), odd })
                .collect()
        })
    }

    proptest! {
        /// Every choice of ten bits, before and after.
        #[test]
        fn minimal_spans_have_the_same_solutions(equations in any_equations()) {
            let solutions: Vec<u16> =
                (0..1024).map(|v| v << 6).filter(|&v| satisfies(&equations, v)).collect();
            match minimal_spans(&equations) {
                None => prop_assert!(solutions.is_empty()),
                Some(rows) => {
                    let after: Vec<u16> =
                        (0..1024).map(|v| v << 6).filter(|&v| satisfies(&rows, v)).collect();
                    prop_assert_eq!(&after, &solutions);
                    prop_assert_eq!(after.len(), 1 << (10 - rows.len()));
                    for ends in [Words::first_index, Words::last_index] {
                        let mut seen: Vec<_> = rows.iter().map(|row| ends(row.over)).collect();
                        seen.sort();
                        seen.dedup();
                        prop_assert_eq!(seen.len(), rows.len());
                    }
                }
            }
        }

        #[test]
        fn elimination_leaves_what_the_other_bits_must_meet(
            equations in any_equations(),
            away in 0u64..1 << 10,
        ) {
            let away = Words([away << 54, 0, 0, 0]);
            let left = eliminate(&equations, away);
            // A choice of the other bits extends to a solution exactly when it
            // meets what is left.
            for value in (0..1024u16).map(|v| v << 6) {
                let kept = Words([u64::from(value) << 48, 0, 0, 0]).without(away);
                let extends = (0..1024u16).map(|v| v << 6).any(|other| {
                    let other = Words([u64::from(other) << 48, 0, 0, 0]);
                    other.without(away) == kept
                        && equations.iter().all(|equation| equation.holds(other))
                });
                prop_assert_eq!(left.rest.iter().all(|e| e.holds(kept)), extends);
            }
        }
    }

    #[test]
    fn words_count_from_the_front() {
        let mut words = Words::default();
        words.set(0, true);
        words.set(70, true);
        words.set(255, true);
        assert_eq!(words.indices().collect::<Vec<_>>(), [0, 70, 255]);
        assert_eq!((words.first_index(), words.last_index()), (Some(0), Some(255)));
        assert_eq!(Words::first(70).count(), 70);
        assert_eq!(Words::first(256).count(), 256);
        assert!(words.is_odd() && !Words::default().is_odd());
    }
}
