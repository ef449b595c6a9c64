//! What the steps do.

use super::step::{Form, Over, Step, TurnKind, Widths};
use super::written::{Base, Written};
use crate::Bits;
use crate::layout::Field;

/// A number on its way, or two.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Held {
    /// One number.
    Number(u64),
    /// Facility code and card.
    Two {
        /// The facility code.
        facility: u64,
        /// The card.
        card: u64,
    },
}

/// What a chain of steps comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct End {
    /// The number or numbers.
    pub held: Held,
    /// The base one number is then shown in; two are shown in decimal.
    pub base: Base,
    /// How many digits it is shown with, where that matters: only where it is
    /// shown just as printed.
    pub digits: Option<u8>,
}

impl End {
    /// Whether this is what a panel shows.
    pub fn is_shown_as(&self, shown: &Written) -> bool {
        match (self.held, *shown) {
            (Held::Two { facility, card }, Written::Two { facility: f, card: c }) => {
                (facility, card) == (f, c)
            }
            (Held::Number(number), Written::Number { decimal, hexadecimal, digits }) => {
                let value = match self.base {
                    Base::Decimal => decimal,
                    Base::Hexadecimal => hexadecimal,
                };
                value == Some(number) && self.digits.is_none_or(|own| own == digits)
            }
            _ => false,
        }
    }
}

impl std::fmt::Display for End {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let digits = usize::from(self.digits.unwrap_or(0));
        match (self.held, self.base) {
            (Held::Two { facility, card }, _) => write!(f, "{facility},{card}"),
            (Held::Number(number), Base::Decimal) => write!(f, "{number:0digits$}"),
            (Held::Number(number), Base::Hexadecimal) => write!(f, "{number:0digits$X}"),
        }
    }
}

/// Follows a chain of steps from what is printed; `None` where a step does not
/// apply to what it is given, or stands where it cannot.
pub fn replay(steps: &[Step], printed: &Written) -> Option<End> {
    let (mut state, rest) = match steps {
        [Step::ReadHexadecimal, rest @ ..] => (State::reread(printed)?, rest),
        _ => (State::of(printed)?, steps),
    };
    let (middle, last) = match rest {
        [middle @ .., last @ (Step::Decimal | Step::Hexadecimal)] => (middle, Some(last)),
        [Step::LeadingZeros] if steps.len() == 1 => (&[][..], None),
        _ => (rest, None),
    };
    for step in middle {
        state = step.apply(state)?;
    }
    if let Some(last) = last {
        state = state.in_base_of(last)?;
    }
    Some(state.end(if steps.is_empty() { digits(printed) } else { None }))
}

pub(super) fn digits(printed: &Written) -> Option<u8> {
    match printed {
        Written::Number { digits, .. } => Some(*digits),
        Written::Two { .. } => None,
    }
}

/// A number on its way, and the base it would be shown in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct State {
    pub(super) held: Held,
    pub(super) base: Base,
}

impl State {
    /// As plainly written.
    pub(super) fn of(printed: &Written) -> Option<Self> {
        let held = match *printed {
            Written::Two { facility, card } => Held::Two { facility, card },
            Written::Number { decimal: Some(number), .. }
            | Written::Number { hexadecimal: Some(number), .. } => Held::Number(number),
            Written::Number { .. } => return None,
        };
        Some(State { held, base: printed.base() })
    }

    /// Digits that look decimal, read as hexadecimal.
    pub(super) fn reread(printed: &Written) -> Option<Self> {
        match *printed {
            Written::Number { decimal: Some(_), hexadecimal: Some(number), .. } => {
                Some(State { held: Held::Number(number), base: Base::Decimal })
            }
            _ => None,
        }
    }

    pub(super) fn end(self, digits: Option<u8>) -> End {
        let base = match self.held {
            Held::Number(_) => self.base,
            // So that chains which come to the same two numbers are alike.
            Held::Two { .. } => Base::Decimal,
        };
        End { held: self.held, base, digits }
    }

    /// Shown in the other base; `None` where it is shown in that one already.
    pub(super) fn in_base_of(self, step: &Step) -> Option<Self> {
        let base = match step {
            Step::Decimal => Base::Decimal,
            Step::Hexadecimal => Base::Hexadecimal,
            _ => return None,
        };
        (base != self.base && matches!(self.held, Held::Number(_)))
            .then_some(State { base, ..self })
    }
}

