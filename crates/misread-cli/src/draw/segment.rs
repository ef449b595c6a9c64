//! A read cut into the stretches that are drawn apart, and their columns.

use misread::layout::{Field, Fixed, Parity};
use misread::{Bits, Layout};

use super::COLUMNS;

/// The column where bits begin.
pub(super) const INDENT: usize = 2;

/// The groups of a read without a layout.
const LOOSE: usize = 8;

/// The longest stretch of bits that nothing claims; a field is no longer.
const LONGEST: usize = 64;

/// Layouts with more parity rules than this have their parity bits drawn
/// without a label each.
const LABELLED_PARITY: usize = 6;

/// Whom a stretch of bits belongs to.
#[derive(Clone, Copy, Debug)]
pub(super) enum Owner<'a> {
    Field(&'a Field),
    Fixed(&'a Fixed),
    Parity(&'a Parity),
    Unassigned,
    /// There is no layout to say.
    Nobody,
}

/// Consecutive bits with the same owner.
#[derive(Clone, Debug)]
pub(super) struct Segment<'a> {
    /// Index of the first bit, from 0.
    pub(super) first: usize,
    pub(super) len: usize,
    pub(super) owner: Owner<'a>,
    /// Whether an earlier segment shows part of the same owner.
    pub(super) continues: bool,
    /// What stands under it; empty for nothing.
    pub(super) label: String,
    /// Whether the label says that something is wrong.
    pub(super) alert: bool,
    /// Where its first bit is drawn, within its row.
    pub(super) column: usize,
}

impl Segment<'_> {
    /// Where its label hangs from.
    pub(super) fn anchor(&self) -> usize {
        let middle = self.column + self.len.saturating_sub(1) / 2;
        // A label that would run over the edge hangs from the first bit.
        if middle + self.label.chars().count() <= COLUMNS { middle } else { self.column }
    }

    pub(super) fn end(&self) -> usize {
        self.column + self.len
    }

    /// Where the bit at `index` is drawn, if it is one of these.
    pub(super) fn column_of(&self, index: usize) -> Option<usize> {
        (self.first..self.first + self.len)
            .contains(&index)
            .then(|| self.column + index - self.first)
    }
}

/// Whether the parity bits of a layout are too many for a label each.
pub(super) fn is_crowded(layout: &Layout) -> bool {
    layout.parity().len() > LABELLED_PARITY
}

/// The stretches of a frame of `layout`, in the order received, without labels.
pub(super) fn of_layout(layout: &Layout) -> Vec<Segment<'_>> {
    let mut owners = vec![Owner::Unassigned; layout.bits()];
    // Every bit is claimed at most once, so the order does not matter.
    for field in layout.fields() {
        field.indices().for_each(|index| claim(&mut owners, index, Owner::Field(field)));
    }
    for fixed in layout.fixed() {
        fixed.bits().for_each(|(index, _)| claim(&mut owners, index, Owner::Fixed(fixed)));
    }
    for rule in layout.parity() {
        claim(&mut owners, rule.bit(), Owner::Parity(rule));
    }
    let mut segments: Vec<Segment<'_>> = Vec::new();
    for (index, owner) in owners.into_iter().enumerate() {
        match segments.last_mut() {
            Some(last) if same(&last.owner, &owner) && !is_full(last) => last.len += 1,
            _ => {
                let continues = !matches!(owner, Owner::Unassigned)
                    && segments.iter().any(|other| same(&other.owner, &owner));
                segments.push(segment(index, 1, owner, continues));
            }
        }
    }
    segments
}

/// A read in groups of eight.
pub(super) fn of_bits(bits: &Bits) -> Vec<Segment<'static>> {
    (0..bits.len())
        .step_by(LOOSE)
        .map(|first| segment(first, LOOSE.min(bits.len() - first), Owner::Nobody, false))
        .collect()
}

/// Sets columns, and breaks the segments into rows that fit the page. A field
/// in pieces is kept whole where it fits a row; `crowded` says that the parity
/// bits between its pieces have no labels and go with it.
pub(super) fn rows(segments: Vec<Segment<'_>>, crowded: bool) -> Vec<Vec<Segment<'_>>> {
    let mut rows = vec![Vec::new()];
    for unit in units(segments, crowded) {
        let column = next_column(&rows);
        if column > INDENT && !fits(&unit, column) {
            rows.push(Vec::new());
        }
        // A unit wider than the page is broken where it must be.
        for segment in unit {
            let column = next_column(&rows);
            if column > INDENT && column + segment.len > COLUMNS {
                rows.push(Vec::new());
            }
            let column = next_column(&rows);
            if let Some(row) = rows.last_mut() {
                row.push(Segment { column, ..segment });
            }
        }
    }
    rows
}

fn next_column(rows: &[Vec<Segment<'_>>]) -> usize {
    rows.last().and_then(|row| row.last()).map_or(INDENT, |last| last.end() + 1)
}

fn fits(unit: &[Segment<'_>], column: usize) -> bool {
    let mut column = column;
    unit.iter().all(|segment| {
        let placed = Segment { column, ..segment.clone() };
        column = placed.end() + 1;
        placed.end() <= COLUMNS && placed.anchor() + placed.label.chars().count() <= COLUMNS
    })
}

fn units(segments: Vec<Segment<'_>>, crowded: bool) -> Vec<Vec<Segment<'_>>> {
    let mut units: Vec<Vec<Segment<'_>>> = Vec::new();
    for segment in segments {
        let joins = crowded
            && units.last().is_some_and(|unit| {
                let owners = || unit.iter().map(|other| &other.owner);
                matches!(segment.owner, Owner::Parity(_))
                    || (owners().any(|owner| same(owner, &segment.owner))
                        && owners().all(|owner| {
                            same(owner, &segment.owner) || matches!(owner, Owner::Parity(_))
                        }))
            });
        match units.last_mut() {
            Some(unit) if joins => unit.push(segment),
            _ => units.push(vec![segment]),
        }
    }
    units
}

fn segment(first: usize, len: usize, owner: Owner<'_>, continues: bool) -> Segment<'_> {
    Segment { first, len, owner, continues, label: String::new(), alert: false, column: 0 }
}

fn is_full(segment: &Segment<'_>) -> bool {
    matches!(segment.owner, Owner::Unassigned) && segment.len == LONGEST
}

fn claim<'a>(owners: &mut [Owner<'a>], index: usize, owner: Owner<'a>) {
    if let Some(place) = owners.get_mut(index) {
        *place = owner;
    }
}

pub(super) fn same(one: &Owner<'_>, other: &Owner<'_>) -> bool {
    match (one, other) {
        (Owner::Field(a), Owner::Field(b)) => std::ptr::eq(*a, *b),
        (Owner::Fixed(a), Owner::Fixed(b)) => std::ptr::eq(*a, *b),
        (Owner::Parity(a), Owner::Parity(b)) => std::ptr::eq(*a, *b),
        (Owner::Unassigned, Owner::Unassigned) => true,
        _ => false,
    }
}
