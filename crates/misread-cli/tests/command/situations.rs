//! What an installer meets, as a table run through the command.
//!
//! What each answer must say was written from what an expert installer would
//! say (common practice), without asking the command. The frames are made by
//! arithmetic of their own from the bit tables: SIA AC-01-1996.10 (from memory),
//! common practice, and for the 200-bit card the worked example of the
//! *Technical Implementation Guidance: Smart Card Enabled Physical Access
//! Control Systems*, v2.2, section 6.2.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;
use std::thread;

use serde::Deserialize;

use crate::command;

/// The table; its README says what each key holds.
const TABLE: &str = include_str!("../../../../testdata/situations/situations.toml");

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    situation: Vec<Situation>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Situation {
    name: String,
    #[serde(rename = "story")]
    _story: String,
    record: Option<String>,
    run: String,
    #[serde(default)]
    files: BTreeMap<String, String>,
    #[serde(default)]
    stdin: String,
    status: i32,
    sure: Option<f64>,
    first: Vec<String>,
    #[serde(default)]
    also: Vec<String>,
    #[serde(default)]
    no: Vec<String>,
    differs: Option<String>,
}

#[test]
fn every_situation_is_answered_as_an_expert_would() {
    let table: Table = toml::from_str(TABLE).unwrap();
    let all = table.situation.len();
    // Each run is a process: two at a time keep two cores busy.
    let wrong: Vec<String> = thread::scope(|scope| {
        let halves: Vec<_> = table
            .situation
            .chunks(all.div_ceil(2))
            .map(|half| scope.spawn(|| half.iter().filter_map(judge).collect::<Vec<_>>()))
            .collect();
        halves.into_iter().flat_map(|half| half.join().unwrap()).collect()
    });
    assert!(wrong.is_empty(), "{} of {all} situations:\n\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn names_are_given_once() {
    let table: Table = toml::from_str(TABLE).unwrap();
    let mut names: Vec<&str> = table.situation.iter().map(|one| one.name.as_str()).collect();
    names.sort_unstable();
    let count = names.len();
    names.dedup();
    assert_eq!(names.len(), count);
    assert!(count >= 60, "{count}");
}

/// What is wrong with the answer, and the answer; `None` where it is as wanted.
fn judge(situation: &Situation) -> Option<String> {
    let answer = answer(situation);
    let misses = misses(situation, &answer);
    let Situation { name, run, .. } = situation;
    match (&situation.differs, misses.is_empty()) {
        (None, true) | (Some(_), false) => None,
        (Some(reason), true) => Some(format!("{name}: holds now; drop `differs` ({reason})\n")),
        (None, false) => {
            Some(format!("{name}\n  {}\n  {run}\n{}", misses.join("\n  "), answer.text))
        }
    }
}

fn misses(wanted: &Situation, answer: &Answer) -> Vec<String> {
    let mut misses = Vec::new();
    if answer.status != wanted.status {
        misses.push(format!("status {}, not {}", answer.status, wanted.status));
    }
    let first = folded(answer.text.split("\n\n").next().unwrap_or_default());
    let mut rest = first.as_str();
    for words in &wanted.first {
        let words = folded(words);
        match rest.find(&words) {
            Some(at) => rest = &rest[at + words.len()..],
            None => misses.push(format!("first: no ‘{words}’, or not in its place")),
        }
    }
    if let Some(least) = wanted.sure {
        match sure(&first) {
            Some(sure) if sure >= least => {}
            Some(sure) => misses.push(format!("first: {sure}% sure, not at least {least}%")),
            None => misses.push(format!("first: not said how sure, at least {least}%")),
        }
    }
    let text = folded(&answer.text);
    for words in wanted.also.iter().filter(|&words| !text.contains(&folded(words))) {
        misses.push(format!("no ‘{words}’ anywhere"));
    }
    for words in wanted.no.iter().filter(|&words| text.contains(&folded(words))) {
        misses.push(format!("‘{words}’ is said"));
    }
    misses
}

/// What the command said, and its exit status.
struct Answer {
    text: String,
    status: i32,
}

fn answer(situation: &Situation) -> Answer {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in &situation.files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    if let Some(record) = &situation.record {
        let made = run(record, "", folder.path());
        assert_eq!(made.status, 0, "{record}: {}", made.text);
    }
    run(&situation.run, &situation.stdin, folder.path())
}

fn run(line: &str, input: &str, folder: &Path) -> Answer {
    let mut words = words(line).into_iter();
    assert_eq!(words.next().as_deref(), Some("misread"), "{line}");
    let piped = Stdio::piped;
    let mut child = command()
        .args(words)
        .current_dir(folder)
        .stdin(piped())
        .stdout(piped())
        .stderr(piped())
        .spawn()
        .unwrap();
    // What is piped in here fits a pipe; the command may end before it is read.
    child.stdin.take().unwrap().write_all(input.as_bytes()).ok();
    let output = child.wait_with_output().unwrap();
    let said = if output.stdout.is_empty() { output.stderr } else { output.stdout };
    Answer { text: String::from_utf8(said).unwrap(), status: output.status.code().unwrap() }
}

/// The words of a line as a shell would take them; quotes are single ones.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (at, part) in line.split('\'').enumerate() {
        if at % 2 == 1 {
            words.push(part.to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}

/// On one line, in small letters.
fn folded(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// The percentage before "% sure": "over 99.9% sure" is 99.9.
fn sure(first: &str) -> Option<f64> {
    let (before, _) = first.split_once("% sure")?;
    before.split_whitespace().next_back()?.parse().ok()
}
