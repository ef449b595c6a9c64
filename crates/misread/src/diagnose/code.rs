//! The frames a layout allows when some of the card is known: an affine space
//! over GF(2).

use misread_core::Bits;
use misread_core::layout::{Kind, Layout};

use super::gf2::{Equation, Words, eliminate, minimal_spans};

/// What is known of a frame: some bits and their values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Known {
    pub(crate) bits: Words,
    /// 0 wherever `bits` is.
    pub(crate) values: Words,
}

impl Known {
    pub(crate) fn insert(&mut self, index: usize, value: bool) {
        self.bits.set(index, true);
        self.values.set(index, value);
    }

    /// Both; `None` where they contradict each other.
    pub(crate) fn and_also(self, other: Known) -> Option<Known> {
        let both = self.bits.and(other.bits);
        self.values.xor(other.values).and(both).is_empty().then_some(Known {
            bits: self.bits.or(other.bits),
            values: self.values.or(other.values),
        })
    }

    /// What is known in both, and the same.
    pub(crate) fn both(self, other: Known) -> Known {
        let bits = self.bits.and(other.bits).without(self.values.xor(other.values));
        Known { bits, values: self.values.and(bits) }
    }

    /// The first 256 bits of a read, moved `offset` places along a frame of
    /// `n` bits; what falls outside is dropped.
    pub(crate) fn of_read(read: &Bits, offset: usize) -> Self {
        if offset == 0 {
            let unread = Words(std::array::from_fn(|i| read.unread_word(i)));
            let bits = Words::first(read.len()).without(unread);
            return Known { bits, values: Words(std::array::from_fn(|i| read.word(i))).and(bits) };
        }
        let mut known = Known::default();
        for (i, bit) in read.iter().enumerate() {
            if let Some(value) = bit.value().filter(|_| i + offset < 256) {
                known.insert(i + offset, value);
            }
        }
        known
    }
}

/// All frames of a layout that carry what is known, each equally likely.
#[derive(Clone, Debug)]
pub(crate) struct Code {
    pub(crate) n: usize,
    /// Fixed bits, known field values, and bits that the checks then force.
    pub(crate) known: Known,
    /// Independent checks on the other bits, in minimal spans.
    pub(crate) checks: Vec<Equation>,
    /// How many bits are not known.
    pub(crate) free: usize,
}

impl Code {
    /// `None` where what is known contradicts the layout.
    pub(crate) fn new(layout: &Layout, card: Known) -> Option<Self> {
        let n = layout.bits();
        let mut known = card;
        for (index, value) in layout.fixed().iter().flat_map(|rule| rule.bits()) {
            if known.bits.contains(index) && known.values.contains(index) != value {
                return None;
            }
            known.insert(index, value);
        }
        let checks: Vec<Equation> = layout
            .parity()
            .iter()
            .map(|rule| Equation { over: Words::of(rule.group()), odd: rule.kind() == Kind::Odd })
            .collect();
        Code { n, known, checks, free: 0 }.settled()
    }

    /// How many frames there are, as a power of two.
    pub(crate) fn log2_frames(&self) -> usize {
        self.free - self.checks.len()
    }

    /// The bits of a frame that are not known.
    pub(crate) fn free_bits(&self) -> Words {
        Words::first(self.n).without(self.known.bits)
    }

    /// What the frames look like where they are seen only at `bits`.
    pub(crate) fn seen_at(&self, bits: Words) -> Window {
        let seen = bits.and(self.free_bits());
        let unseen = self.free_bits().without(seen);
        let left = eliminate(&self.checks, unseen);
        Window {
            known: Known { bits: self.known.bits.and(bits), values: self.known.values.and(bits) },
            checks: left.rest,
            log2_share: (self.free - seen.count()) as i32
                - left.solved.len() as i32
                - self.log2_frames() as i32,
        }
    }

    /// The frames that agree with what was seen; `None` if there are none, as
    /// where more was seen than a frame has.
    pub(crate) fn narrowed(&self, seen: Known) -> Option<Code> {
        if !seen.bits.without(Words::first(self.n)).is_empty() {
            return None;
        }
        let known = self.known.and_also(seen)?;
        Code { n: self.n, known, checks: self.checks.clone(), free: 0 }.settled()
    }

    /// Puts what is known into the checks, brings them to minimal spans, and
    /// adds to what is known the bits they force. `None` for a contradiction.
    fn settled(mut self) -> Option<Code> {
        loop {
            for check in &mut self.checks {
                check.substitute(self.known.bits, self.known.values);
            }
            self.checks = minimal_spans(&self.checks)?;
            // In minimal spans, a bit that the checks force has a check of its
            // own.
            let (forced, open) = self.checks.iter().partition(|check| check.over.count() == 1);
            self.checks = open;
            let forced: Vec<Equation> = forced;
            if forced.is_empty() {
                self.free = self.n - self.known.bits.count();
                return Some(self);
            }
            for check in forced {
                if let Some(index) = check.over.first_index() {
                    self.known.insert(index, check.odd);
                }
            }
        }
    }

    /// Where one check or more is still open, after each bit: the number of
    /// them. A check is open from its first bit to the one before its last.
    pub(crate) fn open_checks(&self) -> Vec<usize> {
        let mut open = vec![0; self.n];
        for check in &self.checks {
            if let (Some(first), Some(last)) = (check.over.first_index(), check.over.last_index()) {
                open[first..last].iter_mut().for_each(|count| *count += 1);
            }
        }
        open
    }
}

/// What the frames of a [`Code`] look like at some of their bits.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    /// The known bits among those seen.
    pub(crate) known: Known,
    /// What the seen bits must meet.
    checks: Vec<Equation>,
    /// The probability, as a power of two, of each sight that meets it.
    log2_share: i32,
}

impl Window {
    /// The probability of seeing these values, as a power of two; `None` for
    /// never.
    pub(crate) fn log2_probability(&self, values: Words) -> Option<i32> {
        let agrees = values.xor(self.known.values).and(self.known.bits).is_empty();
        (agrees && self.checks.iter().all(|check| check.holds_with(values, &self.known)))
            .then_some(self.log2_share)
    }
}

impl Equation {
    /// Known bits were put in already, so they are left out of the sum.
    fn holds_with(&self, values: Words, known: &Known) -> bool {
        self.holds(values.without(known.bits))
    }
}
