//! A case of any kind out of any bytes: layouts nobody would write, reads that
//! come from one of them or from nowhere, expected values that fit or do not.
//!
//! The fuzz target and the tests share it. Bytes that run out count as 0.

use std::sync::Arc;

use misread::cause::{Cause, Model};
use misread::channel::{Fault, draw_frame, seeded, send};
use misread::diagnose::{Candidates, Case, CaseRead, Expected, Presented};
use misread::layout::{Code, FieldSpec, FixedSpec, Kind, Layout, Order, ParitySpec, Span, Spec};
use misread::layout::{Field, built_in};
use misread::{Bit, Bits};

/// A case, its candidate layouts and the model to diagnose it under.
pub(crate) fn case_from_bytes(bytes: &[u8]) -> (Case, Candidates, Model) {
    let mut bytes = Bytes(bytes);
    let model = bytes.model();
    let layouts: Vec<Arc<Layout>> =
        (0..=bytes.below(3)).filter_map(|_| bytes.layout()).map(Arc::new).collect();
    let weights = [4.0, 1.0, 0.0, f64::NAN];
    let weighted: Vec<_> = layouts
        .iter()
        .map(|layout| (layout.clone(), weights[bytes.below(4).min(bytes.below(4))]))
        .collect();
    let candidates = Candidates::weighted(weighted);
    let candidates = match bytes.below(3) {
        0 => candidates,
        // One past the end is no layout.
        _ => candidates.configured(bytes.below(4)),
    };
    let fault = Fault::draw(bytes.cause(), &model, &mut seeded(bytes.number(), 0));
    let mut reads = Vec::new();
    for _ in 0..bytes.below(5) {
        let layout = layouts.get(bytes.below(layouts.len().max(1)));
        // What comes back is a read again now and then, or a card that gave nothing.
        let again: Option<CaseRead> = reads.last().cloned();
        match (bytes.below(8), again) {
            (0, Some(again)) => reads.push(again),
            (1, _) => reads.push(CaseRead::from(Bits::new())),
            _ => {}
        }
        let mut bits = bytes.reads(layout, fault.as_ref());
        for read in &mut bits {
            if bytes.below(4) == 0 {
                for _ in 0..bytes.below(16) {
                    read.set(bytes.below(read.len().max(1)), Bit::Unread);
                }
            }
            let expected = bytes.expected(layout.map(|layout| layout.fields()).unwrap_or_default());
            reads.push(CaseRead { expected, ..CaseRead::from(*read) });
        }
    }
    let presented = match bytes.below(4) {
        0 => Presented::One,
        1 => Presented::Several,
        _ => Presented::Unsaid,
    };
    (Case { reads, captured: None, presented }, candidates, model)
}

struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn next(&mut self) -> u8 {
        match self.0.split_first() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => 0,
        }
    }

    fn below(&mut self, count: usize) -> usize {
        let number = if count > 256 {
            usize::from(self.next()) << 8 | usize::from(self.next())
        } else {
            usize::from(self.next())
        };
        number % count
    }

    fn number(&mut self) -> u64 {
        (0..8).fold(0, |number, _| number << 8 | u64::from(self.next()))
    }

    fn cause(&mut self) -> Cause {
        Cause::ALL[self.below(Cause::ALL.len())]
    }

    /// The default most of the time; else with priors, rates or both that a
    /// user might have written.
    fn model(&mut self) -> Model {
        let mut model = Model::default();
        match self.below(8) {
            0 => {
                let weights = model.causes.map(|_| self.below(4) as f64);
                let sum: f64 = weights.iter().sum();
                if sum > 0.0 {
                    model.causes = weights.map(|weight| weight / sum);
                }
                model.cards = [0.25, 0.75, 0.0, 0.0];
                model.configured = self.below(3) as f64 / 2.0;
            }
            1 => {
                let rates = |bytes: &mut Self| -> Vec<f64> {
                    (0..bytes.below(4)).map(|_| (bytes.below(100) + 1) as f64 / 100.0).collect()
                };
                model.rates.weak = rates(self);
                model.rates.noise = rates(self);
                model.rates.ringing = rates(self);
                model.rates.crosstalk = rates(self);
            }
            _ => {}
        }
        model
    }

    /// A built-in layout, or one made up; `None` where what was made up is no
    /// layout.
    fn layout(&mut self) -> Option<Layout> {
        if self.below(3) == 0 {
            return Layout::new(built_in::SPECS[self.below(built_in::SPECS.len())]).ok();
        }
        let bits = match self.below(16) {
            0 => self.below(257),
            1..4 => self.below(70),
            _ => self.below(28),
        } as u16;
        // Each bit goes to a field, a fixed rule, a parity rule or nothing.
        const FIELDS: [&str; 3] = ["facility", "card", "issue"];
        let mut fields: [Vec<Span>; 3] = Default::default();
        let mut fixed = Vec::new();
        let mut values = String::new();
        let mut parity_bits = Vec::new();
        // More checks open at once than this and a case takes minutes.
        let most_parity = if bits > 64 { 3 } else { 6 };
        for position in 1..=bits {
            let to = self.below(12);
            match to {
                0 => {
                    fixed.push(Span::one(position));
                    values.push(if self.below(2) == 0 { '0' } else { '1' });
                }
                1 | 2 if parity_bits.len() < most_parity => parity_bits.push(position),
                1..3 => {}
                _ => {
                    let field = &mut fields[to % 3];
                    if field.len() < 64 {
                        field.push(Span::one(position));
                    }
                }
            }
        }
        let over: Vec<Vec<Span>> = parity_bits
            .iter()
            .map(|bit| {
                let covered = (1..=bits).filter(|position| {
                    // Only parity bits further back, so that none goes round.
                    self.below(3) == 0
                        && position != bit
                        && (!parity_bits.contains(position) || position < bit)
                });
                covered.map(Span::one).collect()
            })
            .collect();
        let fields: Vec<FieldSpec<'_>> = FIELDS
            .iter()
            .zip(&fields)
            .filter(|(_, bits)| !bits.is_empty())
            .map(|(name, bits)| FieldSpec {
                order: if self.below(2) == 0 { Order::MsbFirst } else { Order::LsbFirst },
                code: match self.below(3) {
                    0 if bits.len().is_multiple_of(4) => Code::Bcd,
                    _ => Code::Binary,
                },
                ..FieldSpec::plain(name, bits)
            })
            .collect();
        let fixed = [FixedSpec { bits: &fixed, value: &values }];
        let parity: Vec<ParitySpec<'_>> = parity_bits
            .iter()
            .zip(&over)
            .filter(|(_, over)| !over.is_empty())
            .map(|(&bit, over)| ParitySpec {
                bit,
                kind: if self.below(2) == 0 { Kind::Even } else { Kind::Odd },
                over,
            })
            .collect();
        let fixed = if values.is_empty() { &[][..] } else { &fixed };
        Layout::new(&Spec { name: "made-up", bits, fields: &fields, fixed, parity: &parity }).ok()
    }

    /// What arrives of one frame, or bits out of nowhere.
    fn reads(&mut self, layout: Option<&Arc<Layout>>, fault: Option<&Fault>) -> Vec<Bits> {
        if let (Some(layout), Some(fault), 1..) = (layout, fault, self.below(4)) {
            let random = &mut seeded(self.number(), 1);
            let frame = draw_frame(layout, [], random);
            let sent = frame.and_then(|frame| send(fault, layout, &frame, random).ok());
            return sent.into_iter().flat_map(|sent| sent.reads).map(|read| read.bits).collect();
        }
        let length = match self.below(8) {
            0 => self.below(513),
            _ => self.below(60),
        };
        let bits = (0..length).map(|_| match self.below(16) {
            0 => Bit::Unread,
            number => Bit::from(number % 2 == 0),
        });
        vec![bits.collect()]
    }

    fn expected(&mut self, fields: &[Field]) -> Expected {
        let mut expected = Expected::new();
        if self.below(2) == 0 {
            return expected;
        }
        for field in fields {
            let max = field.max();
            let value = match self.below(5) {
                0 => continue,
                1 => 0,
                2 => max,
                3 => self.number(),
                _ => self.number().checked_rem(max).unwrap_or(0),
            };
            expected.insert(field.name().to_owned(), value);
        }
        if self.below(16) == 0 {
            expected.insert("no such field".to_owned(), self.number());
        }
        expected
    }
}
