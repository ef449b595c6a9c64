//! A file that overrides priors, rates and outcome tables.
//!
//! ```toml
//! [causes]                    # probabilities; the others share the rest as before
//! lines-swapped = 0.3
//!
//! [cards]
//! facility-differs = 0.2
//!
//! [more]                      # beside the causes by themselves
//! two-at-once = 0.25          # times the priors of both
//! at-times = 0.04             # times the prior
//! reads-missing = 0.01
//! empty = 0.05                # a presentation gives nothing, whatever is wrong
//! shares = [0.1, 0.3, 0.7]    # of what comes at times; each equally likely
//!
//! [unlisted]                  # lengths of layouts nobody listed; sum to 1
//! usual = 0.6                 # 32 to 40 bits
//! near = 0.3                  # 20 to 64 bits
//! any = 0.1                   # 1 to 512 bits
//!
//! [presented]                 # whose cards; those asked are scaled to sum to 1
//! one-card = 0.45
//! own-cards = 0.45
//! mixed-cards = 0.1
//!
//! [layouts]
//! configured = 0.99
//!
//! [rates]                     # each equally likely; over 0, at most 1
//! weak = [0.1, 0.5]
//!
//! [findings.missing-beat]     # in a capture: how likely in a read, by cause
//! d0-weak = 0.8
//!
//! [capture]                   # what a capture multiplies a prior by
//! bits-inverted = 0.02
//! padded = 0.02
//! lines-swapped-at-reader = 0.02
//!
//! [tests.supply]
//! minutes = 2
//!
//! [tests.supply.outcomes]     # by wire state; the outcomes of each sum to 1
//! both-weak = { steady = 0.2, low = 0.8 }
//! reads-missing = { steady = 0.5, low = 0.5 }
//!
//! [mends.fix-lines-swapped]   # presenting a card again included
//! minutes = 5
//!
//! [mends.fix-supply.mends]    # the share of its cases that the mend mends: by
//! both-weak = 0.55            # cause, reads-missing, card state, layout-differs;
//! reads-missing = 0.2         # over all mends those of a fault sum to 1 at most
//!
//! [unmended]                  # where no mend helps
//! minutes = 30
//! ```
//!
//! What a file says of a cause in a test or a mend holds for it behind swapped
//! lines and at times as well, but for a test's wire state that the file or the
//! table names itself.

mod site;

use std::collections::BTreeMap;

use serde::Deserialize;

use self::site::{MendDoc, TestDoc, UnmendedDoc, override_mends, override_minutes, override_tests};
use super::{CardState, Cause, Model, Sought, Whose};