impl Step {
    /// `None` where the step does not apply, or may not stand anywhere.
    pub(super) fn apply(&self, state: State) -> Option<State> {
        let number = |number| State { held: Held::Number(number), ..state };
        let two = |(facility, card)| State { held: Held::Two { facility, card }, ..state };
        let decimal = |number| State { held: Held::Number(number), base: Base::Decimal };
        Some(match (self, state.held) {
            (Step::ThreeFive, Held::Number(n)) => two(Widths { facility: 8, card: 16 }.split(n)?),
            (Step::Split(widths), Held::Number(n)) => two(widths.split(n)?),
            (Step::Join(widths), Held::Two { facility, card }) => {
                number(widths.join(facility, card)?)
            }
            (Step::RunTogether, Held::Two { facility, card }) if card < 100_000 => {
                decimal(facility.checked_mul(100_000)?.checked_add(card)?)
            }
            (Step::RunTogetherBare, Held::Two { facility, card }) => {
                let digits = card.checked_ilog10().unwrap_or(0) + 1;
                decimal(facility.checked_mul(10u64.checked_pow(digits)?)?.checked_add(card)?)
            }
            (Step::TakenApart, Held::Number(n)) => two((n / 100_000, n % 100_000)),
            (Step::Low(bits), Held::Number(n)) => number(n & mask(*bits)),
            (Step::ParityKept(form), held) => {
                let held = match (form.widths, held) {
                    (Some(widths), Held::Number(n)) => {
                        let (facility, card) = widths.split(n)?;
                        Held::Two { facility, card }
                    }
                    (_, held) => held,
                };
                number(form.frame(held)?.to_value()?)
            }
            (Step::ParityDropped(form), Held::Number(n)) => {
                let frame = Bits::from_value(n, form.layout.bits())?;
                form.layout.decode(&frame).ok()?;
                match (form.fields(&frame)?, form.widths) {
                    (Held::Two { facility, card }, Some(widths)) => {
                        number(widths.join(facility, card)?)
                    }
                    (held, _) => State { held, ..state },
                }
            }
            (Step::Turned(kind, Over::Number(bits)), Held::Number(n)) => {
                number(kind.turn(n, *bits)?)
            }
            (Step::Turned(kind, Over::Two(widths)), Held::Two { facility, card }) => {
                let joined = widths.join(facility, card)?;
                two(widths.split(kind.turn(joined, widths.bits())?)?)
            }
            (Step::FieldBytes(widths), Held::Two { facility, card }) => {
                widths.join(facility, card)?;
                let turn = |n, bits| {
                    if crate::diagnose::has_bytes(usize::from(bits)) {
                        TurnKind::Bytes.turn(n, bits)
                    } else {
                        Some(n)
                    }
                };
                two((turn(facility, widths.facility)?, turn(card, widths.card)?))
            }
            (Step::FacilityDropped, Held::Two { card, .. }) => number(card),
            (Step::FieldOf(from, to), held) => {
                State { held: to.fields(&from.frame(held)?)?, ..state }
            }
            _ => return None,
        })
    }
}

impl TurnKind {
    /// `None` for a number of more bits.
    fn turn(self, number: u64, bits: u8) -> Option<u64> {
        if number & !mask(bits) != 0 || !(1..=64).contains(&bits) {
            return None;
        }
        const LOW_NIBBLES: u64 = 0x0F0F_0F0F_0F0F_0F0F;
        let down = 64 - u32::from(bits);
        Some(match self {
            TurnKind::Bytes => number.swap_bytes() >> down,
            TurnKind::Nibbles => {
                ((number & LOW_NIBBLES) << 4 | number >> 4 & LOW_NIBBLES).swap_bytes() >> down
            }
            TurnKind::Bits => number.reverse_bits() >> down,
            TurnKind::Values => !number & mask(bits),
        })
    }
}

impl Widths {
    pub(super) fn split(self, number: u64) -> Option<(u64, u64)> {
        if number & !mask(self.bits()) != 0 {
            return None;
        }
        let facility = if self.card < 64 { number >> self.card } else { 0 };
        Some((facility, number & mask(self.card)))
    }

    fn join(self, facility: u64, card: u64) -> Option<u64> {
        if facility & !mask(self.facility) != 0 || card & !mask(self.card) != 0 {
            return None;
        }
        let facility = if self.card < 64 { facility << self.card } else { 0 };
        Some(facility | card)
    }
}

impl Form {
    /// The frame of a card; `None` where the layout cannot carry it.
    fn frame(&self, held: Held) -> Option<Bits> {
        let names = || self.layout.fields().iter().map(Field::name);
        match held {
            Held::Number(number) if self.widths.is_none() => {
                self.layout.encode(names().zip([number])).ok()
            }
            Held::Two { facility, card } if self.widths.is_some() => {
                self.layout.encode(names().zip([facility, card])).ok()
            }
            _ => None,
        }
    }

    /// The fields of a frame, whatever its checks say.
    fn fields(&self, frame: &Bits) -> Option<Held> {
        match self.layout.fields() {
            [only] => Some(Held::Number(only.value_in(frame)?)),
            [facility, card] => {
                Some(Held::Two { facility: facility.value_in(frame)?, card: card.value_in(frame)? })
            }
            _ => None,
        }
    }
}

/// The low bits set, 0 to 64 of them.
fn mask(bits: u8) -> u64 {
    if bits == 0 { 0 } else { u64::MAX >> (64 - u32::from(bits.min(64))) }
}
