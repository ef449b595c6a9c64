//! The stream's own times on the caller's clock.

/// Places what the stream says of when it was on the caller's clock, in
/// nanoseconds. The first time the stream says is the moment it arrived; those
/// after it are counted from there. What it gives out never goes back.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    /// A time of the stream, and the moment it stands for.
    from: Option<(i64, i64)>,
    /// The last time of the stream.
    own: i64,
    /// The last moment given out.
    last: Option<i64>,
}

impl Moments {
    /// The moment of something that arrived by `now`, and which the stream
    /// says was at its own time `own`, if it says so.
    pub(super) fn place(&mut self, own: Option<i64>, now: i64) -> i64 {
        let not_back = |at: i64| self.last.map_or(at, |last| at.max(last));
        let at = match (own, self.from) {
            (Some(own), Some((from, at))) if own >= self.own => {
                not_back(at.saturating_add(own.saturating_sub(from)))
            }
            (Some(own), _) => {
                // The stream's clock has started, or started anew.
                let at = not_back(now);
                self.from = Some((own, at));
                at
            }
            (None, _) => not_back(now),
        };
        self.own = own.unwrap_or(self.own);
        self.last = Some(at);
        at
    }

    /// The stream has broken off; its clock may not be the same again.
    pub(super) fn break_off(&mut self) {
        self.from = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_times_are_counted_from_the_first() {
        let mut moments = Moments::default();
        assert_eq!(moments.place(Some(5_000), 100), 100);
        assert_eq!(moments.place(Some(7_000), 101), 2_100);
        assert_eq!(moments.place(None, 3_000), 3_000);
        // A clock that has started anew goes on where the other one ended.
        assert_eq!(moments.place(Some(0), 2_500), 3_000);
        assert_eq!(moments.place(Some(10), 2_500), 3_010);
        moments.break_off();
        assert_eq!(moments.place(Some(20), 9_000), 9_000);
        assert_eq!(moments.place(Some(i64::MAX), 9_000), i64::MAX);
    }
}
