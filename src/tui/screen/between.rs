//! The screen between two parts of a day's plan.

use ratatui::text::Line;

use super::super::between::Between;
use super::super::frame::Frame;
use super::super::theme::Theme;
use super::page;

pub fn draw(between: &Between, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    let mut lines = Vec::new();
    if let Some(minutes) = between.rest_minutes {
        lines.push(Line::styled(tr!("Hands down for {minutes} minutes, away from the instrument.", minutes), theme.strong()));
        lines.push(Line::default());
    }
    lines.push(Line::styled(tr!("next"), theme.quiet()));
    lines.push(Line::styled(between.title.as_str(), theme.strong()));
    lines.extend(between.steps.iter().map(|step| Line::raw(format!("    {step}"))));
    let foot = page.height.saturating_sub(1);
    for (row, line) in page.rows().take(usize::from(foot)).zip(lines) {
        frame.render_widget(line, row);
    }
    if let Some(last) = page.rows().next_back() {
        frame.render_widget(Line::styled(tr!("Enter go on   q close"), theme.quiet()), last);
    }
}
