//! The sections: their bars, why each could begin there, where others could, and the landmark at each start.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::theme::Theme;
use super::{Said, cut, first_row, more_marks};
use crate::study::View;

enum Row {
    Section(usize),
    /// A start that is proposed inside the section.
    Proposed(String),
}

/// Draws the list; returns what there is to say of the section and the bar chosen.
pub fn draw(view: &View, theme: Theme, area: Rect, buf: &mut Buffer) -> Vec<Said> {
    let here = view.sections.iter().rposition(|s| (s.from..s.end).contains(&view.bar));
    let mut rows = Vec::new();
    let mut chosen = 0;
    for (idx, section) in view.sections.iter().enumerate() {
        if Some(idx) == here {
            chosen = rows.len();
        }
        rows.push(Row::Section(idx));
        rows.extend(section.proposed.iter().map(|(bar, why)| Row::Proposed(tr!("bar {bar} could begin one: {why}", bar, why))));
    }
    let first = first_row(rows.len(), chosen, usize::from(area.height));
    let name_width = view.sections.iter().map(|s| s.shown.chars().count()).max().unwrap_or(0).min(usize::from(area.width) / 3) as u16;
    let bars_width = view.sections.iter().map(|s| s.bars.chars().count()).max().unwrap_or(0).max(12) as u16;
    let why_at = name_width + bars_width + 6;
    for (row, at) in rows[first..].iter().zip(area.rows()) {
        let part = |x: u16, width: u16| Rect { x: at.x + x.min(at.width), width: width.min(at.width.saturating_sub(x)), ..at };
        match row {
            Row::Section(idx) => {
                let section = &view.sections[*idx];
                let style = if Some(*idx) == here { theme.here() } else { Style::new() };
                if Some(*idx) == here {
                    cut("\u{25b8}", style, part(0, 1), buf);
                }
                cut(&section.shown, style, part(2, name_width), buf);
                cut(&section.bars, style, part(name_width + 4, bars_width), buf);
                cut(
                    &section.why.clone().unwrap_or_else(|| tr!("your own start")),
                    theme.quiet(),
                    part(why_at, at.width.saturating_sub(why_at + 2)),
                    buf,
                );
            }
            Row::Proposed(words) => cut(words, theme.quiet(), part(why_at, at.width.saturating_sub(why_at + 2)), buf),
        }
    }
    more_marks(first, rows.len(), area, theme, buf);
    detail(view, here, theme)
}

fn detail(view: &View, here: Option<usize>, theme: Theme) -> Vec<Said> {
    let Some(section) = here.map(|idx| &view.sections[idx]) else {
        return vec![Said { text: tr!("This bar is in no section."), style: Style::new() }];
    };
    let bars = (section.from..section.end).map(|bar| {
        let label = &view.bars[bar].label;
        if bar == view.bar { format!("[{label}]") } else { label.clone() }
    });
    let bars = bars.collect::<Vec<_>>().join(" ");
    let label = &view.bars[view.bar].label;
    let mut said = vec![Said { text: tr!("{name}: {bars}", name = section.shown, bars), style: theme.strong() }];
    said.extend(section.landmark.as_ref().map(|l| Said { text: tr!("to start cold: {landmark}", landmark = l), style: Style::new() }));
    said.push(Said {
        text: if view.bar == section.from {
            tr!("[ and ] move the beginning at bar {bar}; \u{2190} \u{2192} choose a bar to split at.", bar = label)
        } else {
            tr!("s splits before bar {bar}.", bar = label)
        },
        style: theme.quiet(),
    });
    said
}
