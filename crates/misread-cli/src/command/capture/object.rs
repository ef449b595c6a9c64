//! The answer as JSON, its reads written as they come.

use std::cell::RefCell;
use std::io;
use std::path::Path;

use misread::pulse::{self, Level, Line};
use serde::ser::{Error as _, SerializeSeq};
use serde::{Serialize, Serializer};

use super::shown::{Shown, View};
use crate::context::Context;
use crate::json::{FieldValue, Fields};
use crate::json_capture::{
    Capture, Damage, DataLine, Finding, Idle, Lines, Read, SCHEMA, Spread, Widths,
};
use crate::masking::Masking;
use crate::recording::{Recording, damaged};

/// Writes the answer.
pub(super) fn write(
    recording: &mut Recording,
    view: &View<'_>,
    path: &Path,
    context: &mut Context,
) -> io::Result<()> {
    let overview = &recording.overview;
    let [d0, d1] = overview.lines.clone();
    let damage = overview.damage.as_ref().map(|damage| {
        let file = (path.as_os_str() != "-").then(|| path.display().to_string());
        let (place, found) = damaged(damage, file, view.masking);
        Damage { place, found, expected: damage.expected.clone() }
    });
    let object = Capture {
        schema: SCHEMA,
        lines: Lines { d0, d1 },
        idle: if overview.rests() == Level::Low { Idle::Low } else { Idle::High },
        beat_us: overview.rhythm.beat.map(micros),
        sample_period_us: micros(overview.limits.sample_period),
        threshold_v: overview.threshold,
        findings: overview.findings.iter().map(finding).collect(),
        damage,
        reads: AsTheyCome { recording: RefCell::new(recording), view },
    };
    context.out.json(&object)
}

/// The reads of a capture, none of them kept.
struct AsTheyCome<'a, 'b> {
    recording: RefCell<&'a mut Recording>,
    view: &'a View<'b>,
}

impl Serialize for AsTheyCome<'_, '_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut recording = self.recording.try_borrow_mut().map_err(S::Error::custom)?;
        let mut list = serializer.serialize_seq(None)?;
        recording.for_each(
            |refusal| S::Error::custom(refusal.sentence()),
            |index, read| {
                list.serialize_element(&object(&self.view.show(index, read), self.view.masking))
            },
        )?;
        list.end()
    }
}

fn object(shown: &Shown<'_>, masking: Masking) -> Read {
    let [d0, d1] = shown.widths;
    Read {
        start_s: shown.start as f64 / 1e9,
        bits: masking.bits(&shown.bits, shown.layout),
        length: shown.len(),
        repeat: shown.repeat,
        note: shown.note.map(|note| note.read),
        pulse_width_us: Widths {
            d0: d0.map(spread),
            d1: d1.map(spread),
            both: shown.width.map(spread),
        },
        interval_us: shown.interval.map(spread),
        findings: shown.findings.iter().map(finding).collect(),
        fields: shown.answer.is_some().then(|| {
            let fields = shown.fields().unwrap_or_default().iter();
            let value = |bits| FieldValue::new(bits, masking);
            Fields(fields.map(|f| (f.name().to_owned(), value(f.value_in(&shown.bits)))).collect())
        }),
        ok: shown.answer.as_ref().map(|answer| answer.ok),
        problem: shown.answer.as_ref().and_then(|answer| answer.problem.clone()),
    }
}

fn finding(finding: &pulse::Finding) -> Finding {
    Finding {
        finding: finding.kind.id().to_owned(),
        line: finding.line.map(|line| match line {
            Line::D0 => DataLine::D0,
            Line::D1 => DataLine::D1,
        }),
        bit: finding.bit.map(|bit| bit + 1),
        value_us: finding.value.map(micros),
        limit_us: finding.limit.map(micros),
        says: finding.to_string(),
    }
}

fn spread(spread: pulse::Spread) -> Spread {
    Spread { min: micros(spread.min), median: micros(spread.median), max: micros(spread.max) }
}

fn micros(ns: u32) -> f64 {
    f64::from(ns) / 1e3
}
