//! Reads of a keypad, as text, through every mode.
#![no_main]

use libfuzzer_sys::fuzz_target;
use misread::Turn;
use misread::cause::Model;
use misread::diagnose::Numbers;
use misread::keypad::{
    Assembler, DEFAULT_PAUSE, Key, Mode, Press, Sending, Setting, answer, codes, read_presses,
};

fuzz_target!(|text: &str| {
    let found = read_presses(text.as_bytes());
    assert_eq!(found.presses.len(), found.lines.len());
    assert!(found.refused.iter().all(|error| !error.to_string().is_empty()));

    for press in &found.presses {
        for mode in Mode::ALL {
            let mut index = 0;
            for key in mode.keys(&press.bits) {
                if let Ok(key) = key {
                    let sent = press.bits.slice(index, index + mode.bits());
                    assert_eq!(mode.encode(key), sent);
                    assert_eq!(mode.key(&sent), Ok(key));
                }
                index += mode.bits();
            }
        }
    }

    let mut assembler = Assembler::default();
    let mut digits = 0;
    let mut kept = 0;
    for (c, press) in text.chars().zip(found.presses.iter().cycle()) {
        let key = Key::from_char(c);
        digits += usize::from(!matches!(key, Some(Key::Star | Key::Hash)));
        for code in assembler.press(key, press.at) {
            kept += code.keys().len() + code.cleared();
        }
    }
    kept += assembler.finish().map_or(0, |code| code.keys().len() + code.cleared());
    assert!(kept <= digits);

    let presses: Vec<Press> = found.presses.into_iter().take(12).collect();
    let sendings = Sending::all(None);
    let setting = Setting::of(&sendings);
    let answer = answer(&presses, &setting, &Model::default(), Numbers::Shown).unwrap();
    assert!((0.0..=1.0).contains(&answer.probability) && !answer.says.is_empty());
    let sum: f64 = answer.possible.iter().map(|possible| possible.probability).sum();
    assert!(sum <= 1.0 + 1e-9);
    if answer.ok {
        let sending = &sendings[answer.sending.unwrap_or_default()];
        let again = codes(&presses, sending, Turn::AsReceived, DEFAULT_PAUSE);
        assert_eq!(again.codes, answer.codes);
    }
});
