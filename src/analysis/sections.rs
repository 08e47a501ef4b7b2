//! Sections proposed: where phrases start, and the best cut into lengths that can be practised.
//!
//! Each bar gets the probability that a phrase starts there: a small network reads the bar line
//! (`phrases`), and a table of lengths weighs how far the last start lies back, both summed over all
//! ways to cut the piece (a semi-Markov random field, Sarawagi & Cohen 2004). A dynamic programme
//! then chooses cuts 2 to 8 bars apart. Printed signs (repeats, double bars, rehearsal marks,
//! changes of key or metre) weigh as much as anything heard, and endings stay with what they end.

use std::ops::RangeInclusive;

use super::harmony::BeatChord;
use super::learned;
use super::material::Material;
use super::phrases::{self, N_INPUTS};
use crate::score::Score;

/// Phrases longer than this all weigh the same.
pub const LENGTHS: usize = 24;
pub const N_HIDDEN: usize = 16;
/// Networks fitted from different seeds; their mean is steadier than any one.
pub const N_NETS: usize = 3;
/// Input to hidden (input-major), hidden bias, direct, hidden to output, output bias, lengths.
pub const N_WEIGHTS: usize = N_INPUTS * N_HIDDEN + N_HIDDEN + N_INPUTS + N_HIDDEN + 1 + LENGTHS;
pub const LENGTHS_AT: usize = N_WEIGHTS - LENGTHS;

/// Shortest and longest section proposed, in bars; a piece shorter than twice the shortest stays whole.
pub const BARS: RangeInclusive<usize> = 2..=8;

/// Why a section starts where it does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Why {
    Beginning,
    RepeatSign,
    DoubleBar,
    RehearsalMark,
    NewKey,
    NewMeter,
    AfterEndings,
    /// After a rest, a fermata or a long note.
    AfterRest,
    AfterCadence,
    /// Something heard before, or heard again later, begins.
    Return,
    /// None of these alone: the likeliest place within reach.
    Length,
}

impl Why {
    pub fn words(self) -> String {
        match self {
            Why::Beginning => tr!("the beginning"),
            Why::RepeatSign => tr!("a repeat begins here, or ends before"),
            Why::DoubleBar => tr!("a double bar stands before it"),
            Why::RehearsalMark => tr!("a rehearsal mark stands here"),
            Why::NewKey => tr!("the key signature changes"),
            Why::NewMeter => tr!("the metre changes"),
            Why::AfterEndings => tr!("the endings are over"),
            Why::AfterRest => tr!("a rest, a fermata or a long note before it"),
            Why::AfterCadence => tr!("a cadence before it"),
            Why::Return => tr!("bars that come back begin here"),
            Why::Length => tr!("the likeliest start within reach"),
        }
    }
}

/// A proposed section.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Proposed {
    /// Bars, half-open.
    pub from: usize,
    pub end: usize,
    pub why: Why,
    /// Probability that a phrase starts here, `0.0..=1.0`; 1 for the beginning.
    pub confidence: f32,
}

/// Scores the bar lines of a piece with any weights; `hidden` receives the hidden values of each.
pub fn line_scores(weights: &[f32], inputs: &[[f32; N_INPUTS]], hidden: &mut Vec<[f32; N_HIDDEN]>) -> Vec<f32> {
    let (bias, direct) = (N_INPUTS * N_HIDDEN, N_INPUTS * N_HIDDEN + N_HIDDEN);
    let out = direct + N_INPUTS;
    hidden.clear();
    inputs
        .iter()
        .map(|input| {
            let mut hid: [f32; N_HIDDEN] = std::array::from_fn(|u| weights[bias + u]);
            let mut sum = weights[out + N_HIDDEN];
            for (i, &v) in input.iter().enumerate().filter(|(_, v)| **v != 0.0) {
                hid.iter_mut().zip(&weights[i * N_HIDDEN..]).for_each(|(h, w)| *h += w * v);
                sum += weights[direct + i] * v;
            }
            hid.iter_mut().for_each(|h| *h = h.max(0.0));
            sum += hid.iter().zip(&weights[out..]).map(|(h, w)| h * w).sum::<f32>();
            hidden.push(hid);
            sum
        })
        .collect()
}

