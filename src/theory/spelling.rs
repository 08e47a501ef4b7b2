//! Names for sounding keys: which of its enharmonic names each note of a stretch of music is written with.
//!
//! The first stage of the ps13 algorithm ("ps13s1"): D. Meredith, "The ps13 Pitch Spelling Algorithm", Journal of New Music
//! Research 35(2), 2006. Around each note it counts how often every pitch class sounds, takes each count as the likelihood that
//! this class is the tonic just there, lets every tonic name the note by the harmonic chromatic scale, and takes the
//! letter with the most votes. The window of 10 notes before and 42 after is the paper's best.
//!
//! Ours is what a printed page adds: the key signature names the twelve possible tonics (the paper starts from a name for the
//! first note alone), so that a piece in E flat is never spelled in D sharp, and a tie between letters goes to the signature.

use super::pitch::{Letter, SpelledPitch};

/// Notes of the window before a note, and from it on (Meredith 2006, section 4).
const N_BEFORE: usize = 10;
const N_FROM: usize = 42;
/// Letters above the tonic of each pitch class above it: the harmonic chromatic scale (Meredith 2006, section 2).
const STEPS_ABOVE_TONIC: [i32; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
/// Key number that names the pitch classes: any C will do.
const SOME_C: u8 = 60;

/// One note to be named.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Sounded {
    /// MIDI key number.
    pub key: u8,
    /// The key signature in force at the note: sharps, or flats below zero.
    pub fifths: i8,
}

/// Names notes given in order of onset, then pitch; one name a note.
///
/// Cost: linear in the notes. Limitation: parts of chords that the ear follows across many bars (pedal points, sequences of
/// fifths) are outside the window.
///
/// ```
/// # use catchword::theory::spelling::{Sounded, spell};
/// // D minor: the leading note is C sharp, though the signature knows B flat only.
/// let notes = [62, 65, 69, 61, 64, 69, 62].map(|key| Sounded { key, fifths: -1 });
/// let names: Vec<String> = spell(&notes).iter().map(ToString::to_string).collect();
/// assert_eq!(names, ["D4", "F4", "A4", "C#4", "E4", "A4", "D4"]);
/// ```
pub fn spell(notes: &[Sounded]) -> Vec<SpelledPitch> {
    let class = |i: usize| usize::from(notes[i].key % 12);
    let mut counts = [0u32; 12];
    (0..notes.len().min(N_FROM)).for_each(|i| counts[class(i)] += 1);
    let mut names = Vec::with_capacity(notes.len());
    for i in 0..notes.len() {
        if i > 0 && i + N_FROM <= notes.len() {
            counts[class(i + N_FROM - 1)] += 1;
        }
        if i > N_BEFORE {
            counts[class(i - N_BEFORE - 1)] -= 1;
        }
        names.push(name(notes[i], &counts));
    }
    names
}

fn name(note: Sounded, counts: &[u32; 12]) -> SpelledPitch {
    let by_signature = SpelledPitch::for_key(note.key, note.fifths);
    let mut votes = [0u32; 7];
    for (tonic, count) in counts.iter().enumerate() {
        let tonic_letter = SpelledPitch::for_key(SOME_C + tonic as u8, note.fifths).letter;
        let above = (i32::from(note.key) - tonic as i32).rem_euclid(12) as usize;
        votes[Letter::from_steps(tonic_letter.steps() + STEPS_ABOVE_TONIC[above]) as usize] += count;
    }
    let most = votes.iter().copied().max().unwrap_or(0);
    if votes[by_signature.letter as usize] == most {
        return by_signature;
    }
    Letter::ALL.into_iter().find(|&letter| votes[letter as usize] == most).map_or(by_signature, |letter| with_letter(note.key, letter))
}

/// Returns the key named by this letter, with the accidental nearest to none.
fn with_letter(key: u8, letter: Letter) -> SpelledPitch {
    let alter = (i32::from(key) - letter.semitones() + 5).rem_euclid(12) - 5;
    let octave = (i32::from(key) - alter).div_euclid(12) - 1;
    SpelledPitch::new(letter, alter as i8, octave as i8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_note_is_named_so_that_it_sounds_itself() {
        for fifths in -7..=7 {
            let notes: Vec<Sounded> = (21..=108).map(|key| Sounded { key, fifths }).collect();
            for (note, name) in notes.iter().zip(spell(&notes)) {
                assert_eq!(name.midi(), i32::from(note.key), "{name} for {fifths} fifths");
            }
        }
        assert!(spell(&[]).is_empty());
    }

    #[test]
    fn a_foreign_scale_is_named_as_it_is_written() {
        // Common practice: A minor's harmonic scale has G sharp, and C minor's within C major has A flat and E flat.
        let names = |keys: &[u8], fifths| spell(&keys.iter().map(|&key| Sounded { key, fifths }).collect::<Vec<_>>());
        let shown = |keys: &[u8], fifths| names(keys, fifths).iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
        assert_eq!(shown(&[57, 60, 64, 56, 59, 64, 57, 60, 64], 0), "A3 C4 E4 G#3 B3 E4 A3 C4 E4");
        assert_eq!(
            shown(&[60, 63, 67, 65, 68, 72, 60, 63, 67, 59, 62, 67, 60, 63, 67], 0),
            "C4 Eb4 G4 F4 Ab4 C5 C4 Eb4 G4 B3 D4 G4 C4 Eb4 G4"
        );
    }
}
