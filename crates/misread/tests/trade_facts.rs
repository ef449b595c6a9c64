//! What the trade knows falls out of the model: none of it is written into the
//! diagnosis.

#![allow(clippy::unwrap_used)]

use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{CardState, Cause, Model};
use misread::channel::{Fault, Held, draw_frame, seeded, send};
use misread::diagnose::{Candidates, Case, Posterior, posterior};
use misread::layout::{Kind, Layout, Spec, built_in};
use misread::{Bit, Bits};
use proptest::prelude::*;

fn layout(spec: &Spec<'_>) -> Layout {
    Layout::new(spec).unwrap()
}

fn of_layout(spec: &Spec<'_>, case: &Case) -> Posterior {
    let candidates = Candidates::weighted([(Arc::new(layout(spec)), 1.0)]);
    posterior(case, &candidates, &Model::default(), &mut |_| ControlFlow::Continue(())).unwrap()
}

fn through(cause: Cause, layout: &Layout, frame: &Bits) -> Bits {
    let fault = Fault::new(cause, Held::Nothing).unwrap();
    send(&fault, layout, frame, &mut seeded(0, 0)).unwrap().reads[0].bits
}

fn parity_holds(layout: &Layout, read: &Bits) -> Vec<bool> {
    let ones = |rule: &misread::layout::Parity| {
        rule.group().indices().filter(|&index| read.get(index) == Some(Bit::One)).count()
    };
    layout.parity().iter().map(|rule| (ones(rule) % 2 == 1) == (rule.kind() == Kind::Odd)).collect()
}

fn ratio(found: &Posterior, one: Cause, other: Cause) -> f64 {
    found.of_wire(one) / found.of_wire(other)
}

fn prior_ratio(one: Cause, other: Cause) -> f64 {
    let model = Model::default();
    model.prior(one) / model.prior(other)
}

fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= 1e-9 * expected
}

