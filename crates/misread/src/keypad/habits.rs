//! The figures of the model of keypads.

use misread_core::keypad::{Key, Mode};

use super::Sending;

/// How keypads send and how people key: see the front page of
/// [`keypad`](super). All judgement; probabilities from 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// The prior of 4, 6 and 8 bits a key, in the order of [`Mode::ALL`].
    pub modes: [f64; Mode::ALL.len()],
    /// The prior of the whole code in a frame.
    pub whole_code: f64,
    /// A read carries more than one key.
    pub several: f64,
    /// The first press of a code is the hash key.
    pub hash_first: f64,
    /// A later press is the hash key.
    pub hash: f64,
    /// A press is the star key.
    pub star: f64,
    /// A press arrives as anything at all.
    pub stray: f64,
    /// What was keyed is not what somebody says was keyed, but anything.
    pub otherwise: f64,
}

impl Default for Habits {
    fn default() -> Self {
        Habits {
            modes: [0.5, 0.1, 0.3],
            whole_code: 0.1,
            several: 0.1,
            hash_first: 0.01,
            hash: 0.2,
            star: 0.02,
            stray: 0.005,
            otherwise: 0.05,
        }
    }
}

impl Habits {
    /// The prior of a way of sending, among all there are.
    pub fn prior(&self, sending: &Sending) -> f64 {
        match sending {
            Sending::Keys(Mode::FourBit) => self.modes[0],
            Sending::Keys(Mode::SixBit) => self.modes[1],
            Sending::Keys(Mode::EightBit) => self.modes[2],
            Sending::WholeCode(_) => self.whole_code,
        }
    }

    /// How likely a press is this key, `within` a code or as its first.
    pub fn key(&self, key: Key, within: bool) -> f64 {
        let hash = if within { self.hash } else { self.hash_first };
        match key {
            Key::Hash => hash,
            Key::Star => self.star,
            Key::Digit(_) => (1.0 - hash - self.star) / 10.0,
        }
    }

    /// How likely a read carries this many keys.
    pub fn keys_in_a_read(&self, count: usize) -> f64 {
        match count {
            0 => 0.0,
            1 => 1.0 - self.several,
            _ => self.several * libm::exp2(1.0 - count as f64),
        }
    }
}
