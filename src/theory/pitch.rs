//! Spelled pitches: letter, accidental, octave, in scientific pitch notation (C4 = middle C = MIDI key 60).

use std::fmt;
use std::str::FromStr;

/// One of the seven letters, which on a harp is one of the seven kinds of string.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Letter {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Letter {
    pub const ALL: [Letter; 7] = [Letter::C, Letter::D, Letter::E, Letter::F, Letter::G, Letter::A, Letter::B];

    /// Returns semitones above C of the natural letter.
    pub fn semitones(self) -> i32 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// Returns steps above C, `0..7`.
    pub fn steps(self) -> i32 {
        self as i32
    }

    /// Returns the letter `steps` above C, counted round the octave.
    pub fn from_steps(steps: i32) -> Letter {
        Letter::ALL[steps.rem_euclid(7) as usize]
    }

    pub fn from_char(c: char) -> Option<Letter> {
        Letter::ALL.into_iter().find(|l| l.char() == c.to_ascii_uppercase())
    }

    pub fn char(self) -> char {
        ['C', 'D', 'E', 'F', 'G', 'A', 'B'][self as usize]
    }

    /// Returns the letter as the player's language names it: `C`.
    pub fn spoken(self) -> String {
        let letter = [msgid!("C"), msgid!("D"), msgid!("E"), msgid!("F"), msgid!("G"), msgid!("A"), msgid!("B")][self as usize];
        tr!(letter)
    }

    /// Returns the syllable of fixed-do solfege, in which `do` is always C (common practice; `si` as in French, Italian and Spanish).
    pub fn syllable(self) -> &'static str {
        ["do", msgid!("re"), "mi", "fa", "sol", "la", "si"][self as usize]
    }
}

/// A pitch as written: `alter` is the accidental in semitones (-2 double flat to 2 double sharp;
/// files may hold more), `octave` the scientific octave number.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct SpelledPitch {
    pub letter: Letter,
    pub alter: i8,
    pub octave: i8,
}

impl SpelledPitch {
    pub fn new(letter: Letter, alter: i8, octave: i8) -> Self {
        SpelledPitch { letter, alter, octave }
    }

    /// Returns the MIDI key number, which may lie outside `0..128` for extreme octaves.
    ///
    /// ```
    /// # use catchword::theory::SpelledPitch;
    /// assert_eq!("C4".parse::<SpelledPitch>().unwrap().midi(), 60);
    /// assert_eq!("Cb4".parse::<SpelledPitch>().unwrap().midi(), 59);
    /// ```
    pub fn midi(self) -> i32 {
        12 * (self.octave as i32 + 1) + self.letter.semitones() + self.alter as i32
    }

    /// Returns the string number counted in steps from C0: pitches that share a harp string share it.
    pub fn string_steps(self) -> i32 {
        7 * self.octave as i32 + self.letter.steps()
    }

    /// Returns letter and accidental without the octave: `Eb`.
    pub fn name(self) -> String {
        let sign = if self.alter < 0 { "b" } else { "#" };
        format!("{}{}", self.letter.char(), sign.repeat(self.alter.unsigned_abs() as usize))
    }

    /// Spells a MIDI key for a key signature: the name nearest the signature on the line of fifths.
    ///
    /// `fifths` counts sharps (negative: flats). Keys outside the scale are spelled with the name
    /// whose place on the line of fifths lies between six below and five above the signature's own
    /// centre (common practice: raised fourth and leading notes upward, lowered sevenths downward).
    pub fn for_key(midi_key: u8, fifths: i8) -> Self {
        let pitch_class = (midi_key % 12) as i32;
        // Position on the line of fifths with C = 0: the class c sits at 7c mod 12, plus any multiple of 12.
        let base = (pitch_class * 7).rem_euclid(12);
        // The scale of the signature spans fifths-1 ..= fifths+5; its centre is fifths+2.
        let lowest = fifths as i32 - 3;
        let place = lowest + (base - lowest).rem_euclid(12);
        let letter = Letter::from_steps((place * 4).rem_euclid(7));
        let alter = (place + 1).div_euclid(7);
        let octave = (midi_key as i32 - alter).div_euclid(12) - 1;
        SpelledPitch::new(letter, alter as i8, octave as i8)
    }
}

impl fmt::Display for SpelledPitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name(), self.octave)
    }
}

/// Text that is not a pitch such as `C4`, `F#3` or `Bb5`.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a pitch such as C4, F#3 or Bb5, found {found}", found = format!("{:?}", .0)))]
pub struct PitchError(String);

impl FromStr for SpelledPitch {
    type Err = PitchError;
    fn from_str(text: &str) -> Result<Self, PitchError> {
        let fail = || PitchError(text.to_owned());
        let mut chars = text.chars();
        let letter = chars.next().and_then(Letter::from_char).ok_or_else(fail)?;
        let rest = chars.as_str();
        let signs = rest.chars().take_while(|c| matches!(c, '#' | 'b')).count();
        if signs > 3 {
            return Err(fail());
        }
        let alter: i8 = rest[..signs].chars().map(|c| if c == '#' { 1 } else { -1 }).sum();
        let octave = rest[signs..].parse().map_err(|_| fail())?;
        if !(-2..=12).contains(&octave) {
            return Err(fail());
        }
        Ok(SpelledPitch::new(letter, alter, octave))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_spelled_for_their_signature() {
        // Common practice: E flat major has E flat, not D sharp; its leading note is D; a raised fourth in C is F sharp.
        for (key, fifths, name) in [
            (63, -3, "Eb4"),
            (63, 4, "D#4"),
            (66, 0, "F#4"),
            (70, 0, "Bb4"),
            (59, -6, "Cb4"),
            (60, 7, "B#3"),
            (68, 0, "G#4"),
            (61, 0, "C#4"),
            (60, 0, "C4"),
            (71, -3, "B4"),
        ] {
            assert_eq!(SpelledPitch::for_key(key, fifths).to_string(), name, "key {key}, {fifths} fifths");
        }
    }

    #[test]
    fn every_key_spelled_for_any_signature_sounds_itself() {
        for fifths in -7..=7 {
            for key in 0..128u8 {
                assert_eq!(SpelledPitch::for_key(key, fifths).midi(), key as i32);
            }
        }
    }

    #[test]
    fn names_read_back_as_written() {
        for name in ["C4", "F#3", "Bb5", "Ebb2", "C-1"] {
            assert_eq!(name.parse::<SpelledPitch>().unwrap().to_string(), name);
        }
        assert!("H4".parse::<SpelledPitch>().is_err());
        assert!("C".parse::<SpelledPitch>().is_err());
    }
}
