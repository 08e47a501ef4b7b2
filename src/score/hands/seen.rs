//! What the network sees of a note: the notes around it, and where each hand is by a first split.

use std::ops::Range;

use super::Row;

/// Quarters around a note that are looked at.
const QUARTERS: f32 = 4.0;
/// Upper ends of the stretches of time that are told apart, in quarters from the note.
const STRETCHES: [f32; 7] = [-2.0, -0.75, -0.001, 0.001, 0.75, 2.0, f32::MAX];
/// What one note in such a stretch counts.
const COUNTS: [f32; 7] = [0.3, 0.35, 0.4, 1.0, 0.4, 0.35, 0.3];
/// More notes in one place than this count no more.
const COUNT_MAX: f32 = 2.0;
/// Distances in pitch that are told apart on either side.
const N_DISTANCES: usize = 15;
const N_PITCHES: usize = 2 * N_DISTANCES + 1;
/// How many there are and which hand has them, for each stretch and distance.
const N_AROUND: usize = 2 * STRETCHES.len() * N_PITCHES;
/// The note's own register, first hand and length.
const N_OWN: usize = 4;
/// Of a hand: the chord before, the chord after, what it holds, its part of the same chord.
const N_HAND: usize = 2 * N_STEP + N_HELD + N_SHARED;
const N_STEP: usize = 6;
const N_HELD: usize = 4;
const N_SHARED: usize = 3;
const N_CHORD: usize = 8;
/// Quarters after which a pattern may come again.
const ECHOES: [f64; 5] = [0.5, 1.0, 2.0, 3.0, 4.0];
const N_ECHOES: usize = 2 * ECHOES.len();
pub const N_INPUTS: usize = N_AROUND + N_OWN + N_CHORD + 2 * N_HAND + N_ECHOES;

/// Notes that are looked through for the chord of a hand before and after, and quarters beyond which it tells nothing.
const N_NOTES_MAX: usize = 60;
const STEP_QUARTERS: f32 = 8.0;
/// Quarters in which the chord before or after counts less by the factor e.
const STEP_FADE: f32 = 2.0;
/// Quarters and notes back to where a note may be held.
const HELD_QUARTERS: f64 = 8.0;
const N_HELD_MAX: usize = 40;
/// A note that ends this much after an onset, in quarters, is held over it.
const OVER: f64 = 0.02;
/// An echo is the same key or one this near, in semitones, at its time but for rounding.
const ECHO_STEP: f64 = 3.0;
const ECHO_OFF: f64 = 1e-3;
/// Of their length notes are held, usually.
const HELD_PART: f64 = 0.8;

/// How the music is shown to the network: as it is, or, to learn from, in other note values and another register.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Seen {
    pub stretched: f32,
    /// Semitones.
    pub higher: f32,
    /// Not every instrument tells when a note ends.
    pub has_ends: bool,
}

impl Seen {
    pub const AS_IT_IS: Seen = Seen { stretched: 1.0, higher: 0.0, has_ends: true };
}

/// Music with a first split.
#[derive(Clone, Copy)]
struct Music<'m> {
    rows: &'m [Row],
    is_left: &'m [bool],
    seen: Seen,
}

/// Returns what the network sees of note `i`: place and value of each input that is not zero. `is_left` is a first split.
pub fn inputs(rows: &[Row], is_left: &[bool], i: usize, seen: Seen) -> Vec<(usize, f32)> {
    let music = Music { rows, is_left, seen };
    let mut all = Vec::with_capacity(N_INPUTS);
    all.extend(music.around(i));
    let register = (rows[i].key as f32 + seen.higher - 60.0) / 12.0;
    all.extend([register, register.abs(), music.side(i), music.length(i)]);
    all.extend(music.in_chord(i));
    for own in [true, false] {
        music.hand(i, own, &mut all);
    }
    all.extend(music.echoes(i));
    debug_assert_eq!(all.len(), N_INPUTS);
    all.into_iter().enumerate().filter(|(_, value)| *value != 0.0).collect()
}

