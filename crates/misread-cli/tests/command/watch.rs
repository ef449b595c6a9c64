//! `misread watch`: reads that come slowly, in halves, and from a port that is
//! unplugged.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use insta::assert_snapshot;
use misread::pulse::{Level, Timing, send};

use crate::{SOUND, command, misread_with, spawn};

/// Facility 42, card 1234 with the data lines swapped.
const SWAPPED: &str = "01101010111111011001011011";

/// The answers, without when they were given.
fn timeless(text: &str) -> String {
    let line = |line: &str| match line.get(..9) {
        Some(time) if time.ends_with(" s") => format!("{:>9}{}\n", "… s", &line[9..]),
        _ => format!("{line}\n"),
    };
    text.lines().map(line).collect()
}

/// The rows of level changes that a reader makes of a frame, without the pulses
/// named.
fn rows(frame: &str, start: i64, without: &[usize]) -> String {
    let frame = frame.parse().unwrap();
    let changes = send(&frame, Timing::default(), start, Level::High).enumerate();
    let kept = changes.filter(|(i, _)| !without.contains(&(i / 2)));
    kept.map(|(_, change)| {
        format!("{},{},{}\n", change.time / 1000, change.line, change.level as u8)
    })
    .collect()
}

/// A command that is watched while it watches.
struct Watched {
    child: Child,
    stdin: ChildStdin,
    lines: Receiver<String>,
}

impl Watched {
    fn start(args: &[&str]) -> Self {
        let mut child = spawn([&["watch"], args].concat());
        let stdin = child.stdin.take().unwrap();
        let stdout = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = channel();
        thread::spawn(move || {
            stdout.lines().for_each(|line| drop(sender.send(line.unwrap())));
        });
        Watched { child, stdin, lines }
    }

    fn write(&mut self, text: &str) {
        self.stdin.write_all(text.as_bytes()).unwrap();
        self.stdin.flush().unwrap();
    }

    /// The next line of the answer that has this in it.
    fn wait_for(&self, wanted: &str) -> String {
        loop {
            let line = self.lines.recv_timeout(Duration::from_secs(60));
            let line = line.unwrap_or_else(|_| panic!("no answer has {wanted}"));
            if line.contains(wanted) {
                return line;
            }
        }
    }

    /// Standard error and the exit status, once nothing more comes.
    fn end(mut self) -> (String, i32) {
        drop(self.stdin);
        let mut said = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        (said, self.child.wait().unwrap().code().unwrap())
    }
}

#[test]
fn each_read_is_answered_in_a_line_and_all_at_the_end() {
    let table = format!(
        "time_s,bits,facility,card\n0,{SOUND},42,1234\n2,{SOUND},42,1234\n6,{SOUND},42,1234\n\
         9,{SWAPPED},42,1234\nfuel berth\n12,,42,1234\n"
    );
    let run = misread_with(["watch", "--among", "open-26"], &table);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("misread: line 6"), "{}", run.stderr);
    let stdout = timeless(&run.stdout);
    assert!(stdout.lines().all(|line| line.chars().count() <= 80));
    assert_snapshot!(stdout);
}

#[test]
fn reads_from_before_and_after_mending_are_not_taken_together() {
    let ends_with = |args: &[&str], reads: &[&str], title: &str, verdict: &str| {
        let stream = reads.join("\n") + "\n";
        let run = misread_with([&["watch"], args].concat(), &stream);
        let stdout = run.stdout;
        let answer = stdout.split_once("\n\n").unwrap().1;
        assert!(answer.starts_with(title), "{args:?} {reads:?}: {stdout}");
        let first: String = answer.lines().skip(1).take(2).collect::<Vec<_>>().join(" ");
        assert!(first.contains(verdict), "{args:?} {reads:?}: {stdout}");
    };
    let known = ["--expect", "facility=42,card=1234"];
    for args in [&[][..], &["--layout", "open-26"], &known] {
        for count in 1..=3 {
            // The conductors were swapped at the slipway gate, and are sound now.
            let reads = [vec![SWAPPED; 2], vec![SOUND; count]].concat();
            let title = match count {
                1 => "The last of 3 reads;".to_owned(),
                count => format!("The last {count} of {} reads;", count + 2),
            };
            ends_with(args, &reads, &title, "good");
        }
        // Of one read each, a change and a fault that comes and goes are as good.
        let run = misread_with([&["watch"], args].concat(), &format!("{SWAPPED}\n{SOUND}\n"));
        let says = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        let either = ["the read is good", "read 1 of 2 came with D0 and D1 swapped"];
        assert!(either.iter().any(|either| says.contains(either)), "{says}");
        // Swapped to see what happens, and put back; back and forth between all
        // reads: which of them came swapped is said.
        let there = [SOUND, SOUND, SWAPPED, SWAPPED, SOUND, SOUND];
        ends_with(args, &there, "All 6 reads together", "came with D0 and D1 swapped");
        for count in 3..=12 {
            let reads: Vec<&str> = [SOUND, SWAPPED].into_iter().cycle().take(count).collect();
            let title = format!("All {count} reads together");
            ends_with(args, &reads, &title, "with D0 and D1 swapped");
        }
        // A fault that comes and goes is one fault.
        let lost = format!("{}{}", &SOUND[..9], &SOUND[10..]);
        for pairs in 2..=6 {
            let title = format!("All {} reads together", 2 * pairs);
            ends_with(args, &[SOUND, &lost].repeat(pairs), &title, "D0");
        }
    }
}

