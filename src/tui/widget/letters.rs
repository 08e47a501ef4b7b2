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

use super::font::{self, Field, Size, Width};
use super::wrap;

/// At most this much of a phrase is taken in at a glance.
const N_LINES_MAX: usize = 4;
const N_CHARACTERS_MAX: usize = 20;
/// Capitals in half rows. Two rows and a half are about 12 mm on a common screen, enough for 2 m (16 to 22 minutes of
/// arc, ISO 9241-3); past a quarter of the room letters only get louder.
const CAPITAL_MIN: usize = 5;
const CAPITAL_SHARE: usize = 4;
const PLAIN_WIDTH: usize = 40;

/// A phrase, and how it is to look.
pub struct Letters<'a> {
    pub text: &'a str,
    pub style: Style,
    /// False for plain letters at any size.
    pub large: bool,
}

/// How a phrase is set in a given room; drawn, it stands in the middle of what it is given.
pub struct Setting {
    style: Style,
    /// None for plain letters.
    size: Option<Size>,
    lines: Vec<String>,
    /// Half rows kept above the first capital.
    above: usize,
}

impl Setting {
    /// Returns the rows it takes.
    pub fn n_rows(&self) -> u16 {
        let n_rows = match self.size {
            Some(size) => n_rows(size, self.lines.len(), self.above),
            None => self.lines.len(),
        };
        u16::try_from(n_rows).unwrap_or(u16::MAX)
    }
}

fn n_rows(size: Size, n_lines: usize, above: usize) -> usize {
    (above + n_lines.saturating_sub(1) * size.pitch() + size.capital + size.descent()).div_ceil(2)
}

impl Letters<'_> {
    /// Sets the phrase for a room of this size.
    pub fn set(&self, area: Rect) -> Setting {
        let text = with_large_forms(self.text);
        self.large_setting(&text, area).unwrap_or_else(|| self.plain_setting(area))
    }

    fn large_setting(&self, text: &str, area: Rect) -> Option<Setting> {
        if !self.large || !text.chars().all(font::has) {
            return None;
        }
        let (width, height) = (usize::from(area.width) * 2, usize::from(area.height));
        let accented = text.chars().any(|c| c > '\u{bf}');
        let largest = (height * 2 / CAPITAL_SHARE).max(CAPITAL_MIN);
        let sizes = (CAPITAL_MIN..=largest).rev().flat_map(|capital| [Width::Natural, Width::Narrow].map(|width| Size { capital, width }));
        sizes.into_iter().find_map(|size| {
            let above = if accented { size.accent() } else { 0 };
            let n_lines = (1..=N_LINES_MAX).rev().find(|&n| n_rows(size, n, above) <= height)?;
            let fits = |line: &str| line.chars().count() <= N_CHARACTERS_MAX && size.length(line) <= width;
            let lines = wrap::by_sense_where(text, n_lines, fits)?;
            Some(Setting { style: self.style, size: Some(size), lines, above })
        })
    }

    fn plain_setting(&self, area: Rect) -> Setting {
        let text = self.text;
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let lines = wrap::by_sense(text, width.min(PLAIN_WIDTH), height)
            .or_else(|| wrap::by_sense(text, width, height))
            .unwrap_or_else(|| cut(text, width));
        Setting { style: self.style, size: None, lines, above: 0 }
    }
}

impl Widget for Setting {
    fn render(self, area: Rect, buf: &mut Buffer) {
        if area.is_empty() {
            return;
        }
        let setting = self;
        let height = setting.n_rows().min(area.height);
        let room = Rect { y: area.y + (area.height - height) / 2, height, ..area };
        let Some(size) = setting.size else {
            let text = Text::from_iter(setting.lines.iter().map(|line| Line::styled(line.as_str(), setting.style)));
            return Paragraph::new(text).alignment(Alignment::Center).render(room, buf);
        };
        let mut field = Field::new(usize::from(room.width), usize::from(room.height));
        for (idx, line) in setting.lines.iter().enumerate() {
            let left = (usize::from(room.width) * 2).saturating_sub(size.length(line)) / 2;
            field.set(line, size, left, setting.above + idx * size.pitch());
        }
        for row in 0..room.height {
            for column in 0..room.width {
                let symbol = field.cell(usize::from(column), usize::from(row));
                if symbol != " " {
                    buf[(room.x + column, room.y + row)].set_symbol(symbol).set_style(setting.style);
                }
            }
        }
    }
}

/// Sets words that are longer than a line: cut at the edge, in as many lines as it takes.
fn cut(text: &str, width: usize) -> Vec<String> {
    let characters: Vec<char> = text.trim().chars().collect();
    characters.chunks(width.max(1)).map(String::from_iter).collect()
}

/// Writes signs that the large letters lack in words.
fn with_large_forms(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{266d}' => plain.push_str(" flat"),
            '\u{266f}' => plain.push_str(" sharp"),
            '\u{266e}' => plain.push_str(" natural"),
            '\u{2010}' | '\u{2011}' | '\u{2012}' => plain.push('-'),
            '\u{2015}' => plain.push('\u{2014}'),
            '\u{2192}' => plain.push_str("to"),
            '\u{a0}' | '\u{2009}' | '\u{202f}' => plain.push(' '),
            c => plain.push(c),
        }
    }
    plain
}
