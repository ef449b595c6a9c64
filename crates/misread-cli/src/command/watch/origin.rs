//! Where the bytes come from, a serial port or standard input, and the keyboard
//! beside them.

use std::fs::File;
use std::io::{self, BufRead, BufReader, IsTerminal};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;
use std::time::Duration;

use misread::watch::{Heard, listen};
use serialport::SerialPort;

use super::WatchArgs;
use crate::json::Place;
use crate::refusal::Refusal;

/// How long the port waits for a byte at a time.
const WAIT: Duration = Duration::from_millis(100);

/// How long until a port that is gone is tried again.
const PAUSE: Duration = Duration::from_millis(300);

/// How many messages may wait; then whoever sends has to.
const WAITING: usize = 16;

/// What the command is told while it watches.
pub(super) enum Message {
    /// From the stream.
    Heard(Heard),
    /// A line typed on the keyboard.
    Key(String),
}

impl From<Heard> for Message {
    fn from(heard: Heard) -> Self {
        Message::Heard(heard)
    }
}

/// Where the bytes come from.
pub(super) enum Origin {
    /// A serial port.
    Port { path: String, baud: u32 },
    /// Standard input.
    Stdin,
}

impl Origin {
    pub(super) fn of(args: &WatchArgs) -> Self {
        match &args.device {
            Some(path) => Origin::Port { path: path.clone(), baud: args.baud },
            None => Origin::Stdin,
        }
    }

    /// Opens it and begins to listen.
    ///
    /// # Errors
    ///
    /// It cannot be opened.
    pub(super) fn open(
        &self,
        clock: impl Fn() -> i64 + Send + 'static,
    ) -> Result<Receiver<Message>, Refusal> {
        let (sender, messages) = sync_channel(WAITING);
        let mut typed = io::stdin().is_terminal();
        let listening = match self {
            Origin::Port { path, baud } => {
                let port = open_port(path, *baud).map_err(|error| no_port(path, &error))?;
                let (path, baud) = (path.clone(), *baud);
                let reopen = move || open_port(&path, baud).map_err(io::Error::from);
                keyboard(BufReader::new(io::stdin()), sender.clone())
                    .and_then(|()| listen(port, Some(reopen), PAUSE, clock, sender))
            }
            Origin::Stdin if io::stdin().is_terminal() => {
                return Err(Refusal::new(
                    "there is nothing to watch",
                    "--device with a serial port, or reads on standard input",
                ));
            }
            Origin::Stdin => {
                let never = None::<fn() -> io::Result<io::Stdin>>;
                let terminal = terminal();
                typed = terminal.is_some();
                terminal
                    .map_or(Ok(()), |terminal| keyboard(BufReader::new(terminal), sender.clone()))
                    .and_then(|()| listen(io::stdin(), never, PAUSE, clock, sender))
            }
        };
        listening.map_err(|error| Refusal::new(format!("cannot listen: {error}"), ""))?;
        if typed {
            self.greet();
        }
        Ok(messages)
    }

    /// Its name in a sentence.
    pub(super) fn name(&self) -> &str {
        match self {
            Origin::Port { path, .. } => path,
            Origin::Stdin => "standard input",
        }
    }

    /// It stopped giving.
    pub(super) fn broke_off(&self, why: &str) -> Refusal {
        Refusal::new(format!("{} cannot be read: {why}", self.name()), "a stream of text")
    }

    /// No read came of it.
    pub(super) fn no_read(&self) -> Refusal {
        Refusal::new(
            format!("no read came from {}", self.name()),
            "a read a line, such as 10010101000000100110100100 or 0x95026900/26, or level changes \
             under the headings time_us,line,level, or levels under time_us,d0,d1; each line ends \
             with a line break",
        )
    }

    /// Says on a terminal what the keys do.
    fn greet(&self) {
        if !io::stderr().is_terminal() {
            return;
        }
        match self {
            Origin::Port { path, baud } => eprintln!("Watching {path} at {baud} baud."),
            Origin::Stdin => eprintln!("Watching standard input."),
        }
        eprintln!("Enter explains all reads so far, n and Enter forgets them, q and Enter ends.");
    }
}

fn open_port(path: &str, baud: u32) -> serialport::Result<Box<dyn SerialPort>> {
    serialport::new(path, baud).timeout(WAIT).open()
}

fn no_port(path: &str, error: &serialport::Error) -> Refusal {
    let ports = serialport::available_ports().unwrap_or_default();
    let names: Vec<&str> = ports.iter().map(|port| port.port_name.as_str()).collect();
    let expected = match names.as_slice() {
        [] => "a serial port that is plugged in and that you may use; none is to be seen".into(),
        names => format!("a serial port that you may use; to be seen are {}", names.join(", ")),
    };
    let place = Place { file: Some(path.to_owned()), ..Place::default() };
    Refusal::new(format!("cannot be opened: {error}"), expected).at(place)
}

/// The keyboard while the stream comes over standard input: that of the terminal
/// the answers are shown on. Where they go elsewhere nobody is asked for keys, and
/// what is typed there is meant for another program.
fn terminal() -> Option<File> {
    const NAME: &str = if cfg!(windows) { "CONIN$" } else { "/dev/tty" };
    io::stdout().is_terminal().then(|| File::open(NAME).ok())?
}

/// Hands on what is typed, for as long as there is a keyboard.
fn keyboard(typed: impl BufRead + Send + 'static, sender: SyncSender<Message>) -> io::Result<()> {
    let work = move || {
        for line in typed.lines() {
            let Ok(line) = line else { return };
            if sender.send(Message::Key(line)).is_err() {
                return;
            }
        }
    };
    thread::Builder::new().name("keyboard".to_owned()).spawn(work).map(|_| ())
}
