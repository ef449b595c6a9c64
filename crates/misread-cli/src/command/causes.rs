//! `misread causes`: the catalogue of causes.

use clap::Args;
use misread::cause::catalogue::{CAUSES, CauseInfo};
use misread::cause::{Cause, Model, Sought};

use crate::context::{Context, Outcome, Status};
use crate::draw::{Ink, Line, hanging};
use crate::json_explain::{self as json, Causes, Probability};
use crate::refusal::Refusal;

const EXAMPLES: &str = "\
Examples:
  Everything that can come between a card and a panel:
    misread causes
  What swapped data lines do, and how to mend them:
    misread causes lines-swapped";

/// What can come between a card and a panel, and how to mend it
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct CausesArgs {
    /// One cause, by its id
    #[arg(value_name = "ID")]
    cause: Option<String>,
}

/// Runs it.
pub(crate) fn run(args: &CausesArgs, context: &mut Context) -> Outcome {
    let chosen: Vec<&CauseInfo> = match &args.cause {
        None => CAUSES.iter().collect(),
        Some(id) => {
            let cause = Cause::from_id(id).ok_or_else(|| {
                let ids: Vec<&str> = Cause::ALL.into_iter().map(Cause::id).collect();
                Refusal::new(
                    format!("there is no cause ‘{id}’"),
                    format!("one of {}", ids.join(", ")),
                )
            })?;
            CAUSES.iter().filter(|info| info.cause == cause).collect()
        }
    };
    let model = Model::default();
    if context.json {
        let causes = chosen.iter().map(|info| object(info, &model)).collect();
        context.out.json(&Causes { schema: Causes::SCHEMA, causes })?;
    } else if args.cause.is_some() {
        for info in chosen {
            context.out.lines(&one(info, &model))?;
        }
    } else {
        context.out.lines(&list(&chosen))?;
    }
    Ok(Status::Good)
}

fn object(info: &CauseInfo, model: &Model) -> json::Cause {
    let mend: Vec<&str> = info.mend.iter().map(|step| step.says).collect();
    let tests = model.tests.iter().map(|test| json::Test {
        test: test.id.clone(),
        outcomes: test
            .outcomes
            .iter()
            .zip(&test.likelihood[info.cause.index()])
            .map(|(outcome, &probability)| json::Outcome {
                outcome: outcome.id.clone(),
                says: outcome.says.clone(),
                probability: Probability(probability),
            })
            .collect(),
    });
    json::Cause {
        cause: info.cause.id().to_owned(),
        prior: Probability(info.prior),
        what: info.what.to_owned(),
        confirm: info.confirm.to_owned(),
        mend: mend.join(" "),
        caution: info.caution.map(str::to_owned),
        recording: Sought::ALL
            .into_iter()
            .map(|sought| json::Recorded {
                finding: sought.id().to_owned(),
                probability: Probability(model.finding(sought, info.cause)),
            })
            .collect(),
        tests: tests.collect(),
    }
}

fn list(causes: &[&CauseInfo]) -> Vec<Line> {
    let width = causes.iter().map(|info| info.cause.id().len()).max().unwrap_or(0);
    let mut lines = Vec::new();
    for info in causes {
        let lead = format!("{:width$}  {:>4.1}%  ", info.cause.id(), 100.0 * info.prior);
        lines.extend(hanging(Ink::Plain, &lead, &format!("{}.", info.headline)));
    }
    lines.push(Line::default());
    lines.extend(hanging(
        Ink::Plain,
        "",
        "The share is how likely a cause is before a read is seen: judgement, to be overridden \
         with --priors. `misread causes ID` says more of one.",
    ));
    lines
}

fn one(info: &CauseInfo, model: &Model) -> Vec<Line> {
    let mut lines = Vec::new();
    lines.extend(hanging(Ink::Strong, "", &format!("{}: {}.", info.cause.id(), info.headline)));
    lines.push(Line::default());
    lines.extend(hanging(Ink::Plain, "", info.what));
    lines.extend(hanging(
        Ink::Plain,
        "",
        &format!("Before a read is seen: {:.1}%.", 100.0 * info.prior),
    ));
    if let Some(caution) = info.caution {
        lines.push(Line::default());
        lines.extend(hanging(Ink::Alert, "CAUTION: ", caution));
    }
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "How to make sure"));
    lines.extend(hanging(Ink::Plain, "  ", info.confirm));
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "How to mend it"));
    for (i, step) in info.mend.iter().enumerate() {
        lines.extend(hanging(Ink::Plain, &format!("  {}. ", i + 1), step.says));
    }
    let found = typical(info.cause, model);
    if !found.is_empty() {
        lines.push(Line::default());
        lines.push(Line::new(Ink::Strong, "What a recording of a read would show"));
        for sought in found {
            let lead = format!("    {:>5.1}%  ", 100.0 * model.finding(sought, info.cause));
            lines.extend(hanging(Ink::Plain, &lead, &sought.says()));
        }
    }
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "What the tests would show"));
    for test in &model.tests {
        let minutes = test.minutes;
        lines.extend(hanging(
            Ink::Plain,
            "  ",
            &format!("{} ({}, {minutes} min)", test.says, test.id),
        ));
        for (outcome, share) in test.outcomes.iter().zip(&test.likelihood[info.cause.index()]) {
            if *share > 0.0 {
                let lead = format!("    {:>5.1}%  ", 100.0 * share);
                lines.extend(hanging(Ink::Plain, &lead, &outcome.says));
            }
        }
    }
    lines
}

/// What a recording shows of this cause more often than of sound wiring.
fn typical(cause: Cause, model: &Model) -> Vec<Sought> {
    let more = |&sought: &Sought| model.finding(sought, cause) > model.finding(sought, Cause::None);
    Sought::ALL.into_iter().filter(more).collect()
}
