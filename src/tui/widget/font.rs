//! Letters drawn from an outline font into quarter cells.
//!
//! The font is Atkinson Hyperlegible Bold 1.006 (SIL Open Font License 1.1, `font/OFL.txt`), made to
//! keep letters apart for eyes that see them small or blurred, cut down to Latin letters and signs
//! with `pyftsubset --unicodes=U+0020-007E,U+00A0-017F,U+2010-2015,U+2018-201E,U+2026
//! --no-hinting --layout-features=''` (fonttools).

use std::ops::Range;
use std::sync::OnceLock;

use fontdue::{Font, FontSettings};

/// Height of a capital over the size of the font, from its `OS/2` table (668 of 1000).
const CAPITAL: f32 = 0.668;
/// Height of a small letter such as x, from the same table.
const SMALL: f32 = 0.496;
/// Half of what round letters reach over their lines (12 of 1000).
const HAIR: f32 = 0.006;
/// Fine points of the outline to a half row. A cell is taken to be twice as high as wide, so that a
/// half column is half as wide as a half row is high.
const FINE: usize = 8;
/// Part of a quarter cell that must be covered to fill it.
const COVERED: f32 = 0.52;

/// How wide letters are set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Width {
    Natural,
    /// Four fifths of the natural width, to win a size.
    Narrow,
    /// Two thirds, to keep long phrases large enough.
    Tight,
}

impl Width {
    /// Fine points to a half column.
    fn fine(self) -> usize {
        match self {
            Width::Natural => FINE / 2,
            Width::Narrow => FINE / 2 + 1,
            Width::Tight => FINE / 2 + 2,
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
        self.capital * 4 / 3
    }

    /// Returns half rows that a line takes below its baseline (g, y, a comma).
    pub fn descent(self, line: &str) -> usize {
        let lowest = line.chars().map(|c| font().metrics(c, self.pixels()).ymin).min().unwrap_or(0);
        usize::try_from(-lowest).unwrap_or(0).div_ceil(FINE)
    }

    /// Returns half rows that a line takes above a capital (accents).
    pub fn rise(self, line: &str) -> usize {
        let top = |c| {
            let metrics = font().metrics(c, self.pixels());
            metrics.ymin + metrics.height as i32
        };
        let highest = line.chars().map(top).max().unwrap_or(0) as usize;
        // Round letters reach over the edge by a hair, which fills nothing.
        highest.saturating_sub(self.capital * FINE + FINE / 2).div_ceil(FINE)
    }

    fn pixels(self) -> f32 {
        (self.capital * FINE) as f32 / CAPITAL
    }

    /// Returns the fine point at the upper edge of a half row, both counted down from the top of a capital.
    ///
    /// Does what hinting does: small letters are stretched a little so that their height, too, is a whole number of half rows,
    /// and the hair by which round letters reach over their line is taken in, so that no crumb is left of it.
    fn fine_row(self, half_row: i64) -> i64 {
        let capital = (self.capital * FINE) as f32;
        let hair = capital * HAIR / CAPITAL;
        let small = capital * SMALL / CAPITAL;
        let snapped = (small / FINE as f32).round() * FINE as f32;
        let between = |at: f32, from: (f32, f32), to: (f32, f32)| from.1 + (at - from.0) * (to.1 - from.1) / (to.0 - from.0);
        // Heights above the baseline as drawn, and as they are in the outline.
        let (base, middle, top) = ((0.0, -hair), (snapped, small + hair), (capital, capital + hair));
        let height = capital - (half_row * FINE as i64) as f32;
        let outline = if height <= base.0 {
            height - hair
        } else if height <= middle.0 {
            between(height, base, middle)
        } else if height <= top.0 {
            between(height, middle, top)
        } else {
            height + hair
        };
        (capital - outline).round() as i64
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

    pub fn n_columns(&self) -> usize {
        self.n_columns
    }

    pub fn n_rows(&self) -> usize {
        self.n_rows
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
        let covered = |xs: Range<i64>, ys: Range<i64>| -> u32 {
            let (x0, x1) = (xs.start.max(first_x), xs.end.min(last_x));
            (ys.start.max(first_y)..ys.end.min(last_y))
                .map(|y| {
                    let row = (y - first_y) as usize * metrics.width;
                    let points = coverage.get(row + (x0 - first_x) as usize..row + (x1 - first_x) as usize);
                    points.unwrap_or_default().iter().map(|&point| u32::from(point)).sum::<u32>()
                })
                .sum()
        };
        // One half row more on both sides, for what snapping moves.
        for half_row in first_y.div_euclid(fine_y) - 1..=last_y.div_euclid(fine_y) + 1 {
            let rows = size.fine_row(half_row)..size.fine_row(half_row + 1);
            let enough = COVERED * 255.0 * (fine_x * (rows.end - rows.start)) as f32;
            for half_column in first_x.div_euclid(fine_x)..=last_x.div_euclid(fine_x) {
                let columns = half_column * fine_x..(half_column + 1) * fine_x;
                if covered(columns, rows.clone()) as f32 >= enough {
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

    /// Tells whether ink of this field lies on ink of another of the same size, or right under it.
    pub fn touches(&self, above: &Field) -> bool {
        let width = self.n_columns * 2;
        (0..self.filled.len()).filter(|at| self.filled[*at]).any(|at| {
            let (row, column) = (at / width, at % width);
            let near = column.saturating_sub(1)..(column + 2).min(width);
            above.filled[at] || row > 0 && above.filled[(row - 1) * width..row * width][near].contains(&true)
        })
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
        for capital in 7..40 {
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
            let size = Size { capital: 7, width: Width::Tight };
            let mut field = Field::new(12, 8);
            field.set(&c.to_string(), size, 4, 4);
            assert!(field.filled.contains(&true), "{c:?}");
        }
    }
}
