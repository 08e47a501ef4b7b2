//! Key signatures on the line of fifths.

use std::str::FromStr;

use super::pitch::Letter;

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Mode {
    Major,
    Minor,
}

/// A key signature: `fifths` counts sharps (negative: flats); the mode is there when the file says so.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct KeySignature {
    pub fifths: i8,
    pub mode: Option<Mode>,
}

impl KeySignature {
    pub const NONE: KeySignature = KeySignature { fifths: 0, mode: None };

    pub fn new(fifths: i8, mode: Option<Mode>) -> Self {
        KeySignature { fifths, mode }
    }

    /// Returns the accidental that the signature gives a letter, in semitones.
    ///
    /// Sharps enter in the order F C G D A E B, flats in the reverse (common practice).
    pub fn alter_of(self, letter: Letter) -> i8 {
        const ORDER: [Letter; 7] = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];
        let place = ORDER.iter().position(|&l| l == letter).expect("all seven letters are listed") as i32;
        (self.fifths as i32 - place + 6).div_euclid(7) as i8
    }
}

/// Text that is not a key such as `Eb`, `F# minor` or `cm`.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a key such as C, Eb, F# minor or Gm, found {found}", found = format!("{:?}", .0)))]
pub struct KeyError(String);

/// Reads a tonic with `minor` or `m` after it for a minor key; of seven sharps or flats at the most.
impl FromStr for KeySignature {
    type Err = KeyError;
    fn from_str(text: &str) -> Result<Self, KeyError> {
        let fail = || KeyError(text.to_owned());
        let mut chars = text.trim().chars();
        let letter = chars.next().and_then(Letter::from_char).ok_or_else(fail)?;
        let rest = chars.as_str();
        let (alter, rest) = match rest.chars().next() {
            Some('#' | '\u{266f}') => (1, &rest[rest.chars().next().map_or(0, char::len_utf8)..]),
            Some('b' | '\u{266d}') => (-1, &rest[rest.chars().next().map_or(0, char::len_utf8)..]),
            _ => (0, rest),
        };
        let mode = match rest.trim().to_lowercase().as_str() {
            "" | "major" => Mode::Major,
            "m" | "minor" => Mode::Minor,
            _ => return Err(fail()),
        };
        // C D E F G A B on the line of fifths; a minor key has the signature of the major key a minor third above.
        let place = [0, 2, 4, -1, 1, 3, 5][letter as usize] + 7 * alter - if mode == Mode::Minor { 3 } else { 0 };
        if !(-7..=7).contains(&place) {
            return Err(fail());
        }
        Ok(KeySignature::new(place, Some(mode)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_read_by_their_tonic() {
        // Common practice: the circle of fifths.
        for (text, fifths) in
            [("C", 0), ("Eb", -3), ("f# minor", 3), ("Gm", -2), ("Bb major", -2), ("Cb", -7), ("A", 3), ("B", 5), ("Am", 0)]
        {
            assert_eq!(text.parse::<KeySignature>().map(|k| k.fifths), Ok(fifths), "{text}");
        }
        for text in ["", "H", "G#", "Eb dorian", "Fbm"] {
            assert!(text.parse::<KeySignature>().is_err(), "{text}");
        }
    }

    #[test]
    fn signatures_give_their_accidentals() {
        let three_flats = KeySignature::new(-3, None);
        let altered: Vec<char> = Letter::ALL.into_iter().filter(|&l| three_flats.alter_of(l) == -1).map(Letter::char).collect();
        assert_eq!(altered, ['E', 'A', 'B']);
        let two_sharps = KeySignature::new(2, None);
        let altered: Vec<char> = Letter::ALL.into_iter().filter(|&l| two_sharps.alter_of(l) == 1).map(Letter::char).collect();
        assert_eq!(altered, ['C', 'F']);
        assert!(Letter::ALL.into_iter().all(|l| KeySignature::new(7, None).alter_of(l) == 1));
        assert!(Letter::ALL.into_iter().all(|l| KeySignature::new(-7, None).alter_of(l) == -1));
        assert!(Letter::ALL.into_iter().all(|l| KeySignature::NONE.alter_of(l) == 0));
    }
}
