//! Keys: of the whole piece, and of each stretch of it.
//!
//! The key of the piece is chosen among all 24 by a few signs (profiles of pitch and duration, the
//! signature, the first and last harmony) whose weights are learned. The key of each bar follows by a
//! dynamic programme over bars: fit of the pitches to the scale against the price of leaving a key.

use super::chord::Quality;
use super::harmony::BeatChord;
use super::learned;
use super::material::Material;
use crate::theory::{Letter, Mode, SpelledPitch};

/// A key: tonic as pitch class, and mode.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Key {
    /// `0..12` from C.
    pub tonic: u8,
    pub mode: Mode,
}

impl Key {
    /// All 24, the major ones first.
    pub fn all() -> impl Iterator<Item = Key> {
        [Mode::Major, Mode::Minor].into_iter().flat_map(|mode| (0..12).map(move |tonic| Key { tonic, mode }))
    }

    pub fn index(self) -> usize {
        self.tonic as usize + if self.mode == Mode::Minor { 12 } else { 0 }
    }

    /// Returns the semitones above the tonic of the seven degrees (natural minor).
    pub fn scale(self) -> [usize; 7] {
        match self.mode {
            Mode::Major => [0, 2, 4, 5, 7, 9, 11],
            Mode::Minor => [0, 2, 3, 5, 7, 8, 10],
        }
    }

    /// Tells whether the scale holds a pitch class; in minor the raised sixth and seventh belong too.
    pub fn holds(self, pc: usize) -> bool {
        let above = (pc + 12 - self.tonic as usize) % 12;
        self.scale().contains(&above) || self.mode == Mode::Minor && (above == 11 || above == 9)
    }

    /// Returns the signature's sharps (flats below 0), the nearer of two enharmonic ones: -6 to 5.
    pub fn fifths(self) -> i8 {
        let major = if self.mode == Mode::Minor { self.tonic + 3 } else { self.tonic };
        let around = (major as i32 * 7).rem_euclid(12);
        (if around > 5 { around - 12 } else { around }) as i8
    }

    /// Spells a pitch class for the key whose signature lies nearest to `fifths` on the line of fifths.
    pub fn spell(self, pc: u8, fifths: i8) -> SpelledPitch {
        let own = self.fifths() as i32;
        let near = [own - 12, own, own + 12].into_iter().min_by_key(|f| (f - fifths as i32).abs()).unwrap_or(own);
        // Raised sevenths and sixths of minor are spelled from the major signature on the tonic.
        let above = (pc + 12 - self.tonic) % 12;
        let at = if self.mode == Mode::Minor && matches!(above, 9 | 11) { near + 3 } else { near };
        SpelledPitch::for_key(60 + pc % 12, at.clamp(-11, 11) as i8)
    }

    /// Returns the letter of a degree, counted from 1, when the tonic is spelled with `tonic`.
    pub fn degree_letter(tonic: Letter, degree: i32) -> Letter {
        Letter::from_steps(tonic.steps() + degree - 1)
    }
}

/// A stretch of bars in one key.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Region {
    /// Bars, half-open.
    pub from: usize,
    pub end: usize,
    pub key: Key,
}

/// Signs that weigh in the choice of the piece's key.
pub const N_SIGNS: usize = 12;

/// Major and minor weights of the twelve classes above the tonic (Temperley 2001, "The Cognition of
/// Basic Musical Structures", table 7.1; from memory).
const PROFILES: [[f32; 12]; 2] =
    [[5.0, 2.0, 3.5, 2.0, 4.5, 4.0, 2.0, 4.5, 2.0, 3.5, 1.5, 4.0], [5.0, 2.0, 3.5, 4.5, 2.0, 4.0, 2.0, 4.5, 3.5, 2.0, 1.5, 4.0]];

/// Returns the signs of each of the 24 keys.
pub fn signs(material: &Material, harmony: &[BeatChord]) -> [[f32; N_SIGNS]; 24] {
    let sums = |bars: std::ops::Range<usize>| {
        let mut out = [0.0f32; 12];
        for tone in &material.tones[material.first_tone[bars.start]..material.first_tone[bars.end]] {
            out[tone.pc()] += (tone.end - tone.at) as f32;
        }
        out
    };
    let n = material.bars.len();
    let parts = [sums(0..n), sums(0..n.div_ceil(8)), sums(n - n.div_ceil(8)..n)];
    let opening = material.bars.first().map_or(0, |b| b.fifths) as i32;
    let closing = material.bars.last().map_or(0, |b| b.fifths) as i32;
    let last_bass = material.tones.iter().rev().take(8).min_by_key(|t| (-t.at, t.key)).map(|t| t.pc());
    let first_bass = material.tones.iter().take(8).min_by_key(|t| (t.at, t.key)).map(|t| t.pc());
    let (first, last) = (harmony.first(), harmony.last());
    let total = harmony.len().max(1) as f32;
    let mut out = [[0.0; N_SIGNS]; 24];
    for key in Key::all() {
        let major = if key.mode == Mode::Minor { key.tonic as i32 + 3 } else { key.tonic as i32 };
        let fits = |fifths: i32| f32::from((fifths * 7).rem_euclid(12) == major.rem_euclid(12));
        let is_home = |c: &BeatChord| {
            c.chord.root == key.tonic
                && c.chord.quality.has_minor_third() == (key.mode == Mode::Minor)
                && c.chord.quality != Quality::Diminished
        };
        let is_dominant = |c: &BeatChord| c.chord.root == (key.tonic + 7) % 12 && !c.chord.quality.has_minor_third();
        let share = |f: &dyn Fn(&BeatChord) -> bool| harmony.iter().filter(|c| f(c)).count() as f32 / total;
        let cadences = harmony.windows(2).filter(|w| is_dominant(&w[0]) && is_home(&w[1])).count() as f32;
        let all_cadences = harmony.windows(2).filter(|w| (w[0].chord.root + 5) % 12 == w[1].chord.root).count().max(1) as f32;
        out[key.index()] = [
            fits(opening),
            fits(closing),
            10.0 * correlation(&parts[0], key),
            correlation(&parts[1], key) * 5.0,
            correlation(&parts[2], key) * 5.0,
            first.map_or(0.0, |c| f32::from(is_home(c))),
            last.map_or(0.0, |c| f32::from(is_home(c))),
            f32::from(last_bass == Some(key.tonic as usize)),
            f32::from(first_bass == Some(key.tonic as usize)),
            5.0 * share(&is_home),
            5.0 * share(&is_dominant),
            3.0 * cadences / all_cadences,
        ];
    }
    out
}

