//! Fits the networks that tell a note's hand from the music around it: logistic loss through the whole of a stretch, Adam (Kingma & Ba
//! 2015), dropout.

use catchword::score::hands::around::{
    BIAS, DIRECT, DIRECTIONS, HIDDEN_BIAS, N_WEIGHTS, OUT_OF_HIDDEN, OUT_OF_KEPT, TO_HIDDEN, dot, hidden,
};
use catchword::score::hands::passage::{
    Direction, FROM_KEPT, Hidden, Moment, N_GATES, N_HIDDEN, N_KEPT, N_SUMS, SUMS_BIAS, logistic, pass,
};
use catchword::score::hands::seen::{Seen, inputs};
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

const N_STEPS: usize = 8_000;
/// Stretches of so many notes in a step.
const N_STRETCHES: usize = 8;
const STRETCH: usize = 96;
/// Stretches begin around every so manyth note.
const BEGIN_EVERY: usize = 16;
const RATE: f32 = 0.004;
const RATE_MIN: f32 = 0.05;
const N_STEPS_SLOW: f32 = 50.0;
const DECAY: f32 = 0.02;
const LENGTH_MAX: f32 = 1.0;
const DROP_INPUT: f32 = 0.1;
const DROP_HIDDEN: f32 = 0.2;
/// How often a stretch is shown with the hands exchanged and high for low, about the D in the middle of the keyboard.
const MIRRORED: f32 = 0.3;
const MIRROR: f64 = 124.0;
/// How often some notes of a register have another first hand.
const MISLED: f32 = 0.3;
const MISLED_NOTES: usize = 24;
const MISLED_REGISTER: f64 = 5.0;
/// The last part of the steps, whose weights are averaged at every so manyth.
const AVERAGED_FROM: usize = N_STEPS * 3 / 4;
const AVERAGED_EVERY: usize = 10;

/// A piece with its first splits, with and without the ends of notes.
struct Shown {
    rows: Vec<Row>,
    is_left: Vec<bool>,
    first: [Vec<bool>; 2],
}

impl Shown {
    fn of(piece: &Piece) -> Shown {
        let bare: Vec<Row> = piece.rows.iter().map(|r| Row { end: r.onset, ..*r }).collect();
        Shown { rows: piece.rows.clone(), is_left: piece.is_left.clone(), first: [by_reach(&piece.rows), by_reach(&bare)] }
    }

    fn mirrored(&self) -> Shown {
        let mut order: Vec<usize> = (0..self.rows.len()).collect();
        order.sort_by(|&a, &b| {
            let (a, b) = (&self.rows[a], &self.rows[b]);
            a.onset.total_cmp(&b.onset).then(b.key.total_cmp(&a.key))
        });
        let others = |hands: &Vec<bool>| order.iter().map(|&i| !hands[i]).collect::<Vec<bool>>();
        let rows = order.iter().map(|&i| Row { key: MIRROR - self.rows[i].key, ..self.rows[i] }).collect();
        Shown { rows, is_left: others(&self.is_left), first: self.first.each_ref().map(others) }
    }
}

/// Returns the weights of one network.
pub fn fit(pieces: &[&Piece], seed: u64) -> Vec<f32> {
    let mut rng = Rng::with_seed(seed);
    let shown: Vec<Shown> = pieces.iter().map(|p| Shown::of(p)).collect();
    let mirrored: Vec<Shown> = shown.iter().map(Shown::mirrored).collect();
    let mut begins: Vec<(usize, usize)> = Vec::new();
    for (nth, piece) in pieces.iter().enumerate() {
        (0..piece.times).for_each(|_| begins.extend((0..piece.rows.len()).step_by(BEGIN_EVERY).map(|i| (nth, i))));
    }
    let mut weights = first_weights(&mut rng);
    let (mut mean, mut square, mut average) = (vec![0.0f32; N_WEIGHTS], vec![0.0f32; N_WEIGHTS], vec![0.0f32; N_WEIGHTS]);
    let (mut loss, mut n_notes, mut n_averaged) = (0.0, 0, 0.0);
    for step in 0..N_STEPS {
        let mut gradient = vec![0.0f32; N_WEIGHTS];
        let mut n = 0;
        for _ in 0..N_STRETCHES {
            let (nth, at) = begins[rng.usize(0..begins.len())];
            let piece = if rng.f32() < MIRRORED { &mirrored[nth] } else { &shown[nth] };
            let stretch = Stretch::new(piece, at, &mut rng);
            n += stretch.is_left.len();
            loss += stretch.add(&weights, &mut gradient);
        }
        let length = gradient.iter().map(|g| g * g).sum::<f32>().sqrt() / n as f32;
        let scale = (LENGTH_MAX / length).min(1.0) / n as f32;
        let rate = RATE * (1.0 - step as f32 / N_STEPS as f32).max(RATE_MIN) * ((step as f32 + 1.0) / N_STEPS_SLOW).min(1.0);
        let (c1, c2) = (1.0 - 0.9f32.powi(step as i32 + 1), 1.0 - 0.999f32.powi(step as i32 + 1));
        for (i, g) in gradient.iter().map(|g| g * scale).enumerate() {
            mean[i] = 0.9 * mean[i] + 0.1 * g;
            square[i] = 0.999 * square[i] + 0.001 * g * g;
            weights[i] -= rate * (mean[i] / c1 / ((square[i] / c2).sqrt() + 1e-8) + DECAY * weights[i]);
        }
        if step >= AVERAGED_FROM && step.is_multiple_of(AVERAGED_EVERY) {
            n_averaged += 1.0;
            average.iter_mut().zip(&weights).for_each(|(a, w)| *a += (w - *a) / n_averaged);
        }
        n_notes += n;
        if (step + 1).is_multiple_of(N_STEPS / 20) {
            eprintln!("network {seed}, {:>3} %: loss {:.4}", 100 * (step + 1) / N_STEPS, loss / n_notes as f32);
            (loss, n_notes) = (0.0, 0);
        }
    }
    average
}

