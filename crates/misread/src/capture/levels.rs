//! Levels in, reads out: what all kinds of files have in common.

use std::ops::ControlFlow;

use super::contain::uncontained;
use super::feed::Feed;
use super::{CaptureError, Damage, Options};
use crate::pulse::{Change, Level, Line, Read, Settings};

/// Who is handed the reads, and may have had enough.
pub(super) type See<'a> = dyn FnMut(&Read<'_>) -> ControlFlow<()> + 'a;

/// Nobody wants more reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Enough;

pub(super) struct Levels<'a> {
    feed: Feed,
    see: &'a mut See<'a>,
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
        Levels { feed: Feed::new(settings), see, any: false, given: Given::Nothing }
    }

    /// A line has this level from this time on. Where the first level of both
    /// comes at one time, it is where they stand as the capture begins.
    #[inline]
    pub(super) fn level(&mut self, time: i64, line: Line, level: Level) -> Result<(), Enough> {
        self.any = true;
        let Levels { feed, see, given, .. } = self;
        feed.level(Change { time, line, level }, |read| give(&read, see, given))
    }

    /// Nothing more has changed until this time.
    pub(super) fn still_at(&mut self, time: i64) -> Result<(), Enough> {
        let Levels { feed, see, given, .. } = self;
        feed.still_at(time, |read| give(&read, see, given))
    }

    /// Nothing more comes, or nothing that can be relied on. Damage is an error
    /// where it came before any level.
    pub(super) fn finish(self, damage: Option<Damage>) -> Result<Option<Damage>, CaptureError> {
        let Levels { mut feed, see, any, mut given } = self;
        match damage {
            Some(damage) if !any => Err(CaptureError::Damaged(damage)),
            damage => {
                // That the last read was enough is of no interest any more.
                let _ = feed.finish(|read| give(&read, see, &mut given));
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
}

fn give(read: &Read<'_>, see: &mut See<'_>, given: &mut Given) -> Result<(), Enough> {
    if *given == Given::Enough {
        return Err(Enough);
    }
    if uncontained(|| see(read)).is_break() {
        *given = Given::Enough;
        return Err(Enough);
    }
    *given = Given::Some;
    Ok(())
}
