//! Cases drawn from a little world of their own, and models to weigh them by.

use misread::cause::{Cause, Model, ProbeAt, UnlistedLengths, WhoseWeights, Wire};
use misread::channel::{Random, Rng, seeded};
use misread::pulse::Evidence;

use super::{Frame, Known, Little, Question, Read, Said, Shown};

/// A case, and how it came about.
pub(crate) struct Drawn {
    /// The number of each candidate.
    pub(crate) layouts: Vec<usize>,
    /// The weight of each, and which is configured.
    pub(crate) weights: Vec<f64>,
    pub(crate) configured: Option<usize>,
    pub(crate) shown: Vec<Shown>,
    pub(crate) said: Said,
    pub(crate) captured: Option<ProbeAt>,
    pub(crate) model: Model,
}

impl Drawn {
    /// The prior of each candidate.
    fn priors(&self) -> Vec<f64> {
        let n = self.layouts.len();
        let sum: f64 = self.weights.iter().sum();
        match self.configured {
            Some(_) if n == 1 => vec![1.0],
            Some(at) => {
                let other = (1.0 - self.model.configured) / (n - 1) as f64;
                (0..n).map(|i| if i == at { self.model.configured } else { other }).collect()
            }
            None => self.weights.iter().map(|weight| weight / sum).collect(),
        }
    }

    pub(crate) fn question<'a>(&'a self, littles: &'a [Little]) -> Question<'a> {
        let layouts = self.layouts.iter().map(|&at| &littles[at]);
        Question {
            layouts: layouts.zip(self.priors()).collect(),
            shown: self.shown.clone(),
            said: self.said,
            captured: self.captured,
            model: &self.model,
        }
    }
}

/// The case of that number, made from this wire state out of some of these
/// layouts. Not all that is drawn is likely, nor even possible.
pub(crate) fn draw(wire: Wire, littles: &[Little], seed: u64, number: u64) -> Drawn {
    let random = &mut Dice(seeded(seed, number));
    let fits_wire = |little: &Little| match wire.cause() {
        Cause::BytesReversed => little.bits > 16,
        _ => little.bits <= 16,
    };
    let suited: Vec<usize> = (0..littles.len()).filter(|&at| fits_wire(&littles[at])).collect();
    let mut layouts = vec![*random.of(&suited)];
    for _ in 0..random.of(&[0, 0, 1, 1, 1, 2]).to_owned() {
        let other = random.below(littles.len());
        if littles[other].bits <= 16 && !layouts.contains(&other) {
            layouts.push(other);
        }
    }
    let model = if random.chance(0.3) { Model::default() } else { random_model(random) };
    let configured = if random.chance(0.5) { Some(random.below(layouts.len())) } else { None };
    let mut making = Making { wire, littles, layouts: &layouts, random };
    let shown = making.shown(&model);
    let mut drawn = Drawn {
        weights: layouts.iter().map(|_| *random.of(&[0.25, 1.0, 12.0])).collect(),
        said: *random.of(&[
            Said::Nothing,
            Said::Nothing,
            Said::Nothing,
            Said::OneCard,
            Said::Several,
        ]),
        captured: *random.of(&[None, None, None, Some(ProbeAt::Panel), Some(ProbeAt::Reader)]),
        shown,
        configured,
        layouts,
        model,
    };
    let refused = drawn.said == Said::OneCard && drawn.question(littles).cards_differ();
    if refused && random.chance(0.8) {
        drawn.said = Said::Nothing;
    }
    drawn
}

/// Priors, rates and shares that are not the usual ones.
pub(crate) fn random_model(random: &mut Dice) -> Model {
    let mut model = Model::default();
    let mut causes = model.causes.map(|_| 0.002 + random.unit());
    let sum: f64 = causes.iter().sum();
    causes.iter_mut().for_each(|prior| *prior /= sum);
    model.causes = causes;
    let mut cards = model.cards.map(|_| 0.01 + random.unit());
    let sum: f64 = cards.iter().sum();
    cards.iter_mut().for_each(|prior| *prior /= sum);
    model.cards = cards;
    model.two_at_once = random.unit();
    model.at_times = random.unit();
    model.reads_missing = random.unit();
    model.empty = *random.of(&[0.01, 0.05, 0.3]);
    model.shares = random.of(&[vec![0.5], vec![0.2, 0.6], vec![0.05, 0.3, 0.6, 0.95]]).clone();
    let [usual, near] = [random.unit() / 2.0, random.unit() / 2.0];
    model.unlisted = UnlistedLengths { usual, near, any: 1.0 - usual - near };
    model.presented = WhoseWeights([(); 3].map(|()| 0.1 + random.unit()));
    model.configured = 0.5 + random.unit() / 2.1;
    let rates = &mut model.rates;
    for list in [&mut rates.weak, &mut rates.noise, &mut rates.ringing, &mut rates.crosstalk] {
        *list = random.of(&[vec![0.4], vec![0.07, 1.0], vec![0.1, 0.3, 0.9]]).clone();
    }
    for by_cause in &mut model.findings {
        by_cause.iter_mut().for_each(|rate| *rate = 0.01 + 0.98 * random.unit());
    }
    model.probe.bits_inverted = 2.0 * random.unit();
    model.probe.padded = random.unit();
    model.probe.lines_swapped_at_reader = random.unit();
    model
}

