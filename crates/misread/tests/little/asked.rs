//! The same question as the library is asked it.

use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{CardState, Model, Wire};
use misread::diagnose::{
    Candidates, Case, CaseRead, Combination, DiagnoseError, LayoutUsed, Posterior, Presented,
    posterior, suffers,
};
use misread::{Bit, Bits};

use super::{Drawn, Key, Little, Of, Read, Said, Shown};

/// What the library is handed.
pub(crate) struct Asked {
    pub(crate) case: Case,
    pub(crate) candidates: Candidates,
    pub(crate) model: Model,
}

impl Drawn {
    pub(crate) fn asked(&self, littles: &[Little]) -> Asked {
        let layouts = self.layouts.iter().map(|&at| Arc::new(littles[at].layout()));
        let candidates = Candidates::weighted(layouts.zip(self.weights.iter().copied()));
        let case = Case {
            reads: self.shown.iter().map(Shown::as_case_read).collect(),
            captured: self.captured,
            presented: match self.said {
                Said::Nothing => Presented::Unsaid,
                Said::OneCard => Presented::One,
                Said::Several => Presented::Several,
            },
        };
        let candidates = match self.configured {
            Some(at) => candidates.configured(at),
            None => candidates,
        };
        Asked { case, candidates, model: self.model.clone() }
    }
}

impl Shown {
    fn as_case_read(&self) -> CaseRead {
        CaseRead { bits: as_bits(&self.bits), expected: self.expected.clone(), pulses: self.pulses }
    }
}

pub(crate) fn as_bits(read: &Read) -> Bits {
    read.iter().map(|bit| bit.map_or(Bit::Unread, Bit::from)).collect()
}

pub(crate) fn as_read(bits: &Bits) -> Read {
    bits.iter().map(Bit::value).collect()
}

impl Asked {
    pub(crate) fn posterior(&self) -> Result<Posterior, DiagnoseError> {
        let go_on = &mut |_| ControlFlow::Continue(());
        posterior(&self.case, &self.candidates, &self.model, go_on)
    }

    pub(crate) fn suffers(&self, wire: Wire) -> Result<Option<Vec<f64>>, DiagnoseError> {
        let go_on = &mut |_| ControlFlow::Continue(());
        suffers(&self.case, &self.candidates, &self.model, wire, go_on)
    }

    /// How likely all that was presented is, under each wire state: the prior
    /// taken off again.
    pub(crate) fn likelihood(&self, found: &Posterior, wire: Wire) -> f64 {
        found.of_wire(wire) * found.ln_evidence.exp() / self.model.wire_prior(wire)
    }
}

pub(crate) fn key(found: &Combination) -> Key {
    let of = match found.layout {
        None => Of::Nothing,
        Some(LayoutUsed::Candidate(at)) => Of::Layout(at),
        Some(LayoutUsed::Mixed) => Of::Mixed,
    };
    (found.wire, found.card, of, found.whose)
}
