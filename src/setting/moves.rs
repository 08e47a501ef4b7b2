//! When pedals and levers move: near before the note, on a beat, where foot or hand is free.

use std::collections::{BTreeMap, BTreeSet};

use super::Moved;
use super::needs::Need;
use crate::score::{Place, Score, Unfolded};
use crate::theory::Hand;
use crate::theory::harp::Foot;
use crate::time::{ScoreTime, Tempo};

/// How long the left hand needs to leave its strings, move a lever and come back, in seconds (a reasoned default, not measured).
const REACH_S: f64 = 0.6;
/// A change is not looked for further back than so many beats: it is remembered with the note that needs it.
const N_BEATS_BACK: usize = 12;

/// One move of a pedal or a lever.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Change {
    /// Where it is moved, on the page and in quarters from the start of the stretch.
    pub place: Place,
    pub played: ScoreTime,
    /// The note that needs it.
    pub for_place: Place,
    /// The same, in quarters from the start of the stretch.
    pub needed: ScoreTime,
    pub what: Moved,
    pub from: i8,
    pub to: i8,
    pub trouble: Option<Trouble>,
}

/// What makes a move hard.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Trouble {
    /// What moves still sounds with its old accidental.
    StillSounding,
    /// There is no free beat for this foot between the two notes.
    NoFreeBeat,
    /// The left hand has less time than it needs.
    HandBusy,
}

/// A move that is wanted, before it has its time.
struct Wanted {
    what: Moved,
    from: i8,
    to: i8,
    /// The note before was struck, and ends; the note that needs the move is struck.
    struck: ScoreTime,
    free: ScoreTime,
    due: ScoreTime,
}

/// Returns what stands at the start, sorted, and the moves in playing order.
pub fn moves(
    needs: &BTreeMap<Moved, Vec<Need>>,
    score: &Score,
    stretch: &Unfolded,
    tempo: Option<Tempo>,
) -> (Vec<(Moved, i8)>, Vec<Change>) {
    let start = needs.iter().map(|(moved, list)| (*moved, list[0].alter)).collect();
    let mut wanted: Vec<Wanted> = Vec::new();
    for (what, list) in needs {
        for pair in list.windows(2).filter(|pair| pair[0].alter != pair[1].alter) {
            let (before, after) = (pair[0], pair[1]);
            let [from, to] = [before.alter, after.alter];
            wanted.push(Wanted { what: *what, from, to, struck: before.at, free: before.until, due: after.at });
        }
    }
    wanted.sort_by_key(|w| (w.due, w.what));
    let tempo = tempo.or(score.tempo_at(ScoreTime::ZERO)).unwrap_or(Tempo::USUAL).quarters_per_minute();
    let beats = beats(score, stretch);
    let mut feet = Feet::default();
    let mut hand = LeftHand::new(stretch, tempo / 60.0);
    let mut changes: Vec<Change> = Vec::new();
    // The latest needs choose first, so that each takes the last beat before its note that is still free.
    for w in wanted.iter().rev() {
        let (played, trouble) = match w.what {
            Moved::Pedal(letter) => feet.place(Foot::of(letter), w, &beats),
            Moved::Lever(_) => hand.place(w, &beats),
            Moved::Tuned(_) => continue,
        };
        let (Some(place), Some(for_place)) = (stretch.place(played), stretch.place(w.due)) else { continue };
        changes.push(Change { place, played, for_place, needed: w.due, what: w.what, from: w.from, to: w.to, trouble });
    }
    changes.sort_by_key(|c| (c.played, c.what));
    (start, changes)
}

/// Every beat of the stretch, in order.
fn beats(score: &Score, stretch: &Unfolded) -> Vec<ScoreTime> {
    let mut beats = Vec::new();
    for bar in &stretch.bars {
        let printed = score.bar(bar.bar);
        let beat = printed.meter.beat_length();
        let mut at = ScoreTime::ZERO;
        while at < printed.offset + bar.length {
            if at >= printed.offset {
                beats.push(bar.start + (at - printed.offset));
            }
            at += beat;
        }
    }
    beats
}

