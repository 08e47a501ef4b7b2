//! Chords as root and quality: the vocabulary that harmony is told in.

/// What kind of chord stands on a root.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Quality {
    Major,
    Minor,
    Diminished,
    Augmented,
    Dominant7,
    Minor7,
    Major7,
    Diminished7,
    HalfDiminished7,
}

impl Quality {
    pub const ALL: [Quality; 9] = [
        Quality::Major,
        Quality::Minor,
        Quality::Diminished,
        Quality::Augmented,
        Quality::Dominant7,
        Quality::Minor7,
        Quality::Major7,
        Quality::Diminished7,
        Quality::HalfDiminished7,
    ];

    /// Returns the short name that `study --json` prints.
    pub fn symbol(self) -> &'static str {
        ["maj", "min", "dim", "aug", "7", "min7", "maj7", "dim7", "hdim7"][self as usize]
    }

    /// Reads a short name; an augmented chord with a seventh counts as augmented.
    pub fn from_symbol(text: &str) -> Option<Quality> {
        match text {
            "aug7" | "augmaj7" => Some(Quality::Augmented),
            "minmaj7" => Some(Quality::Minor),
            _ => Quality::ALL.into_iter().find(|q| q.symbol() == text),
        }
    }

    /// Returns the semitones above the root of the chord's members (common practice).
    pub fn members(self) -> &'static [usize] {
        const MEMBERS: [&[usize]; 9] =
            [&[0, 4, 7], &[0, 3, 7], &[0, 3, 6], &[0, 4, 8], &[0, 4, 7, 10], &[0, 3, 7, 10], &[0, 4, 7, 11], &[0, 3, 6, 9], &[0, 3, 6, 10]];
        MEMBERS[self as usize]
    }

    /// Tells whether the third above the root is a minor one.
    pub fn has_minor_third(self) -> bool {
        self.members()[1] == 3
    }

    pub fn has_seventh(self) -> bool {
        self.members().len() == 4
    }

    /// Returns the words that follow a root, to be put into the player's language: `minor`, `seventh`; nothing for a major chord.
    pub fn words(self) -> &'static str {
        [
            "",
            msgid!("minor"),
            msgid!("diminished"),
            msgid!("augmented"),
            msgid!("seventh"),
            msgid!("minor seventh"),
            msgid!("major seventh"),
            msgid!("diminished seventh"),
            msgid!("half-diminished"),
        ][self as usize]
    }
}

/// A root, as pitch class from C, with its quality.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Chord {
    /// `0..12` from C.
    pub root: u8,
    pub quality: Quality,
}

impl Chord {
    /// How many chords there are: twelve roots, nine qualities.
    pub const COUNT: usize = 12 * Quality::ALL.len();

    pub fn new(root: u8, quality: Quality) -> Chord {
        Chord { root: root % 12, quality }
    }

    /// Returns the index `0..COUNT`, root first.
    pub fn index(self) -> usize {
        self.root as usize * Quality::ALL.len() + self.quality as usize
    }

    /// The chord of an index; those past the end come round again.
    pub fn from_index(index: usize) -> Chord {
        let n = Quality::ALL.len();
        Chord { root: (index / n % 12) as u8, quality: Quality::ALL[index % n] }
    }

    pub fn holds(self, pc: usize) -> bool {
        self.quality.members().iter().any(|m| (m + self.root as usize) % 12 == pc % 12)
    }

    /// Returns the pitch classes that both chords hold.
    pub fn common_tones(self, other: Chord) -> Vec<usize> {
        (0..12).filter(|&pc| self.holds(pc) && other.holds(pc)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_four_triads_have_the_members_that_a_handbook_gives_them() {
        // K. W. Gehrkens, "Music Notation and Terminology" (1914), section 197: a major triad is a minor third on top of a major one
        // (C-E-G), a minor triad the reverse (C-E flat-G); two minor thirds are diminished (C-E flat-G flat), two major ones augmented (C-E-G sharp).
        let (minor_third, major_third) = (3, 4);
        for (quality, lower, upper) in [
            (Quality::Major, major_third, minor_third),
            (Quality::Minor, minor_third, major_third),
            (Quality::Diminished, minor_third, minor_third),
            (Quality::Augmented, major_third, major_third),
        ] {
            assert_eq!(quality.members(), [0, lower, lower + upper], "{quality:?}");
            assert_eq!(quality.has_minor_third(), lower == minor_third, "{quality:?}");
        }
    }

    #[test]
    fn a_seventh_chord_is_a_triad_with_the_seventh_above_its_root() {
        // Gehrkens (1914), section 191: from C, a diminished seventh is B double flat, a minor one B flat, a major one B; and Gardner
        // (1912): the seventh of the fundamental is added to any triad.
        for (quality, triad, seventh) in [
            (Quality::Dominant7, Quality::Major, 10),
            (Quality::Minor7, Quality::Minor, 10),
            (Quality::Major7, Quality::Major, 11),
            (Quality::Diminished7, Quality::Diminished, 9),
            (Quality::HalfDiminished7, Quality::Diminished, 10),
        ] {
            assert_eq!(quality.members()[..3], *triad.members(), "{quality:?}");
            assert_eq!(quality.members()[3..], [seventh], "{quality:?}");
        }
    }
}
