//! Help, the manual page, completions, and a command line that is wrong.

use crate::misread;

const COMMANDS: [&[&str]; 19] = [
    &["explain"],
    &["causes"],
    &["simulate"],
    &["decode"],
    &["capture"],
    &["frame"],
    &["layout", "list"],
    &["layout", "show"],
    &["layout", "check"],
    &["layout", "add"],
    &["layout", "audit"],
    &["layout", "clash"],
    &["numbers"],
    &["keypad"],
    &["layout", "learn"],
    &["schema"],
    &["watch"],
    &["completions"],
    &["man"],
];

#[test]
fn every_command_has_an_example_and_fits_the_page() {
    for command in COMMANDS {
        let run = misread([command, &["--help"]].concat());
        assert_eq!(run.status, 0);
        assert!(run.stdout.contains("Example"), "{command:?}");
        let example = format!("    misread {}", command.join(" "));
        assert!(run.stdout.contains(&example), "{command:?}");
        for line in run.stdout.lines() {
            assert!(line.chars().count() <= 80, "{command:?}: {line}");
        }
    }
}

#[test]
fn there_is_a_page_for_every_command() {
    for command in COMMANDS {
        let run = misread([&["man"], command].concat());
        assert_eq!(run.status, 0);
        let title = format!(".TH misread-{} 1", command.join("-"));
        assert!(run.stdout.contains(&title), "{command:?}: {}", run.stdout);
    }
    assert!(misread(["man"]).stdout.contains(".TH misread 1"));
    assert_eq!(misread(["man", "slipway"]).status, 2);
}

#[test]
fn completions_know_the_commands() {
    for shell in ["bash", "zsh", "fish"] {
        let run = misread(["completions", shell]);
        assert_eq!(run.status, 0);
        assert!(run.stdout.contains("decode") && run.stdout.contains("layout"), "{shell}");
    }
}

#[test]
fn a_wrong_command_line_is_status_2() {
    assert_eq!(misread(["slipway"]).status, 2);
    let run = misread(["--json", "slipway"]);
    assert_eq!(run.status, 2);
    let answer = &run.json()[0];
    assert_eq!(answer["schema"], "misread/error/1");
    assert!(run.stderr.contains(answer["message"].as_str().unwrap()), "{run:?}");
}

#[test]
fn a_read_without_a_command_is_told_where_it_goes() {
    for read in ["01101010111111011001011011", "?110", "0x4e61bc/24"] {
        let run = misread(["--json", read]);
        assert_eq!((run.status, run.json()[0]["schema"].as_str()), (2, Some("misread/error/1")));
        assert!(run.stderr.contains("misread explain") && !run.stderr.contains(read), "{run:?}");
    }
}
