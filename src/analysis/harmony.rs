//! A chord for every beat: the network of `net` scores each beat, a dynamic programme smooths over time.
//!
//! The answer for a beat is the chord that is most probable there given the whole piece
//! (forward-backward), and its confidence that probability. Labels follow the practice of the
//! annotations learned from: a cadential six-four counts as the dominant that it leans on.

use std::borrow::Borrow;

use super::chord::{Chord, Quality};
use super::learned;
use super::material::Material;
use super::net::{Fast, Input, Net, STEP_CLASSES, Shape};
use super::sounding::inputs;

/// Profiles and plain numbers of an [`Input`]; the order is that of `sounding`.
pub const SHAPE: Shape = Shape { n_profiles: 17, n_plain: 8, n_hidden: 32 };

/// Chords kept at each beat in the dynamic programme; the others are too improbable there.
const N_KEPT: usize = 16;

/// A chord at a beat.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct BeatChord {
    pub chord: Chord,
    /// Probability of the chord, `0.0..=1.0`.
    pub confidence: f32,
    /// Probability of its root, whatever the quality.
    pub root_confidence: f32,
    /// Lowest pitch class sounding on the beat.
    pub bass: Option<u8>,
    /// Sure enough to be spoken of.
    pub stated: bool,
}

/// Returns a chord for each beat of the material.
pub fn harmony(material: &Material) -> Vec<BeatChord> {
    decode(&learned::harmony_net(), inputs(material))
}

/// Finds the most probable chord of each beat with any network. Holds one input at a time.
pub fn decode(net: &Net, inputs: impl IntoIterator<Item = impl Borrow<Input>>) -> Vec<BeatChord> {
    let mut hidden = Vec::new();
    let fast = Fast::new(net);
    let beats: Vec<Kept> = inputs
        .into_iter()
        .map(|input| {
            let input = input.borrow();
            let scores = match &fast {
                Some(fast) => fast.score(input, &near_roots(input)),
                None => net.score(input, &mut hidden),
            };
            Kept::new(input, &scores)
        })
        .collect();
    let steps: Vec<StepTable> = (0..STEP_CLASSES).map(|class| StepTable::new(net, class)).collect();
    let mut forward: Vec<[f64; N_KEPT]> = Vec::with_capacity(beats.len());
    for (b, beat) in beats.iter().enumerate() {
        let mut row = beat.worth;
        if let Some((last, ahead)) = b.checked_sub(1).map(|a| (&beats[a], &forward[a])) {
            let rows = last.rows(&steps[beat.step_class]);
            for (value, &to) in row.iter_mut().zip(&beat.chords) {
                *value *= ahead.iter().zip(&rows).map(|(f, row)| f * row[to as usize]).sum::<f64>();
            }
        }
        norm(&mut row);
        forward.push(row);
    }
    let mut backward = [1.0; N_KEPT];
    let mut out = Vec::with_capacity(beats.len());
    for (b, beat) in beats.iter().enumerate().rev() {
        let mut share: [f64; N_KEPT] = std::array::from_fn(|i| forward[b][i] * backward[i]);
        norm(&mut share);
        out.push(beat.answer(&share));
        if let Some(last) = b.checked_sub(1).map(|a| &beats[a]) {
            let ahead: [f64; N_KEPT] = std::array::from_fn(|i| backward[i] * beat.worth[i]);
            let rows = last.rows(&steps[beat.step_class]);
            backward = rows.map(|row| beat.chords.iter().zip(&ahead).map(|(&to, a)| row[to as usize] * a).sum());
            norm(&mut backward);
        }
    }
    out.reverse();
    out
}

/// What is kept of a beat for the dynamic programme.
struct Kept {
    /// Indices of the likeliest chords, sorted, and the exponentials of their scores.
    chords: [u8; N_KEPT],
    worth: [f64; N_KEPT],
    step_class: usize,
    bass: Option<u8>,
}

