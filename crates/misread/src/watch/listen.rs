//! A thread that waits for the bytes.

use std::io::{self, ErrorKind, Read};
use std::sync::mpsc::SyncSender;
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// What the thread of [`listen`] has heard, and when: `now` is what its clock
/// said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Bytes have arrived.
    Bytes {
        /// The bytes, in order.
        bytes: Vec<u8>,
        /// When.
        now: i64,
    },
    /// Nothing has arrived for as long as the device waits at a time.
    Nothing {
        /// When.
        now: i64,
    },
    /// The device has failed or ended, and is now tried again and again.
    Lost {
        /// Why, in a few words.
        why: String,
        /// When.
        now: i64,
    },
    /// The device could be opened again.
    Back {
        /// When.
        now: i64,
    },
    /// There is no more; the thread is over.
    Ended {
        /// Why, in a few words, where that is not the end of the stream.
        why: Option<String>,
        /// When.
        now: i64,
    },
}

/// Begins a thread that reads a stream and hands on what it hears, so that the
/// front end is free for other things: [`Intake`](super::Intake) makes events
/// of it.
///
/// `reopen` is called when the stream fails or ends, again and again with
/// `pause` between, until it gives another; `None` where there is nothing to
/// open again, as with standard input. A stream that gives up waiting now and
/// then ([`TimedOut`](ErrorKind::TimedOut) or
/// [`WouldBlock`](ErrorKind::WouldBlock)) has not failed. `clock` says what
/// time it is, in nanoseconds from any zero.
///
/// What is heard goes over the channel, as any type that is made of it, so
/// that others may speak on it too. When nobody listens any more, the thread
/// ends with the next it has to say. A full channel makes it wait.
///
/// ```
/// use misread::watch::{Heard, listen};
/// use std::{io::Cursor, sync::mpsc::sync_channel, time::Duration};
///
/// let (sender, receiver) = sync_channel::<Heard>(4);
/// let log = Cursor::new("0110\n");
/// let reopen = None::<fn() -> std::io::Result<Cursor<&'static str>>>;
/// listen(log, reopen, Duration::ZERO, || 7, sender)?;
/// assert_eq!(receiver.recv()?, Heard::Bytes { bytes: b"0110\n".to_vec(), now: 7 });
/// assert_eq!(receiver.recv()?, Heard::Ended { why: None, now: 7 });
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
///
/// The thread cannot be started.
pub fn listen<R, M>(
    stream: R,
    reopen: Option<impl FnMut() -> io::Result<R> + Send + 'static>,
    pause: Duration,
    clock: impl Fn() -> i64 + Send + 'static,
    sender: SyncSender<M>,
) -> io::Result<JoinHandle<()>>
where
    R: Read + Send + 'static,
    M: From<Heard> + Send + 'static,
{
    let work = move || {
        // That nobody listens is how it usually ends.
        let _ = hear(stream, reopen, pause, clock, |heard| sender.send(heard.into()).ok());
    };
    thread::Builder::new().name("listen".to_owned()).spawn(work)
}

/// `None` when nobody listens any more.
fn hear<R: Read>(
    mut stream: R,
    mut reopen: Option<impl FnMut() -> io::Result<R>>,
    pause: Duration,
    clock: impl Fn() -> i64,
    say: impl Fn(Heard) -> Option<()>,
) -> Option<()> {
    let mut buffer = vec![0; 1 << 13];
    loop {
        let why = match stream.read(&mut buffer) {
            Ok(0) => None,
            Ok(n) => {
                let bytes = buffer.get(..n).unwrap_or_default().to_vec();
                say(Heard::Bytes { bytes, now: clock() })?;
                continue;
            }
            Err(error) => match error.kind() {
                ErrorKind::Interrupted => continue,
                ErrorKind::TimedOut | ErrorKind::WouldBlock => {
                    say(Heard::Nothing { now: clock() })?;
                    continue;
                }
                _ => Some(error.to_string()),
            },
        };
        let Some(reopen) = &mut reopen else {
            return say(Heard::Ended { why, now: clock() });
        };
        let why = why.unwrap_or_else(|| "it has ended".to_owned());
        say(Heard::Lost { why, now: clock() })?;
        // What is still open would keep its name from being given anew.
        drop(stream);
        stream = loop {
            thread::sleep(pause);
            match reopen() {
                Ok(stream) => break stream,
                Err(_) => say(Heard::Nothing { now: clock() })?,
            }
        };
        say(Heard::Back { now: clock() })?;
    }
}
