//! Making ready to hear an answer: what a question wants, taught the player's timing, and whether it is heard or told.

use super::asking::Ear;
use super::chord_ear::ChordEar;
use super::hearing::{Around, PassageEar, Task};
use super::jump::{JumpEar, N_BARS_OF_RUN};
use super::{Quiz, bank};
use crate::journal::entry::QuestionKind;
use crate::midi::Matching;
use crate::score::Place;
use crate::time::Micros;

/// Where nothing is heard, a landmark is called this long after the start, and up to as much again later.
const CALL: Micros = Micros(4_000_000);

impl Quiz {
    /// Teaches what a question asks for the player's timing, once it is asked: most of a piece is not asked in one session.
    fn teach(&mut self, question: usize) {
        if !std::mem::replace(&mut self.is_taught[question], true) {
            self.questions[question].spans_mut().for_each(|span| self.learned.teach(span));
        }
    }

    /// Makes ready to hear an answer. A landmark that there is no run towards is asked for as a cold start.
    pub(super) fn ear(&mut self, question: usize, at: Micros, before: &[Place]) -> (usize, Ear) {
        self.teach(question);
        if self.questions[question].kind != QuestionKind::Jump {
            return (question, self.plain_ear(question, at));
        }
        let jump = self.jump_ear(question, at, before);
        if let Some(ear) = jump {
            return (question, ear);
        }
        let place = self.questions[question].place;
        let cold = self.questions.iter().position(|q| q.kind == QuestionKind::ColdStart && q.place == place).unwrap_or(question);
        self.teach(cold);
        (cold, self.plain_ear(cold, at))
    }

    fn jump_ear(&mut self, question: usize, at: Micros, before: &[Place]) -> Option<Ear> {
        let from = self.deck.draw_start(&self.questions, question, N_BARS_OF_RUN, before)?;
        if self.config.is_told {
            let call = at + CALL + Micros(self.deck.below(CALL.0 as usize) as i64);
            return Some(Ear::Told { jump: Some((from, call, false)) });
        }
        let mut run = bank::run_from(&self.piece, &self.questions[from], N_BARS_OF_RUN)?;
        self.learned.teach(&mut run.span);
        let around = Around { piece: &self.piece, practice: &self.practice, config: &self.config };
        let deck = &mut self.deck;
        Some(Ear::Jump(from, Box::new(JumpEar::new(at, run, around, |n| deck.below(n))?)))
    }

    /// Tells whether the player says how the answer to a question went: always without an instrument, and of levers and pedals where the
    /// instrument sends strings, however they are set.
    pub(super) fn is_told(&self, question: usize) -> bool {
        let is_unheard = || matches!(self.piece.hearing.matching, Matching::Strings { .. });
        self.config.is_told || self.questions[question].kind == QuestionKind::Change && is_unheard()
    }

    fn plain_ear(&self, question: usize, at: Micros) -> Ear {
        match Task::of(&self.questions[question], self.around()) {
            _ if self.is_told(question) => Ear::Told { jump: None },
            Some(task) => Ear::Passage(Box::new(PassageEar::new(at, task))),
            None => Ear::Chord(Box::new(ChordEar::new(at, &self.piece.hearing))),
        }
    }
}
