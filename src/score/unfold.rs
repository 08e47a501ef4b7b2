//! Playing order: repeats, endings, da capo, dal segno, coda and fine laid out bar after bar.

use std::ops::Range;

use super::{BarIdx, BarRange, NoteIdx, Part, Place, Score};
use crate::midi::MidiKey;
use crate::theory::Hand;
use crate::time::ScoreTime;

/// A stretch of one part in the order it is played.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Unfolded {
    /// Bars as played; each starts where the one before ends, the first at zero.
    pub bars: Vec<PlayedBar>,
    /// Sorted by onset, then sounding pitch, then as in the part. One row per note as played.
    pub notes: Vec<PlayedNote>,
}

/// One bar in playing order.
#[derive(Clone, PartialEq, Debug)]
pub struct PlayedBar {
    /// The printed bar.
    pub bar: BarIdx,
    /// How many times this printed bar has been played before, from 0.
    pub pass: u16,
    /// Quarters from the start of the stretch.
    pub start: ScoreTime,
    pub length: ScoreTime,
}

/// One note in playing order.
#[derive(Clone, PartialEq, Debug)]
pub struct PlayedNote {
    /// Quarters from the start of the stretch.
    pub onset: ScoreTime,
    pub duration: ScoreTime,
    /// The sounding key.
    pub key: MidiKey,
    pub hand: Hand,
    /// The note in the part.
    pub note: NoteIdx,
    /// Index into [`Unfolded::bars`].
    pub played_bar: usize,
}

impl Unfolded {
    pub fn total(&self) -> ScoreTime {
        self.bars.last().map_or(ScoreTime::ZERO, |b| b.start + b.length)
    }

    /// Returns some of the bars, in the order they are played, as a stretch of their own. A note held into the first of them is left out.
    pub fn slice(&self, bars: Range<usize>) -> Unfolded {
        let Some(origin) = self.bars.get(bars.start).map(|b| b.start) else { return Unfolded::default() };
        let end = bars.end.min(self.bars.len());
        let moved = |b: &PlayedBar| PlayedBar { start: b.start - origin, ..b.clone() };
        let own = self.notes.iter().filter(|n| (bars.start..end).contains(&n.played_bar));
        let notes = own.map(|n| PlayedNote { onset: n.onset - origin, played_bar: n.played_bar - bars.start, ..n.clone() }).collect();
        Unfolded { bars: self.bars[bars.start..end].iter().map(moved).collect(), notes }
    }

    /// Returns the notes that begin from `from` to `to`, both included, with the whole bars that they stand in.
    pub fn between(&self, from: ScoreTime, to: ScoreTime) -> Unfolded {
        let is_in = |n: &&PlayedNote| (from..=to).contains(&n.onset);
        let bar = |note: Option<&PlayedNote>| note.map_or(0, |n| n.played_bar);
        let (first, last) = (bar(self.notes.iter().find(is_in)), bar(self.notes.iter().rfind(is_in)));
        let mut within = self.slice(first..last + 1);
        let origin = self.bars.get(first).map_or(ScoreTime::ZERO, |b| b.start);
        within.notes.retain(|n| (from..=to).contains(&(n.onset + origin)));
        within
    }

    /// Returns the page place of a position in the stretch, or `None` outside it.
    pub fn place(&self, at: ScoreTime) -> Option<Place> {
        let bar = self.bars[..self.bars.partition_point(|b| b.start <= at)].last()?;
        (at < self.total()).then(|| Place { bar: bar.bar, into_bar: at - bar.start })
    }

    /// Returns a run of its bars as a stretch of its own, in the same playing order. Notes held into it from before are left out.
    ///
    /// # Panics
    /// When the run lies outside.
    pub fn cut(&self, bars: Range<usize>) -> Unfolded {
        let origin = self.bars.get(bars.start).map_or(ScoreTime::ZERO, |b| b.start);
        let first = self.notes.partition_point(|n| n.onset < origin);
        let end = self.bars.get(bars.end).map_or(self.notes.len(), |b| self.notes.partition_point(|n| n.onset < b.start));
        let notes = self.notes[first.min(end)..end].iter().map(|n| PlayedNote {
            onset: n.onset - origin,
            played_bar: n.played_bar - bars.start,
            ..n.clone()
        });
        let notes = notes.collect();
        let bars = self.bars[bars].iter().map(|b| PlayedBar { start: b.start - origin, ..b.clone() }).collect();
        Unfolded { bars, notes }
    }
}

/// Lays out a run of printed bars in playing order, as if it were a score of its own: a repeat
/// that begins before the run goes back to the run's first bar, jumps to places outside it are not taken.
///
/// See [`order`](super::order) for the rules. A note tied over a jump (into a second ending) is held,
/// not struck again, when the bar before it in playing order ends with a tied note of the same key.
/// Cost: linear in the bars and notes played.
pub fn unfold(score: &Score, part: &Part, bars: &BarRange) -> Unfolded {
    lay_out(score, part, &super::order::playing_order(score, bars))
}

fn lay_out(score: &Score, part: &Part, order: &[BarIdx]) -> Unfolded {
    let mut passes = vec![0u16; score.bars.len()];
    let mut at = ScoreTime::ZERO;
    let mut out = Unfolded::default();
    // Where the notes of the bar before begin in `out.notes`.
    let mut before = 0;
    for (played_bar, &bar) in order.iter().enumerate() {
        let printed = score.bar(bar);
        out.bars.push(PlayedBar { bar, pass: passes[bar.0], start: at, length: printed.length });
        passes[bar.0] = passes[bar.0].saturating_add(1);
        let this = out.notes.len();
        let end = printed.start + printed.length;
        let first = part.notes.partition_point(|n| n.onset < printed.start);
        let of_bar = part.notes.iter().enumerate().skip(first).take_while(|(_, n)| n.onset <= end).filter(|(_, n)| n.bar == bar);
        for (idx, note) in of_bar {
            let onset = at + (note.onset - printed.start);
            // A grace note before the bar line leads to the next bar played, and to nothing at the end of the run.
            let leads_on = note.onset == end && !printed.length.is_zero();
            if leads_on && played_bar + 1 == order.len() {
                continue;
            }
            if part.held_over.binary_search(&NoteIdx(idx)).is_ok() {
                let reaches = |n: &&mut PlayedNote| n.key == note.key && n.onset + n.duration >= onset && !n.duration.is_zero();
                if let Some(held) = out.notes[before..this].iter_mut().find(reaches) {
                    held.duration = onset + note.duration - held.onset;
                    continue;
                }
            }
            let (duration, key, hand) = (note.duration, note.key, note.hand);
            let played_bar = played_bar + leads_on as usize;
            out.notes.push(PlayedNote { onset, duration, key, hand, note: NoteIdx(idx), played_bar });
        }
        before = this;
        at += printed.length;
    }
    out.notes.sort_by_key(|n| (n.onset, n.key, n.note));
    out
}
