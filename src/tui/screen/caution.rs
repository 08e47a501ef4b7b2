//! A short caution before a session and after long playing. It defers to the player's teacher and clinician.

use ratatui::layout::{Alignment, Rect};
use ratatui::text::{Line, Text};
use ratatui::widgets::Paragraph;

use super::super::app::{App, Caution, minutes};
use super::super::frame::Frame;
use super::super::theme::Theme;
use super::super::widget::letters::Letters;
use super::super::widget::wrap;
use super::page;
use crate::practice::view::Breaks;

pub fn draw(caution: Caution, app: &App, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    if page.is_empty() {
        return;
    }
    let (heading, lines) = words(caution, app.breaks);
    let lines: Vec<Line> = lines
        .iter()
        .flat_map(|line| wrap::by_sense(line, usize::from(page.width).min(64), 4).unwrap_or_else(|| vec![line.clone()]))
        .map(Line::from)
        .collect();
    let text_rows = lines.len() as u16;
    let letters = Letters { text: &heading, style: theme.strong(), large: app.block_letters, smallest: app.options.smallest_letters };
    let air = if page.height > text_rows + 6 { 1 } else { 0 };
    // On a very small screen the words are worth more than the heading.
    let room = Rect { height: page.height.saturating_sub(text_rows + 1 + 2 * air).min(9), ..page };
    let letters = letters.set(room);
    let heading_rows = letters.n_rows().min(room.height);
    let total = heading_rows + air + text_rows;
    let top = page.y + page.height.saturating_sub(total + 1) / 2;
    frame.render_widget(letters, Rect { y: top, height: heading_rows, ..page });
    let rows = Rect { y: top + heading_rows + air, height: text_rows, ..page };
    frame.render_widget(Paragraph::new(Text::from(lines)).alignment(Alignment::Center), rows.intersection(page));
}

/// Returns a caution as one line, the word that matters first.
pub fn line(caution: Caution, breaks: Breaks) -> String {
    let (heading, lines) = words(caution, breaks);
    // The last says how a screen is left.
    let said = &lines[..lines.len().saturating_sub(2)];
    format!("{heading}: {}", said.join(" "))
}

fn words(caution: Caution, breaks: Breaks) -> (String, Vec<String>) {
    match caution {
        Caution::Opening => (
            tr!("before you play"),
            vec![
                tr!("Warm up. Shoulders low, hands free."),
                tr!("Take five minutes away from the instrument in every half hour."),
                tr!("Pain, numbness or tingling: stop. No pain is worth a clean rep."),
                tr!("Your teacher and your clinician know your body; this program does not."),
                String::new(),
                tr!("play, or press a key"),
            ],
        ),
        Caution::Break => (
            tr!("hands down"),
            vec![
                tr!(
                    "That was {played} minutes of playing. Take {rest} away from the instrument.",
                    played = minutes(breaks.after),
                    rest = minutes(breaks.length)
                ),
                tr!("Pain, numbness or tingling: stop for today. If it lasts past a day or two, or comes back, see a clinician."),
                String::new(),
                tr!("play, or press a key, to go on"),
            ],
        ),
    }
}
