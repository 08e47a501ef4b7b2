//! What a screen draws on: an empty screen that remembers which rows were drawn on.

use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::widgets::Widget;

/// An empty screen of some size, to draw on.
///
/// A practice screen leaves nearly all of itself empty. Knowing which rows it drew on, [`Canvas`](super::canvas::Canvas) has only those to
/// look at, and not twelve thousand cells for a stroke in the ribbon.
pub struct Frame<'a> {
    sheet: &'a mut Sheet,
}

impl<'a> Frame<'a> {
    pub fn new(sheet: &'a mut Sheet) -> Self {
        Frame { sheet }
    }

    pub fn area(&self) -> Rect {
        self.sheet.buffer.area
    }

    /// Draws a widget, which keeps to its area.
    pub fn render_widget(&mut self, widget: impl Widget, area: Rect) {
        let rows = area.intersection(self.area()).rows();
        rows.for_each(|row| self.sheet.is_drawn[usize::from(row.y)] = true);
        widget.render(area, &mut self.sheet.buffer);
    }

    /// Returns the cells, to draw anywhere; all rows then count as drawn on.
    pub fn buffer_mut(&mut self) -> &mut Buffer {
        self.sheet.is_drawn.fill(true);
        &mut self.sheet.buffer
    }
}

/// The cells of a [`Frame`], and which rows were drawn on. It is empty between two drawings.
pub struct Sheet {
    buffer: Buffer,
    is_drawn: Vec<bool>,
}

impl Sheet {
    pub fn new(area: Rect) -> Self {
        Sheet { buffer: Buffer::empty(Rect { x: 0, y: 0, ..area }), is_drawn: vec![false; usize::from(area.height)] }
    }

    pub fn area(&self) -> Rect {
        self.buffer.area
    }

    /// Takes what was drawn, row by row, each a buffer of its own; a row where nothing is to be seen has none.
    pub fn take_rows(&mut self) -> Vec<Option<Buffer>> {
        let area = Rect { height: 1, ..self.buffer.area };
        let rows = self.buffer.content.chunks_exact_mut(usize::from(area.width).max(1));
        let take = |(row, is_drawn): (&mut [Cell], &mut bool)| {
            if !std::mem::take(is_drawn) {
                debug_assert!(row.iter().all(|cell| *cell == Cell::EMPTY), "a widget drew outside of its area: {row:?}");
                return None;
            }
            let is_seen = row.iter().any(|cell| *cell != Cell::EMPTY);
            is_seen.then(|| Buffer { area, content: row.iter_mut().map(std::mem::take).collect() })
        };
        rows.zip(&mut self.is_drawn).map(take).collect()
    }
}

#[cfg(test)]
mod tests {
    use ratatui::text::Line;

    use super::*;

    #[test]
    fn what_was_drawn_is_taken_by_the_row_and_leaves_the_sheet_empty() {
        let area = Rect::new(0, 0, 6, 4);
        let mut sheet = Sheet::new(area);
        let mut frame = Frame::new(&mut sheet);
        frame.render_widget(Line::raw("one"), Rect { y: 1, height: 1, ..area });
        // An area that reaches over the edge, and one that is outside of the screen.
        frame.render_widget(Line::raw("two"), Rect { y: 3, height: 9, ..area });
        frame.render_widget(Line::raw("out"), Rect { y: 7, height: 1, ..area });
        // Drawn on, and nothing to be seen there.
        frame.render_widget(Line::raw(""), Rect { y: 2, height: 1, ..area });
        let row = |words| Some(Buffer::with_lines([words]));
        assert_eq!(sheet.take_rows(), [None, row("one   "), None, row("two   ")]);
        assert_eq!(sheet.take_rows(), [None, None, None, None]);
        assert_eq!(sheet.buffer, Buffer::empty(area));
    }
}