impl Kept {
    fn new(input: &Input, scores: &[f32; Chord::COUNT]) -> Kept {
        let mut order: [u8; Chord::COUNT] = std::array::from_fn(|i| i as u8);
        let score = |i: u8| scores[i as usize];
        order.select_nth_unstable_by(N_KEPT, |&a, &b| score(b).total_cmp(&score(a)).then(a.cmp(&b)));
        let mut chords: [u8; N_KEPT] = std::array::from_fn(|i| order[i]);
        chords.sort_unstable();
        let max = chords.iter().map(|&i| score(i)).fold(f32::MIN, f32::max);
        let worth = chords.map(|i| f64::from(score(i) - max).exp());
        Kept { chords, worth, step_class: input.step_class, bass: bass_of(input) }
    }

    /// The steps from each kept chord.
    fn rows<'a>(&self, table: &'a StepTable) -> [&'a [f64]; N_KEPT] {
        self.chords.map(|from| table.from(from as usize))
    }

    fn chord(&self, i: usize) -> Chord {
        Chord::from_index(self.chords[i] as usize)
    }

    /// The likeliest chord on the likeliest root; `share[i]` is the probability of a kept chord.
    fn answer(&self, share: &[f64; N_KEPT]) -> BeatChord {
        let mut roots = [0.0; 12];
        share.iter().enumerate().for_each(|(i, s)| roots[self.chord(i).root as usize] += s);
        let root = (0..12u8).max_by(|&a, &b| roots[a as usize].total_cmp(&roots[b as usize])).expect("there are twelve");
        let of_root = |i: &usize| self.chord(*i).root == root;
        let likeliest = (0..N_KEPT).filter(of_root).max_by(|&x, &y| share[x].total_cmp(&share[y]));
        let best = likeliest.expect("the likeliest root has a chord");
        let root_confidence: f64 = (0..N_KEPT).filter(of_root).map(|i| share[i]).sum();
        BeatChord {
            chord: self.chord(best),
            confidence: share[best] as f32,
            root_confidence: root_confidence as f32,
            bass: self.bass,
            stated: root_confidence >= learned::STATED_MIN,
        }
    }
}

/// The pitch classes that sound in a beat, its bar or its two neighbours on either side; all when nothing does.
fn near_roots(input: &Input) -> [bool; 12] {
    const PROFILES: [usize; 6] = [0, 4, 5, 7, 8, 9];
    let near: [bool; 12] = std::array::from_fn(|pc| PROFILES.iter().any(|p| input.values[12 * p + pc] > 0.0));
    if near.contains(&true) { near } else { [true; 12] }
}

/// The third profile of an input is its bass.
fn bass_of(input: &Input) -> Option<u8> {
    input.values[24..36].iter().position(|v| *v > 0.0).map(|pc| pc as u8)
}

fn norm(row: &mut [f64; N_KEPT]) {
    let sum: f64 = row.iter().sum();
    let factor = if sum > 0.0 { 1.0 / sum } else { 1.0 };
    row.iter_mut().for_each(|v| *v *= factor);
}

/// Exponentials of the steps of one class.
///
/// Only the interval of the roots matters, so a row is kept for each quality and turned to its root; small enough for a processor's cache.
pub struct StepTable {
    /// For each quality the steps to all chords from the root C, written down twice.
    from_c: Vec<f64>,
}

impl StepTable {
    pub fn new(net: &Net, class: usize) -> StepTable {
        let pairs = (0..Quality::ALL.len()).flat_map(|q| (0..2 * Chord::COUNT).map(move |to| (q, to)));
        let step = |(q, to)| f64::from(net.step(Chord::from_index(q), Chord::from_index(to), class)).exp();
        StepTable { from_c: pairs.map(step).collect() }
    }

    /// Returns the steps from a chord to each of the others, by their indices.
    pub fn from(&self, from: usize) -> &[f64] {
        let n = Quality::ALL.len();
        let (root, quality) = (from / n, from % n);
        &self.from_c[quality * 2 * Chord::COUNT..][Chord::COUNT - root * n..][..Chord::COUNT]
    }
}
