//! One phrase in letters that can be read from two metres, as large as the room allows.
//!
//! Letters are built of full, half and quarter blocks only: those every common terminal font has.
//! Where no size fits, or a character has no large form, the phrase is set in plain bold letters;
//! it is never cut short while there is room for it.

use std::cell::RefCell;
use std::rc::Rc;

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
/// Capitals in half rows. At three rows and a half (some 15 mm on a common screen, enough for 2 m: 16 to 22 minutes of arc,
/// ISO 9241-3) an e still has its bar.
pub const CAPITAL_MIN: usize = 7;
/// Largest capital as a part of the room: past it letters only get louder.
const CAPITAL_SHARE: (usize, usize) = (2, 7);
/// What each way to set letters is worth, and how fast poor line breaks lose against size: a break after a joining word may
/// cost a third of the size, not half.
const WIDTHS: [(Width, f64); 3] = [(Width::Natural, 1.0), (Width::Narrow, 0.93), (Width::Tight, 0.85)];
const COST_SCALE: f64 = 30.0;
const PLAIN_WIDTH: usize = 40;

/// A phrase, and how it is to look.
pub struct Letters<'a> {
    pub text: &'a str,
    pub style: Style,
    /// False for plain letters at any size.
    pub large: bool,
    /// Capitals have at least so many half rows, where the phrase can be set so; below [`CAPITAL_MIN`] nothing more is asked.
    pub smallest: usize,
}

/// A phrase set for a given room; drawn, it stands in the middle of what it is given.
pub struct Setting {
    style: Style,
    set: Rc<Set>,
}

struct Set {
    lines: Vec<String>,
    /// The large letters; none for plain ones.
    field: Option<Field>,
}

impl Setting {
    /// Returns the rows it takes.
    pub fn n_rows(&self) -> u16 {
        let n_rows = self.set.field.as_ref().map_or(self.set.lines.len(), Field::n_rows);
        u16::try_from(n_rows).unwrap_or(u16::MAX)
    }
}

fn n_rows(size: Size, lines: &[String]) -> usize {
    let (Some(first), Some(last)) = (lines.first(), lines.last()) else { return 0 };
    (size.rise(first) + (lines.len() - 1) * size.pitch() + size.capital + size.descent(last)).div_ceil(2)
}

impl Letters<'_> {
    /// Sets the phrase for a room of this size.
    pub fn set(&self, area: Rect) -> Setting {
        /// What was set, and for which room.
        type Last = (String, (u16, u16, bool, usize), Rc<Set>);
        thread_local! {
            // The same phrase is drawn many times while it stands; fitting a large one takes some milliseconds.
            static LAST: RefCell<Option<Last>> = const { RefCell::new(None) };
        }
        let room = (area.width, area.height, self.large, self.smallest);
        let known = LAST.with_borrow(|last| match last {
            Some((text, last_room, set)) if text == self.text && *last_room == room => Some(Rc::clone(set)),
            _ => None,
        });
        let set = known.unwrap_or_else(|| {
            let text = with_large_forms(self.text);
            // A phrase too long for letters that the player reads with ease is still better large than plain.
            let at_least = |smallest: usize| large_set(&text, area, smallest);
            let large = if self.large { at_least(self.smallest.max(CAPITAL_MIN)).or_else(|| at_least(CAPITAL_MIN)) } else { None };
            let set = Rc::new(large.unwrap_or_else(|| plain_set(self.text, area)));
            LAST.set(Some((self.text.to_owned(), room, Rc::clone(&set))));
            set
        });
        Setting { style: self.style, set }
    }
}

