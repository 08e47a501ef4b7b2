//! Which hand plays which note of music that does not say: a split of each chord that follows the hands.
//!
//! Of all ways to deal the chords out the cheapest is kept, with a beam search over onsets: each hand stays near where it was and
//! where it has been for long, reaches no farther than it can with what it holds, does not cross the other, and the notes around fall
//! into a high and a low group. The costs are ours. Further searches weigh also what the music around a note says of its hand, given
//! the split before (`around`), and what its loudness says (`loudness`).

pub mod around;
mod learned;
mod loudness;
pub mod passage;
pub mod seen;

use crate::midi::{MidiKey, Velocity};
use crate::theory::Hand;
use crate::time::ScoreTime;

/// A note as the hands see it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Sounding {
    pub onset: ScoreTime,
    pub end: ScoreTime,
    pub key: MidiKey,
    /// Where it was played.
    pub velocity: Option<Velocity>,
}

/// Costs of the split by reach, a unit each as their comment says. Fitted on piano scores whose staves are the truth (every third of
/// 40 Mozart sonata movements and Schumann op. 15 pieces of the DCML corpora). Figures of the whole, on scores that nothing was
/// fitted on, are in `tests/bench/capture.rs`.
struct Costs;

impl Costs {
    /// A semitone from the hand's place to the middle of its chord; less when the hand has rested.
    const MOVED: f64 = 0.0552;
    /// A semitone from the hand's place to each of its notes, and from where it has been for long.
    const NEAR: f64 = 0.0246;
    const LONG: f64 = 0.0125;
    /// Semitones beyond which a leap costs no more.
    const LEAP_MAX: f64 = 30.7;
    /// A semitone that a chord spans beyond four, and that it spans beyond four with what the hand holds.
    const SPAN: f64 = 0.13;
    const HELD_SPAN: f64 = 0.192;
    const SPAN_FREE: f64 = 4.0;
    /// A note more than the hand has fingers.
    const FINGER: f64 = 2.0;
    /// A hand that has nothing at an onset.
    const IDLE: f64 = 0.0256;
    /// A chord shared between the hands, and a semitone of the gap it is shared at.
    const SHARED: f64 = -0.05;
    const GAP: f64 = -0.00384;
    const GAP_MAX: i32 = 15;
    /// A semitone that the left hand is above the right, in notes and in place.
    const CROSSED: f64 = 0.225;
    const CLOSE: f64 = 0.0307;
    const CLOSE_FROM: f64 = 7.0;
    /// A semitone that a hand is on the other's side of middle C.
    const SIDE: f64 = 0.00133;
    /// Variance of the notes on either side of the split, within one and within three quarters.
    const SPREAD: f64 = 0.01;
    const WIDE_SPREAD: f64 = 0.003;
}

/// How much of its old place a hand keeps at each chord, for its place and for where it has been for long.
const KEPT: f64 = 0.46;
const KEPT_LONG: f64 = 0.95;
/// Quarters in which the memory of a place fades.
const FADE: f64 = 24.6;
/// Quarters in which a chord may be held or crossed.
const HELD_MAX: f64 = 4.0;
const JUST_STRUCK: f64 = 2.0;
const FINGERS: usize = 5;
const MIDDLE_C: f64 = 60.0;
/// More notes than this, which no piece has, are split at middle C: a file may hold millions.
const N_NOTES_MAX: usize = 50_000;
/// Ways kept at each onset.
const N_WAYS: usize = 25;

/// Where one hand is.
#[derive(Clone, Copy)]
struct Place {
    at: f64,
    long: f64,
    /// Its last chord: keys, onset and end.
    low: f64,
    high: f64,
    onset: f64,
    end: f64,
    has_played: bool,
}

/// One way to have dealt out the music so far.
#[derive(Clone, Copy)]
struct Way {
    left: Place,
    right: Place,
    cost: f64,
    /// The way it came from, and how many of the chord's lowest notes went to the left hand.
    before: usize,
    n_left: usize,
}

/// How often the notes around are looked at; each time by the hands of the split before.
const N_PASSES: usize = 2;
/// What the logarithm of a probability weighs against the other costs, and how sure a probability may be.
const LEANING: f64 = 0.7;
const SURE_MAX: f64 = 0.998;

/// Splits notes, sorted by onset, then key, between the hands: of each chord the lower notes go to the left.
///
/// Cost: onsets times ways times notes of the chord. Limitations: more than 50,000 notes are split at middle C; hands that cross within a chord are not seen.
pub fn split_hands(notes: &[Sounding]) -> Vec<Hand> {
    let rows: Vec<Row> = notes.iter().map(Row::of).collect();
    let is_left =
        if rows.len() > N_NOTES_MAX { rows.iter().map(|r| r.key < MIDDLE_C).collect() } else { by_context(&rows, &learned::weights()) };
    is_left.into_iter().map(|left| if left { Hand::Left } else { Hand::Right }).collect()
}

