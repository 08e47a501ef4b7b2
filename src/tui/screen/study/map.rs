//! The map: bars along lines; letters for what comes back, slashes where look-alikes part.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::super::super::theme::Theme;
use super::{Said, first_row, more_marks};
use crate::study::{MapBar, View};

/// Cells of a bar.
const CELL: usize = 5;

/// One row of text, with the cells to be marked.
struct Row {
    text: String,
    /// Cells of the bar chosen.
    chosen: Option<std::ops::Range<usize>>,
    is_quiet: bool,
}

/// The words at the left of each row.
struct Side {
    bar: String,
    again: String,
    partly: String,
    switch: String,
    /// Of the widest, and two cells of air.
    width: usize,
}

impl Side {
    fn new() -> Side {
        let (bar, again, partly, switch) = (tr!("bar"), tr!("again"), tr!("partly"), tr!("switch"));
        let width = [&bar, &again, &partly, &switch].into_iter().map(|word| word.chars().count()).max().unwrap_or(0) + 2;
        Side { bar, again, partly, switch, width }
    }
}

/// Draws the map; returns what there is to say of the bar chosen.
pub fn draw(view: &View, theme: Theme, area: Rect, buf: &mut Buffer) -> Vec<Said> {
    let side = Side::new();
    let fits = (usize::from(area.width).saturating_sub(side.width + 2) / CELL).max(1);
    // Lines of four, eight, twelve bars are easier to count.
    let n_bars = if fits >= 4 { fits / 4 * 4 } else { fits };
    let mut rows: Vec<Row> = Vec::new();
    let mut chosen = 0;
    for from in (0..view.bars.len()).step_by(n_bars) {
        let end = (from + n_bars).min(view.bars.len());
        if (from..end).contains(&view.bar) {
            chosen = rows.len() + 2;
        }
        system(view, from, end, &side, &mut rows);
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
fn system(view: &View, from: usize, end: usize, side: &Side, rows: &mut Vec<Row>) {
    let bars = &view.bars[from..end];
    let cells = |of: &dyn Fn(usize) -> String| -> String {
        (from..end).map(|bar| format!("{:<CELL$}", of(bar).chars().take(CELL).collect::<String>())).collect()
    };
    let width = side.width;
    let row = |side: &str, text: String, is_quiet: bool| Row { text: format!("{side:<width$}{text}"), chosen: None, is_quiet };
    rows.push(row("", section_names(view, from, end), true));
    let number = |bar: usize| if bar == view.bar { format!("[{}]", view.bars[bar].label) } else { format!(" {}", view.bars[bar].label) };
    let at = width + (view.bar.wrapping_sub(from)).min(end) * CELL;
    let chosen = (from..end).contains(&view.bar).then_some(at..at + CELL - 1);
    rows.push(Row { chosen, ..row(&side.bar, cells(&number), false) });
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
    rows.push(row(&side.again, cells(&dots), false));
    if bars.iter().any(|b| b.partly.is_some()) {
        let partly = |bar: usize| stroke(bar, view.bars[bar].partly.as_ref(), &|b| b.partly_begins, &|b| b.partly.is_some(), '\u{254c}');
        rows.push(row(&side.partly, cells(&partly), false));
    }
    if bars.iter().any(|b| !b.switches.is_empty()) {
        let switches = |bar: usize| match &view.bars[bar].switches[..] {
            [] => String::new(),
            [one] => format!(" /{one}"),
            [one, other] => format!(" /{one}/{other}"),
            [one, ..] => format!(" /{one}/+"),
        };
        rows.push(row(&side.switch, cells(&switches), false));
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
        let mut name: Vec<char> = std::iter::once('\u{2502}').chain(section.shown.chars()).collect();
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
    let here = tr!("bar {bar}", bar = label);
    let text = section.map_or_else(|| here.clone(), |s| format!("{here}, {}", s.shown));
    let mut said = vec![Said { text, style: theme.strong() }];
    said.extend(view.bar_words.iter().map(|words| Said { text: words.clone(), style: ratatui::style::Style::new() }));
    said.push(Said {
        text: tr!("\u{2191} \u{2193} moved, 8 by octaves, ' but one note, l r one hand, ~ rhythm, /1 switch"),
        style: theme.quiet(),
    });
    said
}