fn correlation(sums: &[f32; 12], key: Key) -> f32 {
    let profile = &PROFILES[usize::from(key.mode == Mode::Minor)];
    let mean = |v: &[f32; 12]| v.iter().sum::<f32>() / 12.0;
    let (ms, mp) = (mean(sums), mean(profile));
    let (mut sp, mut ss, mut pp) = (0.0, 0.0, 0.0);
    for pc in 0..12 {
        let (s, p) = (sums[pc] - ms, profile[(pc + 12 - key.tonic as usize) % 12] - mp);
        sp += s * p;
        ss += s * s;
        pp += p * p;
    }
    if ss > 0.0 { sp / (ss * pp).sqrt() } else { 0.0 }
}

/// Returns the key of the whole piece and the probability given to it.
pub fn piece_key(material: &Material, harmony: &[BeatChord]) -> (Key, f32) {
    choose(&learned::KEY_WEIGHTS, &signs(material, harmony))
}

/// Chooses a key with any weights.
pub fn choose(weights: &[f32; N_SIGNS], signs: &[[f32; N_SIGNS]; 24]) -> (Key, f32) {
    let score = |key: Key| signs[key.index()].iter().zip(weights).map(|(s, w)| s * w).sum::<f32>();
    let best = Key::all().max_by(|a, b| score(*a).total_cmp(&score(*b))).expect("there are 24 keys");
    let sum: f32 = Key::all().map(|k| (score(k) - score(best)).exp()).sum();
    (best, 1.0 / sum)
}

/// Returns the key of each stretch of bars; `home` is the key of the piece. Cost: linear in the bars.
pub fn regions(material: &Material, harmony: &[BeatChord], home: Key) -> Vec<Region> {
    /// What leaving a key costs, and what a bar away from home costs, in the units of the fit below.
    const LEAVE: f32 = 5.0;
    const AWAY: f32 = 0.12;
    let n = material.bars.len();
    if n == 0 {
        return Vec::new();
    }
    let mut best = [0.0f32; 24];
    let mut from: Vec<[u8; 24]> = Vec::with_capacity(n);
    for bar in 0..n {
        let fit = bar_fit(material, harmony, bar);
        let top = (0..24).max_by(|&a, &b| best[a].total_cmp(&best[b])).expect("there are 24 keys");
        let mut row = [0u8; 24];
        let mut next = [0.0; 24];
        for key in Key::all() {
            let k = key.index();
            let stays = best[k] >= best[top] - LEAVE;
            row[k] = if stays { k as u8 } else { top as u8 };
            next[k] = fit[k] - if key == home { 0.0 } else { AWAY } + if stays { best[k] } else { best[top] - LEAVE };
        }
        best = next;
        from.push(row);
    }
    let mut k = (0..24).max_by(|&a, &b| best[a].total_cmp(&best[b])).expect("there are 24 keys");
    let keys: Vec<Key> = Key::all().collect();
    let mut out: Vec<Region> = Vec::new();
    for bar in (0..n).rev() {
        match out.last_mut() {
            Some(region) if region.key == keys[k] => region.from = bar,
            _ => out.push(Region { from: bar, end: bar + 1, key: keys[k] }),
        }
        k = from[bar][k] as usize;
    }
    out.reverse();
    out
}

/// How well each key fits a bar: its pitches against the scale, its harmonies against the key's own.
fn bar_fit(material: &Material, harmony: &[BeatChord], bar: usize) -> [f32; 24] {
    let mut sums = [0.0f32; 12];
    for tone in material.tones_of(bar) {
        sums[tone.pc()] += ((tone.end - tone.at) as f32).max(1.0);
    }
    let total: f32 = sums.iter().sum();
    let beats = &harmony[material.first_beat[bar]..material.first_beat[bar + 1]];
    let mut out = [0.0; 24];
    for key in Key::all() {
        let outside: f32 = (0..12).filter(|&pc| !key.holds(pc)).map(|pc| sums[pc]).sum();
        let share = if total > 0.0 { outside / total } else { 0.0 };
        let chord = |c: &BeatChord| {
            let above = (c.chord.root + 12 - key.tonic) % 12;
            let has_third = c.chord.quality.has_minor_third() == (key.mode == Mode::Minor);
            match above {
                0 if has_third => 0.5,
                7 if !c.chord.quality.has_minor_third() => 0.4 + if c.chord.quality == Quality::Dominant7 { 0.3 } else { 0.0 },
                5 if has_third => 0.2,
                _ if c.chord.quality.members().iter().all(|m| key.holds(m + c.chord.root as usize)) => 0.0,
                _ => -0.3,
            }
        };
        let mean = beats.iter().map(chord).sum::<f32>() / beats.len().max(1) as f32;
        out[key.index()] = mean - 6.0 * share;
    }
    out
}