#[test]
fn good_reads_are_status_0_and_none_is_status_2() {
    let run = misread_with(["watch", "--among", "open-26"], &format!("{SOUND}\n"));
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    for input in ["", "slipway\n", SOUND] {
        let run = misread_with(["watch"], input);
        assert_eq!(run.status, 2, "{run:?}");
        assert!(run.stderr.contains("no read came from standard input"), "{}", run.stderr);
    }
    let run = misread_with(["watch"], SOUND);
    assert!(run.stderr.contains("line 1: the line broke off"), "{}", run.stderr);
}

#[test]
fn what_comes_slowly_is_answered_at_once() {
    let mut watched = Watched::start(&["--among", "open-26", "--json"]);
    // The first line comes in halves, after something that is no read.
    watched.write("starting up\n");
    watched.wait_for("misread/error/1");
    watched.write(&SOUND[..9]);
    thread::sleep(Duration::from_millis(50));
    watched.write(&SOUND[9..]);
    watched.write("\n");
    watched.wait_for("\"card\":1234");
    // Level changes follow, and nothing behind them.
    let rows = rows(SWAPPED, 0, &[]);
    let (one, two) = rows.split_at(rows.len() / 2);
    watched.write(one);
    thread::sleep(Duration::from_millis(50));
    watched.write(two);
    let line = watched.wait_for(SWAPPED);
    let answer: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(answer["verdict"], "lines-swapped");
    assert_eq!(answer["repeat"], false);
    let (_, status) = watched.end();
    assert_eq!(status, 1);
}

#[test]
fn the_pulses_of_level_changes_are_weighed() {
    let json = |args: &[&str], rows: &str| {
        let args = [&["watch", "--json", "--among", "open-26"], args].concat();
        misread_with(args, rows).json()
    };
    // Two pulses on D0 do not arrive, and their beats are missing.
    let lost = rows(SOUND, 0, &[9, 13]);
    let answers = json(&[], &lost);
    let says = answers[0]["pulses"].to_string();
    assert!(says.contains("A beat of the reader is missing, which raises this"), "{says}");
    assert_eq!(answers[1]["schema"], "misread/explain/1");
    assert!(answers[1]["pulses"].to_string().contains("which raises this"));
    let bits = format!("{}{}{}", &SOUND[..9], &SOUND[10..13], &SOUND[14..]);
    let by_bits = json(&[], &format!("{bits}\n"));
    assert!(by_bits[0]["pulses"].is_null());
    let sure = |answers: &[serde_json::Value]| answers[0]["answer"]["probability"].as_f64();
    assert!(sure(&answers) > sure(&by_bits));
    // At the reader's conductors nothing between there and the panel shows.
    let swapped = rows(SWAPPED, 0, &[]);
    let at_panel = json(&["--probe-at", "panel"], &swapped);
    assert_eq!(at_panel[0]["verdict"], "lines-swapped");
    assert_ne!(json(&["--probe-at", "reader"], &swapped)[0]["verdict"], "lines-swapped");
}

#[test]
fn a_table_that_is_not_read_as_it_comes_is_said_once_with_what_reads_it() {
    let stream = format!("time_us,line,width\n0,D0,1\n100,D1,1\n200,D1,1\n{SOUND}\n");
    let run = misread_with(["watch", "--among", "open-26"], &stream);
    assert_eq!(run.status, 0, "{run:?}");
    assert_eq!(run.stderr.matches("misread: ").count(), 1, "{}", run.stderr);
    let said = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("line 1: a table with these headings is not read as it comes"), "{said}");
    assert!(said.contains("misread capture FILE"), "{said}");
}

#[test]
fn times_that_cannot_be_seconds_are_said_once_with_what_to_do() {
    let table = rows(SOUND, 0, &[]);
    let table = format!("time,line,level\n{table}");
    let run = misread_with(["watch", "--among", "open-26"], &table);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
    let said = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(said.matches("taken as seconds").count(), 1, "{said}");
    assert!(said.contains("such as time_us, or --time-unit"), "{said}");
    let run = misread_with(["watch", "--among", "open-26", "--time-unit", "us"], &table);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{run:?}");
    assert!(run.stdout.contains("card 1234"), "{}", run.stdout);
}

