//! How a harp is played and heard, where the player says so: in the settings for all pieces, in a piece file for one.

use crate::midi::MatchMode;
use crate::theory::harp::Rolling;
use crate::time::Micros;

/// What is said; each may be left out.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Manner {
    /// What a key from the instrument means.
    pub matching: Option<MatchMode>,
    pub roll_longest: Option<Micros>,
    pub roll_ends_on_beat: Option<bool>,
}

/// Which note of a rolled chord comes on the beat, as it is written.
pub const ANCHORS: [(&str, bool); 2] = [("last", true), ("first", false)];
/// The longest roll that can be set, milliseconds: beyond it a chord is no longer one onset.
pub const ROLL_MS_MAX: i64 = 400;

impl Manner {
    /// Returns what holds where nothing is said.
    pub const USUAL: Manner = Manner {
        matching: Some(MatchMode::Automatic),
        roll_longest: Some(Rolling::USUAL.longest),
        roll_ends_on_beat: Some(Rolling::USUAL.ends_on_beat),
    };

    /// Returns this, with what is left out taken from another.
    #[must_use]
    pub fn or(self, other: Manner) -> Manner {
        Manner {
            matching: self.matching.or(other.matching),
            roll_longest: self.roll_longest.or(other.roll_longest),
            roll_ends_on_beat: self.roll_ends_on_beat.or(other.roll_ends_on_beat),
        }
    }

    /// Returns how chords are rolled.
    pub fn rolling(self) -> Rolling {
        Rolling {
            longest: self.roll_longest.unwrap_or(Rolling::USUAL.longest),
            ends_on_beat: self.roll_ends_on_beat.unwrap_or(Rolling::USUAL.ends_on_beat),
        }
    }
}
