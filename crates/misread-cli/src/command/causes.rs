//! `misread causes`: the catalogue of causes.

use clap::Args;
use misread::cause::catalogue::{CAUSES, WireInfo, headline, wire_info};
use misread::cause::{Cause, Model, Sought, TestTable, Wire};

use crate::context::{Context, Outcome, Status};
use crate::draw::{Ink, Line, hanging};
use crate::json_explain::{self as json, Causes, Probability};
use crate::refusal::Refusal;

const EXAMPLES: &str = "\
Examples:
  Everything that can come between a card and a panel:
    misread causes
  What swapped data lines do, and how to mend them:
    misread causes lines-swapped
  Two faults at once, and one that comes and goes:
    misread causes lines-swapped+d0-weak
    misread causes d0-open-at-times";

/// What can come between a card and a panel, and how to mend it
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub(crate) struct CausesArgs {
    /// One of them, by its id; lines-swapped+ID for two at once, ID-at-times for
    /// one that comes and goes
    #[arg(value_name = "ID")]
    cause: Option<String>,
}

/// Runs it.
pub(crate) fn run(args: &CausesArgs, context: &mut Context) -> Outcome {
    let chosen = args.cause.as_deref().map(wire_of).transpose()?;
    let model = Model::default();
    if context.json {
        let wires: Vec<Wire> = chosen.map_or_else(|| Wire::all().collect(), |wire| vec![wire]);
        let causes = wires.into_iter().map(|wire| object(&wire_info(wire), &model)).collect();
        context.out.json(&Causes { schema: Causes::SCHEMA, causes })?;
    } else if let Some(wire) = chosen {
        context.out.lines(&one(&wire_info(wire), &model))?;
    } else {
        context.out.lines(&list(&model))?;
    }
    Ok(Status::Good)
}

fn wire_of(id: &str) -> Result<Wire, Refusal> {
    id.parse().map_err(|_| {
        let ids: Vec<&str> = Cause::ALL.into_iter().map(Cause::id).collect();
        let of = |wire: fn(Cause) -> Option<Wire>| {
            let ids: Vec<&str> =
                Cause::ALL.into_iter().filter(|&c| wire(c).is_some()).map(Cause::id).collect();
            ids.join(", ")
        };
        Refusal::new(
            format!("there is no cause ‘{id}’"),
            format!(
                "one of {}, reads-missing; lines-swapped+ID, where ID is one of {}; or \
                 ID-at-times, where ID is one of {}",
                ids.join(", "),
                of(Wire::swapped),
                of(Wire::at_times)
            ),
        )
    })
}

fn object(info: &WireInfo, model: &Model) -> json::Cause {
    let mend: Vec<&str> = info.mend.iter().map(|step| step.says).collect();
    let tests = model.tests.iter().map(|test| json::Test {
        test: test.id.clone(),
        outcomes: test
            .outcomes
            .iter()
            .zip(test.odds(info.wire.into()))
            .map(|(outcome, &probability)| json::Outcome {
                outcome: outcome.id.clone(),
                says: outcome.says.clone(),
                probability: Probability(probability),
            })
            .collect(),
    });
    let recording = Sought::ALL.into_iter().map(|sought| json::Recorded {
        finding: sought.id().to_owned(),
        probability: Probability(found(sought, info.wire, model)),
    });
    let mends = model.mends.iter().map(|mend| (mend, mend.share(info.wire.into())));
    let mends = mends.filter(|&(_, share)| share > 0.0).map(|(mend, share)| json::Mend {
        mend: mend.id.clone(),
        says: mend.says.clone(),
        minutes: mend.minutes,
        share: Probability(share),
    });
    json::Cause {
        cause: info.wire.to_string(),
        prior: Probability(model.wire_prior(info.wire)),
        headline: info.headline.to_string(),
        what: info.what.to_string(),
        confirm: info.confirm.to_string(),
        mend: mend.join(" "),
        caution: info.caution.map(str::to_owned),
        recording: recording.collect(),
        tests: tests.collect(),
        mends: mends.collect(),
    }
}

/// How likely a finding is in a recording of a read.
fn found(sought: Sought, wire: Wire, model: &Model) -> f64 {
    let of = |cause| model.finding(sought, cause);
    match wire {
        Wire::Alone(cause) | Wire::Swapped(cause) => of(cause),
        Wire::AtTimes(cause) => {
            let share = model.shares.iter().sum::<f64>() / model.shares.len().max(1) as f64;
            share * of(cause) + (1.0 - share) * of(Cause::None)
        }
        Wire::ReadsMissing => of(Cause::None),
    }
}

