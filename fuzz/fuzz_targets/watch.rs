//! Streams of bytes, in pieces of any length.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::watch::{Event, Intake, Options};

fuzz_target!(|bytes: &[u8]| {
    // The first bytes say how long the pieces are, over and over.
    let Some((lengths, stream)) = bytes.split_first_chunk::<4>() else { return };
    let mut pieces = Vec::new();
    let mut rest = stream;
    for length in lengths.iter().cycle() {
        if rest.is_empty() {
            break;
        }
        let (piece, behind) = rest.split_at(rest.len().min(usize::from(*length) + 1));
        pieces.push(piece);
        rest = behind;
    }
    assert_eq!(events(&[stream]), events(&pieces));
});

/// The events of a stream that comes in pieces, as text.
fn events(pieces: &[&[u8]]) -> Vec<String> {
    let mut intake = Intake::new(Options::default());
    let mut events = Vec::new();
    let mut see = |event: Event| {
        if let Event::NoRead { text, error } = &event {
            assert!(!text.contains(char::is_control) && !error.expected().is_empty());
        }
        events.push(format!("{event:?}"));
    };
    for piece in pieces {
        intake.push(piece, 0, &mut see);
    }
    intake.tick(i64::MAX, &mut see);
    intake.lost(0, &mut see);
    events
}
