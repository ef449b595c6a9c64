//! Where the pulses of a read stand along a drawing in which time runs from
//! left to right.

use misread::pulse::Line as DataLine;

/// A pulse as it is drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drawn {
    /// Its line; `None` where that would tell a hidden bit.
    pub(crate) line: Option<DataLine>,
    /// In nanoseconds, like its width.
    pub(crate) start: i64,
    pub(crate) width: u32,
    /// Whether its end was seen.
    pub(crate) complete: bool,
}

impl Drawn {
    /// The bit it stands for, as it is shown.
    pub(super) fn bit(&self) -> char {
        self.line.map_or(crate::masking::HIDDEN, |line| line.bit().as_char())
    }
}

/// The pulses of a read, to be drawn along time.
#[derive(Clone, Debug)]
pub(crate) struct Train<'a> {
    /// In the order of their starts.
    pub(crate) pulses: &'a [Drawn],
    /// The reader's beat, in nanoseconds; not 0.
    pub(crate) beat: u32,
    /// Whether the starts are moments; else the pulses only stand in order.
    pub(crate) to_time: bool,
    /// What is to be marked: bits, from 0, and the sentence about them.
    pub(crate) marks: Vec<(Vec<usize>, String)>,
}

/// How time becomes steps of a drawing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ruler {
    /// Nanoseconds to a step; not 0.
    pub(super) unit: u64,
    /// How many steps the starts of two pulses are apart at least, however
    /// close they are; those that are active at once may share a step.
    pub(super) apart: usize,
    /// More steps than this without a change are cut short to this.
    pub(super) longest: usize,
}

/// Where a pulse stands, in steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) at: usize,
    /// At least 1.
    pub(super) len: usize,
    /// Whether the time before it is cut short.
    pub(super) after_cut: bool,
    /// Whether the pulse itself is cut short.
    pub(super) cut: bool,
}

impl Place {
    pub(super) fn end(&self) -> usize {
        self.at + self.len
    }
}

/// Whether pulses are further apart on the drawing than in time.
pub(super) fn spreads(pulses: &[Drawn], places: &[Place], ruler: Ruler) -> bool {
    pulses.windows(2).zip(places.windows(2)).any(|(pulses, places)| match (pulses, places) {
        ([first, second], [from, to]) => {
            steps(first.start.abs_diff(second.start), ruler.unit) < ruler.apart.min(to.at - from.at)
        }
        _ => false,
    })
}

/// The place of each pulse: at its time, but apart from the one before.
pub(super) fn places(pulses: &[Drawn], ruler: Ruler) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::with_capacity(pulses.len());
    // The last pulse from which time was counted without a cut.
    let mut origin = pulses.first().map_or((0, 0), |first| (first.start, 0));
    for (index, pulse) in pulses.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|i| Some((pulses.get(i)?, *places.get(i)?)));
        let mut at = origin.1 + steps(pulse.start.abs_diff(origin.0), ruler.unit);
        let mut after_cut = false;
        if let Some((other, place)) = before {
            // Room for what is drawn of the pulse before.
            let longest = ruler.longest + place.len;
            if at > place.at + longest {
                at = place.at + longest;
                after_cut = true;
                origin = (pulse.start, at);
            }
            at = at.max(place.at + if at_once(other, pulse) { 0 } else { ruler.apart });
        }
        let len = steps(u64::from(pulse.width), ruler.unit).max(1);
        let cut = len > ruler.longest;
        places.push(Place { at, len: len.min(ruler.longest), after_cut, cut });
    }
    // A pulse is over before the next one on its line.
    let mut next = [usize::MAX; 3];
    for (pulse, place) in pulses.iter().zip(places.iter_mut()).rev() {
        let row = pulse.line.map_or(2, DataLine::index);
        place.len = place.len.min(next[row].saturating_sub(place.at)).max(1);
        next[row] = place.at;
    }
    places
}

fn at_once(first: &Drawn, second: &Drawn) -> bool {
    let end = first.start.saturating_add(i64::from(first.width));
    first.line != second.line && second.start < end
}

/// A duration in whole steps, to the nearest.
fn steps(duration: u64, unit: u64) -> usize {
    usize::try_from((duration + unit / 2) / unit).unwrap_or(usize::MAX / 4).min(usize::MAX / 4)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn pulses_stand_at_their_time() {
        let pulse = |start, width, line| Drawn { line: Some(line), start, width, complete: true };
        let pulses = [
            pulse(0, 50, DataLine::D1),
            pulse(2_000, 50, DataLine::D0),
            // Right behind, so one step further than its time.
            pulse(2_100, 50, DataLine::D0),
            pulse(4_000, 2_900, DataLine::D1),
            // While the other one lasts.
            pulse(4_100, 50, DataLine::D0),
            pulse(104_000, 50, DataLine::D0),
        ];
        let ruler = Ruler { unit: 1_000, apart: 1, longest: 20 };
        let found: Vec<_> =
            places(&pulses, ruler).iter().map(|p| (p.at, p.len, p.after_cut)).collect();
        let cut = (25, 1, true);
        assert_eq!(
            found,
            [(0, 1, false), (2, 1, false), (3, 1, false), (4, 3, false), (4, 1, false), cut]
        );
    }

    proptest! {
        #[test]
        fn pulses_keep_their_order_and_fit_a_bounded_room(
            steps in proptest::collection::vec((0u64..1 << 40, any::<u32>(), any::<bool>()), 1..100),
            unit in 1u64..1 << 20,
            apart in 1usize..4,
            longest in 4usize..50,
        ) {
            let mut start = 0i64;
            let pulses: Vec<Drawn> = steps.into_iter().map(|(gap, width, one)| {
                start += gap as i64;
                let line = if one { DataLine::D1 } else { DataLine::D0 };
                Drawn { line: Some(line), start, width, complete: true }
            }).collect();
            let places = places(&pulses, Ruler { unit, apart, longest });
            for pair in places.windows(2) {
                prop_assert!(pair[0].at <= pair[1].at);
                prop_assert!(pair[1].at - pair[0].at <= 2 * longest + apart, "{:?}", pair);
            }
            for line in DataLine::BOTH {
                let own: Vec<&Place> = pulses.iter().zip(&places)
                    .filter(|(pulse, _)| pulse.line == Some(line)).map(|(_, place)| place).collect();
                // On its line no pulse stands on another, unless both are
                // active with one of the other line's.
                for pair in own.windows(2) {
                    prop_assert!(pair[0].at <= pair[1].at && pair[0].len >= 1);
                    prop_assert!(pair[0].end() <= pair[1].at.max(pair[0].at + 1));
                }
            }
        }
    }
}
