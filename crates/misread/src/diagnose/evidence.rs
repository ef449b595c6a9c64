//! What speaks for a cause: concrete and counted.

mod lengths;

use misread_core::layout::{Check, CheckOutcome, Layout};
use misread_core::{Bit, Bits, Turn};

use super::card::CardFound;
use super::case::{Candidates, Case, Expected};
use super::diagnosis::WireFound;
use super::likelihood::{has_bytes, needs_trellis};
use super::wording::{Numbers, and, count, number_word, sentence};
use crate::cause::{Cause, Wire};

use lengths::{cut, extra, lost, only_one_value, shorted};

/// How many reads are spoken of one by one.
const MOST_READS: usize = 4;

/// A read as the evidence sees it.
#[derive(Clone, Debug)]
struct Exhibit<'a> {
    /// Which presentation it is, from 1.
    number: usize,
    /// The bits received, the other way where the lines are swapped beside the
    /// cause; not empty.
    read: Bits,
    /// What the card should carry.
    expected: &'a Expected,
    /// What was found of the card under the cause.
    found: &'a CardFound,
    layout: &'a Layout,
}

/// Sentences that speak for a wire state, strongest first, each read by its own
/// layout; those first that are in `showing`.
pub(super) fn evidence_of(
    found: &WireFound,
    showing: &[usize],
    case: &Case,
    candidates: &Candidates,
    numbers: Numbers,
) -> Vec<String> {
    let Some(any) = candidates.layouts().first() else { return Vec::new() };
    let unknown = CardFound::unknown(any);
    let wire = found.wire;
    let is_turned = matches!(wire, Wire::Swapped(_));
    let others = (0..case.reads.len()).filter(|at| showing.binary_search(at).is_err());
    let others = others.filter(|_| !wire.comes_and_goes());
    let mut order: Vec<usize> = showing.iter().copied().chain(others).collect();
    if wire.cause() == Cause::FrameSplit {
        order.sort_unstable();
    }
    let exhibits: Vec<Exhibit<'_>> = order
        .into_iter()
        .map(|at| (at, &case.reads[at]))
        .filter(|(_, read)| !read.bits.is_empty())
        .filter_map(|(at, read)| {
            let card = found.decoded.get(at).and_then(Option::as_ref).unwrap_or(&unknown);
            Some(Exhibit {
                number: at + 1,
                read: if is_turned { read.bits.complement() } else { read.bits },
                expected: &read.expected,
                found: card,
                layout: candidates.layouts().get(card.layout)?,
            })
        })
        .collect();
    let several = case.reads.len() > 1;
    let mut sentences = Vec::new();
    match wire {
        Wire::ReadsMissing => {
            let empty = case.reads.iter().filter(|read| read.bits.is_empty()).count();
            let of = count(case.reads.len(), "card");
            sentences.push(sentence(&match empty {
                0 => "every card gave a read.".to_owned(),
                1 => format!("one of {of} gave nothing."),
                empty => format!("{} of {of} gave nothing.", number_word(empty)),
            }));
        }
        Wire::Swapped(cause) => {
            sentences.push(
                "The bits make sense with every one turned over, as when D0 and D1 are swapped."
                    .to_owned(),
            );
            let by_length = needs_trellis(cause) && cause != Cause::BitsChanged;
            let says = |exhibit: &Exhibit<'_>| match by_length {
                true => vec![off_length(exhibit)],
                false => of_read(cause, found.rate, exhibit, numbers),
            };
            sentences.extend(by_read(&exhibits, several, says));
        }
        Wire::Alone(Cause::FrameSplit) => {
            sentences.extend(exhibits.chunks_exact(2).take(MOST_READS).map(split));
        }
        Wire::Alone(Cause::RandomBits) => return random(&exhibits),
        Wire::Alone(_) | Wire::AtTimes(_) => {
            let cause = wire.cause();
            let says = |exhibit: &Exhibit<'_>| of_read(cause, found.rate, exhibit, numbers);
            sentences.extend(by_read(&exhibits, several, says));
        }
    }
    sentences
}

