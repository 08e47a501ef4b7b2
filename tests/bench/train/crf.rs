//! Fits the harmony network: gradient of the log-likelihood of labelled runs of beats, Adam (Kingma & Ba 2015).

use catchword::analysis::chord::{Chord, Quality};
use catchword::analysis::harmony::{SHAPE, StepTable};
use catchword::analysis::net::{Input, Net, STEP_CLASSES};

use crate::study_case::StudyCase;

const Q: usize = Quality::ALL.len();
const N: usize = Chord::COUNT;

pub struct Fit {
    pub epochs: usize,
    pub rate: f32,
    pub decay: f32,
    pub drop_hidden: f32,
    pub drop_input: f32,
    pub seed: u64,
}

pub fn fit(cases: &[&StudyCase], how: &Fit) -> Net {
    let mut rng = fastrand::Rng::with_seed(how.seed);
    let mut net = Net { shape: SHAPE, weights: vec![0.0; SHAPE.n_weights()] };
    let spread = (2.0 / 40.0f32).sqrt();
    for w in &mut net.weights[..SHAPE.hidden_bias_at()] {
        *w = (rng.f32() + rng.f32() + rng.f32() - 1.5) * spread;
    }
    for w in &mut net.weights[SHAPE.out_at()..SHAPE.out_bias_at()] {
        *w = (rng.f32() + rng.f32() + rng.f32() - 1.5) * 0.3;
    }
    let mut first = vec![0.0f32; net.weights.len()];
    let mut second = first.clone();
    let mut grad = first.clone();
    let mut step = 0;
    let mut average: Vec<f32> = Vec::new();
    for epoch in 0..how.epochs {
        let mut runs: Vec<(usize, usize, usize)> = Vec::new();
        for (c, case) in cases.iter().enumerate() {
            let shift = rng.usize(0..32);
            let mut from = 0;
            for b in 0..=case.labels.len() {
                let ends = b == case.labels.len() || case.labels[b].is_none() || (b + shift).is_multiple_of(32);
                if ends {
                    if b > from {
                        runs.push((c, from, b));
                    }
                    from = if b < case.labels.len() && case.labels[b].is_none() { b + 1 } else { b };
                }
            }
        }
        rng.shuffle(&mut runs);
        let mut loss = 0.0;
        let rate = how.rate * (1.0 - epoch as f32 / how.epochs as f32).max(0.05);
        for batch in runs.chunks(2) {
            grad.fill(0.0);
            let tables: Vec<StepTable> = (0..STEP_CLASSES).map(|class| StepTable::new(&net, class)).collect();
            for &(c, from, to) in batch {
                loss += add_run(&net, &tables, cases[c], from, to, how, &mut rng, &mut grad);
            }
            step += 1;
            let (c1, c2) = (1.0 - 0.9f32.powi(step), 1.0 - 0.999f32.powi(step));
            for i in 0..grad.len() {
                first[i] = 0.9 * first[i] + 0.1 * grad[i];
                second[i] = 0.999 * second[i] + 0.001 * grad[i] * grad[i];
                net.weights[i] -= rate * (first[i] / c1 / ((second[i] / c2).sqrt() + 1e-8) + how.decay * net.weights[i]);
            }
        }
        eprintln!("epoch {epoch}: loss {:.4}", loss / cases.iter().map(|c| c.labels.len()).sum::<usize>() as f64);
        // The mean of the last epochs' weights is steadier than any of them.
        if epoch + 3 >= how.epochs {
            if average.is_empty() {
                average = vec![0.0; net.weights.len()];
            }
            average.iter_mut().zip(&net.weights).for_each(|(a, w)| *a += w / 3.0);
        }
    }
    net.weights = average;
    net
}

