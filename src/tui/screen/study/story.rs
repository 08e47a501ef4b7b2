//! The story by section: each line with how it stands, its place, its hand, its words and why it is there.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::theme::Theme;
use super::{Said, cut, first_row, more_marks};
use crate::study::view::LineView;
use crate::study::{Standing, View};

enum Row {
    Section(String),
    Line(usize),
    Air,
}

/// First column of how a line stands, and of its place.
const STANDING: u16 = 2;
const PLACE: u16 = 12;
/// Columns that reasons need to be worth showing.
const REASON_MIN: u16 = 20;

/// First columns and widths of what follows the place; hands have a column only where one is named.
struct Columns {
    place: u16,
    hand: u16,
    words: u16,
    words_width: u16,
}

impl Columns {
    fn of(view: &View, width: u16) -> Columns {
        let widest = |of: &dyn Fn(&LineView) -> usize| view.lines.iter().map(of).max().unwrap_or(0) as u16;
        let place = widest(&|l| l.place.chars().count());
        let hand = PLACE + place + 2;
        let hands = widest(&|l| l.hand.chars().count());
        let words = hand + if hands > 0 { hands + 2 } else { 0 };
        let (room, wanted) = (width.saturating_sub(words), widest(&|l| l.text.chars().count()));
        let beside_reason = room.saturating_sub(2 + REASON_MIN);
        // Words come before reasons.
        let words_width = if wanted <= beside_reason { wanted } else { wanted.min(room.saturating_sub(2)) };
        Columns { place, hand, words, words_width }
    }
}

/// Draws the list; returns what there is to say of the line chosen.
pub fn draw(view: &View, theme: Theme, area: Rect, buf: &mut Buffer) -> Vec<Said> {
    let rows = rows(view, area.height >= 20);
    let chosen = rows.iter().position(|row| matches!(row, Row::Line(idx) if *idx == view.line)).unwrap_or(0);
    let first = first_row(rows.len(), chosen, usize::from(area.height));
    let columns = Columns::of(view, area.width);
    for (row, at) in rows[first..].iter().zip(area.rows()) {
        match row {
            Row::Air => {}
            Row::Section(words) => cut(words, theme.strong(), at, buf),
            Row::Line(idx) => line(view, *idx, &columns, theme, at, buf),
        }
    }
    more_marks(first, rows.len(), area, theme, buf);
    detail(view, theme)
}

fn rows(view: &View, with_air: bool) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut section = None;
    for (idx, line) in view.lines.iter().enumerate() {
        if idx == 0 || line.section != section {
            section = line.section;
            if with_air && idx > 0 {
                rows.push(Row::Air);
            }
            rows.push(Row::Section(section.map_or_else(
                || tr!("in no section"),
                |nth| {
                    let section = &view.sections[nth];
                    if section.shown == section.bars { section.shown.clone() } else { format!("{}, {}", section.shown, section.bars) }
                },
            )));
        }
        rows.push(Row::Line(idx));
    }
    rows
}

fn line(view: &View, idx: usize, columns: &Columns, theme: Theme, at: Rect, buf: &mut Buffer) {
    let line = &view.lines[idx];
    let is_chosen = idx == view.line;
    let style = match line.standing {
        _ if is_chosen => theme.here(),
        Standing::Dropped => theme.quiet(),
        _ => Style::new(),
    };
    let part = |x: u16, width: u16| Rect { x: at.x + x.min(at.width), width: width.min(at.width.saturating_sub(x)), ..at };
    if is_chosen {
        cut("\u{25b8}", style, part(0, 1), buf);
    }
    cut(&format!("{} {}", line.standing.sign(), line.standing.word()), style, part(STANDING, PLACE - STANDING - 1), buf);
    let width = usize::from(columns.place);
    cut(&format!("{:>width$}", line.place), style, part(PLACE, columns.place), buf);
    cut(&line.hand, style, part(columns.hand, columns.words - columns.hand), buf);
    cut(line.text, style, part(columns.words, columns.words_width), buf);
    let reason_at = columns.words + columns.words_width + 2;
    if let Some(reason) = line.reason.filter(|_| at.width >= reason_at + REASON_MIN / 2) {
        cut(reason, theme.quiet(), part(reason_at, at.width.saturating_sub(reason_at + 2)), buf);
    }
}

fn detail(view: &View, theme: Theme) -> Vec<Said> {
    let Some(line) = view.lines.get(view.line) else {
        return vec![Said { text: tr!("No line yet: n writes one."), style: Style::new() }];
    };
    let mut said = vec![Said { text: line.text.to_owned(), style: theme.strong() }];
    said.extend(line.more.map(|more| Said { text: more.to_owned(), style: Style::new() }));
    said.extend(line.reason.map(|reason| Said { text: tr!("why: {reason}", reason), style: theme.quiet() }));
    let drafted = line.draft.map(|draft| Said { text: tr!("drafted: {draft}", draft), style: theme.quiet() });
    said.extend(drafted);
    said
}
