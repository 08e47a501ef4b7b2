//! The screen that stands on a terminal, and the shortest way from it to the next one.
//!
//! Ratatui's `Terminal` compares two whole screens and wipes one for every drawing: a quarter of a millisecond and 1.7 MB of memory at
//! 200x60, when a note moves a stroke in the ribbon. Here only rows that have something, or had, are looked at. The comparison of two rows,
//! with all that wide characters ask for, is ratatui's own.

use ratatui::backend::{Backend, ClearType};
use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect, Size};

use super::frame::{Frame, Sheet};

/// A terminal and what stands on it.
pub struct Canvas<B: Backend> {
    backend: B,
    sheet: Sheet,
    /// What stands in each row; nothing in an empty one.
    shown: Vec<Option<Buffer>>,
    /// An empty row.
    blank: Buffer,
}

impl<B: Backend> Canvas<B> {
    /// Begins with an empty terminal.
    ///
    /// # Errors
    /// When the terminal does not tell its size.
    pub fn new(backend: B) -> Result<Self, B::Error> {
        let size = backend.size()?;
        let mut canvas = Canvas { backend, sheet: Sheet::new(Rect::ZERO), shown: Vec::new(), blank: Buffer::empty(Rect::ZERO) };
        canvas.lay_out(size);
        Ok(canvas)
    }

    #[cfg(test)]
    pub fn backend(&self) -> &B {
        &self.backend
    }

    /// Draws a screen, and writes what of it differs from what stands there: at once, and nothing where nothing does. After a change of
    /// size all is written.
    ///
    /// # Errors
    /// When the terminal refuses.
    pub fn draw(&mut self, draw: impl FnOnce(&mut Frame)) -> Result<(), B::Error> {
        let size = self.backend.size()?;
        if size != self.sheet.area().as_size() {
            self.clear(size)?;
        }
        draw(&mut Frame::new(&mut self.sheet));
        let drawn = self.sheet.take_rows();
        let blank = &self.blank;
        let rows = self.shown.iter().zip(&drawn).zip(0u16..).filter(|((before, after), _)| before.is_some() || after.is_some());
        let mut changed = rows
            .flat_map(|((before, after), y)| {
                let cells = before.as_ref().unwrap_or(blank).diff_iter(after.as_ref().unwrap_or(blank));
                cells.map(move |(x, _, cell)| (x, y, cell))
            })
            .peekable();
        if changed.peek().is_some() {
            self.backend.draw(changed)?;
            self.backend.flush()?;
        }
        self.shown = drawn;
        Ok(())
    }

    /// Clears the screen, so that all of it is drawn next: after another program had it, and after its size changed. A size that changed
    /// there and back before it was looked at is the same, but what stood on the screen was cut off.
    ///
    /// # Errors
    /// When the terminal refuses.
    pub fn draw_anew(&mut self) -> Result<(), B::Error> {
        let size = self.backend.size()?;
        self.clear(size)
    }

    fn clear(&mut self, size: Size) -> Result<(), B::Error> {
        self.backend.clear_region(ClearType::All)?;
        self.lay_out(size);
        // An empty screen that follows writes nothing of its own.
        self.backend.flush()
    }

    fn lay_out(&mut self, size: Size) {
        let area = Rect::from((Position::ORIGIN, size));
        self.sheet = Sheet::new(area);
        self.shown = vec![None; usize::from(size.height)];
        self.blank = Buffer::empty(Rect { height: 1, ..area });
    }
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::io;
    use std::rc::Rc;

    use proptest::prelude::*;
    use ratatui::Terminal;
    use ratatui::backend::{CrosstermBackend, WindowSize};
    use ratatui::buffer::Cell;
    use ratatui::style::{Color, Modifier, Style};
    use ratatui::text::Span;

    use super::*;

    /// A terminal that does what is written to it: the one of the vt100 library.
    #[derive(Clone)]
    struct Glass(Rc<RefCell<vt100::Parser>>);

    impl Glass {
        fn new((width, height): (u16, u16)) -> Self {
            Glass(Rc::new(RefCell::new(vt100::Parser::new(height, width, 0))))
        }

        fn resize(&self, (width, height): (u16, u16)) {
            self.0.borrow_mut().screen_mut().set_size(height, width);
        }

        fn write(&self, words: &str) {
            self.0.borrow_mut().process(words.as_bytes());
        }

