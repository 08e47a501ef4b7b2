//! All keys and footswitches, with what they do.

use ratatui::Frame;
use ratatui::text::{Line, Span};

use super::super::Action;
use super::super::app::App;
use super::super::keys::KEYS;
use super::super::theme::Theme;
use super::{account, page};

pub fn draw(app: &App, theme: Theme, frame: &mut Frame) {
    let mut rows: Vec<(&str, &str)> = KEYS
        .iter()
        .filter(|key| !key.label.is_empty() && (key.action != Action::HandOver || app.options.can_hand_over))
        .map(|key| (key.label, key.action.help()))
        .collect();
    rows.extend(app.options.footswitches.iter().map(|(name, command)| (name.as_str(), command.help())));
    let widest = rows.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(0);
    let lines: Vec<Line> = rows
        .iter()
        .map(|(name, help)| Line::from(vec![Span::styled(format!("{name:>widest$}"), theme.strong()), Span::raw(format!("  {help}"))]))
        .collect();
    account::list(&lines, app, page(frame.area()), frame);
}
