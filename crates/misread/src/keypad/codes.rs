//! From reads to the codes keyed, under a cause.

use std::fmt;

use misread_core::keypad::{Assembler, Digit, Ended, Key, NoKey, Why};
use misread_core::{Bit, Bits, Misfit, Turn};

use super::{Press, Sending};
use crate::cause::Cause;
use crate::channel::bytes_reversed;
use crate::diagnose::Numbers;

/// A code as it was keyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Code {
    /// The digits in order; `None` for a press that could not be read. None at
    /// all where the hash key was pressed alone.
    pub keys: Vec<Option<Digit>>,
    /// How many presses the star key cleared before it.
    pub cleared: usize,
    /// What ended it. A whole code is sent after the hash key.
    pub ended: Ended,
    /// What the other fields of a whole code's frame carry.
    pub others: Vec<(String, u64)>,
}

impl Code {
    /// The digits, `?` for a press that could not be read; masked, every
    /// character is hidden.
    pub fn digits(&self, numbers: Numbers) -> String {
        let shown = |key: &Option<Digit>| match numbers {
            Numbers::Shown => key.map_or('?', Digit::as_char),
            Numbers::Masked => '•',
        };
        self.keys.iter().map(shown).collect()
    }

    /// The digits, and `#` where the hash key ended it.
    pub fn text(&self, numbers: Numbers) -> String {
        let end = if self.ended == Ended::Hash { "#" } else { "" };
        self.digits(numbers) + end
    }
}

/// The digits, and `#` where the hash key ended it.
impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(Numbers::Shown))
    }
}

impl From<misread_core::keypad::Code> for Code {
    fn from(code: misread_core::keypad::Code) -> Self {
        Code {
            keys: code.keys().to_vec(),
            cleared: code.cleared(),
            ended: code.ended(),
            others: Vec::new(),
        }
    }
}

/// A read, or a part of one, that is no key or no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Which read, from 1, in the order given.
    pub read: usize,
    /// What is wrong with it.
    pub kind: ProblemKind,
    /// How it was turned around first.
    pub turn: Turn,
}

/// What is wrong with a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProblemKind {
    /// Bits that are no key.
    NoKey(NoKey),
    /// A frame that does not fit the layout.
    Misfit(Misfit),
    /// A bit of the number is unread.
    Unread,
    /// A frame that fits, but whose values are not those this site declares.
    Declared,
}

impl Problem {
    /// Whether it is only that a bit was not seen.
    pub(super) fn is_unread(&self) -> bool {
        match self.kind {
            ProblemKind::NoKey(no_key) => matches!(no_key.why, Why::Unread { .. }),
            ProblemKind::Unread => true,
            ProblemKind::Misfit(_) | ProblemKind::Declared => false,
        }
    }

    /// The problem as half a sentence, such as "bits 1-4 hold 12, which is no
    /// key". Masked, no value is told.
    pub fn says(&self, numbers: Numbers) -> String {
        let says = match self.kind {
            ProblemKind::NoKey(NoKey { why: Why::Value { index, .. }, .. })
                if numbers == Numbers::Masked =>
            {
                format!("bits {}-{} hold a value that is no key", index + 1, index + 4)
            }
            ProblemKind::NoKey(no_key) => no_key.to_string(),
            ProblemKind::Misfit(misfit) => misfit.to_string(),
            ProblemKind::Unread => "a bit of the code's number is unread".to_owned(),
            ProblemKind::Declared => {
                "its values are not those the layout declares for this site".to_owned()
            }
        };
        match self.turn {
            Turn::AsReceived => says,
            Turn::Inverted => format!("every bit turned over, {says}"),
            Turn::Reversed => format!("counted from its last bit, {says}"),
            Turn::InvertedReversed => {
                format!("every bit turned over and counted from its last bit, {says}")
            }
        }
    }
}

/// The codes of some reads.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reading {
    /// The codes, in order.
    pub codes: Vec<Code>,
    /// What could not be read.
    pub problems: Vec<Problem>,
    /// How many presses there were, or frames; bursts counted key by key.
    pub presses: usize,
}

/// The turn that undoes a cause which leaves every bit in its read; `None` for
/// the others.
pub fn turn_of(cause: Cause) -> Option<Turn> {
    match cause {
        Cause::None => Some(Turn::AsReceived),
        Cause::LinesSwapped | Cause::BitsInverted => Some(Turn::Inverted),
        Cause::BitOrderReversed => Some(Turn::Reversed),
        _ => None,
    }
}

/// What makes the frames that were sent out of the reads that arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Undo {
    /// Turned around; for a cause that bends only some of the reads, as they
    /// arrived.
    Turn(Turn),
    /// The first half of each: the frame arrived twice.
    FirstHalf,
    /// The bytes of each field in their order again.
    Bytes,
}

impl Undo {
    pub(super) const ALL: [Undo; 5] = [
        Undo::Turn(Turn::AsReceived),
        Undo::Turn(Turn::Inverted),
        Undo::Turn(Turn::Reversed),
        Undo::FirstHalf,
        Undo::Bytes,
    ];