/// Finds the size and the line breaks that are worth most together, and draws the letters.
fn large_set(text: &str, area: Rect, smallest: usize) -> Option<Set> {
    if !text.chars().all(font::has) {
        return None;
    }
    let (width, height) = (usize::from(area.width) * 2, usize::from(area.height));
    let largest = height * 2 * CAPITAL_SHARE.0 / CAPITAL_SHARE.1;
    let mut best: Option<(f64, Size, Vec<String>)> = None;
    for capital in (smallest..=largest.max(smallest)).rev() {
        for (set_width, worth) in WIDTHS {
            let size = Size { capital, width: set_width };
            let most = worth * capital as f64;
            if best.as_ref().is_some_and(|(known, ..)| *known >= most) {
                continue;
            }
            let fits = |line: &str| line.chars().count() <= N_CHARACTERS_MAX && size.length(line) <= width;
            let n_lines = (1..=N_LINES_MAX).rev().find(|n| (n - 1) * size.pitch() + capital <= height * 2);
            let Some((cost, lines)) = n_lines.and_then(|n| wrap::weighed(text, n, fits)) else { continue };
            let value = most * (-cost / COST_SCALE).exp();
            if n_rows(size, &lines) <= height && best.as_ref().is_none_or(|(known, ..)| value > *known) {
                best = Some((value, size, lines));
            }
        }
    }
    let (_, size, lines) = best?;
    Some(Set { field: Some(field_of(&lines, size, usize::from(area.width), height)), lines })
}

/// Draws lines in the middle of so many columns. Where letters of two lines would touch (a g over an accent), the lower line moves down
/// while there is room.
fn field_of(lines: &[String], size: Size, n_columns: usize, n_rows_max: usize) -> Field {
    let mut drawn = Field::new(n_columns, n_rows_max);
    let mut tops: Vec<usize> = Vec::new();
    let placed = |line: &String, field: &mut Field, top: usize| {
        field.set(line, size, (n_columns * 2).saturating_sub(size.length(line)) / 2, top);
    };
    let end = |top: usize, line: &str| top + size.capital + size.descent(line);
    // What the lines below it take at the least.
    let below = |idx: usize| (lines.len() - 1 - idx) * size.pitch() + lines.last().map_or(0, |line| end(0, line));
    for (idx, line) in lines.iter().enumerate() {
        let mut top = tops.last().map_or(size.rise(line), |top| top + size.pitch());
        loop {
            let mut alone = Field::new(n_columns, n_rows_max);
            placed(line, &mut alone, top);
            if !alone.touches(&drawn) || top + 1 + below(idx) > n_rows_max * 2 {
                break;
            }
            top += 1;
        }
        placed(line, &mut drawn, top);
        tops.push(top);
    }
    let n_half_rows = tops.last().zip(lines.last()).map_or(0, |(top, line)| end(*top, line));
    let mut field = Field::new(n_columns, n_half_rows.div_ceil(2));
    for (line, top) in lines.iter().zip(&tops) {
        placed(line, &mut field, *top);
    }
    field
}

/// Sets one line in capitals of so many half rows, cut at the edge of its room; for a reading test.
pub fn line_of(text: &str, capital: usize, n_columns: u16, style: Style) -> Setting {
    let size = Size { capital, width: Width::Natural };
    let lines = vec![text.to_owned()];
    let mut field = Field::new(usize::from(n_columns), n_rows(size, &lines));
    field.set(text, size, 0, size.rise(text));
    Setting { style, set: Rc::new(Set { lines, field: Some(field) }) }
}

fn plain_set(text: &str, area: Rect) -> Set {
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let lines = wrap::by_sense(text, width.min(PLAIN_WIDTH), height)
        .or_else(|| wrap::by_sense(text, width, height))
        .unwrap_or_else(|| cut(text, width));
    Set { lines, field: None }
}

