//! The scorer behind harmony: one small network that looks at a beat from each of the twelve roots in turn.
//!
//! Its input is a list of pitch-class profiles. Turned so that a root lies first, the same weights
//! score every root: transposing the music turns the answer and changes nothing else. One hidden layer
//! (rectified) plus a direct linear path; the sequence part scores neighbouring chords. Together
//! they are a conditional random field (Lafferty, McCallum & Pereira 2001), the emissions of which are a network.
//! Knows no score; the trainer in `tests/bench` fits the weights.

use super::chord::{Chord, Quality};

const N_QUALITIES: usize = Quality::ALL.len();

/// Classes of a step from beat to beat: strength of the later beat (0 to 2), and whether its bass is a new note.
pub const STEP_CLASSES: usize = 6;
/// Kinds of step that a class weighs: the same chord, the same root with another quality.
pub const STEP_KINDS: usize = 2;

/// Sizes of a network.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Shape {
    /// Profiles of twelve classes each.
    pub n_profiles: usize,
    /// Plain numbers beside them, the same from every root.
    pub n_plain: usize,
    pub n_hidden: usize,
}

impl Shape {
    pub fn n_inputs(self) -> usize {
        12 * self.n_profiles + self.n_plain
    }

    /// Weights in all; see [`Net::weights`] for their order.
    pub fn n_weights(self) -> usize {
        self.steps_at() + 12 * N_QUALITIES * N_QUALITIES + STEP_CLASSES * STEP_KINDS
    }

    pub fn hidden_bias_at(self) -> usize {
        self.n_inputs() * self.n_hidden
    }

    pub fn direct_at(self) -> usize {
        self.hidden_bias_at() + self.n_hidden
    }

    pub fn out_at(self) -> usize {
        self.direct_at() + self.n_inputs() * N_QUALITIES
    }

    pub fn out_bias_at(self) -> usize {
        self.out_at() + self.n_hidden * N_QUALITIES
    }

    pub fn steps_at(self) -> usize {
        self.out_bias_at() + N_QUALITIES
    }

    pub fn classes_at(self) -> usize {
        self.steps_at() + 12 * N_QUALITIES * N_QUALITIES
    }
}

/// One beat as input: profiles one after the other, then the plain numbers.
#[derive(Clone, PartialEq, Debug)]
pub struct Input {
    pub values: Vec<f32>,
    /// Class of the step that leads here, `0..STEP_CLASSES`.
    pub step_class: usize,
}

/// A network with its weights.
#[derive(Clone, PartialEq, Debug)]
pub struct Net {
    pub shape: Shape,
    /// Input to hidden (input-major), hidden bias, input to output (input-major), hidden to output
    /// (hidden-major), output bias, step by interval of roots and both qualities, step classes.
    pub weights: Vec<f32>,
}

impl Net {
    /// Calls `each(place in the turned input, value)` for the input seen from `root`, zeros left out.
    pub fn turned(&self, input: &Input, root: usize, mut each: impl FnMut(usize, f32)) {
        let n = 12 * self.shape.n_profiles;
        for (at, &value) in input.values.iter().enumerate() {
            if value != 0.0 {
                let place = if at < n { at / 12 * 12 + (at % 12 + 12 - root) % 12 } else { at };
                each(place, value);
            }
        }
    }

    /// Scores all chords at one beat; `hidden` receives the hidden values for each root.
    pub fn score(&self, input: &Input, hidden: &mut Vec<f32>) -> [f32; Chord::COUNT] {
        let s = self.shape;
        let h = s.n_hidden;
        hidden.clear();
        hidden.resize(12 * h, 0.0);
        let mut out = [0.0; Chord::COUNT];
        for root in 0..12 {
            let hid = &mut hidden[root * h..(root + 1) * h];
            hid.copy_from_slice(&self.weights[s.hidden_bias_at()..s.direct_at()]);
            let scores = &mut out[root * N_QUALITIES..(root + 1) * N_QUALITIES];
            scores.copy_from_slice(&self.weights[s.out_bias_at()..s.steps_at()]);
            self.turned(input, root, |place, value| {
                let row = &self.weights[place * h..(place + 1) * h];
                hid.iter_mut().zip(row).for_each(|(x, w)| *x += w * value);
                let row = &self.weights[s.direct_at() + place * N_QUALITIES..][..N_QUALITIES];
                scores.iter_mut().zip(row).for_each(|(x, w)| *x += w * value);
            });
            for (unit, value) in hid.iter_mut().enumerate() {
                *value = value.max(0.0);
                let row = &self.weights[s.out_at() + unit * N_QUALITIES..][..N_QUALITIES];
                scores.iter_mut().zip(row).for_each(|(x, w)| *x += w * *value);
            }
        }
        out
    }

