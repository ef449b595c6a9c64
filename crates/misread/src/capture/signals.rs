//! Which signals are D0 and D1: by name, or by what happens on them.

use std::fmt;

use super::{CaptureError, Options, error::shown};
use crate::pulse::Line;

/// What happens on a signal.
#[derive(Clone, Debug, PartialEq)]
pub struct Activity {
    /// Its name.
    pub name: String,
    /// How often it changes.
    pub changes: u64,
    /// Whether it does what a data line does: it comes back to where it rests,
    /// and is away for less than a quarter of the time between its first and
    /// last change.
    pub pulses: bool,
}

impl fmt::Display for Activity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let like = if self.pulses { ", in pulses" } else { "" };
        let changes = if self.changes == 1 { "change" } else { "changes" };
        write!(f, "‘{}’ ({} {changes}{like})", shown(&self.name), self.changes)
    }
}

/// Watches a signal.
#[derive(Clone, Debug, Default)]
pub(super) struct Watch {
    changes: u64,
    level: Option<bool>,
    first: Option<bool>,
    since: i64,
    /// Time from the first level to the first change.
    began: i128,
    /// Time at the level it had at first, from the first change on; and not.
    there: i128,
    away: i128,
}

impl Watch {
    pub(super) fn see(&mut self, time: i64, level: bool) {
        let Some(before) = self.level.replace(level) else {
            self.first = Some(level);
            self.since = time;
            return;
        };
        if before == level {
            return;
        }
        let lasted = i128::from(time) - i128::from(self.since);
        if self.changes == 0 {
            self.began = lasted;
        } else {
            match self.first {
                Some(first) if first == before => self.there += lasted,
                _ => self.away += lasted,
            }
        }
        self.changes += 1;
        self.since = time;
    }

    pub(super) fn into_activity(self, name: &str) -> Activity {
        let pulses = match self.changes {
            0 | 1 => false,
            // A single pulse, however wide.
            2 => true,
            changes if changes.is_multiple_of(2) => self.away * 3 < self.there,
            // It ends at another level than it began with: what came first was
            // a change already, as in a list of changes, and away is where it
            // rests.
            _ => (self.there + self.began) * 3 < self.away,
        };
        Activity { name: name.to_owned(), changes: self.changes, pulses }
    }
}

/// The likeliest pair first: those that pulse before the others, the busiest
/// first; signals that are alike stay in the order of the file.
pub(super) fn likeliest_first(mut signals: Vec<Activity>) -> Vec<Activity> {
    signals.sort_by_key(|signal| (!signal.pulses, std::cmp::Reverse(signal.changes)));
    signals
}

/// The indices of D0 and D1 among the names; `Err` says what is unclear.
pub(super) fn choose(names: &[String], options: &Options) -> Result<[usize; 2], String> {
    let pick = |line: Line, given: &Option<String>| match given {
        Some(wanted) => one(
            names,
            |name| name == wanted || last_part(name) == wanted,
            &format!("is named ‘{}’", shown(wanted)),
        ),
        None => one(names, |name| line_named(name) == Some(line), &format!("is {line} by name")),
    };
    let pair = [pick(Line::D0, &options.d0)?, pick(Line::D1, &options.d1)?];
    if pair[0] == pair[1] {
        return Err(format!("‘{}’ cannot be both data lines", shown(&names[pair[0]])));
    }
    Ok(pair)
}

/// Nothing is clear, with every signal's activity.
pub(super) fn unclear(found: String, signals: Vec<Activity>) -> CaptureError {
    CaptureError::Signals { found, signals: likeliest_first(signals) }
}

fn one(names: &[String], is_it: impl Fn(&str) -> bool, wanted: &str) -> Result<usize, String> {
    let mut found = names.iter().enumerate().filter(|(_, name)| is_it(name)).map(|(at, _)| at);
    match (found.next(), found.next()) {
        (Some(at), None) => Ok(at),
        (Some(_), Some(_)) => Err(format!("more than one signal {wanted}")),
        _ => Err(format!("no signal {wanted}")),
    }
}

fn last_part(name: &str) -> &str {
    name.rsplit('.').next().unwrap_or(name)
}

