//! Harp facts: pedals and what they do to the strings.

use std::fmt;

use super::pitch::Letter;

/// The seven pedals as a diagram gives them: the accidental of each letter, -1 flat, 0 natural, 1 sharp.
///
/// Indexed by [`Letter`]; the printed order is D C B | E F G A.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct PedalSetting(pub [i8; 7]);

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_prints_left_foot_first() {
        let mut setting = PedalSetting::default();
        setting.set(Letter::C, 1);
        setting.set(Letter::F, 1);
        setting.set(Letter::B, -9);
        assert_eq!(setting.to_string(), "D C# Bb | E F# G A");
    }
}
