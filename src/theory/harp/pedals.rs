//! The seven pedals, and the diagram that shows how they stand.

use std::fmt;
use std::str::FromStr;

use crate::theory::Letter;

/// The seven pedals as a diagram gives them: the accidental of each letter, -1 flat, 0 natural, 1 sharp.
///
/// Indexed by [`Letter`]; the printed order is D C B | E F G A.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct PedalSetting(pub [i8; 7]);

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Foot {
    Left,
    Right,
}

impl Foot {
    /// Returns the foot that works a letter's pedal: left D C B, right E F G A (common practice).
    pub fn of(letter: Letter) -> Foot {
        match letter {
            Letter::D | Letter::C | Letter::B => Foot::Left,
            Letter::E | Letter::F | Letter::G | Letter::A => Foot::Right,
        }
    }

    pub fn words(self) -> String {
        match self {
            Foot::Left => tr!("left foot"),
            Foot::Right => tr!("right foot"),
        }
    }
}

impl PedalSetting {
    /// The printed order of the pedals, left foot first (MusicXML 4.0, `harp-pedals`).
    pub const PRINTED_ORDER: [Letter; 7] = [Letter::D, Letter::C, Letter::B, Letter::E, Letter::F, Letter::G, Letter::A];

    /// Sets one pedal: -1 flat, 0 natural, 1 sharp; other values are brought to the nearest of these.
    pub fn set(&mut self, letter: Letter, alter: i8) {
        self.0[letter as usize] = alter.clamp(-1, 1);
    }

    pub fn alter_of(self, letter: Letter) -> i8 {
        self.0[letter as usize]
    }

    /// Returns the diagram of marks, left foot first: `^` up is flat, `-` natural, `v` down is sharp, as LilyPond's
    /// `\harp-pedal` writes it (Notation Reference, "Harp pedals", from memory): `-v^|-v--`.
    pub fn marks(self) -> String {
        let mark = |letter: Letter| match self.alter_of(letter) {
            -1 => '^',
            1 => 'v',
            _ => '-',
        };
        let mut marks: String = Self::PRINTED_ORDER.into_iter().map(mark).collect();
        marks.insert(3, '|');
        marks
    }
}

/// Prints the diagram in the order of the pedals, left foot first: `D C# B | E F# G A`.
impl fmt::Display for PedalSetting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (nth, letter) in Self::PRINTED_ORDER.into_iter().enumerate() {
            let gap = match nth {
                0 => "",
                3 => " | ",
                _ => " ",
            };
            let sign = match self.alter_of(letter) {
                -1 => "b",
                1 => "#",
                _ => "",
            };
            write!(f, "{gap}{}{sign}", letter.char())?;
        }
        Ok(())
    }
}

/// Text that is no pedal diagram.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected the seven pedals, left foot first, such as \"D C# B | E F# G A\" or \"-v-|-v--\", found {found}", found = format!("{:?}", .0)))]
pub struct DiagramError(String);

/// Reads either way of writing a diagram: by letters, or by marks.
impl FromStr for PedalSetting {
    type Err = DiagramError;
    fn from_str(text: &str) -> Result<Self, DiagramError> {
        let fail = || DiagramError(text.to_owned());
        let parts: Vec<&str> = text.split('|').collect();
        let [left, right] = parts[..] else { return Err(fail()) };
        let mut setting = PedalSetting::default();
        let marks: Vec<char> = left.chars().chain(right.chars()).filter(|c| !c.is_whitespace()).collect();
        if marks.iter().all(|c| matches!(c, '^' | '-' | 'v')) {
            if marks.len() != 7 || left.trim().chars().count() != 3 {
                return Err(fail());
            }
            for (letter, mark) in Self::PRINTED_ORDER.into_iter().zip(marks) {
                setting.set(letter, if mark == '^' { -1 } else { i8::from(mark == 'v') });
            }
            return Ok(setting);
        }
        let names: Vec<&str> = left.split_whitespace().chain(right.split_whitespace()).collect();
        if names.len() != 7 || left.split_whitespace().count() != 3 {
            return Err(fail());
        }
        for (letter, name) in Self::PRINTED_ORDER.into_iter().zip(names) {
            let alter = match name.strip_prefix(letter.char()) {
                Some("") => 0,
                Some("b") => -1,
                Some("#") => 1,
                _ => return Err(fail()),
            };
            setting.set(letter, alter);
        }
        Ok(setting)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_prints_left_foot_first_and_reads_back() {
        let mut setting = PedalSetting::default();
        setting.set(Letter::C, 1);
        setting.set(Letter::F, 1);
        setting.set(Letter::B, -9);
        assert_eq!(setting.to_string(), "D C# Bb | E F# G A");
        assert_eq!(setting.marks(), "-v^|-v--");
        assert_eq!("D C# Bb | E F# G A".parse(), Ok(setting));
        assert_eq!("-v^|-v--".parse(), Ok(setting));
    }

    /// The example of LilyPond's Notation Reference, "Harp pedals", as remembered: a mark above the line is flat, one below sharp.
    #[test]
    fn the_diagram_of_the_notation_reference_reads_by_the_order_of_the_pedals() {
        let setting: PedalSetting = "^v-|vv-^".parse().unwrap();
        assert_eq!(setting.to_string(), "Db C# B | E# F# G Ab");
    }

    #[test]
    fn what_is_no_diagram_is_refused() {
        for text in ["", "D C B E F G A", "^v-|vv-", "^v|-vv-^", "C D B | E F G A", "D C B | E F G Ax", "^v-|vv-^|"] {
            assert!(text.parse::<PedalSetting>().is_err(), "{text:?}");
        }
    }

    #[test]
    fn each_foot_has_its_pedals() {
        let left: Vec<char> = Letter::ALL.into_iter().filter(|l| Foot::of(*l) == Foot::Left).map(Letter::char).collect();
        assert_eq!(left, ['C', 'D', 'B']);
    }
}
