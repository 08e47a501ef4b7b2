//! A chord for every beat: the network of `net` scores each beat, a dynamic programme smooths over time.
//!
//! The answer for a beat is the chord that is most probable there given the whole piece
//! (forward-backward), and its confidence that probability. Labels follow the practice of the
//! annotations learned from: a cadential six-four counts as the dominant that it leans on.

use super::chord::{Chord, Quality};
use super::learned;
use super::material::Material;
use super::net::{Fast, Input, Net, STEP_CLASSES, Shape};

/// Profiles and plain numbers of an [`Input`]; the order is that of `inputs`.
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

/// Lays out each beat as input for the network. One entry per beat of the material.
pub fn inputs(material: &Material) -> Vec<Input> {
    let n = material.beats.len();
    let mut whole = vec![[0.0f32; 12]; n];
    let mut half = whole.clone();
    let mut left = whole.clone();
    let mut struck = whole.clone();
    // Lowest key sounding on the beat, and anywhere in it.
    let mut bass = vec![u8::MAX; n];
    let mut low = bass.clone();
    let mut top = vec![0u8; n];
    let mut bass_is_new = vec![false; n];
    let mut count = vec![0usize; n];
    for tone in &material.tones {
        let first = material.beat_at(tone.at);
        let is_left = tone.hand == crate::theory::Hand::Left;
        for (b, beat) in material.beats.iter().enumerate().skip(first) {
            if b > first && beat.at >= tone.end {
                break;
            }
            let share = |from: i64, to: i64| (tone.end.min(to) - tone.at.max(from)).max(0) as f32 / (beat.end - beat.at).max(1) as f32;
            let pc = tone.pc();
            whole[b][pc] += share(beat.at, beat.end);
            half[b][pc] += 2.0 * share(beat.at, (beat.at + beat.end) / 2);
            if is_left {
                left[b][pc] += share(beat.at, beat.end);
            }
            if tone.at <= beat.at && tone.key < bass[b] {
                bass[b] = tone.key;
                bass_is_new[b] = tone.at == beat.at;
            }
            if tone.at == beat.at {
                struck[b][pc] = 1.0;
                top[b] = top[b].max(tone.key);
            }
            low[b] = low[b].min(tone.key);
            count[b] += usize::from(b == first);
        }
    }
    let mut before = vec![[0.0f32; 12]; n + 1];
    for b in 0..n {
        before[b + 1] = before[b];
        (0..12).for_each(|pc| before[b + 1][pc] += whole[b][pc].min(2.0));
    }
    let span = |from: usize, to: usize| -> [f32; 12] { std::array::from_fn(|pc| before[to.min(n)][pc] - before[from][pc]) };
    let all = span(0, n);
    let one = |key: u8| {
        let mut out = [0.0f32; 12];
        if key < 128 {
            out[key as usize % 12] = 1.0;
        }
        out
    };
    let near = |profiles: &[[f32; 12]], b: usize, by: isize| -> [f32; 12] {
        b.checked_add_signed(by).and_then(|i| profiles.get(i)).copied().unwrap_or_default()
    };
    let near_bass = |b: usize, by: isize| one(b.checked_add_signed(by).and_then(|i| bass.get(i)).copied().unwrap_or(u8::MAX));
    (0..n)
        .map(|b| {
            let beat = material.beats[b];
            let bar = &material.bars[beat.bar];
            let (bar_from, bar_to) = (material.first_beat[beat.bar], material.first_beat[beat.bar + 1]);
            let mut scale = [0.0f32; 12];
            for step in 0..7i32 {
                scale[((bar.fifths as i32 + step - 1) * 7).rem_euclid(12) as usize] = 0.4;
            }
            let profiles = [
                soft(whole[b]),
                soft(half[b]),
                one(bass[b]),
                one(if low[b] == bass[b] { u8::MAX } else { low[b] }),
                soft(near(&whole, b, -1)),
                soft(near(&whole, b, 1)),
                soft(near(&half, b, 1)),
                soft(near(&whole, b, 2)),
                soft(near(&whole, b, -2)),
                soft(span(bar_from, bar_to)),
                soft(span(b.saturating_sub(8), b + 9)),
                soft(span(b.saturating_sub(24), b + 25)),
                scale,
                soft(left[b]),
                struck[b],
                near_bass(b, -1),
                near_bass(b, 1),
            ];
            let is_bass_new = bass_is_new[b] && (b == 0 || bass[b] % 12 != bass[b - 1] % 12);
            let plain = [
                f32::from(beat.strength == 2),
                f32::from(beat.strength == 1),
                f32::from(is_bass_new),
                (beat.end - beat.at) as f32 / (2 * super::material::TICKS) as f32,
                (count[b] as f32 / 8.0).min(2.0),
                whole[b].iter().filter(|w| **w > 0.0).count() as f32 / 6.0,
                f32::from(beat.bar + 2 >= material.bars.len()),
                (all.iter().filter(|w| **w > 0.05).count() as f32 - 7.0) / 5.0,
            ];
            let values = profiles.iter().flatten().copied().chain(plain).collect();
            Input { values, step_class: beat.strength as usize * 2 + usize::from(is_bass_new) }
        })
        .collect()
}

/// A profile as shares of its sum, their square roots taken so that short tones still tell.
fn soft(profile: [f32; 12]) -> [f32; 12] {
    let sum: f32 = profile.iter().sum();
    profile.map(|w| if sum > 0.0 { (w / sum).sqrt() } else { 0.0 })
}

