//! The steps that lead from one number to another.

use crate::Layout;

/// One step. Two numbers are a facility code and a card throughout.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Digits that look decimal are hexadecimal. First step only.
    ReadHexadecimal,
    /// The number is shown in decimal where it was read in hexadecimal. Last
    /// step only.
    Decimal,
    /// The number is shown in hexadecimal where it was read in decimal. Last
    /// step only.
    Hexadecimal,
    /// Zeros in front are left out, or put there. Only step.
    LeadingZeros,
    /// A number below 2²⁴ becomes two, its top eight bits and its low sixteen:
    /// the 3,5 digits.
    ThreeFive,
    /// A number becomes two, the low `card` bits and what is above them.
    Split(Widths),
    /// Two numbers become one, joined in binary.
    Join(Widths),
    /// Two numbers become one in decimal, the card filled up to five digits.
    RunTogether,
    /// Two numbers become one in decimal, one behind the other as they are.
    RunTogetherBare,
    /// The last five decimal digits become the card, those before the facility
    /// code.
    TakenApart,
    /// Only the low bits are kept.
    Low(u8),
    /// The fields become the whole frame, parity and fixed bits included.
    ParityKept(Form),
    /// A whole frame becomes its fields joined; it must fit the layout.
    ParityDropped(Form),
    /// The order of bytes, nibbles or bits is reversed, or every bit turned
    /// over.
    Turned(TurnKind, Over),
    /// Each of two numbers whose width is whole bytes, two or more, has them
    /// reversed.
    FieldBytes(Widths),
    /// Of two numbers, the card is left.
    FacilityDropped,
    /// The frame of one layout is read with the fields of another of the same
    /// length, its checks not looked at.
    FieldOf(Form, Form),
}

/// The widths of facility code and card in bits, 64 at most together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Widths {
    /// Of the facility code.
    pub facility: u8,
    /// Of the card.
    pub card: u8,
}

/// What is turned around.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TurnKind {
    /// The order of its bytes.
    Bytes,
    /// The order of its groups of four bits.
    Nibbles,
    /// The order of its bits.
    Bits,
    /// The value of each bit.
    Values,
}

/// Over which bits something is turned around.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Over {
    /// One number of so many bits.
    Number(u8),
    /// Two numbers, joined in binary and split again.
    Two(Widths),
}

/// A layout as the steps use it: of at most 64 bits, with one field, or with
/// the fields facility and card in this order.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    pub(super) layout: Layout,
    /// `None` for one field.
    pub(super) widths: Option<Widths>,
    /// Which layout of those given.
    pub(super) at: usize,
}

impl Form {
    /// `None` for a layout the steps do not use.
    pub(super) fn of(layout: &Layout, at: usize) -> Option<Self> {
        if layout.bits() > 64 {
            return None;
        }
        let widths = match layout.fields() {
            [_] => None,
            [facility, card] if facility.name() == "facility" && card.name() == "card" => {
                Some(Widths { facility: facility.width() as u8, card: card.width() as u8 })
            }
            _ => return None,
        };
        Some(Form { layout: layout.clone(), widths, at })
    }

    /// The name of the layout.
    pub fn name(&self) -> &str {
        self.layout.name()
    }
}

/// The steps that may stand anywhere in a chain, for these layouts: all that
/// are tried but reading in hexadecimal, showing in another base, and leading
/// zeros.
pub fn steps_anywhere(layouts: &[&Layout]) -> Vec<Step> {
    let forms: Vec<Form> =
        layouts.iter().enumerate().filter_map(|(at, layout)| Form::of(layout, at)).collect();
    Steps::new(&forms).anywhere
}

/// The steps there are, and how many choices each kind of step leaves.
pub(super) struct Steps {
    /// The steps that may stand anywhere.
    pub(super) anywhere: Vec<Step>,
}

