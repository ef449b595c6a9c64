//! Levels into an assembler, from the first on.

use crate::pulse::{Assembler, Change, Level, Line, Read, Settings};

/// An assembler that is told levels. Where the first level of both lines comes at
/// one time, that is where they stand as the stream begins; else it is a change.
#[derive(Clone, Debug)]
pub(crate) struct Feed {
    assembler: Assembler,
    /// The first level of each line, until both are known or one has changed.
    first: Option<First>,
}

type First = [Option<(i64, Level)>; 2];

impl Feed {
    pub(crate) fn new(settings: Settings) -> Self {
        Feed { assembler: Assembler::new(settings), first: Some(First::default()) }
    }

    /// A line has this level from this time on. `see` is handed the read that
    /// ends by it, here as below.
    #[inline]
    pub(crate) fn level<E>(
        &mut self,
        change: Change,
        mut see: impl FnMut(Read<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        if self.first.is_some() {
            return self.first_level(change, &mut see);
        }
        self.assembler.feed(change).map_or(Ok(()), see)
    }

    /// Nothing more has changed until this time.
    pub(crate) fn still_at<E>(
        &mut self,
        time: i64,
        mut see: impl FnMut(Read<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        self.let_go_of_first(&mut see)?;
        self.assembler.tick(time).map_or(Ok(()), see)
    }

    /// The stream has ended; another may follow.
    pub(crate) fn finish<E>(
        &mut self,
        mut see: impl FnMut(Read<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        self.let_go_of_first(&mut see)?;
        self.first = Some(First::default());
        self.assembler.finish().map_or(Ok(()), see)
    }

    #[cold]
    fn first_level<E>(
        &mut self,
        change: Change,
        see: &mut impl FnMut(Read<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let Change { time, line, level } = change;
        if let Some(first) = &mut self.first {
            let before = first.iter().flatten().next().copied();
            if first[line.index()].is_none() && before.is_none_or(|(moment, _)| moment == time) {
                first[line.index()] = Some((time, level));
                if let [Some((_, d0)), Some((_, d1))] = *first {
                    self.first = None;
                    return self.assembler.begin(time, d0, d1).map_or(Ok(()), see);
                }
                return Ok(());
            }
        }
        self.let_go_of_first(see)?;
        self.assembler.feed(change).map_or(Ok(()), see)
    }

    /// The first level of one line came alone: it is a change.
    fn let_go_of_first<E>(
        &mut self,
        see: &mut impl FnMut(Read<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let Some(first) = self.first.take() else { return Ok(()) };
        for (line, first) in Line::BOTH.into_iter().zip(first) {
            if let Some((time, level)) = first {
                self.assembler.feed(Change { time, line, level }).map_or(Ok(()), &mut *see)?;
            }
        }
        Ok(())
    }
}
