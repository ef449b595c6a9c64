//! Checking a layout, and compiling it.

use core::fmt;

use super::name::Name;
use super::narrow::Narrow;
use super::{
    Code, Field, FieldSpec, Fixed, FixedSpec, Kind, Layout, List, MAX_FIELD_BITS, MAX_LAYOUT_BITS,
    MAX_NAME, Mask, Parity, ParitySpec, Run, Span, Spec, significance,
};

/// What is wrong with a layout, and in which of its rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LayoutError {
    /// The rule.
    pub rule: Rule,
    /// What is wrong with it.
    pub problem: Problem,
}

/// A rule of a layout as written: the place of an error. Indices from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// The layout as a whole.
    Layout,
    /// The field at this index.
    Field(usize),
    /// The fixed rule at this index.
    Fixed(usize),
    /// The parity rule at this index.
    Parity(usize),
}

/// What is wrong with a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Problem {
    /// A layout has 1 to 256 bits.
    Length(u16),
    /// Not 1 to 32 letters, digits, dashes, dots and underscores.
    Name,
    /// Another field has this name, capitals aside.
    NameTaken(Rule),
    /// No bits are listed.
    NoBits,
    /// A position counted from 0, a stride of 0, or a range that runs backwards.
    Span(Span),
    /// A position past the end of the layout.
    PastEnd {
        /// The position, from 1.
        position: u16,
        /// How many bits the layout has.
        bits: u16,
    },
    /// A bit that another rule, or the same rule, has already claimed.
    Claimed {
        /// The position, from 1.
        position: u16,
        /// By which rule.
        by: Rule,
    },
    /// A field of more than 64 bits.
    TooWide(usize),
    /// A bcd field whose bits are not groups of four.
    NotFours(usize),
    /// A declared value or an end of a declared range that the field cannot
    /// carry.
    DoesNotFit {
        /// The number declared.
        number: u64,
        /// The largest the field can carry.
        max: u64,
    },
    /// A declared range whose first value is over its last.
    RangeBackwards(u64, u64),
    /// A declared value outside the declared range.
    OutsideRange(u64),
    /// As many bits as values are needed in a fixed rule.
    FixedCount {
        /// How many bits are listed.
        bits: usize,
        /// How many values are given.
        values: usize,
    },
    /// A fixed value that is neither 0 nor 1.
    FixedValue(char),
    /// A parity rule that covers its own parity bit, or a bit twice.
    CoversTwice {
        /// The position, from 1.
        position: u16,
    },
    /// Parity rules that cover each other's parity bits in a circle: none can
    /// be worked out first.
    Circle,
    /// More rules than there is room for; see the capacities of the module.
    TooMany,
}

impl core::error::Error for LayoutError {}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Rule::Layout => write!(f, "layout"),
            Rule::Field(i) => write!(f, "field {}", i + 1),
            Rule::Fixed(i) => write!(f, "fixed rule {}", i + 1),
            Rule::Parity(i) => write!(f, "parity rule {}", i + 1),
        }
    }
}

impl fmt::Display for LayoutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.rule, self.problem)
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Problem::Length(bits) => {
                write!(f, "has {bits} bits; a layout has 1 to {MAX_LAYOUT_BITS}")
            }
            Problem::Name => write!(
                f,
                "its name must be 1 to {MAX_NAME} letters, digits, dashes, dots and underscores, \
                 a letter or digit first"
            ),
            Problem::NameTaken(by) => write!(f, "its name is already that of {by}"),
            Problem::NoBits => write!(f, "lists no bits"),
            Problem::Span(span) if span.first == 0 => {
                write!(f, "position 0; positions count from 1")
            }
            Problem::Span(span) if span.step == 0 => write!(f, "{span} has a stride of 0"),
            Problem::Span(span) => write!(f, "{span} runs backwards"),
            Problem::PastEnd { position, bits } => {
                write!(f, "bit {position} is past the end; the layout has {bits} bits")
            }
            Problem::Claimed { position, by } => {
                write!(f, "bit {position} is already claimed by {by}")
            }
            Problem::TooWide(bits) => {
                write!(f, "has {bits} bits; a field has at most {MAX_FIELD_BITS}")
            }
            Problem::NotFours(bits) => {
                write!(f, "has {bits} bits; a bcd field needs four for each decimal digit")
            }
            Problem::DoesNotFit { number, max } => {
                write!(f, "{number} does not fit; the largest it can carry is {max}")
            }
            Problem::RangeBackwards(low, high) => {
                write!(f, "its range runs backwards, from {low} to {high}")
            }
            Problem::OutsideRange(value) => {
                write!(f, "its value {value} is outside its own range")
            }
            Problem::FixedCount { bits, values } => {
                write!(f, "lists {bits} bits but gives {values} values")
            }
            Problem::FixedValue(c) => {
                write!(f, "‘{}’ is not a fixed value; 0 and 1 are", c.escape_debug())
            }
            Problem::CoversTwice { position } => write!(
                f,
                "covers bit {position} twice, or it is its own parity bit; list each covered bit \
                 once and leave the parity bit out"
            ),
            Problem::Circle => write!(
                f,
                "covers a parity bit that in turn depends on this one, so neither can be worked \
                 out first"
            ),
            Problem::TooMany => {
                write!(f, "one rule more than there is room for without the alloc feature")
            }
        }
    }
}