#[test]
fn a_record_holds_whole_lines() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("sail-loft.txt");
    fs::write(&file, "# sail loft").unwrap();
    let args = ["--record", file.to_str().unwrap(), "--mask"];
    let mut watched = Watched::start(&args);
    watched.write(&format!("{SOUND}\nslip"));
    watched.wait_for("good");
    assert_eq!(fs::read_to_string(&file).unwrap(), format!("# sail loft\n{SOUND}\n"));
    watched.write("way\r\n100101");
    watched.child.kill().unwrap();
    watched.child.wait().unwrap();
    let kept = fs::read_to_string(&file).unwrap();
    assert!(kept.ends_with('\n') && !kept.contains("100101\n"), "{kept}");
    // Whoever writes is killed instead.
    fs::remove_file(&file).unwrap();
    let (_, status) = {
        let mut watched = Watched::start(&args);
        watched.write(&format!("{SOUND}\nslipway\r\n100101"));
        watched.wait_for("good");
        watched.end()
    };
    assert_eq!(status, 0);
    assert_eq!(fs::read_to_string(&file).unwrap(), format!("{SOUND}\nslipway\r\n"));
    // What was recorded can be explained.
    let record = fs::File::open(&file).unwrap();
    let output = command().args(["explain", "-"]).stdin(record).output().unwrap();
    assert!(String::from_utf8(output.stdout).unwrap().contains("card 1234"));
}

#[test]
fn a_record_that_cannot_be_opened_stops_it_before_it_starts() {
    let folder = tempfile::tempdir().unwrap();
    let run =
        misread_with(["watch", "--record", folder.path().to_str().unwrap()], &format!("{SOUND}\n"));
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("cannot be written"), "{}", run.stderr);
}

#[test]
fn options_that_cannot_hold_are_refused_before_anything_comes() {
    for args in [
        &["--expect", "card=70000", "--among", "open-26"][..],
        &["--layout", "no-such"],
        &["--repeat-window", "-1"],
        &["--baud", "9600"],
        &["--device", "/no/such/port"],
    ] {
        let run = misread_with([&["watch"], args].concat(), &format!("{SOUND}\n"));
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{args:?}");
    }
}

#[test]
fn masked_answers_give_no_number_and_no_bit_away() {
    let lost = rows(SOUND, 0, &[9]);
    let stream = format!(
        "bits,card\n{SOUND},1234\n{SWAPPED},1234\n{SOUND},123456\n{SOUND},x1234\n0x0f0/8,7\n\
         {SOUND}01234\n{lost}time_us,line,level\n{lost}9999999,D0,1234\n{SOUND}"
    );
    for json in [&[][..], &["--json"]] {
        let args = [&["watch", "--mask", "--among", "open-26"], json].concat();
        let run = misread_with(args, &stream);
        for text in [&run.stdout, &run.stderr] {
            // One message always has this example of a number.
            let text = text.replace("decimal (1234)", "");
            assert!(!text.contains("1234") && !text.contains("64301"), "{text}");
            assert!(!text.contains("00001111"), "{text}");
            assert!(!text.contains("0000010") && !text.contains("1111101"), "{text}");
        }
        assert!(run.stdout.contains("••34"), "{}", run.stdout);
    }
}

/// On a pair of pseudo-terminals: one is plugged into the other.
#[cfg(target_os = "linux")]
mod port {
    use std::ffi::OsString;
    use std::fs::File;
    use std::os::unix::ffi::OsStringExt;
    use std::os::unix::fs::symlink;
    use std::path::Path;
    use std::process::{Command, Stdio};

    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

    use super::*;

    /// A pair of pseudo-terminals: one of them, and the name of the other.
    fn pair() -> (File, OsString) {
        // No command that is started may inherit it and keep it plugged in.
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let device = openpt(flags).unwrap();
        grantpt(&device).unwrap();
        unlockpt(&device).unwrap();
        let name = ptsname(&device, Vec::new()).unwrap();
        (File::from(device), OsString::from_vec(name.into_bytes()))
    }

    /// What is plugged into a port of that name; it is unplugged when dropped.
    fn plug_in(name: &Path) -> File {
        let (device, port) = pair();
        symlink(port, name).unwrap();
        device
    }

