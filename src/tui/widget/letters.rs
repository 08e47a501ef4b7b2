//! One phrase in letters that can be read from two metres, as large as the room allows.
//!
//! Letters are built of full, half and quarter blocks only: those every common terminal font has.
//! Where no size fits, or a character has no large form, the phrase is set in plain bold letters;
//! it is never cut short while there is room for it.

use ratatui::buffer::Buffer;
use ratatui::layout::{Alignment, Rect};
use ratatui::style::Style;
use ratatui::text::{Line, Text};
use ratatui::widgets::{Paragraph, Widget};
use tui_big_text::{BigText, PixelSize};

use super::wrap;

/// At most this much of a phrase is taken in at a glance.
const N_LINES_MAX: usize = 4;
const N_COLUMNS_MAX: usize = 20;

/// Sizes from the largest: columns and rows of a letter.
const SIZES: [(PixelSize, u16, u16); 4] =
    [(PixelSize::Full, 8, 8), (PixelSize::HalfWidth, 4, 8), (PixelSize::HalfHeight, 8, 4), (PixelSize::Quadrant, 4, 4)];

/// A phrase, centred in the room it gets.
pub struct Letters<'a> {
    pub text: &'a str,
    pub style: Style,
    /// False for plain letters at any size.
    pub large: bool,
}

/// How a phrase is set in a given room.
#[derive(Clone, PartialEq, Debug)]
struct Setting {
    /// None for plain letters.
    size: Option<(PixelSize, u16, u16)>,
    lines: Vec<String>,
}

impl Letters<'_> {
    /// Returns the rows the phrase takes in a room of this size.
    pub fn height(&self, area: Rect) -> u16 {
        let setting = self.setting(area);
        let row = setting.size.map_or(1, |(_, _, rows)| rows);
        (setting.lines.len() as u16).saturating_mul(row).min(area.height)
    }

    fn setting(&self, area: Rect) -> Setting {
        let text = with_large_forms(self.text);
        if self.large && text.chars().all(has_large_form) {
            for (size, columns, rows) in SIZES {
                let width = usize::from(area.width / columns).min(N_COLUMNS_MAX);
                let n_lines = usize::from(area.height / rows).min(N_LINES_MAX);
                if let Some(lines) = wrap::by_sense(&text, width, n_lines) {
                    return Setting { size: Some((size, columns, rows)), lines };
                }
            }
        }
        let width = usize::from(area.width);
        let lines = wrap::by_sense(self.text, width.min(40), usize::from(area.height))
            .or_else(|| wrap::by_sense(self.text, width, usize::from(area.height)))
            .unwrap_or_else(|| cut(self.text, width));
        Setting { size: None, lines }
    }
}

impl Widget for Letters<'_> {
    fn render(self, area: Rect, buf: &mut Buffer) {
        if area.is_empty() {
            return;
        }
        let setting = self.setting(area);
        let height = self.height(area);
        let room = Rect { y: area.y + (area.height - height) / 2, height, ..area };
        match setting.size {
            Some((size, columns, _)) => {
                let widest = setting.lines.iter().map(|line| line.chars().count()).max().unwrap_or(0) as u16 * columns;
                // The last column of a glyph is its spacing; all lines begin at one edge, so that the eye finds the next.
                let x = area.x + (area.width - widest.min(area.width)) / 2;
                let lines: Vec<Line> = setting.lines.iter().map(|line| Line::raw(line.as_str())).collect();
                let block = BigText::builder().pixel_size(size).lines(lines).style(self.style).build();
                block.render(Rect { x, width: widest.min(area.width), ..room }, buf);
            }
            None => {
                let text = Text::from_iter(setting.lines.iter().map(|line| Line::styled(line.as_str(), self.style)));
                Paragraph::new(text).alignment(Alignment::Center).render(room, buf);
            }
        }
    }
}

/// Sets words that are longer than a line: cut at the edge, in as many lines as it takes.
fn cut(text: &str, width: usize) -> Vec<String> {
    let characters: Vec<char> = text.trim().chars().collect();
    characters.chunks(width.max(1)).map(String::from_iter).collect()
}

/// Writes signs that have no large form in a way that has one.
fn with_large_forms(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{266d}' => plain.push('b'),
            '\u{266f}' => plain.push('#'),
            '\u{266e}' => plain.push_str(" natural"),
            '\u{2018}' | '\u{2019}' | '\u{201a}' => plain.push('\''),
            '\u{201c}' | '\u{201d}' | '\u{201e}' => plain.push('"'),
            '\u{2010}'..='\u{2015}' => plain.push('-'),
            '\u{2192}' => plain.push_str("->"),
            '\u{2026}' => plain.push_str("..."),
            '\u{a0}' | '\u{2009}' | '\u{202f}' => plain.push(' '),
            c => plain.push(c),
        }
    }
    plain
}

/// Letters, figures and signs of Latin-1: what the large alphabet draws as one glyph each.
fn has_large_form(c: char) -> bool {
    matches!(c, ' '..='~' | '\u{a1}'..='\u{ff}')
}
