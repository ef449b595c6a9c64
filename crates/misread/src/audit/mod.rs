//! What a layout's checks can and cannot notice.
//!
//! [`audit`] answers for one layout, exactly and without drawing a single
//! frame:
//!
//! - how many wrong bits pass, pattern by pattern ([`Audit::undetected`]);
//! - for each cause that keeps a frame's length, what share of the layout's own
//!   frames would still pass ([`Audit::causes`]);
//! - which other layouts a frame can be taken for ([`Audit::taken_for`]);
//! - what to make of it, in sentences ([`Audit::advice`]).
//!
//! Checks are parity rules and fixed bits. What is declared about values, a
//! range or a site's own number, is not counted among them.
//!
//! ```
//! use misread::audit::audit;
//! use misread::cause::Cause;
//! use misread::layout::{Layout, built_in};
//!
//! let open_26 = Layout::new(&built_in::OPEN_26)?;
//! let audit = audit(&open_26, &[])?;
//! assert_eq!(audit.random_accept, 0.25);
//! // Any one wrong bit shows; of two, both must lie in the same half.
//! assert_eq!(audit.undetected[1].to_string(), "0");
//! assert_eq!(audit.undetected[2].to_string(), "156");
//! assert_eq!(audit.share(Cause::LinesSwapped), Some(0.0));
//! assert!(audit.advice.iter().any(|says| says.starts_with("Swapped data lines always show")));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod advice;
mod others;
mod shares;
mod weights;

use misread_core::layout::Layout;
pub use num_bigint::BigUint;

pub use others::TakenFor;

use crate::cause::Cause;
use shares::Frames;

/// What the checks of a layout can and cannot notice.
#[derive(Clone, Debug, PartialEq)]
pub struct Audit {
    /// The layout's name.
    pub layout: String,
    /// How many bits a frame has.
    pub bits: usize,
    /// How many checks are independent of one another: each halves what
    /// passes.
    pub independent_checks: usize,
    /// The share of all reads of this length that pass: 2 to the minus
    /// `independent_checks`.
    pub random_accept: f64,
    /// Entry *w* is how many of the patterns of *w* wrong bits pass every
    /// check, *w* from 0 to the number of bits. The same for every frame.
    /// Together they are 2 to the power of bits minus checks.
    pub undetected: Vec<BigUint>,
    /// For each cause that can keep the length of a frame, what happens to the
    /// layout's own frames.
    pub causes: Vec<CauseShare>,
    /// The indices of bits, from 0, that no check covers: a wrong bit there
    /// passes.
    pub uncovered: Vec<usize>,
    /// The other layouts its frames can be taken for, the likeliest first.
    pub taken_for: Vec<TakenFor>,
    /// What to make of it, in sentences, the weightiest first.
    pub advice: Vec<String>,
}

/// What share of a layout's frames pass its checks under a cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CauseShare {
    /// The cause.
    pub cause: Cause,
    /// The share, 0 to 1, of the layout's own frames, each equally likely,
    /// that still pass. For [`Cause::BitsChanged`] each bit is equally
    /// likely; for [`Cause::LinesShorted`] each of the four ways the receiver
    /// may take the bits, two of which keep the length.
    pub undetected: f64,
}

/// Why a layout cannot be audited.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AuditError {
    /// Too many checks overlap.
    #[error(
        "after bit {position}, {open} parity checks are open at once; an audit follows at most \
         {}: a layout whose checks overlap less can be audited",
        crate::diagnose::MAX_OPEN_CHECKS
    )]
    TooManyOpen {
        /// The position, from 1, after which too many are open.
        position: usize,
        /// How many are.
        open: usize,
    },
}

/// Audits a layout; `others` are the layouts that its frames might be taken
/// for, and the layout itself among them is passed over, by name.
///
/// The work grows with 2 to the number of checks open at one bit, times the
/// square of the number of bits: a moment for any layout in use, some seconds
/// and some hundred megabytes where sixteen checks over all of 256 bits are
/// woven together.
///
/// # Errors
///
/// [`AuditError::TooManyOpen`] where more checks are open at once than the
/// analysis follows.
pub fn audit(layout: &Layout, others: &[&Layout]) -> Result<Audit, AuditError> {
    let undetected = weights::undetected(layout)?;
    let frames = Frames::of(layout);
    let independent_checks = frames.checks();
    let mut audit = Audit {
        layout: layout.name().to_owned(),
        bits: layout.bits(),
        independent_checks,
        random_accept: libm::exp2(-(independent_checks as f64)),
        causes: shares::of_causes(layout, &frames, &undetected),
        uncovered: frames.uncovered().indices().collect(),
        taken_for: others::taken_for(layout, &frames, others),
        undetected,
        advice: Vec::new(),
    };
    audit.advice = advice::advice(layout, &frames, &audit);
    Ok(audit)
}

impl Audit {
    /// The share of the layout's frames that pass under a cause; `None` for
    /// one that cannot happen to it or never keeps the length.
    pub fn share(&self, cause: Cause) -> Option<f64> {
        self.causes.iter().find(|found| found.cause == cause).map(|found| found.undetected)
    }

    /// The share of the patterns of `wrong` wrong bits that pass; `None` over
    /// the number of bits.
    pub fn undetected_share(&self, wrong: usize) -> Option<f64> {
        let passing = to_f64(self.undetected.get(wrong)?);
        let all = (0..wrong).fold(1.0, |all, i| all * (self.bits - i) as f64 / (i + 1) as f64);
        Some(passing / all)
    }
}

/// The nearest number of double precision.
fn to_f64(count: &BigUint) -> f64 {
    let digits = count.to_u64_digits();
    digits.iter().rev().fold(0.0, |sum, &digit| sum * libm::exp2(64.0) + digit as f64)
}