    /// The command as on a terminal of its own that reads are piped into; or, on
    /// the same terminal, with its answers piped on.
    fn at_a_terminal(name: &OsString, piped_on: bool) -> Child {
        // The first terminal that the leader of a new session opens is that
        // session's.
        let answers = if piped_on { "" } else { "1>&3 2>&3" };
        let script = format!("exec 3<>\"$TERMINAL\"; exec \"$@\" {answers}");
        let misread = command();
        let mut setsid = Command::new("setsid");
        setsid.args(["sh", "-c", &script, "sh"]).arg(misread.get_program());
        setsid.args(["watch", "--among", "open-26"]);
        for (name, value) in misread.get_envs() {
            match value {
                Some(value) => setsid.env(name, value),
                None => setsid.env_remove(name),
            };
        }
        setsid.env("TERMINAL", name).env("NO_COLOR", "1");
        let piped = Stdio::piped;
        setsid.stdin(piped()).stdout(piped()).stderr(piped()).spawn().unwrap()
    }

    /// Hands on what comes, a line at a time, until there is no more.
    fn lines_of(source: impl Read + Send + 'static) -> Receiver<String> {
        let (sender, lines) = channel();
        thread::spawn(move || {
            for line in BufReader::new(source).lines() {
                // The terminal of a session that is over fails.
                let Ok(line) = line else { return };
                drop(sender.send(line));
            }
        });
        lines
    }

    #[test]
    fn the_keys_work_while_reads_are_piped_in() {
        let (mut keys, name) = pair();
        let mut child = at_a_terminal(&name, false);
        let stdin = child.stdin.take().unwrap();
        let lines = lines_of(keys.try_clone().unwrap());
        let mut watched = Watched { child, stdin, lines };
        watched.wait_for("Watching standard input.");
        watched.wait_for("Enter explains all reads so far");
        watched.write(&format!("{SWAPPED}\n"));
        watched.wait_for("wrong  the data lines D0 and D1 are swapped");
        keys.write_all(b"\n").unwrap();
        watched.wait_for("The read");
        watched.wait_for("CAUTION");
        keys.write_all(b"n\n").unwrap();
        watched.wait_for("forgotten");
        watched.write(&format!("{SOUND}\n{SOUND}\n"));
        watched.wait_for("good");
        // The stream goes on, and it ends all the same.
        keys.write_all(b"q\n").unwrap();
        watched.wait_for("All 2 reads together");
        assert_eq!(watched.child.wait().unwrap().code(), Some(1));
    }

    #[test]
    fn no_key_is_taken_where_the_answers_go_elsewhere() {
        let (mut keys, name) = pair();
        let mut child = at_a_terminal(&name, true);
        let stdin = child.stdin.take().unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let mut watched = Watched { child, stdin, lines };
        watched.write(&format!("{SOUND}\n"));
        watched.wait_for("good");
        keys.write_all(b"q\n").unwrap();
        // It is there for whoever reads from the terminal.
        let shell = lines_of(File::open(&name).unwrap());
        assert_eq!(shell.recv_timeout(Duration::from_secs(60)).unwrap(), "q");
        watched.write(&format!("{SOUND}\n"));
        watched.wait_for("good");
        let (said, status) = watched.end();
        assert_eq!((said.as_str(), status), ("", 0));
    }

    #[test]
    fn a_port_may_be_unplugged_and_come_back() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("recorder");
        let file = folder.path().join("record.txt");
        let mut device = plug_in(&name);
        let path = name.to_str().unwrap();
        let mut watched = Watched::start(&[
            "--device",
            path,
            "--among",
            "open-26",
            "--record",
            file.to_str().unwrap(),
        ]);
        device.write_all(format!("{SOUND}\n").as_bytes()).unwrap();
        watched.wait_for("good   open-26: facility 42, card 1234");

        device.write_all(&SOUND.as_bytes()[..12]).unwrap();
        thread::sleep(Duration::from_millis(300));
        fs::remove_file(&name).unwrap();
        drop(device);
        let line = watched.wait_for("is gone");
        assert!(line.contains("recorder") || line.contains("trying"), "{line}");

        let mut device = plug_in(&name);
        watched.wait_for("is back");
        device.write_all(format!("{SWAPPED}\n").as_bytes()).unwrap();
        watched.wait_for("wrong  the data lines D0 and D1 are swapped");

        // Enter explains, n forgets, q ends.
        watched.write("\n");
        watched.wait_for("The last of 2 reads; something was changed before it");
        watched.write("n\n");
        watched.wait_for("forgotten");
        device.write_all(format!("{SWAPPED}\n").as_bytes()).unwrap();
        watched.wait_for("wrong");
        watched.write("q\n");
        watched.wait_for("The read");
        watched.wait_for("sure: the data lines D0 and D1 are swapped");
        watched.wait_for("CAUTION");
        let (said, status) = watched.end();
        assert_eq!(status, 1);
        assert!(said.contains("the line broke off"), "{said}");
        let kept = fs::read_to_string(&file).unwrap();
        assert_eq!(kept, format!("{SOUND}\n{SWAPPED}\n{SWAPPED}\n"));
    }
}
