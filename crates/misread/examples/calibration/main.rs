//! Whether a stated probability means what it says: cases are drawn from the
//! fault model and diagnosed, and the probabilities stated are held against how
//! often they came true.
//!
//! ```text
//! cargo run --release -p misread --example calibration -- [CASES [SEED]]
//! ```
//!
//! Prints two tables in Markdown. Exit status 1 where a band is outside its
//! interval, 2 where an argument is not a number.

mod bands;

use std::process::ExitCode;

fn main() -> ExitCode {
    let mut numbers = std::env::args().skip(1).map(|argument| {
        argument
            .parse::<u64>()
            .map_err(|_| format!("‘{argument}’ is not a number of cases or a seed"))
    });
    let run = || {
        let cases = numbers.next().transpose()?.unwrap_or(100_000);
        let seed = numbers.next().transpose()?.unwrap_or(2);
        bands::calibrate(cases, seed)
    };
    match { run }() {
        Ok(found) => {
            print!("{}", found.tables());
            if found.holds() { ExitCode::SUCCESS } else { ExitCode::from(1) }
        }
        Err(message) => {
            eprintln!("{message}");
            ExitCode::from(2)
        }
    }
}
