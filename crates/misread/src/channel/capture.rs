//! Drawn cases as a capture of the lines shows them.

use misread_core::pulse::{Evidence, Pulse};
use rand_core::Rng;

use super::{
    DrawError, DrawnCase, SentRead, Shape, Truth, draw_case_expecting, draw_evidence,
    pulses_showing,
};
use crate::cause::{Model, ProbeAt};
use crate::diagnose::{Candidates, Case, Expected};

/// A case as a capture of the lines shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnCapture {
    /// The case, one read a presentation, with what its pulses say and where it
    /// was captured. A presentation that gave nothing is an empty read: silence
    /// in the capture, which whoever presented the card knows of.
    pub case: Case,
    /// What is so.
    pub truth: Truth,
    /// The pulses of each read; none of an empty one.
    pub pulses: Vec<Vec<Pulse>>,
}

/// The capture of a case of which this is expected, one card a presentation: the
/// case as [`draw_case_expecting`] draws it for reads captured there, the
/// findings drawn at the model's rates, and pulses that show just these.
///
/// Where no pulses with its bits can show the findings that were drawn (a short
/// pulse on a line with a single one), they are drawn again and the case stays:
/// so every cause comes as often as the model says, and of a few findings a
/// little less is seen. [`capture_of`] is for whoever minds that.
///
/// # Errors
///
/// See [`DrawError`].
///
/// ```
/// use misread::cause::{Model, ProbeAt};
/// use misread::channel::{Shape, draw_capture, seeded};
/// use misread::diagnose::{Candidates, Expected};
/// use misread::layout::{Layout, built_in};
/// use std::sync::Arc;
///
/// let candidates = Candidates::weighted([(Arc::new(Layout::new(&built_in::OPEN_26)?), 4.0)]);
/// let drawn = draw_capture(
///     &[Expected::new()], &candidates, &Model::default(), ProbeAt::Panel, &Shape::default(),
///     &mut seeded(1, 0),
/// )?;
/// assert_eq!(drawn.pulses[0].len(), drawn.case.reads[0].bits.len());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn draw_capture(
    expected: &[Expected],
    candidates: &Candidates,
    model: &Model,
    at: ProbeAt,
    shape: &Shape,
    random: &mut impl Rng,
) -> Result<DrawnCapture, DrawError> {
    /// Of one case; only findings whose rates leave no other have so many.
    const FINDINGS: usize = 200;
    const CASES: usize = 20;
    let captured = model.captured(at);
    for _ in 0..CASES {
        let drawn = draw_case_expecting(expected, candidates, &captured, random)?;
        let capture = |_| capture_of(&drawn, &captured, at, shape, random);
        if let Some(capture) = (0..FINDINGS).find_map(capture) {
            return Ok(capture);
        }
    }
    Err(DrawError::Nothing)
}

/// The capture of a drawn case: its findings drawn at the model's rates, once,
/// and pulses that show just these. `None` where no pulses with its bits can
/// show them, which depends on bits and findings alone.
///
/// A case that is thrown away where this gives `None` leaves what the model says
/// of causes, given bits and findings, as it is: that is so of each bits and
/// findings by themselves. What it changes is how often each comes.
pub fn capture_of(
    drawn: &DrawnCase,
    captured: &Model,
    at: ProbeAt,
    shape: &Shape,
    random: &mut impl Rng,
) -> Option<DrawnCapture> {
    let (evidence, pulses) = lay_findings(&drawn.sent, captured, shape, random)?;
    let DrawnCase { case, truth, .. } = drawn.clone();
    let mut case = Case { captured: Some(at), ..case };
    case.reads.iter_mut().zip(evidence).for_each(|(read, evidence)| read.pulses = evidence);
    Some(DrawnCapture { case, truth, pulses })
}

/// The findings of each read, drawn at the model's rates, and pulses that show
/// just these; `None` where none can.
pub(crate) fn lay_findings(
    sent: &[SentRead],
    model: &Model,
    shape: &Shape,
    random: &mut impl Rng,
) -> Option<(Vec<Evidence>, Vec<Vec<Pulse>>)> {
    let wanted: Vec<Evidence> =
        sent.iter().map(|read| draw_evidence(read, model, random)).collect();
    let pulses = pulses_showing(sent, &wanted, shape, random)?;
    Some((wanted, pulses))
}
