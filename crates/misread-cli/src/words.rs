//! Phrases used in more than one answer.

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

/// A probability as people say it; never "100%" of what is not certain.
pub(crate) fn percent(probability: f64) -> String {
    let percent = 100.0 * probability;
    match percent {
        p if p >= 99.95 => "over 99.9%".to_owned(),
        p if p >= 99.0 => format!("{p:.1}%"),
        p if p >= 0.95 => format!("{p:.0}%"),
        p => format!("{p:.1}%"),
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
    fn counts_and_lists_read_as_words() {
        assert_eq!(count(1, "bit"), "1 bit");
        assert_eq!(count(0, "bit"), "0 bits");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
        assert_eq!(list(&["bits 1, 5".into(), "b".into()]), "bits 1, 5; b");
    }
}
