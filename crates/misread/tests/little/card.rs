//! What is known of the cards that were held to the reader.

use misread::cause::CardState;

use super::{Frame, Known, KnownBits, Little, Shown, has};

/// What is drawn of the card once a case: its state, and of a card that differs
/// whether it is a neighbour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Draw {
    AsExpected,
    FacilityDiffers,
    Neighbour,
    AnyOther,
    Different,
}

/// Each with its share of its state.
pub(super) const DRAWS: [(Draw, CardState, f64); 5] = [
    (Draw::AsExpected, CardState::AsExpected, 1.0),
    (Draw::FacilityDiffers, CardState::FacilityDiffers, 1.0),
    (Draw::Neighbour, CardState::CardDiffers, 2.0 / 3.0),
    (Draw::AnyOther, CardState::CardDiffers, 1.0 / 3.0),
    (Draw::Different, CardState::DifferentCard, 1.0),
];

/// The frames that a read can be of, by number; `None` where there is none,
/// whatever arrives.
pub(super) type Among = Option<Vec<usize>>;

/// The frames of a layout, and which of them can be behind the reads.
pub(super) struct Frames<'a> {
    pub(super) little: &'a Little,
    pub(super) prior: f64,
    pub(super) frames: Vec<Frame>,
    /// Whether every expected card fits.
    pub(super) fits: bool,
    /// By draw, as in [`DRAWS`].
    pub(super) behind: Vec<Behind>,
}

/// Which frames can be behind the reads, in one draw.
pub(super) struct Behind {
    pub(super) read: Vec<Among>,
    /// Reads 1 and 2 are a pair, 3 and 4 the next.
    pub(super) pair: Vec<Among>,
    /// Where all are of one card.
    pub(super) one: Among,
}

impl<'a> Frames<'a> {
    pub(super) fn new(little: &'a Little, prior: f64, reads: &[&Shown]) -> Self {
        let frames = little.frames();
        let with = |bits: KnownBits| -> Among {
            let with: Vec<usize> =
                (0..frames.len()).filter(|&at| has(&frames[at], &bits)).collect();
            Some(with).filter(|with| !with.is_empty())
        };
        let behind = DRAWS.map(|(draw, ..)| {
            let known: Vec<Option<KnownBits>> =
                reads.iter().map(|read| known(little, &read.expected, draw)).collect();
            let expected = reads.iter().map(|read| &read.expected).find(|list| !list.is_empty());
            let nothing = Known::new();
            Behind {
                read: known.iter().map(|bits| with(bits.clone()?)).collect(),
                pair: known.chunks(2).map(|pair| with(of_pair(pair)?)).collect(),
                one: self::known(little, expected.unwrap_or(&nothing), draw).and_then(with),
            }
        });
        let fits = reads.iter().all(|read| little.fits(&read.expected));
        Frames { little, prior, fits, behind: behind.into(), frames }
    }
}

/// The bits that are known of a card in this draw; `None` where it is
/// impossible for the layout.
fn known(little: &Little, expected: &Known, draw: Draw) -> Option<KnownBits> {
    if draw == Draw::FacilityDiffers && !little.has_field("facility") {
        return None;
    }
    let mut bits = KnownBits::new();
    for (name, &value) in expected {
        let carrying = little.field(name)?.carrying(value)?;
        let dropped = match (draw, name == "facility") {
            (Draw::AsExpected, _) => 0,
            (Draw::FacilityDiffers, is_facility) => {
                if is_facility {
                    carrying.len()
                } else {
                    0
                }
            }
            (Draw::Neighbour | Draw::AnyOther, true) => 0,
            (Draw::Neighbour, false) => 8,
            (Draw::AnyOther, false) | (Draw::Different, _) => carrying.len(),
        };
        bits.extend(carrying.into_iter().skip(dropped));
    }
    Some(bits)
}

/// What is known of the card behind two reads: what is given for either. Two
/// cards that differ are none.
fn of_pair(pair: &[Option<KnownBits>]) -> Option<KnownBits> {
    match pair {
        [Some(first), Some(second)] if first.is_empty() || first == second => Some(second.clone()),
        [Some(first), Some(second)] if second.is_empty() => Some(first.clone()),
        _ => None,
    }
}
