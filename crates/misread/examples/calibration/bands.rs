//! Stated probabilities held against how often they came true, in ten bands.

use std::ops::{AddAssign, ControlFlow};
use std::sync::Arc;

use misread::Bit;
use misread::capture::{self, Options};
use misread::cause::{CardState, Model, ProbeAt, Whose, Wire};
use misread::channel::{
    DrawnCapture, Random, Rng, Shape, Truth, capture_of, changes, draw_case, draw_case_expecting,
    draw_expected, seeded,
};
use misread::diagnose::{Candidates, Case, CaseRead, LayoutUsed, Posterior, posterior, suffers};
use misread::layout::{Layout, built_in};
use misread::pulse::{Change, Evidence, Level};
use statrs::distribution::{Beta, ContinuousCDF};

/// How sure it is that all intervals of a run hold together.
pub(crate) const LEVEL: f64 = 0.99;

/// How many bands there are between 0 and 1.
const BANDS: usize = 10;

/// How many questions are answered, each with bands of its own.
const QUESTIONS: usize = 5;

/// What the diagnosis is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Given {
    /// The bits of each read.
    Bits,
    /// The same, where faults come and go far more often than they should: to
    /// state more of who suffers.
    AtTimes,
    /// A capture of the lines, as a file.
    Captures,
}