fn first_weights(rng: &mut Rng) -> Vec<f32> {
    let mut weights = vec![0.0f32; N_WEIGHTS];
    let mut spread = |weights: &mut [f32], wide: f32| {
        weights.iter_mut().for_each(|w| *w = (rng.f32() + rng.f32() + rng.f32() - 1.5) * 2.0 * wide);
    };
    spread(&mut weights[TO_HIDDEN], 0.075);
    for direction in DIRECTIONS {
        let weights = &mut weights[direction];
        spread(&mut weights[..SUMS_BIAS], 0.15);
        // To begin with what is kept stays for a while.
        weights[SUMS_BIAS..SUMS_BIAS + N_KEPT].fill(1.0);
    }
    spread(&mut weights[OUT_OF_HIDDEN.start..BIAS], 0.2);
    weights
}

/// Some notes as they are shown once.
struct Stretch {
    inputs: Vec<Vec<(usize, f32)>>,
    is_left: Vec<bool>,
    /// What dropout leaves of the hidden values and of each direction, scaled up.
    hidden_kept: Vec<Hidden>,
    kept: [Vec<[f32; N_KEPT]>; 2],
}

impl Stretch {
    fn new(piece: &Shown, at: usize, rng: &mut Rng) -> Stretch {
        let from = at.saturating_sub(rng.usize(0..STRETCH));
        let to = (from + STRETCH).min(piece.rows.len());
        let seen =
            Seen { stretched: [0.5, 0.7, 1.0, 1.0, 1.4, 2.0][rng.usize(0..6)], higher: rng.i32(-6..=6) as f32, has_ends: rng.bool() };
        let mut first = piece.first[rng.usize(0..2)].clone();
        if rng.f32() < MISLED {
            let begin = rng.usize(from..to);
            let notes = begin..(begin + rng.usize(1..MISLED_NOTES)).min(piece.rows.len());
            let (hand, register) = (rng.bool(), 48.0 + 24.0 * rng.f64());
            notes.filter(|&i| (piece.rows[i].key - register).abs() < MISLED_REGISTER).for_each(|i| first[i] = hand);
        }
        let mut inputs: Vec<_> = (from..to).map(|i| inputs(&piece.rows, &first, i, seen)).collect();
        inputs.iter_mut().for_each(|of_note| of_note.retain(|_| rng.f32() >= DROP_INPUT));
        let mut drop = || if rng.f32() < DROP_HIDDEN { 0.0 } else { 1.0 / (1.0 - DROP_HIDDEN) };
        let n = to - from;
        Stretch {
            inputs,
            is_left: piece.is_left[from..to].to_vec(),
            hidden_kept: (0..n).map(|_| std::array::from_fn(|_| drop())).collect(),
            kept: std::array::from_fn(|_| (0..n).map(|_| std::array::from_fn(|_| drop())).collect()),
        }
    }

