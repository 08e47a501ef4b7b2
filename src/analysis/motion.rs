//! Motion: how roots, basses and top lines go from one place to the next, and which chords share a tone.

use super::chord::{Chord, Quality};
use super::keys::Key;
use crate::theory::Mode;

/// A distance in strings with its direction, folded into an octave: -7 to 7.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Move(pub i32);

impl Move {
    /// Returns the move between two strings; more than an octave is folded, whole octaves stay octaves.
    pub fn between(from: i32, to: i32) -> Move {
        let by = to - from;
        if by != 0 && by % 7 == 0 { Move(7 * by.signum()) } else { Move(by % 7) }
    }

    /// Returns `third down`, `step up`, `octave up`, `same root`.
    pub fn short(self) -> String {
        const UP: [&str; 7] = [
            msgid!("step up"),
            msgid!("third up"),
            msgid!("fourth up"),
            msgid!("fifth up"),
            msgid!("sixth up"),
            msgid!("seventh up"),
            msgid!("octave up"),
        ];
        const DOWN: [&str; 7] = [
            msgid!("step down"),
            msgid!("third down"),
            msgid!("fourth down"),
            msgid!("fifth down"),
            msgid!("sixth down"),
            msgid!("seventh down"),
            msgid!("octave down"),
        ];
        self.of(UP, DOWN).unwrap_or_else(|| tr!("same root"))
    }

    /// Returns `a third lower`, `a step higher`, `an octave higher`.
    pub fn compared(self) -> String {
        const HIGHER: [&str; 7] = [
            msgid!("a step higher"),
            msgid!("a third higher"),
            msgid!("a fourth higher"),
            msgid!("a fifth higher"),
            msgid!("a sixth higher"),
            msgid!("a seventh higher"),
            msgid!("an octave higher"),
        ];
        const LOWER: [&str; 7] = [
            msgid!("a step lower"),
            msgid!("a third lower"),
            msgid!("a fourth lower"),
            msgid!("a fifth lower"),
            msgid!("a sixth lower"),
            msgid!("a seventh lower"),
            msgid!("an octave lower"),
        ];
        self.of(HIGHER, LOWER).unwrap_or_else(|| tr!("at the same place"))
    }

    /// Returns the words of a move from a list for each direction, from a step to an octave; nothing for none.
    fn of(self, up: [&'static str; 7], down: [&'static str; 7]) -> Option<String> {
        let words = if self.0 < 0 { down } else { up };
        let nth = (self.0.unsigned_abs() as usize).min(7).checked_sub(1)?;
        let words = words[nth];
        Some(tr!(words))
    }
}

/// Returns the triads on the degrees of a key, from the first degree up (minor: the natural scale, with the major fifth degree).
pub fn triads(key: Key) -> [Chord; 7] {
    let qualities = match key.mode {
        Mode::Major => {
            [Quality::Major, Quality::Minor, Quality::Minor, Quality::Major, Quality::Major, Quality::Minor, Quality::Diminished]
        }
        Mode::Minor => {
            [Quality::Minor, Quality::Diminished, Quality::Major, Quality::Minor, Quality::Major, Quality::Major, Quality::Major]
        }
    };
    std::array::from_fn(|degree| Chord::new(key.tonic + key.scale()[degree] as u8, qualities[degree]))
}

/// Returns the degrees, from 1, of the key's triads that hold a pitch class, the one that has it as root first, then by falling thirds.
pub fn degrees_that_hold(key: Key, pc: usize) -> Vec<usize> {
    let triads = triads(key);
    let mut degrees: Vec<usize> = (1..=7).filter(|d| triads[d - 1].holds(pc)).collect();
    // Falling thirds from the chord that has it as root: as root, as third, as fifth.
    degrees.sort_by_key(|d| (pc + 12 - triads[d - 1].root as usize) % 12);
    degrees
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn in_e_flat_the_tonic_is_held_by_one_six_and_four_falling_by_thirds() {
        // Common practice.
        let key = Key { tonic: 3, mode: Mode::Major };
        let degrees = degrees_that_hold(key, 3);
        assert_eq!(degrees, [1, 6, 4]);
        let roots: Vec<u8> = degrees.iter().map(|d| triads(key)[d - 1].root).collect();
        assert_eq!(roots, [3, 0, 8], "E flat, C, A flat");
    }

    #[test]
    fn every_degree_of_a_major_scale_is_held_by_three_triads() {
        // K. W. Gehrkens, "Music Notation and Terminology" (1914), sections 196 and 198: the triads C-E-G, D-F-A, F-A-C and G-B-D stand
        // on degrees 1, 2, 4 and 5; that on 1 is major, that on 2 minor.
        let key = Key { tonic: 0, mode: Mode::Major };
        for (degree, members) in [(1, [0, 4, 7]), (2, [2, 5, 9]), (4, [5, 9, 0]), (5, [7, 11, 2])] {
            assert!(members.into_iter().all(|pc| triads(key)[degree - 1].holds(pc)), "degree {degree}");
        }
        assert_eq!((triads(key)[0].quality, triads(key)[1].quality), (Quality::Major, Quality::Minor));
        // A root with the third and fifth above it on every degree (section 196): degree 2 lies in the triads on 2, 7 and 5, and so on.
        let table = [[1, 6, 4], [2, 7, 5], [3, 1, 6], [4, 2, 7], [5, 3, 1], [6, 4, 2], [7, 5, 3]];
        for (degree, expected) in table.iter().enumerate() {
            assert_eq!(degrees_that_hold(key, key.scale()[degree]), expected, "degree {}", degree + 1);
        }
    }

    #[test]
    fn moves_are_counted_in_strings() {
        for (from, to, words) in
            [(21, 19, "third down"), (21, 22, "step up"), (21, 28, "octave up"), (21, 10, "fifth down"), (21, 21, "same root")]
        {
            assert_eq!(Move::between(from, to).short(), words);
        }
    }

    #[test]
    fn neighbours_a_third_apart_share_two_tones() {
        // Common practice: C major and A minor share C and E.
        let (c, a) = (Chord::new(0, Quality::Major), Chord::new(9, Quality::Minor));
        assert_eq!(c.common_tones(a), [0, 4]);
        assert_eq!(c.common_tones(Chord::new(7, Quality::Major)), [7]);
    }
}