impl Widget for Setting {
    fn render(self, area: Rect, buf: &mut Buffer) {
        if area.is_empty() {
            return;
        }
        let height = self.n_rows().min(area.height);
        let room = Rect { y: area.y + (area.height - height) / 2, height, ..area };
        let Some(field) = &self.set.field else {
            let text = Text::from_iter(self.set.lines.iter().map(|line| Line::styled(line.as_str(), self.style)));
            return Paragraph::new(text).alignment(Alignment::Center).render(room, buf);
        };
        for row in 0..room.height {
            for column in 0..room.width.min(field.n_columns() as u16) {
                let symbol = field.cell(usize::from(column), usize::from(row));
                if symbol != " " {
                    buf[(room.x + column, room.y + row)].set_symbol(symbol).set_style(self.style);
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

#[cfg(test)]
mod tests {
    use super::*;

    fn set(text: &str, width: u16, height: u16) -> (Vec<String>, bool) {
        let setting = Letters { text, style: Style::new(), large: true, smallest: 0 }.set(Rect::new(0, 0, width, height));
        (setting.set.lines.clone(), setting.set.field.is_some())
    }

    #[test]
    fn letters_are_no_smaller_than_the_player_reads_where_there_is_room_for_that() {
        let n_rows_of = |text: &str, smallest: usize| {
            let letters = Letters { text, style: Style::new(), large: true, smallest };
            let setting = letters.set(Rect::new(0, 0, 76, 18));
            (setting.set.field.is_some(), setting.set.lines.len(), setting.n_rows())
        };
        let text = "left hand walks down to the low C";
        let (is_large, n_lines, n_rows) = n_rows_of(text, 0);
        assert!(is_large && n_lines <= 3, "{n_lines} lines, {n_rows} rows");
        // Letters of nine half rows ask for more lines of fewer words.
        let (is_large, n_lines, n_rows) = n_rows_of(text, 9);
        assert!(is_large && usize::from(n_rows) * 2 >= n_lines * 9, "{n_lines} lines, {n_rows} rows");
        assert!(n_rows_of(text, 30).0, "what cannot be so large is as large as it can be");
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig::with_cases(48))]
        #[test]
        fn a_large_cue_has_at_most_four_lines_of_twenty_characters_and_all_its_words(
            text in "[a-z]{1,9}(,? [a-zA-Z0-9]{1,10}){0,13}", width in 20u16..200, height in 6u16..56, smallest in 0usize..14
        ) {
            let setting = Letters { text: &text, style: Style::new(), large: true, smallest }.set(Rect::new(0, 0, width, height));
            proptest::prop_assert!(setting.n_rows() <= height || setting.set.field.is_none());
            if setting.set.field.is_some() {
                proptest::prop_assert!(setting.set.lines.len() <= N_LINES_MAX);
                proptest::prop_assert!(setting.set.lines.iter().all(|line| line.chars().count() <= N_CHARACTERS_MAX));
                proptest::prop_assert_eq!(setting.set.lines.join(" "), text);
            }
        }
    }

    #[test]
    fn letters_of_two_lines_do_not_touch_where_there_is_room() {
        let size = Size { capital: 7, width: Width::Natural };
        let lines = ["gypsy", "\u{c9}\u{c9}\u{c9}\u{c9}\u{c9}"].map(str::to_owned);
        let rows_of = |n_rows_max: usize| {
            let field = field_of(&lines, size, 40, n_rows_max);
            let is_empty = |row: &usize| (0..40).all(|column| field.cell(column, *row) == " ");
            (field.n_rows(), (0..field.n_rows()).filter(is_empty).count())
        };
        let (tight, loose) = (rows_of(n_rows(size, &lines)), rows_of(20));
        assert!(loose.0 > tight.0, "{tight:?} {loose:?}");
        let mut upper = Field::new(40, 20);
        upper.set(&lines[0], size, 0, 3);
        for (top, touches) in [(3 + size.pitch(), true), (3 + size.capital + size.descent(&lines[0]) + size.rise(&lines[1]) + 1, false)] {
            let mut lower = Field::new(40, 20);
            lower.set(&lines[1], size, 0, top);
            assert_eq!(lower.touches(&upper), touches, "{top}");
        }
    }

    #[test]
    fn a_phrase_is_large_wherever_it_can_be_and_whole_where_it_cannot() {
        for (text, width, height, expected, is_large) in [
            ("E flat, hands close", 76, 18, &["E flat,", "hands close"][..], true),
            ("as bar 3, a third lower", 76, 18, &["as bar 3,", "a third lower"], true),
            ("E\u{266d} und zur\u{fc}ck", 76, 18, &["E flat und zur\u{fc}ck"], true),
            (
                "\u{432}\u{43d}\u{438}\u{437} \u{43f}\u{43e} \u{441}\u{442}\u{440}\u{443}\u{43d}\u{430}\u{43c}",
                76,
                18,
                &["\u{432}\u{43d}\u{438}\u{437} \u{43f}\u{43e} \u{441}\u{442}\u{440}\u{443}\u{43d}\u{430}\u{43c}"],
                false,
            ),
            ("as bar 3, a third lower", 20, 4, &["as bar 3,", "a third lower"], false),
            ("unbreakable", 4, 3, &["unbr", "eaka", "ble"], false),
        ] {
            assert_eq!(set(text, width, height), (expected.iter().map(|line| (*line).to_owned()).collect(), is_large), "{text}");
        }
    }
}
