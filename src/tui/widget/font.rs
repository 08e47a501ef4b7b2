//! Letters drawn from an outline font into quarter cells.
//!
//! The font is Atkinson Hyperlegible Bold 1.006 (SIL Open Font License 1.1, `font/OFL.txt`), made to
//! keep letters apart for eyes that see them small or blurred, cut down to Latin letters and signs
//! with `pyftsubset --unicodes=U+0020-007E,U+00A0-017F,U+2010-2015,U+2018-201E,U+2026
//! --no-hinting --layout-features=''` (fonttools).

use std::sync::OnceLock;

use fontdue::{Font, FontSettings};

/// Height of a capital over the size of the font, from its `OS/2` table (668 of 1000).
const CAPITAL: f32 = 0.668;
/// Fine points of the outline to a half row. A cell is taken to be twice as high as wide, so that a
/// half column is half as wide as a half row is high.
const FINE: usize = 8;
/// Part of a quarter cell that must be covered to fill it.
const COVERED: f32 = 0.48;

/// How wide letters are set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Width {
    Natural,
    /// Four fifths of the natural width, to win a size.
    Narrow,
}

impl Width {
    /// Fine points to a half column.
    fn fine(self) -> usize {
        match self {
            Width::Natural => FINE / 2,
            Width::Narrow => FINE / 2 + 1,
        }
    }
}

/// A size of letters: the height of a capital in **half rows**, above zero, and the width they are set in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Size {
    pub capital: usize,
    pub width: Width,
}

impl Size {
    /// Returns half rows from one baseline to the next.
    pub fn pitch(self) -> usize {
        (self.capital * 7).div_ceil(5)
    }

    /// Returns half rows that descenders (g, y, a comma) take below the baseline.
    pub fn descent(self) -> usize {
        (self.capital * 2).div_ceil(5)
    }

    /// Returns half rows that an accent takes above a capital.
    pub fn accent(self) -> usize {
        (self.capital * 2).div_ceil(5)
    }

    fn pixels(self) -> f32 {
        (self.capital * FINE) as f32 / CAPITAL
    }

    /// Returns the half columns of a character with its spacing.
    pub fn advance(self, c: char) -> usize {
        let fine = font().metrics(c, self.pixels()).advance_width;
        (fine / self.width.fine() as f32).round().max(1.0) as usize
    }

    /// Returns the half columns of a text set in one line.
    pub fn length(self, text: &str) -> usize {
        text.chars().map(|c| self.advance(c)).sum()
    }
}

/// Returns whether the font has this character.
pub fn has(c: char) -> bool {
    font().has_glyph(c)
}

fn font() -> &'static Font {
    static FONT: OnceLock<Font> = OnceLock::new();
    FONT.get_or_init(|| {
        let bytes = include_bytes!("font/AtkinsonHyperlegible-Bold-subset.ttf").as_slice();
        Font::from_bytes(bytes, FontSettings::default()).expect("the font in the program is whole")
    })
}

/// A field of quarter cells to set letters into.
pub struct Field {
    n_columns: usize,
    n_rows: usize,
    /// Half rows of half columns.
    filled: Vec<bool>,
}

impl Field {
    /// Makes an empty field of so many cells.
    pub fn new(n_columns: usize, n_rows: usize) -> Self {
        Field { n_columns, n_rows, filled: vec![false; n_columns * n_rows * 4] }
    }

    /// Sets a line of text: `left` in half columns, `top` (of a capital) in half rows. What lies outside the field is left out.
    pub fn set(&mut self, text: &str, size: Size, left: usize, top: usize) {
        let mut pen = left;
        for c in text.chars() {
            self.set_character(c, size, pen, top);
            pen += size.advance(c);
        }
    }

    fn set_character(&mut self, c: char, size: Size, left: usize, top: usize) {
        let (metrics, coverage) = font().rasterize(c, size.pixels());
        if metrics.width == 0 || metrics.height == 0 {
            return;
        }
        let (fine_x, fine_y) = (size.width.fine() as i64, FINE as i64);
        // Fine points from the pen, and from the top of a capital, to the first of the drawn ones.
        let first_x = i64::from(metrics.xmin);
        let first_y = (size.capital * FINE) as i64 - (i64::from(metrics.ymin) + metrics.height as i64);
        let (last_x, last_y) = (first_x + metrics.width as i64, first_y + metrics.height as i64);
        let point = |x: i64, y: i64| {
            let inside = (first_x..last_x).contains(&x) && (first_y..last_y).contains(&y);
            if inside { u32::from(coverage[(y - first_y) as usize * metrics.width + (x - first_x) as usize]) } else { 0 }
        };
        let enough = (COVERED * 255.0 * (fine_x * fine_y) as f32) as u32;
        for half_row in first_y.div_euclid(fine_y)..=last_y.div_euclid(fine_y) {
            for half_column in first_x.div_euclid(fine_x)..=last_x.div_euclid(fine_x) {
                let covered: u32 = (0..fine_y)
                    .flat_map(|y| (0..fine_x).map(move |x| (x, y)))
                    .map(|(x, y)| point(half_column * fine_x + x, half_row * fine_y + y))
                    .sum();
                if covered >= enough {
                    self.fill(left as i64 + half_column, top as i64 + half_row);
                }
            }
        }
    }

    fn fill(&mut self, half_column: i64, half_row: i64) {
        let (width, height) = (self.n_columns as i64 * 2, self.n_rows as i64 * 2);
        if (0..width).contains(&half_column) && (0..height).contains(&half_row) {
            self.filled[(half_row * width + half_column) as usize] = true;
        }
    }

    /// Returns the block character of a cell inside the field; a space where nothing is filled.
    pub fn cell(&self, column: usize, row: usize) -> &'static str {
        /// By the bits: top left 1, top right 2, bottom left 4, bottom right 8.
        const BLOCKS: [&str; 16] = [" ", "▘", "▝", "▀", "▖", "▌", "▞", "▛", "▗", "▚", "▐", "▜", "▄", "▙", "▟", "█"];
        let at = |dx: usize, dy: usize| usize::from(self.filled[(row * 2 + dy) * self.n_columns * 2 + column * 2 + dx]);
        BLOCKS[at(0, 0) + 2 * at(1, 0) + 4 * at(0, 1) + 8 * at(1, 1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_capital_fills_exactly_its_half_rows() {
        for capital in 4..40 {
            let size = Size { capital, width: Width::Natural };
            let mut field = Field::new(size.length("H").div_ceil(2), capital.div_ceil(2) + 1);
            field.set("H", size, 0, 0);
            let width = field.n_columns * 2;
            let rows: Vec<usize> =
                (0..field.n_rows * 2).filter(|row| field.filled[row * width..(row + 1) * width].contains(&true)).collect();
            assert_eq!(rows, (0..capital).collect::<Vec<_>>());
        }
    }

    #[test]
    fn every_letter_and_figure_leaves_ink_at_the_smallest_size() {
        for c in ('!'..='~').chain('\u{a1}'..='\u{17f}').filter(|&c| has(c) && c != '\u{ad}') {
            let size = Size { capital: 5, width: Width::Narrow };
            let mut field = Field::new(12, 8);
            field.set(&c.to_string(), size, 4, 4);
            assert!(field.filled.contains(&true), "{c:?}");
        }
    }
}
