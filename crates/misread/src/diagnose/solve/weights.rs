//! What every combination weighs, while the posterior is worked out.

use crate::cause::{CardState, Whose, Wire};
use crate::diagnose::likelihoods::ln_add;
use crate::diagnose::posterior::LayoutUsed;

/// The weight of every wire state with every card state, layout and whose cards,
/// as a logarithm.
pub(super) struct Weights {
    layouts: usize,
    lns: Vec<f64>,
}

impl Weights {
    pub(super) fn new(layouts: usize) -> Self {
        let places = Wire::COUNT * CardState::ALL.len() * (layouts + 1) * Whose::ALL.len();
        Weights { layouts, lns: vec![f64::NEG_INFINITY; places] }
    }

    fn place(&self, wire: usize, card: usize, layout: usize, whose: usize) -> usize {
        ((wire * CardState::ALL.len() + card) * (self.layouts + 1) + layout) * Whose::ALL.len()
            + whose
    }

    /// Adds to every wire state what it comes to.
    pub(super) fn add(
        &mut self,
        card: CardState,
        layout: LayoutUsed,
        whose: Whose,
        ln: f64,
        wires: &[f64],
    ) {
        let layout = layout.candidate().unwrap_or(self.layouts);
        for (wire, of_wire) in wires.iter().enumerate() {
            let place = self.place(wire, card.index(), layout, whose.index());
            self.lns[place] = ln_add(self.lns[place], ln + of_wire);
        }
    }

    pub(super) fn each(&self, wire: Wire, mut see: impl FnMut(CardState, LayoutUsed, Whose, f64)) {
        for card in CardState::ALL {
            for layout in 0..=self.layouts {
                for whose in Whose::ALL {
                    let place = self.place(wire.index(), card.index(), layout, whose.index());
                    if self.lns[place] > f64::NEG_INFINITY {
                        let used = match layout {
                            _ if layout == self.layouts => LayoutUsed::Mixed,
                            candidate => LayoutUsed::Candidate(candidate),
                        };
                        see(card, used, whose, self.lns[place]);
                    }
                }
            }
        }
    }
}
