//! Stated probabilities held against how often they came true, in ten bands.

use std::ops::{AddAssign, ControlFlow};
use std::sync::Arc;

use misread::Bit;
use misread::capture::{self, Options};
use misread::cause::{Cause, Model, ProbeAt};
use misread::channel::{
    Random, Rng, Shape, Truth, changes, draw_capture, draw_case, draw_expected, seeded,
};
use misread::diagnose::{Candidates, Case, CaseRead, Posterior, posterior};
use misread::layout::{Layout, built_in};
use misread::pulse::{Change, Evidence, Level};
use statrs::distribution::{Beta, ContinuousCDF};

/// How sure the intervals are.
pub(crate) const LEVEL: f64 = 0.99;

/// How many bands there are between 0 and 1.
const BANDS: usize = 10;

/// What the diagnosis is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Given {
    /// The bits of each read.
    Bits,
    /// A capture of the lines, as a file.
    Captures,
}

/// Statements whose probability lies between two tenths, and how many of them
/// were true.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Band {
    pub(crate) statements: u64,
    pub(crate) came_true: u64,
    /// The sum of the probabilities stated.
    stated: f64,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Calibration {
    /// Cases that were diagnosed.
    pub(crate) cases: u64,
    /// Cases with a read of which nothing arrived: the diagnosis sets such
    /// reads aside, so they are no statement of it.
    pub(crate) set_aside: u64,
    /// Of captures, how often the most likely wire, card and layout were right,
    /// and how often they were by the bits alone.
    pub(crate) right: u64,
    pub(crate) right_by_bits: u64,
    /// One statement a case: the most likely wire, card and layout.
    pub(crate) answers: [Band; BANDS],
    /// One statement for each case and cause.
    pub(crate) causes: [Band; BANDS],
}

/// Draws cases from the model and diagnoses them, on all processors. The same
/// numbers for the same seed, however many there are.
pub(crate) fn calibrate(given: Given, cases: u64, seed: u64) -> Result<Calibration, String> {
    const CHUNK: u64 = 250;
    let threads = std::thread::available_parallelism().map_or(1, |count| count.get()) as u64;
    let chunks = cases.div_ceil(CHUNK);
    let layouts = candidates()?;
    let run = |thread: u64| -> Result<Vec<(u64, Calibration)>, String> {
        let mine = (thread..chunks).step_by(threads as usize);
        mine.map(|chunk| {
            let mut found = Calibration::default();
            for number in chunk * CHUNK..cases.min((chunk + 1) * CHUNK) {
                found.add_case(given, number, seed, &layouts)?;
            }
            Ok((chunk, found))
        })
        .collect()
    };
    let mut parts = Vec::new();
    std::thread::scope(|scope| {
        let run = &run;
        let threads: Vec<_> = (0..threads).map(|thread| scope.spawn(move || run(thread))).collect();
        for thread in threads {
            parts.extend(thread.join().map_err(|_| "a thread stopped".to_owned())??);
        }
        Ok::<(), String>(())
    })?;
    // Sums of fractions depend on their order.
    parts.sort_by_key(|&(chunk, _)| chunk);
    let mut sum = Calibration::default();
    parts.into_iter().for_each(|(_, part)| sum += part);
    Ok(sum)
}

/// Three layouts; the panel is set to the first, or nobody says.
fn candidates() -> Result<[Candidates; 2], String> {
    let mut layouts = Vec::new();
    for (spec, weight) in
        [(&built_in::OPEN_26, 4.0), (&built_in::SITE_34, 1.0), (&built_in::PLAIN_32, 1.0)]
    {
        let layout = Layout::new(spec).map_err(|error| error.to_string())?;
        layouts.push((Arc::new(layout), weight));
    }
    let unset = Candidates::weighted(layouts);
    Ok([unset.clone(), unset.configured(0)])
}

/// One case in four comes from a display or a log with gaps: any bit may be
/// unread, whatever its value.
fn leave_unread(case: &mut Case, random: &mut Random) {
    if !random.next_u32().is_multiple_of(4) {
        return;
    }
    for read in &mut case.reads {
        for index in 0..read.bits.len() {
            if random.next_u32().is_multiple_of(8) {
                read.bits.set(index, Bit::Unread);
            }
        }
    }
}

/// A case from a capture, and the truth about it: drawn, written as a file of
/// level changes, read back.
fn captured(
    number: u64,
    candidates: &Candidates,
    model: &Model,
    random: &mut Random,
) -> Result<(Case, Truth), String> {
    let at = if number % 4 < 2 { ProbeAt::Panel } else { ProbeAt::Reader };
    let expected = draw_expected(1 + (number % 3) as usize, candidates, model, random);
    let drawn = draw_capture(&expected, candidates, model, at, &Shape::default(), random)
        .map_err(|error| error.to_string())?;
    let mut file = String::from("time_ns,line,level\n");
    for Change { time, line, level } in changes(&drawn.pulses, Level::High) {
        file += &format!("{time},{line},{}\n", level as u8);
    }
    let capture = capture::read(std::io::Cursor::new(file), &Options::default())
        .map_err(|error| error.to_string())?;
    if capture.reads.len() != drawn.case.reads.len() {
        return Err(format!("case {number}: {} reads came back", capture.reads.len()));
    }
    let reads = capture.reads.into_iter().zip(drawn.case.reads);
    let reads = reads.map(|(read, drawn)| CaseRead {
        bits: read.bits,
        pulses: read.evidence,
        expected: drawn.expected,
    });
    Ok((Case { reads: reads.collect(), captured: Some(at) }, drawn.truth))
}