/// The line a name stands for: its bit behind a common word (`d0`, `Data 1`,
/// `DATA_0`, `w1`), or the colour of its conductor, green for D0 and white for
/// D1 (common practice), in full or short (`grn`). Words before it do not matter
/// (`gate d0`), nor does a common one behind it (`d0_out`) or the unit of a
/// voltage (`d0_V`).
pub(crate) fn line_named(name: &str) -> Option<Line> {
    const STEMS: [&str; 8] = ["d", "data", "dat", "line", "w", "wd", "bit", "wiegand"];
    let name = last_part(name).to_lowercase();
    let mut words: Vec<&str> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    const BEHIND: [&str; 12] =
        ["v", "volt", "volts", "in", "out", "line", "wire", "pin", "sig", "signal", "raw", "n"];
    while words.len() > 1 && words.pop_if(|word| BEHIND.contains(word)).is_some() {}
    let last = words.pop()?;
    let before = words.pop();
    let is = |stem: &str| match last.strip_prefix(stem) {
        Some("0") => Some(Line::D0),
        Some("1") => Some(Line::D1),
        _ => None,
    };
    match (last, before) {
        ("green" | "grn", _) => Some(Line::D0),
        ("white" | "wht", _) => Some(Line::D1),
        ("0" | "zero", Some(stem)) if STEMS.contains(&stem) => Some(Line::D0),
        ("1" | "one", Some(stem)) if STEMS.contains(&stem) => Some(Line::D1),
        _ => STEMS.into_iter().find_map(is),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_names_are_known() {
        for name in [
            "d0",
            "D0",
            "data0",
            "DATA_0",
            "Data 0",
            "w0",
            "top.reader.d0",
            "green",
            "gate-d0",
            "D0 (V)",
            "D0_OUT",
            "reader_data0_in",
            "D0_n",
            "GRN",
        ] {
            assert_eq!(line_named(name), Some(Line::D0), "{name}");
        }
        for name in ["d1", "data1", "Data-1", "W1", "Line 1", "White", "data one", "wht wire"] {
            assert_eq!(line_named(name), Some(Line::D1), "{name}");
        }
        for name in ["", "v", "clk", "d10", "d2", "0", "red", "data", "d0x", "out", "n line"] {
            assert_eq!(line_named(name), None, "{name}");
        }
    }

    #[test]
    fn what_is_given_comes_before_what_is_found() {
        let names: Vec<String> = ["top.d0", "top.d1", "top.x"].map(str::to_owned).to_vec();
        let with = |d0: Option<&str>, d1: Option<&str>| {
            let options = Options {
                d0: d0.map(str::to_owned),
                d1: d1.map(str::to_owned),
                ..Options::default()
            };
            choose(&names, &options)
        };
        assert_eq!(with(None, None), Ok([0, 1]));
        assert_eq!(with(Some("d1"), Some("top.d0")), Ok([1, 0]));
        assert_eq!(with(Some("x"), None), Ok([2, 1]));
        assert!(with(Some("d1"), None).is_err());
        assert!(with(Some("y"), None).unwrap_err().contains("‘y’"));
    }

    #[test]
    fn data_lines_come_before_what_else_there_is() {
        let mut watches = vec![Watch::default(); 3];
        for step in 0..20 {
            // A clock, half of the time high; and a line of short pulses.
            watches[0].see(step * 100, step % 2 == 0);
            watches[1].see(step * 100, true);
            watches[1].see(step * 100 + 50, false);
            watches[1].see(step * 100 + 55, true);
            watches[2].see(step * 100, true);
        }
        let names = ["clock", "line", "still"];
        let signals =
            watches.into_iter().zip(names).map(|(watch, name)| watch.into_activity(name)).collect();
        let order: Vec<String> = likeliest_first(signals).iter().map(ToString::to_string).collect();
        assert_eq!(
            order,
            ["‘line’ (40 changes, in pulses)", "‘clock’ (19 changes)", "‘still’ (0 changes)"]
        );
    }

    #[test]
    fn a_list_that_begins_with_a_change_is_of_pulses_too() {
        let (mut line, mut clock) = (Watch::default(), Watch::default());
        for step in 0..20 {
            line.see(step * 100, false);
            line.see(step * 100 + 5, true);
            clock.see(step * 100, false);
            clock.see(step * 100 + 50, true);
        }
        assert_eq!(line.into_activity("line").to_string(), "‘line’ (39 changes, in pulses)");
        assert_eq!(clock.into_activity("clock").to_string(), "‘clock’ (39 changes)");
    }
}