fn list(model: &Model) -> Vec<Line> {
    let width = Cause::ALL.into_iter().map(|cause| cause.id().len()).max().unwrap_or(0);
    let row = |id: &str, prior: &str, says: &str| {
        hanging(Ink::Plain, &format!("{id:width$}  {prior:>5}  "), says)
    };
    let share = |prior: f64| format!("{:.1}%", 100.0 * prior);
    let mut lines = Vec::new();
    for info in &CAUSES {
        lines.extend(row(info.cause.id(), &share(info.prior), &format!("{}.", info.headline)));
    }
    let missing = Wire::ReadsMissing;
    lines.push(Line::default());
    let both = "D0 and D1 are swapped, and ID beside it.";
    lines.extend(row("lines-swapped+ID", "", both));
    let times = "ID in some reads, and nothing wrong in the others.";
    lines.extend(row("ID-at-times", "", times));
    let says = format!("{}.", headline(missing.into()));
    lines.extend(row("reads-missing", &share(model.wire_prior(missing)), &says));
    lines.push(Line::default());
    lines.extend(hanging(
        Ink::Plain,
        "",
        &format!(
            "The share is how likely a cause is before a read is seen: judgement, to be overridden \
             with --priors. Two at once have {} times the product of their shares, what comes at \
             times {} times its share, on top. `misread causes ID` says more of one.",
            model.two_at_once, model.at_times
        ),
    ));
    lines
}

fn one(info: &WireInfo, model: &Model) -> Vec<Line> {
    let mut lines = Vec::new();
    lines.extend(hanging(Ink::Strong, "", &format!("{}: {}.", info.wire, info.headline)));
    lines.push(Line::default());
    lines.extend(hanging(Ink::Plain, "", &info.what));
    lines.extend(hanging(
        Ink::Plain,
        "",
        &format!("Before a read is seen: {}.", prior(model.wire_prior(info.wire))),
    ));
    if let Some(caution) = info.caution {
        lines.push(Line::default());
        lines.extend(hanging(Ink::Alert, "CAUTION: ", caution));
    }
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "How to make sure"));
    lines.extend(hanging(Ink::Plain, "  ", &info.confirm));
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "How to mend it"));
    for (i, step) in info.mend.iter().enumerate() {
        lines.extend(hanging(Ink::Plain, &format!("  {}. ", i + 1), step.says));
    }
    let typical = typical(info.wire, model);
    if !typical.is_empty() {
        lines.push(Line::default());
        lines.push(Line::new(Ink::Strong, "What a recording of a read would show"));
        for sought in typical {
            let lead = format!("    {:>5.1}%  ", 100.0 * found(sought, info.wire, model));
            lines.extend(hanging(Ink::Plain, &lead, &sought.says()));
        }
    }
    mends(&mut lines, info.wire, model);
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, "What the tests would show"));
    for test in &model.tests {
        outcomes(&mut lines, test, info.wire);
    }
    lines
}

fn mends(lines: &mut Vec<Line>, wire: Wire, model: &Model) {
    let mut mends: Vec<_> =
        model.mends.iter().map(|mend| (mend, mend.share(wire.into()))).collect();
    mends.retain(|&(_, share)| share > 0.0);
    if mends.is_empty() {
        return;
    }
    let beside = if matches!(wire, Wire::Swapped(_)) { ", once the lines are swapped" } else { "" };
    let heading = format!("How many of its cases each of these mends{beside}");
    lines.push(Line::default());
    lines.push(Line::new(Ink::Strong, heading));
    for (mend, share) in mends {
        let says = format!("{} ({}, {} min)", mend.says, mend.id, mend.minutes);
        lines.extend(hanging(Ink::Plain, &format!("    {:>5.1}%  ", 100.0 * share), &says));
    }
}

fn outcomes(lines: &mut Vec<Line>, test: &TestTable, wire: Wire) {
    let says = format!("{} ({}, {} min)", test.says, test.id, test.minutes);
    lines.extend(hanging(Ink::Plain, "  ", &says));
    for (outcome, &share) in test.outcomes.iter().zip(test.odds(wire.into())) {
        if share > 0.0 {
            let lead = format!("    {:>5.1}%  ", 100.0 * share);
            lines.extend(hanging(Ink::Plain, &lead, &outcome.says));
        }
    }
}

fn prior(share: f64) -> String {
    if share < 0.001 { "under 0.1%".to_owned() } else { format!("{:.1}%", 100.0 * share) }
}

/// What a recording shows of this wire state more often than of sound wiring.
fn typical(wire: Wire, model: &Model) -> Vec<Sought> {
    let sound = Wire::Alone(Cause::None);
    let more = |&sought: &Sought| found(sought, wire, model) > found(sought, sound, model);
    Sought::ALL.into_iter().filter(more).collect()
}
