//! The way of every drawn cell to the terminal: what would steer it is taken out, names and lines come from files that may be anybody's.
//!
//! Only cells that changed come by here. Looking through all of a large screen before each drawing was a tenth of all that the program
//! did in a drill.

use std::borrow::Cow;
use std::io::{self, Write};

use ratatui::backend::{Backend, ClearType, CrosstermBackend, WindowSize};
use ratatui::buffer::Cell;
use ratatui::layout::{Position, Size};

use crate::report::plain_text::{is_hidden, plain};

/// A terminal that is sent nothing but what is to be seen, and the sequences that put it there.
#[derive(Debug)]
pub struct Gate<W: Write>(CrosstermBackend<W>);

impl<W: Write> Gate<W> {
    pub fn new(out: W) -> Self {
        Gate(CrosstermBackend::new(out))
    }
}

impl<W: Write> Backend for Gate<W> {
    type Error = io::Error;

    fn draw<'a, I>(&mut self, content: I) -> io::Result<()>
    where
        I: Iterator<Item = (u16, u16, &'a Cell)>,
    {
        let shown: Vec<_> = content.map(|(x, y, cell)| (x, y, plain_cell(cell))).collect();
        self.0.draw(shown.iter().map(|(x, y, cell)| (*x, *y, cell.as_ref())))
    }

    fn hide_cursor(&mut self) -> io::Result<()> {
        self.0.hide_cursor()
    }

    fn show_cursor(&mut self) -> io::Result<()> {
        self.0.show_cursor()
    }

    fn get_cursor_position(&mut self) -> io::Result<Position> {
        self.0.get_cursor_position()
    }

    fn set_cursor_position<P: Into<Position>>(&mut self, position: P) -> io::Result<()> {
        self.0.set_cursor_position(position)
    }

    fn clear(&mut self) -> io::Result<()> {
        self.0.clear()
    }

    fn clear_region(&mut self, clear_type: ClearType) -> io::Result<()> {
        self.0.clear_region(clear_type)
    }

    fn size(&self) -> io::Result<Size> {
        // Asked before every drawing; what is drawn on is at hand, and need not be opened by its name first.
        #[cfg(unix)]
        if let Ok(size) = rustix::termios::tcgetwinsize(io::stdout())
            && size.ws_col > 0
            && size.ws_row > 0
        {
            return Ok(Size::new(size.ws_col, size.ws_row));
        }
        self.0.size()
    }

    fn window_size(&mut self) -> io::Result<WindowSize> {
        self.0.window_size()
    }

    fn flush(&mut self) -> io::Result<()> {
        Backend::flush(&mut self.0)
    }
}

fn plain_cell(cell: &Cell) -> Cow<'_, Cell> {
    if !cell.symbol().contains(is_hidden) {
        return Cow::Borrowed(cell);
    }
    let mut shown = cell.clone();
    shown.set_symbol(&plain(cell.symbol()));
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_steer_the_terminal_is_shown_as_not_to_be_shown() {
        let (mut bytes, mut cells) = (Vec::new(), Vec::new());
        for symbol in ["a", "\u{1b}", "\u{9b}", "\u{202e}", "b\u{7}", "\u{e9}"] {
            let mut cell = Cell::EMPTY;
            cell.set_symbol(symbol);
            cells.push(cell);
        }
        Gate::new(&mut bytes).draw(cells.iter().enumerate().map(|(x, cell)| (x as u16, 0, cell))).unwrap();
        let written = String::from_utf8(bytes).unwrap();
        assert!(written.contains("a\u{fffd}\u{fffd}\u{fffd}b\u{fffd}\u{e9}"), "{written:?}");
    }
}