/// Neither can be told from the other by these reads.
fn alike(found: &Posterior, one: Cause, other: Cause) -> bool {
    close(ratio(found, one, other), prior_ratio(one, other))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Derived: each parity group of the open layout has 13 bits with its
    /// parity bit, an odd number, so turning all of them over turns its parity.
    #[test]
    fn swapped_lines_fail_both_parity_bits_of_the_open_layout(
        facility in 0..256u64,
        card in 0..65_536u64,
    ) {
        let open = layout(&built_in::OPEN_26);
        let frame = open.encode([("facility", facility), ("card", card)]).unwrap();
        prop_assert_eq!(parity_holds(&open, &frame), [true, true]);
        let swapped = through(Cause::LinesSwapped, &open, &frame);
        prop_assert_eq!(parity_holds(&open, &swapped), [false, false]);
        let found = of_layout(&built_in::OPEN_26, &Case::of([swapped]));
        prop_assert_eq!(found.of_wire(Cause::None), 0.0);
        // Arithmetic: every field arrives as its largest value minus itself.
        let turned = swapped.complement();
        let shown = open.decode(&turned).unwrap();
        prop_assert_eq!(shown.value("facility"), Some(facility));
        let as_shown = |name| open.field(name).unwrap().value_in(&swapped).unwrap();
        prop_assert_eq!(as_shown("facility"), 255 - facility);
        prop_assert_eq!(as_shown("card"), 65_535 - card);
    }

    /// Derived: reversing an open frame fails both parity bits too and looks
    /// exactly like swapped lines. Without a known card the odds of the two
    /// are their priors', whatever the card; with one they move.
    #[test]
    fn a_reversed_open_frame_looks_like_swapped_lines(
        facility in 0..256u64,
        card in 0..65_536u64,
    ) {
        let open = layout(&built_in::OPEN_26);
        let frame = open.encode([("facility", facility), ("card", card)]).unwrap();
        let reversed = through(Cause::BitOrderReversed, &open, &frame);
        let swapped = through(Cause::LinesSwapped, &open, &frame);
        prop_assert_eq!(parity_holds(&open, &reversed), [false, false]);
        for read in [reversed, swapped] {
            let found = of_layout(&built_in::OPEN_26, &Case::of([read]));
            prop_assert!(alike(&found, Cause::LinesSwapped, Cause::BitOrderReversed));
            prop_assert!(alike(&found, Cause::LinesSwapped, Cause::BitsInverted));
        }
        prop_assume!(reversed != swapped);
        let known = [("facility", facility), ("card", card)];
        let found = of_layout(&built_in::OPEN_26, &Case::of([reversed]).expecting(known));
        prop_assert!(ratio(&found, Cause::BitOrderReversed, Cause::LinesSwapped) > 1e3);
        let found = of_layout(&built_in::OPEN_26, &Case::of([swapped]).expecting(known));
        prop_assert!(ratio(&found, Cause::LinesSwapped, Cause::BitOrderReversed) > 1e3);
    }

    /// Swapped lines and bits recorded the other way round give the same bits
    /// always: whatever the layout, the read and what is known of the card,
    /// the odds stay 6 to 1.
    #[test]
    fn swapped_lines_and_inverted_bits_keep_their_odds(
        seed in any::<u64>(),
        spec in prop::sample::select(&built_in::SPECS[..9]),
        known in any::<bool>(),
    ) {
        let layout = layout(spec);
        let random = &mut seeded(seed, 0);
        let frame = draw_frame(&layout, [], random).unwrap();
        let mut read = through(Cause::LinesSwapped, &layout, &frame);
        read.set(seed as usize % read.len(), Bit::Unread);
        let mut case = Case::of([read]);
        if known {
            let decoded = layout.decode(&frame).unwrap();
            let values: Vec<_> = decoded.values().map(|(f, v)| (f.name(), v.unwrap())).collect();
            case = case.expecting(values);
        }
        let found = of_layout(spec, &case);
        prop_assert!(alike(&found, Cause::LinesSwapped, Cause::BitsInverted));
    }

    /// A layout without checks takes any bits: sound, swapped, inverted and
    /// reversed keep the odds of their priors until a card is known.
    #[test]
    fn a_plain_layout_cannot_tell(number in any::<u32>()) {
        let read = Bits::from_value(u64::from(number), 32).unwrap();
        let found = of_layout(&built_in::PLAIN_32, &Case::of([read]));
        for cause in
            [Cause::LinesSwapped, Cause::BitsInverted, Cause::BitOrderReversed, Cause::BytesReversed]
        {
            prop_assert!(alike(&found, Cause::None, cause), "{}", cause);
        }
        let known = [("card", u64::from(!number))];
        let found = of_layout(&built_in::PLAIN_32, &Case::of([read]).expecting(known));
        prop_assert!(ratio(&found, Cause::LinesSwapped, Cause::None) > 10.0);
        prop_assert!(alike(&found, Cause::LinesSwapped, Cause::BitsInverted));
    }

    /// Where only the facility code is expected, a differing facility code and
    /// a different card keep the odds of their priors, 2.5 to 1.
    #[test]
    fn a_differing_facility_is_like_a_different_card(
        facility in 0..256u64,
        card in 0..65_536u64,
    ) {
        let open = layout(&built_in::OPEN_26);
        let frame = open.encode([("facility", facility), ("card", card)]).unwrap();
        let case = Case::of([frame]).expecting([("facility", 42)]);
        let found = of_layout(&built_in::OPEN_26, &case);
        let (one, other) = (CardState::FacilityDiffers, CardState::DifferentCard);
        prop_assert!(close(found.of_card(one) / found.of_card(other), 2.5));
    }

    /// Derived: each parity group of the 34-bit layouts has 17 bits with its
    /// parity bit, an odd number, and one is even where the other is odd, so
    /// they behave as the open layout does.
    #[test]
    fn the_34_bit_layouts_are_like_the_open_one(seed in any::<u64>()) {
        for spec in [&built_in::SITE_34, &built_in::SERIAL_34] {
            let layout = layout(spec);
            let frame = draw_frame(&layout, [], &mut seeded(seed, 0)).unwrap();
            for cause in [Cause::LinesSwapped, Cause::BitOrderReversed] {
                let read = through(cause, &layout, &frame);
                prop_assert_eq!(parity_holds(&layout, &read), [false, false]);
                let found = of_layout(spec, &Case::of([read]));
                prop_assert!(alike(&found, Cause::LinesSwapped, Cause::BitOrderReversed));
            }
        }
    }
}