/// A generator with a few throws.
pub(crate) struct Dice(pub(crate) Random);

impl Dice {
    /// At least 0 and under 1.
    fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 2f64.powi(32)
    }

    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    pub(crate) fn below(&mut self, count: usize) -> usize {
        self.0.next_u32() as usize % count
    }

    pub(crate) fn of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    pub(crate) fn bits(&mut self, length: usize) -> Frame {
        (0..length).map(|_| self.chance(0.5)).collect()
    }
}

/// What a case is made from.
struct Making<'a> {
    wire: Wire,
    littles: &'a [Little],
    layouts: &'a [usize],
    random: &'a mut Dice,
}

impl Making<'_> {
    fn shown(&mut self, model: &Model) -> Vec<Shown> {
        let is_long = self.littles[self.layouts[0]].bits > 16;
        let comes_and_goes = matches!(self.wire, Wire::AtTimes(_) | Wire::ReadsMissing);
        let is_split = self.wire.cause() == Cause::FrameSplit;
        let cards = match () {
            () if is_split => 1 + self.random.below(2),
            () if is_long => 1 + self.random.below(2),
            // Too many for some of what is asked of one card.
            () if self.random.chance(0.06) => 5 + self.random.below(4),
            () if comes_and_goes => 2 + self.random.below(3),
            () => 1 + self.random.below(3),
        };
        let is_one_card = self.random.chance(0.5);
        let is_mixed = self.random.chance(0.3);
        let told = *self.random.of(&[0.0, 0.0, 0.5, 1.0]);
        let card = self.card(is_mixed, told);
        let every: Vec<(usize, Frame, Known)> = (0..cards)
            .map(|_| if is_one_card { card.clone() } else { self.card(is_mixed, told) })
            .collect();
        let through = Sending::drawn(self.wire.cause(), model, self.random);
        let share = *self.random.of(&model.shares);
        let length = 1 + self.random.below(24);
        let mut shown = Vec::new();
        for (at, frame, expected) in every {
            let suffers = !comes_and_goes || self.random.chance(share);
            let little = &self.littles[at];
            let reads: Vec<Frame> = match self.wire {
                _ if !suffers => vec![frame],
                Wire::ReadsMissing => vec![vec![]],
                Wire::Swapped(Cause::BytesReversed) => {
                    let sent = little.bytes_reversed(&frame).unwrap_or(frame);
                    vec![sent.iter().map(|bit| !bit).collect()]
                }
                Wire::Swapped(_) => {
                    let turned = frame.iter().map(|bit| !bit).collect();
                    through.reads(little, &turned, length, self.random)
                }
                _ => through.reads(little, &frame, length, self.random),
            };
            for bits in reads {
                let bits = self.spoiled(bits);
                let expected =
                    if self.random.chance(0.15) { Known::new() } else { expected.clone() };
                shown.push(Shown { bits, expected, pulses: Evidence::default() });
            }
        }
        if self.random.chance(0.25) {
            shown.iter_mut().for_each(|shown| shown.pulses = self.evidence());
        }
        while self.random.chance(0.2) {
            let (_, _, expected) = self.card(is_mixed, told);
            let pulses = self.evidence();
            shown.insert(
                self.random.below(shown.len() + 1),
                Shown { bits: vec![], expected, pulses },
            );
        }
        shown
    }

    /// The layout, the frame and what is said of a card; of that many of its
    /// fields, and not always what it carries.
    fn card(&mut self, is_mixed: bool, told: f64) -> (usize, Frame, Known) {
        let at = if is_mixed { *self.random.of(self.layouts) } else { self.layouts[0] };
        let little = &self.littles[at];
        let frames = little.frames();
        let frame = self.random.of(&frames).clone();
        let mut expected = Known::new();
        let errs = *self.random.of(&["", "", "", "facility", "card", "both"]);
        for field in &little.fields {
            let Some(value) = field.value(&frame).filter(|_| self.random.chance(told)) else {
                continue;
            };
            let is_facility = field.name == "facility";
            let wrong = match errs {
                "" => false,
                "facility" => is_facility,
                "card" => !is_facility,
                _ => true,
            };
            let said = match wrong {
                false => value,
                // A neighbour, or any value.
                true if self.random.chance(0.5) => {
                    (value ^ self.random.below(256) as u64).min(field.most())
                }
                true => u64::from(self.random.0.next_u32()) % (field.most() + 1),
            };
            expected.insert(field.name.to_owned(), said);
        }
        (at, frame, expected)
    }

    /// Bits left unread, and now and then one turned over.
    fn spoiled(&mut self, bits: Frame) -> Read {
        let mut read: Read = bits.into_iter().map(Some).collect();
        if read.is_empty() {
            return read;
        }
        if self.random.chance(0.03) {
            let at = self.random.below(read.len());
            read[at] = read[at].map(|bit| !bit);
        }
        if self.random.chance(0.3) {
            for _ in 0..1 + self.random.below(3) {
                let at = self.random.below(read.len());
                read[at] = None;
            }
        }
        if self.random.chance(0.01) {
            read.fill(None);
        }
        read
    }

    fn evidence(&mut self) -> Evidence {
        let mut any = || *self.random.of(&[None, Some(false), Some(true)]);
        Evidence {
            lines_overlap: any(),
            short_pulse: [any(), any()],
            double_pulse: [any(), any()],
            missing_beat: any(),
        }
    }
}