/// A priors file that makes no sense.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PriorsError {
    /// It is not TOML, or not of the expected form.
    #[error("{}{says}", place.map(|(line, column)| format!("line {line}, column {column}: ")).unwrap_or_default())]
    Form {
        /// Line and column, from 1, where known.
        place: Option<(usize, usize)>,
        /// What is wrong.
        says: String,
    },
    /// A number or a name in it makes no sense.
    #[error("{at}: {says}")]
    Sense {
        /// The key, such as `rates.weak`.
        at: String,
        /// What was found and what was expected.
        says: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PriorsDoc {
    #[serde(default)]
    causes: BTreeMap<String, f64>,
    #[serde(default)]
    cards: BTreeMap<String, f64>,
    #[serde(default)]
    more: MoreDoc,
    #[serde(default)]
    unlisted: UnlistedDoc,
    #[serde(default)]
    presented: BTreeMap<String, f64>,
    #[serde(default)]
    layouts: LayoutsDoc,
    #[serde(default)]
    rates: RatesDoc,
    #[serde(default)]
    findings: BTreeMap<String, BTreeMap<String, f64>>,
    #[serde(default)]
    capture: CaptureDoc,
    #[serde(default)]
    tests: BTreeMap<String, TestDoc>,
    #[serde(default)]
    mends: BTreeMap<String, MendDoc>,
    #[serde(default)]
    unmended: UnmendedDoc,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct MoreDoc {
    two_at_once: Option<f64>,
    at_times: Option<f64>,
    reads_missing: Option<f64>,
    empty: Option<f64>,
    shares: Option<Vec<f64>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct UnlistedDoc {
    usual: Option<f64>,
    near: Option<f64>,
    any: Option<f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct LayoutsDoc {
    configured: Option<f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct RatesDoc {
    weak: Option<Vec<f64>>,
    noise: Option<Vec<f64>>,
    ringing: Option<Vec<f64>>,
    crosstalk: Option<Vec<f64>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct CaptureDoc {
    bits_inverted: Option<f64>,
    padded: Option<f64>,
    lines_swapped_at_reader: Option<f64>,
}

/// The most rates a list may hold.
const MOST_RATES: usize = 64;

impl Model {
    /// This model with what a priors file overrides.
    ///
    /// # Errors
    ///
    /// Text that is not TOML, an unknown name, a number out of its range,
    /// probabilities that do not sum to 1: with the place and what was
    /// expected. Nothing is taken over then.
    pub fn with_priors(&self, toml: &str) -> Result<Model, PriorsError> {
        let doc: PriorsDoc = toml::from_str(toml).map_err(|error| PriorsError::Form {
            place: error.span().map(|span| line_and_column(toml, span.start)),
            says: error.message().to_owned(),
        })?;
        let mut model = self.clone();
        let ids = Cause::ALL.map(Cause::id);
        override_shares("causes", &mut model.causes, &ids, &renamed(&doc.causes))?;
        let ids = CardState::ALL.map(CardState::id);
        override_shares("cards", &mut model.cards, &ids, &doc.cards)?;
        override_more(&mut model, &doc)?;
        if let Some(configured) = doc.layouts.configured {
            if !(configured > 0.0 && configured < 1.0) {
                return sense("layouts.configured", format!("{configured} is not between 0 and 1"));
            }
            model.configured = configured;
        }
        let rates = [
            ("rates.weak", doc.rates.weak, &mut model.rates.weak),
            ("rates.noise", doc.rates.noise, &mut model.rates.noise),
            ("rates.ringing", doc.rates.ringing, &mut model.rates.ringing),
            ("rates.crosstalk", doc.rates.crosstalk, &mut model.rates.crosstalk),
        ];
        for (at, given, rates) in rates {
            let Some(given) = given else { continue };
            if given.is_empty() || given.len() > MOST_RATES {
                return sense(at, format!("{} rates; expected 1 to {MOST_RATES}", given.len()));
            }
            if let Some(bad) = given.iter().find(|&&rate| !(rate > 0.0 && rate <= 1.0)) {
                return sense(at, format!("{bad} is not a rate over 0 and at most 1"));
            }
            *rates = given;
        }
        for (id, given) in &doc.findings {
            let at = format!("findings.{id}");
            let Some(sought) = Sought::ALL.into_iter().find(|sought| sought.id() == id) else {
                return unknown("findings", id, &Sought::ALL.map(Sought::id));
            };
            for (cause, &share) in given {
                let Some(cause) = Cause::from_id(cause) else {
                    return unknown(&at, cause, &Cause::ALL.map(Cause::id));
                };
                model.findings[sought.index()][cause.index()] = probability(&at, cause, share)?;
            }
        }
        let factors = [
            ("capture.bits-inverted", doc.capture.bits_inverted, &mut model.probe.bits_inverted),
            ("capture.padded", doc.capture.padded, &mut model.probe.padded),
            (
                "capture.lines-swapped-at-reader",
                doc.capture.lines_swapped_at_reader,
                &mut model.probe.lines_swapped_at_reader,
            ),
        ];
        for (at, given, factor) in factors {
            let Some(given) = given else { continue };
            if !(given >= 0.0 && given.is_finite()) {
                return sense(at, format!("{given} is not a factor of 0 or more"));
            }
            *factor = given;
        }
        override_tests(&mut model.tests, &doc.tests)?;
        override_mends(&mut model.mends, &doc.mends)?;
        override_minutes("unmended", &mut model.unmended_minutes, doc.unmended.minutes)?;
        Ok(model)
    }
}

/// What stands beside the causes by themselves: two at once, at times, layouts
/// nobody listed, whose cards.
fn override_more(model: &mut Model, doc: &PriorsDoc) -> Result<(), PriorsError> {
    let more = &doc.more;
    let factors = [
        ("more.two-at-once", more.two_at_once, &mut model.two_at_once),
        ("more.at-times", more.at_times, &mut model.at_times),
        ("more.reads-missing", more.reads_missing, &mut model.reads_missing),
    ];
    for (at, given, factor) in factors {
        let Some(given) = given else { continue };
        if !(given >= 0.0 && given.is_finite()) {
            return sense(at, format!("{given} is not a number of 0 or more"));
        }
        *factor = given;
    }
    if let Some(empty) = more.empty {
        if !(0.0..1.0).contains(&empty) {
            return sense("more.empty", format!("{empty} is not a probability from 0 to under 1"));
        }
        model.empty = empty;
    }
    if let Some(shares) = &more.shares {
        if shares.is_empty() || shares.len() > MOST_RATES {
            let found = shares.len();
            return sense("more.shares", format!("{found} shares; expected 1 to {MOST_RATES}"));
        }
        if let Some(bad) = shares.iter().find(|&&share| !(share > 0.0 && share < 1.0)) {
            return sense("more.shares", format!("{bad} is not a share over 0 and under 1"));
        }
        model.shares.clone_from(shares);
    }
    let lengths = &mut model.unlisted;
    let mut parts = [lengths.usual, lengths.near, lengths.any];
    let ids = ["usual", "near", "any"];
    let given = [doc.unlisted.usual, doc.unlisted.near, doc.unlisted.any];
    let given = ids.iter().zip(given).filter_map(|(id, p)| Some(((*id).to_owned(), p?)));
    override_shares("unlisted", &mut parts, &ids, &given.collect())?;
    [lengths.usual, lengths.near, lengths.any] = parts;
    override_shares("presented", &mut model.presented.0, &Whose::ALL.map(Whose::id), &doc.presented)
}

/// Probabilities given stand; those not given share the rest in proportion.
fn override_shares<const N: usize>(
    at: &str,
    shares: &mut [f64; N],
    ids: &[&str; N],
    given: &BTreeMap<String, f64>,
) -> Result<(), PriorsError> {
    if given.is_empty() {
        return Ok(());
    }
    let mut is_given = [false; N];
    for (id, &share) in given {
        let Some(index) = ids.iter().position(|known| known == id) else {
            return unknown(at, id, ids);
        };
        shares[index] = probability(at, id, share)?;
        is_given[index] = true;
    }
    let sum_where = |which: bool| -> f64 {
        shares
            .iter()
            .zip(is_given)
            .filter(|&(_, given)| given == which)
            .map(|(share, _)| share)
            .sum()
    };
    let (named, others) = (sum_where(true), sum_where(false));
    let rest = 1.0 - named;
    if rest < -1e-9 || (others == 0.0 && rest.abs() > 1e-9) {
        return sense(
            at,
            format!("the probabilities given sum to {named}; expected 1 with the others"),
        );
    }
    let scale = if others > 0.0 { rest.max(0.0) / others } else { 0.0 };
    for (share, given) in shares.iter_mut().zip(is_given) {
        if !given {
            *share *= scale;
        }
    }
    Ok(())
}

/// A file from before `bits-changed` had its name still holds.
fn renamed(causes: &BTreeMap<String, f64>) -> BTreeMap<String, f64> {
    let name =
        |id: &String| if id == OLD_NAME { Cause::BitsChanged.id().to_owned() } else { id.clone() };
    causes.iter().map(|(id, &share)| (name(id), share)).collect()
}

/// What [`Cause::BitsChanged`] was called.
const OLD_NAME: &str = "one-bit-changed";

fn probability(at: &str, of: impl std::fmt::Display, share: f64) -> Result<f64, PriorsError> {
    if (0.0..=1.0).contains(&share) {
        return Ok(share);
    }
    sense(&format!("{at}.{of}"), format!("{share} is not a probability from 0 to 1"))
}

fn sense<T>(at: &str, says: String) -> Result<T, PriorsError> {
    Err(PriorsError::Sense { at: at.to_owned(), says })
}

fn unknown<T>(at: &str, id: &str, known: &[impl AsRef<str>]) -> Result<T, PriorsError> {
    let known: Vec<&str> = known.iter().map(AsRef::as_ref).collect();
    sense(at, format!("there is no ‘{id}’; expected one of {}", known.join(", ")))
}

fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    (line, column)
}

#[cfg(test)]
mod tests {
    use misread_core::pulse::Line;
    use proptest::prelude::*;

    use super::*;
    use crate::cause::Wire;

    #[test]
    fn given_priors_stand_and_the_others_share_the_rest() {
        let model = Model::default().with_priors("[causes]\nlines-swapped = 0.59").unwrap();
        assert_eq!(model.prior(Cause::LinesSwapped), 0.59);
        // 0.83 was shared by the others, 0.41 is now.
        assert!((model.prior(Cause::None) - 0.374 * 0.41 / 0.83).abs() < 1e-12);
        assert!((model.causes.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(model.cards, Model::default().cards);
    }

    #[test]
    fn everything_can_be_overridden() {
        let model = Model::default()
            .with_priors(
                "[findings.short-pulse-d1]\nd0-open = 0.3\n[capture]\nbits-inverted = 0.5\n\
                 [cards]\nas-expected = 0.5\n[layouts]\nconfigured = 0.99\n[rates]\nweak = [0.1, 1]\n\
                 [tests.supply]\nminutes = 2\n[tests.supply.outcomes]\n\
                 both-weak = { steady = 0.2, low = 0.8 }",
            )
            .unwrap();
        assert_eq!(model.finding(Sought::ShortPulse(Line::D1), Cause::D0Open), 0.3);
        assert_eq!(model.probe.bits_inverted, 0.5);
        assert_eq!(model.configured, 0.99);
        assert_eq!(model.rates.weak, [0.1, 1.0]);
        let supply = model.tests.iter().find(|test| test.id == "supply").unwrap();
        assert_eq!(supply.minutes, 2.0);
        assert_eq!(supply.odds(Cause::BothWeak.into()), [0.2, 0.8]);
    }

    #[test]
    fn mends_can_be_overridden_and_tables_of_every_wire_state() {
        let model = Model::default()
            .with_priors(
                "[mends.fix-lines-swapped]\nminutes = 3\n[mends.fix-supply.mends]\n\
                 both-weak = 0.55\nhead-lost = 0\n[unmended]\nminutes = 90\n\
                 [tests.supply.outcomes]\nboth-weak = { steady = 0.2, low = 0.8 }\n\
                 both-weak-at-times = { steady = 0.3, low = 0.7 }",
            )
            .unwrap();
        let mend = |id: &str| model.mends.iter().find(|mend| mend.id == id).unwrap();
        assert_eq!(mend("fix-lines-swapped").minutes, 3.0);
        assert_eq!(mend("fix-supply").share(Cause::BothWeak.into()), 0.55);
        assert_eq!(mend("fix-supply").share(Cause::HeadLost.into()), 0.0);
        assert_eq!(model.unmended_minutes, 90.0);
        let supply = model.tests.iter().find(|test| test.id == "supply").unwrap();
        for (wire, low) in [
            (Wire::AtTimes(Cause::BothWeak), 0.7),
            (Wire::Swapped(Cause::BothWeak), 0.8),
            (Wire::ReadsMissing, 0.35),
        ] {
            assert_eq!(supply.odds(wire.into())[1], low, "{wire}");
        }
    }

    /// The example at the top of this file.
    #[test]
    fn the_example_is_accepted() {
        let text = include_str!("priors.rs").split("```").nth(1).unwrap();
        let toml: String = text
            .lines()
            .skip(1)
            .map(|line| format!("{}\n", line.trim_start_matches("//!").trim_start()))
            .collect();
        assert!(toml.contains("[unmended]"));
        Model::default().with_priors(&toml).unwrap();
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_its_place() {
        for (toml, says) in [
            (
                "[causes]\nlines-swaped = 0.3",
                "causes: there is no ‘lines-swaped’; expected one of none",
            ),
            ("[causes]\nnone = 1.5", "causes.none: 1.5 is not a probability from 0 to 1"),
            ("[causes]\nnone = 0.7\nd0-open = 0.7", "causes: the probabilities given sum to 1.4"),
            ("[causes]\nnone = nan", "causes.none: NaN is not a probability"),
            ("[layouts]\nconfigured = 1", "layouts.configured: 1 is not between 0 and 1"),
            ("[rates]\nweak = []", "rates.weak: 0 rates; expected 1 to 64"),
            ("[rates]\nnoise = [0]", "rates.noise: 0 is not a rate over 0 and at most 1"),
            (
                "[tests.smell]\nminutes = 1",
                "tests: there is no ‘smell’; expected one of known-card",
            ),
            ("[tests.supply]\nminutes = 0", "tests.supply.minutes: 0 is not a time over 0"),
            (
                "[tests.supply.outcomes]\nnone = { steady = 0.5 }",
                "tests.supply.outcomes.none: the outcomes sum to 0.5; expected 1",
            ),
            (
                "[findings.missing-beat]\nd0-weak = 2",
                "findings.missing-beat.d0-weak: 2 is not a probability from 0 to 1",
            ),
            ("[findings.smell]\nnone = 1", "findings: there is no ‘smell’; expected one of lines-"),
            (
                "[findings.missing-beat]\nrain = 1",
                "findings.missing-beat: there is no ‘rain’; expected one of none",
            ),
            ("[capture]\nbits-inverted = -1", "capture.bits-inverted: -1 is not a factor of 0"),
            (
                "[mends.fix-it]\nminutes = 1",
                "mends: there is no ‘fix-it’; expected one of fix-lines-",
            ),
            ("[mends.fix-supply]\nminutes = nan", "mends.fix-supply.minutes: NaN is not a time"),
            (
                "[mends.fix-supply.mends]\nnone = 0.5",
                "mends.fix-supply.mends: there is no ‘none’; expected one of lines-swapped",
            ),
            (
                "[mends.fix-supply.mends]\nd0-weak-at-times = 0.5",
                "mends.fix-supply.mends: there is no ‘d0-weak-at-times’",
            ),
            (
                "[mends.fix-supply.mends]\nboth-weak = 0.75",
                "mends: the shares of ‘both-weak’ sum to 1.2 (fix-supply 0.75, fix-common 0.35, fix-cable",
            ),
            ("[unmended]\nminutes = -1", "unmended.minutes: -1 is not a time over 0"),
            (
                "[tests.supply.outcomes]\nrain = { steady = 1 }",
                "tests.supply.outcomes: there is no ‘rain’; expected one of none",
            ),
            ("[wires]\n", "line 1, column 2: unknown field `wires`"),
            ("[rates]\nweak = [0.1", "line 2, column"),
        ] {
            let error = Model::default().with_priors(toml).unwrap_err().to_string();
            assert!(error.starts_with(says), "{toml}: {error}");
        }
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,80}") {
            let _ = Model::default().with_priors(&text);
        }
    }
}
