//! All keys, and all that can be asked for without one, on one screen.

use ratatui::layout::Rect;
use ratatui::text::{Line, Span};

use super::super::Action;
use super::super::app::App;
use super::super::frame::Frame;
use super::super::keys::KEYS;
use super::super::theme::Theme;
use super::{account, page};

/// What silence does, in the words of the help screen.
fn silence_words() -> String {
    tr!("leaves the places of a section for later")
}

/// One row: a key, what it does, and how else that can be asked for.
#[derive(Default)]
struct Row<'a> {
    key: String,
    help: String,
    without: &'a str,
}

pub fn draw(app: &App, theme: Theme, frame: &mut Frame) {
    let rows = rows(app);
    let widest = |part: for<'r> fn(&'r Row<'_>) -> &'r str| rows.iter().map(|row| part(row).chars().count()).max().unwrap_or(0);
    let (key_width, help_width) = (widest(|row| &row.key), widest(|row| &row.help));
    let line = |row: &Row<'_>| {
        let help = format!("  {:<help_width$}  ", row.help);
        Line::from(vec![
            Span::styled(format!("{:>key_width$}", row.key), theme.strong()),
            Span::raw(help),
            Span::styled(row.without.to_owned(), theme.strong()),
        ])
    };
    let lines: Vec<Line> = rows.iter().map(line).collect();
    let page = page(frame.area());
    // A list that just fills the screen needs no empty row above the foot.
    let spare = u16::from(lines.len() + 1 == usize::from(page.height));
    account::list(&lines, app, Rect { height: page.height + spare, ..page }, frame);
}

fn rows(app: &App) -> Vec<Row<'_>> {
    let mut rows = Vec::new();
    for key in KEYS.iter().filter(|key| !key.label.is_empty() && (key.action != Action::HandOver || app.options.can_hand_over)) {
        let without = app.options.hands_free.iter().filter(|(_, command)| command.is_some_and(|c| key.action == Action::Practice(c)));
        let mut names = without.map(|(name, _)| name.as_str());
        rows.push(Row { key: key.name(), help: key.action.help(), without: names.next().unwrap_or_default() });
        rows.extend(names.map(|without| Row { without, ..Row::default() }));
    }
    let silence = app.options.hands_free.iter().filter(|(_, command)| command.is_none());
    rows.extend(silence.map(|(name, _)| Row { key: String::new(), help: silence_words(), without: name }));
    rows
}
