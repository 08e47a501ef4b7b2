//! Hearing an answer that is one harmony.

use std::sync::Arc;

use super::harmony::{Fit, Harmony};
use super::hearing::{Around, End};
use crate::journal::entry::{Happening, Outcome};
use crate::midi::sensor::{Filter, Passage};
use crate::midi::{Hearing, MidiEvent, MidiKey, Take, Velocity};
use crate::practice::judge::Fault;
use crate::score::Place;
use crate::theory::Hand;
use crate::time::{Micros, Stamped};

/// A whole harmony counts once nothing more came for so long; part of one is given up after this, spread out as it may be.
const SETTLED: Micros = Micros(600_000);
const GIVEN_UP: Micros = Micros(2_000_000);

pub struct ChordEar {
    asked: Micros,
    keys: Vec<MidiKey>,
    /// First and last note.
    played: Option<(Micros, Micros)>,
    take: Take,
    filter: Option<Box<Filter>>,
}

impl ChordEar {
    pub fn new(asked: Micros, hearing: &Arc<Hearing>) -> Self {
        let filter = hearing.sensor.clone().map(|sensor| Box::new(Filter::new(sensor)));
        ChordEar { asked, keys: Vec::new(), played: None, take: Take::default().heard(Arc::clone(hearing)), filter }
    }

    pub fn has_begun(&self) -> bool {
        self.played.is_some()
    }

    pub fn record(&mut self, event: Stamped<MidiEvent>) {
        if self.has_begun() || matches!(event.what, MidiEvent::NoteOn { .. }) {
            self.take.push(event);
        }
    }

    /// Takes in a note. What rings along is left out even where it would belong to the harmony, which is told by its notes, not
    /// by how often they come; a string's name is taken for what the string sounds as the signature has it.
    pub fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, wanted: Harmony, place: Place, around: Around<'_>) -> Option<End> {
        if self.filter.as_mut().is_some_and(|f| f.weigh(at, key, velocity, false) != Passage::Played) {
            return None;
        }
        let key = around.piece.hearing.matching.sounding(key, around.piece.score.bar(place.bar).key);
        self.played = Some((self.played.map_or(at, |p| p.0), at));
        self.keys.push(key);
        (wanted.fit(&self.keys) == Fit::Other).then(|| self.end(at, Outcome::Failed, &tr!("another harmony"), place, around))
    }

    pub fn deadline(&self, wanted: Harmony, around: Around<'_>) -> Micros {
        match self.played {
            None => self.asked + around.config.first_onset,
            Some((_, last)) if wanted.fit(&self.keys) == Fit::Whole => last + SETTLED,
            Some((_, last)) => last + GIVEN_UP,
        }
    }

    /// Silence has lasted until `now`, which is the deadline.
    pub fn silence(&self, now: Micros, wanted: Harmony, place: Place, around: Around<'_>) -> End {
        match (self.played, wanted.fit(&self.keys)) {
            (None, _) => self.end(now, Outcome::OutOfTime, &tr!("not begun in time"), place, around),
            (_, Fit::Whole) => self.end(now, Outcome::Held, "", place, around),
            _ => self.end(now, Outcome::Failed, &tr!("not all of it, or not on its root"), place, around),
        }
    }

    /// Ends the answer. Only a harmony that is right has a first right onset.
    pub fn end(&self, at: Micros, outcome: Outcome, why: &str, place: Place, around: Around<'_>) -> End {
        let score = &around.piece.score;
        let is_held = outcome == Outcome::Held;
        let is_slip = outcome == Outcome::Failed;
        let happening = || Happening { at, kind: Fault::Wrong.word(), place: place.text(score), hand: Some("left"), setting: None };
        End {
            at,
            outcome,
            first_right: self.played.map(|p| p.0).filter(|_| is_held),
            words: if is_held { String::new() } else { format!("{}, {}: {why}", place.words(score), Hand::Left.words()) },
            happenings: is_slip.then(happening).into_iter().collect(),
            take: self.take.clone(),
            went_to: None,
            n_notes_between: None,
        }
    }
}
