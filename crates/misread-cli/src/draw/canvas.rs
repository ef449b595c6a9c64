//! A line that is written at chosen columns.

use super::{Ink, Line};

/// One line of a picture while it is being made.
#[derive(Clone, Debug, Default)]
pub(super) struct Strip(Vec<(Ink, char)>);

impl Strip {
    /// Writes `text` from `column` on, over what is there.
    pub(super) fn put(&mut self, column: usize, ink: Ink, text: &str) {
        for (offset, c) in text.chars().enumerate() {
            let at = column + offset;
            if self.0.len() <= at {
                self.0.resize(at + 1, (Ink::Plain, ' '));
            }
            if let Some(cell) = self.0.get_mut(at) {
                *cell = (ink, c);
            }
        }
    }

    /// The first column that is not a space.
    pub(super) fn start(&self) -> usize {
        self.0.iter().take_while(|(_, c)| *c == ' ').count()
    }

    /// The column after the last one written.
    pub(super) fn end(&self) -> usize {
        self.0.len()
    }

    /// The finished line.
    pub(super) fn line(self) -> Line {
        let mut line = Line::default();
        for (ink, c) in self.0 {
            line.push(ink, c);
        }
        line
    }
}
