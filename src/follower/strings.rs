//! A line on the strings of a harp: which keys the instrument sends for each note, and which say that a lever or pedal stands wrong.

use super::Line;
use crate::midi::{Matching, MidiKey};
use crate::score::{Note, Ornament, Part, Unfolded};
use crate::theory::harp::{Harp, HarpString};
use crate::theory::{KeySignature, Letter, SpelledPitch};

/// What a shake or a glissando may go beyond its ends where keys name strings: a lever or pedal moves a string by two semitones at most.
const SPARE: i32 = 2;

/// A note as a string: its own, and by how much a transposing part sounds above what is written.
#[derive(Clone, Copy)]
struct Plucked {
    /// As written, at the pitch of the open string for a harmonic.
    pitch: SpelledPitch,
    string: HarpString,
    shift: i32,
    is_harmonic: bool,
}

impl Plucked {
    fn of(note: &Note) -> Plucked {
        let sounding = i32::from(note.key.number());
        let is_harmonic = note.ornament == Ornament::Harmonic;
        // A harmonic is written where it is plucked or where it sounds; an octave apart, the first is meant.
        let is_written_high = is_harmonic && sounding - note.pitch.midi() < 12;
        let pitch = if is_written_high { SpelledPitch { octave: note.pitch.octave - 1, ..note.pitch } } else { note.pitch };
        let plain = sounding - if is_harmonic { 12 } else { 0 };
        Plucked { pitch, string: HarpString::of(pitch), shift: plain - pitch.midi(), is_harmonic }
    }

    /// The key of a string by the names that a sensor gives strings.
    fn named(self, string: HarpString, names: KeySignature) -> Option<MidiKey> {
        MidiKey::try_new(string.midi(names.alter_of(string.letter())) + self.shift)
    }
}

impl Line {
    /// Takes the notes as strings of a harp. `part` and `unfolded` are those that the line was made of.
    ///
    /// Where keys are pitches, a harmonic is also its string, and each note knows what its string gives with a lever or pedal set
    /// otherwise. Where they are strings, a note is the string's name, a harmonic its octave as well, and a note that the string
    /// beside it gives too, as that one then stands, is that string also (B sharp and C on a pedal harp). Where it is
    /// not known which, a note is its pitch and its string's name.
    pub fn lay_on_strings(&mut self, harp: &Harp, part: &Part, unfolded: &Unfolded, matching: Matching) {
        let note = |idx: usize| &part.notes[unfolded.notes[idx].note.0];
        let mut standing = Standing::new((0..self.notes.len()).map(|idx| note(idx).pitch));
        for idx in 0..self.notes.len() {
            let plucked = Plucked::of(note(idx));
            standing.pass(note(idx).pitch);
            let line_note = &mut self.notes[idx];
            let octave_of = |key: MidiKey| MidiKey::try_new(i32::from(key.number()) + 12);
            let string_key = MidiKey::try_new(plucked.pitch.midi() + plucked.shift);
            let mut others: Vec<Option<MidiKey>> = Vec::new();
            if let Matching::Strings { open } = matching {
                let names = KeySignature::new(open, None);
                let Some(name) = plucked.named(plucked.string, names) else { continue };
                line_note.key = name;
                line_note.free_keys = line_note.free_keys.map(|keys| freed(keys, name));
                if plucked.is_harmonic {
                    others.push(octave_of(name));
                }
                for beside in [plucked.pitch.string_steps() - 1, plucked.pitch.string_steps() + 1] {
                    let letter = Letter::from_steps(beside);
                    let pitch = SpelledPitch::new(letter, standing.alter_of(letter), beside.div_euclid(7) as i8);
                    if pitch.midi() == plucked.pitch.midi() {
                        others.push(plucked.named(HarpString::of(pitch), names));
                    }
                }
            } else {
                if plucked.is_harmonic {
                    others.push(string_key);
                }
                if let Matching::Automatic { open } = matching {
                    let name = plucked.named(plucked.string, KeySignature::new(open, None));
                    others.push(name);
                    if plucked.is_harmonic {
                        others.push(name.and_then(octave_of));
                    }
                }
                line_note.setting = settings(harp, plucked);
            }
            line_note.others = others.into_iter().flatten().filter(|key| *key != line_note.key).collect();
            line_note.others.dedup();
        }
    }
}

/// The lowest and the highest key that a note's string gives, where anything moves it.
fn settings(harp: &Harp, plucked: Plucked) -> Option<(MidiKey, MidiKey)> {
    let reached: Vec<i8> = (-1..=1).filter(|alter| harp.reaches(plucked.string, *alter)).collect();
    let octave = if plucked.is_harmonic { 12 } else { 0 };
    let key = |alter: i8| MidiKey::try_new(plucked.string.midi(alter) + plucked.shift + octave);
    match reached[..] {
        [low, .., high] => key(low).zip(key(high)),
        _ => None,
    }
}

/// The keys of an ornament whose note has the name `name`.
fn freed((low, high): (MidiKey, MidiKey), name: MidiKey) -> (MidiKey, MidiKey) {
    if low == high {
        return (name, name);
    }
    let moved = |key: MidiKey, by: i32| MidiKey::try_new((i32::from(key.number()) + by).clamp(0, 127)).unwrap_or(key);
    (moved(low, -SPARE), moved(high, SPARE))
}

/// How each letter stands where the line has come to: as it was last written, or else as it comes next.
struct Standing {
    alter: [i8; 7],
}

impl Standing {
    fn new(pitches: impl Iterator<Item = SpelledPitch>) -> Standing {
        let mut first = [None; 7];
        pitches.for_each(|p| _ = first[p.letter as usize].get_or_insert(p.alter));
        Standing { alter: first.map(|alter| alter.unwrap_or(0)) }
    }

    fn pass(&mut self, pitch: SpelledPitch) {
        self.alter[pitch.letter as usize] = pitch.alter;
    }

    fn alter_of(&self, letter: Letter) -> i8 {
        self.alter[letter as usize]
    }
}
