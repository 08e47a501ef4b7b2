//! Fits the weights of the signs of a key: softmax over the 24 keys, plain gradient steps.

use catchword::analysis::keys::N_SIGNS;

pub type Signs = [[f32; N_SIGNS]; 24];

pub fn fit(pieces: &[(Signs, usize)]) -> [f32; N_SIGNS] {
    let mut w = [0.0f32; N_SIGNS];
    for round in 0..3000 {
        let mut grad = [0.0f32; N_SIGNS];
        for (signs, truth) in pieces {
            let scores: Vec<f32> = signs.iter().map(|s| s.iter().zip(&w).map(|(a, b)| a * b).sum()).collect();
            let max = scores.iter().copied().fold(f32::MIN, f32::max);
            let sum: f32 = scores.iter().map(|s| (s - max).exp()).sum();
            for key in 0..24 {
                let err = (scores[key] - max).exp() / sum - f32::from(key == *truth);
                (0..N_SIGNS).for_each(|i| grad[i] += err * signs[key][i]);
            }
        }
        let rate = 0.05 / (1.0 + round as f32 / 1000.0);
        for i in 0..N_SIGNS {
            w[i] -= rate * (grad[i] / pieces.len() as f32 + 0.01 * w[i]);
        }
    }
    w
}
