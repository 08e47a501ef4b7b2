//! One harmony asked for alone: what counts as playing it.
//!
//! The notes of the chord in any order, number and octave, on the root (or on the bass that is written). The fifth
//! may be left out as in any chord, the third may not (common practice); nothing outside the chord may be in it.

use crate::analysis::chord::Chord;
use crate::midi::MidiKey;

/// Pitch classes as bits, C the lowest.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Harmony {
    /// All that may be played.
    members: u16,
    /// What must be among it.
    needed: u16,
    /// What it may stand on.
    lowest: u16,
}

/// What a handful of notes is to the harmony asked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fit {
    Whole,
    /// Nothing wrong yet, and not all of it.
    Part,
    /// A note of another harmony.
    Other,
}

impl Harmony {
    /// Returns what counts as `chord` where the left hand has `written` in the score, in score order; `None` when that
    /// hand plays something else than the chord there, or nothing.
    pub fn of(chord: Chord, written: &[MidiKey]) -> Option<Harmony> {
        let bit = |semitones: usize| 1u16 << ((chord.root as usize + semitones) % 12);
        let members = chord.quality.members().iter().fold(0, |bits, m| bits | bit(*m));
        let of_hand = pitch_classes(written);
        let bass = written.iter().min()?;
        if of_hand & !members != 0 {
            return None;
        }
        let (root, third, fifth) = (bit(0), bit(chord.quality.members()[1]), bit(chord.quality.members()[2]));
        // A hand that has the bare fifth, or the root alone, is asked for no more than that.
        let needed = [third, fifth].into_iter().find(|tone| of_hand & tone != 0).map_or(root, |tone| root | tone);
        Some(Harmony { members, needed, lowest: root | pitch_classes(&[*bass]) })
    }

    pub fn fit(self, played: &[MidiKey]) -> Fit {
        let classes = pitch_classes(played);
        if classes & !self.members != 0 {
            return Fit::Other;
        }
        let stands = played.iter().min().is_some_and(|key| pitch_classes(&[*key]) & self.lowest != 0);
        if stands && self.needed & !classes == 0 { Fit::Whole } else { Fit::Part }
    }
}

fn pitch_classes(keys: &[MidiKey]) -> u16 {
    keys.iter().fold(0, |bits, key| bits | 1 << key.pitch_class())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::chord::Quality;
    use crate::theory::SpelledPitch;

    fn keys(names: &str) -> Vec<MidiKey> {
        names.split_whitespace().map(|n| MidiKey::try_new(n.parse::<SpelledPitch>().unwrap().midi()).unwrap()).collect()
    }

    /// Chord members and the fifth that may be left out: common practice, as any harmony book has it.
    #[test]
    fn any_voicing_on_the_root_counts_and_nothing_else_does() {
        let c_minor = Harmony::of(Chord::new(0, Quality::Minor), &keys("C2 G2 Eb3")).unwrap();
        for (played, fit) in [
            ("C2 G2 Eb3", Fit::Whole),
            ("C4 G4 Eb5", Fit::Whole),
            ("C3 Eb3 G3", Fit::Whole),
            ("Eb3 G3 C2", Fit::Whole),
            ("C2 C3 Eb4", Fit::Whole),
            ("C2 G2", Fit::Part),
            ("C2", Fit::Part),
            ("Eb2 G2 C3", Fit::Part),
            ("C2 G2 E3", Fit::Other),
            ("F2 C3 Ab3", Fit::Other),
            ("C2 Eb2 G2 Bb2", Fit::Other),
        ] {
            assert_eq!(c_minor.fit(&keys(played)), fit, "{played}");
        }
    }

    #[test]
    fn what_the_hand_does_not_have_is_not_asked_for() {
        let open = Harmony::of(Chord::new(10, Quality::Major), &keys("Bb1 F2 Bb2")).unwrap();
        assert_eq!(
            [open.fit(&keys("Bb2 F3")), open.fit(&keys("Bb2 D3")), open.fit(&keys("Bb2 D3 F3"))],
            [Fit::Whole, Fit::Part, Fit::Whole]
        );
        let alone = Harmony::of(Chord::new(7, Quality::Dominant7), &keys("G2")).unwrap();
        assert_eq!(alone.fit(&keys("G3")), Fit::Whole);
        // On the bass that is written, or on the root; not on the third of the three.
        let inverted = Harmony::of(Chord::new(0, Quality::Major), &keys("E2 C3 G3")).unwrap();
        assert_eq!(["E2 G2 C3", "C3 E3", "G2 C3 E3"].map(|p| inverted.fit(&keys(p))), [Fit::Whole, Fit::Whole, Fit::Part]);
        assert_eq!(Harmony::of(Chord::new(0, Quality::Major), &keys("C2 D2 E2")), None, "a hand with a tune holds no harmony");
        assert_eq!(Harmony::of(Chord::new(0, Quality::Major), &[]), None);
    }
}
