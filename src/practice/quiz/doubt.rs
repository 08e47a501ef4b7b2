//! How unsure each thing that can be asked is: what weights the choice of questions.

use std::collections::HashMap;

use crate::journal::entry::{Outcome, QuestionKind, Verdict};
use crate::journal::stats::{DatedAnswer, DatedRep};
use crate::memory::doubt::MemoryDoubt;
use crate::time::Micros;

/// Whoever knows how well something is remembered.
pub trait Doubt {
    /// Returns the doubt that a question of this kind about a place (`bar.beat`) would hold, `0.0..=1.0`; 1 for what was
    /// never asked.
    fn doubt(&self, kind: QuestionKind, place: &str) -> f64;
}

/// After a failure; and what one held answer leaves of the doubt, down to the least.
const FAILED: f64 = 0.9;
const HELD_KEEPS: f64 = 0.5;
const LEAST: f64 = 0.05;
/// A place of a bar that failed in one of the last reps; so many of them count as late.
const BAR_FAILED: f64 = 0.8;
const N_REPS_LATELY: usize = 20;
/// An answer that was this long in coming held only just (a start is given 5 s).
const SLOW: Micros = Micros(3_000_000);

/// Doubt by the memory model, which knows how memory fades with days; by the journal alone where the question asks for nothing
/// that a memory is kept of (one harmony, a bar where nothing begins).
pub struct TodaysDoubt<'a> {
    pub memory: Option<MemoryDoubt<'a>>,
    pub journal: JournalDoubt,
}

impl Doubt for TodaysDoubt<'_> {
    fn doubt(&self, kind: QuestionKind, place: &str) -> f64 {
        let remembered = self.memory.as_ref().and_then(|memory| memory.of(kind, place));
        remembered.unwrap_or_else(|| self.journal.doubt(kind, place))
    }
}

/// Doubt as far as the journal tells it: what was never asked or failed lately is doubtful, what held again and again is not.
/// How memory fades with days is not in it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct JournalDoubt {
    asked: HashMap<(QuestionKind, String), f64>,
    /// Printed labels of bars that failed in late reps.
    bars: Vec<String>,
}

impl JournalDoubt {
    /// Reads answers and reps, each oldest first.
    pub fn new(answers: &[DatedAnswer], reps: &[DatedRep]) -> Self {
        let mut asked: HashMap<(QuestionKind, String), f64> = HashMap::new();
        for answer in answers {
            let doubt = asked.entry((answer.kind, answer.place.clone())).or_insert(1.0);
            *doubt = after(*doubt, answer.outcome, answer.recall);
        }
        let late = reps.iter().rev().take(N_REPS_LATELY).filter(|r| r.verdict == Verdict::Broken);
        let bars = late.filter_map(|r| r.failed.as_ref()).map(|(place, _)| bar_label(place).to_owned()).collect();
        JournalDoubt { asked, bars }
    }
}

impl Doubt for JournalDoubt {
    fn doubt(&self, kind: QuestionKind, place: &str) -> f64 {
        let asked = self.asked.get(&(kind, place.to_owned())).copied().unwrap_or(1.0);
        if self.bars.iter().any(|bar| bar == bar_label(place)) { asked.max(BAR_FAILED) } else { asked }
    }
}

/// Returns the doubt that is left after an answer.
pub fn after(doubt: f64, outcome: Outcome, recall: Option<Micros>) -> f64 {
    match outcome {
        Outcome::Held if recall.is_some_and(|r| r < SLOW) => (doubt * HELD_KEEPS).max(LEAST),
        Outcome::Held => doubt.min(FAILED),
        Outcome::Failed | Outcome::OutOfTime => doubt.max(FAILED),
    }
}

fn bar_label(place: &str) -> &str {
    place.rsplit_once('.').map_or(place, |(bar, _)| bar)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::entry::Witness;

    fn answer(place: &str, outcome: Outcome, recall_ms: i64) -> DatedAnswer {
        DatedAnswer {
            at: "2026-03-02T09:00:00+01:00".parse().unwrap(),
            kind: QuestionKind::ColdStart,
            place: place.into(),
            recall: Some(Micros::from_millis(recall_ms)),
            length: Micros::from_millis(8_000),
            outcome,
            witness: Witness::Heard,
            n_notes_between: None,
        }
    }

    #[test]
    fn what_held_again_and_again_is_asked_least() {
        let answers = [
            answer("5.1", Outcome::Held, 1_000),
            answer("5.1", Outcome::Held, 1_000),
            answer("9.1", Outcome::Held, 1_000),
            answer("13.1", Outcome::Held, 1_000),
            answer("13.1", Outcome::Failed, 1_000),
            answer("17.1", Outcome::Held, 4_000),
        ];
        let doubt = JournalDoubt::new(&answers, &[]);
        let of = |place| doubt.doubt(QuestionKind::ColdStart, place);
        assert_eq!([of("5.1"), of("9.1"), of("13.1"), of("17.1"), of("1.1")], [0.25, 0.5, 0.9, 0.9, 1.0]);
        assert_eq!(doubt.doubt(QuestionKind::Jump, "5.1"), 1.0, "another question about the same place");
    }
}
