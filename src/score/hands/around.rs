//! Which hand a note is likely in, told from the notes around it.
//!
//! A small network sees where the other notes of some quarters lie from a note, in pitch and in time, and which hand a first split
//! gave them; so a tune that comes down through the middle keeps its hand, and a pattern keeps the notes that belong to it. Its
//! answer is a probability, which the second split weighs against what hands can reach. A context that is itself a first
//! answer: Z. Tu, "Auto-context and its application to high-level vision tasks", CVPR 2008. The weights are in `learned`.

use super::Row;
use super::learned;

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
/// How many there are and which hand has them, for each stretch and distance; then the note's own register and first hand.
pub const N_INPUTS: usize = 2 * STRETCHES.len() * N_PITCHES + 3;
pub const N_HIDDEN: usize = 12;
/// Input to hidden (input-major), hidden bias, input to output, hidden to output, output bias.
pub const N_WEIGHTS: usize = N_INPUTS * N_HIDDEN + N_HIDDEN + N_INPUTS + N_HIDDEN + 1;
pub const BIAS_AT: usize = N_INPUTS * N_HIDDEN;
pub const DIRECT_AT: usize = BIAS_AT + N_HIDDEN;
pub const OUT_AT: usize = DIRECT_AT + N_INPUTS;

/// How the music is shown to the network: as it is, or, to learn from, in other note values and another register.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Seen {
    pub stretched: f32,
    /// Semitones.
    pub higher: f32,
}

impl Seen {
    pub const AS_IT_IS: Seen = Seen { stretched: 1.0, higher: 0.0 };
}

/// Returns what the network sees of note `i`: place and value of each input that is not zero. `is_left` is a first split.
pub fn inputs(rows: &[Row], is_left: &[bool], i: usize, seen: Seen) -> Vec<(usize, f32)> {
    let side = |j: usize| if is_left[j] { 1.0 } else { -1.0 };
    let away = |j: usize| (rows[j].onset - rows[i].onset) as f32 * seen.stretched;
    let mut all = [0.0f32; N_INPUTS];
    let before = (0..i).rev().take_while(|&j| away(j) >= -QUARTERS);
    let after = (i + 1..rows.len()).take_while(|&j| away(j) <= QUARTERS);
    for j in before.chain(after) {
        let stretch = STRETCHES.iter().position(|end| away(j) <= *end).unwrap_or(STRETCHES.len() - 1);
        let at = 2 * (stretch * N_PITCHES + distance((rows[j].key - rows[i].key) as i32));
        all[at] += COUNTS[stretch];
        all[at + 1] += COUNTS[stretch] * side(j);
    }
    let register = (rows[i].key as f32 + seen.higher - 60.0) / 12.0;
    let own = N_INPUTS - 3;
    all[..own].iter_mut().for_each(|value| *value = value.clamp(-COUNT_MAX, COUNT_MAX));
    all[own..].copy_from_slice(&[register, register.abs(), side(i)]);
    all.iter().copied().enumerate().filter(|(_, value)| *value != 0.0).collect()
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

/// Returns the score of the left hand and the hidden values; the probability is the logistic function of the score.
pub fn score(weights: &[f32], inputs: &[(usize, f32)]) -> (f32, [f32; N_HIDDEN]) {
    let mut hidden: [f32; N_HIDDEN] = std::array::from_fn(|u| weights[BIAS_AT + u]);
    let mut sum = weights[N_WEIGHTS - 1];
    for &(at, value) in inputs {
        hidden.iter_mut().zip(&weights[at * N_HIDDEN..]).for_each(|(h, w)| *h += w * value);
        sum += weights[DIRECT_AT + at] * value;
    }
    hidden.iter_mut().for_each(|h| *h = h.max(0.0));
    sum += hidden.iter().zip(&weights[OUT_AT..]).map(|(h, w)| h * w).sum::<f32>();
    (sum, hidden)
}

pub fn probability(score: f32) -> f32 {
    1.0 / (1.0 + (-score).exp())
}

/// Returns for each note the probability of the left hand: the mean of the networks.
pub fn leanings(rows: &[Row], is_left: &[bool]) -> Vec<f32> {
    let weights = learned::weights();
    let nets: Vec<&[f32]> = weights.chunks_exact(N_WEIGHTS).collect();
    let mean = |i: usize| {
        let inputs = inputs(rows, is_left, i, Seen::AS_IT_IS);
        nets.iter().map(|net| probability(score(net, &inputs).0)).sum::<f32>() / nets.len() as f32
    };
    (0..rows.len()).map(mean).collect()
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
