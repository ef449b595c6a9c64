//! Level changes as they come, into reads.

use std::convert::Infallible;

use crate::capture::Feed;
use crate::pulse::{Change, Read, Settings};

/// What an assembler needs of a stream that begins and breaks off.
#[derive(Clone, Debug)]
pub(super) struct Levels {
    feed: Feed,
    silence: u32,
    /// The latest time of the stream that the assembler has heard of.
    latest: i64,
}

impl Levels {
    pub(super) fn new(settings: Settings) -> Self {
        Levels { feed: Feed::new(settings), silence: settings.silence, latest: i64::MIN }
    }

    /// A line has this level from this time on.
    pub(super) fn level(&mut self, change: Change, see: &mut dyn FnMut(Read<'_>)) {
        // A time earlier by less than the silence counts as the latest.
        let anew = self.latest.saturating_sub(i64::from(self.silence)) >= change.time;
        self.latest = if anew { change.time } else { self.latest.max(change.time) };
        let Ok(()) = self.feed.level(change, always(see));
    }

    /// Nothing has followed for long: the read in progress is over.
    pub(super) fn still(&mut self, see: &mut dyn FnMut(Read<'_>)) {
        let over = self.latest.saturating_add(i64::from(self.silence.max(1)));
        let Ok(()) = self.feed.still_at(over, always(see));
    }

    /// The stream has ended or broken off; another may follow.
    pub(super) fn finish(&mut self, see: &mut dyn FnMut(Read<'_>)) {
        let Ok(()) = self.feed.finish(always(see));
        self.latest = i64::MIN;
    }
}

/// Every read is wanted.
fn always(
    see: &mut dyn FnMut(Read<'_>),
) -> impl FnMut(Read<'_>) -> Result<(), Infallible> + use<'_> {
    |read| {
        see(read);
        Ok(())
    }
}