/// Returns the beats from `from` to before `until`, latest first, no further back than [`N_BEATS_BACK`].
fn beats_before(beats: &[ScoreTime], from: ScoreTime, until: ScoreTime) -> impl Iterator<Item = ScoreTime> {
    let end = beats.partition_point(|b| *b < until);
    beats[end.saturating_sub(N_BEATS_BACK)..end].iter().rev().copied().take_while(move |b| *b >= from)
}

/// Which foot is taken on which beat.
#[derive(Default)]
struct Feet {
    taken: BTreeSet<(Foot, ScoreTime)>,
}

impl Feet {
    /// The last beat before the note on which the foot is free and the strings are silent, else one on which they still sound.
    fn place(&mut self, foot: Foot, w: &Wanted, beats: &[ScoreTime]) -> (ScoreTime, Option<Trouble>) {
        let mut free = |from: ScoreTime| beats_before(beats, from, w.due).find(|b| *b > w.struck && self.taken.insert((foot, *b)));
        if let Some(beat) = free(w.free) {
            return (beat, None);
        }
        if let Some(beat) = free(w.struck) {
            return (beat, Some(Trouble::StillSounding));
        }
        (half_way(w.struck, w.due), Some(Trouble::NoFreeBeat))
    }
}

/// When the left hand plays, and what it has to do between.
struct LeftHand {
    /// When it strikes, sorted, no duplicates.
    strikes: Vec<ScoreTime>,
    /// Levers moved after the strike of this index.
    n_moves: BTreeMap<usize, usize>,
    quarters_per_second: f64,
}

impl LeftHand {
    fn new(stretch: &Unfolded, quarters_per_second: f64) -> Self {
        let mut strikes: Vec<ScoreTime> = stretch.notes.iter().filter(|n| n.hand == Hand::Left).map(|n| n.onset).collect();
        strikes.dedup();
        LeftHand { strikes, n_moves: BTreeMap::new(), quarters_per_second }
    }

    /// In the longest rest of the hand before the note, of two alike in the later one; on a beat of it where there is one.
    fn place(&mut self, w: &Wanted, beats: &[ScoreTime]) -> (ScoreTime, Option<Trouble>) {
        let back = beats_before(beats, w.struck, w.due).last().unwrap_or(w.struck).max(w.struck);
        let end = self.strikes.partition_point(|s| *s < w.due);
        let first = self.strikes.partition_point(|s| *s <= back).saturating_sub(1);
        let mut best: Option<(f64, ScoreTime, ScoreTime, usize)> = None;
        for idx in first..end.max(first + 1) {
            let from = self.strikes.get(idx).copied().filter(|s| *s < w.due).unwrap_or(back).max(back);
            let until = self.strikes.get(idx + 1).copied().unwrap_or(w.due).min(w.due);
            let n_others = self.n_moves.get(&idx).copied().unwrap_or(0);
            let seconds = (until - from).to_f64() / self.quarters_per_second / (n_others + 1) as f64;
            if until > from && best.is_none_or(|(longest, ..)| seconds >= longest) {
                best = Some((seconds, from, until, idx));
            }
        }
        let Some((seconds, from, until, idx)) = best else { return (half_way(w.struck, w.due), Some(Trouble::HandBusy)) };
        *self.n_moves.entry(idx).or_default() += 1;
        let beat = beats_before(beats, from, until).filter(|b| *b > from).last();
        let at = beat.unwrap_or_else(|| half_way(from, until));
        let trouble = if seconds < REACH_S { Some(Trouble::HandBusy) } else { (at < w.free).then_some(Trouble::StillSounding) };
        (at, trouble)
    }
}

fn half_way(from: ScoreTime, until: ScoreTime) -> ScoreTime {
    from + (until - from).scaled(1, 2)
}