/// Returns a chord for each beat of the material.
pub fn harmony(material: &Material) -> Vec<BeatChord> {
    decode(&learned::harmony_net(), &inputs(material))
}

/// Finds the most probable chord of each beat with any network.
pub fn decode(net: &Net, inputs: &[Input]) -> Vec<BeatChord> {
    let mut hidden = Vec::new();
    let fast = Fast::new(net);
    // Chords kept at each beat and the exponentials of their scores.
    let kept: Vec<Vec<(Chord, f64)>> = inputs
        .iter()
        .map(|input| {
            let scores = match &fast {
                Some(fast) => fast.score(input, &near_roots(input)),
                None => net.score(input, &mut hidden),
            };
            let mut order: Vec<usize> = (0..Chord::COUNT).collect();
            order.select_nth_unstable_by(N_KEPT, |&a, &b| scores[b].total_cmp(&scores[a]).then(a.cmp(&b)));
            order.truncate(N_KEPT);
            order.sort_unstable();
            let max = order.iter().map(|&i| scores[i]).fold(f32::MIN, f32::max);
            order.into_iter().map(|i| (Chord::from_index(i), f64::from(scores[i] - max).exp())).collect()
        })
        .collect();
    let steps: Vec<Vec<f64>> = (0..STEP_CLASSES).map(|class| step_table(net, class)).collect();
    let n = inputs.len();
    let step = |b: usize, from: Chord, to: Chord| steps[inputs[b].step_class][from.index() * Chord::COUNT + to.index()];
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(n);
    for b in 0..n {
        let mut row: Vec<f64> = kept[b].iter().map(|(_, e)| *e).collect();
        if b > 0 {
            for (value, (to, _)) in row.iter_mut().zip(&kept[b]) {
                *value *= forward[b - 1].iter().zip(&kept[b - 1]).map(|(f, (from, _))| f * step(b, *from, *to)).sum::<f64>();
            }
        }
        norm(&mut row);
        forward.push(row);
    }
    let mut backward = vec![1.0; N_KEPT];
    let mut out = Vec::with_capacity(n);
    for b in (0..n).rev() {
        let mut share: Vec<f64> = forward[b].iter().zip(&backward).map(|(f, g)| f * g).collect();
        norm(&mut share);
        let best = (0..share.len()).max_by(|&a, &b| share[a].total_cmp(&share[b])).expect("chords are kept at every beat");
        let root = best_root(&kept[b], &share);
        let of_root = |i: &usize| kept[b][*i].0.root == root;
        let best = if kept[b][best].0.root == root {
            best
        } else {
            (0..share.len()).filter(of_root).max_by(|&x, &y| share[x].total_cmp(&share[y])).expect("the root has a chord")
        };
        let root_confidence: f64 = (0..share.len()).filter(of_root).map(|i| share[i]).sum();
        out.push(BeatChord {
            chord: kept[b][best].0,
            confidence: share[best] as f32,
            root_confidence: root_confidence as f32,
            bass: bass_of(&inputs[b]),
            stated: root_confidence >= learned::STATED_MIN,
        });
        if b > 0 {
            let ahead: Vec<f64> = backward.iter().zip(&kept[b]).map(|(g, (_, e))| g * e).collect();
            let row = |from: &Chord| kept[b].iter().zip(&ahead).map(|((to, _), a)| step(b, *from, *to) * a).sum();
            backward = kept[b - 1].iter().map(|(from, _)| row(from)).collect();
            norm(&mut backward);
        }
    }
    out.reverse();
    out
}

/// The pitch classes that sound in a beat, its bar or its two neighbours on either side; all when nothing does.
fn near_roots(input: &Input) -> [bool; 12] {
    const PROFILES: [usize; 6] = [0, 4, 5, 7, 8, 9];
    let near: [bool; 12] = std::array::from_fn(|pc| PROFILES.iter().any(|p| input.values[12 * p + pc] > 0.0));
    if near.contains(&true) { near } else { [true; 12] }
}

fn best_root(kept: &[(Chord, f64)], share: &[f64]) -> u8 {
    let mut roots = [0.0; 12];
    kept.iter().zip(share).for_each(|((chord, _), s)| roots[chord.root as usize] += s);
    (0..12u8).max_by(|&a, &b| roots[a as usize].total_cmp(&roots[b as usize])).expect("there are twelve")
}

/// The third profile of an input is its bass.
fn bass_of(input: &Input) -> Option<u8> {
    input.values[24..36].iter().position(|v| *v > 0.0).map(|pc| pc as u8)
}

fn norm(row: &mut [f64]) {
    let sum: f64 = row.iter().sum();
    let factor = if sum > 0.0 { 1.0 / sum } else { 1.0 };
    row.iter_mut().for_each(|v| *v *= factor);
}

/// Exponentials of the steps of one class, row by row.
pub fn step_table(net: &Net, class: usize) -> Vec<f64> {
    let n = Quality::ALL.len();
    // Only the interval of the roots matters: one row of blocks is turned for all twelve.
    let first: Vec<f64> = (0..n)
        .flat_map(|q| (0..Chord::COUNT).map(move |to| (q, to)))
        .map(|(q, to)| f64::from(net.step(Chord::from_index(q), Chord::from_index(to), class)).exp())
        .collect();
    let mut out = vec![0.0; Chord::COUNT * Chord::COUNT];
    for from in 0..Chord::COUNT {
        for to in 0..Chord::COUNT {
            let turned = (to + Chord::COUNT - from / n * n) % Chord::COUNT;
            out[from * Chord::COUNT + to] = first[from % n * Chord::COUNT + turned];
        }
    }
    out
}
