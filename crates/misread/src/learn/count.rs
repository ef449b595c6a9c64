//! The part of the frame that counts up, where no number is known.

use super::field::Form;
use super::prior::Family;
use super::sample::Group;

/// Cards in a row that are needed to call it counting.
const IN_A_ROW: usize = 4;

/// The widest run of bits that has a different number in every frame, the
/// numbers all in a row; its first and last bit both move.
pub(super) fn counting_run(group: &Group) -> Option<Form> {
    let mut frames: Vec<Vec<bool>> = group
        .samples
        .iter()
        .map(|sample| sample.bits.iter().map(|bit| bit.value() == Some(true)).collect())
        .collect();
    frames.sort_unstable();
    frames.dedup();
    if frames.len() < IN_A_ROW {
        return None;
    }
    let moves: Vec<bool> =
        (0..group.bits).map(|i| frames.iter().any(|frame| frame[i] != frames[0][i])).collect();
    // A run holding so many numbers has at least that many bits.
    let least = (frames.len() - 1).ilog2() as usize + 1;
    for width in (least..=group.bits.min(63)).rev() {
        for first in 0..=group.bits - width {
            let run = first..first + width;
            if !moves[first] || !moves[first + width - 1] {
                continue;
            }
            for family in [Family::MsbRun, Family::LsbRun] {
                let bits: Vec<u8> = match family {
                    Family::LsbRun => run.clone().rev().map(|i| i as u8).collect(),
                    _ => run.clone().map(|i| i as u8).collect(),
                };
                if in_a_row(&frames, &bits) {
                    return Some(Form { family, bits, offset: 0 });
                }
            }
        }
    }
    None
}

fn in_a_row(frames: &[Vec<bool>], bits: &[u8]) -> bool {
    let number = |frame: &Vec<bool>| {
        bits.iter().fold(0u64, |n, &i| n << 1 | u64::from(frame[usize::from(i)]))
    };
    // Numbers in a row lie close together: most runs are out after a few frames.
    let mut numbers = Vec::new();
    let (mut least, mut most) = (u64::MAX, 0);
    for frame in frames {
        let number = number(frame);
        (least, most) = (least.min(number), most.max(number));
        if most - least >= frames.len() as u64 {
            return false;
        }
        numbers.push(number);
    }
    numbers.sort_unstable();
    numbers.windows(2).all(|pair| pair[0] + 1 == pair[1])
}
