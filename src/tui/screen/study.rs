//! The study screen: the story, the map or the sections, what can be said of the thing chosen, and a foot with keys.

mod map;
mod sections;
mod story;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Widget;

use super::super::frame::Frame;
use super::super::study::keys::{Asked, KEYS};
use super::super::study::{App, Prompt};
use super::super::theme::Theme;
use super::super::widget::wrap;
use super::page;
use crate::study::{Room, View};

/// Rows of what is said of the thing chosen, on a small screen and on a large one.
const DETAIL_ROWS: (u16, u16) = (5, 9);
/// Screens of this many columns have the detail at the side.
const WIDE: u16 = 140;
const DETAIL_WIDTH: u16 = 64;

pub fn draw(app: &App, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    if page.is_empty() {
        return;
    }
    let view = app.study.view();
    let buf = frame.buffer_mut();
    let foot_rows = foot(app, &view, theme, page, buf);
    if app.help_open {
        return help(theme, Rect { height: page.height.saturating_sub(foot_rows + 1), ..page }, buf);
    }
    let head_rows = head(&view, theme, page, buf);
    let room = Rect { y: page.y + head_rows, height: page.height.saturating_sub(head_rows + foot_rows + 1), ..page };
    if room.height < 3 {
        return;
    }
    let (list, detail) = if page.width >= WIDE {
        let width = page.width - DETAIL_WIDTH - 3;
        rule(Rect { x: room.x + width + 1, width: 1, ..room }, "\u{2502}", theme, buf);
        (Rect { width, ..room }, Rect { x: room.x + width + 3, width: DETAIL_WIDTH, ..room })
    } else {
        let rows = if room.height >= 24 { DETAIL_ROWS.1 } else { DETAIL_ROWS.0 }.min(room.height / 2);
        let list = Rect { height: room.height - rows - 1, ..room };
        rule(Rect { y: list.bottom(), height: 1, ..room }, "\u{2500}", theme, buf);
        (list, Rect { y: list.bottom() + 1, height: rows, ..room })
    };
    let said = match view.room {
        Room::Story => story::draw(&view, theme, list, buf),
        Room::Map => map::draw(&view, theme, list, buf),
        Room::Sections => sections::draw(&view, theme, list, buf),
    };
    paragraphs(&said, detail, buf);
}

/// Title, rooms and whether all is saved; below it key, dialect and counts. Returns its rows.
fn head(view: &View, theme: Theme, page: Rect, buf: &mut Buffer) -> u16 {
    let mut rooms = Vec::new();
    for room in Room::ALL {
        let is_here = room == view.room;
        let text = if is_here { format!("[{}]", room.word()) } else { format!(" {} ", room.word()) };
        rooms.push(Span::styled(text, if is_here { theme.here() } else { theme.quiet() }));
        rooms.push(Span::raw(" "));
    }
    rooms.push(Span::styled(saved_word(view.is_saved), if view.is_saved { theme.quiet() } else { theme.strong() }));
    let right = Line::from(rooms);
    let width = right.width().min(usize::from(page.width)) as u16;
    right.render(Rect { x: page.right() - width, width, height: 1, ..page }, buf);
    let left = Rect { width: page.width.saturating_sub(width + 2), height: 1, ..page };
    cut(view.title, theme.strong(), left, buf);
    if page.height < 16 {
        return 1;
    }
    let dialect = view.dialect.words().0;
    let [n_drafts, n_kept, n_own] = view.n_lines;
    let counts = tr!("{n_own} yours, {n_kept} kept, {n_drafts} drafted", n_own, n_kept, n_drafts);
    let facts = format!("{}   {dialect}   {counts}", view.key);
    cut(&facts, theme.quiet(), Rect { y: page.y + 1, height: 1, ..page }, buf);
    3
}

/// Says whether all is saved; both sayings are as wide, so that the rooms beside them stay where they are.
fn saved_word(is_saved: bool) -> String {
    let (saved, not_saved) = (tr!("saved"), tr!("not saved"));
    let width = saved.chars().count().max(not_saved.chars().count());
    let word = if is_saved { saved } else { not_saved };
    format!("{word:>width$}")
}

