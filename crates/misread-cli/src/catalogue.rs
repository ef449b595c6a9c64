//! Which layouts are known, and finding the one that was named.

use std::fmt;

use misread::Layout;
use misread::layout::built_in;

use crate::refusal::Refusal;

/// A layout with its title, its weight and where it came from.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) layout: Layout,
    weight: f64,
}

impl Entry {
    pub(crate) fn weight(&self) -> f64 {
        self.weight
    }

    pub(crate) fn name(&self) -> &str {
        self.layout.name()
    }
}

/// The layouts that are known.
#[derive(Debug)]
pub(crate) struct Known(Vec<Entry>);

impl Known {
    pub(crate) fn new() -> Self {
        let layouts = built_in::SPECS.into_iter().filter_map(|spec| Layout::new(spec).ok());
        Known(
            layouts
                .map(|layout| Entry {
                    weight: if layout.name() == built_in::OPEN_26.name { 4.0 } else { 1.0 },
                    layout,
                })
                .collect(),
        )
    }

    /// Every layout, the likeliest first; of equal weight, in the order known.
    pub(crate) fn best_first(&self) -> Vec<&Entry> {
        let mut entries: Vec<&Entry> = self.0.iter().collect();
        entries.sort_by(|a, b| b.weight().total_cmp(&a.weight()));
        entries
    }

    /// The layout of that name.
    ///
    /// # Errors
    ///
    /// There is none.
    pub(crate) fn named(&self, name: &str) -> Result<&Entry, Refusal> {
        self.0.iter().find(|entry| entry.name() == name).ok_or_else(|| {
            let names: Vec<&str> = self.0.iter().map(Entry::name).collect();
            Refusal::new(format!("no layout is named ‘{name}’"), names.join(", "))
        })
    }
}

impl fmt::Display for Entry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