/// Derived: swapped lines leave an 8-bit keypad frame consistent, digit d
/// becomes 15 − d; so nothing but a known key tells.
#[test]
fn swapped_lines_leave_a_keypad_frame_consistent() {
    let keys = layout(&built_in::KEY_8);
    for key in 0..16u64 {
        let frame = keys.encode([("key", key)]).unwrap();
        let swapped = through(Cause::LinesSwapped, &keys, &frame);
        assert_eq!(keys.decode(&swapped).unwrap().value("key"), Some(15 - key));
        let found = of_layout(&built_in::KEY_8, &Case::of([swapped]));
        assert!(alike(&found, Cause::None, Cause::LinesSwapped));
        let found = of_layout(&built_in::KEY_8, &Case::of([swapped]).expecting([("key", key)]));
        assert!(ratio(&found, Cause::LinesSwapped, Cause::None) > 1.0);
    }
}

/// Derived: a random 26-bit frame passes both parity bits 1 time in 4: whatever
/// the other bits are, one of the four pairs of parity bits.
#[test]
fn one_random_frame_in_four_passes_the_open_layout() {
    let open = layout(&built_in::OPEN_26);
    let read: Bits = "?001010100000010011010010?".parse().unwrap();
    let passing = (0..4).filter(|value| {
        let mut read = read;
        read.set(0, Bit::from(value & 1 == 1));
        read.set(25, Bit::from(value & 2 == 2));
        of_layout(&built_in::OPEN_26, &Case::of([read])).of_wire(Cause::None) > 0.0
    });
    assert_eq!(passing.count(), 1);
    assert_eq!(open.independent_checks(), 2);
}

/// An open conductor leaves only the other line's bits, which say nothing of
/// their order: the number of 1s is all a read of D0 open can tell, so two
/// cards with as many 1s are alike.
#[test]
fn an_open_line_leaves_a_count() {
    let open = layout(&built_in::OPEN_26);
    let frame = |card| open.encode([("facility", 42), ("card", card)]).unwrap();
    let read = through(Cause::D0Open, &open, &frame(0x00d2));
    assert_eq!(read, through(Cause::D0Open, &open, &frame(0x002d)));
    assert!(read.iter().all(|bit| bit == Bit::One));
    let found = of_layout(&built_in::OPEN_26, &Case::of([read]));
    assert!(found.of_wire(Cause::D0Open) > 0.9);
}

/// Six reads of one known card point to a weak line more surely than one does.
#[test]
fn more_reads_settle_a_weak_line() {
    let open = layout(&built_in::OPEN_26);
    let frame = open.encode([("facility", 42), ("card", 1234)]).unwrap();
    let weak = Fault::new(Cause::D0Weak, Held::Rate(0.15)).unwrap();
    let random = &mut seeded(4, 0);
    let reads: Vec<Bits> =
        (0..6).map(|_| send(&weak, &open, &frame, random).unwrap().reads[0].bits).collect();
    let known = [("facility", 42), ("card", 1234)];
    let sure = |count: usize| {
        let case = Case::of(reads[..count].iter().copied()).expecting(known);
        of_layout(&built_in::OPEN_26, &case).of_wire(Cause::D0Weak)
    };
    assert!(sure(6) > 0.95 && sure(6) > sure(1), "{} {}", sure(1), sure(6));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// A wrong expected number is a card or a wiring question, never a
    /// floating wire: a whole frame that passes its checks speaks against it.
    #[test]
    fn a_wrong_expected_number_is_never_called_a_floating_wire(
        sent in (0..256u64, 0..65_536u64),
        expected in (0..256u64, 0..65_536u64),
        both in any::<bool>(),
    ) {
        let open = layout(&built_in::OPEN_26);
        let frame = open.encode([("facility", sent.0), ("card", sent.1)]).unwrap();
        let values = [("card", expected.1), ("facility", expected.0)];
        let case = Case::of([frame]).expecting(values.into_iter().take(if both { 2 } else { 1 }));
        let found = of_layout(&built_in::OPEN_26, &case);
        prop_assert!(found.of_wire(Cause::RandomBits) < 1e-3);
        prop_assert!(found.of_wire(Cause::UnknownLayout) < 0.01);
    }
}
