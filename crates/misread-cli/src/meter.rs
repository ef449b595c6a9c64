//! Telling how far long work has come, on a terminal.

use std::io::{IsTerminal, Write};
use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use misread::diagnose::Progress;

/// Says how far the work has come, on a terminal, once it takes long.
pub(crate) struct Meter {
    work: &'static str,
    since: Instant,
    shown: bool,
    terminal: bool,
}

impl Meter {
    const PATIENCE: Duration = Duration::from_millis(700);

    /// `work` says what is being done: "weighing the causes".
    pub(crate) fn new(work: &'static str) -> Self {
        let terminal = std::io::stderr().is_terminal();
        Meter { work, since: Instant::now(), shown: false, terminal }
    }

    /// Never asks to stop.
    pub(crate) fn show(&mut self, progress: Progress) -> ControlFlow<()> {
        if self.terminal && self.since.elapsed() > Self::PATIENCE {
            self.shown = true;
            let percent = 100 * progress.done / progress.of.max(1);
            // Nobody is left to tell when standard error is gone.
            let _ = write!(std::io::stderr(), "\r{}: {percent:3}%", self.work);
        }
        ControlFlow::Continue(())
    }

    /// Takes the line away again.
    pub(crate) fn clear(&self) {
        if self.shown {
            let width = self.work.chars().count() + 6;
            let _ = write!(std::io::stderr(), "\r{:width$}\r", "");
        }
    }
}