impl Steps {
    pub(super) fn new(forms: &[Form]) -> Self {
        let eight = Widths { facility: 8, card: 16 };
        let mut widths = vec![eight];
        let mut lengths = vec![8, 16, 24, 26, 32, 34, 40, 56, 64];
        for form in forms {
            let fields = form.layout.fields().iter().map(|field| field.width() as u8);
            lengths.extend(fields.chain([form.layout.bits() as u8]));
            widths.extend(form.widths);
        }
        lengths.sort_unstable();
        lengths.dedup();
        let mut unlike: Vec<Widths> = Vec::new();
        for one in widths {
            if !unlike.contains(&one) {
                unlike.push(one);
            }
        }
        let overs = lengths.iter().map(|&n| Over::Number(n));
        let overs: Vec<Over> = overs.chain(unlike.iter().map(|&w| Over::Two(w))).collect();

        let mut anywhere = vec![
            Step::ThreeFive,
            Step::RunTogether,
            Step::RunTogetherBare,
            Step::TakenApart,
            Step::FacilityDropped,
        ];
        anywhere.extend(unlike.iter().filter(|&&w| w != eight).map(|&w| Step::Split(w)));
        anywhere.extend(unlike.iter().map(|&w| Step::Join(w)));
        anywhere.extend([16, 24, 26, 32].map(Step::Low));
        for form in forms.iter().filter(|form| form.has_more_than_fields()) {
            anywhere.push(Step::ParityKept(form.clone()));
            anywhere.push(Step::ParityDropped(form.clone()));
        }
        for kind in [TurnKind::Bytes, TurnKind::Nibbles, TurnKind::Bits, TurnKind::Values] {
            let able = overs.iter().filter(|over| kind.applies(over.bits()));
            anywhere.extend(able.map(|&over| Step::Turned(kind, over)));
        }
        anywhere.extend(unlike.iter().filter(|w| w.have_bytes()).map(|&w| Step::FieldBytes(w)));
        for from in forms {
            let others = forms
                .iter()
                .filter(|to| to.at != from.at && to.layout.bits() == from.layout.bits());
            anywhere.extend(others.map(|to| Step::FieldOf(from.clone(), to.clone())));
        }
        Steps { anywhere }
    }
}

impl Form {
    fn has_more_than_fields(&self) -> bool {
        let fields: usize = self.layout.fields().iter().map(|field| field.width()).sum();
        fields < self.layout.bits()
    }
}

impl Widths {
    /// Both together.
    pub fn bits(self) -> u8 {
        self.facility + self.card
    }

    fn have_bytes(self) -> bool {
        [self.facility, self.card].into_iter().any(|n| crate::diagnose::has_bytes(usize::from(n)))
    }
}

impl Over {
    pub(super) fn bits(self) -> u8 {
        match self {
            Over::Number(bits) => bits,
            Over::Two(widths) => widths.bits(),
        }
    }
}

impl TurnKind {
    fn applies(self, bits: u8) -> bool {
        match self {
            TurnKind::Bytes => bits > 8 && bits.is_multiple_of(8),
            TurnKind::Nibbles => bits > 4 && bits.is_multiple_of(4),
            TurnKind::Bits | TurnKind::Values => bits > 1,
        }
    }

    fn id(self) -> &'static str {
        match self {
            TurnKind::Bytes => "bytes-reversed",
            TurnKind::Nibbles => "nibbles-reversed",
            TurnKind::Bits => "bits-reversed",
            TurnKind::Values => "turned-over",
        }
    }
}

impl Step {
    /// Its id, as in answers: `low-16`, `bytes-reversed-32`,
    /// `parity-kept:open-26`.
    pub fn id(&self) -> String {
        match self {
            Step::ReadHexadecimal => "read-hexadecimal".to_owned(),
            Step::Decimal => "decimal".to_owned(),
            Step::Hexadecimal => "hexadecimal".to_owned(),
            Step::LeadingZeros => "leading-zeros".to_owned(),
            Step::ThreeFive => "three-five".to_owned(),
            Step::Split(widths) => format!("split-{}", widths.id()),
            Step::Join(widths) => format!("joined-{}", widths.id()),
            Step::RunTogether => "run-together".to_owned(),
            Step::RunTogetherBare => "run-together-bare".to_owned(),
            Step::TakenApart => "taken-apart".to_owned(),
            Step::Low(bits) => format!("low-{bits}"),
            Step::ParityKept(form) => format!("parity-kept:{}", form.name()),
            Step::ParityDropped(form) => format!("parity-dropped:{}", form.name()),
            Step::Turned(kind, Over::Number(bits)) => format!("{}-{bits}", kind.id()),
            Step::Turned(kind, Over::Two(widths)) => format!("{}-{}", kind.id(), widths.id()),
            Step::FieldBytes(widths) => format!("field-bytes-reversed-{}", widths.id()),
            Step::FacilityDropped => "facility-dropped".to_owned(),
            Step::FieldOf(from, to) => format!("field-of:{}:{}", from.name(), to.name()),
        }
    }

