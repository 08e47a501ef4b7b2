//! Where what was played lies in the piece as it is now.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::journal::attempts::Attempts;
use crate::journal::entry::{Mode, Verdict};
use crate::piece::Piece;

/// Where played spans and places lie in the piece as it is now.
pub struct Layout {
    pub n_bars: usize,
    pub n_sections: usize,
    bar_of: HashMap<String, usize>,
    /// By [`PlayedSpan`](crate::journal::attempts::PlayedSpan): its bars, half-open; none when the piece no longer has them.
    pub spans: Vec<Option<(usize, usize)>>,
    /// By span: the sections that lie in it.
    pub sections_in: Vec<Vec<usize>>,
    /// By failure.
    pub failed_bar: Vec<Option<usize>>,
}

impl Layout {
    pub fn new(piece: &Piece, attempts: &Attempts) -> Layout {
        let mut bar_of = HashMap::new();
        for (idx, bar) in piece.score.bars.iter().enumerate() {
            bar_of.entry(bar.label.0.clone()).or_insert(idx);
        }
        let range = |bars: &(String, String)| {
            let (first, last) = (*bar_of.get(&bars.0)?, *bar_of.get(&bars.1)?);
            (first <= last).then_some((first, last + 1))
        };
        let spans: Vec<Option<(usize, usize)>> = attempts.spans.iter().map(|s| range(&s.bars)).collect();
        let within = |span: &Option<(usize, usize)>| {
            let Some((from, end)) = *span else { return Vec::new() };
            let is_in = |s: &crate::piece::Section| from <= s.bars.start.0 && s.bars.end.0 <= end;
            piece.sections.iter().enumerate().filter(|(_, s)| is_in(s)).map(|(nth, _)| nth).collect()
        };
        let sections_in = spans.iter().map(within).collect();
        let (n_bars, n_sections) = (piece.score.bars.len(), piece.sections.len());
        let mut layout = Layout { n_bars, n_sections, bar_of, spans, sections_in, failed_bar: Vec::new() };
        layout.failed_bar = attempts.failures.iter().map(|(place, _)| layout.bar(place)).collect();
        layout
    }

    /// Returns the bar of a `bar.beat`; a label may itself have a dot.
    pub fn bar(&self, place: &str) -> Option<usize> {
        let label = place.rsplit_once('.').map_or(place, |(label, _)| label);
        self.bar_of.get(label).or_else(|| self.bar_of.get(place)).copied()
    }

    /// Returns by section the days with a clean rep, and the clean and all reps of today.
    pub fn counts(&self, attempts: &Attempts, today: NaiveDate) -> Vec<(usize, usize, usize)> {
        let mut counts = vec![(0, 0, 0); self.n_sections];
        let mut last_clean: Vec<Option<NaiveDate>> = vec![None; self.n_sections];
        for attempt in attempts.all.iter().filter(|a| a.mode != Mode::Reading) {
            let day = attempt.day;
            let is_clean = attempt.verdict == Verdict::Clean;
            for &section in &self.sections_in[attempt.span] {
                let count = &mut counts[section];
                if is_clean && last_clean[section] != Some(day) {
                    last_clean[section] = Some(day);
                    count.0 += 1;
                }
                if day == today {
                    count.1 += usize::from(is_clean);
                    count.2 += 1;
                }
            }
        }
        counts
    }
}
