//! Text from outside, as a message shows it.

/// The text without control characters, and cut where it is long.
pub(crate) fn shown(text: &str) -> String {
    const MOST: usize = 80;
    let mut short: String =
        text.chars().take(MOST).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}
