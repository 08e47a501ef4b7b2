//! What sounds in each beat, laid out as the input of the harmony network.
//!
//! Inputs are laid out one at a time: those of a long piece are several times larger than all else that is known of it.

use super::harmony::SHAPE;
use super::material::{Material, TICKS};
use super::net::Input;
use crate::theory::Hand;

/// Shares of the twelve pitch classes, from C.
type Profile = [f32; 12];

/// Lays out each beat as input for the network. One entry per beat of the material.
pub fn inputs(material: &Material) -> impl Iterator<Item = Input> + '_ {
    let sounding = Sounding::new(material);
    (0..material.beats.len()).map(move |b| sounding.input(b))
}

/// One entry a beat; lengths of tones as shares of it.
struct Sounding<'a> {
    material: &'a Material,
    whole: Vec<Profile>,
    /// The beat's first half, and what the left hand plays.
    half: Vec<Profile>,
    left: Vec<Profile>,
    struck: Vec<Profile>,
    /// Lowest key sounding on the beat, and anywhere in it; 255 for none.
    bass: Vec<u8>,
    low: Vec<u8>,
    bass_is_new: Vec<bool>,
    count: Vec<u32>,
    /// Sums of `whole`, each class at most 2 a beat, before each beat; one more entry at the end.
    before: Vec<Profile>,
}

impl<'a> Sounding<'a> {
    fn new(material: &'a Material) -> Sounding<'a> {
        let n = material.beats.len();
        let blank = vec![[0.0f32; 12]; n];
        let mut s = Sounding {
            material,
            whole: blank.clone(),
            half: blank.clone(),
            left: blank.clone(),
            struck: blank,
            bass: vec![u8::MAX; n],
            low: vec![u8::MAX; n],
            bass_is_new: vec![false; n],
            count: vec![0; n],
            before: Vec::with_capacity(n + 1),
        };
        for tone in &material.tones {
            let first = material.beat_at(tone.at);
            let is_left = tone.hand == Hand::Left;
            for (b, beat) in material.beats.iter().enumerate().skip(first) {
                if b > first && beat.at >= tone.end {
                    break;
                }
                let share = |from: i64, to: i64| (tone.end.min(to) - tone.at.max(from)).max(0) as f32 / (beat.end - beat.at).max(1) as f32;
                let pc = tone.pc();
                s.whole[b][pc] += share(beat.at, beat.end);
                s.half[b][pc] += 2.0 * share(beat.at, (beat.at + beat.end) / 2);
                if is_left {
                    s.left[b][pc] += share(beat.at, beat.end);
                }
                if tone.at <= beat.at && tone.key < s.bass[b] {
                    s.bass[b] = tone.key;
                    s.bass_is_new[b] = tone.at == beat.at;
                }
                if tone.at == beat.at {
                    s.struck[b][pc] = 1.0;
                }
                s.low[b] = s.low[b].min(tone.key);
                s.count[b] += u32::from(b == first);
            }
        }
        let mut sum = [0.0; 12];
        s.before.push(sum);
        for whole in &s.whole {
            (0..12).for_each(|pc| sum[pc] += whole[pc].min(2.0));
            s.before.push(sum);
        }
        s
    }

    fn input(&self, b: usize) -> Input {
        let material = self.material;
        let beat = material.beats[b];
        let bar = &material.bars[beat.bar];
        let mut scale = [0.0f32; 12];
        for step in 0..7i32 {
            scale[((bar.fifths as i32 + step - 1) * 7).rem_euclid(12) as usize] = 0.4;
        }
        let (whole, half, bass) = (&self.whole[..], &self.half[..], self.bass[b]);
        let profiles = [
            soft(whole[b]),
            soft(half[b]),
            one(bass),
            one(if self.low[b] == bass { u8::MAX } else { self.low[b] }),
            soft(near(whole, b, -1).unwrap_or_default()),
            soft(near(whole, b, 1).unwrap_or_default()),
            soft(near(half, b, 1).unwrap_or_default()),
            soft(near(whole, b, 2).unwrap_or_default()),
            soft(near(whole, b, -2).unwrap_or_default()),
            soft(self.span(material.first_beat[beat.bar], material.first_beat[beat.bar + 1])),
            soft(self.span(b.saturating_sub(8), b + 9)),
            soft(self.span(b.saturating_sub(24), b + 25)),
            scale,
            soft(self.left[b]),
            self.struck[b],
            one(near(&self.bass, b, -1).unwrap_or(u8::MAX)),
            one(near(&self.bass, b, 1).unwrap_or(u8::MAX)),
        ];
        let is_bass_new = self.bass_is_new[b] && (b == 0 || bass % 12 != self.bass[b - 1] % 12);
        let all = self.span(0, whole.len());
        let plain = [
            f32::from(beat.strength == 2),
            f32::from(beat.strength == 1),
            f32::from(is_bass_new),
            (beat.end - beat.at) as f32 / (2 * TICKS) as f32,
            (self.count[b] as f32 / 8.0).min(2.0),
            whole[b].iter().filter(|w| **w > 0.0).count() as f32 / 6.0,
            f32::from(beat.bar + 2 >= material.bars.len()),
            (all.iter().filter(|w| **w > 0.05).count() as f32 - 7.0) / 5.0,
        ];
        let mut values = Vec::with_capacity(SHAPE.n_inputs());
        values.extend_from_slice(profiles.as_flattened());
        values.extend_from_slice(&plain);
        Input { values, step_class: beat.strength as usize * 2 + usize::from(is_bass_new) }
    }

    fn span(&self, from: usize, to: usize) -> Profile {
        let (before, after) = (&self.before[from], &self.before[to.min(self.whole.len())]);
        std::array::from_fn(|pc| after[pc] - before[pc])
    }
}

fn near<T: Copy>(row: &[T], b: usize, by: isize) -> Option<T> {
    b.checked_add_signed(by).and_then(|i| row.get(i)).copied()
}

fn one(key: u8) -> Profile {
    let mut out = [0.0f32; 12];
    if key < 128 {
        out[key as usize % 12] = 1.0;
    }
    out
}

/// A profile as shares of its sum, their square roots taken so that short tones still tell.
fn soft(profile: Profile) -> Profile {
    let sum: f32 = profile.iter().sum();
    profile.map(|w| if sum > 0.0 { (w / sum).sqrt() } else { 0.0 })
}
