//! Installers at work: how long it takes to a verified fix, by what is done next.
//!
//! ```text
//! cargo run --release -p misread --example installers -- [CASES [SEED]]
//! ```
//!
//! Cases are drawn from the fault model; where nothing is wrong there is nothing
//! to do, and the case is passed over. Each installer knows what the bits say,
//! then tests and mends until the next read is right, or gives up for the half
//! hour that it takes to find help. What a test shows is drawn from its table
//! under the true fault, and which mend meets the fault from the mends' shares;
//! both are the same for all installers. Prints tables in Markdown.

#[path = "../../tests/optimum/mod.rs"]
mod optimum;
mod work;

use std::ops::ControlFlow;
use std::process::ExitCode;
use std::sync::Arc;

use misread::cause::{CardState, Fault, Model, Wire};
use misread::channel::{DrawError, draw_case, seeded};
use misread::diagnose::{Candidates, DiagnoseError, LayoutUsed, Plan, posterior};
use misread::layout::{Layout, built_in};
use optimum::{Site, followed};
use work::{Job, Way, work};

/// The posteriors whose optimum is worked out: so many, of at most so many
/// faults, less likely ones left out.
const MOST_WORKED_OUT: usize = 1000;
const MOST_FAULTS: usize = 6;
const LEAST_LIKELY: f64 = 0.001;

const WAYS: [(&str, Way); 4] = [
    ("what misread says next", Way::Next),
    ("a fixed checklist until it is sure, then the likeliest mends", Way::Checklist),
    ("the test that tells most a minute until it is sure, then the same", Way::Information),
    ("mending alone, the likeliest a minute first", Way::Mending),
];

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<(), Box<dyn std::error::Error>> {
    let mut numbers = std::env::args().skip(1).map(|argument| argument.parse::<u64>());
    let cases = numbers.next().transpose()?.unwrap_or(10_000);
    let seed = numbers.next().transpose()?.unwrap_or(1);
    let model = Model::default();
    let layout = |spec| Layout::new(spec).map(Arc::new);
    let candidates = Candidates::weighted([
        (layout(&built_in::OPEN_26)?, 12.0),
        (layout(&built_in::SITE_34)?, 1.0),
        (layout(&built_in::PLAIN_32)?, 1.0),
    ])
    .configured(0);
    let mut minutes = WAYS.map(|_| Vec::new());
    let mut steps = WAYS.map(|_| 0);
    let (mut worked_out, mut following, mut least) = (0, 0.0, 0.0);
    for number in 0..cases {
        let drawn = match draw_case(&candidates, &model, &mut seeded(seed, 2 * number)) {
            Ok(drawn) => drawn,
            Err(DrawError::Nothing) => continue,
            Err(error) => return Err(error.into()),
        };
        let of = |wire, card, layout| said(wire, card, layout, candidates.configured_index());
        let truth = &drawn.truth;
        let truth = of(truth.fault.wire(), truth.card, truth.layout);
        if truth.is_none() {
            continue;
        }
        let faults: Vec<(Fault, f64)> =
            match posterior(&drawn.case, &candidates, &model, &mut |_| ControlFlow::Continue(())) {
                Ok(posterior) => {
                    let joint = posterior.joint.iter();
                    joint.map(|one| (of(one.wire, one.card, one.layout), one.probability)).collect()
                }
                // No pulse arrived at all: there is nothing to weigh.
                Err(DiagnoseError::Nothing) => continue,
                Err(error) => return Err(error.into()),
            };
        let faults = together(faults);
        for ((way, minutes), steps) in WAYS.iter().zip(&mut minutes).zip(&mut steps) {
            // Each installer meets the same fault and sees the same outcomes.
            let job = Job::draw(truth, &model, &mut seeded(seed, 2 * number + 1));
            let (took, done) = work(way.1, &faults, &job, &model);
            minutes.push(took);
            *steps += done;
        }
        let few: Vec<(Fault, f64)> =
            faults.iter().filter(|&&(_, p)| p >= LEAST_LIKELY).copied().collect();
        if few.len() <= MOST_FAULTS && worked_out < MOST_WORKED_OUT {
            worked_out += 1;
            let sum: f64 = few.iter().map(|(_, p)| p).sum();
            let probabilities: Vec<f64> = few.iter().map(|(_, p)| p / sum).collect();
            least += Site::new(&few, &model).least_minutes(&probabilities);
            following += followed(&Plan::new(&few, &model), &model);
        }
    }
    let count = minutes[0].len();
    println!("{count} of {cases} cases had something wrong.\n");
    println!(
        "| way | minutes to a verified fix, mean | median | nine in ten within | steps, mean |"
    );
    println!("|---|---|---|---|---|");
    for (((name, _), minutes), steps) in WAYS.iter().zip(&mut minutes).zip(steps) {
        minutes.sort_by(f64::total_cmp);
        let at = |share: f64| minutes.get((share * count as f64) as usize).copied();
        println!(
            "| {name} | {:.1} | {:.0} | {:.0} | {:.1} |",
            minutes.iter().sum::<f64>() / count.max(1) as f64,
            at(0.5).unwrap_or_default(),
            at(0.9).unwrap_or_default(),
            f64::from(steps) / count.max(1) as f64
        );
    }
    let mean = |sum: f64| sum / f64::from(worked_out.max(1) as u32);
    println!(
        "\nOn the first {worked_out} posteriors of at most {MOST_FAULTS} faults: what misread \
         says next takes {:.2} minutes on average, the least that any way takes is {:.2}.",
        mean(following),
        mean(least)
    );
    Ok(())
}

/// What is said to be wrong of a combination of wire, card and layout, where
/// the panel is set to that layout.
fn said(
    wire: Wire,
    card: Option<CardState>,
    layout: Option<LayoutUsed>,
    set: Option<usize>,
) -> Fault {
    let set = set.map(LayoutUsed::Candidate);
    match card {
        Some(state) if wire.is_none() && state != CardState::AsExpected => Fault::Card(state),
        _ if wire.is_none() && set.is_some() && layout != set => Fault::LayoutDiffers,
        _ => Fault::Wire(wire),
    }
}

/// Each fault once, the likeliest first.
fn together(mut faults: Vec<(Fault, f64)>) -> Vec<(Fault, f64)> {
    faults.sort_by_key(|&(fault, _)| fault);
    faults.dedup_by(|next, first| {
        let same = next.0 == first.0;
        first.1 += if same { next.1 } else { 0.0 };
        same
    });
    let wrong: f64 = faults.iter().filter(|(fault, _)| !fault.is_none()).map(|(_, p)| p).sum();
    faults.retain(|(fault, _)| !fault.is_none() && wrong > 0.0);
    faults.iter_mut().for_each(|(_, p)| *p /= wrong);
    faults.sort_by(|a, b| b.1.total_cmp(&a.1));
    faults
}
