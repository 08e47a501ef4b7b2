//! A piece: a folder with `piece.toml` and its score, checked against each other.
//!
//! [`Piece`] is the checked value the rest of the program uses. Text in, text out: reading the
//! folder is the shell's work. Knows no player and no journal.

use std::sync::Arc;

use crate::score::{BarRange, Part, Place, Score};
use crate::theory::Hand;
use crate::time::Tempo;

/// One work ready to practise: its score, and the player's sections, cues and landmarks in it.
#[derive(Clone, PartialEq, Debug)]
pub struct Piece {
    pub title: String,
    pub score: Arc<Score>,
    /// Index of the player's part in [`Score::parts`].
    pub part: usize,
    pub instrument: Instrument,
    /// The tempo the player set; where there is one, reps are held to 85 to 115 % of it.
    pub tempo: Option<Tempo>,
    /// Clean reps wanted for each section, 1 to 9.
    pub target_reps: u8,
    /// In page order; at least one.
    pub sections: Vec<Section>,
    /// Sorted by place, then hand.
    pub cues: Vec<Cue>,
    /// Sorted by place.
    pub landmarks: Vec<Landmark>,
}

impl Piece {
    pub fn part(&self) -> &Part {
        &self.score.parts[self.part]
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Instrument {
    LeverHarp,
    PedalHarp,
    Keyboard,
}

/// A short run of bars practised as a unit, named by the player.
#[derive(Clone, PartialEq, Debug)]
pub struct Section {
    pub name: String,
    pub bars: BarRange,
    /// Overrides [`Piece::target_reps`].
    pub target_reps: Option<u8>,
}

/// A phrase in the player's words, tied to a place.
#[derive(Clone, PartialEq, Debug)]
pub struct Cue {
    pub place: Place,
    pub hand: Option<Hand>,
    /// Shown first: a few words.
    pub text: String,
    /// Shown when the first was not enough.
    pub more: Option<String>,
}

/// A place from which the player can start cold.
#[derive(Clone, PartialEq, Debug)]
pub struct Landmark {
    pub place: Place,
    pub name: String,
    /// Levers or pedals there, in the player's words.
    pub setting: Option<String>,
}
