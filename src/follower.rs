//! Where the player is: a belief over score positions, updated with every note.
//!
//! A [`Line`] is what is to be played; a [`Follower`] hears notes against it and says what each one
//! was, where the player now is, and until when silence is still natural. It has nothing to fail at:
//! when nothing explains the notes it says [`Position::lost`]. Knows no port, no screen and no rep.

mod belief;
mod constants;
mod habit;
mod hesitation;
mod landing;
mod line;
mod model;
mod plan;
mod sounding;
mod strings;
mod timing;
mod track;

pub use constants::{Constants, N_CONSTANTS};
pub use habit::{RestartHabit, TimingHabit};
pub use line::{Line, LineNote, Onset};
pub use timing::LocalTempo;
pub use track::{Begin, Follower, FollowerConfig, Step};

use crate::midi::MidiKey;
use crate::time::Micros;

/// Index into [`Line::onsets`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct OnsetIdx(pub usize);

/// Index into [`Line::notes`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct LineNoteIdx(pub usize);

/// What a performed note was.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Heard {
    /// A note of the score, in its place.
    Expected,
    /// Played instead of a note of the score.
    Wrong,
    /// Played in addition to the score.
    Extra,
    /// Not the player's doing: a retriggered string or a sympathetic octave.
    Ghost,
    /// A note of the score struck again within its onset (a doubled note, a tremolo stroke).
    Repeat,
    /// The right string with its lever or pedal set wrong. The follower itself says `Wrong` of it: what a key means on a harp is
    /// not known here.
    Setting,
    /// Cannot be told: the place is not sure enough to call it anything.
    Unclear,
}

/// What the follower says of one performed note, right after it; never revised.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct HeardNote {
    pub heard: Heard,
    /// The matched note of the line, for `Expected` and `Repeat`.
    pub note: Option<LineNoteIdx>,
    /// For `Wrong`: the note it stood for, when that is clear.
    pub stood_for: Option<LineNoteIdx>,
    pub position: Position,
}

/// Where the player is believed to be.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Position {
    /// The onset last reached.
    pub onset: OnsetIdx,
    /// Probability mass on it, `0.0..=1.0`.
    pub confidence: f32,
    /// No position explains the last notes; `onset` is the last one believed.
    pub lost: bool,
}

/// Something found out about the playing beyond the single note; each carries the time it was known.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Finding {
    Slip(Slip),
    /// The player went back and plays on from `to`.
    Restart {
        at: Micros,
        from: OnsetIdx,
        to: OnsetIdx,
        confidence: f32,
    },
    /// The player left out a stretch and plays on from `to`.
    Jump {
        at: Micros,
        from: OnsetIdx,
        to: OnsetIdx,
        confidence: f32,
    },
    Lost {
        at: Micros,
    },
    Found {
        at: Micros,
        onset: OnsetIdx,
    },
}

/// One thing played that the score does not have, or the other way round.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Slip {
    pub at: Micros,
    pub kind: SlipKind,
    /// The onset it belongs to.
    pub onset: OnsetIdx,
    /// The note that should have been played: for `Wrong` where clear, for `Missed` always.
    pub note: Option<LineNoteIdx>,
    /// The key that was played; none for `Missed`.
    pub played: Option<MidiKey>,
    pub confidence: f32,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum SlipKind {
    Wrong,
    Missed,
    Extra,
    /// The continuation of a look-alike passage was played.
    WrongTurn,
    /// The right string (letter and octave) with the wrong accidental: a lever or pedal.
    Setting,
}

impl SlipKind {
    /// Returns its word in records and traces.
    pub fn word(self) -> &'static str {
        match self {
            SlipKind::Wrong => "wrong",
            SlipKind::Missed => "missed",
            SlipKind::Extra => "extra",
            SlipKind::WrongTurn => "wrong-turn",
            SlipKind::Setting => "setting",
        }
    }
}
