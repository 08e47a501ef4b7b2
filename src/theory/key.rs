//! Key signatures on the line of fifths.

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

#[cfg(test)]
mod tests {
    use super::*;

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