    /// The step in words, behind "the number" or "facility code and card".
    pub fn says(&self) -> String {
        match self {
            Step::ReadHexadecimal => "the printed digits are hexadecimal".to_owned(),
            Step::Decimal => "the number is shown in decimal".to_owned(),
            Step::Hexadecimal => "the number is shown in hexadecimal".to_owned(),
            Step::LeadingZeros => "the zeros in front differ".to_owned(),
            Step::ThreeFive => {
                "the top 8 bits of 24 stand for the facility code and the low 16 for the card, as \
                 3,5 digits"
                    .to_owned()
            }
            Step::Split(Widths { card, .. }) => {
                format!("the low {card} bits stand for the card, those above for the facility code")
            }
            Step::Join(Widths { card, .. }) => {
                format!("facility code and a {card}-bit card are joined in binary")
            }
            Step::RunTogether => {
                "facility code and card are run together in decimal, the card with five digits"
                    .to_owned()
            }
            Step::RunTogetherBare => {
                "facility code and card are run together in decimal as they are".to_owned()
            }
            Step::TakenApart => {
                "the last five digits are the card, those before the facility code".to_owned()
            }
            Step::Low(bits) => format!("only the low {bits} bits are kept"),
            Step::ParityKept(form) => format!(
                "all {} bits of the {} frame count, parity bits included",
                form.layout.bits(),
                form.name()
            ),
            Step::ParityDropped(form) => format!(
                "of all {} bits of a {} frame, the parity bits are dropped",
                form.layout.bits(),
                form.name()
            ),
            Step::Turned(kind, over) => {
                let bits = over.bits();
                match kind {
                    TurnKind::Bytes => format!("the {} bytes are reversed", bits / 8),
                    TurnKind::Nibbles => {
                        format!("the {} groups of four bits are reversed", bits / 4)
                    }
                    TurnKind::Bits => format!("the order of the {bits} bits is reversed"),
                    TurnKind::Values => format!("every one of the {bits} bits is turned over"),
                }
            }
            Step::FieldBytes(_) => "the bytes of each field are reversed".to_owned(),
            Step::FacilityDropped => "the facility code is dropped".to_owned(),
            Step::FieldOf(from, to) => {
                format!("the {} frame is read with the fields of {}", from.name(), to.name())
            }
        }
    }

    /// How many bits it takes to say this step: what kind it is, by how common
    /// that is on site (judgement, no source), and which of `choices` of its
    /// kind.
    pub fn description_bits(&self, choices: usize) -> f64 {
        let kind = match self {
            Step::LeadingZeros => 1.0,
            Step::Decimal | Step::Hexadecimal | Step::ThreeFive | Step::FacilityDropped => 2.0,
            Step::RunTogether | Step::Join(_) | Step::Split(_) | Step::Low(_) => 3.0,
            Step::Turned(TurnKind::Bytes | TurnKind::Values, _) => 3.0,
            Step::ReadHexadecimal | Step::RunTogetherBare | Step::TakenApart => 4.0,
            Step::ParityKept(_) | Step::ParityDropped(_) | Step::FieldOf(..) => 4.0,
            Step::FieldBytes(_) | Step::Turned(TurnKind::Bits, _) => 5.0,
            Step::Turned(TurnKind::Nibbles, _) => 6.0,
        };
        kind + libm::log2(choices.max(1) as f64)
    }

    /// Whether another step is of the same kind.
    pub(super) fn is_like(&self, other: &Step) -> bool {
        match (self, other) {
            (Step::Turned(one, _), Step::Turned(other, _)) => one == other,
            _ => std::mem::discriminant(self) == std::mem::discriminant(other),
        }
    }
}

impl Widths {
    fn id(self) -> String {
        format!("{}-{}", self.facility, self.card)
    }
}