fn octaves(semitones: f64) -> f32 {
    (semitones / 12.0) as f32
}

impl Music<'_> {
    fn side(&self, i: usize) -> f32 {
        if self.is_left[i] { 1.0 } else { -1.0 }
    }

    /// Quarters from one note to another.
    fn away(&self, from: usize, to: usize) -> f32 {
        (self.rows[to].onset - self.rows[from].onset) as f32 * self.seen.stretched
    }

    /// Logarithm of a note's value, nothing where its end is not known.
    fn length(&self, i: usize) -> f32 {
        let held = (self.rows[i].end - self.rows[i].onset) / HELD_PART;
        let is_known = self.seen.has_ends && held > 0.0;
        if is_known { (held as f32 * self.seen.stretched).max(0.05).ln().clamp(-3.0, 2.0) / 2.0 } else { 0.0 }
    }

    /// The notes that begin with a note.
    fn chord(&self, i: usize) -> Range<usize> {
        let with = |r: &&Row| r.onset == self.rows[i].onset;
        i - self.rows[..i].iter().rev().take_while(with).count()..i + self.rows[i..].iter().take_while(with).count()
    }

    /// Lowest and highest key of some notes, if there are any.
    fn ends(&self, notes: impl Iterator<Item = usize>) -> Option<(f64, f64)> {
        notes.map(|j| self.rows[j].key).fold(None, |ends, key| {
            let (low, high) = ends.unwrap_or((key, key));
            Some((key.min(low), key.max(high)))
        })
    }

    /// How many notes lie where, in time and pitch, and on which side.
    fn around(&self, i: usize) -> [f32; N_AROUND] {
        let mut all = [0.0f32; N_AROUND];
        let before = (0..i).rev().take_while(|&j| self.away(i, j) >= -QUARTERS);
        let after = (i + 1..self.rows.len()).take_while(|&j| self.away(i, j) <= QUARTERS);
        for j in before.chain(after) {
            let stretch = STRETCHES.iter().position(|end| self.away(i, j) <= *end).unwrap_or(STRETCHES.len() - 1);
            let at = 2 * (stretch * N_PITCHES + distance((self.rows[j].key - self.rows[i].key) as i32));
            all[at] += COUNTS[stretch];
            all[at + 1] += COUNTS[stretch] * self.side(j);
        }
        all.map(|value| value.clamp(-COUNT_MAX, COUNT_MAX))
    }

    /// The note's place in its chord, and its neighbours there.
    fn in_chord(&self, i: usize) -> [f32; N_CHORD] {
        let chord = self.chord(i);
        let many = |n: usize| (n as f32 / 3.0).min(1.5);
        let neighbour = |j: Option<usize>| match j {
            Some(j) => [octaves((self.rows[i].key - self.rows[j].key).abs()).min(2.0), self.side(j), 0.0],
            None => [0.0, 0.0, 1.0],
        };
        let [below, lower, is_lowest] = neighbour(i.checked_sub(1).filter(|j| chord.contains(j)));
        let [above, upper, is_highest] = neighbour(Some(i + 1).filter(|j| chord.contains(j)));
        [many(i - chord.start), many(chord.end - 1 - i), below, lower, is_lowest, above, upper, is_highest]
    }

    /// Where one hand is, seen from a note.
    fn hand(&self, i: usize, own: bool, all: &mut Vec<f32>) {
        let chord = self.chord(i);
        let is_own = |j: &usize| self.is_left[*j] == own;
        all.extend(self.step(i, own, (0..chord.start).rev().take(N_NOTES_MAX).find(is_own)));
        all.extend(self.step(i, own, (chord.end..self.rows.len()).take(N_NOTES_MAX).find(is_own)));
        let Row { onset, key, .. } = self.rows[i];
        let recent = (0..chord.start).rev().take(N_HELD_MAX).take_while(|&j| onset - self.rows[j].onset <= HELD_QUARTERS);
        let held = self.ends(recent.filter(is_own).filter(|&j| self.seen.has_ends && self.rows[j].end > onset + OVER));
        all.extend(held.map_or([0.0; N_HELD], |(low, high)| {
            let span = high.max(key) - low.min(key);
            let middle = octaves(key - (low + high) / 2.0).clamp(-2.0, 2.0);
            [1.0, octaves(span - 7.0).clamp(-1.0, 2.0), octaves(span - 12.0).clamp(0.0, 2.0), middle]
        }));
        let others = || chord.clone().filter(|j| *j != i).filter(is_own);
        let span = self.ends(others()).map_or(0.0, |(low, high)| high.max(key) - low.min(key));
        let n = others().count();
        all.extend([(2.0 * octaves(span - 12.0)).clamp(0.0, 3.0), (n as f32 / 4.0).min(1.5), f32::from(n == 0)]);
    }

    /// How far it is from the chord that a hand has at note `j`.
    fn step(&self, i: usize, own: bool, j: Option<usize>) -> [f32; N_STEP] {
        let near = j.map(|j| (j, self.away(i, j).abs())).filter(|(_, quarters)| *quarters < STEP_QUARTERS);
        let ends = near.and_then(|(j, quarters)| Some((quarters, self.ends(self.chord(j).filter(|&k| self.is_left[k] == own))?)));
        let Some((quarters, (low, high))) = ends else { return [0.0; N_STEP] };
        let key = self.rows[i].key;
        let counts = (-quarters / STEP_FADE).exp();
        let from = |other: f64| octaves(key - other).clamp(-3.0, 3.0);
        let far = (octaves(key - (low + high) / 2.0).abs() - 0.5).clamp(0.0, 3.0);
        [counts, counts * from(low), counts * from(high), counts * from(low).abs(), counts * from(high).abs(), far]
    }

    /// Which hand has the nearest key a little before and after, where a pattern may come again.
    fn echoes(&self, i: usize) -> [f32; N_ECHOES] {
        let Row { onset, key, .. } = self.rows[i];
        std::array::from_fn(|nth| {
            let lag = ECHOES[nth / 2] * if nth % 2 == 0 { -1.0 } else { 1.0 };
            let first = self.rows.partition_point(|r| r.onset < onset + lag - ECHO_OFF);
            let there = (first..self.rows.len()).take_while(|&j| self.rows[j].onset <= onset + lag + ECHO_OFF);
            let off = |j: usize| (self.rows[j].key - key).abs();
            let nearest = there.min_by(|&a, &b| off(a).total_cmp(&off(b))).filter(|&j| off(j) <= ECHO_STEP);
            nearest.map_or(0.0, |j| self.side(j) * (1.0 - off(j) / (ECHO_STEP + 1.0)) as f32)
        })
    }
}

/// Numbers a distance in semitones: the wider, the coarser.
fn distance(semitones: i32) -> usize {
    let wide = match semitones.abs() {
        near @ 0..=4 => near,
        middle @ 5..=16 => 4 + (middle - 3) / 2,
        far @ 17..=28 => 10 + (far - 14) / 3,
        farther => (14 + (farther - 23) / 6).min(N_DISTANCES as i32),
    };
    (N_DISTANCES as i32 + wide * semitones.signum()) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_told_apart_the_coarser_the_wider_and_alike_on_both_sides() {
        let numbers: Vec<usize> = [0, 1, 4, 5, 6, 7, 16, 17, 28, 29, 40, 99].into_iter().map(|d| distance(d) - N_DISTANCES).collect();
        assert_eq!(numbers, [0, 1, 4, 5, 5, 6, 10, 11, 14, 15, 15, 15]);
        assert!((0..128).all(|d| distance(d) + distance(-d) == 2 * N_DISTANCES && distance(d + 1) >= distance(d)));
    }
}
