//! The notes that lie under the hand: seven letters, each with the accidental it has at the moment, as on a harp.

use crate::midi::MidiKey;
use crate::score::{NoteIdx, Part};
use crate::theory::{Letter, SpelledPitch};

/// The accidental of each letter around one note of a part.
pub(super) struct Strings {
    alter: [i8; 7],
}

impl Strings {
    /// Reads the accidentals that the part uses around a note: the last one before it for each letter, else the next after it, else natural.
    pub fn around(part: &Part, note: NoteIdx) -> Self {
        let mut alter = [None; 7];
        let before = part.notes[..=note.0].iter().rev();
        for n in before.chain(&part.notes[note.0 + 1..]) {
            alter[n.pitch.letter as usize].get_or_insert(n.pitch.alter);
            if alter.iter().all(Option::is_some) {
                break;
            }
        }
        Strings { alter: alter.map(|a| a.unwrap_or(0)) }
    }

    /// Returns the sounding key `steps` strings above (below, when negative) a note written as `pitch` and sounding `key`.
    pub fn step(&self, pitch: SpelledPitch, key: MidiKey, steps: i32) -> Option<MidiKey> {
        let string = pitch.string_steps() + steps;
        let letter = Letter::from_steps(string);
        let there = 12 * (string.div_euclid(7) + 1) + letter.semitones() + self.alter[letter as usize] as i32;
        MidiKey::try_new(key.number() as i32 + there - pitch.midi())
    }
}