/// Returns which notes the left hand has by reach, by the music around as networks of these weights see it, and by loudness.
pub fn by_context(rows: &[Row], weights: &[f32]) -> Vec<bool> {
    let loudness = loudness::log_odds(rows);
    (0..N_PASSES).fold(by_reach(rows), |split, _| {
        let around = around::leanings(rows, &split, weights);
        let louder = |(leaning, odds): (&f32, &f32)| passage::logistic((leaning / (1.0 - leaning)).ln() + odds);
        search(rows, Some(&around.iter().zip(&loudness).map(louder).collect::<Vec<f32>>()))
    })
}

/// Returns the cheapest split by what hands do alone: which notes the left has.
pub fn by_reach(rows: &[Row]) -> Vec<bool> {
    search(rows, None)
}

/// Returns which notes the left hand has in the cheapest way; `leanings` are probabilities that it has them.
fn search(rows: &[Row], leanings: Option<&[f32]>) -> Vec<bool> {
    let nowhere = |at: f64| Place { at, long: at, low: 0.0, high: 0.0, onset: 0.0, end: 0.0, has_played: false };
    let mut ways = vec![Way { left: nowhere(MIDDLE_C - 12.0), right: nowhere(MIDDLE_C + 12.0), cost: 0.0, before: 0, n_left: 0 }];
    let mut steps: Vec<(usize, Vec<(usize, usize)>)> = Vec::new();
    let leaning = |i: usize, is_left: bool| {
        let left = leanings.map_or(0.5, |all| f64::from(all[i]));
        let own = if is_left { left } else { 1.0 - left };
        -LEANING * own.clamp(1.0 - SURE_MAX, SURE_MAX).ln()
    };
    let mut first = 0;
    while first < rows.len() {
        let chord = &rows[first..first + rows[first..].iter().take_while(|r| r.onset == rows[first].onset).count()];
        let leans = |n_left: usize| (0..chord.len()).map(|k| leaning(first + k, k < n_left)).sum::<f64>();
        let spreads: Vec<f64> = (0..=chord.len()).map(|n| spread(rows, chord, n) + leans(n)).collect();
        let mut next: Vec<Way> = Vec::with_capacity(ways.len() * (chord.len() + 1));
        for (before, way) in ways.iter().enumerate() {
            next.extend((0..=chord.len()).map(|n_left| way.go_on(before, chord, n_left, spreads[n_left])));
        }
        next.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        ways.clear();
        for way in next {
            if ways.len() == N_WAYS {
                break;
            }
            if !ways.iter().any(|kept| kept.is_like(&way)) {
                ways.push(way);
            }
        }
        steps.push((first, ways.iter().map(|way| (way.before, way.n_left)).collect()));
        first += chord.len();
    }
    let mut is_left = vec![false; rows.len()];
    let mut at = 0;
    for (first, ways) in steps.iter().rev() {
        let (before, n_left) = ways[at];
        is_left[*first..first + n_left].fill(true);
        at = before;
    }
    is_left
}

/// A note in numbers: quarters, and the key's number.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Row {
    pub onset: f64,
    pub end: f64,
    pub key: f64,
    /// Where it is known.
    pub velocity: Option<f32>,
}

impl Row {
    pub fn of(note: &Sounding) -> Row {
        Row {
            onset: note.onset.to_f64(),
            end: note.end.to_f64(),
            key: f64::from(note.key.number()),
            velocity: note.velocity.map(|v| f32::from(v.0)),
        }
    }
}

/// Returns how mixed the notes around a chord are on either side of its split.
fn spread(rows: &[Row], chord: &[Row], n_left: usize) -> f64 {
    let split = chord.get(n_left).map_or(chord[chord.len() - 1].key + 1.0, |r| r.key);
    let within = |quarters: f64| {
        let at = chord[0].onset;
        let near = &rows[rows.partition_point(|r| r.onset < at - quarters)..rows.partition_point(|r| r.onset <= at + quarters)];
        let side = |is_high: bool| {
            let keys = || near.iter().map(|r| r.key).filter(|&k| (k >= split) == is_high);
            let (n, sum, squares) = keys().fold((0.0, 0.0, 0.0), |(n, sum, squares), k| (n + 1.0, sum + k, squares + k * k));
            if n > 0.0 { squares - sum * sum / n } else { 0.0 }
        };
        (side(false) + side(true)) / near.len() as f64
    };
    Costs::SPREAD * within(1.0) + Costs::WIDE_SPREAD * within(3.0)
}

