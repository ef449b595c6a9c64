//! The command, run as a person or a script runs it.
//!
//! The cards are invented; the frames of facility 42, card 1234 follow the bit
//! table of SIA AC-01-1996.10 (the table from memory).

// Helpers outside the test functions fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

mod audit;
mod capture;
mod capture_masked;
mod decode;
mod explain;
mod explain_capture;
mod frame;
mod help;
mod keypad;
mod layout;
mod layout_learn;
mod numbers;
mod readme;
mod schema;
mod simulate;
mod simulated;
mod situations;
mod streams;
mod watch;

use std::ffi::OsStr;
use std::io::Write;
use std::process::{Child, Command, Stdio};

/// Facility 42, card 1234.
const SOUND: &str = "10010101000000100110100100";

/// What a run came to.
#[derive(Debug)]
struct Run {
    stdout: String,
    stderr: String,
    status: i32,
}

impl Run {
    /// Each line of standard output as JSON.
    fn json(&self) -> Vec<serde_json::Value> {
        self.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

/// The command without anybody's settings.
fn command() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_misread"));
    let nowhere = std::env::temp_dir().join("misread-no-settings");
    command.env("XDG_CONFIG_HOME", nowhere).env_remove("CLICOLOR_FORCE").env_remove("NO_COLOR");
    command
}

/// The command begun, with a pipe at each of its ends.
fn spawn(args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Child {
    let piped = Stdio::piped;
    command().args(args).stdin(piped()).stdout(piped()).stderr(piped()).spawn().unwrap()
}

fn misread(args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Run {
    misread_with(args, "")
}

fn misread_with(args: impl IntoIterator<Item = impl AsRef<OsStr>>, input: &str) -> Run {
    let mut child = spawn(args);
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    // The command may end before it has read everything.
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()).ok());
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    Run {
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
        status: output.status.code().unwrap(),
    }
}
