//! The start screen: a list of pieces with what is known of each, and the keys at the foot.

use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};

use super::super::frame::Frame;
use super::super::start::{Card, KEYS, Start};
use super::super::theme::Theme;
use super::page;

pub fn draw(start: &Start, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    if page.is_empty() {
        return;
    }
    let session = tr!("session: {} minutes", start.minutes);
    let width = (session.chars().count() as u16).min(page.width);
    let head = Rect { height: 1, ..page };
    let left = Rect { width: page.width.saturating_sub(width + 1), ..head };
    frame.render_widget(Line::styled(tr!("what to practise"), theme.quiet()), left);
    frame.render_widget(Line::styled(session, theme.strong()), Rect { x: page.right() - width, width, ..head });
    let foot_rows = foot(start, theme, page, frame);
    let air = u16::from(page.height >= 14);
    let room = Rect { y: (page.y + 1 + air).min(page.bottom()), height: page.height.saturating_sub(1 + foot_rows + 2 * air), ..page };
    cards(start, theme, room, frame);
}

/// The keys, in as many rows as they take; above them what could not be done. Returns how many rows.
fn foot(start: &Start, theme: Theme, page: Rect, frame: &mut Frame) -> u16 {
    let keys: Vec<String> = KEYS.iter().map(|(key, words, _)| format!("{key} {}", tr!(words))).collect();
    let keys = keys.into_iter().chain([tr!("+ - minutes"), tr!("q close")]);
    let width = usize::from(page.width);
    let mut rows: Vec<String> = vec![String::new()];
    for key in keys {
        let row = rows.last_mut().expect("there is a row");
        if row.is_empty() {
            *row = key;
        } else if row.chars().count() + 3 + key.chars().count() <= width {
            *row += &format!("   {key}");
        } else {
            rows.push(key);
        }
    }
    let n_rows = (rows.len() as u16).min(page.height / 2);
    let area = Rect { y: page.bottom() - n_rows, height: n_rows, ..page };
    for (row, words) in area.rows().zip(&rows) {
        frame.buffer_mut().set_stringn(row.x, row.y, words, width, theme.quiet());
    }
    let Some(said) = &start.said else { return n_rows };
    if page.height > n_rows {
        frame.buffer_mut().set_stringn(page.x, area.y - 1, said, width, theme.strong());
    }
    n_rows + 1
}

fn lines<'a>(card: &'a Card, is_chosen: bool, theme: Theme) -> Vec<Line<'a>> {
    let mark = if is_chosen { "> " } else { "  " };
    // A title stands out from what is known of its piece, and the chosen one from all others.
    let (of_title, of_rest) = if is_chosen { (theme.strong(), Style::new()) } else { (Style::new(), theme.quiet()) };
    let title = Span::styled(card.title.as_str(), of_title);
    let mut lines = vec![Line::from(vec![Span::styled(mark, theme.here()), title]), Line::styled(format!("    {}", card.last), of_rest)];
    if !card.state.is_empty() {
        lines.push(Line::styled(format!("    {}", card.state), of_rest));
    }
    if is_chosen {
        lines.extend(card.planned.iter().map(|step| Line::raw(format!("    {}", tr!("today: {step}", step)))));
    }
    lines.push(Line::default());
    lines
}

/// The cards from the first that leaves the chosen one in sight.
fn cards(start: &Start, theme: Theme, room: Rect, frame: &mut Frame) {
    if start.cards.is_empty() {
        let words = [tr!("no piece yet"), tr!("make one of a score:  catchword add FILE")];
        for (row, words) in room.rows().zip(words) {
            frame.render_widget(Line::raw(words), row);
        }
        return;
    }
    let all: Vec<Vec<Line>> = start.cards.iter().enumerate().map(|(i, card)| lines(card, i == start.chosen, theme)).collect();
    let mut first = start.first.get().min(start.chosen);
    // The air below the last card may go.
    let height = |first: usize| all[first..=start.chosen].iter().map(Vec::len).sum::<usize>() - 1;
    while first < start.chosen && height(first) > usize::from(room.height) {
        first += 1;
    }
    start.first.set(first);
    for (row, line) in room.rows().zip(all[first..].iter().flatten()) {
        frame.render_widget(line, row);
    }
}
