//! Levels in, reads out: what all kinds of files have in common.

use std::ops::ControlFlow;

use super::contain::uncontained;
use super::{CaptureError, Damage, Options};
use crate::pulse::{Assembler, Change, Level, Line, Read, Settings};

/// Who is handed the reads, and may have had enough.
pub(super) type See<'a> = dyn FnMut(&Read<'_>) -> ControlFlow<()> + 'a;

/// Nobody wants more reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Enough;

pub(super) struct Levels<'a> {
    assembler: Assembler,
    see: &'a mut See<'a>,
    /// The first level of each line, until both are known.
    first: Option<[Option<(i64, Level)>; 2]>,
    any: bool,
    given: Given,
}

/// What of the reads has been handed on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Given {
    Nothing,
    Some,
    /// As much as was wanted.
    Enough,
}

impl<'a> Levels<'a> {
    pub(super) fn new(options: &Options, see: &'a mut See<'a>) -> Self {
        let settings = Settings { silence: options.silence, rest: options.rest, glitch: 0 };
        Levels {
            assembler: Assembler::new(settings),
            see,
            first: Some([None; 2]),
            any: false,
            given: Given::Nothing,
        }
    }

    /// A line has this level from this time on. Where the first level of both
    /// comes at one time, it is where they stand as the capture begins.
    #[inline]
    pub(super) fn level(&mut self, time: i64, line: Line, level: Level) -> Result<(), Enough> {
        if self.first.is_some() {
            return self.first_level(time, line, level);
        }
        self.change(Change { time, line, level })
    }

    /// Nothing more has changed until this time.
    pub(super) fn still_at(&mut self, time: i64) -> Result<(), Enough> {
        self.let_go_of_first()?;
        let read = self.assembler.tick(time);
        give(read, self.see, &mut self.given)
    }

    /// Nothing more comes, or nothing that can be relied on. Damage is an error
    /// where it came before any level.
    pub(super) fn finish(mut self, damage: Option<Damage>) -> Result<Option<Damage>, CaptureError> {
        match damage {
            Some(damage) if !self.any => Err(CaptureError::Damaged(damage)),
            damage => {
                // That the last read was enough is of no interest any more.
                let _ = self.finish_read();
                Ok(damage)
            }
        }
    }

    /// Whether any level has come.
    pub(super) fn has_any(&self) -> bool {
        self.any
    }

    /// Whether a read has been handed on.
    pub(super) fn has_given(&self) -> bool {
        self.given != Given::Nothing
    }

    #[inline]
    fn change(&mut self, change: Change) -> Result<(), Enough> {
        match self.assembler.feed(change) {
            None => Ok(()),
            read => give(read, self.see, &mut self.given),
        }
    }

    fn finish_read(&mut self) -> Result<(), Enough> {
        self.let_go_of_first()?;
        let read = self.assembler.finish();
        give(read, self.see, &mut self.given)
    }

    #[cold]
    fn first_level(&mut self, time: i64, line: Line, level: Level) -> Result<(), Enough> {
        self.any = true;
        if let Some(first) = &mut self.first {
            let before = first.iter().flatten().next().copied();
            if first[line.index()].is_none() && before.is_none_or(|(moment, _)| moment == time) {
                first[line.index()] = Some((time, level));
                if let [Some((_, d0)), Some((_, d1))] = *first {
                    self.first = None;
                    let read = self.assembler.begin(time, d0, d1);
                    return give(read, self.see, &mut self.given);
                }
                return Ok(());
            }
        }
        self.let_go_of_first()?;
        self.change(Change { time, line, level })
    }

    /// The first level of one line came alone: it is a change.
    fn let_go_of_first(&mut self) -> Result<(), Enough> {
        let Some(first) = self.first.take() else { return Ok(()) };
        for (line, first) in Line::BOTH.into_iter().zip(first) {
            if let Some((time, level)) = first {
                self.change(Change { time, line, level })?;
            }
        }
        Ok(())
    }
}

fn give(read: Option<Read<'_>>, see: &mut See<'_>, given: &mut Given) -> Result<(), Enough> {
    let Some(read) = read else { return Ok(()) };
    if *given == Given::Enough {
        return Err(Enough);
    }
    if uncontained(|| see(&read)).is_break() {
        *given = Given::Enough;
        return Err(Enough);
    }
    *given = Given::Some;
    Ok(())
}
