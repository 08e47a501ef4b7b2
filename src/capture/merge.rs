//! Two readings of the same bars laid over each other.
//!
//! Notes of one key are paired in order so that the pairs lie close together. Where both readings by themselves put a pair on
//! the same point of the grid, that is its place; where they do not, it stands between the two, as played, which halves the variance of
//! its place. What is in one reading only is kept and told apart.

use crate::midi::MidiKey;
use crate::score::Roll;

use super::quantise::Placed;
use crate::time::ScoreTime;

/// A note of a reading, on its own grid.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Heard {
    pub placed: Placed,
    pub key: MidiKey,
    /// Quarters from the start of the score, where the end is known.
    pub end: Option<f64>,
    /// Where the reading by itself puts the note, and how much later it was played, in seconds.
    pub grid: ScoreTime,
    pub late: f64,
    pub velocity: f64,
    /// The chord was broken.
    pub roll: Option<Roll>,
}

/// How two readings agree about a note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Agreement {
    Full,
    /// Both have it, at different points of the grid.
    Place,
    /// Only one of the readings has it.
    One,
}

/// Farther apart than this, in quarters, notes of two readings are not the same note.
const APART_MAX: f64 = 0.75;

/// Lays two readings over each other; both and the result are sorted by place.
///
/// Cost: for each key its notes in the one reading times those in the other.
pub fn lay_over(one: &[Heard], other: &[Heard]) -> Vec<(Heard, Agreement)> {
    let mut out = Vec::with_capacity(one.len().max(other.len()));
    let mut keys: Vec<MidiKey> = one.iter().chain(other).map(|h| h.key).collect();
    keys.sort_unstable();
    keys.dedup();
    for key in keys {
        let of_key = |notes: &[Heard]| notes.iter().filter(|h| h.key == key).copied().collect::<Vec<_>>();
        pair(&of_key(one), &of_key(other), &mut out);
    }
    out.sort_by(|a, b| a.0.placed.at.total_cmp(&b.0.placed.at).then(a.0.key.cmp(&b.0.key)));
    out
}

/// Pairs notes of one key, both lists in order: the least sum of distances, leaving one out costing half of [`APART_MAX`].
fn pair(one: &[Heard], other: &[Heard], out: &mut Vec<(Heard, Agreement)>) {
    const LEFT_OUT: f64 = APART_MAX / 2.0;
    let (n, m) = (one.len(), other.len());
    let apart = |i: usize, j: usize| (one[i].placed.at - other[j].placed.at).abs();
    // Least cost of the notes from (i, j) on.
    let mut cost = vec![vec![0.0; m + 1]; n + 1];
    for i in (0..=n).rev() {
        for j in (0..=m).rev() {
            let mut least = match (i, j) {
                _ if i == n && j == m => continue,
                _ if i == n => cost[i][j + 1] + LEFT_OUT,
                _ if j == m => cost[i + 1][j] + LEFT_OUT,
                _ => f64::min(cost[i + 1][j], cost[i][j + 1]) + LEFT_OUT,
            };
            if i < n && j < m && apart(i, j) <= APART_MAX {
                least = f64::min(least, cost[i + 1][j + 1] + apart(i, j));
            }
            cost[i][j] = least;
        }
    }
    let (mut i, mut j) = (0, 0);
    while i < n || j < m {
        if i < n && j < m && apart(i, j) <= APART_MAX && cost[i][j] == cost[i + 1][j + 1] + apart(i, j) {
            out.push(both(&one[i], &other[j]));
            (i, j) = (i + 1, j + 1);
        } else if i < n && (j == m || cost[i][j] == cost[i + 1][j] + LEFT_OUT) {
            out.push((one[i].on_its_grid(), Agreement::One));
            i += 1;
        } else {
            out.push((other[j].on_its_grid(), Agreement::One));
            j += 1;
        }
    }
}

impl Heard {
    fn on_its_grid(self) -> Heard {
        let at = self.grid.to_f64();
        let end = self.end.map(|end| at + (end - self.placed.at));
        Heard { placed: Placed { at, ..self.placed }, end, ..self }
    }
}

fn both(a: &Heard, b: &Heard) -> (Heard, Agreement) {
    let mean = |x: f64, y: f64| 0.5 * (x + y);
    let length = |h: &Heard| h.end.map(|end| end - h.placed.at);
    let is_agreed = a.grid == b.grid;
    let at = if is_agreed { a.grid.to_f64() } else { mean(a.placed.at, b.placed.at) };
    let placed = Placed { at, pace: mean(a.placed.pace, b.placed.pace), away: a.placed.away.min(b.placed.away), key: a.placed.key };
    // Keys are let go early rather than late: the longer of two lengths is nearer to the page.
    let end = length(a).into_iter().chain(length(b)).reduce(f64::max).map(|length| at + length);
    // Anybody breaks a chord now and then; the page is why it is broken twice.
    let roll = a.roll.filter(|_| b.roll.is_some());
    let agreement = if is_agreed { Agreement::Full } else { Agreement::Place };
    let (late, velocity) = (mean(a.late, b.late), mean(a.velocity, b.velocity));
    (Heard { placed, key: a.key, end, grid: a.grid, late, velocity, roll }, agreement)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(rows: &[(f64, i32)]) -> Vec<Heard> {
        let note = |&(at, key): &(f64, i32)| Heard {
            placed: Placed { at, pace: 1.0, away: 0.0, key: key as u8 },
            key: MidiKey::try_new(key).unwrap(),
            end: None,
            grid: ScoreTime::new((at * 4.0).round() as i64, 4),
            late: 0.0,
            velocity: 64.0,
            roll: None,
        };
        rows.iter().map(note).collect()
    }

    #[test]
    fn notes_are_paired_key_by_key_and_what_one_reading_lacks_is_told() {
        let one = heard(&[(0.0, 60), (1.02, 62), (2.0, 64), (3.0, 60), (3.5, 60)]);
        let other = heard(&[(0.04, 60), (0.98, 62), (2.0, 65), (3.24, 60)]);
        let rows: Vec<(f64, u8, Agreement)> =
            lay_over(&one, &other).iter().map(|(h, a)| ((h.placed.at * 100.0).round() / 100.0, h.key.number(), *a)).collect();
        use Agreement::{Full, One, Place};
        assert_eq!(rows, [(0.0, 60, Full), (1.0, 62, Full), (2.0, 64, One), (2.0, 65, One), (3.12, 60, Place), (3.5, 60, One)]);
        assert_eq!(lay_over(&one, &[]).len(), 5);
    }
}