impl Way {
    fn go_on(&self, before: usize, chord: &[Row], n_left: usize, spread: f64) -> Way {
        let at = chord[0].onset;
        let (low, high) = chord.split_at(n_left);
        let (left, left_cost) = self.left.take(low, at, 1.0);
        let (right, right_cost) = self.right.take(high, at, -1.0);
        let mut cost = self.cost + spread + left_cost + right_cost;
        if let (Some(below), Some(above)) = (low.last(), high.first()) {
            cost += Costs::SHARED + Costs::GAP * (above.key - below.key).min(f64::from(Costs::GAP_MAX));
        }
        let is_down = |p: &Place| p.has_played && (at - p.onset < JUST_STRUCK || p.end > at);
        if is_down(&left) && is_down(&right) {
            cost += Costs::CROSSED * (left.high - right.low).clamp(0.0, 24.0);
            cost += Costs::CLOSE * (left.at - right.at + Costs::CLOSE_FROM).max(0.0);
        }
        Way { left, right, cost, before, n_left }
    }

    /// Tells whether two ways lead on alike; then the cheaper is enough.
    fn is_like(&self, other: &Way) -> bool {
        let alike = |a: &Place, b: &Place| (a.at - b.at).abs() < 0.5 && a.low == b.low && a.high == b.high;
        alike(&self.left, &other.left) && alike(&self.right, &other.right)
    }
}

impl Place {
    /// Returns the hand after it took these notes, and what that cost. `side` is 1 for the left hand, -1 for the right.
    fn take(&self, notes: &[Row], at: f64, side: f64) -> (Place, f64) {
        let (Some(lowest), Some(highest)) = (notes.first(), notes.last()) else { return (*self, Costs::IDLE) };
        let middle = notes.iter().map(|r| r.key).sum::<f64>() / notes.len() as f64;
        let rested = if self.has_played { 0.3 + 0.7 * (-(at - self.onset) / FADE).exp() } else { 0.3 };
        let chord = if notes.len() > 1 { 1.3 } else { 1.0 };
        let leap = |from: f64, to: f64| (to - from).abs().min(Costs::LEAP_MAX);
        let mut cost = Costs::MOVED * leap(self.at, middle) * rested * chord;
        cost += notes.iter().map(|r| Costs::NEAR * leap(self.at, r.key) + Costs::LONG * leap(self.long, r.key)).sum::<f64>();
        cost += Costs::SPAN * (highest.key - lowest.key - Costs::SPAN_FREE).max(0.0);
        cost += Costs::FINGER * notes.len().saturating_sub(FINGERS) as f64;
        if self.has_played && self.end > at && at - self.onset < HELD_MAX {
            let span = highest.key.max(self.high) - lowest.key.min(self.low);
            cost += Costs::HELD_SPAN * (span - Costs::SPAN_FREE).max(0.0);
        }
        cost += Costs::SIDE * side * (middle - MIDDLE_C);
        let place = Place {
            at: if self.has_played { self.at * KEPT + middle * (1.0 - KEPT) } else { middle },
            long: self.long * KEPT_LONG + middle * (1.0 - KEPT_LONG),
            low: lowest.key,
            high: highest.key,
            onset: at,
            end: notes.iter().map(|r| r.end).fold(at, f64::max),
            has_played: true,
        };
        (place, cost)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hands(rows: &[(i64, i64, i32)]) -> String {
        let note = |&(onset, length, key): &(i64, i64, i32)| {
            let onset = ScoreTime::new(onset, 2);
            Sounding { onset, end: onset + ScoreTime::new(length, 2), key: MidiKey::try_new(key).unwrap(), velocity: None }
        };
        split_hands(&rows.iter().map(note).collect::<Vec<_>>()).into_iter().map(Hand::letter).collect()
    }

    #[test]
    fn the_split_follows_the_hands_above_and_below_middle_c() {
        // Broken chords under a tune, both above middle C, then both below it.
        let high = [(0, 1, 64), (0, 2, 84), (1, 1, 71), (2, 1, 67), (2, 2, 86), (3, 1, 71), (4, 1, 64), (4, 4, 88), (5, 1, 71)];
        assert_eq!(hands(&high), "LRLLRLLRL");
        let low: Vec<(i64, i64, i32)> = high.iter().map(|&(on, length, key)| (on, length, key - 31)).collect();
        assert_eq!(hands(&low), "LRLLRLLRL");
        assert_eq!(hands(&[]), "");
    }
}