impl Given {
    fn model(self) -> Model {
        match self {
            Given::AtTimes => Model { at_times: 2.0, reads_missing: 0.5, ..Model::default() },
            Given::Bits | Given::Captures => Model::default(),
        }
    }
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

/// Statements by their probability.
pub(crate) type Bands = [Band; BANDS];

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Calibration {
    /// Cases that were diagnosed.
    pub(crate) cases: u64,
    /// Of captures, cases whose findings no pulses with their bits can show.
    pub(crate) not_shown: u64,
    /// How often the most likely wire state was right; of captures, how often it
    /// was by the bits alone.
    pub(crate) right: u64,
    pub(crate) right_by_bits: u64,
    /// Of each case and wire state.
    pub(crate) wires: Bands,
    /// Of each case and card state, layout, and way of presenting cards.
    pub(crate) cards: Bands,
    pub(crate) layouts: Bands,
    pub(crate) whose: Bands,
    /// Of one presentation of each case in which something comes and goes:
    /// whether it suffers, given what does.
    pub(crate) suffering: Bands,
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
/// level changes, read back. A presentation that gave nothing is silence there,
/// and whoever presented the card says so. `None` where the findings that were
/// drawn cannot be shown: such a case is thrown away whole, since findings drawn
/// again would be less of a cause that brings them than the model says.
fn captured(
    number: u64,
    candidates: &Candidates,
    model: &Model,
    random: &mut Random,
) -> Result<Option<(Case, Truth)>, String> {
    let at = if number % 4 < 2 { ProbeAt::Panel } else { ProbeAt::Reader };
    let presentations = 1 + (number / 4 % 4) as usize;
    let expected = draw_expected(presentations, candidates, model, random);
    let model = model.captured(at);
    let drawn = draw_case_expecting(&expected, candidates, &model, random)
        .map_err(|error| error.to_string())?;
    let Some(drawn) = capture_of(&drawn, &model, at, &Shape::default(), random) else {
        return Ok(None);
    };
    let DrawnCapture { mut case, truth, pulses } = drawn;
    let mut file = String::from("time_ns,line,level\n");
    for Change { time, line, level } in changes(&pulses, Level::High) {
        file += &format!("{time},{line},{}\n", level as u8);
    }
    let capture = capture::read(std::io::Cursor::new(file), &Options::default())
        .map_err(|error| error.to_string())?;
    let arrived: Vec<&mut CaseRead> =
        case.reads.iter_mut().filter(|read| !read.bits.is_empty()).collect();
    if capture.reads.len() != arrived.len() {
        return Err(format!("case {number}: {} reads came back", capture.reads.len()));
    }
    for (read, found) in arrived.into_iter().zip(capture.reads) {
        (read.bits, read.pulses) = (found.bits, found.evidence);
    }
    Ok(Some((case, truth)))
}

impl Calibration {
    fn add_case(
        &mut self,
        given: Given,
        number: u64,
        seed: u64,
        candidates: &[Candidates; 2],
    ) -> Result<(), String> {
        let model = given.model();
        let candidates = &candidates[(number % 2) as usize];
        let random = &mut seeded(seed, number);
        let (case, truth) = match given {
            Given::Bits | Given::AtTimes => {
                let mut drawn =
                    draw_case(candidates, &model, random).map_err(|error| error.to_string())?;
                leave_unread(&mut drawn.case, random);
                (drawn.case, drawn.truth)
            }
            Given::Captures => match captured(number, candidates, &model, random)? {
                Some(captured) => captured,
                None => {
                    self.not_shown += 1;
                    return Ok(());
                }
            },
        };
        let go_on = &mut |_| ControlFlow::Continue(());
        let found = posterior(&case, candidates, &model, go_on).map_err(|e| e.to_string())?;
        self.cases += 1;
        self.right += u64::from(found.most_likely_wire() == truth.fault.wire());
        self.state(&found, &truth, candidates.layouts().len());
        if truth.fault.wire().comes_and_goes() {
            // One of each case: who suffers is no independent matter of each.
            let at = (random.next_u64() % case.reads.len() as u64) as usize;
            let who = suffers(&case, candidates, &model, truth.fault.wire(), go_on)
                .map_err(|error| error.to_string())?
                .ok_or_else(|| format!("case {number}: what is so was ruled out"))?;
            state(&mut self.suffering, who[at], truth.suffers[at]);
        }
        if given == Given::Captures {
            let mut bits = case;
            bits.reads.iter_mut().for_each(|read| read.pulses = Evidence::default());
            let found = posterior(&bits, candidates, &model, go_on).map_err(|e| e.to_string())?;
            self.right_by_bits += u64::from(found.most_likely_wire() == truth.fault.wire());
        }
        Ok(())
    }

    fn state(&mut self, found: &Posterior, truth: &Truth, layouts: usize) {
        for wire in Wire::all() {
            state(&mut self.wires, found.of_wire(wire), wire == truth.fault.wire());
        }
        for card in CardState::ALL {
            state(&mut self.cards, found.of_card(card), Some(card) == truth.card);
        }
        let mixed = LayoutUsed::Mixed;
        for layout in (0..layouts).map(LayoutUsed::Candidate).chain([mixed]) {
            let stated = match layout {
                LayoutUsed::Candidate(index) => found.of_layout(index),
                LayoutUsed::Mixed => found.of_mixed(),
            };
            state(&mut self.layouts, stated, Some(layout) == truth.layout);
        }
        for whose in Whose::ALL {
            state(&mut self.whose, found.of_whose(whose), whose == truth.whose);
        }
    }

    /// The questions with their bands.
    fn questions(&self) -> [(&'static str, &Bands); QUESTIONS] {
        [
            ("The wire state", &self.wires),
            ("The card state", &self.cards),
            ("The layout", &self.layouts),
            ("Whose cards", &self.whose),
            ("Who suffers what comes and goes", &self.suffering),
        ]
    }

    /// Whether every band's stated probability lies in its interval.
    pub(crate) fn holds(&self) -> bool {
        self.questions().iter().flat_map(|(_, bands)| *bands).all(Band::holds)
    }

    /// A table for each question, as Markdown.
    pub(crate) fn tables(&self) -> String {
        let mut text = format!("{} cases", self.cases);
        if self.not_shown > 0 {
            text += &format!(
                "; {} more whose findings no pulses with their bits can show were thrown away",
                self.not_shown
            );
        }
        text += &match self.right_by_bits {
            0 => format!(". The most likely wire state was right in {}.\n", self.right),
            by_bits => format!(
                ". The most likely wire state was right in {} by the pulses, in {by_bits} by the \
                 bits alone.\n",
                self.right
            ),
        };
        for (question, bands) in self.questions() {
            text += &format!("\n### {question}\n\n{}", table(bands));
        }
        text
    }
}

impl AddAssign for Calibration {
    fn add_assign(&mut self, other: Calibration) {
        self.cases += other.cases;
        self.not_shown += other.not_shown;
        self.right += other.right;
        self.right_by_bits += other.right_by_bits;
        let bands = |of: &mut Bands, other: &Bands| {
            for (band, other) in of.iter_mut().zip(other) {
                band.statements += other.statements;
                band.came_true += other.came_true;
                band.stated += other.stated;
            }
        };
        bands(&mut self.wires, &other.wires);
        bands(&mut self.cards, &other.cards);
        bands(&mut self.layouts, &other.layouts);
        bands(&mut self.whose, &other.whose);
        bands(&mut self.suffering, &other.suffering);
    }
}

/// How sure one interval is, so that with the others it holds at [`LEVEL`]
/// whatever they have to do with one another (Bonferroni).
pub(crate) fn level_of_each() -> f64 {
    1.0 - (1.0 - LEVEL) / (QUESTIONS * BANDS) as f64
}

impl Band {
    /// The mean of the probabilities stated.
    pub(crate) fn mean(&self) -> f64 {
        self.stated / self.statements as f64
    }

    /// Whether the probability stated lies in the interval around the share
    /// found. The probabilities of a band differ from one another, and several
    /// statements of a case exclude one another: both make the share vary less
    /// than the interval allows, never more.
    pub(crate) fn holds(&self) -> bool {
        let (low, high) = interval(self.came_true, self.statements, level_of_each());
        // The mean is a sum of rounded numbers.
        const ROUNDING: f64 = 1e-9;
        self.statements == 0 || (low - ROUNDING..=high + ROUNDING).contains(&self.mean())
    }
}

fn state(bands: &mut Bands, probability: f64, came_true: bool) {
    // What is not asked is nothing that is stated.
    if probability == 0.0 && !came_true {
        return;
    }
    let band = ((probability * BANDS as f64) as usize).min(BANDS - 1);
    bands[band].statements += 1;
    bands[band].stated += probability;
    bands[band].came_true += u64::from(came_true);
}

fn table(bands: &Bands) -> String {
    let mut table = String::from(
        "| band | statements | stated, mean | came true | interval | holds |\n\
         |---|---|---|---|---|---|\n",
    );
    for (index, band) in bands.iter().enumerate() {
        let (low, high) = (index as f64 / 10.0, (index + 1) as f64 / 10.0);
        if band.statements == 0 {
            table += &format!("| {low:.1}–{high:.1} | 0 | | | | |\n");
            continue;
        }
        let found = band.came_true as f64 / band.statements as f64;
        let (from, to) = interval(band.came_true, band.statements, level_of_each());
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
