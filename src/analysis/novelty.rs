//! Novelty: the first time that something appears, and every time a lever or pedal has to move.

use std::collections::HashSet;

use super::digest::Digest;
use super::material::{Material, TICKS};
use super::shapes::{Texture, beyond_signature};
use super::tokens::Mixed;
use crate::theory::{Hand, KeySignature, Letter};

/// Something that was not there before.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum New {
    Texture(Hand, Texture),
    /// Notes shorter than any before, in ticks.
    NoteValue(i64),
    LowestString,
    HighestString,
    /// The hand has nothing to play for the first time.
    Silent(Hand),
    /// The left hand has the tune and the right hand accompanies.
    TuneInLeft,
    Roll,
    /// A letter with an accidental beyond the signature, for the first time.
    Accidental(Letter, i8),
    /// A letter is set to another accidental from here on.
    Setting(Letter, i8),
}

/// A [`New`] and where it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Novelty {
    pub bar: usize,
    /// Ticks into the printed score.
    pub at: i64,
    pub what: New,
}

/// Finds what is new after the first bar, in page order. Cost: linear in the notes.
pub fn novelties(material: &Material, digests: &[Digest]) -> Vec<Novelty> {
    let mut out = Vec::new();
    let mut moved = Vec::new();
    let mut known: HashSet<New, Mixed> = HashSet::default();
    let mut shortest = i64::MAX;
    let (lowest, highest) = (material.tones.iter().map(|t| t.key).min(), material.tones.iter().map(|t| t.key).max());
    let mut setting: Vec<i8> = (0..7).map(|l| signature(material, 0).alter_of(Letter::from_steps(l))).collect();
    for (bar, digest) in digests.iter().enumerate() {
        let at = material.bars[bar].at;
        let mut note = |at: i64, what: New| {
            if known.insert(what) && bar > 0 {
                out.push(Novelty { bar, at, what });
            }
        };
        for (hand, view) in [(Hand::Left, &digest.left), (Hand::Right, &digest.right)] {
            match view.texture {
                Texture::Silent => note(at, New::Silent(hand)),
                Texture::One => {}
                texture => note(at, New::Texture(hand, texture)),
            }
        }
        let sings = |t: Texture| matches!(t, Texture::Scale | Texture::Tune | Texture::Mixed);
        if sings(digest.left.texture)
            && digest.left.n_onsets >= 3
            && !sings(digest.right.texture)
            && digest.right.n_onsets < digest.left.n_onsets
        {
            note(at, New::TuneInLeft);
        }
        let tones = material.tones_of(bar);
        if let Some(rolled) = tones.iter().find(|t| t.is_rolled) {
            note(rolled.at, New::Roll);
        }
        let fastest = tones.windows(2).map(|w| (w[1].at - w[0].at, w[0].at)).filter(|(wait, _)| *wait > 0).min();
        if let Some((wait, at)) = fastest.filter(|(wait, _)| *wait < shortest) {
            shortest = wait;
            note(at, New::NoteValue(wait));
        }
        let key = signature(material, bar);
        if bar > 0 && material.bars[bar - 1].fifths != material.bars[bar].fifths {
            // A new signature is set as a whole, and told as a key.
            setting = (0..7).map(|l| key.alter_of(Letter::from_steps(l))).collect();
        }
        for tone in tones {
            if Some(tone.key) == lowest {
                note(tone.at, New::LowestString);
            }
            if Some(tone.key) == highest {
                note(tone.at, New::HighestString);
            }
            let letter = Letter::from_steps(tone.steps);
            if beyond_signature(tone.steps, tone.alter, key) != 0 {
                note(tone.at, New::Accidental(letter, tone.alter));
            }
            if setting[letter as usize] != tone.alter {
                setting[letter as usize] = tone.alter;
                moved.push(Novelty { bar, at: tone.at, what: New::Setting(letter, tone.alter) });
            }
        }
    }
    out.extend(moved);
    out.sort_by_key(|n| n.at);
    out
}

fn signature(material: &Material, bar: usize) -> KeySignature {
    KeySignature::new(material.bars.get(bar).map_or(0, |b| b.fifths), None)
}

/// Returns the accidental of each letter in force at a bar's start: the last one used, else the signature's.
pub fn setting_at(material: &Material, bar: usize) -> [i8; 7] {
    let mut setting: [i8; 7] = std::array::from_fn(|l| signature(material, 0).alter_of(Letter::from_steps(l as i32)));
    for b in 0..bar.min(material.bars.len()) {
        if b > 0 && material.bars[b - 1].fifths != material.bars[b].fifths {
            setting = std::array::from_fn(|l| signature(material, b).alter_of(Letter::from_steps(l as i32)));
        }
        for tone in material.tones_of(b) {
            setting[Letter::from_steps(tone.steps) as usize] = tone.alter;
        }
    }
    if bar > 0 && bar < material.bars.len() && material.bars[bar - 1].fifths != material.bars[bar].fifths {
        setting = std::array::from_fn(|l| signature(material, bar).alter_of(Letter::from_steps(l as i32)));
    }
    setting
}

impl New {
    /// Returns the first notes of a value in words: `first eighths`, or `first shorter notes` where the value has no plain name.
    pub fn value_words(ticks: i64) -> String {
        let names = [
            (TICKS, msgid!("first quarters")),
            (TICKS / 2, msgid!("first eighths")),
            (TICKS / 3, msgid!("first triplets")),
            (TICKS / 4, msgid!("first sixteenths")),
            (TICKS / 8, msgid!("first thirty-seconds")),
        ];
        match names.into_iter().find(|(t, _)| *t == ticks) {
            Some((_, name)) => tr!(name),
            None => tr!("first shorter notes"),
        }
    }
}
