//! Layouts learned from arbitrary tables: no panic, weights that sum to 1, and
//! every sample that is not set aside decodes with the best candidate.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::file::read_any;
use misread::learn::{Sample, Wishes, learn};

fuzz_target!(|bytes: &[u8]| {
    // Long tables only make the target slow.
    if bytes.len() > 4096 {
        return;
    }
    let Ok(rows) = read_any(bytes) else { return };
    let samples: Vec<Sample> = rows.flatten().take(40).map(Sample::from).collect();
    let Ok(answers) = learn(&samples, &Wishes::default()) else { return };
    // What belongs to no length that is answered stands with the first answer.
    let aside: Vec<u64> =
        answers.iter().flat_map(|learned| &learned.set_aside).map(|aside| aside.line).collect();
    for learned in answers {
        let total: f64 = learned.candidates.iter().map(|candidate| candidate.weight).sum();
        assert!(learned.candidates.is_empty() || (total - 1.0).abs() < 1e-6);
        assert!(learned.listed <= 1.0 + 1e-6);
        let Some(best) = learned.candidates.first() else { continue };
        let sound = samples
            .iter()
            .filter(|sample| sample.bits.len() == learned.length && !aside.contains(&sample.line));
        for sample in sound {
            assert!(best.layout.decode(&sample.bits.turned(learned.turn)).is_ok());
        }
    }
});
