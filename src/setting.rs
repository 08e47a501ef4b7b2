//! How the strings of a harp are set through a piece: what stands at the start, what moves where, what cannot be played.
//!
//! [`plan()`] goes through the notes in playing order. A pedal moves a letter in all octaves and belongs
//! to a foot; a lever moves one string and is reached for by the left hand. What has to move is found first
//! ([`needs`]), then when ([`moves`]). Nothing here knows a player or a screen; a keyboard has no setting.

mod moves;
mod needs;
mod stand;
mod together;
mod words;

pub use moves::{Change, Trouble};
pub use needs::{Problem, ProblemKind};
pub use stand::{Stand, StandError};
pub use together::Together;

use crate::score::{Part, Score, Unfolded};
use crate::theory::Letter;
use crate::theory::harp::{Harp, HarpString, Mechanism, PedalSetting};
use crate::time::{ScoreTime, Tempo};

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

impl Moved {
    /// Returns what moves a string of this harp.
    pub fn of(harp: &Harp, string: HarpString) -> Moved {
        match &harp.mechanism {
            Mechanism::Pedals { unmoved } if unmoved.contains(&string) => Moved::Tuned(string),
            Mechanism::Pedals { .. } => Moved::Pedal(string.letter()),
            Mechanism::Levers(_) => Moved::Lever(string),
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

    /// Returns the same just before a played position: what is moved there has not been.
    pub fn before(&self, played: ScoreTime) -> Plan {
        Plan { changes: self.changes.iter().filter(|c| c.played < played).copied().collect(), ..self.clone() }
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

impl Plan {
    /// Returns the pedals as diagrams for the page: as they stand at the start, and wherever they have been moved, with written
    /// positions in order. Where a bar is played more than once, its first time counts.
    pub fn diagrams(&self, score: &Score) -> Vec<(ScoreTime, PedalSetting)> {
        let mut diagrams = vec![(ScoreTime::ZERO, self.pedals_at(ScoreTime::ZERO))];
        for change in self.changes.iter().filter(|c| matches!(c.what, Moved::Pedal(_))) {
            let at = change.place.onset(score);
            let setting = self.pedals_at(change.played);
            if at > diagrams[diagrams.len() - 1].0 {
                diagrams.push((at, setting));
            } else if let Some((_, same)) = diagrams.last_mut().filter(|(last, _)| *last == at) {
                *same = setting;
            }
        }
        diagrams
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
