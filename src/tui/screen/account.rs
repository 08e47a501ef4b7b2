//! The account at the end of a session: what was practised, in counts.

use ratatui::layout::Rect;
use ratatui::text::Line;

use super::super::app::App;
use super::super::frame::Frame;
use super::super::theme::Theme;
use super::page;
use crate::practice::View;

pub fn draw(account: &[String], app: &App, view: &View, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    let mut lines = vec![Line::styled(view.piece, theme.strong()), Line::default()];
    lines.extend(account.iter().flat_map(|line| folded(line, page.width.into())).map(Line::raw));
    list(&lines, app, page, frame);
}

/// Breaks a line that is wider than the page between its words; what goes on is set in a little. A word wider than the page is cut.
fn folded(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if Line::raw(line.as_str()).width() + 1 + Line::raw(word).width() <= width => *line += &format!(" {word}"),
            Some(_) => lines.push(format!("  {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Draws lines in a block of even margins, above the foot; a list longer than the screen moves with the arrow keys.
pub fn list(lines: &[Line], app: &App, page: Rect, frame: &mut Frame) {
    let room = Rect { height: page.height.saturating_sub(if page.height > 4 { 2 } else { 1 }), ..page };
    if room.is_empty() {
        return;
    }
    let widest = lines.iter().map(Line::width).max().unwrap_or(0).min(usize::from(room.width)) as u16;
    let n_rows = usize::from(room.height);
    let first = app.scroll.get().min(lines.len().saturating_sub(n_rows));
    app.scroll.set(first);
    let shown = &lines[first..lines.len().min(first + n_rows)];
    let x = room.x + (room.width - widest) / 2;
    let y = room.y + (room.height - shown.len() as u16) / 2;
    for (idx, line) in shown.iter().enumerate() {
        frame.render_widget(line, Rect { x, y: y + idx as u16, width: widest, height: 1 });
    }
    if first + shown.len() < lines.len() {
        let more = tr!("{} more: arrow keys", lines.len() - first - shown.len());
        frame.render_widget(
            Line::raw(more),
            Rect { x, y: room.bottom().min(frame.area().bottom() - 1), width: room.right() - x, height: 1 },
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wider_than_the_page_goes_on_below() {
        let line = "whole piece: held, one lapse; 8 of 16 bars played";
        assert_eq!(folded(line, 60), [line]);
        assert_eq!(folded(line, 24), ["whole piece: held, one", "  lapse; 8 of 16 bars", "  played"]);
        assert_eq!(folded("", 24), [""]);
        assert_eq!(folded("unbreakable", 4), ["unbreakable"]);
    }
}
