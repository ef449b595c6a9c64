//! Why a read came back wrong.
//!
//! A [`Case`] goes in: one or more reads from one reader, and what each card
//! should carry, where that is known. [`Candidates`] say which layouts are
//! possible and which the panel is set to. A [`Diagnosis`] comes out.
//!
//! Three things can be off, independently: the wire, the card, the layout; a
//! fourth question is whose cards were read. The diagnosis is the exact posterior under the fault model whose priors and
//! rates a [`Model`](crate::cause::Model) holds; nothing in it is sampled or
//! approximated. Each stage can be used alone:
//!
//! 1. [`read_probability`]: how likely one read is under one cause.
//! 2. [`posterior`]: every combination of wire, card, layout and whose cards,
//!    with its probability.
//! 3. [`suffers`]: which presentations suffer what comes at times; [`align`]:
//!    which received bit came from which bit of the frame.
//! 4. [`Moved`]: what the pulses of a capture say, where the reads come from one.
//! 5. [`next_steps`]: what to do next, the shortest way to a verified fix.
//!
//! ```
//! use misread::cause::{Cause, Model};
//! use misread::diagnose::{Candidates, Case, Numbers, Verdict, diagnose};
//! use misread::layout::{Layout, built_in};
//! use std::{ops::ControlFlow, sync::Arc};
//!
//! let open_26 = Arc::new(Layout::new(&built_in::OPEN_26)?);
//! let candidates = Candidates::weighted([(open_26, 4.0)]);
//! let case = Case::of(["01101010111111011001011011".parse()?]);
//! let diagnosis = diagnose(
//!     &case, &candidates, &Model::default(), Numbers::Shown, &mut |_| ControlFlow::Continue(()),
//! )?;
//! assert_eq!(diagnosis.verdict, Verdict::Wire(Cause::LinesSwapped.into()));
//! assert_eq!(
//!     diagnosis.says,
//!     "The data lines D0 and D1 are swapped; the card is then facility 42, card 1234."
//! );
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod align;
mod card;
mod cards;
mod case;
pub(crate) mod code;
mod diagnosis;
mod evidence;
pub(crate) mod gf2;
mod held;
mod likelihood;
mod likelihoods;
mod moved;
mod next;
mod one_card;
mod posterior;
mod printed;
mod says;
mod showing;
mod solve;
mod steps;
mod sums;
pub(crate) mod trellis;
mod units;
mod unlisted;
pub(crate) mod wording;

pub use crate::cause::{Fault, Whose, Wire};
pub use align::{Aligned, align};
pub use card::CardFound;
pub(crate) use case::fits;
pub use case::{Candidates, Case, CaseRead, Expected, FACILITY, Presented};
pub use diagnosis::{
    Alike, Diagnosis, LEAST_PROBABILITY, Verdict, WHOSE_CARDS, WireFound, diagnose,
};
pub(crate) use likelihood::{Posed, Received, has_bytes, ln_any_bits, ln_likelihood, variants};
pub use likelihood::{ReadError, read_probability};
pub use moved::Moved;
pub(crate) use moved::moved;
pub use next::{NextStep, OutcomeSays, Plan, next_steps, tells_apart};
pub(crate) use one_card::{is_asked_of_one_card, is_within};
pub(crate) use posterior::ln_sum;
pub use posterior::{
    Combination, DiagnoseError, LayoutUsed, Pair, Posterior, Progress, SHORTEST_LAYOUT, posterior,
    suffers,
};
pub use printed::{PrintedDiagnosis, TakenAs, diagnose_printed};
pub use steps::ToDo;
pub use trellis::MAX_OPEN_CHECKS;
pub use wording::{Numbers, percent};
