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

#[test]
fn what_is_wrong_with_a_command_line_fits_the_page_and_is_whole_in_json() {
    for wrong in [
        &["capture", "--silence", "0", "slipway.vcd"][..],
        &["simulate", "--seed", "x"],
        &["simulate", "--probe-at", "reader"],
    ] {
        let run = misread(wrong);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{wrong:?}");
        assert!(run.stderr.lines().all(|line| line.chars().count() <= 80), "{run:?}");
    }
    for (wrong, says) in [
        (&["keypad", "--pause", "5 s", "0101"][..], "expected a number, such as 0.5"),
        (&["keypad", "--pause", "-1", "0101"], "expected seconds, over 0"),
        (&["simulate", "--jitter", "1,5"], "expected a number, such as 0.5"),
        (&["simulate", "--width", "-50"], "expected 1 µs"),
        (&["simulate", "--cause", "d0-weak", "--rate", "-1"], "rate"),
        (&["simulate", "--reads", "-3"], "1..=100000"),
        (&["capture", "--silence", "-25", "slipway.vcd"], "expected milliseconds, over 0"),
        (&["capture", "--repeat-window", "-3", "slipway.vcd"], "expected seconds, from 0"),
    ] {
        let run = misread(wrong);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{wrong:?}");
        let said = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(says), "{wrong:?}: {said}");
    }
    let run = misread(["capture", "--json"]);
    assert_eq!(run.status, 2);
    let message = run.json()[0]["message"].as_str().unwrap().to_owned();
    assert_eq!(message, "the following required arguments were not provided: <FILE>");
}