    /// Places in [`Net::weights`] that score the step from one chord to the next; the second, where there is one, is of the class.
    pub fn step_places(&self, from: Chord, to: Chord, class: usize) -> (usize, Option<usize>) {
        let interval = (to.root + 12 - from.root) as usize % 12;
        let step = self.shape.steps_at() + (interval * N_QUALITIES + from.quality as usize) * N_QUALITIES + to.quality as usize;
        let kind = if from == to { Some(0) } else { (from.root == to.root).then_some(1) };
        (step, kind.map(|k| self.shape.classes_at() + class * STEP_KINDS + k))
    }

    pub fn step(&self, from: Chord, to: Chord, class: usize) -> f32 {
        let (step, of_class) = self.step_places(from, to, class);
        self.weights[step] + of_class.map_or(0.0, |at| self.weights[at])
    }
}

/// Hidden units and outputs of one input side by side, padded to whole vector registers.
const ROW: usize = 48;

/// A network laid out for scoring many beats: the same answers as [`Net::score`], several times faster.
///
/// Roots that sound nowhere near a beat are not scored there; their chords come last.
pub struct Fast<'a> {
    net: &'a Net,
    rows: Vec<[f32; ROW]>,
    first: [f32; ROW],
    out: Vec<[f32; N_QUALITIES]>,
}

impl<'a> Fast<'a> {
    /// Score of a chord that is not looked at.
    pub const OUT_OF_THE_QUESTION: f32 = -1e6;

    /// Lays a network out. Networks with more hidden units than fit a row give `None`.
    pub fn new(net: &'a Net) -> Option<Fast<'a>> {
        let (s, h) = (net.shape, net.shape.n_hidden);
        if h + N_QUALITIES > ROW {
            return None;
        }
        let row = |hidden: &[f32], direct: &[f32]| {
            let mut row = [0.0; ROW];
            row[..h].copy_from_slice(hidden);
            row[h..h + N_QUALITIES].copy_from_slice(direct);
            row
        };
        let w = &net.weights;
        let at = |i: usize| row(&w[i * h..(i + 1) * h], &w[s.direct_at() + i * N_QUALITIES..][..N_QUALITIES]);
        Some(Fast {
            net,
            rows: (0..s.n_inputs()).map(at).collect(),
            first: row(&w[s.hidden_bias_at()..s.direct_at()], &w[s.out_bias_at()..s.steps_at()]),
            out: (0..h).map(|u| std::array::from_fn(|q| w[s.out_at() + u * N_QUALITIES + q])).collect(),
        })
    }

    /// Scores the chords of one beat whose root is in `roots`.
    pub fn score(&self, input: &Input, roots: &[bool; 12]) -> [f32; Chord::COUNT] {
        let n = 12 * self.net.shape.n_profiles;
        let h = self.net.shape.n_hidden;
        // Where each number that is not zero begins its profile, its class, and its value.
        let mut told: Vec<(usize, usize, f32)> = Vec::with_capacity(128);
        for (at, &value) in input.values.iter().enumerate().filter(|(_, v)| **v != 0.0) {
            // A plain number is its own place from every root.
            told.push(if at < n { (at / 12 * 12, at % 12, value) } else { (at, usize::MAX, value) });
        }
        let mut out = [Self::OUT_OF_THE_QUESTION; Chord::COUNT];
        for root in (0..12).filter(|r| roots[*r]) {
            let mut sums = self.first;
            for &(base, pc, value) in &told {
                let turn = if pc == usize::MAX { 0 } else { pc + if pc < root { 12 } else { 0 } - root };
                let row = &self.rows[base + turn];
                for (sum, w) in sums.iter_mut().zip(row) {
                    *sum += w * value;
                }
            }
            let mut scores: [f32; N_QUALITIES] = std::array::from_fn(|q| sums[h + q]);
            for (value, row) in sums[..h].iter().zip(&self.out).filter(|(v, _)| **v > 0.0) {
                scores.iter_mut().zip(row).for_each(|(s, w)| *s += w * value);
            }
            out[root * N_QUALITIES..(root + 1) * N_QUALITIES].copy_from_slice(&scores);
        }
        out
    }
}