/// What is being typed, what was said, or the keys. Returns its rows.
fn foot(app: &App, view: &View, theme: Theme, page: Rect, buf: &mut Buffer) -> u16 {
    let width = usize::from(page.width);
    let mut lines: Vec<(String, Style)> = Vec::new();
    let said = |words: &str, lines: &mut Vec<(String, Style)>| {
        let wrapped = wrap::by_sense(words, width, 4).unwrap_or_else(|| vec![words.to_owned()]);
        lines.extend(wrapped.into_iter().map(|line| (line, theme.strong())));
    };
    if let Some(words) = &app.said {
        said(words, &mut lines);
    }
    if app.is_leaving {
        said(&tr!("not saved: w save and close, x close and forget it, Esc stay"), &mut lines);
    } else if let Some(prompt) = &app.prompt {
        lines.push((tr!("{}:", prompt.asked.label()), theme.here()));
        lines.push((String::new(), Style::new()));
        lines.push((tr!("Enter take it   Esc leave it{words}", words = count_words(prompt)), theme.quiet()));
    } else if app.help_open {
        lines.push((tr!("any key: back"), theme.quiet()));
    } else {
        lines.push((hints(view.room, width), theme.quiet()));
    }
    let n_rows = (lines.len() as u16).min(page.height);
    let top = page.bottom() - n_rows;
    for (idx, (line, style)) in lines.iter().take(usize::from(n_rows)).enumerate() {
        let row = Rect { y: top + idx as u16, height: 1, ..page };
        if let Some(prompt) = app.prompt.as_ref().filter(|_| idx + 2 == lines.len()) {
            prompt.editor.render(row, theme.strong(), buf);
        } else {
            buf.set_stringn(row.x, row.y, line, width, *style);
        }
    }
    n_rows
}

/// Tells how many words a cue has: in large letters few are read at a glance.
fn count_words(prompt: &Prompt) -> String {
    match prompt.asked {
        Asked::Words | Asked::NewWords(_) => {
            let n = prompt.editor.text().split_whitespace().filter(|word| word.contains(char::is_alphanumeric)).count();
            tr!("   1 word: two to five are read at a glance" | "   {n} words: two to five are read at a glance" % n)
        }
        _ => String::new(),
    }
}

/// The keys of a room, as many as fit; help and close always.
fn hints(room: Room, width: usize) -> String {
    let hinted: Vec<String> = KEYS
        .iter()
        .filter(|k| k.room.is_none_or(|own| own == room))
        .filter_map(|k| k.hint().map(|hint| format!("{} {hint}", k.label)))
        .collect();
    let (own, always) = hinted.split_at(hinted.len() - 2);
    let always = always.join("   ");
    let ways = match room {
        Room::Story => tr!("Tab rooms"),
        Room::Map => tr!("Tab rooms   \u{2190} \u{2192} bars   \u{2191} \u{2193} marks   Enter its story"),
        Room::Sections => tr!("Tab rooms   \u{2190} \u{2192} bars"),
    };
    let mut out = String::new();
    for hint in [ways].iter().chain(own) {
        if (out.chars().count() + hint.chars().count() + always.chars().count() + 6) <= width {
            out.push_str(hint);
            out.push_str("   ");
        }
    }
    out + &always
}

fn help(theme: Theme, area: Rect, buf: &mut Buffer) {
    let rows: Vec<(&str, String)> = KEYS.iter().filter(|k| !k.label.is_empty()).map(|k| (k.label, k.help())).collect();
    for ((label, help), row) in rows.iter().zip(area.rows()) {
        buf.set_stringn(row.x, row.y, format!("{label:>5}"), 5, theme.strong());
        buf.set_stringn(row.x + 7.min(row.width), row.y, help, usize::from(row.width.saturating_sub(7)), Style::new());
    }
}

/// One paragraph of the detail.
pub struct Said {
    pub text: String,
    pub style: Style,
}

/// Sets paragraphs one below the other; what has no room is left out.
fn paragraphs(said: &[Said], area: Rect, buf: &mut Buffer) {
    let mut rows = area.rows();
    for paragraph in said {
        let width = usize::from(area.width);
        for line in filled(&paragraph.text, width) {
            let Some(row) = rows.next() else { return };
            buf.set_stringn(row.x, row.y, line, width, paragraph.style);
        }
    }
}

/// Fills lines one after the other, as prose is set; a word longer than a line stands alone and is cut at the edge.
fn filled(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Writes one line, with an ellipsis where it is cut.
fn cut(text: &str, style: Style, row: Rect, buf: &mut Buffer) {
    let line = Line::raw(text);
    let width = usize::from(row.width);
    if line.width() <= width {
        buf.set_stringn(row.x, row.y, text, width, style);
    } else if width > 0 {
        let (x, _) = buf.set_stringn(row.x, row.y, text, width - 1, style);
        buf.set_stringn(x, row.y, "\u{2026}", 1, style);
    }
}

fn rule(area: Rect, symbol: &str, theme: Theme, buf: &mut Buffer) {
    for position in area.positions() {
        buf[position].set_symbol(symbol).set_style(theme.quiet());
    }
}

/// The first of `n` rows to show, so that the one chosen is in the middle third or as near as the ends allow.
fn first_row(n: usize, chosen: usize, height: usize) -> usize {
    chosen.saturating_sub(height / 2).min(n.saturating_sub(height))
}

/// Marks in the last column that there is more above or below.
fn more_marks(first: usize, n: usize, area: Rect, theme: Theme, buf: &mut Buffer) {
    let x = area.right().saturating_sub(1);
    if first > 0 {
        buf[(x, area.y)].set_symbol("\u{2191}").set_style(theme.quiet());
    }
    if first + usize::from(area.height) < n {
        buf[(x, area.bottom() - 1)].set_symbol("\u{2193}").set_style(theme.quiet());
    }
}
