//! Standard output: styled on a terminal, plain elsewhere.

use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};

use anstream::{AutoStream, ColorChoice};
use serde::Serialize;

use crate::draw::Line;

/// Standard output.
pub(crate) struct Output {
    writer: BufWriter<StdoutLock<'static>>,
    styled: bool,
    terminal: bool,
}

impl Output {
    /// Styled where it is a terminal and NO_COLOR is not set.
    pub(crate) fn new() -> Self {
        let stream = io::stdout();
        Output {
            styled: AutoStream::choice(&stream) != ColorChoice::Never,
            terminal: stream.is_terminal(),
            writer: BufWriter::with_capacity(1 << 16, stream.lock()),
        }
    }

    /// One line of plain text.
    pub(crate) fn text(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.writer, "{text}")?;
        self.line_done()
    }

    /// Lines of a drawing.
    pub(crate) fn lines<'a>(
        &mut self,
        lines: impl IntoIterator<Item = &'a Line>,
    ) -> io::Result<()> {
        for line in lines {
            if self.styled {
                writeln!(self.writer, "{}", line.styled())?;
            } else {
                writeln!(self.writer, "{line}")?;
            }
        }
        self.line_done()
    }

    /// One object on a line of its own.
    pub(crate) fn json(&mut self, value: &impl Serialize) -> io::Result<()> {
        serde_json::to_writer(&mut self.writer, value)?;
        writeln!(self.writer)?;
        self.line_done()
    }

    /// Bytes as they are.
    pub(crate) fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.writer.write_all(bytes)
    }

    /// Passes on what is held back.
    pub(crate) fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }

    fn line_done(&mut self) -> io::Result<()> {
        if self.terminal { self.writer.flush() } else { Ok(()) }
    }
}
