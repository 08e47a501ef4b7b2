//! A question that stands, and the ears for its answer.

use super::chord_ear::ChordEar;
use super::hearing::{Around, End, PassageEar, TOO_SOON, Task};
use super::jump::JumpEar;
use super::question::{Question, Wanted};
use crate::journal::entry::{Happening, Outcome};
use crate::midi::{MidiEvent, Take};
use crate::piece::Piece;
use crate::practice::Output;
use crate::time::{Micros, Stamped};

/// Where nothing is heard, an answer is made up whole before it is told: it has this many times as long as a first note.
const TOLD_TIMES: i64 = 2;

pub struct Asking {
    /// Index into the questions; for a jump that of the landmark.
    pub question: usize,
    pub asked: Micros,
    pub ear: Ear,
}

pub enum Ear {
    Passage(Box<PassageEar>),
    Chord(Box<ChordEar>),
    /// The question that the run begins at, and its ears.
    Jump(usize, Box<JumpEar>),
    /// Nothing is heard. For a jump: the start, when the landmark is called, and whether it has been.
    Told {
        jump: Option<(usize, Micros, bool)>,
    },
}

impl Asking {
    /// Returns the question that an answer now would answer, and when it was asked: before its call, a jump is a cold start.
    pub fn subject(&self) -> (usize, Micros) {
        match &self.ear {
            Ear::Jump(from, ear) => ear.called().map_or((*from, self.asked), |at| (self.question, at)),
            Ear::Told { jump: Some((from, _, false)) } => (*from, self.asked),
            Ear::Told { jump: Some((_, call, true)) } => (self.question, *call),
            Ear::Passage(_) | Ear::Chord(_) | Ear::Told { jump: None } => (self.question, self.asked),
        }
    }

    /// Tells whether anything has been played to it.
    pub fn has_begun(&self) -> bool {
        match &self.ear {
            Ear::Passage(ear) => ear.has_begun(),
            Ear::Chord(ear) => ear.has_begun(),
            Ear::Jump(_, ear) => ear.has_begun(),
            Ear::Told { .. } => false,
        }
    }

    /// Tells whether the player is to say how it went.
    pub fn is_told(&self) -> bool {
        matches!(self.ear, Ear::Told { .. })
    }

    /// Tells whether a string was heard by its name alone, so that it is not known how it was set.
    pub fn is_in_doubt(&self) -> bool {
        matches!(&self.ear, Ear::Passage(ear) if ear.attempt().is_setting_in_doubt())
    }

    /// Tells whether it is all said: no call is to come.
    pub fn is_called(&self) -> bool {
        match &self.ear {
            Ear::Jump(_, ear) => ear.called().is_some(),
            Ear::Told { jump: Some((.., is_called)) } => *is_called,
            Ear::Passage(_) | Ear::Chord(_) | Ear::Told { jump: None } => true,
        }
    }

    pub fn midi(&mut self, event: Stamped<MidiEvent>, questions: &[Question], around: Around<'_>, out: &mut Vec<Output>) -> Option<End> {
        match &mut self.ear {
            Ear::Passage(ear) => ear.record(event),
            Ear::Chord(ear) => ear.record(event),
            Ear::Jump(_, ear) => ear.record(event),
            Ear::Told { .. } => {}
        }
        let MidiEvent::NoteOn { key, velocity, .. } = event.what else { return None };
        if event.at - self.asked < TOO_SOON {
            return None;
        }
        let question = &questions[self.question];
        match (&mut self.ear, &question.wanted) {
            (Ear::Passage(ear), _) => ear.note(event.at, key, velocity, Task::of(question, around)?, out),
            (Ear::Jump(_, ear), _) => ear.note(event.at, key, velocity, Task::of(question, around)?, out),
            (Ear::Chord(ear), Wanted::Harmony(wanted)) => ear.note(event.at, key, velocity, *wanted, question.place, around),
            _ => None,
        }
    }

    /// Returns when silence, or its own clock, is next to be looked at.
    pub fn deadline(&self, questions: &[Question], around: Around<'_>) -> Micros {
        let question = &questions[self.question];
        let (_, asked) = self.subject();
        let plain = asked + around.config.first_onset;
        match (&self.ear, &question.wanted) {
            (Ear::Passage(ear), _) => Task::of(question, around).map_or(plain, |task| ear.deadline(task)),
            (Ear::Jump(_, ear), _) => Task::of(question, around).map_or(plain, |task| ear.deadline(task)),
            (Ear::Chord(ear), Wanted::Harmony(wanted)) => ear.deadline(*wanted, around),
            (Ear::Told { jump: Some((_, call, false)) }, _) => *call,
            (Ear::Told { .. }, _) => asked + Micros(TOLD_TIMES * around.config.first_onset.0),
            (Ear::Chord(_), _) => plain,
        }
    }

    /// Silence has lasted until `now`, which is the deadline.
    pub fn silence(&mut self, now: Micros, questions: &[Question], around: Around<'_>, out: &mut Vec<Output>) -> Option<End> {
        let question = &questions[self.question];
        match (&mut self.ear, &question.wanted) {
            (Ear::Passage(ear), _) => ear.silence(now, Task::of(question, around)?, out),
            (Ear::Jump(_, ear), _) => ear.silence(now, Task::of(question, around)?, out),
            (Ear::Chord(ear), Wanted::Harmony(wanted)) => Some(ear.silence(now, *wanted, question.place, around)),
            (Ear::Told { jump: Some((_, call, is_called)) }, _) if !*is_called && *call <= now => {
                *is_called = true;
                None
            }
            _ => Some(self.told(now, Outcome::OutOfTime, &tr!("not had in time"), questions, around.piece)),
        }
    }

    /// Ends an answer in progress that is left, noting the word for why: it ran out of time. Nothing where nothing has been played.
    pub fn left(&self, now: Micros, why: &'static str, questions: &[Question], around: Around<'_>) -> Option<End> {
        let question = &questions[self.question];
        let mut end = match &self.ear {
            _ if !self.has_begun() => return None,
            Ear::Passage(ear) => ear.end(now, Outcome::OutOfTime, Task::of(question, around)?),
            Ear::Jump(_, ear) => ear.left(now, Task::of(question, around)?),
            Ear::Chord(ear) => ear.end(now, Outcome::OutOfTime, &tr!("left"), question.place, around),
            Ear::Told { .. } => return None,
        };
        let place = questions[self.subject().0].text.clone();
        end.happenings.push(Happening { at: now, kind: why, place, hand: None, setting: None });
        Some(end)
    }

    /// Ends an answer that nothing was heard of; `why` is what is said when it did not hold.
    pub fn told(&self, at: Micros, outcome: Outcome, why: &str, questions: &[Question], piece: &Piece) -> End {
        let place = questions[self.subject().0].place.words(&piece.score);
        let words = if outcome == Outcome::Held { String::new() } else { tr!("{place}: {why}", place, why) };
        End { at, outcome, first_right: None, words, happenings: Vec::new(), take: Take::default(), went_to: None, n_notes_between: None }
    }
}
