//! Installers at work: how long it takes to be sure, by the order of the tests.
//!
//! ```text
//! cargo run --release -p misread --example installers -- [CASES [SEED]]
//! ```
//!
//! Cases are drawn from the fault model. Each installer reads the bits, then
//! does one test after another, each at most once, until one combination of
//! wire, card and layout has 99 %: by expected information a minute, by a fixed
//! checklist, or in random order. What a test shows is drawn from its outcome
//! table under the true cause. Prints a table in Markdown.

use std::ops::ControlFlow;
use std::process::ExitCode;
use std::sync::Arc;

use misread::cause::{Cause, Model, TestTable};
use misread::channel::{Random, Rng, draw_case, seeded};
use misread::diagnose::{Candidates, DiagnoseError, Triple, next_tests, posterior};
use misread::layout::{Layout, built_in};

/// How sure is sure enough.
const SURE: f64 = 0.99;

/// The order in which a sheet on the cabinet door would have it: what takes no
/// tool first, what moves a conductor last.
const CHECKLIST: [&str; 7] = [
    "same-card-thrice",
    "known-card",
    "supply",
    "rest-voltage",
    "continuity",
    "exchange-lines",
    "capture",
];

#[derive(Clone, Copy, PartialEq)]
enum Order {
    Told,
    Checklist,
    Random,
}

/// What one order of tests came to.
#[derive(Default)]
struct Tally {
    minutes: Vec<f64>,
    sure: usize,
    right: usize,
    tests: usize,
}

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
        (layout(&built_in::OPEN_26)?, 4.0),
        (layout(&built_in::SITE_34)?, 1.0),
        (layout(&built_in::PLAIN_32)?, 1.0),
    ]);
    let orders = [
        ("by expected information a minute", Order::Told),
        ("by a fixed checklist", Order::Checklist),
        ("in random order", Order::Random),
    ];
    let mut tallies: Vec<Tally> = orders.iter().map(|_| Tally::default()).collect();
    let (mut at_once, mut drawn_cases) = (0, 0);
    for number in 0..cases {
        let drawn = draw_case(&candidates, &model, &mut seeded(seed, 2 * number))?;
        let joint =
            match posterior(&drawn.case, &candidates, &model, &mut |_| ControlFlow::Continue(())) {
                Ok(posterior) => posterior.joint,
                // No pulse arrived at all: there is nothing to weigh.
                Err(DiagnoseError::Nothing) => continue,
                Err(error) => return Err(error.into()),
            };
        drawn_cases += 1;
        if best(&joint).probability >= SURE {
            at_once += 1;
            continue;
        }
        let truth = Triple {
            cause: drawn.truth.fault.cause(),
            card: drawn.truth.card,
            layout: drawn.truth.layout,
            probability: 1.0,
        };
        for ((_, order), tally) in orders.iter().zip(&mut tallies) {
            // Each installer sees the same outcome of the same test.
            let outcomes = outcomes(&model, truth.cause, &mut seeded(seed, 2 * number + 1));
            let random = &mut seeded(seed ^ 1, 2 * number + 1);
            work(*order, joint.clone(), &model, &outcomes, &truth, random, tally);
        }
    }
    println!(
        "{drawn_cases} cases; in {at_once} the bits alone gave one combination {:.0} %. The \
         others:\n",
        100.0 * SURE
    );
    println!(
        "| order of the tests | minutes, mean | median | tests, mean | sure in the end | and right |"
    );
    println!("|---|---|---|---|---|---|");
    for ((name, _), tally) in orders.iter().zip(&mut tallies) {
        let n = tally.minutes.len().max(1) as f64;
        tally.minutes.sort_by(f64::total_cmp);
        let median = tally.minutes.get(tally.minutes.len() / 2).copied().unwrap_or(0.0);
        println!(
            "| {name} | {:.1} | {median:.0} | {:.2} | {:.1} % | {:.1} % |",
            tally.minutes.iter().sum::<f64>() / n,
            tally.tests as f64 / n,
            100.0 * tally.sure as f64 / n,
            100.0 * tally.right as f64 / tally.sure.max(1) as f64
        );
    }
    Ok(())
}

fn best(joint: &[Triple]) -> Triple {
    let none = Triple { cause: Cause::None, card: None, layout: None, probability: 0.0 };
    joint.iter().fold(
        none,
        |best, triple| {
            if triple.probability > best.probability { *triple } else { best }
        },
    )
}

/// What each test shows under the true cause.
fn outcomes(model: &Model, cause: Cause, random: &mut Random) -> Vec<usize> {
    let draw = |table: &TestTable| {
        let mut rest = random.next_u64() as f64 / 2f64.powi(64);
        let row = &table.likelihood[cause.index()];
        let place = row.iter().position(|p| {
            rest -= p;
            rest < 0.0
        });
        place.unwrap_or_else(|| row.iter().rposition(|&p| p > 0.0).unwrap_or_default())
    };
    model.tests.iter().map(draw).collect()
}

fn work(
    order: Order,
    mut joint: Vec<Triple>,
    model: &Model,
    outcomes: &[usize],
    truth: &Triple,
    random: &mut Random,
    tally: &mut Tally,
) {
    let mut left: Vec<usize> = (0..model.tests.len()).collect();
    let mut minutes = 0.0;
    while best(&joint).probability < SURE && !left.is_empty() {
        let at = match order {
            Order::Random => random.next_u64() as usize % left.len(),
            Order::Checklist => {
                let next = CHECKLIST
                    .iter()
                    .find_map(|id| left.iter().position(|&test| model.tests[test].id == *id));
                next.unwrap_or_default()
            }
            Order::Told => {
                let causes = Cause::ALL.map(|cause| {
                    joint.iter().filter(|t| t.cause == cause).map(|t| t.probability).sum()
                });
                let told = next_tests(&causes, model).into_iter().find_map(|next| {
                    let useful = next.gain_bits > 0.0;
                    left.iter().position(|&test| useful && model.tests[test].id == next.test)
                });
                // Nothing that is left can tell anything.
                let Some(at) = told else { break };
                at
            }
        };
        let test = left.swap_remove(at);
        minutes += model.tests[test].minutes;
        tally.tests += 1;
        for triple in &mut joint {
            let row = &model.tests[test].likelihood[triple.cause.index()];
            triple.probability *= row[outcomes[test]];
        }
        let sum: f64 = joint.iter().map(|triple| triple.probability).sum();
        joint.iter_mut().for_each(|triple| triple.probability /= sum);
    }
    tally.minutes.push(minutes);
    let found = best(&joint);
    if found.probability >= SURE {
        tally.sure += 1;
        let same =
            (found.cause, found.card, found.layout) == (truth.cause, truth.card, truth.layout);
        tally.right += usize::from(same);
    }
}
