//! Reads from standard input and files, however many.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::Stdio;

use crate::{SOUND, command, misread, misread_with, spawn};

#[test]
fn good_lines_are_answered_around_bad_ones() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("sail-loft.txt");
    let text = format!("# sail loft\n{SOUND}\n\n10x\r\n07:15 door: {SOUND}\r\n");
    fs::write(&file, &text).unwrap();
    let run = misread(["decode", "--reads", file.to_str().unwrap()]);
    assert_eq!(run.status, 2);
    assert_eq!(
        run.stdout,
        "   2  open-26: facility 42, card 1234\n   5  open-26: facility 42, card 1234\n"
    );
    assert!(run.stderr.contains("sail-loft.txt, line 4, column 3"), "{}", run.stderr);
    for args in [&["decode"][..], &["decode", "-"]] {
        let run = misread_with(args, &text);
        assert_eq!((run.status, run.stdout.lines().count()), (2, 2));
    }
    let run = misread_with(["decode", "--json"], &text);
    let lines: Vec<_> = run.json().iter().map(|answer| answer["line"].as_u64()).collect();
    assert_eq!(lines, [Some(2), None, Some(5)]);
}

#[test]
fn bad_lines_are_capped_and_counted() {
    let text = "x\n".repeat(50) + SOUND + "\n";
    let run = misread_with(["decode", "--csv", "--layout", "open-26"], &text);
    assert_eq!(run.status, 2);
    assert_eq!(run.stdout.lines().count(), 2);
    assert_eq!(run.stderr.matches("is not a bit").count(), 20);
    assert!(run.stderr.contains("50 lines are no reads; the first 20 are named above"));
}

#[test]
fn csv_is_the_same_fast_and_patient() {
    let plain = format!("{SOUND}\n").repeat(3);
    let spaced = format!("{} {}\n", &SOUND[..5], &SOUND[5..]).repeat(3);
    for options in [&["decode", "--csv"][..], &["decode", "--csv", "--layout", "open-26"]] {
        assert_eq!(misread_with(options, &plain).stdout, misread_with(options, &spaced).stdout);
    }
}

#[test]
fn lines_are_answered_as_they_come() {
    for options in [
        &["decode"][..],
        &["decode", "--json"],
        &["decode", "--csv"],
        &["watch", "--among", "open-26"],
    ] {
        let mut child =
            command().args(options).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let mut stdout = BufReader::new(child.stdout.take().unwrap());
        writeln!(stdin, "{SOUND}").unwrap();
        let mut line = String::new();
        while !line.contains("1234") {
            line.clear();
            assert!(stdout.read_line(&mut line).unwrap() > 0);
        }
        drop(stdin);
        assert!(child.wait().unwrap().success());
    }
}

#[test]
fn a_closed_pipe_is_no_error() {
    for options in [&["decode"][..], &["decode", "--json"], &["decode", "--csv"]] {
        let mut child = spawn(options);
        let mut stdin = child.stdin.take().unwrap();
        drop(child.stdout.take().unwrap());
        let text = format!("{SOUND}\n").repeat(50_000);
        let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()).ok());
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        assert_eq!((child.wait().unwrap().code(), said.as_str()), (Some(0), ""), "{options:?}");
        writer.join().unwrap();
    }
}

#[test]
fn a_line_without_end_takes_no_memory() {
    let text = "1".repeat(5_000_000) + "\n" + SOUND + "\n";
    let run = misread_with(["decode"], &text);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("line 1: longer than"), "{}", run.stderr);
    assert!(run.stdout.contains("   2  open-26"));
}

#[test]
fn bytes_that_are_no_text_are_refused_with_their_place() {
    let mut child = command()
        .arg("decode")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"10\xff1\n1001\n").unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().contains("line 1, column 3"));
    assert_eq!(String::from_utf8(output.stdout).unwrap(), "   2  key-4: key 9\n");
}

#[test]
fn csv_agrees_with_arithmetic_on_the_characters() {
    // The second way: numbers by the standard library's parser, parity by
    // counting characters; the bit table of SIA AC-01-1996.10, from memory.
    let mut state = 7u64;
    let mut lines = Vec::new();
    for _ in 0..2000 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        lines.push(format!("{:026b}", state >> 38));
    }
    let run = misread_with(["decode", "--csv", "--layout", "open-26"], &lines.join("\n"));
    let mut expected = "line,bits,length,layout,ok,facility,card\n".to_owned();
    let mut good = 0;
    for (i, line) in lines.iter().enumerate() {
        let ones = |part: &str| part.matches('1').count();
        let number = |part: &str| u64::from_str_radix(part, 2).unwrap();
        let ok = ones(&line[..13]) % 2 == 0 && ones(&line[13..]) % 2 == 1;
        good += usize::from(ok);
        let fields = if ok {
            format!("true,{},{}", number(&line[1..9]), number(&line[9..25]))
        } else {
            "false,,".to_owned()
        };
        expected.push_str(&format!("{},{line},26,open-26,{fields}\n", i + 1));
    }
    // A random frame passes both parity bits once in four (derived).
    assert!((400..600).contains(&good), "{good}");
    assert_eq!(run.stdout, expected);
    assert_eq!(run.status, 1);
}

#[test]
fn a_table_is_decoded_by_its_column_of_bits() {
    let table = format!("\"facility\",\"bits\"\n\"4,2\",\"{SOUND}\"\n7,\n8\n");
    for csv in [false, true] {
        let args = if csv { &["decode", "--csv", "-"][..] } else { &["decode", "-"] };
        let run = misread_with(args, &table);
        assert_eq!(run.status, 2, "{run:?}");
        assert!(run.stdout.contains("42") && run.stdout.contains("1234"), "{run:?}");
        assert!(run.stderr.contains("line 3"), "{run:?}");
        assert!(run.stderr.contains("line 4: the row ends before its cell bits"), "{run:?}");
        assert!(!run.stderr.contains("line 1"), "{run:?}");
    }
}