#[allow(clippy::too_many_arguments)]
fn add_run(
    net: &Net,
    tables: &[StepTable],
    case: &StudyCase,
    from: usize,
    to: usize,
    how: &Fit,
    rng: &mut fastrand::Rng,
    grad: &mut [f32],
) -> f64 {
    let len = to - from;
    let s = SHAPE;
    let mut seen: Vec<(Input, Vec<f32>, Vec<f32>)> = Vec::with_capacity(len);
    let mut scores: Vec<[f32; N]> = Vec::with_capacity(len);
    let keep = 1.0 - how.drop_hidden;
    for b in from..to {
        let mut input = case.inputs[b].clone();
        for v in &mut input.values {
            if rng.f32() < how.drop_input {
                *v = 0.0;
            }
        }
        let mask: Vec<f32> = (0..s.n_hidden).map(|_| if rng.f32() < how.drop_hidden { 0.0 } else { 1.0 / keep }).collect();
        let mut hidden = Vec::new();
        let mut out = net.score(&input, &mut hidden);
        // The dropped units are taken out of the scores, the others scaled up.
        for root in 0..12 {
            for u in 0..s.n_hidden {
                let value = hidden[root * s.n_hidden + u];
                if value != 0.0 {
                    for q in 0..Q {
                        out[root * Q + q] += (mask[u] - 1.0) * value * net.weights[s.out_at() + u * Q + q];
                    }
                }
            }
        }
        seen.push((input, hidden, mask));
        scores.push(out);
    }
    let label = |i: usize| case.labels[from + i].expect("a run is labelled").index();
    let class = |i: usize| case.inputs[from + i].step_class;
    let emit: Vec<Vec<f64>> = scores
        .iter()
        .map(|row| {
            let max = row.iter().copied().fold(f32::MIN, f32::max);
            row.iter().map(|v| f64::from(v - max).exp()).collect()
        })
        .collect();
    let mut log_z = 0.0;
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(len);
    for i in 0..len {
        let mut row = vec![0.0; N];
        if i == 0 {
            row.copy_from_slice(&emit[0]);
        } else {
            let table = &tables[class(i)];
            for (a, f) in forward[i - 1].iter().enumerate() {
                row.iter_mut().zip(table.from(a)).for_each(|(r, t)| *r += f * t);
            }
            row.iter_mut().zip(&emit[i]).for_each(|(r, e)| *r *= e);
        }
        let sum: f64 = row.iter().sum();
        row.iter_mut().for_each(|v| *v /= sum);
        log_z += sum.ln() + f64::from(scores[i].iter().copied().fold(f32::MIN, f32::max));
        forward.push(row);
    }
    let mut gold = 0.0;
    let mut ahead = vec![1.0f64; N];
    for i in (0..len).rev() {
        let mut share: Vec<f64> = forward[i].iter().zip(&ahead).map(|(f, a)| f * a).collect();
        let sum: f64 = share.iter().sum();
        share.iter_mut().for_each(|v| *v /= sum);
        gold += f64::from(scores[i][label(i)]);
        share[label(i)] -= 1.0;
        add_beat(net, &seen[i], &share, grad);
        if i > 0 {
            let table = &tables[class(i)];
            let weigh: Vec<f64> = emit[i].iter().zip(&ahead).map(|(e, a)| e * a).collect();
            let mut back = vec![0.0; N];
            let mut total = 0.0;
            for a in 0..N {
                back[a] = table.from(a).iter().zip(&weigh).map(|(t, w)| t * w).sum();
                total += forward[i - 1][a] * back[a];
            }
            for (a, before) in forward[i - 1].iter().enumerate() {
                let f = before / total;
                if f < 1e-7 {
                    continue;
                }
                let steps = table.from(a);
                for b in 0..N {
                    let p = f * steps[b] * weigh[b];
                    if p > 1e-7 {
                        add_step(net, a, b, class(i), p as f32, grad);
                    }
                }
            }
            add_step(net, label(i - 1), label(i), class(i), -1.0, grad);
            gold += f64::from(net.step(Chord::from_index(label(i - 1)), Chord::from_index(label(i)), class(i)));
            let max = back.iter().copied().fold(0.0, f64::max);
            ahead = back.iter().map(|v| v / max).collect();
        }
    }
    log_z - gold
}

fn add_step(net: &Net, a: usize, b: usize, class: usize, by: f32, grad: &mut [f32]) {
    let (step, of_class) = net.step_places(Chord::from_index(a), Chord::from_index(b), class);
    grad[step] += by;
    if let Some(at) = of_class {
        grad[at] += by;
    }
}

fn add_beat(net: &Net, (input, hidden, mask): &(Input, Vec<f32>, Vec<f32>), share: &[f64], grad: &mut [f32]) {
    let s = SHAPE;
    let h = s.n_hidden;
    let mut back = vec![0.0f32; h];
    for root in 0..12 {
        let err: [f32; Q] = std::array::from_fn(|q| share[root * Q + q] as f32);
        if err.iter().all(|e| e.abs() < 1e-5) {
            continue;
        }
        for q in 0..Q {
            grad[s.out_bias_at() + q] += err[q];
        }
        for u in 0..h {
            let value = hidden[root * h + u] * mask[u];
            back[u] = 0.0;
            if value > 0.0 {
                let row = s.out_at() + u * Q;
                for q in 0..Q {
                    grad[row + q] += err[q] * value;
                    back[u] += err[q] * net.weights[row + q];
                }
                back[u] *= mask[u];
                grad[s.hidden_bias_at() + u] += back[u];
            }
        }
        net.turned(input, root, |place, value| {
            grad[place * h..(place + 1) * h].iter_mut().zip(&back).for_each(|(g, b)| *g += b * value);
            grad[s.direct_at() + place * Q..][..Q].iter_mut().zip(&err).for_each(|(g, e)| *g += e * value);
        });
    }
}
