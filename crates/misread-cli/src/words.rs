//! Phrases used in more than one answer.

pub(crate) use misread::diagnose::percent;
use misread::layout::Parity;

/// How long a list of positions may be in a label under a drawing.
pub(crate) const SHORT: usize = 16;

/// A count and its noun: `1 bit`, `26 bits`.
pub(crate) fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// `bit 7`, `bits 2-9`, `bits 33-40, 25-32`: indices from 0 in the order
/// given, as positions from 1.
pub(crate) fn bits(indices: &[usize]) -> String {
    let noun = if indices.len() == 1 { "bit" } else { "bits" };
    format!("{noun} {}", positions(indices))
}

/// What a parity bit is: `even parity over bits 2-13`. What it covers is left
/// out where that takes more than `room` characters to list.
pub(crate) fn parity(rule: &Parity, room: usize) -> String {
    let over: Vec<usize> = rule.over().map(|position| usize::from(position) - 1).collect();
    let over = bits(&over);
    if over.len() > room {
        return format!("{} parity", rule.kind());
    }
    format!("{} parity over {over}", rule.kind())
}

/// A time in nanoseconds: in µs below 1 ms, in ms below 1 s, else in s, to the
/// thousandth of each.
pub(crate) fn duration(ns: u64) -> String {
    let (number, unit) = in_unit(ns);
    format!("{number} {unit}")
}

/// From one time in nanoseconds to another, the unit said once where it is the
/// same: `77 to 83 µs`.
pub(crate) fn durations(shortest: u64, longest: u64) -> String {
    let (low, low_unit) = in_unit(shortest);
    let (high, high_unit) = in_unit(longest);
    match (low_unit == high_unit, low == high) {
        (true, true) => format!("{high} {high_unit}"),
        (true, false) => format!("{low} to {high} {high_unit}"),
        (false, _) => format!("{low} {low_unit} to {high} {high_unit}"),
    }
}

/// A time to two digits: `1.2 ms`.
pub(crate) fn about(ns: u64) -> String {
    let step = 10u64.pow(ns.checked_ilog10().unwrap_or(0).saturating_sub(1));
    duration((ns + step / 2) / step * step)
}

/// A moment in nanoseconds, which may be before 0.
pub(crate) fn moment(ns: i64) -> String {
    let sign = if ns < 0 { "−" } else { "" };
    format!("{sign}{}", duration(ns.unsigned_abs()))
}

fn in_unit(ns: u64) -> (String, &'static str) {
    let (unit, name) = match ns {
        ..1_000_000 => (1_000, "µs"),
        1_000_000..1_000_000_000 => (1_000_000, "ms"),
        _ => (1_000_000_000, "s"),
    };
    let (whole, part) = (ns / unit, ns % unit * 1000 / unit);
    let text = format!("{whole}.{part:03}");
    (text.trim_end_matches('0').trim_end_matches('.').to_owned(), name)
}

/// `first, second and third`; `first; second; third` where a comma stands in
/// one of them.
pub(crate) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        items if items.iter().any(|item| item.contains(',')) => items.join("; "),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// A capital at the start is only there because the sentence began with it.
pub(crate) fn lower(text: &str) -> String {
    let mut chars = text.chars();
    match (chars.next(), chars.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() || second == ' ' => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}

/// Indices from 0 as positions from 1, neighbours as ranges and an even
/// spacing as a range with a stride.
pub(crate) fn positions(indices: &[usize]) -> String {
    if let Some(stride) = stride(indices) {
        return stride;
    }
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &index in indices {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == index => *last = index,
            _ => runs.push((index, index)),
        }
    }
    let texts: Vec<String> = runs
        .into_iter()
        .map(|(first, last)| match last - first {
            0 => (first + 1).to_string(),
            _ => format!("{}-{}", first + 1, last + 1),
        })
        .collect();
    texts.join(", ")
}

fn stride(indices: &[usize]) -> Option<String> {
    let (&first, &last) = (indices.first()?, indices.last()?);
    let step = indices.get(1)?.checked_sub(first)?;
    let even = indices.windows(2).all(|pair| pair[0].checked_add(step) == Some(pair[1]));
    (even && step > 1 && indices.len() > 2).then(|| format!("{}-{}/{step}", first + 1, last + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_are_ranges_lists_and_strides() {
        assert_eq!(positions(&[]), "");
        assert_eq!(positions(&[6]), "7");
        assert_eq!(positions(&[1, 2, 3]), "2-4");
        assert_eq!(positions(&[1, 3]), "2, 4");
        assert_eq!(positions(&[0, 5, 10]), "1-11/5");
        assert_eq!(positions(&[8, 9, 1, 2]), "9-10, 2-3");
        assert_eq!(bits(&[0]), "bit 1");
        assert_eq!(bits(&[0, 1]), "bits 1-2");
    }

    #[test]
    fn times_are_in_the_nearest_unit() {
        assert_eq!(duration(0), "0 µs");
        assert_eq!(duration(81_250), "81.25 µs");
        assert_eq!(duration(999_999), "999.999 µs");
        assert_eq!(duration(2_000_000), "2 ms");
        assert_eq!(duration(1_234_567_890), "1.234 s");
        assert_eq!(durations(77_000, 83_000), "77 to 83 µs");
        assert_eq!(durations(200_000, 20_000_000), "200 µs to 20 ms");
        assert_eq!(durations(1_000_000, 1_000_000), "1 ms");
        assert_eq!(about(999_900), "1 ms");
        assert_eq!(about(666_666), "670 µs");
        assert_eq!(about(7), "0.007 µs");
        assert_eq!(moment(-4_998_000), "−4.998 ms");
    }

    #[test]
    fn counts_and_lists_read_as_words() {
        assert_eq!(count(1, "bit"), "1 bit");
        assert_eq!(count(0, "bit"), "0 bits");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
        assert_eq!(list(&["bits 1, 5".into(), "b".into()]), "bits 1, 5; b");
    }
}
