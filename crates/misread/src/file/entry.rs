//! A layout with what people say about it.

use std::fmt;
use std::path::PathBuf;

use misread_core::layout::built_in;

use crate::Layout;

/// A layout with its title, its weight and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The layout, checked and compiled.
    pub layout: Layout,
    /// What it is, in one line.
    pub title: Option<String>,
    /// How likely the layout is against others before a read is seen; above 0.
    /// [`Entry::weight`] fills in the default.
    pub weight: Option<f64>,
    /// Where it came from.
    pub source: Source,
}

impl Entry {
    /// The layout's weight: 1 where none is given. Of those built in the open
    /// 26-bit layout has 12, what is seldom met at a door 0.25.
    pub fn weight(&self) -> f64 {
        self.weight.unwrap_or(1.0)
    }

    /// The layout's name.
    pub fn name(&self) -> &str {
        self.layout.name()
    }
}

/// Where a layout came from.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// It comes with the project.
    BuiltIn,
    /// A file.
    File(PathBuf),
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Source::BuiltIn => f.write_str("built in"),
            Source::File(path) => path.display().fmt(f),
        }
    }
}

/// The built-in layouts in the order they are listed.
pub(super) fn built_in() -> Vec<Entry> {
    built_in::SPECS
        .into_iter()
        .filter_map(|spec| Layout::new(spec).ok())
        .map(|layout| Entry {
            title: title(layout.name()).map(str::to_owned),
            weight: weight(layout.name()),
            source: Source::BuiltIn,
            layout,
        })
        .collect()
}

/// Common practice: most cards use the open layout; bare numbers of 24, 40 and 56
/// bits, keys and the federal card are seldom.
fn weight(name: &str) -> Option<f64> {
    match name {
        "open-26" => Some(12.0),
        "plain-24" | "plain-40" | "plain-56" | "key-4" | "key-8" | "fascn-200" => Some(0.25),
        _ => None,
    }
}

fn title(name: &str) -> Option<&'static str> {
    Some(match name {
        "open-26" => "Open 26-bit layout: 8-bit facility code, 16-bit card number, two parity bits",
        "plain-24" => "8-bit facility code and 16-bit card number, no parity",
        "plain-32" => "Bare 32-bit number, as of a chip with a 4-byte serial number",
        "plain-40" => "Bare 40-bit number",
        "plain-56" => "Bare 56-bit number, as of a chip with a 7-byte serial number",
        "site-34" => "16-bit facility code and 16-bit card number, two parity bits",
        "serial-34" => "32-bit serial number, two parity bits",
        "key-4" => "One key of a keypad in 4 bits",
        "key-8" => "One key of a keypad in 8 bits: 4 bits complemented, then the 4 bits",
        "fascn-200" => "U.S. federal identity card (FASC-N), 40 characters of 5 bits",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_layout_is_there_with_a_title() {
        let entries = built_in();
        assert_eq!(entries.len(), built_in::SPECS.len());
        assert!(entries.iter().all(|entry| entry.title.is_some()));
        assert!(entries.iter().all(|entry| entry.source.to_string() == "built in"));
    }

    #[test]
    fn the_open_layout_weighs_four_and_every_other_one() {
        for entry in built_in() {
            let seldom = ["plain-24", "plain-40", "plain-56", "key-4", "key-8", "fascn-200"];
            let weight = match entry.name() {
                "open-26" => 12.0,
                name if seldom.contains(&name) => 0.25,
                _ => 1.0,
            };
            assert_eq!(entry.weight(), weight);
        }
    }
}
