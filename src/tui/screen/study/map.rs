//! The map: bars along lines; letters for what comes back, slashes where look-alikes part.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::super::super::theme::Theme;
use super::{Said, first_row, more_marks};
use crate::study::{MapBar, View};

/// Cells of a bar, and of the words at the left of each row.
const CELL: usize = 5;
const SIDE: usize = 8;

/// One row of text, with the cells to be marked.
struct Row {
    text: String,
    /// Cells of the bar chosen.
    chosen: Option<std::ops::Range<usize>>,
    is_quiet: bool,
}

/// Draws the map; returns what there is to say of the bar chosen.
pub fn draw(view: &View, theme: Theme, area: Rect, buf: &mut Buffer) -> Vec<Said> {
    let fits = (usize::from(area.width).saturating_sub(SIDE + 2) / CELL).max(1);
    // Lines of four, eight, twelve bars are easier to count.
    let n_bars = if fits >= 4 { fits / 4 * 4 } else { fits };
    let mut rows: Vec<Row> = Vec::new();
    let mut chosen = 0;
    for from in (0..view.bars.len()).step_by(n_bars) {
        let end = (from + n_bars).min(view.bars.len());
        if (from..end).contains(&view.bar) {
            chosen = rows.len() + 2;
        }
        system(view, from, end, &mut rows);
    }
    // The last line of bars needs no air below it.
    rows.pop();
    let first = first_row(rows.len(), chosen, usize::from(area.height));
    for (row, at) in rows[first..].iter().zip(area.rows()) {
        let style = if row.is_quiet { theme.quiet() } else { ratatui::style::Style::new() };
        buf.set_stringn(at.x, at.y, &row.text, usize::from(at.width), style);
        if let Some(cells) = &row.chosen {
            for x in cells.clone().filter(|x| *x < usize::from(at.width)) {
                buf[(at.x + x as u16, at.y)].set_style(theme.here());
            }
        }
    }
    more_marks(first, rows.len(), area, theme, buf);
    detail(view, theme)
}

/// The rows of one line of bars.
fn system(view: &View, from: usize, end: usize, rows: &mut Vec<Row>) {
    let bars = &view.bars[from..end];
    let cells = |of: &dyn Fn(usize) -> String| -> String {
        (from..end).map(|bar| format!("{:<CELL$}", of(bar).chars().take(CELL).collect::<String>())).collect()
    };
    let row = |side: &str, text: String, is_quiet: bool| Row { text: format!("{side:<SIDE$}{text}"), chosen: None, is_quiet };
    rows.push(row("", section_names(view, from, end), true));
    let number = |bar: usize| if bar == view.bar { format!("[{}]", view.bars[bar].label) } else { format!(" {}", view.bars[bar].label) };
    let at = SIDE + (view.bar.wrapping_sub(from)).min(end) * CELL;
    let chosen = (from..end).contains(&view.bar).then_some(at..at + CELL - 1);
    rows.push(Row { chosen, ..row("bar", cells(&number), false) });
    let goes_on = |bar: usize, begins: &dyn Fn(&MapBar) -> bool, has: &dyn Fn(&MapBar) -> bool| {
        view.bars.get(bar + 1).is_some_and(|next| has(next) && !begins(next))
    };
    let stroke = |bar: usize, word: Option<&String>, begins: &dyn Fn(&MapBar) -> bool, has: &dyn Fn(&MapBar) -> bool, line: char| {
        let Some(word) = word else { return String::new() };
        let this = &view.bars[bar];
        // At the beginning of a line the letter is said again.
        let mut text = if begins(this) || bar == from { format!(" {word}") } else { String::new() };
        let end = if goes_on(bar, begins, has) { CELL } else { CELL - 1 };
        text.extend(std::iter::repeat_n(line, end.saturating_sub(text.chars().count())));
        text
    };
    let whole = |bar: usize| stroke(bar, view.bars[bar].letter.as_ref(), &|b| b.begins, &|b| b.letter.is_some(), '\u{2500}');
    let dots = |bar: usize| {
        let text = whole(bar);
        if text.is_empty() { " \u{b7}".to_owned() } else { text }
    };
    rows.push(row("again", cells(&dots), false));
    if bars.iter().any(|b| b.partly.is_some()) {
        let partly = |bar: usize| stroke(bar, view.bars[bar].partly.as_ref(), &|b| b.partly_begins, &|b| b.partly.is_some(), '\u{254c}');
        rows.push(row("partly", cells(&partly), false));
    }
    if bars.iter().any(|b| !b.switches.is_empty()) {
        let switches = |bar: usize| match &view.bars[bar].switches[..] {
            [] => String::new(),
            [one] => format!(" /{one}"),
            [one, other] => format!(" /{one}/{other}"),
            [one, ..] => format!(" /{one}/+"),
        };
        rows.push(row("switch", cells(&switches), false));
    }
    rows.push(row("", String::new(), true));
}

/// Names over the bars at which sections begin, each cut before the next.
fn section_names(view: &View, from: usize, end: usize) -> String {
    let mut text: Vec<char> = vec![' '; (end - from) * CELL];
    for section in view.sections.iter().filter(|s| s.end > from && s.from < end) {
        let start = section.from.max(from);
        let next = view.sections.iter().map(|s| s.from).filter(|f| *f > section.from).min().unwrap_or(end).min(end);
        let room = next.saturating_sub(start) * CELL;
        let mut name: Vec<char> = std::iter::once('\u{2502}').chain(section.name.chars()).collect();
        if name.len() > room {
            name.truncate(room.saturating_sub(1));
            name.push('\u{2026}');
        }
        let at = (start - from) * CELL;
        name.into_iter().take(room).enumerate().for_each(|(idx, c)| text[at + idx] = c);
    }
    text.into_iter().collect()
}

fn detail(view: &View, theme: Theme) -> Vec<Said> {
    let section = view.sections.iter().rev().find(|s| (s.from..s.end).contains(&view.bar));
    let label = view.bars.get(view.bar).map_or("", |b| b.label.as_str());
    let name = section.map_or(String::new(), |s| format!(", {}", s.name));
    let mut said = vec![Said { text: format!("bar {label}{name}"), style: theme.strong() }];
    said.extend(view.bar_words.iter().map(|words| Said { text: words.clone(), style: ratatui::style::Style::new() }));
    said.push(Said {
        text: "\u{2191} \u{2193} moved, 8 by octaves, ' but one note, l r one hand, ~ rhythm, /1 switch".to_owned(),
        style: theme.quiet(),
    });
    said
}