pub(super) fn build(spec: &Spec<'_>, report: &mut dyn FnMut(LayoutError)) -> Option<Layout> {
    let mut builder =
        Builder { bits: spec.bits, claims: [None; MAX_LAYOUT_BITS], sound: true, report };
    if !(1..=MAX_LAYOUT_BITS as u16).contains(&spec.bits) {
        builder.refuse(Rule::Layout, Problem::Length(spec.bits));
        return None;
    }
    let name = builder.name(Rule::Layout, spec.name);
    let fields = builder.fields(spec.fields);
    let fixed = builder.fixed(spec.fixed);
    let parity = builder.parity(spec.parity);
    let order = builder.order(&parity);
    if !builder.sound {
        return None;
    }
    let mut fixed_bits = Mask::new();
    for (index, _) in fixed.iter().flat_map(Fixed::bits) {
        fixed_bits.insert(index);
    }
    let mut unassigned = Mask::new();
    for index in 0..usize::from(spec.bits) {
        let covered = parity.iter().any(|rule| rule.group.contains(index));
        if builder.claims[index].is_none() && !covered {
            unassigned.insert(index);
        }
    }
    let mut layout = Layout {
        name: name?,
        bits: spec.bits,
        fields,
        fixed,
        parity,
        order,
        fixed_bits,
        blank: Mask::new(),
        narrow: Narrow::default(),
        unassigned,
    };
    layout.blank = layout.blank_frame();
    layout.narrow = Narrow::new(&layout);
    Some(layout)
}

struct Builder<'r> {
    bits: u16,
    claims: [Option<Rule>; MAX_LAYOUT_BITS],
    sound: bool,
    report: &'r mut dyn FnMut(LayoutError),
}

