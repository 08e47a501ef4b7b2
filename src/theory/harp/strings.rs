//! Strings by letter and octave, and the run of them that an instrument has.

use std::fmt;
use std::str::FromStr;

use crate::theory::{Letter, SpelledPitch};

/// One string: a letter in an octave, whatever its accidental is set to. Ordered from low to high.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct HarpString {
    /// Steps above C0, as [`SpelledPitch::string_steps`] counts them.
    steps: i32,
}

impl HarpString {
    pub fn new(letter: Letter, octave: i8) -> Self {
        HarpString { steps: 7 * i32::from(octave) + letter.steps() }
    }

    /// Returns the string that a written pitch is played on.
    pub fn of(pitch: SpelledPitch) -> Self {
        HarpString { steps: pitch.string_steps() }
    }

    pub fn letter(self) -> Letter {
        Letter::from_steps(self.steps)
    }

    /// Returns the octave in scientific pitch notation.
    pub fn octave(self) -> i8 {
        self.steps.div_euclid(7) as i8
    }

    /// Returns the MIDI key that the string sounds with this accidental.
    pub fn midi(self, alter: i8) -> i32 {
        SpelledPitch::new(self.letter(), alter, self.octave()).midi()
    }

    /// Returns the octave as harpists count it: from the top down, changing between E and F. The first runs from
    /// E7 down to F6, middle C lies in the fourth, and the strings above E7 are in octave 0 (common practice).
    ///
    /// ```
    /// # use catchword::theory::harp::HarpString;
    /// assert_eq!("C4".parse::<HarpString>().unwrap().harp_octave(), 4);
    /// assert_eq!("F4".parse::<HarpString>().unwrap().harp_octave(), 3);
    /// ```
    pub fn harp_octave(self) -> i32 {
        let highest_of_first = 7 * 7 + Letter::E.steps();
        (highest_of_first - self.steps).div_euclid(7) + 1
    }

    /// Returns `F in the 4th octave`, by the harpist's count of octaves.
    pub fn words(self) -> String {
        tr!("{letter} in the {octave}", letter = self.letter().spoken(), octave = self.octave_words())
    }

    /// Returns the same as short as a cue wants it: `F 4th octave`.
    pub fn short_words(self) -> String {
        tr!("{letter} {octave}", letter = self.letter().spoken(), octave = self.octave_words())
    }

    /// Returns `4th octave`.
    pub fn octave_words(self) -> String {
        let octave = self.harp_octave();
        match octave {
            1 => tr!("1st octave"),
            2 => tr!("2nd octave"),
            3 => tr!("3rd octave"),
            _ => tr!("{n}th octave", n = octave),
        }
    }
}

/// Letter and scientific octave, without an accidental: `C4`.
impl fmt::Display for HarpString {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.letter().char(), self.octave())
    }
}

/// Text that is not a string such as `C4`.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a string as letter and octave such as C4 (C4 is middle C), found {found}", found = format!("{:?}", .0)))]
pub struct StringError(String);

impl FromStr for HarpString {
    type Err = StringError;
    fn from_str(text: &str) -> Result<Self, StringError> {
        match text.parse::<SpelledPitch>() {
            Ok(pitch) if pitch.alter == 0 => Ok(HarpString::of(pitch)),
            _ => Err(StringError(text.to_owned())),
        }
    }
}

/// The strings of an instrument, from its lowest to its highest, one for every step.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Strings {
    lowest: HarpString,
    highest: HarpString,
}

impl Strings {
    /// The concert pedal harp: 47 strings from C1 to G7 (common practice).
    pub const CONCERT: Strings = Strings { lowest: HarpString { steps: 7 }, highest: HarpString { steps: 53 } };

    /// A lever harp of 36 strings from C2 to C7 (common practice).
    pub const LEVER: Strings = Strings { lowest: HarpString { steps: 14 }, highest: HarpString { steps: 49 } };

    /// Returns the run from one string to another; `None` when the first lies above the second.
    pub fn try_new(lowest: HarpString, highest: HarpString) -> Option<Self> {
        (lowest <= highest).then_some(Strings { lowest, highest })
    }

    pub fn lowest(self) -> HarpString {
        self.lowest
    }

    pub fn highest(self) -> HarpString {
        self.highest
    }

    pub fn n_strings(self) -> usize {
        (self.highest.steps - self.lowest.steps + 1) as usize
    }

    pub fn contains(self, string: HarpString) -> bool {
        (self.lowest..=self.highest).contains(&string)
    }

    /// Returns the strings from low to high.
    pub fn iter(self) -> impl Iterator<Item = HarpString> {
        (self.lowest.steps..=self.highest.steps).map(|steps| HarpString { steps })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn string(text: &str) -> HarpString {
        text.parse().unwrap()
    }

    /// Common practice: a concert harp from C1 to G7 has 47 strings, lever harps from C2 to A6 have 34 and from C2 to C7 36.
    #[test]
    fn harps_have_the_strings_they_are_sold_with() {
        for (lowest, highest, n) in
            [("C1", "G7", 47), ("C2", "A6", 34), ("C2", "C7", 36), ("A1", "C7", 38), ("G1", "D7", 40), ("F1", "C7", 40)]
        {
            let strings = Strings::try_new(string(lowest), string(highest)).unwrap();
            assert_eq!(strings.n_strings(), n, "{lowest} to {highest}");
            assert_eq!(strings.iter().count(), n);
        }
        assert_eq!((Strings::CONCERT.lowest(), Strings::CONCERT.highest()), (string("C1"), string("G7")));
        assert_eq!((Strings::LEVER.lowest(), Strings::LEVER.highest()), (string("C2"), string("C7")));
        assert_eq!(Strings::try_new(string("C4"), string("B3")), None);
    }

    /// Common practice: octaves are counted from the top and change between E and F; middle C lies in the fourth.
    #[test]
    fn octaves_are_counted_from_the_top_and_change_between_e_and_f() {
        for (text, octave) in [("G7", 0), ("F7", 0), ("E7", 1), ("F6", 1), ("E6", 2), ("C4", 4), ("F4", 3), ("E4", 4), ("E3", 5), ("C1", 7)]
        {
            assert_eq!(string(text).harp_octave(), octave, "{text}");
        }
        assert_eq!(string("F3").words(), "F in the 4th octave");
        assert_eq!(string("G6").words(), "G in the 1st octave");
    }

    #[test]
    fn a_string_sounds_as_its_accidental_has_it_and_reads_back_as_written() {
        for text in ["C1", "B3", "G7"] {
            assert_eq!(string(text).to_string(), text);
        }
        assert_eq!((string("C4").midi(-1), string("C4").midi(0), string("C4").midi(1)), (59, 60, 61));
        assert_eq!(HarpString::of("Cb4".parse().unwrap()), string("C4"));
        let message = "F#4".parse::<HarpString>().unwrap_err().to_string();
        assert_eq!(message, "expected a string as letter and octave such as C4 (C4 is middle C), found \"F#4\"");
    }
}
