//! What speaks for a cause: concrete and counted.

mod lengths;

use misread_core::layout::{Check, CheckOutcome, Layout};
use misread_core::{Bit, Bits, Turn};

use super::card::CardFound;
use super::case::{Candidates, Case, CaseRead, Expected, FACILITY};
use super::diagnosis::WireFound;
use super::likelihood::has_bytes;
use super::wording::{Numbers, and, count, number_word, sentence};
use crate::cause::Cause;

use lengths::{cut, extra, lost, only_one_value, shorted};

/// How many reads are spoken of one by one.
const MOST_READS: usize = 4;

/// A read as the evidence sees it.
#[derive(Clone, Debug)]
pub struct Exhibit<'a> {
    /// The bits received; not empty.
    pub read: &'a Bits,
    /// What the card should carry.
    pub expected: &'a Expected,
    /// What was found of the card under the cause.
    pub found: &'a CardFound,
}

/// What speaks for a wire state, each read by its own layout.
pub(super) fn evidence_of(
    found: &WireFound,
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Vec<String> {
    let Some(any) = candidates.layouts().first() else { return Vec::new() };
    let unknown = CardFound::unknown(any);
    let of_read = |(read, card): (&'_ CaseRead, &'_ Option<CardFound>)| {
        let _ = (read, card);
    };
    let _ = of_read;
    let exhibits: Vec<Exhibit<'_>> = case
        .reads
        .iter()
        .zip(&found.decoded)
        .filter(|(read, _)| !read.bits.is_empty())
        .map(|(read, card)| Exhibit {
            read: &read.bits,
            expected: &read.expected,
            found: card.as_ref().unwrap_or(&unknown),
        })
        .collect();
    let layout =
        exhibits.first().and_then(|exhibit| candidates.layouts().get(exhibit.found.layout));
    let Some(layout) = layout else { return Vec::new() };
    evidence(found.wire.cause(), layout, found.rate, &exhibits, numbers)
}

/// Sentences that speak for a cause under a layout, strongest first. `rate` is
/// the most likely one, for a cause that has rates.
///
/// ```
/// use misread::cause::Cause;
/// use misread::diagnose::{Candidates, Case, Exhibit, Numbers, diagnose, evidence};
/// use misread::layout::{Layout, built_in};
/// use std::{ops::ControlFlow, sync::Arc};
///
/// let layout = Arc::new(Layout::new(&built_in::OPEN_26)?);
/// let case = Case::of(["111111111".parse()?]).expecting([("facility", 42), ("card", 1234)]);
/// let candidates = Candidates::weighted([(layout.clone(), 4.0)]);
/// let diagnosis = diagnose(
///     &case, &candidates, &Default::default(), Numbers::Shown, &mut |_| ControlFlow::Continue(()),
/// )?;
/// assert_eq!(
///     diagnosis.causes[0].evidence[0],
///     "Only 1s arrived, nine of them; this card has nine."
/// );
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn evidence(
    cause: Cause,
    layout: &Layout,
    rate: Option<f64>,
    exhibits: &[Exhibit<'_>],
    numbers: Numbers,
) -> Vec<String> {
    let mut sentences = Vec::new();
    if cause == Cause::FrameSplit {
        for (i, pair) in exhibits.chunks_exact(2).enumerate().take(MOST_READS) {
            sentences.push(split(layout, i, pair));
        }
        return sentences;
    }
    if cause == Cause::RandomBits {
        return random(exhibits);
    }
    let several = exhibits.len() > 1;
    // What is the same for several reads is said once.
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for (i, exhibit) in exhibits.iter().enumerate().take(MOST_READS) {
        for says in of_read(cause, layout, rate, exhibit, numbers) {
            let number = (i + 1).to_string();
            match said.iter_mut().find(|(other, _)| *other == says) {
                Some((_, reads)) if !reads.contains(&number) => reads.push(number),
                Some(_) => {}
                None => said.push((says, vec![number])),
            }
        }
    }
    sentences.extend(said.into_iter().map(|(says, reads)| match (several, reads.len()) {
        (false, _) => sentence(&says),
        (true, 1) => format!("Read {}: {says}", reads[0]),
        (true, _) => format!("Reads {}: {says}", and(&reads)),
    }));
    if let Some(more) = exhibits.len().checked_sub(MOST_READS).filter(|&more| more > 0) {
        sentences.push(sentence(&format!("{} in the same way.", count(more, "more read"))));
    }
    sentences
}

fn of_read(
    cause: Cause,
    layout: &Layout,
    rate: Option<f64>,
    exhibit: &Exhibit<'_>,
    numbers: Numbers,
) -> Vec<String> {
    let read = exhibit.read;
    let turned = |turn, how| turned_checks(layout, read, turn, how);
    match cause {
        Cause::None => {
            let mut says = vec![arrived_whole(layout, read)];
            says.extend(against_expected(layout, exhibit, numbers));
            says
        }
        Cause::LinesSwapped | Cause::BitsInverted => {
            let mut says = vec![turned(Turn::Inverted, "with every bit turned over")];
            says.extend(largest_minus(layout, exhibit, numbers));
            says.extend(against_expected(layout, exhibit, numbers));
            says
        }
        Cause::BitOrderReversed => {
            let mut says = vec![turned(Turn::Reversed, "with the last bit first")];
            says.extend(against_expected(layout, exhibit, numbers));
            says
        }
        Cause::BytesReversed => {
            let mut says: Vec<String> = bytes_turned(layout, exhibit, numbers);
            says.extend(against_expected(layout, exhibit, numbers));
            says
        }
        Cause::D0Open => vec![only_one_value(layout, exhibit, Bit::One, '1', numbers)],
        Cause::D1Open => vec![only_one_value(layout, exhibit, Bit::Zero, '0', numbers)],
        Cause::LinesShorted => vec![shorted(layout, read)],
        Cause::D0Weak | Cause::D1Weak | Cause::BothWeak => {
            lost(cause, layout, rate, exhibit, numbers)
        }
        Cause::D0Noise
        | Cause::D1Noise
        | Cause::BothNoise
        | Cause::D0Ringing
        | Cause::D1Ringing
        | Cause::BothRinging
        | Cause::Crosstalk => extra(cause, layout, rate, exhibit),
        Cause::HeadLost => vec![cut(layout, exhibit, "last", "first")],
        Cause::TailLost => vec![cut(layout, exhibit, "first", "last")],
        Cause::FramesMerged => vec![format!(
            "{} bits arrived, and the first {n} equal the last {n}: the frame came twice.",
            read.len(),
            n = layout.bits()
        )],
        Cause::BitsChanged => one_changed(layout, exhibit, numbers),
        Cause::UnknownLayout => vec![format!(
            "{} arrived, and no layout that was tried gives such bits in any way a wire could \
             have bent them.",
            count(read.len(), "bit")
        )],
        Cause::Padded | Cause::FrameSplit | Cause::RandomBits => Vec::new(),
    }
}

/// How many rules of the layout hold and fail for a read of its length.
fn tally(layout: &Layout, read: &Bits) -> (usize, usize) {
    let rules = layout.checks().filter(|check| matches!(check, Check::Parity(_) | Check::Fixed(_)));
    rules.fold((0, 0), |(holds, fails), check| match check.outcome(read) {
        CheckOutcome::Holds => (holds + 1, fails),
        CheckOutcome::Fails => (holds, fails + 1),
        CheckOutcome::Open => (holds, fails),
    })
}

/// "both parity bits", "the parity bit", "all 44 checks": for `n` of `of`.
fn checks_phrase(layout: &Layout, n: usize, of: usize) -> String {
    let only_parity = layout.fixed().is_empty();
    let (one, many) = if only_parity { ("parity bit", "parity bits") } else { ("check", "checks") };
    match (n, of) {
        (1, 1) => format!("the {one}"),
        (2, 2) => format!("both {many}"),
        (n, of) if n == of => format!("all {of} {many}"),
        (n, of) => format!("{} of the {of} {many}", number_word(n)),
    }
}

fn verb(n: usize, one: &str, many: &str) -> String {
    (if n == 1 { one } else { many }).to_owned()
}

fn arrived_whole(layout: &Layout, read: &Bits) -> String {
    let arrived = format!("{} arrived, as many as {} has", count(read.len(), "bit"), layout.name());
    let (holds, fails) = tally(layout, read);
    match (holds, fails) {
        (0, 0) if layout.independent_checks() == 0 => {
            format!("{arrived}; it has no checks, so a wrong bit would not show.")
        }
        (0, 0) => format!("{arrived}; its checks cover bits nobody has read, so they say nothing."),
        (holds, 0) => format!(
            "{arrived}, and {} {}.",
            checks_phrase(layout, holds, holds),
            verb(holds, "holds", "hold")
        ),
        (_, fails) => {
            format!("{arrived}, but {} fail.", checks_phrase(layout, fails, holds + fails))
        }
    }
}

fn turned_checks(layout: &Layout, read: &Bits, turn: Turn, how: &str) -> String {
    let (holds, fails) = tally(layout, read);
    let (then_holds, then_fails) = tally(layout, &read.turned(turn));
    if then_holds + then_fails == 0 {
        return if layout.independent_checks() == 0 {
            format!(
                "{} arrived, as many as {} has; it has no checks, so the bits alone cannot show \
                 it.",
                count(read.len(), "bit"),
                layout.name()
            )
        } else {
            "the checks cover bits nobody has read, so they say nothing.".to_owned()
        };
    }
    let of = then_holds + then_fails;
    let passes = format!("{} {how}", verb(then_holds, "holds", "hold"));
    if fails == 0 {
        format!("{} as received, and also {passes}.", hold_phrase(layout, holds, of))
    } else if fails == then_holds {
        format!(
            "{} {} as received and {passes}.",
            checks_phrase(layout, fails, of),
            verb(fails, "fails", "fail")
        )
    } else {
        format!(
            "{} {} as received; {} {passes}.",
            checks_phrase(layout, fails, of),
            verb(fails, "fails", "fail"),
            checks_phrase(layout, then_holds, of)
        )
    }
}

fn hold_phrase(layout: &Layout, n: usize, of: usize) -> String {
    format!("{} {}", checks_phrase(layout, n, of), verb(n, "holds", "hold"))
}

/// "the shown facility 213 is 255 − 42".
fn largest_minus(layout: &Layout, exhibit: &Exhibit<'_>, numbers: Numbers) -> Option<String> {
    let of = |field: &misread_core::layout::Field| {
        let shown = field.value_in(exhibit.read)?;
        let meant = *exhibit.found.fields.get(field.name())?;
        (field.max().checked_sub(shown) == Some(meant)).then(|| {
            format!(
                "{} {} is {} − {}",
                field.name(),
                numbers.text(shown),
                field.max(),
                numbers.text(meant)
            )
        })
    };
    let parts: Vec<String> = layout.fields().iter().filter_map(of).collect();
    (!parts.is_empty()).then(|| format!("as received, {}.", and(&parts)))
}

/// Each expected value against the one found.
fn against_expected(layout: &Layout, exhibit: &Exhibit<'_>, numbers: Numbers) -> Option<String> {
    let (mut same, mut other) = (Vec::new(), Vec::new());
    for field in layout.fields() {
        let name = field.name();
        let Some(&expected) = exhibit.expected.get(name) else { continue };
        let Some(&found) = exhibit.found.fields.get(name) else { continue };
        if expected == found {
            same.push(format!("{name} {}", numbers.text(found)));
        } else {
            let (found, expected) = (numbers.text(found), numbers.text(expected));
            other.push(format!("{name} is {found} where {expected} was expected"));
        }
    }
    match (same.is_empty(), other.is_empty()) {
        (true, true) => None,
        (false, true) => {
            Some(format!("{} {} as expected.", and(&same), verb(same.len(), "is", "are")))
        }
        (true, false) => Some(format!("{}.", and(&other))),
        (false, false) => {
            let are = verb(same.len(), "is", "are");
            Some(format!("{} {are} as expected; {}.", and(&same), and(&other)))
        }
    }
}

fn bytes_turned(layout: &Layout, exhibit: &Exhibit<'_>, numbers: Numbers) -> Vec<String> {
    let of = |field: &misread_core::layout::Field| {
        if !has_bytes(field.width()) {
            return None;
        }
        let shown = field.value_in(exhibit.read)?;
        let meant = *exhibit.found.fields.get(field.name())?;
        let hex = |number| match numbers {
            Numbers::Shown => format!(" (0x{number:0width$X})", width = field.width() / 4),
            Numbers::Masked => String::new(),
        };
        Some(format!(
            "{} arrived as {}{}, its bytes in reverse order: {}{}.",
            field.name(),
            numbers.text(shown),
            hex(field.to_raw(shown)?),
            numbers.text(meant),
            hex(field.to_raw(meant)?)
        ))
    };
    layout.fields().iter().filter_map(of).collect()
}

fn one_changed(layout: &Layout, exhibit: &Exhibit<'_>, numbers: Numbers) -> Vec<String> {
    let (read, frame) = (exhibit.read, &exhibit.found.frame);
    let differing: Vec<usize> = (0..read.len())
        .filter(|&i| {
            let pair = (read.get(i).and_then(Bit::value), frame.get(i).and_then(Bit::value));
            matches!(pair, (Some(a), Some(b)) if a != b)
        })
        .collect();
    if let [index] = differing[..]
        && frame.unread_count() == 0
    {
        if numbers == Numbers::Masked {
            let position = index + 1;
            return vec![format!("bit {position} alone differs from the card's frame.")];
        }
        return vec![format!(
            "bit {} is {}; the card's frame has {} there and is otherwise the same.",
            index + 1,
            read.get(index).map_or('?', Bit::as_char),
            frame.get(index).map_or('?', Bit::as_char)
        )];
    }
    let repairs = (0..read.len()).filter(|&i| {
        let mut repaired = *read;
        let Some(value) = read.get(i).and_then(Bit::value) else { return false };
        repaired.set(i, Bit::from(!value));
        layout.decode(&repaired).is_ok()
    });
    let (_, fails) = tally(layout, read);
    vec![format!(
        "{} as received; turning over any one of {} makes it right.",
        if fails > 0 {
            format!("{} of the checks fail", number_word(fails))
        } else {
            "nothing fails".into()
        },
        count(repairs.count(), "bit")
    )]
}

fn split(layout: &Layout, index: usize, pair: &[Exhibit<'_>]) -> String {
    let lengths: Vec<String> = pair.iter().map(|half| half.read.len().to_string()).collect();
    format!(
        "Reads {} and {} have {} bits, together the {} of {}.",
        2 * index + 1,
        2 * index + 2,
        and(&lengths),
        layout.bits(),
        layout.name()
    )
}

fn random(exhibits: &[Exhibit<'_>]) -> Vec<String> {
    let mut lengths: Vec<String> = exhibits.iter().map(|e| e.read.len().to_string()).collect();
    lengths.dedup();
    if lengths.len() > 1 {
        lengths.truncate(2 * MOST_READS);
        vec![format!(
            "The reads have {} bits, and nothing that was tried explains them.",
            and(&lengths)
        )]
    } else {
        vec!["Nothing that was tried explains these bits.".to_owned()]
    }
}

/// What the facility code and the other values say where the wiring is sound
/// and the card is not the one expected: each expected value against the one
/// found. Empty where nothing was expected.
pub(crate) fn card_difference(
    layout: &Layout,
    expected: &Expected,
    found: &CardFound,
    numbers: Numbers,
) -> String {
    let differing = layout.fields().iter().filter_map(|field| {
        let name = field.name();
        let (&expected, &found) = (expected.get(name)?, found.fields.get(name)?);
        let word = if name == FACILITY { "facility" } else { name };
        (expected != found).then(|| {
            format!(
                "{word} {} arrived, {} was expected",
                numbers.text(found),
                numbers.text(expected)
            )
        })
    });
    and(&differing.collect::<Vec<_>>())
}
