//! Which hand a note is likely in, told from the notes around it.
//!
//! A small network sees where the other notes of some quarters lie from a note, in pitch and in time, which hand a first split
//! gave them, and where that leaves each hand (`seen`); so a tune that comes down through the middle keeps its hand, and a pattern
//! keeps the notes that belong to it. Its answer is a probability, which the second split weighs against what hands can reach. A
//! context that is itself a first answer: Z. Tu, "Auto-context and its application to high-level vision tasks", CVPR 2008. The
//! weights are in `learned`.

use super::Row;
use super::seen::{N_INPUTS, Seen, inputs};

pub const N_HIDDEN: usize = 24;
/// Input to hidden (input-major), hidden bias, input to output, hidden to output, output bias.
pub const N_WEIGHTS: usize = N_INPUTS * N_HIDDEN + N_HIDDEN + N_INPUTS + N_HIDDEN + 1;
pub const BIAS_AT: usize = N_INPUTS * N_HIDDEN;
pub const DIRECT_AT: usize = BIAS_AT + N_HIDDEN;
pub const OUT_AT: usize = DIRECT_AT + N_INPUTS;

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

/// Returns for each note the probability of the left hand: the mean of the networks whose weights are given one after the other.
pub fn leanings(rows: &[Row], is_left: &[bool], weights: &[f32]) -> Vec<f32> {
    let nets: Vec<&[f32]> = weights.chunks_exact(N_WEIGHTS).collect();
    let mean = |i: usize| {
        let inputs = inputs(rows, is_left, i, Seen::AS_IT_IS);
        nets.iter().map(|net| probability(score(net, &inputs).0)).sum::<f32>() / nets.len() as f32
    };
    (0..rows.len()).map(mean).collect()
}
