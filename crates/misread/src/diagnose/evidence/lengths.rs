//! Reads whose length tells: pulses lost, added, doubled or cut off.

use misread_core::layout::Layout;
use misread_core::{Bit, Bits};

use super::{Exhibit, verb};
use crate::cause::Cause;
use crate::diagnose::align::{Aligned, align};
use crate::diagnose::wording::{Numbers, and, count, number_word};

pub(super) fn only_one_value(
    layout: &Layout,
    exhibit: &Exhibit<'_>,
    bit: Bit,
    name: char,
    numbers: Numbers,
) -> String {
    let arrived = exhibit.read.len();
    let only = format!("only {name}s arrived, {} of them", number_word(arrived));
    let frame = &exhibit.found.frame;
    // How many 1s a number has tells much of it.
    if frame.unread_count() == 0 && numbers == Numbers::Shown {
        let has = frame.iter().filter(|&b| b == bit).count();
        format!("{only}; this card has {}.", number_word(has))
    } else {
        format!("{only}, where a frame of {} has {} bits.", layout.name(), layout.bits())
    }
}

pub(super) fn shorted(layout: &Layout, read: &Bits) -> String {
    let n = layout.bits();
    if read.len() == 2 * n {
        format!(
            "{} bits arrived, twice the {n} of {}, and 0 and 1 alternate throughout: each pulse \
             was seen on both lines.",
            read.len(),
            layout.name()
        )
    } else {
        let value = if read.count_ones() > 0 { 1 } else { 0 };
        format!(
            "{n} bits arrived, as many as {} has, every one a {value}: each pulse was seen on \
             both lines and taken as {value}.",
            layout.name()
        )
    }
}

pub(super) fn lost(
    cause: Cause,
    layout: &Layout,
    rate: Option<f64>,
    exhibit: &Exhibit<'_>,
    numbers: Numbers,
) -> Vec<String> {
    let (read, frame) = (&exhibit.read, &exhibit.found.frame);
    let missing = layout.bits() - read.len().min(layout.bits());
    let way = rate.and_then(|rate| align(cause, rate, frame, read));
    let Some(way) = way else {
        return vec![format!(
            "{} of {}'s {} bits arrived; {} missing.",
            number_word(read.len()),
            layout.name(),
            layout.bits(),
            are(missing)
        )];
    };
    if missing == 0 {
        return vec![format!(
            "every bit of the frame arrived, so if {} any pulses it lost none this time.",
            loses(cause)
        )];
    }
    let arrived_of = |value: Bit| {
        let has = frame.iter().filter(|&bit| bit == value).count();
        let arrived = way.iter().filter(|step| {
            matches!(step, Aligned::Arrived { frame: f, .. } if frame.get(*f) == Some(value))
        });
        (arrived.count(), has)
    };
    let (zeros, all_zeros) = arrived_of(Bit::Zero);
    let (ones, all_ones) = arrived_of(Bit::One);
    let part = |arrived: usize, has: usize, name: &str| {
        let all = if name == "0" { "zeros" } else { "ones" };
        match numbers {
            _ if arrived == has => format!("every {name}"),
            Numbers::Shown => format!("{arrived} of the card's {has} {all}"),
            Numbers::Masked => format!("some of the card's {all}"),
        }
    };
    vec![match cause {
        Cause::D0Weak => format!(
            "{} arrived and {}: D0 loses pulses.",
            part(zeros, all_zeros, "0"),
            part(ones, all_ones, "1")
        ),
        Cause::D1Weak => format!(
            "{} arrived and {}: D1 loses pulses.",
            part(ones, all_ones, "1"),
            part(zeros, all_zeros, "0")
        ),
        _ => format!(
            "{} and {} arrived: pulses are lost.",
            part(zeros, all_zeros, "0"),
            part(ones, all_ones, "1")
        ),
    }]
}

fn loses(cause: Cause) -> &'static str {
    match cause {
        Cause::D0Weak => "D0 loses",
        Cause::D1Weak => "D1 loses",
        _ => "the lines lose",
    }
}

fn are(n: usize) -> String {
    format!("{} {}", number_word(n), verb(n, "is", "are"))
}

pub(super) fn extra(
    cause: Cause,
    layout: &Layout,
    rate: Option<f64>,
    exhibit: &Exhibit<'_>,
) -> Vec<String> {
    let (read, frame) = (&exhibit.read, &exhibit.found.frame);
    let more = read.len().saturating_sub(layout.bits());
    if more == 0 {
        return vec![
            "as many bits arrived as the layout has, so no pulse was added this time.".into(),
        ];
    }
    let arrived = format!(
        "{} bits arrived, {} more than {} has",
        read.len(),
        number_word(more),
        layout.name()
    );
    let Some(way) = rate.and_then(|rate| align(cause, rate, frame, read)) else {
        return vec![format!("{arrived}.")];
    };
    let extra_of = |value: Bit| {
        way.iter()
            .filter(
                |step| matches!(step, Aligned::Extra { read: r } if read.get(*r) == Some(value)),
            )
            .count()
    };
    let parts: Vec<String> = [(extra_of(Bit::Zero), "extra 0"), (extra_of(Bit::One), "extra 1")]
        .into_iter()
        .filter(|&(n, _)| n > 0)
        .map(|(n, name)| count(n, name))
        .collect();
    let how = match cause {
        Cause::D0Ringing | Cause::D1Ringing | Cause::BothRinging => {
            ", each right beside a bit of the same value"
        }
        Cause::Crosstalk => ", each right behind a bit of the other value",
        _ => "",
    };
    vec![format!("{arrived}: without {}{how}, it is the card's frame.", and(&parts))]
}

pub(super) fn cut(layout: &Layout, exhibit: &Exhibit<'_>, kept: &str, gone: &str) -> String {
    let (arrived, n) = (exhibit.read.len(), layout.bits());
    let missing = n - arrived.min(n);
    let whose = if exhibit.found.single && !exhibit.expected.is_empty() {
        "the card's frame"
    } else {
        "a frame"
    };
    format!(
        "{arrived} bits arrived, the {kept} {arrived} of {whose} of {}; the {gone} {} missing.",
        layout.name(),
        are(missing)
    )
}
