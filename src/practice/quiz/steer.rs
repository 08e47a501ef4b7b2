//! What the player asks for in a quiz, and their word on an answer.

use super::hearing::End;
use super::phase::{Phase, Told};
use super::{Command, Output, Quiz};
use crate::journal::entry::{Entry, GONE, Outcome, Verdict, Witness};
use crate::midi::Take;
use crate::practice::judge::Fault;
use crate::time::Micros;

impl Quiz {
    pub(super) fn command(&mut self, command: Command, out: &mut Vec<Output>) {
        let now = self.now;
        match (command, &self.phase) {
            (_, Phase::Finished { .. }) => {}
            (Command::Pause | Command::Start, Phase::Ready) => self.begin(now),
            (Command::Start, Phase::Paused { .. }) => self.command(Command::Pause, out),
            (Command::Start, Phase::Between { .. }) => self.ask(now, out),
            // In a pause, what is next is what comes after the quiz.
            (Command::Skip, Phase::Paused { .. }) => self.finish(out),
            (Command::Pause, Phase::Mark { .. }) => {}
            // Without an instrument the same key goes on, so that one pressed once too often stops nothing.
            (Command::Pause, Phase::Between { .. }) if self.config.is_told => self.ask(now, out),
            (Command::Pause, Phase::Asked(asking)) if self.is_told(asking.question) => self.had(now),
            (Command::Overrule(verdict), Phase::Mark { asking, had, take, .. }) => {
                let outcome = if verdict == Verdict::Clean { Outcome::Held } else { Outcome::Failed };
                let end = asking.told(now, outcome, &tr!("it did not hold"), &self.questions, &self.piece);
                self.answered(End { first_right: Some(*had), take: take.clone(), ..end }, out);
            }
            (Command::Overrule(verdict), Phase::Between { .. }) => self.overrule(verdict, out),
            // What nobody hears is marked after it is had, and so a mark before that may mean the question that stands.
            (Command::Overrule(verdict), Phase::Asked(asking)) if !self.is_told(asking.question) && !asking.has_begun() => {
                self.overrule(verdict, out);
            }
            (Command::Pause, Phase::Paused { since }) => {
                let gone = now - *since;
                self.ends = self.ends.map(|ends| ends + gone);
                self.phase = Phase::Between { since: now, told: None };
            }
            (Command::Pause, _) => {
                self.leave(out);
                self.phase = Phase::Paused { since: now };
            }
            (Command::Skip, Phase::Asked(asking)) if asking.has_begun() => self.leave(out),
            (Command::Skip, Phase::Asked(asking)) => {
                let end = asking.told(now, Outcome::Failed, &tr!("passed over"), &self.questions, &self.piece);
                self.answered(end, out);
            }
            (Command::Skip, Phase::Between { .. }) => self.ask(now, out),
            (Command::Quit, _) => {
                self.leave(out);
                self.finish(out);
            }
            _ => {}
        }
    }

    /// The player's word on the last answer goes before what was heard.
    fn overrule(&mut self, verdict: Verdict, out: &mut Vec<Output>) {
        let is_held = verdict == Verdict::Clean;
        let outcome = if is_held { Outcome::Held } else { Outcome::Failed };
        let Some(answer) = self.answers.last_mut().filter(|answer| (answer.outcome == Outcome::Held) != is_held) else { return };
        answer.outcome = outcome;
        answer.confused = None;
        self.deck.overruled(outcome, answer.recall);
        let (now, number) = (self.now, answer.number);
        out.push(Output::Record(Entry::AnswerOverruled { answer: number, outcome, at: now }));
        if let Phase::Between { since, told: Some(told) } = &mut self.phase {
            let large = if is_held { tr!("held") } else { tr!("did not hold") };
            *told = Told { is_held, large, small: tr!("{name}, as you say", name = answer.name) };
            *since = now;
        }
    }

    /// The player has the answer, and nobody heard it. Before its call a jump has none.
    fn had(&mut self, now: Micros) {
        match std::mem::replace(&mut self.phase, Phase::Ready) {
            Phase::Asked(asking) if asking.is_called() => self.phase = Phase::Mark { asking, had: now, since: now, take: Take::default() },
            other => self.phase = other,
        }
    }

    /// The instrument went away under an answer: what was heard of it is kept and counts for nothing, and the quiz waits.
    pub(super) fn instrument_gone(&mut self, out: &mut Vec<Output>) {
        let now = self.now;
        let Phase::Asked(asking) = &self.phase else { return };
        if self.is_told(asking.question) {
            return;
        }
        if let Some(end) = asking.left(now, GONE, &self.questions, self.around()) {
            let (question, asked) = asking.subject();
            self.record(question, asked, Witness::Heard, end, out);
        }
        self.phase = Phase::Paused { since: now };
    }

    /// Writes down an answer that is left before its end; a question that nothing was played to is forgotten.
    fn leave(&mut self, out: &mut Vec<Output>) {
        let now = self.now;
        self.answer(out, |asking, questions, around, _| asking.left(now, Fault::Abandoned.word(), questions, around));
    }
}
