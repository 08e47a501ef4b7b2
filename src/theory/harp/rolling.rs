//! How a harpist rolls chords.

use crate::time::Micros;

/// How chords are rolled, marked or not: what goes beyond the hand is broken anyway.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Rolling {
    /// From the first note to the last at the most.
    pub longest: Micros,
    /// The last note comes on the beat, as orchestration guides mostly have it (Freund & Cutler 2024); else the first.
    pub ends_on_beat: bool,
}

impl Rolling {
    /// Up to 400 ms (a reasoned default: no measured lengths were found), the last note on the beat.
    pub const USUAL: Rolling = Rolling { longest: Micros(400_000), ends_on_beat: true };
}
