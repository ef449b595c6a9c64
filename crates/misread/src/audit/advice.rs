//! What to make of an audit, in sentences.

use misread_core::layout::{Layout, Mask};

use super::shares::Frames;
use super::{Audit, TakenFor};
use crate::cause::Cause;
use crate::diagnose::wording::{and, count, number_word, sentence};

const KNOWN_CARD: &str = "present a card whose number is known";

pub(super) fn advice(layout: &Layout, frames: &Frames, audit: &Audit) -> Vec<String> {
    let mut advice = vec![setting(layout, audit)];
    advice.extend(turned(frames, audit));
    advice.extend(bytes(audit));
    advice.extend(wrong_bits(audit));
    advice.extend(shorted(frames));
    advice.extend(others(&audit.taken_for));
    advice
}

/// What the panel should be set to check.
fn setting(layout: &Layout, audit: &Audit) -> String {
    let n = audit.bits;
    if audit.independent_checks == 0 {
        return format!(
            "No bit of this layout is checked: whatever {n} bits arrive are taken for a card. \
             Prove every card by its number."
        );
    }
    let parity = match layout.parity().len() {
        0 => None,
        1 => Some("the parity bit".to_owned()),
        2 => Some("both parity bits".to_owned()),
        many => Some(format!("all {} parity bits", number_word(many))),
    };
    let fixed: usize = layout.fixed().iter().map(|rule| rule.mask().count()).sum();
    let fixed = match fixed {
        0 => None,
        1 => Some("the fixed bit".to_owned()),
        many => Some(format!("the {} fixed bits", number_word(many))),
    };
    let checks = and(&[parity, fixed].into_iter().flatten().collect::<Vec<_>>());
    format!(
        "Set the panel to check {checks}: {} random reads of {n} bits then passes; unchecked, \
         every one does.",
        one_in(audit.random_accept)
    )
}

/// Swapped lines and a reversed order.
fn turned(frames: &Frames, audit: &Audit) -> Vec<String> {
    if audit.independent_checks == 0 {
        return vec![format!(
            "Swapped data lines and a reversed bit order never show: every card arrives as \
             another card. {} before anything is enrolled.",
            sentence(KNOWN_CARD)
        )];
    }
    let mut advice = Vec::new();
    let swapped = audit.share(Cause::LinesSwapped).unwrap_or(0.0);
    // Turning every bit over changes each check the same way for every frame.
    advice.push(if swapped == 0.0 {
        "Swapped data lines always show: no frame passes with every bit turned over.".to_owned()
    } else {
        format!(
            "Swapped data lines never show: with every bit turned over, each frame is that of \
             another card. {} before anything is enrolled.",
            sentence(KNOWN_CARD)
        )
    });
    let reversed = audit.share(Cause::BitOrderReversed).unwrap_or(0.0);
    advice.push(if reversed == 0.0 && frames.alike(&frames.inverted(), &frames.reversed()) {
        format!(
            "A reversed bit order always shows too, but looks exactly like swapped data lines: \
             {KNOWN_CARD} to tell them apart."
        )
    } else if reversed == 0.0 {
        "A reversed bit order always shows.".to_owned()
    } else if reversed < 0.01 {
        format!("A reversed bit order nearly always shows: {} cards passes.", one_in(reversed))
    } else if reversed == 1.0 {
        format!("A reversed bit order never shows: {KNOWN_CARD}.")
    } else {
        format!("A reversed bit order goes unseen on {} cards: try several.", one_in(reversed))
    });
    advice
}

fn bytes(audit: &Audit) -> Option<String> {
    audit.share(Cause::BytesReversed).map(|_| {
        let why = if audit.independent_checks == 0 {
            ""
        } else {
            ", since the checks are worked out from what is sent"
        };
        format!("A number sent with its bytes in reverse order never shows{why}: {KNOWN_CARD}.")
    })
}

fn wrong_bits(audit: &Audit) -> Vec<String> {
    if audit.independent_checks == 0 {
        return Vec::new();
    }
    let mut advice = Vec::new();
    if !audit.uncovered.is_empty() {
        let mut bits = Mask::new();
        audit.uncovered.iter().for_each(|&index| bits.insert(index));
        let (which, whose) = match audit.uncovered.len() {
            1 => ("A wrong bit", "it"),
            _ => ("One wrong bit in", "them"),
        };
        advice.push(format!("{which} {bits} never shows: no check covers {whose}."));
    }
    // The fewest wrong bits that can pass, where every bit is covered.
    let passes = |wrong: &usize| audit.undetected_share(*wrong).is_some_and(|share| share > 0.0);
    let fewest = (1..=audit.bits).find(passes);
    match fewest {
        Some(1) => {}
        Some(fewest) => {
            let always = match fewest - 1 {
                1 => "Any one wrong bit shows".to_owned(),
                most => format!("Up to {} wrong bits always show", number_word(most)),
            };
            let share = audit.undetected_share(fewest).unwrap_or(0.0);
            advice.push(format!(
                "{always}; of {}, {} go unseen.",
                count(fewest, "wrong bit"),
                percent(share)
            ));
        }
        None => advice.push("Any number of wrong bits shows.".to_owned()),
    }
    advice
}

fn shorted(frames: &Frames) -> Option<String> {
    let passing: Vec<String> = [(false, "all 0s"), (true, "all 1s")]
        .into_iter()
        .filter(|&(value, _)| frames.constant_passes(value) > 0.0)
        .map(|(_, says)| says.to_owned())
        .collect();
    let passing = match passing.as_slice() {
        [] => return None,
        [one] => one.clone(),
        many => many.join(" or "),
    };
    Some(format!(
        "A read of {passing} passes, and a fault on the lines can give one: never enrol the card \
         it stands for."
    ))
}

fn others(taken_for: &[TakenFor]) -> Vec<String> {
    let under = |cause| taken_for.iter().filter(move |taken| taken.cause == cause);
    let mut advice = Vec::new();
    let always: Vec<String> = under(Cause::None)
        .filter(|taken| taken.share == 1.0)
        .map(|taken| taken.layout.clone())
        .collect();
    if !always.is_empty() {
        advice.push(format!(
            "Every frame is also a sound one of {}: a panel set to the wrong one shows another \
             number and no fault. {} to prove the setting.",
            and(&always),
            sentence(KNOWN_CARD)
        ));
    }
    for taken in under(Cause::None).filter(|taken| taken.share < 1.0) {
        let TakenFor { layout, share, .. } = taken;
        advice
            .push(format!("{} frames is also a sound one of {layout}.", sentence(&one_in(*share))));
    }
    for (cause, says) in
        [(Cause::BothWeak, "With one pulse lost"), (Cause::BothNoise, "With one extra pulse")]
    {
        for TakenFor { layout, share, .. } in under(cause) {
            advice.push(if *share == 1.0 {
                format!("{says}, every frame passes as one of {layout}.")
            } else {
                format!("{says}, {} frames passes as one of {layout}.", one_in(*share))
            });
        }
    }
    advice
}

/// A share under 1 as "1 in 4".
fn one_in(share: f64) -> String {
    const MILLION: f64 = 1e6;
    let of = 1.0 / share;
    if of > MILLION {
        "fewer than 1 in a million".to_owned()
    } else if of < 1.5 || (of - of.round()).abs() > 0.05 * of {
        format!("about {} of 100", (100.0 * share).round())
    } else if (of - of.round()).abs() < 1e-6 {
        format!("1 in {}", of.round())
    } else {
        format!("about 1 in {}", of.round())
    }
}

fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent < 0.1 { "fewer than 1 in 1000".to_owned() } else { format!("{percent:.1} %") }
}
