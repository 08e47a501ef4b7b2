//! The words of music theory as values: spelled pitches, keys, metres, hands.
//!
//! Nothing here knows a file format or a score; everything is a small copyable value with its
//! arithmetic. Kept out on purpose: sounding time (see `time`) and anything learnt from a player.

pub mod harp;
pub mod key;
pub mod meter;
pub mod pitch;
pub mod spelling;

pub use key::{KeySignature, Mode};
pub use meter::Meter;
pub use pitch::{Letter, SpelledPitch};

use serde::{Deserialize, Serialize};

/// Which hand plays a note. Scores with two staves give the upper one to the right hand.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Hand {
    Left,
    Right,
}

impl Hand {
    /// Returns the word shown to the player: `left hand` or `right hand`.
    pub fn words(self) -> String {
        match self {
            Hand::Left => tr!("left hand"),
            Hand::Right => tr!("right hand"),
        }
    }

    /// Returns `L` or `R`, as note lists write it.
    pub fn letter(self) -> char {
        match self {
            Hand::Left => 'L',
            Hand::Right => 'R',
        }
    }
}