    /// What undoes a cause, in the reads that it lets through whole. `None`
    /// where none is.
    pub(super) fn of(cause: Cause) -> Option<Undo> {
        match cause {
            Cause::D0Open | Cause::D1Open | Cause::LinesShorted => None,
            Cause::FramesMerged => Some(Undo::FirstHalf),
            Cause::BytesReversed => Some(Undo::Bytes),
            cause => Some(Undo::Turn(turn_of(cause).unwrap_or(Turn::AsReceived))),
        }
    }

    /// The frame behind a read; the read itself where it cannot have come about
    /// so.
    pub(super) fn frame(self, read: &Bits, sending: &Sending) -> Bits {
        match self {
            Undo::Turn(turn) => read.turned(turn),
            Undo::FirstHalf => first_half(read).unwrap_or(*read),
            Undo::Bytes => match sending {
                // Parity follows what is sent: only a frame that fits was.
                Sending::WholeCode(layout) if layout.decode(read).is_ok() => {
                    bytes_reversed(layout, read).unwrap_or(*read)
                }
                _ => *read,
            },
        }
    }

    fn turn(self) -> Turn {
        match self {
            Undo::Turn(turn) => turn,
            Undo::FirstHalf | Undo::Bytes => Turn::AsReceived,
        }
    }
}

/// The first half of a read that is the same bits twice; a bit that is unread
/// in it as the second half has it.
fn first_half(read: &Bits) -> Option<Bits> {
    let n = read.len() / 2;
    let (first, second) = (read.slice(0, n), read.slice(n, read.len()));
    let bit = |(a, b): (Bit, Bit)| if a == Bit::Unread { b } else { a };
    first.agrees_with(&second).then(|| first.iter().zip(second.iter()).map(bit).collect())
}

/// Reads presses, each turned around first, and puts the codes together.
/// Empty reads are passed over.
///
/// ```
/// use misread::Turn;
/// use misread::keypad::{DEFAULT_PAUSE, Mode, Press, Sending, codes};
///
/// let presses = ["0100", "11001011"]
///     .map(|bits| Press::from(bits.parse::<misread::Bits>().unwrap()));
/// let found = codes(&presses, &Sending::Keys(Mode::FourBit), Turn::AsReceived, DEFAULT_PAUSE);
/// assert_eq!(found.codes[0].to_string(), "4?#");
/// assert_eq!(found.problems[0].read, 2);
/// ```
pub fn codes(presses: &[Press], sending: &Sending, turn: Turn, pause: u64) -> Reading {
    codes_after(presses, sending, Undo::Turn(turn), pause)
}

/// The same, with what was done to each read undone first.
pub(super) fn codes_after(presses: &[Press], sending: &Sending, undo: Undo, pause: u64) -> Reading {
    let turn = undo.turn();
    let mut reading = Reading::default();
    let mut assembler = Assembler::new(pause);
    let reads = (1..).zip(presses).filter(|(_, press)| !press.bits.is_empty());
    for (read, press) in reads {
        let bits = undo.frame(&press.bits, sending);
        match sending {
            Sending::Keys(mode) => {
                for key in mode.keys(&bits) {
                    reading.presses += 1;
                    if let Err(no_key) = key {
                        let kind = ProblemKind::NoKey(no_key);
                        reading.problems.push(Problem { read, kind, turn });
                    }
                    let done = assembler.press(key.ok(), press.at);
                    reading.codes.extend(done.map(Code::from));
                }
            }
            Sending::WholeCode(_) => {
                reading.presses += 1;
                let (code, kind) = whole_code(sending, &bits);
                reading.codes.extend(code);
                reading.problems.extend(kind.map(|kind| Problem { read, kind, turn }));
            }
        }
    }
    reading.codes.extend(assembler.finish().map(Code::from));
    reading
}

fn whole_code(sending: &Sending, bits: &Bits) -> (Option<Code>, Option<ProblemKind>) {
    let Some((layout, field)) = sending.number() else { return (None, None) };
    let decoded = match layout.decode(bits) {
        Ok(decoded) => decoded,
        Err(misfit) => return (None, Some(ProblemKind::Misfit(misfit))),
    };
    let Some(number) = decoded.value_of(field) else { return (None, Some(ProblemKind::Unread)) };
    let digit = |c: char| match Key::from_char(c) {
        Some(Key::Digit(digit)) => Some(digit),
        _ => None,
    };
    let others = decoded.values().filter(|(other, _)| other.name() != field.name());
    let code = Code {
        keys: number.to_string().chars().map(digit).collect(),
        cleared: 0,
        ended: Ended::Hash,
        others: others
            .filter_map(|(other, value)| Some((other.name().to_owned(), value?)))
            .collect(),
    };
    (Some(code), decoded.concerns().next().map(|_| ProblemKind::Declared))
}