/// Forward and backward sums over all cuts of `scores.len()` bars, starting with a cut at 0.
pub struct Cuts {
    /// Log of the sum of all cuts of the bars before `i` that end with a cut at `i`; one entry more than bars.
    pub ahead: Vec<f64>,
    /// Log of the sum of all cuts of the bars from `i` on, given a cut at `i`.
    pub behind: Vec<f64>,
}

/// Weight of a phrase's length; the last one has been cut off by the end of the piece.
pub fn length_weight(weights: &[f32], length: usize) -> f64 {
    f64::from(weights[LENGTHS_AT + length.clamp(1, LENGTHS) - 1])
}

/// Longest phrase that is looked at.
pub const LOOK_BACK: usize = 32;

impl Cuts {
    pub fn new(weights: &[f32], scores: &[f32]) -> Cuts {
        let n = scores.len();
        let add = |values: &mut dyn Iterator<Item = f64>| {
            let values: Vec<f64> = values.collect();
            let max = values.iter().copied().fold(f64::MIN, f64::max);
            max + values.iter().map(|v| (v - max).exp()).sum::<f64>().ln()
        };
        let score = |i: usize| scores.get(i).map_or(0.0, |s| f64::from(*s));
        let mut ahead = vec![0.0; n + 1];
        for i in 1..=n {
            let reach = i.saturating_sub(LOOK_BACK)..i;
            ahead[i] = score(i) + add(&mut reach.map(|j| ahead[j] + length_weight(weights, i - j)));
        }
        let mut behind = vec![0.0; n + 1];
        for i in (0..n).rev() {
            let reach = i + 1..(i + LOOK_BACK).min(n) + 1;
            behind[i] = add(&mut reach.map(|j| behind[j] + score(j) + length_weight(weights, j - i)));
        }
        Cuts { ahead, behind }
    }

    /// Probability of a cut at bar `i`.
    pub fn at(&self, i: usize) -> f64 {
        (self.ahead[i] + self.behind[i] - self.behind[0]).exp().min(1.0)
    }
}

/// Probability of a phrase start at each bar: the mean of all the nets in `weights`, `N_WEIGHTS` each.
pub fn probabilities(weights: &[f32], inputs: &[[f32; N_INPUTS]]) -> Vec<f64> {
    let nets = weights.chunks_exact(N_WEIGHTS);
    let share = 1.0 / nets.len().max(1) as f64;
    let mut out = vec![0.0; inputs.len()];
    for net in nets {
        let cuts = Cuts::new(net, &line_scores(net, inputs, &mut Vec::new()));
        out.iter_mut().enumerate().for_each(|(i, p)| *p += cuts.at(i) * share);
    }
    out
}

/// How a cut is paid for: what a start exactly there, and one a bar away, is worth, against the price of a cut.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Price {
    pub near: f64,
    pub cut: f64,
}

/// Chooses cuts with lengths of `lengths` bars; `worth[i]` is what a cut at bar `i` gains.
pub fn choose(worth: &[f64], lengths: &RangeInclusive<usize>) -> Vec<usize> {
    let n = worth.len();
    if n == 0 {
        return Vec::new();
    }
    let mut best = vec![f64::MIN; n + 1];
    let mut from = vec![0usize; n + 1];
    best[0] = 0.0;
    for i in 1..=n {
        // What cannot be cut into allowed lengths (a single bar in all) is one section.
        let reach = i.saturating_sub(*lengths.end())..=i.saturating_sub(*lengths.start());
        for j in reach.filter(|&j| j < i) {
            if best[j] == f64::MIN {
                continue;
            }
            let gain = best[j] + worth.get(i).copied().unwrap_or(0.0);
            if gain > best[i] {
                (best[i], from[i]) = (gain, j);
            }
        }
    }
    let mut cuts = Vec::new();
    let mut at = n;
    while at > 0 {
        at = if best[at] > f64::MIN { from[at] } else { 0 };
        cuts.push(at);
    }
    cuts.reverse();
    cuts
}

