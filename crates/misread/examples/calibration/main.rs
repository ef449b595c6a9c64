//! Whether a stated probability means what it says: cases are drawn from the
//! fault model and diagnosed, and the probabilities stated are held against how
//! often they came true.
//!
//! ```text
//! cargo run --release -p misread --example calibration -- [captures|at-times] [CASES [SEED]]
//! ```
//!
//! With `captures` the diagnosis is given captures of the lines, with what their
//! pulses say, else the bits of each read; with `at-times` faults come and go far
//! more often than by the default weights, so that more is stated of who suffers.
//!
//! Prints a table for each question in Markdown. Exit status 1 where a band is
//! outside its interval, 2 where an argument is not a number.

mod bands;

use std::process::ExitCode;

use bands::Given;

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1).peekable();
    let given = match arguments.peek().map(String::as_str) {
        Some("captures") => Given::Captures,
        Some("at-times") => Given::AtTimes,
        _ => Given::Bits,
    };
    if given != Given::Bits {
        arguments.next();
    }
    let mut numbers = arguments.map(|argument| {
        argument
            .parse::<u64>()
            .map_err(|_| format!("‘{argument}’ is not a number of cases or a seed"))
    });
    let run = || {
        let cases = numbers.next().transpose()?.unwrap_or(match given {
            Given::Bits => 100_000,
            Given::AtTimes => 25_000,
            Given::Captures => 10_000,
        });
        let seed = numbers.next().transpose()?.unwrap_or(2);
        bands::calibrate(given, cases, seed)
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
