//! What the guide for users shows is what the command prints.

use std::path::Path;

use crate::command;

const README: &str = include_str!("../../../../README.md");

/// Runs a command line of the guide in that folder, which is understood; what
/// it prints.
fn run(line: &str, folder: &Path) -> String {
    let words = line.split_whitespace().skip(1);
    let output = command().args(words).current_dir(folder).output().unwrap();
    assert_ne!(output.status.code(), Some(2), "{line}\n{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// The blocks of that kind.
fn blocks(kind: &str) -> impl Iterator<Item = &'static str> {
    README.split(kind).skip(1).filter_map(|rest| rest.split("```").next())
}

/// Every line shown below a command is one that it prints; … stands for some
/// that are left out.
#[test]
fn what_is_shown_is_printed() {
    let folder = tempfile::tempdir().unwrap();
    // The recording that the guide makes in its text.
    let make = README.split('`').find(|code| code.starts_with("misread simulate --cause")).unwrap();
    run(make, folder.path());
    let mut shown = 0;
    for block in blocks("```text\n").filter(|block| block.starts_with("$ misread")) {
        let text = block.replace("\\\n", " ");
        let (line, below) = text.split_once('\n').unwrap();
        // No serial port can be counted on.
        if line.contains("/dev/") {
            continue;
        }
        let printed = run(line.trim_start_matches("$ "), folder.path());
        for wanted in below.lines().filter(|line| *line != "…") {
            assert!(printed.lines().any(|line| line == wanted), "{line}\n{wanted}\n\n{printed}");
        }
        shown += 1;
    }
    assert!(shown >= 7, "{shown}");
}

#[test]
fn every_command_of_it_is_understood() {
    let folder = tempfile::tempdir().unwrap();
    let mut run_lines = 0;
    for block in blocks("```sh\n") {
        for line in block.replace("\\\n", " ").lines().filter(|line| line.starts_with("misread")) {
            run(line, folder.path());
            run_lines += 1;
        }
    }
    assert!(run_lines >= 5, "{run_lines}");
}
