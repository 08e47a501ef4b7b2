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

    #[cfg(test)]
    pub fn backend_mut(&mut self) -> &mut B {
        &mut self.backend
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
        Ok(())
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
    use proptest::prelude::*;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;
    use ratatui::buffer::Cell;
    use ratatui::style::{Color, Modifier, Style};
    use ratatui::text::Span;

    use super::*;

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
        let words = prop_oneof!["[a-c ]{0,9}", "[\u{2500}\u{25ac}\u{4e00}\u{e9} ]{1,5}", Just("\u{2328}\u{fe0f} a".to_owned())];
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

    fn draw_on<B: Backend>(canvas: &mut Canvas<B>, words: &[Words]) -> Result<(), B::Error> {
        canvas.draw(|frame| draw(words, frame.area(), |span, row| frame.render_widget(span, row)))
    }

    /// What ratatui's own terminal shows when all of it is painted at once.
    fn repainted(words: &[Words], size: (u16, u16)) -> Buffer {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
        terminal.draw(|frame| draw(words, frame.area(), |span, row| frame.render_widget(span, row))).unwrap();
        terminal.backend().buffer().clone()
    }

    /// What is to be seen of a screen: what a wide character covers is not.
    fn seen(buffer: &Buffer) -> Vec<(Position, &str, Style)> {
        let mut free_from = Position::ORIGIN;
        let mut cells = Vec::new();
        for (at, cell) in buffer.area.positions().zip(&buffer.content) {
            if at.y > free_from.y || at.x >= free_from.x {
                cells.push((at, cell.symbol(), cell.style()));
                free_from = Position { x: at.x + Span::raw(cell.symbol()).width().max(1) as u16, ..at };
            }
        }
        cells
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]
        #[test]
        fn after_any_screens_and_sizes_the_terminal_shows_the_last_one_as_if_it_were_the_first(
            screens in prop::collection::vec((screen(), prop::option::weighted(0.2, (1u16..24, 1u16..9)), any::<bool>()), 1..6)
        ) {
            let mut canvas = Canvas::new(TestBackend::new(20, 6)).unwrap();
            let mut size = (20, 6);
            for (words, new_size, is_taken_again) in &screens {
                if let Some((width, height)) = *new_size {
                    size = (width, height);
                    canvas.backend_mut().resize(width, height);
                }
                // Another program had the terminal and left its own things there.
                if *is_taken_again {
                    let mark = Cell::new("!");
                    canvas.backend_mut().draw([(0, 0, &mark)].into_iter()).unwrap();
                    canvas.draw_anew().unwrap();
                }
                draw_on(&mut canvas, words).unwrap();
                let expected = repainted(words, size);
                prop_assert_eq!(seen(canvas.backend().buffer()), seen(&expected));
            }
        }
    }

    #[test]
    fn a_screen_that_did_not_change_writes_nothing() {
        let mut canvas = Canvas::new(TestBackend::new(20, 6)).unwrap();
        let words = [("bar 3".to_owned(), 0, 0, Style::new())];
        draw_on(&mut canvas, &words).unwrap();
        let mark = Cell::new("!");
        canvas.backend_mut().draw([(0, 0, &mark)].into_iter()).unwrap();
        draw_on(&mut canvas, &words).unwrap();
        assert_eq!(canvas.backend().buffer()[(0, 0)], mark);
    }
}
