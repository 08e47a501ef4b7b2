//! The question for a line of story: drafted lines to choose from, or the line being typed.

use ratatui::layout::Rect;
use ratatui::text::{Line, Span};

use super::super::app::App;
use super::super::frame::Frame;
use super::super::theme::Theme;
use crate::practice::Ask;

/// Widest that the lines are set.
const WIDTH_MAX: u16 = 72;
/// Rows that are left to what stands above.
const ROWS_ABOVE: u16 = 3;

/// Draws the question at the bottom of `room`, and returns what is left of it above. In a room too small for both, nothing is drawn.
pub fn draw(ask: &Ask, app: &App, theme: Theme, room: Rect, frame: &mut Frame) -> Rect {
    let heading = tr!("a line of story for {}", ask.place);
    let n_rows = match app.editor {
        Some(_) => 2,
        None => 1 + ask.drafts.len() as u16,
    };
    // While typing, the line goes before everything.
    let above = if app.editor.is_some() { 0 } else { ROWS_ABOVE };
    if room.height < n_rows + above {
        return room;
    }
    let widest = ask.drafts.iter().map(|draft| draft.chars().count() + 3).chain([heading.chars().count()]).max().unwrap_or(0);
    let width = if app.editor.is_some() { WIDTH_MAX } else { widest as u16 }.min(WIDTH_MAX).min(room.width);
    let air = u16::from(room.height >= n_rows + above + 2);
    let block = Rect { x: room.x + (room.width - width) / 2, y: room.bottom() - n_rows - air, width, height: n_rows };
    let mut rows = block.rows();
    if let Some(row) = rows.next() {
        frame.render_widget(Line::styled(heading, theme.quiet()), row);
    }
    if let Some(editor) = &app.editor {
        let row = Rect { y: block.y + 1, height: 1, ..block };
        frame.render_widget(Line::raw(">"), row);
        let line = Rect { x: row.x + 2.min(row.width), width: row.width.saturating_sub(2), ..row };
        editor.render(line, theme.strong(), frame.buffer_mut());
    } else {
        for (nth, (draft, row)) in ask.drafts.iter().zip(rows).enumerate() {
            let number = Span::styled(format!("{}  ", nth + 1), theme.strong());
            frame.render_widget(Line::from(vec![number, Span::raw(draft.as_str())]), row);
        }
    }
    Rect { height: block.y - room.y - air.min(block.y - room.y), ..room }
}
