//! What is known of a presented card in a card state.

use misread_core::layout::Field;
use misread_core::{Bits, Layout};

use crate::cause::{CardState, NEIGHBOUR_BITS};
use crate::diagnose::{Expected, FACILITY};

/// The fields of which something is known, in the order of the expected list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Known(Vec<KnownField>);

/// A field whose bits are known but for some of the lowest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct KnownField {
    /// Its place in the layout.
    field: usize,
    /// The known bits as the top of its word, moved down.
    raw: u64,
    /// How many of the lowest bits are open.
    open: usize,
}

impl Known {
    /// What is known of a card of this layout. `None` where the state is
    /// impossible for it, or it cannot carry what is expected, dropped by the
    /// state or not. `near` says of [`CardState::CardDiffers`] whether the card
    /// is a neighbour.
    pub(super) fn of(
        layout: &Layout,
        expected: &Expected,
        state: CardState,
        near: bool,
    ) -> Option<Known> {
        if state == CardState::FacilityDiffers && layout.field(FACILITY).is_none() {
            return None;
        }
        let mut known = Vec::with_capacity(expected.len());
        for (name, &number) in expected {
            let index = layout.fields().iter().position(|field| field.name() == name)?;
            let field = layout.fields().get(index)?;
            let raw = field.to_raw(number)?;
            let open = match state {
                CardState::AsExpected => 0,
                CardState::FacilityDiffers if name != FACILITY => 0,
                CardState::CardDiffers if name == FACILITY => 0,
                CardState::CardDiffers if near => NEIGHBOUR_BITS,
                _ => continue,
            };
            known.push(KnownField { field: index, raw: raw >> open, open });
        }
        Some(Known(known))
    }

    /// What is known of the one card of two reads; `None` where they are given
    /// different ones.
    pub(super) fn together(self, other: Known) -> Option<Known> {
        match (self.0.is_empty(), other.0.is_empty()) {
            (true, _) => Some(other),
            (_, true) => Some(self),
            _ => (self == other).then_some(self),
        }
    }

    /// Whole fields of a layout; `None` where it lacks one or a number is too
    /// large for it.
    pub(super) fn whole<'a>(
        layout: &Layout,
        values: impl IntoIterator<Item = (&'a str, u64)>,
    ) -> Option<Known> {
        let whole = |(name, number)| {
            let field = layout.fields().iter().position(|field| field.name() == name)?;
            let raw = layout.fields().get(field)?.to_raw(number)?;
            Some(KnownField { field, raw, open: 0 })
        };
        values.into_iter().map(whole).collect::<Option<_>>().map(Known)
    }

    /// Puts what is known into a frame of the layout.
    pub(super) fn put(&self, layout: &Layout, frame: &mut Bits) {
        for known in &self.0 {
            if let Some(field) = layout.fields().get(known.field) {
                put(frame, field, known.raw, known.open);
            }
        }
    }
}

/// Puts a word into a field's bits but for the lowest so many.
pub(super) fn put(frame: &mut Bits, field: &Field, raw: u64, open: usize) {
    for (shift, index) in field.indices().rev().skip(open).enumerate() {
        frame.set(index, (raw >> shift & 1 == 1).into());
    }
}

#[cfg(test)]
mod tests {
    use misread_core::layout::built_in;

    use super::*;
    use crate::channel::frame::draw_known;
    use crate::channel::seeded;

    fn expected(facility: u64, card: u64) -> Expected {
        Expected::from([("facility".to_owned(), facility), ("card".to_owned(), card)])
    }

    /// What frames of a state carry, many drawn.
    fn carried(state: CardState, near: bool) -> Vec<(u64, u64)> {
        let layout = Layout::new(&built_in::OPEN_26).unwrap();
        let known = Known::of(&layout, &expected(42, 1234), state, near).unwrap();
        let random = &mut seeded(1, 0);
        let mut carried: Vec<_> = (0..4_000)
            .map(|_| {
                let frame = draw_known(&layout, &known, random);
                let card = layout.decode(&frame).unwrap();
                (card.value("facility").unwrap(), card.value("card").unwrap())
            })
            .collect();
        carried.sort_unstable();
        carried.dedup();
        carried
    }

    #[test]
    fn each_state_holds_what_it_says() {
        assert_eq!(carried(CardState::AsExpected, false), [(42, 1234)]);
        let facility = carried(CardState::FacilityDiffers, false);
        assert!(facility.iter().all(|&(_, card)| card == 1234));
        assert_eq!(facility.len(), 256);
        // 1234 is 4·256 + 210: its neighbours are 1024 to 1279.
        let near: Vec<_> = (1024..1280).map(|card| (42, card)).collect();
        assert_eq!(carried(CardState::CardDiffers, true), near);
        let far = carried(CardState::CardDiffers, false);
        assert!(far.iter().all(|&(facility, _)| facility == 42) && far.len() > 3_000);
        let other = carried(CardState::DifferentCard, false);
        assert!(other.iter().any(|&(facility, _)| facility != 42) && other.len() > 3_900);
    }

    #[test]
    fn two_reads_of_one_card_may_be_told_neighbours() {
        let layout = Layout::new(&built_in::OPEN_26).unwrap();
        let together = |state, near| {
            let known = |card| Known::of(&layout, &expected(42, card), state, near).unwrap();
            known(1234).together(known(1235))
        };
        assert_eq!(together(CardState::AsExpected, false), None);
        assert!(together(CardState::CardDiffers, true).is_some());
        assert!(together(CardState::CardDiffers, false).is_some());
        let too_large = expected(42, 70_000);
        assert_eq!(Known::of(&layout, &too_large, CardState::DifferentCard, false), None);
    }

    #[test]
    fn a_layout_without_a_facility_code_has_no_other_one() {
        let layout = Layout::new(&built_in::PLAIN_32).unwrap();
        let card = Expected::from([("card".to_owned(), 305_419_897)]);
        assert_eq!(Known::of(&layout, &card, CardState::FacilityDiffers, false), None);
        assert!(Known::of(&layout, &card, CardState::CardDiffers, true).is_some());
    }
}
