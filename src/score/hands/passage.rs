//! What is kept in mind from note to note: a gated recurrent unit, passed over the music in one direction.
//!
//! K. Cho et al., "Learning phrase representations using RNN encoder-decoder", EMNLP 2014, in the form with the reset gate after
//! the product.

/// What the inputs of a note come to, before the music around it is gone through.
pub const N_HIDDEN: usize = 32;
pub type Hidden = [f32; N_HIDDEN];
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
pub struct Moment {
    pub before: Kept,
    pub update: Kept,
    pub reset: Kept,
    /// What the numbers before add to the candidate, the reset aside.
    pub recalled: Kept,
    pub candidate: Kept,
    pub kept: Kept,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Direction {
    Forwards,
    Backwards,
}

/// Passes over all notes, from nothing kept, and tells of each moment.
pub fn pass(weights: &[f32], notes: &[Hidden], direction: Direction, mut tell: impl FnMut(usize, &Moment)) {
    let mut kept = [0.0; N_KEPT];
    for nth in 0..notes.len() {
        let i = if direction == Direction::Backwards { notes.len() - 1 - nth } else { nth };
        let moment = step(weights, &notes[i], kept);
        tell(i, &moment);
        kept = moment.kept;
    }
}

fn step(weights: &[f32], note: &Hidden, before: Kept) -> Moment {
    let mut sums: [f32; N_SUMS] = std::array::from_fn(|s| weights[SUMS_BIAS + s]);
    let mut recalled = [0.0; N_SUMS];
    add(&mut sums, &weights[..FROM_KEPT], note);
    add(&mut recalled, &weights[FROM_KEPT..SUMS_BIAS], &before);
    let gate = |at: usize| -> Kept { std::array::from_fn(|k| logistic(sums[at + k] + recalled[at + k])) };
    let (update, reset) = (gate(0), gate(N_KEPT));
    let recalled: Kept = std::array::from_fn(|k| recalled[2 * N_KEPT + k]);
    let candidate: Kept = std::array::from_fn(|k| (sums[2 * N_KEPT + k] + reset[k] * recalled[k]).tanh());
    let kept = std::array::from_fn(|k| (1.0 - update[k]) * candidate[k] + update[k] * before[k]);
    Moment { before, update, reset, recalled, candidate, kept }
}

/// Adds each value's row of weights, times the value.
fn add(sums: &mut [f32; N_SUMS], rows: &[f32], values: &[f32]) {
    for (row, value) in rows.chunks_exact(N_SUMS).zip(values).filter(|(_, value)| **value != 0.0) {
        sums.iter_mut().zip(row).for_each(|(sum, weight)| *sum += value * weight);
    }
}

pub fn logistic(score: f32) -> f32 {
    1.0 / (1.0 + (-score).exp())
}
