//! Harp facts: pedals and what they do to the strings.

use super::pitch::Letter;

/// The seven pedals as a diagram gives them: the accidental of each letter, -1 flat, 0 natural, 1 sharp.
///
/// Indexed by [`Letter`]; the printed order is D C B | E F G A.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct PedalSetting(pub [i8; 7]);

impl PedalSetting {
    /// The printed order of the pedals, left foot first (MusicXML 4.0, `harp-pedals`).
    pub const PRINTED_ORDER: [Letter; 7] = [Letter::D, Letter::C, Letter::B, Letter::E, Letter::F, Letter::G, Letter::A];

    pub fn alter_of(self, letter: Letter) -> i8 {
        self.0[letter as usize]
    }
}
