//! Which hand a note is likely in, told from the music around it.
//!
//! A network sees where the other notes of some quarters lie from each note, in pitch and in time, which hand a first split gave them,
//! and where that leaves each hand (`seen`). It goes through the music once forwards and once backwards, and keeps what matters
//! later (`passage`): so a tune that comes down through the middle keeps its hand, and a pattern keeps the notes that belong to it.
//! Its answer is a probability, which the next split weighs against what hands can reach. A context that is itself a first answer:
//! Z. Tu, "Auto-context and its application to high-level vision tasks", CVPR 2008; both directions: M. Schuster and K. K. Paliwal,
//! "Bidirectional recurrent neural networks", IEEE Trans. Signal Process. 45, 1997. The weights are in `learned`.

use std::ops::Range;

use super::Row;
use super::passage::{Direction, Hidden, N_GATES, N_HIDDEN, N_KEPT, logistic, pass};
use super::seen::{N_INPUTS, Seen, inputs};

/// Weights of each network, one kind after the other: input to hidden (input-major), hidden bias, input to output, the two directions
/// (`passage`), hidden to output, each direction to output, output bias.
pub const TO_HIDDEN: Range<usize> = 0..N_INPUTS * N_HIDDEN;
pub const HIDDEN_BIAS: Range<usize> = after(&TO_HIDDEN, N_HIDDEN);
pub const DIRECT: Range<usize> = after(&HIDDEN_BIAS, N_INPUTS);
pub const DIRECTIONS: [Range<usize>; 2] = [after(&DIRECT, N_GATES), after(&after(&DIRECT, N_GATES), N_GATES)];
pub const OUT_OF_HIDDEN: Range<usize> = after(&DIRECTIONS[1], N_HIDDEN);
pub const OUT_OF_KEPT: [Range<usize>; 2] = [after(&OUT_OF_HIDDEN, N_KEPT), after(&after(&OUT_OF_HIDDEN, N_KEPT), N_KEPT)];
pub const BIAS: usize = OUT_OF_KEPT[1].end;
pub const N_WEIGHTS: usize = BIAS + 1;

const fn after(range: &Range<usize>, n: usize) -> Range<usize> {
    range.end..range.end + n
}

/// Returns what one note's inputs come to, and what they say of its hand by themselves.
pub fn hidden(weights: &[f32], inputs: &[(usize, f32)]) -> (Hidden, f32) {
    let mut hidden: Hidden = std::array::from_fn(|u| weights[HIDDEN_BIAS.start + u]);
    let mut direct = weights[BIAS];
    for &(at, value) in inputs {
        hidden.iter_mut().zip(&weights[at * N_HIDDEN..]).for_each(|(h, w)| *h += w * value);
        direct += weights[DIRECT.start + at] * value;
    }
    (hidden.map(|h| h.max(0.0)), direct)
}

/// Adds what the notes around say of each note's hand to what it says by itself.
fn hear_around(weights: &[f32], notes: &[Hidden], scores: &mut [f32]) {
    scores.iter_mut().zip(notes).for_each(|(score, note)| *score += dot(&weights[OUT_OF_HIDDEN], note));
    for (direction, out) in [Direction::Forwards, Direction::Backwards].into_iter().zip(OUT_OF_KEPT) {
        pass(&weights[DIRECTIONS[direction as usize].clone()], notes, direction, |i, moment| {
            scores[i] += dot(&weights[out.clone()], &moment.kept)
        });
    }
}

pub fn dot(weights: &[f32], values: &[f32]) -> f32 {
    weights.iter().zip(values).map(|(w, v)| w * v).sum()
}

/// Returns for each note the probability of the left hand, `is_left` being an earlier split: the mean of the networks whose weights are
/// given one after the other.
pub fn leanings(rows: &[Row], is_left: &[bool], weights: &[f32]) -> Vec<f32> {
    let networks: Vec<&[f32]> = weights.chunks_exact(N_WEIGHTS).collect();
    let mut heard = vec![(Vec::with_capacity(rows.len()), Vec::with_capacity(rows.len())); networks.len()];
    for i in 0..rows.len() {
        let inputs = inputs(rows, is_left, i, Seen::AS_IT_IS);
        for (network, (notes, scores)) in networks.iter().zip(&mut heard) {
            let (note, score) = hidden(network, &inputs);
            notes.push(note);
            scores.push(score);
        }
    }
    let mut mean = vec![0.0; rows.len()];
    for (network, (notes, mut scores)) in networks.iter().zip(heard) {
        hear_around(network, &notes, &mut scores);
        mean.iter_mut().zip(scores).for_each(|(mean, score)| *mean += logistic(score) / networks.len() as f32);
    }
    mean
}
