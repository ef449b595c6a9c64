//! Why a read came back wrong.

mod align;
mod card;
mod case;
mod code;
mod gf2;
mod likelihood;
mod next;
mod posterior;
mod trellis;

pub use align::{Aligned, align};
pub use card::CardFound;
pub use case::{Candidates, Case, CaseRead, Expected, FACILITY};
pub use next::{NextTest, OutcomeSays, after_outcome, next_tests};
pub use posterior::{DiagnoseError, Posterior, Progress, SHORTEST_LAYOUT, Triple, posterior};
pub use trellis::MAX_OPEN_CHECKS;
