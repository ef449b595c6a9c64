//! Level changes as they come, into reads.

use crate::pulse::{Assembler, Change, Level, Line, Read, Settings};

/// An assembler, with what it needs of a stream that begins and breaks off.
#[derive(Clone, Debug)]
pub(super) struct Levels {
    assembler: Assembler,
    silence: u32,
    /// The first level of each line, until it is clear whether that is where
    /// the lines stand as the stream begins.
    first: Option<[Option<(i64, Level)>; 2]>,
    /// The latest time of the stream that the assembler has heard of.
    latest: i64,
}

impl Levels {
    pub(super) fn new(settings: Settings) -> Self {
        Levels {
            assembler: Assembler::new(settings),
            silence: settings.silence,
            first: Some([None; 2]),
            latest: i64::MIN,
        }
    }

    /// A line has this level from this time on. Where the first level of both
    /// comes at one time, that is where they stand.
    pub(super) fn level(&mut self, change: Change, see: &mut dyn FnMut(Read<'_>)) {
        let Change { time, line, level } = change;
        // A time earlier by less than the silence counts as the latest.
        let anew = self.latest.saturating_sub(i64::from(self.silence)) >= time;
        self.latest = if anew { time } else { self.latest.max(time) };
        if let Some(first) = &mut self.first {
            let before = first.iter().flatten().next().copied();
            if first[line.index()].is_none() && before.is_none_or(|(moment, _)| moment == time) {
                first[line.index()] = Some((time, level));
                if let [Some((_, d0)), Some((_, d1))] = *first {
                    self.first = None;
                    self.assembler.begin(time, d0, d1).map(see);
                }
                return;
            }
        }
        self.let_go_of_first(see);
        self.assembler.feed(change).map(see);
    }

    /// Nothing has followed for long: the read in progress is over.
    pub(super) fn still(&mut self, see: &mut dyn FnMut(Read<'_>)) {
        self.let_go_of_first(see);
        let over = self.latest.saturating_add(i64::from(self.silence.max(1)));
        self.assembler.tick(over).map(see);
    }

    /// The stream has ended or broken off; another may follow.
    pub(super) fn finish(&mut self, see: &mut dyn FnMut(Read<'_>)) {
        self.let_go_of_first(see);
        self.assembler.finish().map(see);
        self.first = Some([None; 2]);
        self.latest = i64::MIN;
    }

    /// The first level of one line came alone: it is a change.
    fn let_go_of_first(&mut self, see: &mut dyn FnMut(Read<'_>)) {
        let Some(first) = self.first.take() else { return };
        for (line, first) in Line::BOTH.into_iter().zip(first) {
            if let Some((time, level)) = first {
                self.assembler.feed(Change { time, line, level }).map(&mut *see);
            }
        }
    }
}
