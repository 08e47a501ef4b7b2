//! What all parts share: bars with their metre, key and signs, and the tempo marks.

use crate::score::BarSigns;
use crate::theory::{KeySignature, Meter};
use crate::time::Tempo;

/// The bars of the score while parts are read; a sign in any part counts for all.
pub(super) struct Page {
    pub bars: Vec<PageBar>,
    /// Bar, ticks into it, tempo; in the order met.
    pub tempos: Vec<(usize, i64, Tempo)>,
}

/// One printed bar as far as it is known.
#[derive(Default, Clone)]
pub(super) struct PageBar {
    /// The `number` attribute of the first part that has the bar.
    pub label: Option<String>,
    /// `implicit="yes"`: not counted, as a pickup.
    pub is_implicit: bool,
    /// A metre that begins here.
    pub meter: Option<PageMeter>,
    /// A key that begins here, as it sounds.
    pub key: Option<KeySignature>,
    pub signs: BarSigns,
    /// A `<coda>` sign that may mean "to coda" or the coda itself: decided once all are known.
    pub bare_coda: bool,
    /// D.C. or D.S. stands here in words alone, so perhaps a bar early.
    pub worded_jump: bool,
    /// An ending bracket starts here, with its numbers; empty when they cannot be read.
    pub ending_start: Option<Vec<u8>>,
    /// An ending bracket is closed at the end of this bar.
    pub ending_stop: bool,
}

/// A time signature, or the sign that there is none.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum PageMeter {
    Metered(Meter),
    Free,
}

impl Page {
    pub fn new(n_bars: usize) -> Self {
        Page { bars: vec![PageBar::default(); n_bars], tempos: Vec::new() }
    }

    /// Returns the signs of a bar; a bar after the last counts as the last.
    pub fn signs(&mut self, bar: usize) -> &mut BarSigns {
        let last = self.bars.len() - 1;
        &mut self.bars[bar.min(last)].signs
    }

    /// Lays the ending brackets over their bars and settles what bare coda signs mean.
    pub fn settle_signs(&mut self) {
        self.settle_endings();
        self.settle_worded_jumps();
        let bare: Vec<usize> = (0..self.bars.len()).filter(|&i| self.bars[i].bare_coda).collect();
        let has_to_coda = self.bars.iter().any(|b| b.signs.to_coda);
        for (nth, &bar) in bare.iter().enumerate() {
            // Common practice: of two coda signs the first says where to leave, the second where to arrive.
            if nth == 0 && bare.len() > 1 && !has_to_coda {
                self.bars[bar].signs.to_coda = true;
            } else if !self.bars[bar].signs.to_coda {
                self.bars[bar].signs.coda = true;
            }
        }
    }

    /// Words have a width: "D.C." set to end at a double bar is often attached a bar before it. A jump
    /// means something only where a passage closes, so it moves on to a close in the next bar.
    fn settle_worded_jumps(&mut self) {
        for bar in 0..self.bars.len().saturating_sub(1) {
            let closes = |b: &PageBar| b.signs.double_bar || b.signs.repeat_end.is_some();
            let next_closes = bar + 2 == self.bars.len() || closes(&self.bars[bar + 1]);
            let opens = |b: &PageBar| b.signs.coda || b.bare_coda || b.signs.repeat_start;
            let is_early = !closes(&self.bars[bar]) && next_closes && !opens(&self.bars[bar + 1]);
            if self.bars[bar].worded_jump && is_early {
                let (da_capo, dal_segno) = (self.bars[bar].signs.da_capo, self.bars[bar].signs.dal_segno);
                (self.bars[bar].signs.da_capo, self.bars[bar].signs.dal_segno) = (false, false);
                let next = &mut self.bars[bar + 1].signs;
                (next.da_capo, next.dal_segno) = (next.da_capo || da_capo, next.dal_segno || dal_segno);
            }
        }
    }

    fn settle_endings(&mut self) {
        let mut bar = 0;
        // Where the bracket before ended, and its highest number.
        let mut before = (0, 0u8);
        while bar < self.bars.len() {
            let Some(mut numbers) = self.bars[bar].ending_start.clone() else {
                bar += 1;
                continue;
            };
            if numbers.is_empty() {
                numbers.push(if before.0 == bar { before.1.saturating_add(1) } else { 1 });
            }
            // A bracket without an end reaches to its repeat sign or the next bracket, else it is one bar long.
            let next = (bar + 1..self.bars.len()).find(|&i| self.bars[i].ending_start.is_some()).unwrap_or(self.bars.len());
            let stop = (bar..next).find(|&i| self.bars[i].ending_stop);
            let repeat = || (bar..next).find(|&i| self.bars[i].signs.repeat_end.is_some());
            let end = stop.or_else(repeat).map_or(bar + 1, |last| last + 1);
            for covered in &mut self.bars[bar..end] {
                covered.signs.endings.clone_from(&numbers);
            }
            before = (end, numbers.last().copied().unwrap_or(1));
            bar = end;
        }
    }
}
