//! Fits the networks that tell a note's hand from the notes around it: logistic loss, Adam (Kingma & Ba 2015), dropout.

use catchword::score::hands::around::{BIAS_AT, DIRECT_AT, N_HIDDEN, N_WEIGHTS, OUT_AT, probability, score};
use catchword::score::hands::seen::{N_INPUTS, Seen, inputs};
use catchword::score::hands::{Row, by_reach};
use fastrand::Rng;

/// A piece whose staves say which hand plays what.
pub struct Piece {
    pub name: String,
    pub rows: Vec<Row>,
    pub is_left: Vec<bool>,
    /// How often its notes are shown, against others'.
    pub times: usize,
}

const EPOCHS: usize = 16;
const NOTES_AN_EPOCH: usize = 60_000;
const BATCH: usize = 64;
const RATE: f32 = 0.003;
const DECAY: f32 = 0.02;
const DROP_INPUT: f32 = 0.1;
const DROP_HIDDEN: f32 = 0.2;
/// Epochs at the end whose weights are averaged.
const AVERAGED: usize = 4;

/// Returns the weights of one network.
pub fn fit(pieces: &[&Piece], seed: u64) -> Vec<f32> {
    let mut rng = Rng::with_seed(seed);
    let first: Vec<Vec<bool>> = pieces.iter().map(|p| by_reach(&p.rows)).collect();
    let mut shown: Vec<(usize, usize)> = Vec::new();
    for (nth, piece) in pieces.iter().enumerate() {
        (0..piece.times).for_each(|_| shown.extend((0..piece.rows.len()).map(|i| (nth, i))));
    }
    let mut weights = vec![0.0f32; N_WEIGHTS];
    weights[..BIAS_AT].iter_mut().for_each(|w| *w = (rng.f32() + rng.f32() + rng.f32() - 1.5) * 0.15);
    weights[OUT_AT..OUT_AT + N_HIDDEN].iter_mut().for_each(|w| *w = (rng.f32() - 0.5) * 0.6);
    let (mut mean, mut square, mut average) = (vec![0.0f32; N_WEIGHTS], vec![0.0f32; N_WEIGHTS], vec![0.0f32; N_WEIGHTS]);
    let mut step = 0;
    for epoch in 0..EPOCHS {
        rng.shuffle(&mut shown);
        let rate = RATE * (1.0 - epoch as f32 / EPOCHS as f32).max(0.05);
        let mut loss = 0.0;
        let these = &shown[..shown.len().min(NOTES_AN_EPOCH)];
        for batch in these.chunks(BATCH) {
            let mut gradient = vec![0.0f32; N_WEIGHTS];
            for &(nth, i) in batch {
                let seen = Seen {
                    stretched: [0.5, 0.7, 1.0, 1.0, 1.4, 2.0][rng.usize(0..6)],
                    higher: rng.i32(-6..=6) as f32,
                    has_ends: rng.bool(),
                };
                let mut seen = inputs(&pieces[nth].rows, &first[nth], i, seen);
                seen.retain(|_| rng.f32() >= DROP_INPUT);
                loss += add(&weights, &seen, pieces[nth].is_left[i], &mut rng, &mut gradient);
            }
            step += 1;
            let (c1, c2) = (1.0 - 0.9f32.powi(step), 1.0 - 0.999f32.powi(step));
            for (i, g) in gradient.iter().map(|g| g / batch.len() as f32).enumerate() {
                mean[i] = 0.9 * mean[i] + 0.1 * g;
                square[i] = 0.999 * square[i] + 0.001 * g * g;
                weights[i] -= rate * (mean[i] / c1 / ((square[i] / c2).sqrt() + 1e-8) + DECAY * weights[i]);
            }
        }
        eprintln!("network {seed}, epoch {epoch}: loss {:.4}", loss / these.len() as f32);
        if epoch + AVERAGED >= EPOCHS {
            average.iter_mut().zip(&weights).for_each(|(a, w)| *a += w / AVERAGED as f32);
        }
    }
    average
}

/// Adds the gradient of one note and returns its loss.
fn add(weights: &[f32], inputs: &[(usize, f32)], is_left: bool, rng: &mut Rng, gradient: &mut [f32]) -> f32 {
    let (whole, hidden) = score(weights, inputs);
    let kept: [f32; N_HIDDEN] = std::array::from_fn(|_| if rng.f32() < DROP_HIDDEN { 0.0 } else { 1.0 / (1.0 - DROP_HIDDEN) });
    // The dropped units are taken out of the score, the others scaled up.
    let left = probability((0..N_HIDDEN).fold(whole, |sum, u| sum + weights[OUT_AT + u] * hidden[u] * (kept[u] - 1.0)));
    let off = left - f32::from(is_left);
    let back: [f32; N_HIDDEN] = std::array::from_fn(|u| if hidden[u] > 0.0 { off * weights[OUT_AT + u] * kept[u] } else { 0.0 });
    gradient[N_WEIGHTS - 1] += off;
    for u in 0..N_HIDDEN {
        gradient[OUT_AT + u] += off * hidden[u] * kept[u];
        gradient[BIAS_AT + u] += back[u];
    }
    for &(at, value) in inputs {
        gradient[DIRECT_AT + at] += off * value;
        gradient[at * N_HIDDEN..(at + 1) * N_HIDDEN].iter_mut().zip(&back).for_each(|(g, b)| *g += b * value);
    }
    debug_assert!(inputs.iter().all(|(at, _)| *at < N_INPUTS));
    -(if is_left { left } else { 1.0 - left }).max(1e-9).ln()
}

/// The weights are written as whole numbers of this many parts.
const PARTS: f32 = 100.0;

/// Rounds weights to what a table can hold.
pub fn rounded(weights: &[f32]) -> Vec<i8> {
    weights.iter().map(|w| (w * PARTS).round().clamp(-127.0, 127.0) as i8).collect()
}

/// Returns the weights of a table as the program reads them.
pub fn weights(rounded: &[i8]) -> Vec<f32> {
    rounded.iter().map(|w| f32::from(*w) / PARTS).collect()
}

/// Returns the text of a table of weights. `command` wrote it; `origin` says of what.
pub fn table(rounded: &[i8], command: &str, origin: &str) -> String {
    let mut out = format!(
        "//! What was learned of hands from scores for two staves: written by the fit, not by hand.\n//!\n//! `{command}`\n//!\n\
         //! Origin: {origin}.\n//! Only weights are here, in hundredths; nothing of the pieces themselves.\n\n\
         /// Returns the weights of all networks, one after the other.\n\
         pub fn weights() -> Vec<f32> {{\n    WEIGHTS.iter().map(|w| f32::from(*w) / {PARTS:.1}).collect()\n}}\n\n\
         #[rustfmt::skip]\nstatic WEIGHTS: &[i8] = &[\n"
    );
    let mut line = String::new();
    for w in rounded {
        let word = format!("{w},");
        if line.len() + word.len() > 160 {
            out += &line;
            out.push('\n');
            line.clear();
        }
        line += &word;
    }
    out + &line + "\n];\n"
}