/// What is said of each read; what is the same for several is said once.
fn by_read(
    exhibits: &[Exhibit<'_>],
    several: bool,
    says: impl Fn(&Exhibit<'_>) -> Vec<String>,
) -> Vec<String> {
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for exhibit in exhibits.iter().take(MOST_READS) {
        for says in says(exhibit) {
            let number = exhibit.number.to_string();
            match said.iter_mut().find(|(other, _)| *other == says) {
                Some((_, reads)) if !reads.contains(&number) => reads.push(number),
                Some(_) => {}
                None => said.push((says, vec![number])),
            }
        }
    }
    let mut sentences: Vec<String> = said
        .into_iter()
        .map(|(says, reads)| match (several, reads.len()) {
            (false, _) => sentence(&says),
            (true, 1) => format!("Read {}: {says}", reads[0]),
            (true, _) => format!("Reads {}: {says}", and(&reads)),
        })
        .collect();
    if let Some(more) = exhibits.len().checked_sub(MOST_READS).filter(|&more| more > 0) {
        sentences.push(sentence(&format!("{} in the same way.", count(more, "more read"))));
    }
    sentences
}

/// A read that is too short or too long, turned over.
fn off_length(exhibit: &Exhibit<'_>) -> String {
    let (arrived, n) = (exhibit.read.len(), exhibit.layout.bits());
    let name = exhibit.layout.name();
    let off = match arrived.cmp(&n) {
        std::cmp::Ordering::Less => format!("{} fewer than", number_word(n - arrived)),
        std::cmp::Ordering::Greater => format!("{} more than", number_word(arrived - n)),
        std::cmp::Ordering::Equal => "as many as".to_owned(),
    };
    format!("{} arrived, {off} {name} has.", count(arrived, "bit"))
}

fn of_read(
    cause: Cause,
    rate: Option<f64>,
    exhibit: &Exhibit<'_>,
    numbers: Numbers,
) -> Vec<String> {
    let (read, layout) = (&exhibit.read, exhibit.layout);
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
        // A sound read among those that suffer at times shows nothing of it.
        Cause::D0Open if read.count_zeros() > 0 => Vec::new(),
        Cause::D1Open if read.count_ones() > 0 => Vec::new(),
        Cause::HeadLost | Cause::TailLost if read.len() >= layout.bits() => Vec::new(),
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
            "{} arrived, and no layout that was tried gives such bits so well in any way a wire \
             could have bent them.",
            count(read.len(), "bit")
        )],
        Cause::Padded => vec![padded(exhibit)],
        Cause::RandomBits => vec!["nothing that was tried explains these bits.".to_owned()],
        Cause::FrameSplit => Vec::new(),
    }
}

fn padded(exhibit: &Exhibit<'_>) -> String {
    let (read, layout) = (&exhibit.read, exhibit.layout);
    let (n, len) = (layout.bits(), read.len());
    let filled = len.saturating_sub(n);
    let behind = read.slice(0, n.min(len)).agrees_with(&exhibit.found.frame);
    let where_ = if behind { "behind" } else { "in front of" };
    format!(
        "{} arrived: {}'s {n} and {} {where_} them, which make whole bytes.",
        count(len, "bit"),
        layout.name(),
        count(filled, "0")
    )
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
            let checks = checks_phrase(layout, fails, holds + fails);
            format!("{arrived}, but {checks} {}.", verb(fails, "fails", "fail"))
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
        let shown = field.value_in(&exhibit.read)?;
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
        let shown = field.value_in(&exhibit.read)?;
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
    let (read, frame) = (&exhibit.read, &exhibit.found.frame);
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
    if differing.len() > 1 && frame.unread_count() == 0 {
        let places: Vec<String> = differing.iter().map(|index| (index + 1).to_string()).collect();
        return vec![format!(
            "bits {} have the other value in the card's frame; the rest is the same.",
            and(&places)
        )];
    }
    let repairs = (0..read.len()).filter(|&i| {
        let mut repaired = *read;
        let Some(value) = read.get(i).and_then(Bit::value) else { return false };
        repaired.set(i, Bit::from(!value));
        layout.decode(&repaired).is_ok()
    });
    let (holds, fails) = tally(layout, read);
    let as_received = match fails {
        0 => "nothing fails as received".to_owned(),
        fails => {
            let checks = checks_phrase(layout, fails, holds + fails);
            format!("{checks} {} as received", verb(fails, "fails", "fail"))
        }
    };
    vec![match repairs.count() {
        0 => format!("{as_received}; more than one bit must be wrong."),
        repairs => {
            format!(
                "{as_received}; turning over any one of {} makes it right.",
                count(repairs, "bit")
            )
        }
    }]
}

fn split(pair: &[Exhibit<'_>]) -> String {
    let Some(first) = pair.first() else { return String::new() };
    let lengths: Vec<String> = pair.iter().map(|half| half.read.len().to_string()).collect();
    format!(
        "Reads {} and {} have {} bits, together the {} of {}.",
        first.number,
        first.number + 1,
        and(&lengths),
        first.layout.bits(),
        first.layout.name()
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
    let differing = |field: &&misread_core::layout::Field| {
        let pair = (expected.get(field.name()), found.fields.get(field.name()));
        matches!(pair, (Some(expected), Some(found)) if expected != found)
    };
    let differing: Vec<_> = layout.fields().iter().filter(differing).collect();
    let values = |of: &Expected| -> Vec<String> {
        let text = |field: &&misread_core::layout::Field| {
            Some(format!("{} {}", field.name(), numbers.text(*of.get(field.name())?)))
        };
        differing.iter().filter_map(text).collect()
    };
    match differing[..] {
        [] => String::new(),
        [field] => format!(
            "{} arrived, {} was expected",
            and(&values(&found.fields)),
            expected.get(field.name()).map(|&value| numbers.text(value)).unwrap_or_default()
        ),
        _ => format!(
            "{} arrived, where {} were expected",
            and(&values(&found.fields)),
            and(&values(expected))
        ),
    }
}