/// A cause with what holds for all reads of the case.
pub(crate) struct Sending {
    cause: Cause,
    rate: f64,
    way: usize,
}

impl Sending {
    pub(crate) fn drawn(cause: Cause, model: &Model, random: &mut Dice) -> Self {
        use Cause::*;
        let rates = match cause {
            D0Weak | D1Weak | BothWeak => &model.rates.weak[..],
            D0Noise | D1Noise | BothNoise => &model.rates.noise,
            D0Ringing | D1Ringing | BothRinging => &model.rates.ringing,
            Crosstalk => &model.rates.crosstalk,
            _ => &[1.0],
        };
        Sending { cause, rate: *random.of(rates), way: random.below(4) }
    }

    /// What arrives of a frame; `length` is that of a layout nobody listed.
    pub(crate) fn reads(
        &self,
        little: &Little,
        t: &Frame,
        length: usize,
        random: &mut Dice,
    ) -> Vec<Frame> {
        use Cause::*;
        let n = t.len();
        let happens = |on: [bool; 2], bit: bool, random: &mut Dice| {
            on[usize::from(bit)] && random.chance(self.rate)
        };
        let on = match self.cause {
            D0Open | D0Weak | D0Noise | D0Ringing => [true, false],
            D1Open | D1Weak | D1Noise | D1Ringing => [false, true],
            _ => [true, true],
        };
        let one = match self.cause {
            None => t.clone(),
            LinesSwapped | BitsInverted => t.iter().map(|bit| !bit).collect(),
            BitOrderReversed => t.iter().rev().copied().collect(),
            BytesReversed => little.bytes_reversed(t).unwrap_or_default(),
            Padded => {
                let zeros = vec![false; n.next_multiple_of([8, 32][self.way % 2]) - n];
                if self.way < 2 { [&t[..], &zeros].concat() } else { [&zeros[..], t].concat() }
            }
            LinesShorted => {
                let taken: &[bool] =
                    [&[false, true][..], &[true, false], &[false], &[true]][self.way];
                taken.repeat(n)
            }
            D0Open | D1Open | D0Weak | D1Weak | BothWeak => {
                t.iter().copied().filter(|&bit| !happens(on, bit, random)).collect()
            }
            D0Ringing | D1Ringing | BothRinging => {
                let of = |&bit: &bool| vec![bit; if happens(on, bit, random) { 2 } else { 1 }];
                t.iter().flat_map(of).collect()
            }
            Crosstalk => {
                let of = |&bit: &bool| match random.chance(self.rate) {
                    true => vec![bit, !bit],
                    false => vec![bit],
                };
                t.iter().flat_map(of).collect()
            }
            D0Noise | D1Noise | BothNoise => {
                let mut read = Vec::new();
                for gap in 0..=n {
                    if random.chance(self.rate) {
                        read.push(if on == [true, true] { random.chance(0.5) } else { on[1] });
                    }
                    read.extend(t.get(gap));
                }
                read
            }
            HeadLost => t[1 + random.below(8.min(n - 1))..].to_vec(),
            TailLost => t[..n - 1 - random.below(8.min(n - 1))].to_vec(),
            FrameSplit => {
                let (first, second) = t.split_at(1 + random.below(n - 1));
                return vec![first.to_vec(), second.to_vec()];
            }
            FramesMerged => t.repeat(2),
            BitsChanged => {
                let mut read = t.clone();
                let mut left = *random.of(&[1, 1, 1, 2, 3]);
                while left > 0 {
                    let at = random.below(n);
                    if read[at] == t[at] {
                        read[at] = !read[at];
                        left -= 1;
                    }
                }
                read
            }
            UnknownLayout => random.bits(length),
            RandomBits => {
                let length = *random.of(&[1, 3, 7, 12, 20, 33, 100, 200]);
                random.bits(length)
            }
        };
        vec![one]
    }
}