        /// What is to be seen: of an empty cell only what is behind it.
        fn seen(&self) -> Vec<String> {
            let parser = self.0.borrow();
            let (n_rows, n_columns) = parser.screen().size();
            let cells = (0..n_rows).flat_map(|row| (0..n_columns).map(move |column| (row, column)));
            cells
                .map(|(row, column)| {
                    let cell = parser.screen().cell(row, column).unwrap();
                    let ground = format!("{row},{column} {:?} {}", cell.bgcolor(), cell.inverse());
                    match cell.contents().trim() {
                        "" => ground,
                        words => format!("{ground} {words} {:?} {}", cell.fgcolor(), cell.bold()),
                    }
                })
                .collect()
        }
    }

    impl io::Write for Glass {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.borrow_mut().process(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl Backend for Glass {
        type Error = io::Error;

        fn draw<'a, I: Iterator<Item = (u16, u16, &'a Cell)>>(&mut self, content: I) -> io::Result<()> {
            CrosstermBackend::new(self).draw(content)
        }

        fn hide_cursor(&mut self) -> io::Result<()> {
            Ok(())
        }

        fn show_cursor(&mut self) -> io::Result<()> {
            Ok(())
        }

        fn get_cursor_position(&mut self) -> io::Result<Position> {
            Ok(Position::ORIGIN)
        }

        fn set_cursor_position<P: Into<Position>>(&mut self, _: P) -> io::Result<()> {
            Ok(())
        }

        fn clear(&mut self) -> io::Result<()> {
            self.clear_region(ClearType::All)
        }

        fn clear_region(&mut self, region: ClearType) -> io::Result<()> {
            CrosstermBackend::new(self).clear_region(region)
        }

        fn size(&self) -> io::Result<Size> {
            let (height, width) = self.0.borrow().screen().size();
            Ok(Size { width, height })
        }

        fn window_size(&mut self) -> io::Result<WindowSize> {
            Ok(WindowSize { columns_rows: self.size()?, pixels: Size::ZERO })
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// Words, where, and how they look.
    type Words = (String, u16, u16, Style);

    fn style() -> impl Strategy<Value = Style> {
        prop_oneof![
            Just(Style::new()),
            Just(Style::new().add_modifier(Modifier::BOLD)),
            Just(Style::new().add_modifier(Modifier::REVERSED)),
            Just(Style::new().fg(Color::Cyan).bg(Color::Blue)),
        ]
    }

    fn screen() -> impl Strategy<Value = Vec<Words>> {
        let words = prop_oneof!["[a-c ]{0,9}", "[\u{2500}\u{25ac}\u{4e00}\u{e9} ]{1,5}"];
        prop::collection::vec((words, 0u16..22, 0u16..8, style()), 0..5)
    }

    fn draw(words: &[Words], area: Rect, mut render: impl FnMut(Span, Rect)) {
        for (text, x, y, style) in words {
            let row = Rect { x: *x, y: *y, width: 20, height: 1 }.intersection(area);
            if !row.is_empty() {
                render(Span::styled(text.as_str(), *style), row);
            }
        }
    }

    fn draw_on(canvas: &mut Canvas<Glass>, words: &[Words]) {
        canvas.draw(|frame| draw(words, frame.area(), |span, row| frame.render_widget(span, row))).unwrap();
    }

    /// What is to be seen when ratatui's own terminal paints all of it at once.
    fn repainted(words: &[Words], size: (u16, u16)) -> Vec<String> {
        let glass = Glass::new(size);
        let mut terminal = Terminal::new(glass.clone()).unwrap();
        terminal.draw(|frame| draw(words, frame.area(), |span, row| frame.render_widget(span, row))).unwrap();
        glass.seen()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]
        #[test]
        fn after_any_screens_and_sizes_the_terminal_shows_the_last_one_as_if_it_were_the_first(
            screens in prop::collection::vec((screen(), prop::option::weighted(0.2, (2u16..24, 2u16..9)), any::<bool>()), 1..6)
        ) {
            let mut size = (20, 6);
            let glass = Glass::new(size);
            let mut canvas = Canvas::new(glass.clone()).unwrap();
            for (words, new_size, is_taken_again) in &screens {
                if let Some(new_size) = *new_size {
                    size = new_size;
                    glass.resize(size);
                }
                if *is_taken_again {
                    // What another program left.
                    glass.write("\x1b[H!!");
                    canvas.draw_anew().unwrap();
                }
                draw_on(&mut canvas, words);
                prop_assert_eq!(glass.seen(), repainted(words, size));
            }
        }
    }

    #[test]
    fn a_screen_that_did_not_change_writes_nothing() {
        let glass = Glass::new((20, 6));
        let mut canvas = Canvas::new(glass.clone()).unwrap();
        let words = [("bar 3".to_owned(), 0, 0, Style::new())];
        draw_on(&mut canvas, &words);
        glass.write("\x1b[H!");
        draw_on(&mut canvas, &words);
        assert!(glass.0.borrow().screen().contents().starts_with("!ar 3"));
    }
}
