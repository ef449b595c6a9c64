//! What every command is given, and how a command ends.

use std::io;
use std::path::Path;

use crate::catalogue::Known;
use crate::masking::Masking;
use crate::output::Output;
use crate::refusal::Refusal;

/// What every command is given.
pub(crate) struct Context {
    /// Whether answers are JSON.
    pub(crate) json: bool,
    /// Whether card numbers are hidden.
    pub(crate) masking: Masking,
    pub(crate) out: Output,
}

impl Context {
    /// The layouts that are known. Files of the folder that are no layouts are
    /// named on standard error; the others serve all the same.
    pub(crate) fn known(&mut self, folder: Option<&Path>) -> Result<Known, Stop> {
        let known = Known::open(folder)?;
        known.refused.iter().for_each(Refusal::print);
        Ok(known)
    }

    /// Says that an input is refused, in order with the answers before it.
    pub(crate) fn refuse(&mut self, refusal: &Refusal) -> io::Result<()> {
        if self.json {
            self.out.json(&refusal.object())?;
        }
        self.out.flush()?;
        refusal.print();
        Ok(())
    }
}

/// What a command's work came to; the exit status is its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Status {
    /// It worked and the answer is good.
    Good = 0,
    /// It worked and the answer is not good.
    NotGood = 1,
    /// Something in the input was refused; the rest was answered.
    Refused = 2,
}

impl Status {
    /// Good or not.
    pub(crate) fn of(good: bool) -> Self {
        if good { Status::Good } else { Status::NotGood }
    }
}

/// Why a command could not go on.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The input or the command line was wrong.
    Refused(Box<Refusal>),
    /// Writing failed.
    Output(io::Error),
}

impl From<Refusal> for Stop {
    fn from(refusal: Refusal) -> Self {
        Stop::Refused(Box::new(refusal))
    }
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        Stop::Output(error)
    }
}

/// How a command ends.
pub(crate) type Outcome = Result<Status, Stop>;
