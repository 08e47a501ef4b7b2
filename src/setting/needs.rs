//! What each note asks of its string, and what no setting can give.

use std::collections::{BTreeMap, HashSet};

use super::Moved;
use crate::score::{Ornament, Part, Place, Unfolded};
use crate::theory::SpelledPitch;
use crate::theory::harp::{Harp, HarpString};
use crate::time::ScoreTime;

/// One note's want of an accidental.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Need {
    /// Quarters from the start of the stretch.
    pub at: ScoreTime,
    /// Until when the string is meant to sound.
    pub until: ScoreTime,
    pub alter: i8,
}

/// A note that cannot be played as written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Problem {
    pub place: Place,
    pub pitch: SpelledPitch,
    pub kind: ProblemKind,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum ProblemKind {
    /// The harp has no such string.
    NoString,
    /// The string is there, but neither lever nor pedal gives this accidental.
    OutOfReach,
    /// At the same moment another note wants the same letter, or string, set otherwise.
    Clash,
    /// The string is tuned before the piece, and was tuned otherwise for an earlier note.
    TunedOtherwise,
}

/// Returns what is wanted of everything that moves, each list in playing order with one need a moment; and the problems, in
/// playing order. A glissando runs over what is set: only its ends, which are notes of the page, want anything.
pub fn needs(harp: &Harp, part: &Part, stretch: &Unfolded) -> (BTreeMap<Moved, Vec<Need>>, Vec<Problem>) {
    let mut needs: BTreeMap<Moved, Vec<Need>> = BTreeMap::new();
    let mut problems: Vec<Problem> = Vec::new();
    let mut told = HashSet::new();
    for played in &stretch.notes {
        let note = &part.notes[played.note.0];
        if note.ornament == Ornament::Cue {
            continue;
        }
        let pitch = note.pitch;
        let string = HarpString::of(pitch);
        let place = Place { bar: note.bar, into_bar: played.onset - stretch.bars[played.played_bar].start };
        let kind = if !harp.strings.contains(string) {
            Some(ProblemKind::NoString)
        } else if !harp.reaches(string, pitch.alter) {
            Some(ProblemKind::OutOfReach)
        } else {
            let moved = Moved::of(harp, string);
            let of_moved = needs.entry(moved).or_default();
            let need = Need { at: played.onset, until: played.onset + played.duration, alter: pitch.alter };
            match of_moved.last_mut() {
                Some(last) if last.at == need.at && last.alter != need.alter => Some(ProblemKind::Clash),
                Some(last) if last.alter != need.alter && matches!(moved, Moved::Tuned(_)) => Some(ProblemKind::TunedOtherwise),
                Some(last) if last.at == need.at => {
                    last.until = last.until.max(need.until);
                    None
                }
                _ => {
                    of_moved.push(need);
                    None
                }
            }
        };
        // A note met again in a repeat is told once.
        if let Some(kind) = kind.filter(|kind| told.insert((played.note, *kind))) {
            problems.push(Problem { place, pitch, kind });
        }
    }
    needs.retain(|_, list| !list.is_empty());
    (needs, problems)
}
