//! The screens, each drawn from a view and the little the app knows; no clock, no query.

mod account;
pub mod between;
mod caution;
mod drill;
mod help;
mod progress;
mod quiz;
pub mod sight;
pub mod start;
mod story;
pub mod study;

use ratatui::layout::Rect;
use ratatui::text::Span;
use ratatui::widgets::Clear;

use super::app::{App, Caution};
use super::frame::Frame;
use super::theme::Theme;
use super::widget::wrap;
use crate::practice::View;
use crate::practice::view::Breaks;
use crate::practice::view::{Quiz, Stage};

/// Draws what is to be seen now.
pub fn draw(app: &App, caption: Option<&str>, view: &View, frame: &mut Frame) {
    let theme = Theme::new(app.options.colour);
    let area = frame.area();
    if let Some(caution) = app.caution {
        caution::draw(caution, app, theme, frame);
    } else if app.help_open {
        help::draw(app, theme, frame);
    } else if let Stage::Finished { account } = view.stage {
        account::draw(account, app, view, theme, frame);
    } else if let Stage::Quiz(stage) = &view.stage {
        quiz::draw(stage, app, view, theme, frame);
    } else {
        drill::draw(app, view, theme, frame);
    }
    foot(app, caption, view, theme, area, frame);
}

/// Returns a caution as one plain line.
pub fn caution_line(caution: Caution, breaks: Breaks) -> String {
    caution::line(caution, breaks)
}

/// Draws a page of a longer text; returns its first line, and how many lines fit.
pub fn read_page(lines: &[String], first: usize, theme: Theme, frame: &mut Frame) -> (usize, usize) {
    (progress::draw(lines, first, theme, frame), progress::n_rows(page(frame.area())))
}

/// The last row: a notice, else the caption, else a hint of the keys while nothing is being played.
fn foot(app: &App, caption: Option<&str>, view: &View, theme: Theme, area: Rect, frame: &mut Frame) {
    let page = page(area);
    if page.is_empty() {
        return;
    }
    let playing = matches!(view.stage, Stage::Playing | Stage::Prompted { .. } | Stage::Quiz(Quiz::Answering { .. } | Quiz::Called { .. }));
    let finished = matches!(view.stage, Stage::Finished { .. });
    let (words, style) = match (app.notice(), caption.filter(|_| !finished)) {
        (Some(notice), _) => (notice.to_owned(), theme.strong()),
        (None, Some(caption)) => (caption.to_owned(), theme.quiet()),
        (None, None) if app.help_open => (tr!("? back"), theme.quiet()),
        (None, None) if playing || app.caution.is_some() => return,
        (None, None) if app.editor.is_some() => (tr!("Enter keep   Esc put aside"), theme.quiet()),
        (None, None) if view.ask.is_some_and(|ask| ask.drafts.is_empty()) => {
            (tr!("Enter write a line   k later   d none   ? keys   q close"), theme.quiet())
        }
        (None, None) if view.ask.is_some() => {
            (tr!("Enter write a line   1-3 take one   k later   d none   ? keys   q close"), theme.quiet())
        }
        (None, None) if finished => (tr!("q close"), theme.quiet()),
        (None, None) => (tr!("? keys   q close"), theme.quiet()),
    };
    // A long notice grows upwards: it says what to do. Hints of keys are cut.
    let width = usize::from(page.width);
    let is_hint = app.notice().is_none() && caption.is_none();
    let lines = if words.chars().count() > width && !is_hint { wrap::by_sense(&words, width, FOOT_ROWS_MAX) } else { None };
    let lines = lines.unwrap_or_else(|| vec![words]);
    let n_rows = (lines.len() as u16).min(page.height);
    let rows = Rect { y: page.bottom() - n_rows, height: n_rows, ..page };
    if n_rows > 1 {
        frame.render_widget(Clear, rows);
    }
    for (row, line) in rows.rows().zip(&lines) {
        frame.render_widget(Span::styled(line.as_str(), style), row);
    }
}

/// A notice is no longer than this.
const FOOT_ROWS_MAX: usize = 4;

/// Screens of fewer rows than this do without margins.
const ROOMY: u16 = 16;

/// Returns what is left of the screen between its margins.
fn page(area: Rect) -> Rect {
    let (x, y) = if area.height >= ROOMY { (2, 1) } else { (0, 0) };
    Rect {
        x: area.x + x.min(area.width),
        y: area.y + y,
        width: area.width.saturating_sub(2 * x),
        height: area.height.saturating_sub(2 * y),
    }
}
