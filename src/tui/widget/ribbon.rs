//! Where the player is within the span: a thin line of bars, one group of cells a bar.
//!
//! Behind the player the line is whole, ahead it is dotted, and the bar being played is a thick
//! stroke. A bar to look at is named below it. Not a note, a pitch or a length is in it: every bar is
//! equally long.

use std::ops::Range;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::Widget;

/// Cells of a bar are no more than this, so that a short span stays a small thing.
const CELLS_MAX: usize = 6;

pub struct Ribbon<'a> {
    pub bars: &'a [String],
    /// Index of the bar being played.
    pub here: Option<usize>,
    /// Index of the bar to look at, and the word set below it.
    pub look: Option<(usize, &'a str)>,
    /// Where sections meet, named below the line until the first note, where there is room.
    pub seams: &'a [Range<usize>],
    pub quiet: Style,
    pub here_style: Style,
    pub look_style: Style,
}

/// Where the bars lie in a row: cells from its left edge.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Spacing {
    left: usize,
    /// Cells of a bar with its gap; zero when several bars share a cell.
    pitch: usize,
    gap: usize,
    n_bars: usize,
    n_cells: usize,
}

impl Spacing {
    fn of(n_bars: usize, width: usize) -> Self {
        let pitch = (width / n_bars.max(1)).min(CELLS_MAX + 1);
        match pitch {
            0 => Spacing { left: 0, pitch: 0, gap: 0, n_bars, n_cells: width },
            1 => Spacing { left: (width - n_bars) / 2, pitch, gap: 0, n_bars, n_cells: n_bars },
            _ => {
                let n_cells = n_bars * pitch - 1;
                Spacing { left: (width - n_cells) / 2, pitch, gap: 1, n_bars, n_cells }
            }
        }
    }

    /// Returns the cells of a bar, never empty inside a row that has any.
    fn cells(self, bar: usize) -> Range<usize> {
        match self.pitch {
            0 => {
                let first = bar * self.n_cells / self.n_bars;
                first..(first + 1).min(self.n_cells)
            }
            pitch => {
                let first = self.left + bar * pitch;
                first..first + pitch - self.gap
            }
        }
    }
}

impl Widget for Ribbon<'_> {
    fn render(self, area: Rect, buf: &mut Buffer) {
        let n_bars = self.bars.len();
        if area.is_empty() || n_bars == 0 {
            return;
        }
        let spacing = Spacing::of(n_bars, usize::from(area.width));
        let here = self.here.filter(|&bar| bar < n_bars);
        let x = |cell: usize| area.x + cell as u16;
        for bar in 0..n_bars {
            let line = if here.is_some_and(|here| bar < here) { "\u{2500}" } else { "\u{254c}" };
            for cell in spacing.cells(bar) {
                buf[(x(cell), area.y)].set_symbol(line).set_style(self.quiet);
            }
        }
        // Drawn last, so that it is seen where several bars share a cell.
        if let Some(here) = here {
            for cell in spacing.cells(here) {
                buf[(x(cell), area.y)].set_symbol("\u{25ac}").set_style(Style::reset()).set_style(self.here_style);
            }
        }
        if area.height > 1 && self.here.is_none() && self.look.is_none() {
            let mut free = 0;
            for seam in self.seams.iter().filter(|seam| seam.start < seam.end && seam.end <= n_bars) {
                let cells = spacing.cells(seam.start).start..spacing.cells(seam.end - 1).end;
                let join = tr!("join");
                let start = centred(&cells, &join, area);
                if start >= free {
                    buf.set_stringn(x(start), area.y + 1, &join, usize::from(area.width), self.quiet);
                    free = start + join.chars().count() + 1;
                }
            }
        }
        let Some((look, word)) = self.look.filter(|&(bar, _)| bar < n_bars) else { return };
        let cells = spacing.cells(look);
        for cell in cells.clone() {
            buf[(x(cell), area.y)].set_symbol("\u{2550}").set_style(Style::reset()).set_style(self.look_style);
        }
        if area.height > 1 {
            let start = centred(&cells, word, area);
            buf.set_stringn(x(start), area.y + 1, word, usize::from(area.width), self.look_style);
        }
    }
}

/// Returns where a word begins that is set under the middle of some cells.
fn centred(cells: &Range<usize>, word: &str, area: Rect) -> usize {
    let length = word.chars().count();
    ((cells.start + cells.end) / 2).saturating_sub(length / 2).min(usize::from(area.width).saturating_sub(length))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(n_bars: usize, here: Option<usize>, look: Option<usize>, width: u16) -> String {
        let bars: Vec<String> = (1..=n_bars).map(|n| n.to_string()).collect();
        let area = Rect::new(0, 0, width, 2);
        let mut buf = Buffer::empty(area);
        let plain = Style::new();
        let look = look.map(|bar| (bar, "look"));
        Ribbon { bars: &bars, here, look, seams: &[], quiet: plain, here_style: plain, look_style: plain }.render(area, &mut buf);
        (0..2).map(|y| (0..width).map(|x| buf[(x, y)].symbol()).collect::<String>().trim_end().to_owned() + "\n").collect()
    }

    #[test]
    fn the_bar_being_played_is_thick_what_is_behind_whole_what_is_ahead_dotted() {
        assert_eq!(drawn(4, Some(1), None, 31), "  ────── ▬▬▬▬▬▬ ╌╌╌╌╌╌ ╌╌╌╌╌╌\n\n");
    }

    #[test]
    fn the_bar_to_look_at_is_named() {
        assert_eq!(drawn(4, Some(3), Some(0), 31), "  ══════ ────── ────── ▬▬▬▬▬▬\n   look\n");
    }

    #[test]
    fn joins_are_named_until_the_first_note() {
        let bars: Vec<String> = (1..=6).map(|n| n.to_string()).collect();
        let area = Rect::new(0, 0, 41, 2);
        let row = |here| {
            let mut buf = Buffer::empty(area);
            let plain = Style::new();
            let seams = [1..3, 4..5];
            Ribbon { bars: &bars, here, look: None, seams: &seams, quiet: plain, here_style: plain, look_style: plain }
                .render(area, &mut buf);
            (0..41).map(|x| buf[(x, 1)].symbol()).collect::<String>().trim_end().to_owned()
        };
        assert_eq!(row(None), "            join           join");
        assert_eq!(row(Some(0)), "");
    }

    #[test]
    fn before_the_first_note_nothing_is_marked() {
        assert_eq!(drawn(3, None, None, 20), " ╌╌╌╌╌ ╌╌╌╌╌ ╌╌╌╌╌\n\n");
    }

    #[test]
    fn any_number_of_bars_fits_any_width() {
        for n_bars in [1, 2, 24, 76, 77, 120, 1000] {
            for width in [1u16, 2, 5, 20, 76, 196] {
                for bar in [0, n_bars / 2, n_bars - 1] {
                    let text = drawn(n_bars, Some(bar), None, width);
                    assert!(text.contains('\u{25ac}'), "bar {bar} of {n_bars} in {width}: {text:?}");
                    drawn(n_bars, Some(bar), Some(n_bars - 1 - bar), width);
                }
            }
        }
    }

    #[test]
    fn positions_outside_the_span_are_not_drawn() {
        assert_eq!(drawn(2, Some(7), Some(9), 13), " ╌╌╌╌╌ ╌╌╌╌╌\n\n");
    }
}
