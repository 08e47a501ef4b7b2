//! Fits the weights of section starts: gradient of the log-likelihood of the experts' cuts, Adam.

use catchword::analysis::phrases::N_INPUTS;
use catchword::analysis::sections::{
    self, BARS, Cuts, LENGTHS, LENGTHS_AT, LOOK_BACK, N_HIDDEN, N_NETS, N_WEIGHTS, Price, choose, length_weight, line_scores, worth,
};

/// The bar lines of a piece and the bars in which phrases start.
pub struct Lines {
    pub inputs: Vec<[f32; N_INPUTS]>,
    pub starts: Vec<usize>,
}

pub struct Fit {
    pub epochs: usize,
    pub rate: f32,
    pub decay: f32,
    pub drop: f32,
    pub seed: u64,
}

/// Fits as many nets as are averaged, each from a seed of its own.
pub fn fit(pieces: &[&Lines], how: &Fit) -> Vec<f32> {
    (0..N_NETS as u64).flat_map(|nth| fit_one(pieces, how, how.seed + nth)).collect()
}

fn fit_one(pieces: &[&Lines], how: &Fit, seed: u64) -> Vec<f32> {
    let mut rng = fastrand::Rng::with_seed(seed);
    let mut weights = vec![0.0f32; N_WEIGHTS];
    let out = N_INPUTS * N_HIDDEN + N_HIDDEN + N_INPUTS;
    weights[..N_INPUTS * N_HIDDEN].iter_mut().for_each(|w| *w = (rng.f32() - 0.5) * 0.4);
    weights[out..out + N_HIDDEN].iter_mut().for_each(|w| *w = (rng.f32() - 0.5) * 0.6);
    let (mut first, mut second) = (vec![0.0f32; N_WEIGHTS], vec![0.0f32; N_WEIGHTS]);
    let mut mean = vec![0.0f32; N_WEIGHTS];
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    let mut step = 0;
    let kept = 5.min(how.epochs);
    for epoch in 0..how.epochs {
        rng.shuffle(&mut order);
        let rate = how.rate * (1.0 - epoch as f32 / how.epochs as f32).max(0.1);
        for &p in &order {
            let mut grad = vec![0.0f32; N_WEIGHTS];
            add_piece(&weights, pieces[p], how, &mut rng, &mut grad);
            step += 1;
            let (c1, c2) = (1.0 - 0.9f32.powi(step), 1.0 - 0.999f32.powi(step));
            for i in 0..N_WEIGHTS {
                first[i] = 0.9 * first[i] + 0.1 * grad[i];
                second[i] = 0.999 * second[i] + 0.001 * grad[i] * grad[i];
                weights[i] -= rate * (first[i] / c1 / ((second[i] / c2).sqrt() + 1e-8) + how.decay * weights[i]);
            }
        }
        if epoch + kept >= how.epochs {
            mean.iter_mut().zip(&weights).for_each(|(m, w)| *m += w / kept as f32);
        }
    }
    mean
}

fn add_piece(weights: &[f32], piece: &Lines, how: &Fit, rng: &mut fastrand::Rng, grad: &mut [f32]) {
    let mut inputs = piece.inputs.clone();
    for row in &mut inputs {
        row.iter_mut().for_each(|v| {
            if rng.f32() < how.drop {
                *v = 0.0;
            }
        });
    }
    let mut hidden = Vec::new();
    let scores = line_scores(weights, &inputs, &mut hidden);
    let cuts = Cuts::new(weights, &scores);
    let n = scores.len();
    let (bias, direct) = (N_INPUTS * N_HIDDEN, N_INPUTS * N_HIDDEN + N_HIDDEN);
    let out = direct + N_INPUTS;
    for bar in 1..n {
        let err = cuts.at(bar) as f32 - f32::from(piece.starts.binary_search(&bar).is_ok());
        grad[out + N_HIDDEN] += err;
        for u in 0..N_HIDDEN {
            grad[out + u] += err * hidden[bar][u];
            if hidden[bar][u] > 0.0 {
                let back = err * weights[out + u];
                grad[bias + u] += back;
                for (i, v) in inputs[bar].iter().enumerate() {
                    grad[i * N_HIDDEN + u] += back * v;
                }
            }
        }
        for (i, v) in inputs[bar].iter().enumerate() {
            grad[direct + i] += err * v;
        }
    }
    let total = cuts.behind[0];
    for i in 1..=n {
        for j in i.saturating_sub(LOOK_BACK)..i {
            let score = scores.get(i).map_or(0.0, |s| f64::from(*s));
            let p = (cuts.ahead[j] + length_weight(weights, i - j) + score + cuts.behind[i] - total).exp();
            grad[LENGTHS_AT + (i - j).clamp(1, LENGTHS) - 1] += p as f32;
        }
    }
    let mut before = 0;
    for end in piece.starts.iter().copied().filter(|s| *s > 0).chain([n]) {
        grad[LENGTHS_AT + (end - before).clamp(1, LENGTHS) - 1] -= 1.0;
        before = end;
    }
}

pub fn probabilities(weights: &[f32], piece: &Lines) -> Vec<f64> {
    sections::probabilities(weights, &piece.inputs)
}

/// Hits, found and wanted, as the scorer counts them.
pub fn hits(found: &[usize], wanted: &[usize], slack: usize) -> usize {
    let mut used = vec![false; found.len()];
    let mut n = 0;
    for w in wanted {
        let near = (0..found.len()).filter(|&f| !used[f] && found[f].abs_diff(*w) <= slack).min_by_key(|&f| found[f].abs_diff(*w));
        if let Some(f) = near {
            used[f] = true;
            n += 1;
        }
    }
    n
}

/// F of exact starts and within a bar, over several pieces.
pub fn score(pieces: &[(&Lines, Vec<f64>)], price: Price) -> [f64; 2] {
    let (mut n, mut found, mut wanted) = ([0; 2], 0, 0);
    for (piece, p) in pieces {
        let said: Vec<usize> = choose(&worth(p, price), &BARS).into_iter().filter(|s| *s > 0).collect();
        let truth: Vec<usize> = piece.starts.iter().copied().filter(|s| *s > piece.starts[0]).collect();
        for slack in [0, 1] {
            n[slack] += hits(&said, &truth, slack);
        }
        found += said.len();
        wanted += truth.len();
    }
    n.map(|n| 2.0 * n as f64 / (found + wanted).max(1) as f64)
}

/// The price with the best sum of both figures; a start a bar away serves a player nearly as well.
pub fn best_price(pieces: &[(&Lines, Vec<f64>)]) -> Price {
    let mut best = (Price { near: 0.0, cut: 0.3 }, 0.0);
    for near in [0.0, 0.1, 0.2, 0.3, 0.45, 0.6] {
        for cut in [0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5] {
            let price = Price { near, cut };
            let f = score(pieces, price);
            let sum = f[0] + 1.5 * f[1];
            if sum > best.1 {
                best = (price, sum);
            }
        }
    }
    best.0
}
