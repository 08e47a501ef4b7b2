//! Lines of falling size, the one asked about marked at its side, and what its letters come to in small words below.

use ratatui::layout::Rect;

use super::super::frame::Frame;
use super::super::sight::angle::{LEAST, Sighting};
use super::super::theme::Theme;
use super::super::widget::letters::{CAPITAL_MIN, line_of};
use super::page;

/// From one line to the next.
const STEP: f64 = 0.75;
/// Share of the room that the largest line takes.
const LARGEST: f64 = 0.3;
/// The mark and the space after it.
const MARGIN: u16 = 4;

/// The lines that fit a terminal.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Page {
    /// Half rows of a capital of each line, falling.
    pub capitals: Vec<usize>,
}

impl Page {
    /// Chooses the lines: from as large as a third of the room down to the smallest block letters, as many as there is room for.
    pub fn of(area: Rect) -> Page {
        let page = page(area);
        let room = usize::from(page.height.saturating_sub(2)) * 2;
        let largest = (room as f64 * LARGEST) as usize;
        // From below, so that the smallest is always among them.
        let mut rising = Vec::new();
        let (mut capital, mut taken) = (CAPITAL_MIN, 0);
        while capital <= largest.max(CAPITAL_MIN) && taken + rows_of(capital) * 2 <= room {
            taken += rows_of(capital) * 2;
            rising.push(capital);
            capital = ((capital as f64 / STEP).round() as usize).max(capital + 1);
        }
        rising.reverse();
        Page { capitals: rising }
    }
}

/// Rows that a line takes with the space to the next; its words hang nothing below it.
fn rows_of(capital: usize) -> usize {
    capital.div_ceil(2) + 1
}

pub fn draw(lines: &Page, marked: usize, word: impl Fn(usize) -> String, sighting: Sighting, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    let Some(foot) = page.rows().next_back() else { return };
    let mut y = page.y;
    for (n, capital) in lines.capitals.iter().enumerate() {
        let height = rows_of(*capital) as u16;
        let row = Rect { y, height, ..page };
        let letters = Rect { x: row.x + MARGIN.min(row.width), width: row.width.saturating_sub(MARGIN), height: height - 1, ..row };
        frame.render_widget(line_of(&word(n), *capital, letters.width, theme.strong()), letters);
        if n == marked {
            for y in row.y..row.y + (*capital as u16).div_ceil(2) {
                frame.buffer_mut().set_stringn(row.x, y, "\u{2588}\u{2588}", usize::from(row.width), theme.here());
            }
        }
        y += height;
    }
    let words = match lines.capitals.get(marked) {
        Some(capital) => said(*capital, sighting),
        None => tr!("this terminal is too small for block letters"),
    };
    let width = usize::from(page.width);
    frame.buffer_mut().set_stringn(
        foot.x,
        foot.y,
        tr!("n smaller   b larger   Enter: the last I can read   q close"),
        width,
        theme.quiet(),
    );
    if page.height > 1 {
        frame.buffer_mut().set_stringn(foot.x, foot.y - 1, words, width, theme.strong());
    }
}

/// Says what a capital of so many half rows is to the eye.
pub fn said(capital: usize, sighting: Sighting) -> String {
    let minutes = sighting.minutes(capital);
    let verdict = if minutes < LEAST { tr!("; under {least}, too small", least = LEAST) } else { String::new() };
    let (height, metres) = (sighting.height(capital), sighting.distance / 1000.0);
    let size = tr!("{height} mm, {minutes} minutes of arc at {metres} m", height = height.round(), minutes = minutes.round(), metres);
    if sighting.is_measured { size + &verdict } else { tr!("about {size}", size) + &verdict }
}
