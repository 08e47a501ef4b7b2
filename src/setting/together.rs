//! All that moves at one place, as one thing to remember.

use super::{Change, Moved, Plan};
use crate::score::{Part, Place, Score, Unfolded};
use crate::theory::harp::{Foot, Harp, HarpString};
use crate::time::ScoreTime;

/// What moves at one place of the page, by feet and hand together.
#[derive(Clone, PartialEq, Debug)]
pub struct Together {
    pub place: Place,
    /// Quarters from the start of the stretch, the first time that it moves there.
    pub played: ScoreTime,
    /// At least one; all have this place.
    pub changes: Vec<Change>,
    /// The first note that needs any of it, and the same in quarters from the start of the stretch.
    pub for_place: Place,
    pub needed: ScoreTime,
}

impl Plan {
    /// Returns what moves, place by place in playing order. A place that is played more than once counts the first time that something moves there.
    pub fn together(&self) -> Vec<Together> {
        let mut all: Vec<Together> = Vec::new();
        for change in &self.changes {
            match all.iter_mut().find(|t| t.place == change.place) {
                Some(same) if same.played == change.played => {
                    same.changes.push(*change);
                    if change.needed < same.needed {
                        (same.needed, same.for_place) = (change.needed, change.for_place);
                    }
                }
                Some(_) => {}
                None => {
                    let Change { place, played, for_place, needed, .. } = *change;
                    all.push(Together { place, played, changes: vec![*change], for_place, needed });
                }
            }
        }
        all
    }
}

impl Together {
    /// Returns where a wrong setting is heard: the places of all notes on what was moved, from the change until it is moved again; in playing
    /// order, no place twice.
    pub fn heard_at(&self, plan: &Plan, harp: &Harp, part: &Part, stretch: &Unfolded) -> Vec<Place> {
        let until = |what| plan.changes.iter().find(|c| c.what == what && c.played > self.played).map(|c| c.played);
        let moved: Vec<(Moved, Option<ScoreTime>)> = self.changes.iter().map(|c| (c.what, until(c.what))).collect();
        let mut places: Vec<Place> = Vec::new();
        for note in stretch.notes.iter().filter(|n| n.onset >= self.played) {
            let of_note = Moved::of(harp, HarpString::of(part.notes[note.note.0].pitch));
            let is_it = |(what, until): &(Moved, Option<ScoreTime>)| *what == of_note && until.is_none_or(|until| note.onset < until);
            let place = stretch.place(note.onset).filter(|_| moved.iter().any(is_it));
            places.extend(place.filter(|p| !places.contains(p)));
        }
        places
    }

    /// Returns what is done, short enough for a cue: `L: F 4th octave up, beat 3`. A lever is the left hand's, a pedal that of its foot.
    pub fn cue(&self, score: &Score) -> String {
        let all: Vec<String> = self.changes.iter().map(|c| c.cue()).collect();
        format!("{}, {}", all.join(&tr!("; ")), self.place.spoken_beat(score))
    }

    /// Returns what is done in full, and for which note: `left hand: lever up on the F in the 4th octave, for bar 12, beat 1`.
    pub fn words(&self, score: &Score) -> String {
        let all: Vec<String> = self.changes.iter().map(Change::words).collect();
        tr!("{moves}, for {place}", moves = all.join(&tr!("; ")), place = self.for_place.words(score))
    }
}

impl Change {
    fn cue(&self) -> String {
        match self.what {
            Moved::Pedal(letter) => {
                let side = if Foot::of(letter) == Foot::Left { tr!("L") } else { tr!("R") };
                tr!("{side}: {moved}", side, moved = super::words::altered(letter, self.to))
            }
            Moved::Lever(string) => {
                let string = string.short_words();
                let moved = if self.to > self.from { tr!("{string} up", string) } else { tr!("{string} down", string) };
                tr!("{side}: {moved}", side = tr!("L"), moved)
            }
            Moved::Tuned(_) => self.words(),
        }
    }
}