/// What each bar is worth as a start, from the probabilities.
pub fn worth(probability: &[f64], price: Price) -> Vec<f64> {
    let p = |i: usize| probability.get(i).copied().unwrap_or(0.0);
    let near = |i: usize| i.checked_sub(1).map_or(0.0, p) + p(i + 1);
    (0..probability.len()).map(|i| p(i) + price.near * near(i) - price.cut).collect()
}

/// Where a part can be cut into sections.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Cutting {
    /// What each bar is worth as a start, the probability that a phrase starts there, and why one would.
    worth: Vec<f64>,
    probability: Vec<f64>,
    why: Vec<Why>,
}

impl Cutting {
    /// Proposes sections of so many bars each; of a piece that cannot be cut so, all of it.
    pub fn sections(&self, lengths: &RangeInclusive<usize>) -> Vec<Proposed> {
        let starts = choose(&self.worth, lengths);
        let ends = starts.iter().skip(1).copied().chain([self.worth.len()]);
        let proposed = |(&from, end): (&usize, usize)| Proposed {
            from,
            end,
            why: self.why[from],
            confidence: if from == 0 { 1.0 } else { self.probability[from] as f32 },
        };
        starts.iter().zip(ends).map(proposed).collect()
    }
}

/// Finds where a part can be cut.
pub fn cutting(score: &Score, material: &Material, harmony: &[BeatChord], fermatas: &[bool]) -> Cutting {
    let inputs = phrases::inputs(material, harmony);
    let weights = learned::section_weights();
    let mut probability = probabilities(&weights, &inputs);
    let signs: Vec<Option<Why>> = (0..probability.len()).map(|bar| sign_at(score, bar)).collect();
    for (bar, p) in probability.iter_mut().enumerate() {
        if bar > 0 && fermatas.get(bar - 1).copied().unwrap_or(false) {
            *p = p.max(0.7);
        }
        *p = match signs[bar] {
            Some(Why::DoubleBar | Why::NewKey | Why::NewMeter) => 0.9,
            Some(_) => 1.0,
            None => *p,
        };
    }
    let mut worth = worth(&probability, learned::SECTION_PRICE);
    for (bar, w) in worth.iter_mut().enumerate() {
        if !score.bars[bar].signs.endings.is_empty() {
            // An ending stays with the passage that it ends.
            *w = -4.0;
        } else if signs[bar].is_some() {
            *w += 1.0;
        }
    }
    let why = |from: usize| {
        if from == 0 {
            return Why::Beginning;
        }
        let row = &inputs[from][phrases::N_SIGNS..2 * phrases::N_SIGNS];
        let is_after_rest = row[0] >= 0.5 || row[2] >= 0.25 || row[1] >= 0.5 || fermatas.get(from - 1).copied().unwrap_or(false);
        signs[from].unwrap_or(if row[12] >= 0.5 {
            Why::Return
        } else if is_after_rest {
            Why::AfterRest
        } else if row[21] + row[22] > 0.0 {
            Why::AfterCadence
        } else if row[12] > 0.0 {
            Why::Return
        } else {
            Why::Length
        })
    };
    let why = (0..probability.len()).map(why).collect();
    Cutting { worth, probability, why }
}

/// The printed sign that makes a bar a start.
fn sign_at(score: &Score, bar: usize) -> Option<Why> {
    let before = &score.bars[bar.checked_sub(1)?];
    let this = &score.bars[bar];
    if this.signs.repeat_start || before.signs.repeat_end.is_some() && this.signs.endings.is_empty() {
        let is_over = !before.signs.endings.is_empty() && !this.signs.repeat_start;
        return Some(if is_over { Why::AfterEndings } else { Why::RepeatSign });
    }
    if !before.signs.endings.is_empty() && this.signs.endings.is_empty() {
        return Some(Why::AfterEndings);
    }
    if this.signs.rehearsal.is_some() {
        return Some(Why::RehearsalMark);
    }
    if before.key.fifths != this.key.fifths {
        return Some(Why::NewKey);
    }
    if before.meter != this.meter {
        return Some(Why::NewMeter);
    }
    before.signs.double_bar.then_some(Why::DoubleBar)
}
