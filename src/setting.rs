//! How the strings of a harp are set through a piece: what stands at the start, what moves where, what cannot be played.
//!
//! [`plan()`] goes through the notes in playing order. A pedal moves a letter in all octaves and belongs
//! to a foot; a lever moves one string and is reached for by the left hand. What has to move is found first
//! ([`needs`]), then when ([`moves`]). Nothing here knows a player or a screen; a keyboard has no setting.

mod moves;
mod needs;
mod words;

pub use moves::{Change, Trouble};
pub use needs::{Problem, ProblemKind};

use crate::piece::Instrument;
use crate::score::{Part, Score, Unfolded};
use crate::theory::Letter;
use crate::theory::harp::{HarpString, LeverTuning, PedalSetting, Strings};
use crate::time::{ScoreTime, Tempo};

/// One harp: its strings and what sets them.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Harp {
    pub strings: Strings,
    pub mechanism: Mechanism,
}

/// What sets the strings.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Mechanism {
    /// Pedals; the strings that they do not reach are tuned beforehand, once for the piece.
    Pedals {
        unmoved: Vec<HarpString>,
    },
    Levers(LeverTuning),
}

/// What moves at one go: a pedal with its letter in all octaves, or the lever of one string.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Moved {
    Pedal(Letter),
    Lever(HarpString),
    /// A string that neither pedal nor lever moves; it is tuned before the piece.
    Tuned(HarpString),
}

/// How the strings stand through a stretch of a piece.
#[derive(Clone, PartialEq, Debug)]
pub struct Plan {
    /// What stands before the first note, for every string or pedal that the stretch uses; sorted.
    pub start: Vec<(Moved, i8)>,
    /// In playing order.
    pub changes: Vec<Change>,
    /// What no setting gives, in playing order.
    pub problems: Vec<Problem>,
}

impl Harp {
    /// Returns a usual harp for the instrument named: the 47 strings of a concert harp, of which pedals do not reach C1, D1
    /// and G7, or a lever harp of 36 strings from C2 to C7 tuned in E flat (both common practice); none for a keyboard.
    pub fn usual(instrument: Instrument) -> Option<Harp> {
        let string = |letter, octave| HarpString::new(letter, octave);
        match instrument {
            Instrument::Keyboard => None,
            Instrument::PedalHarp => {
                let unmoved = vec![string(Letter::C, 1), string(Letter::D, 1), string(Letter::G, 7)];
                Some(Harp { strings: Strings::CONCERT, mechanism: Mechanism::Pedals { unmoved } })
            }
            Instrument::LeverHarp => {
                let strings = Strings::try_new(string(Letter::C, 2), string(Letter::C, 7)).expect("C2 lies below C7");
                Some(Harp { strings, mechanism: Mechanism::Levers(LeverTuning::e_flat()) })
            }
        }
    }

    /// Returns what moves a string.
    pub fn moved(&self, string: HarpString) -> Moved {
        match &self.mechanism {
            Mechanism::Pedals { unmoved } if unmoved.contains(&string) => Moved::Tuned(string),
            Mechanism::Pedals { .. } => Moved::Pedal(string.letter()),
            Mechanism::Levers(_) => Moved::Lever(string),
        }
    }

    /// Tells whether a string can be given this accidental at all.
    pub fn reaches(&self, string: HarpString, alter: i8) -> bool {
        match &self.mechanism {
            Mechanism::Pedals { .. } => (-1..=1).contains(&alter),
            Mechanism::Levers(tuning) => tuning.reaches(string, alter),
        }
    }
}

impl Plan {
    /// Returns how everything that the stretch uses stands at a played position, changes at that very position included; sorted.
    pub fn at(&self, played: ScoreTime) -> Vec<(Moved, i8)> {
        let mut standing = self.start.clone();
        for change in self.changes.iter().take_while(|c| c.played <= played) {
            if let Some((_, alter)) = standing.iter_mut().find(|(moved, _)| *moved == change.what) {
                *alter = change.to;
            }
        }
        standing
    }

    /// Returns the pedals at a played position; letters that the stretch does not use are natural.
    pub fn pedals_at(&self, played: ScoreTime) -> PedalSetting {
        let mut setting = PedalSetting::default();
        for (moved, alter) in self.at(played) {
            if let Moved::Pedal(letter) = moved {
                setting.set(letter, alter);
            }
        }
        setting
    }
}

/// Plans the setting of a stretch in playing order: the fewest moves that give every note, each as near before its note as
/// beats, feet and a free left hand allow. `tempo` says how long a hand or foot has; where the score gives none, 72 quarters a minute.
///
/// Cost: near-linear in the notes.
pub fn plan(harp: &Harp, score: &Score, part: &Part, stretch: &Unfolded, tempo: Option<Tempo>) -> Plan {
    let (needs, problems) = needs::needs(harp, part, stretch);
    let (start, changes) = moves::moves(&needs, score, stretch, tempo);
    Plan { start, changes, problems }
}
