//! What is kept in mind from note to note: a gated recurrent unit, passed over the music in one direction.
//!
//! K. Cho et al., "Learning phrase representations using RNN encoder-decoder", EMNLP 2014, with the reset gate after the product, as in
//! the variant of its first version.

use super::around::{Hidden, N_HIDDEN, logistic};

/// Numbers kept in each direction.
pub const N_KEPT: usize = 32;
/// Update gate, reset gate and candidate of each number.
pub const N_SUMS: usize = 3 * N_KEPT;
/// Weights of one direction: hidden to sums (hidden-major), kept to sums (kept-major), biases.
pub const FROM_KEPT: usize = N_SUMS * N_HIDDEN;
pub const SUMS_BIAS: usize = FROM_KEPT + N_SUMS * N_KEPT;
pub const N_GATES: usize = SUMS_BIAS + N_SUMS;

type Kept = [f32; N_KEPT];

/// The unit at one note; what it kept, and how it came to it.
#[derive(Clone, Copy)]
pub struct Place {
    pub before: Kept,
    pub update: Kept,
    pub reset: Kept,
    /// What the numbers before add to the candidate, before the reset.
    pub recalled: Kept,
    pub candidate: Kept,
    pub kept: Kept,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Direction {
    Forwards,
    Backwards,
}

/// Passes over all notes, from nothing kept, and tells of each place.
pub fn pass(weights: &[f32], notes: &[Hidden], direction: Direction, mut tell: impl FnMut(usize, &Place)) {
    let mut kept = [0.0; N_KEPT];
    for nth in 0..notes.len() {
        let i = if direction == Direction::Backwards { notes.len() - 1 - nth } else { nth };
        let place = step(weights, &notes[i], kept);
        tell(i, &place);
        kept = place.kept;
    }
}

fn step(weights: &[f32], note: &Hidden, before: Kept) -> Place {
    let mut sums: [f32; N_SUMS] = std::array::from_fn(|s| weights[SUMS_BIAS + s]);
    let mut recalled = [0.0; N_SUMS];
    add(&mut sums, &weights[..FROM_KEPT], note);
    add(&mut recalled, &weights[FROM_KEPT..SUMS_BIAS], &before);
    let gate = |at: usize| -> Kept { std::array::from_fn(|k| logistic(sums[at + k] + recalled[at + k])) };
    let (update, reset) = (gate(0), gate(N_KEPT));
    let recalled: Kept = std::array::from_fn(|k| recalled[2 * N_KEPT + k]);
    let candidate: Kept = std::array::from_fn(|k| (sums[2 * N_KEPT + k] + reset[k] * recalled[k]).tanh());
    let kept = std::array::from_fn(|k| (1.0 - update[k]) * candidate[k] + update[k] * before[k]);
    Place { before, update, reset, recalled, candidate, kept }
}

/// Adds each value's row of weights, times the value.
fn add(sums: &mut [f32; N_SUMS], rows: &[f32], values: &[f32]) {
    for (row, value) in rows.chunks_exact(N_SUMS).zip(values).filter(|(_, value)| **value != 0.0) {
        sums.iter_mut().zip(row).for_each(|(sum, weight)| *sum += value * weight);
    }
}
