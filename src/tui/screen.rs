//! The screens, each drawn from a view and the little the app knows; no clock, no query.

mod account;
mod caution;
mod drill;
mod help;

use ratatui::Frame;
use ratatui::layout::Rect;

use super::app::App;
use super::theme::Theme;
use crate::practice::View;
use crate::practice::view::Stage;

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
    } else {
        drill::draw(app, view, theme, frame);
    }
    foot(app, caption, view, theme, area, frame);
}

/// The last row: a notice, else the caption, else a hint of the keys while nothing is being played.
fn foot(app: &App, caption: Option<&str>, view: &View, theme: Theme, area: Rect, frame: &mut Frame) {
    let Some(row) = foot_row(area) else { return };
    let playing = matches!(view.stage, Stage::Playing | Stage::Prompted { .. });
    let (words, style) = match (app.notice(), caption) {
        (Some(notice), _) => (notice, theme.strong()),
        (None, Some(caption)) => (caption, theme.quiet()),
        (None, None) if app.help_open => ("? back", theme.quiet()),
        (None, None) if playing || app.caution.is_some() => return,
        (None, None) => ("? keys   q close", theme.quiet()),
    };
    frame.buffer_mut().set_stringn(row.x, row.y, words, usize::from(row.width), style);
}

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

fn foot_row(area: Rect) -> Option<Rect> {
    let page = page(area);
    (!page.is_empty()).then(|| Rect { y: page.bottom() - 1, height: 1, ..page })
}
