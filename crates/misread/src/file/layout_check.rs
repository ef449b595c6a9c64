//! Everything that is wrong with a layout document, in plain words.

use std::fmt;

use misread_core::layout::{
    FieldSpec, FixedSpec, LayoutError, MAX_NAME, ParitySpec, Problem, Rule, Spec,
};

use super::entry::{Entry, Source};
use super::layout_doc::LayoutDoc;
use super::spans;
use crate::Layout;

/// The largest weight; sums of weights stay far from the end of the numbers.
const MAX_WEIGHT: f64 = 1e6;

/// One thing that is wrong with a layout document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LayoutProblem {
    /// The rule, such as `field card` or `parity rule 2 (bit 26)`.
    pub rule: String,
    /// What is wrong with it and what would be right.
    pub says: String,
}

impl std::error::Error for LayoutProblem {}

impl fmt::Display for LayoutProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.rule, self.says)
    }
}

impl LayoutDoc {
    /// Checks the document and compiles the layout.
    ///
    /// # Errors
    ///
    /// Everything that is wrong, in the order written; never an empty list.
    pub fn check(&self) -> Result<Layout, Vec<LayoutProblem>> {
        let mut problems = Vec::new();
        if self.title.as_ref().is_some_and(|title| title.chars().any(char::is_control)) {
            problems.push(LayoutProblem {
                rule: "title".to_owned(),
                says: "has a line break or another control character; a title is one line of text"
                    .to_owned(),
            });
        }
        if let Some(weight) = self.weight.filter(|w| !(*w > 0.0 && *w <= MAX_WEIGHT)) {
            problems.push(LayoutProblem {
                rule: "weight".to_owned(),
                says: format!("is {weight}; a weight is above 0 and at most {MAX_WEIGHT}"),
            });
        }
        let (layout, errors) = self.compile();
        problems.extend(self.in_words(&errors));
        match layout {
            Some(layout) if problems.is_empty() => Ok(layout),
            _ => Err(problems),
        }
    }

    /// Checks the document and keeps its title and weight with the layout.
    ///
    /// # Errors
    ///
    /// As those of [`LayoutDoc::check`].
    pub fn into_entry(self, source: Source) -> Result<Entry, Vec<LayoutProblem>> {
        let layout = self.check()?;
        Ok(Entry { layout, title: self.title, weight: self.weight, source })
    }

    fn compile(&self) -> (Option<Layout>, Vec<LayoutError>) {
        let fields: Vec<_> = self
            .field
            .iter()
            .map(|field| FieldSpec {
                name: &field.name,
                bits: &field.bits,
                order: field.order,
                code: field.code,
                value: field.value.map(u64::from),
                range: field.range.map(|[low, high]| (low.into(), high.into())),
            })
            .collect();
        let fixed: Vec<_> = self
            .fixed
            .iter()
            .map(|fixed| FixedSpec { bits: &fixed.bits, value: &fixed.value })
            .collect();
        let parity: Vec<_> = self
            .parity
            .iter()
            .map(|rule| ParitySpec { bit: rule.bit, kind: rule.kind, over: &rule.over })
            .collect();
        let spec = Spec {
            name: &self.name,
            bits: self.bits,
            fields: &fields,
            fixed: &fixed,
            parity: &parity,
        };
        let mut errors = Vec::new();
        let layout = Layout::check(&spec, &mut |error| errors.push(error));
        (layout, errors)
    }

    /// One problem for each error, but one for all the bits that two rules
    /// have in common.
    fn in_words(&self, errors: &[LayoutError]) -> Vec<LayoutProblem> {
        errors
            .chunk_by(same_clash)
            .map(|clash| LayoutProblem {
                rule: self.rule_name(clash[0].rule),
                says: self.says(clash),
            })
            .collect()
    }

    fn says(&self, clash: &[LayoutError]) -> String {
        let positions = clash.iter().filter_map(|error| match error.problem {
            Problem::Claimed { position, .. } | Problem::CoversTwice { position } => Some(position),
            _ => None,
        });
        let (noun, be) = if clash.len() == 1 { ("bit", "is") } else { ("bits", "are") };
        let bits = format!("{noun} {}", spans::listed(positions));
        let LayoutError { rule, problem } = clash[0];
        match problem {
            Problem::Claimed { by, .. } if by == rule => {
                format!("{bits} {be} listed twice; list each bit once")
            }
            Problem::Claimed { by, .. } => format!(
                "{bits} {be} already claimed by {}; a bit belongs to one rule only",
                self.rule_name(by)
            ),
            Problem::CoversTwice { .. } => format!(
                "covers {bits} twice, or as its own parity bit; list each covered bit once and \
                 leave the parity bit out"
            ),
            Problem::NameTaken(by) => {
                format!("its name is already that of {}, capitals aside", self.rule_name(by))
            }
            _ => problem.to_string(),
        }
    }

    /// What people call a rule: a field by its name where that is its own,
    /// every other rule by its number.
    fn rule_name(&self, rule: Rule) -> String {
        match rule {
            Rule::Field(i) => {
                let name = self.field.get(i).map_or("", |field| &field.name);
                let shared =
                    self.field.iter().filter(|f| f.name.eq_ignore_ascii_case(name)).count() > 1;
                if name.is_empty() || name.len() > MAX_NAME || name.chars().any(char::is_control) {
                    rule.to_string()
                } else if shared {
                    format!("{rule} ({name})")
                } else {
                    format!("field {name}")
                }
            }
            Rule::Parity(i) => match self.parity.get(i) {
                Some(parity) => format!("{rule} (bit {})", parity.bit),
                None => rule.to_string(),
            },
            Rule::Layout | Rule::Fixed(_) => rule.to_string(),
        }
    }
}

fn same_clash(a: &LayoutError, b: &LayoutError) -> bool {
    a.rule == b.rule
        && match (a.problem, b.problem) {
            (Problem::Claimed { by: a, .. }, Problem::Claimed { by: b, .. }) => a == b,
            (Problem::CoversTwice { .. }, Problem::CoversTwice { .. }) => true,
            _ => false,
        }
}
