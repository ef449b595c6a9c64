//! Levels in, a capture out: what all kinds of files have in common.

use super::{Capture, CaptureRead, Damage, Options};
use crate::pulse::{
    Assembler, Change, Ended, Evidence, Level, Limits, Line, Pulse, Read, Rhythm, Settings, Tally,
    between, bits_of, findings,
};

pub(super) struct Collector {
    assembler: Assembler,
    reads: Vec<Kept>,
    tally: Tally,
    /// The first level of each line, until both are known.
    first: Option<[Option<(i64, Level)>; 2]>,
    any: bool,
}

struct Kept {
    pulses: Vec<Pulse>,
    rest: Level,
    ended: Ended,
    follows_on: bool,
}

impl Collector {
    pub(super) fn new(options: &Options) -> Self {
        let settings = Settings { silence: options.silence, rest: options.rest, glitch: 0 };
        Collector {
            assembler: Assembler::new(settings),
            reads: Vec::new(),
            tally: Tally::default(),
            first: Some([None; 2]),
            any: false,
        }
    }

    /// A line has this level from this time on. Where the first level of both
    /// comes at one time, it is where they stand as the capture begins.
    pub(super) fn level(&mut self, time: i64, line: Line, level: Level) {
        self.any = true;
        let Some(first) = &mut self.first else {
            return self.change(Change { time, line, level });
        };
        let before = first.iter().flatten().next().copied();
        if first[line.index()].is_none() && before.is_none_or(|(moment, _)| moment == time) {
            first[line.index()] = Some((time, level));
            if let [Some((_, d0)), Some((_, d1))] = *first {
                self.first = None;
                let read = self.assembler.begin(time, d0, d1);
                keep(&mut self.reads, &mut self.tally, read);
            }
            return;
        }
        self.let_go_of_first();
        self.change(Change { time, line, level });
    }

    /// Nothing more has changed until this time.
    pub(super) fn still_at(&mut self, time: i64) {
        self.let_go_of_first();
        let read = self.assembler.tick(time);
        keep(&mut self.reads, &mut self.tally, read);
    }

    /// Whether any level has come.
    pub(super) fn has_any(&self) -> bool {
        self.any
    }

    pub(super) fn finish(
        mut self,
        options: &Options,
        lines: [String; 2],
        sample_period: u32,
        threshold: Option<f64>,
        damage: Option<Damage>,
    ) -> Capture {
        self.let_go_of_first();
        let read = self.assembler.finish();
        keep(&mut self.reads, &mut self.tally, read);

        let limits = match options.limits.sample_period {
            0 => options.limits.sampled_every(sample_period),
            _ => options.limits,
        };
        let rhythm = Rhythm::of(self.reads.iter().map(|read| &read.pulses[..]), &limits);
        let mut reads: Vec<CaptureRead> = Vec::with_capacity(self.reads.len());
        for (index, kept) in self.reads.into_iter().enumerate() {
            let Kept { pulses, rest, ended, follows_on } = kept;
            let before = reads.last();
            let bits = bits_of(&pulses);
            reads.push(CaptureRead {
                repeat: before.is_some_and(|before| before.bits == bits),
                findings: before
                    .filter(|before| before.ended == Ended::Silence)
                    .and_then(|before| between(index, &before.pulses, &pulses, &limits))
                    .into_iter()
                    .chain(findings(index, &pulses, &limits, &rhythm))
                    .collect(),
                evidence: Evidence::of(&pulses, &rhythm),
                bits,
                pulses,
                rest,
                ended,
                follows_on,
            });
        }
        let Limits { sample_period, .. } = limits;
        Capture {
            lines,
            idle: self.tally.rest(),
            rhythm,
            sample_period,
            threshold,
            reads,
            findings: self.tally.findings().collect(),
            damage,
        }
    }

    fn change(&mut self, change: Change) {
        let read = self.assembler.feed(change);
        keep(&mut self.reads, &mut self.tally, read);
    }

    /// The first level of one line came alone: it is a change.
    fn let_go_of_first(&mut self) {
        let Some(first) = self.first.take() else { return };
        for (line, first) in Line::BOTH.into_iter().zip(first) {
            if let Some((time, level)) = first {
                self.change(Change { time, line, level });
            }
        }
    }
}

fn keep(reads: &mut Vec<Kept>, tally: &mut Tally, read: Option<Read<'_>>) {
    let Some(read) = read else { return };
    tally.count(&read);
    reads.push(Kept {
        pulses: read.pulses().to_vec(),
        rest: read.rest(),
        ended: read.ended(),
        follows_on: read.follows_on(),
    });
}
