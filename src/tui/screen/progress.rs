//! A text longer than the screen, read by scrolling: how a piece stands.

use ratatui::layout::Rect;

use super::super::frame::Frame;
use super::super::theme::Theme;
use super::page;

/// Draws the lines from `first` on, or from as far down as still fills the screen; returns the line that it began with.
pub fn draw(lines: &[String], first: usize, theme: Theme, frame: &mut Frame) -> usize {
    let page = page(frame.area());
    let n_rows = n_rows(page);
    let first = first.min(lines.len().saturating_sub(n_rows));
    let width = usize::from(page.width);
    for (row, (idx, line)) in page.rows().take(n_rows).zip(lines.iter().enumerate().skip(first)) {
        let style = if idx == 0 { theme.strong() } else { ratatui::style::Style::default() };
        frame.buffer_mut().set_stringn(row.x, row.y, line, width, style);
    }
    if let Some(foot) = page.rows().next_back() {
        let is_all = lines.len() <= n_rows;
        let words = if is_all { tr!("q close") } else { tr!("arrow keys, space: further   q close") };
        frame.buffer_mut().set_stringn(foot.x, foot.y, words, width, theme.quiet());
    }
    first
}

/// Returns how many lines a page has room for, above its foot.
pub fn n_rows(page: Rect) -> usize {
    usize::from(page.height.saturating_sub(2))
}

#[cfg(test)]
mod tests {
    use ratatui::backend::TestBackend;

    use super::*;
    use crate::tui::canvas::Canvas;

    #[test]
    fn the_last_line_can_be_reached_and_nothing_below_it() {
        let lines: Vec<String> = (0..40).map(|n| format!("line {n}")).collect();
        for (width, height) in [(80, 24), (120, 40), (20, 6), (5, 1)] {
            let mut terminal = Canvas::new(TestBackend::new(width, height)).unwrap();
            let mut first = 0;
            terminal.draw(|frame| first = draw(&lines, 1000, Theme::new(false), frame)).unwrap();
            let shown = terminal.backend().to_string();
            assert_eq!(shown.contains("line 39"), height > 2 && width > 7, "{width}x{height}\n{shown}");
            assert!(first <= 40);
            terminal.draw(|frame| first = draw(&lines, 0, Theme::new(false), frame)).unwrap();
            assert_eq!(first, 0);
        }
    }
}