    /// Adds the gradient of the whole stretch and returns its loss.
    fn add(&self, weights: &[f32], gradient: &mut [f32]) -> f32 {
        let (notes, mut scores): (Vec<Hidden>, Vec<f32>) = self.inputs.iter().map(|of_note| hidden(weights, of_note)).unzip();
        let mut out: Vec<Hidden> = notes.clone();
        out.iter_mut().zip(&self.hidden_kept).for_each(|(out, kept)| out.iter_mut().zip(kept).for_each(|(o, k)| *o *= k));
        scores.iter_mut().zip(&out).for_each(|(score, out)| *score += dot(&weights[OUT_OF_HIDDEN], out));
        let mut moments: [Vec<Option<Moment>>; 2] = std::array::from_fn(|_| vec![None; notes.len()]);
        for (d, direction) in [Direction::Forwards, Direction::Backwards].into_iter().enumerate() {
            pass(&weights[DIRECTIONS[d].clone()], &notes, direction, |i, moment| {
                let kept: [f32; N_KEPT] = std::array::from_fn(|k| moment.kept[k] * self.kept[d][i][k]);
                scores[i] += dot(&weights[OUT_OF_KEPT[d].clone()], &kept);
                moments[d][i] = Some(*moment);
            });
        }
        let off: Vec<f32> = scores.iter().zip(&self.is_left).map(|(score, is_left)| logistic(*score) - f32::from(*is_left)).collect();
        let mut to_notes = vec![[0.0f32; N_HIDDEN]; notes.len()];
        for i in 0..notes.len() {
            gradient[BIAS] += off[i];
            for u in 0..N_HIDDEN {
                gradient[OUT_OF_HIDDEN.start + u] += off[i] * out[i][u];
                to_notes[i][u] += off[i] * weights[OUT_OF_HIDDEN.start + u] * self.hidden_kept[i][u];
            }
        }
        for d in 0..2 {
            let mut order: Vec<usize> = (0..notes.len()).collect();
            if d == 1 {
                order.reverse();
            }
            let of_kept: Vec<[f32; N_KEPT]> = (0..notes.len())
                .map(|i| std::array::from_fn(|k| off[i] * weights[OUT_OF_KEPT[d].start + k] * self.kept[d][i][k]))
                .collect();
            for i in 0..notes.len() {
                let moment = moments[d][i].as_ref().expect("every note was passed");
                (0..N_KEPT).for_each(|k| gradient[OUT_OF_KEPT[d].start + k] += off[i] * moment.kept[k] * self.kept[d][i][k]);
            }
            let at = |i: usize| (moments[d][i].as_ref().expect("every note was passed"), &notes[i], &of_kept[i]);
            add_pass(&weights[DIRECTIONS[d].clone()], &order, at, &mut gradient[DIRECTIONS[d].clone()], &mut to_notes);
        }
        for (i, of_note) in self.inputs.iter().enumerate() {
            let back: Hidden = std::array::from_fn(|u| if notes[i][u] > 0.0 { to_notes[i][u] } else { 0.0 });
            gradient[HIDDEN_BIAS].iter_mut().zip(&back).for_each(|(g, b)| *g += b);
            for &(at, value) in of_note {
                gradient[DIRECT.start + at] += off[i] * value;
                gradient[at * N_HIDDEN..(at + 1) * N_HIDDEN].iter_mut().zip(&back).for_each(|(g, b)| *g += b * value);
            }
        }
        let right = |score: &f32, is_left: &bool| if *is_left { logistic(*score) } else { logistic(-score) };
        scores.iter().zip(&self.is_left).map(|(score, is_left)| -right(score, is_left).max(1e-9).ln()).sum()
    }
}

/// Adds the gradient of one direction, from its last note to its first; what reaches each note's hidden values goes to `to_notes`.
fn add_pass<'p>(
    weights: &[f32],
    order: &[usize],
    at: impl Fn(usize) -> (&'p Moment, &'p Hidden, &'p [f32; N_KEPT]),
    gradient: &mut [f32],
    to_notes: &mut [Hidden],
) {
    let mut to_kept = [0.0f32; N_KEPT];
    for &i in order.iter().rev() {
        let (moment, note, of_kept) = at(i);
        let (mut to_sums, mut to_recalled, mut to_before) = ([0.0f32; N_SUMS], [0.0f32; N_SUMS], [0.0f32; N_KEPT]);
        for k in 0..N_KEPT {
            let here = to_kept[k] + of_kept[k];
            let (update, reset, candidate) = (moment.update[k], moment.reset[k], moment.candidate[k]);
            let to_candidate = here * (1.0 - update) * (1.0 - candidate * candidate);
            let to_update = here * (moment.before[k] - candidate) * update * (1.0 - update);
            let to_reset = to_candidate * moment.recalled[k] * reset * (1.0 - reset);
            to_before[k] = here * update;
            for (sum, value) in [(k, to_update), (N_KEPT + k, to_reset), (2 * N_KEPT + k, to_candidate)] {
                to_sums[sum] = value;
                to_recalled[sum] = value;
            }
            to_recalled[2 * N_KEPT + k] *= reset;
        }
        let mut add = |from: usize, values: &[f32], to: &[f32; N_SUMS], back: &mut [f32]| {
            for (nth, (value, back)) in values.iter().zip(back).enumerate() {
                let row = from + nth * N_SUMS..from + (nth + 1) * N_SUMS;
                *back += dot(&weights[row.clone()], to);
                gradient[row].iter_mut().zip(to).for_each(|(g, t)| *g += value * t);
            }
        };
        add(0, note, &to_sums, &mut to_notes[i]);
        add(FROM_KEPT, &moment.before, &to_recalled, &mut to_before);
        gradient[SUMS_BIAS..N_GATES].iter_mut().zip(&to_sums).for_each(|(g, t)| *g += t);
        to_kept = to_before;
    }
}

/// The weights are written as whole numbers of this many parts.
const PARTS: f32 = 64.0;

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
         //! Origin: {origin}.\n//! Only weights are here, in {PARTS}ths; nothing of the pieces themselves.\n\n\
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