fn is_right(found: &Posterior, truth: &Truth) -> Option<(f64, bool)> {
    let answer = found.most_likely()?;
    let right = answer.cause == truth.fault.cause()
        && answer.card == truth.card
        && answer.layout == truth.layout;
    Some((answer.probability, right))
}

impl Calibration {
    fn add_case(
        &mut self,
        given: Given,
        number: u64,
        seed: u64,
        candidates: &[Candidates; 2],
    ) -> Result<(), String> {
        let model = Model::default();
        let candidates = &candidates[(number % 2) as usize];
        let random = &mut seeded(seed, number);
        let (case, truth) = match given {
            Given::Bits => {
                let mut drawn =
                    draw_case(candidates, &model, random).map_err(|error| error.to_string())?;
                if drawn.case.reads.iter().any(|read| read.bits.is_empty()) {
                    self.set_aside += 1;
                    return Ok(());
                }
                leave_unread(&mut drawn.case, random);
                (drawn.case, drawn.truth)
            }
            Given::Captures => captured(number, candidates, &model, random)?,
        };
        let weigh = |case: &Case| {
            posterior(case, candidates, &model, &mut |_| ControlFlow::Continue(()))
                .map_err(|error| error.to_string())
        };
        let found = weigh(&case)?;
        self.cases += 1;
        if let Some((probability, right)) = is_right(&found, &truth) {
            state(&mut self.answers, probability, right);
            self.right += u64::from(right);
        }
        if given == Given::Captures {
            let mut bits = case;
            bits.reads.iter_mut().for_each(|read| read.pulses = Evidence::default());
            let right = is_right(&weigh(&bits)?, &truth).is_some_and(|(_, right)| right);
            self.right_by_bits += u64::from(right);
        }
        for cause in Cause::ALL {
            let probability = found.of_cause(cause);
            state(&mut self.causes, probability, cause == truth.fault.cause());
        }
        Ok(())
    }

    /// Whether every band's stated probability lies in its interval.
    pub(crate) fn holds(&self) -> bool {
        self.answers.iter().chain(&self.causes).all(Band::holds)
    }

    /// Both tables, as Markdown.
    pub(crate) fn tables(&self) -> String {
        let right = match self.right_by_bits {
            0 => String::new(),
            by_bits => {
                format!(" Right: {} from the pulses, {by_bits} from the bits alone.", self.right)
            }
        };
        format!(
            "{} cases; {} more with a read of which nothing arrived were set aside.{right}\n\n\
             ### The most likely wire, card and layout\n\n{}\n\
             ### Every cause\n\n{}",
            self.cases,
            self.set_aside,
            table(&self.answers),
            table(&self.causes)
        )
    }
}

impl AddAssign for Calibration {
    fn add_assign(&mut self, other: Calibration) {
        self.cases += other.cases;
        self.set_aside += other.set_aside;
        self.right += other.right;
        self.right_by_bits += other.right_by_bits;
        let bands = self.answers.iter_mut().chain(&mut self.causes);
        for (band, other) in bands.zip(other.answers.iter().chain(&other.causes)) {
            band.statements += other.statements;
            band.came_true += other.came_true;
            band.stated += other.stated;
        }
    }
}

impl Band {
    /// The mean of the probabilities stated.
    pub(crate) fn mean(&self) -> f64 {
        self.stated / self.statements as f64
    }

    /// Whether the probability stated lies in the interval around the share
    /// found. The probabilities of a band differ from one another, which makes
    /// the share vary less than the interval allows, never more.
    pub(crate) fn holds(&self) -> bool {
        let (low, high) = interval(self.came_true, self.statements, LEVEL);
        // The mean is a sum of rounded numbers.
        const ROUNDING: f64 = 1e-9;
        self.statements == 0 || (low - ROUNDING..=high + ROUNDING).contains(&self.mean())
    }
}

fn state(bands: &mut [Band; BANDS], probability: f64, came_true: bool) {
    let band = ((probability * BANDS as f64) as usize).min(BANDS - 1);
    bands[band].statements += 1;
    bands[band].stated += probability;
    bands[band].came_true += u64::from(came_true);
}

fn table(bands: &[Band; BANDS]) -> String {
    let mut table = String::from(
        "| band | statements | stated, mean | came true | 99 % interval | holds |\n\
         |---|---|---|---|---|---|\n",
    );
    for (index, band) in bands.iter().enumerate() {
        let (low, high) = (index as f64 / 10.0, (index + 1) as f64 / 10.0);
        if band.statements == 0 {
            table += &format!("| {low:.1}–{high:.1} | 0 | | | | |\n");
            continue;
        }
        let found = band.came_true as f64 / band.statements as f64;
        let (from, to) = interval(band.came_true, band.statements, LEVEL);
        table += &format!(
            "| {low:.1}–{high:.1} | {} | {:.5} | {found:.5} | {from:.5}–{to:.5} | {} |\n",
            band.statements,
            band.mean(),
            if band.holds() { "yes" } else { "NO" }
        );
    }
    table
}

/// The interval for a share of which `hits` of `count` were found: the exact
/// one, from the quantiles of the beta distribution. Source: Clopper and
/// Pearson, "The use of confidence or fiducial limits illustrated in the case
/// of the binomial", Biometrika 26 (1934).
pub(crate) fn interval(hits: u64, count: u64, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let misses = count - hits;
    let quantile =
        |a: u64, b: u64, at: f64| Beta::new(a as f64, b as f64).map(|d| d.inverse_cdf(at));
    let low = if hits == 0 { Ok(0.0) } else { quantile(hits, misses + 1, tail) };
    let high = if misses == 0 { Ok(1.0) } else { quantile(hits + 1, misses, 1.0 - tail) };
    // Both parameters are over 0, so there is a distribution.
    (low.unwrap_or(0.0), high.unwrap_or(1.0))
}
