//! Bars as tokens: equal numbers for bars that are alike in some respect, so that likeness becomes equality of strings.
//!
//! A token is a 64-bit hash; two different bars share one by chance once in about 10^19 pairs.

use std::hash::{BuildHasherDefault, Hasher};

use super::material::{Material, Tone};
use crate::theory::{Hand, KeySignature, Letter};

/// In which respect bars are compared.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Respect {
    /// The same keys at the same times.
    Exact,
    /// The same intervals in semitones; the lowest key may differ.
    Chromatic,
    /// The same intervals in strings, accidentals apart from the signature included.
    Diatonic,
    /// The same onsets in each hand.
    Rhythm,
}

/// A bar's token with the pitch it is counted from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Token {
    pub hash: u64,
    /// Lowest key or string of the bar in that respect; 0 where it does not matter.
    pub from: i32,
    /// Nothing starts in the bar.
    pub is_empty: bool,
}

/// Mixes a number into a hash (the finalizer of splitmix64, Steele, Lea & Flood 2014).
pub fn mix(hash: u64, value: u64) -> u64 {
    let mut z = hash.rotate_left(5) ^ value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// Hashing for tables of what a piece holds: nobody attacks it with chosen keys, so [`mix`] is enough and several times faster.
pub type Mixed = BuildHasherDefault<Mixer>;

/// Hashes by [`mix`].
#[derive(Clone, Copy, Default, Debug)]
pub struct Mixer(u64);

impl Hasher for Mixer {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(8) {
            self.write_u64(chunk.iter().rev().fold(0, |value, byte| value << 8 | u64::from(*byte)));
        }
    }

    fn write_u8(&mut self, value: u8) {
        self.write_u64(u64::from(value));
    }

    fn write_u32(&mut self, value: u32) {
        self.write_u64(u64::from(value));
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = mix(self.0, value);
    }

    fn write_usize(&mut self, value: usize) {
        self.write_u64(value as u64);
    }
}

/// Returns a token for each bar, of both hands or of one.
pub fn tokens(material: &Material, respect: Respect, hand: Option<Hand>) -> Vec<Token> {
    let mut entries = Vec::new();
    (0..material.bars.len()).map(|bar| token(material, bar, respect, hand, &mut entries)).collect()
}

/// One bar's token; `entries` is room to work in.
fn token(material: &Material, bar: usize, respect: Respect, hand: Option<Hand>, entries: &mut Vec<[u64; 4]>) -> Token {
    let span = &material.bars[bar];
    let key = KeySignature::new(span.fifths, None);
    let counted = |t: &&Tone| hand.is_none_or(|h| h == t.hand);
    let pitch = |t: &Tone| match respect {
        Respect::Exact | Respect::Chromatic => t.key as i32,
        Respect::Diatonic => t.steps,
        Respect::Rhythm => 0,
    };
    let tones = material.tones_of(bar);
    let lowest = tones.iter().filter(counted).map(pitch).min();
    let from = if respect == Respect::Exact { 0 } else { lowest.unwrap_or(0) };
    let mut hash = mix(0, (span.end - span.at) as u64);
    entries.clear();
    for tone in tones.iter().filter(counted) {
        let hand = u64::from(tone.hand == Hand::Right);
        let odd = match respect {
            Respect::Diatonic => tone.alter - key.alter_of(Letter::from_steps(tone.steps)),
            _ => 0,
        };
        entries.push([(tone.at - span.at) as u64, hand, (pitch(tone) - from) as u64, odd as u64]);
    }
    entries.sort_unstable();
    entries.dedup();
    hash = entries.iter().flatten().fold(hash, |h, &v| mix(h, v));
    Token { hash, from, is_empty: entries.is_empty() }
}