impl Builder<'_> {
    fn refuse(&mut self, rule: Rule, problem: Problem) {
        self.sound = false;
        (self.report)(LayoutError { rule, problem });
    }

    fn name(&mut self, rule: Rule, text: &str) -> Option<Name> {
        let name = Name::new(text);
        if name.is_none() {
            self.refuse(rule, Problem::Name);
        }
        name
    }

    /// Calls `each` with the index of every listed position that is in the
    /// layout; says whether all were.
    fn positions(&mut self, rule: Rule, spans: &[Span], mut each: impl FnMut(&mut Self, usize)) {
        for &span in spans {
            if span.first == 0 || span.step == 0 || span.first > span.last {
                self.refuse(rule, Problem::Span(span));
                continue;
            }
            for position in span.positions() {
                if position > self.bits {
                    self.refuse(rule, Problem::PastEnd { position, bits: self.bits });
                    break;
                }
                each(self, usize::from(position) - 1);
            }
        }
    }

    fn claim(&mut self, rule: Rule, index: usize) {
        match self.claims[index] {
            Some(by) => self.refuse(rule, Problem::Claimed { position: index as u16 + 1, by }),
            None => self.claims[index] = Some(rule),
        }
    }

    fn fields(&mut self, specs: &[FieldSpec<'_>]) -> List<Field, { super::MAX_FIELDS }> {
        let mut fields: List<Field, { super::MAX_FIELDS }> = List::new();
        for (i, spec) in specs.iter().enumerate() {
            let rule = Rule::Field(i);
            let name = self.name(rule, spec.name);
            let taken =
                specs[..i].iter().position(|other| other.name.eq_ignore_ascii_case(spec.name));
            if let Some(taken) = taken {
                self.refuse(rule, Problem::NameTaken(Rule::Field(taken)));
            }
            let mut listed = [0u8; MAX_FIELD_BITS];
            let mut width = 0;
            self.positions(rule, spec.bits, |builder, index| {
                builder.claim(rule, index);
                if let Some(place) = listed.get_mut(width) {
                    *place = index as u8;
                }
                width += 1;
            });
            if width == 0 {
                if spec.bits.is_empty() {
                    self.refuse(rule, Problem::NoBits);
                }
                continue;
            }
            if width > MAX_FIELD_BITS {
                self.refuse(rule, Problem::TooWide(width));
                continue;
            }
            if spec.code == Code::Bcd && width % 4 != 0 {
                self.refuse(rule, Problem::NotFours(width));
                continue;
            }
            let mut indices = [0u8; MAX_FIELD_BITS];
            for (i, &index) in listed[..width].iter().enumerate() {
                indices[significance(i, width, spec.order, spec.code)] = index;
            }
            let Some(name) = name else { continue };
            let field = Field {
                name,
                indices,
                width: width as u8,
                order: spec.order,
                code: spec.code,
                value: spec.value,
                range: spec.range,
                run: run_of(spec.code, &indices[..width]),
            };
            self.declared(rule, &field);
            if !push(&mut fields, field) {
                self.refuse(rule, Problem::TooMany);
                break;
            }
        }
        fields
    }

    fn declared(&mut self, rule: Rule, field: &Field) {
        let max = field.max();
        let ends = field.range.map(|(low, high)| [low, high]);
        for number in field.value.into_iter().chain(ends.into_iter().flatten()) {
            if number > max {
                self.refuse(rule, Problem::DoesNotFit { number, max });
                return;
            }
        }
        if let Some((low, high)) = field.range {
            if low > high {
                self.refuse(rule, Problem::RangeBackwards(low, high));
            } else if let Some(value) = field.value.filter(|value| !(low..=high).contains(value)) {
                self.refuse(rule, Problem::OutsideRange(value));
            }
        }
    }

    fn fixed(&mut self, specs: &[FixedSpec<'_>]) -> List<Fixed, { super::MAX_FIXED }> {
        let mut fixed: List<Fixed, { super::MAX_FIXED }> = List::new();
        for (i, spec) in specs.iter().enumerate() {
            let rule = Rule::Fixed(i);
            if let Some(c) = spec.value.chars().find(|c| !matches!(c, '0' | '1')) {
                self.refuse(rule, Problem::FixedValue(c));
                continue;
            }
            let mut indices: List<u8, MAX_FIELD_BITS> = List::new();
            let (mut bits, mut values) = (Mask::new(), Mask::new());
            let mut count = 0;
            let mut room = true;
            self.positions(rule, spec.bits, |builder, index| {
                builder.claim(rule, index);
                bits.insert(index);
                if spec.value.as_bytes().get(count) == Some(&b'1') {
                    values.insert(index);
                }
                room &= push(&mut indices, index as u8);
                count += 1;
            });
            if spec.bits.is_empty() {
                self.refuse(rule, Problem::NoBits);
            } else if count != spec.value.len() {
                self.refuse(rule, Problem::FixedCount { bits: count, values: spec.value.len() });
            }
            if !room || !push(&mut fixed, Fixed { indices, bits, values }) {
                self.refuse(rule, Problem::TooMany);
                break;
            }
        }
        fixed
    }

    fn parity(&mut self, specs: &[ParitySpec<'_>]) -> List<Parity, { super::MAX_PARITY }> {
        let mut parity: List<Parity, { super::MAX_PARITY }> = List::new();
        for (i, spec) in specs.iter().enumerate() {
            let rule = Rule::Parity(i);
            let mut group = Mask::new();
            let mut bit = 0;
            self.positions(rule, &[Span::one(spec.bit)], |builder, index| {
                builder.claim(rule, index);
                group.insert(index);
                bit = index as u8;
            });
            if spec.over.is_empty() {
                self.refuse(rule, Problem::NoBits);
            }
            self.positions(rule, spec.over, |builder, index| {
                if group.contains(index) {
                    builder.refuse(rule, Problem::CoversTwice { position: index as u16 + 1 });
                }
                group.insert(index);
            });
            if !push(&mut parity, Parity { bit, kind: spec.kind, group }) {
                self.refuse(rule, Problem::TooMany);
                break;
            }
        }
        parity
    }

    /// The order in which the parity bits can be worked out.
    fn order(&mut self, parity: &[Parity]) -> List<u16, { super::MAX_PARITY }> {
        let mut order: List<u16, { super::MAX_PARITY }> = List::new();
        if !self.sound {
            return order;
        }
        let mut done = Mask::new();
        loop {
            let ready = parity.iter().position(|rule| {
                !done.contains(rule.bit())
                    && parity.iter().all(|other| {
                        other.bit == rule.bit
                            || !rule.group.contains(other.bit())
                            || done.contains(other.bit())
                    })
            });
            let Some(ready) = ready else { break };
            done.insert(parity[ready].bit());
            push(&mut order, ready as u16);
        }
        if let Some(stuck) = parity.iter().position(|rule| !done.contains(rule.bit())) {
            self.refuse(Rule::Parity(stuck), Problem::Circle);
        }
        order
    }
}

/// `false` where the list is full.
#[cfg(feature = "alloc")]
fn push<T>(list: &mut alloc::vec::Vec<T>, item: T) -> bool {
    list.push(item);
    true
}

#[cfg(not(feature = "alloc"))]
fn push<T, const N: usize>(list: &mut arrayvec::ArrayVec<T, N>, item: T) -> bool {
    list.try_push(item).is_ok()
}

fn run_of(code: Code, indices: &[u8]) -> Option<Run> {
    let (&first, &last) = (indices.first()?, indices.last()?);
    let is_run = indices.windows(2).all(|pair| pair[0].checked_add(1) == Some(pair[1]));
    let plain = code == Code::Binary && is_run && last < 64;
    plain.then(|| Run { shift: 63 - last, keep: u64::MAX >> (63 - (last - first)) })
}

impl Kind {
    pub(super) fn is_odd(self) -> bool {
        self == Kind::Odd
    }
}
