//! The timed quiz: one question after the other, each with its own clock, until the minutes are over.
//!
//! [`questions`] lays out what can be asked of a piece, [`Quiz`] asks it and hears the answers, or is told them where
//! there is no instrument. Order and choice come from a seed and from [`Doubt`]; nothing played is ever named.

mod account;
mod asking;
mod bank;
mod chord_ear;
mod config;
mod doubt;
mod ears;
mod harmony;
mod hearing;
mod jump;
mod order;
mod phase;
mod question;
mod shown;
mod steer;

pub use bank::questions;
pub use config::QuizConfig;
pub use doubt::{Doubt, JournalDoubt, TodaysDoubt};
pub use harmony::{Fit, Harmony};
pub use order::{Deck, Mix};
pub use question::{Exit, Passage, Question, Source, Wanted, keep_switches, kind_words, until_called};

use std::sync::Arc;

use super::config::PracticeConfig;
use super::habits::Learned;
use super::view::View;
use super::{Command, Input, Machine, Output};
use crate::journal::entry::{Answer, Entry, Mode, Outcome, QuestionKind, Witness};
use crate::language::tenths;
use crate::midi::MidiEvent;
use crate::piece::Piece;
use crate::score::Place;
use crate::time::{Micros, Stamped};

use account::Answered;
use asking::{Asking, Ear};
use hearing::{Around, End};
use phase::{Phase, Told};

/// An outcome stands until the player has been silent for so long, up to the most.
const HUSH: Micros = Micros(800_000);
const GLANCE_MAX: Micros = Micros(6_000_000);
/// An answer that is not marked for so long is dropped.
const MARK: Micros = Micros(60_000_000);
pub struct Quiz {
    piece: Arc<Piece>,
    practice: PracticeConfig,
    config: QuizConfig,
    questions: Vec<Question>,
    deck: Deck,
    phase: Phase,
    now: Micros,
    last_note: Option<Micros>,
    ends: Option<Micros>,
    n_asked: u32,
    answers: Vec<Answered>,
    /// Its length in words.
    length_words: String,
    /// What is known of the player's timing, and which questions have been taught it.
    learned: Learned,
    is_taught: Vec<bool>,
}

impl Quiz {
    /// Starts a quiz over `questions`; `None` when there are none.
    pub fn try_new(
        piece: Arc<Piece>,
        questions: Vec<Question>,
        doubt: &dyn Doubt,
        practice: PracticeConfig,
        config: QuizConfig,
    ) -> Option<Self> {
        let deck = Deck::new(&questions, doubt, config.mix, config.seed);
        let minutes = usize::try_from(config.length.0 / 60_000_000).unwrap_or(0);
        let is_taught = vec![false; questions.len()];
        (!questions.is_empty()).then(|| Quiz {
            piece,
            practice,
            questions,
            deck,
            phase: Phase::Ready,
            now: Micros::ZERO,
            last_note: None,
            ends: None,
            n_asked: 0,
            answers: Vec::new(),
            length_words: tr!("1 minute" | "{n} minutes" % minutes),
            learned: Learned::default(),
            is_taught,
            config,
        })
    }

    /// Takes what is known of the player's timing: their breaths are then no hesitations here either.
    #[must_use]
    pub fn with_learned(mut self, learned: Learned) -> Self {
        self.learned = learned;
        self
    }

    /// Returns the question that stands and when it was asked; for a jump, the start of the run until the landmark is called.
    pub fn standing(&self) -> Option<(&Question, Micros)> {
        let (Phase::Asked(asking) | Phase::Mark { asking, .. }) = &self.phase else { return None };
        let (question, asked) = asking.subject();
        Some((&self.questions[question], asked))
    }

    /// Returns what is to be played now, where it is a passage.
    pub fn passage(&self) -> Option<&Passage> {
        let Phase::Asked(asking) = &self.phase else { return None };
        match &asking.ear {
            Ear::Jump(_, ear) if ear.called().is_none() => Some(ear.run()),
            _ => self.questions[asking.question].passage(),
        }
    }

    /// Returns when the quiz is over, once it has begun; an answer begun by then is heard to its end.
    pub fn ends(&self) -> Option<Micros> {
        self.ends
    }

    fn around(&self) -> Around<'_> {
        Around { piece: &self.piece, practice: &self.practice, config: &self.config }
    }

    fn begin(&mut self, at: Micros) {
        self.ends = Some(at + self.config.length);
        self.phase = Phase::Between { since: at, told: None };
    }

    /// Asks the next question, while there is time for one.
    fn ask(&mut self, at: Micros, out: &mut Vec<Output>) {
        let before = self.deck.last_places().to_vec();
        let is_over = self.ends.is_some_and(|ends| at >= ends);
        let Some(question) = self.deck.draw(&self.questions).filter(|_| !is_over) else { return self.finish(out) };
        let (question, ear) = self.ear(question, at, &before);
        let asking = Asking { question, asked: at, ear };
        let (subject, _) = asking.subject();
        out.push(Output::Asked { at, words: self.questions[subject].asked_words(self.questions[question].kind) });
        self.phase = Phase::Asked(asking);
    }

    /// Lets the answer in progress take something in; what ends it is written down.
    fn answer(
        &mut self,
        out: &mut Vec<Output>,
        take_in: impl FnOnce(&mut Asking, &[Question], Around<'_>, &mut Vec<Output>) -> Option<End>,
    ) {
        let around = Around { piece: &self.piece, practice: &self.practice, config: &self.config };
        let Phase::Asked(asking) = &mut self.phase else { return };
        let Some(end) = take_in(asking, &self.questions, around, out) else { return };
        let is_open = end.outcome == Outcome::Held && self.questions[asking.question].kind == QuestionKind::Change && asking.is_in_doubt();
        if is_open && let Phase::Asked(asking) = std::mem::replace(&mut self.phase, Phase::Ready) {
            // All strings were right, and how they were set was not to be heard: the player knows.
            self.phase = Phase::Mark { asking, had: end.first_right.unwrap_or(end.at), since: end.at, take: end.take };
            return;
        }
        self.answered(end, out);
    }

    fn midi(&mut self, stamped: Stamped<MidiEvent>, out: &mut Vec<Output>) {
        if matches!(stamped.what, MidiEvent::NoteOn { .. }) {
            self.last_note = Some(stamped.at);
            if matches!(self.phase, Phase::Ready) {
                return self.begin(stamped.at);
            }
        }
        self.answer(out, |asking, questions, around, out| asking.midi(stamped, questions, around, out));
    }

    fn timer(&mut self, due: Micros, out: &mut Vec<Output>) {
        match &self.phase {
            Phase::Between { .. } | Phase::Mark { .. } => self.ask(due, out),
            Phase::Asked(asking) if !asking.has_begun() && self.ends.is_some_and(|ends| due >= ends) => self.finish(out),
            Phase::Asked(asking) => {
                let was_called = asking.is_called();
                self.answer(out, |asking, questions, around, out| asking.silence(due, questions, around, out));
                if let Phase::Asked(asking) = &self.phase
                    && asking.is_called() != was_called
                {
                    out.push(Output::Called { at: due, words: self.questions[asking.question].called_words() });
                }
            }
            Phase::Ready | Phase::Paused { .. } | Phase::Finished { .. } => {}
        }
    }

    /// Writes an answer down and shows what it was.
    fn answered(&mut self, end: End, out: &mut Vec<Output>) {
        let (Phase::Asked(asking) | Phase::Mark { asking, .. }) = &self.phase else { return };
        let (idx, asked) = asking.subject();
        let question = &self.questions[idx];
        let is_told = asking.is_told() || matches!(self.phase, Phase::Mark { .. });
        let recall = end.first_right.map(|first| first - asked);
        let bar = |place: Place| tr!("bar {bar}", bar = self.piece.score.bar(place.bar).label);
        self.answers.push(Answered {
            number: self.n_asked,
            kind: question.kind,
            name: question.name.clone(),
            outcome: end.outcome,
            recall,
            confused: end.went_to.map(|to| (bar(question.place), bar(to))),
        });
        let is_held = end.outcome == Outcome::Held;
        let (large, small) = if is_held {
            let between = end.n_notes_between.map(|n| tr!("1 note between" | "{n} notes between" % n));
            let large = recall.map_or_else(|| tr!("held"), |r| tr!("held, {seconds} s", seconds = tenths(r.secs_f64())));
            (large, between.unwrap_or_else(|| question.name.clone()))
        } else {
            let (place, why) = end.words.split_once(": ").unwrap_or((&end.words, ""));
            (tr!("look: {place}", place = place.trim_end()), why.to_owned())
        };
        self.deck.answered(idx, end.outcome, recall);
        let at = end.at;
        self.record(idx, asked, if is_told { Witness::Told } else { Witness::Heard }, end, out);
        self.phase = Phase::Between { since: at, told: Some(Told { is_held, large, small }) };
    }

    fn record(&mut self, question: usize, asked: Micros, witness: Witness, end: End, out: &mut Vec<Output>) {
        let Question { kind, text, .. } = &self.questions[question];
        out.push(Output::Record(Entry::Answer(Answer {
            number: self.n_asked,
            kind: *kind,
            place: text.clone(),
            asked,
            first_right: end.first_right,
            ended: end.at,
            outcome: end.outcome,
            witness,
            n_notes_between: end.n_notes_between,
            happenings: end.happenings,
            take: end.take,
        })));
        self.n_asked += 1;
    }

    fn finish(&mut self, out: &mut Vec<Output>) {
        self.phase = Phase::Finished { account: account::lines(&self.answers) };
        out.push(Output::Finished { at: self.now });
    }
}

impl Machine for Quiz {
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        let is_timer = matches!(input.what, Input::Deadline);
        while let Some(due) = self.next_deadline().filter(|d| *d < input.at || (is_timer && *d <= input.at)) {
            self.now = self.now.max(due);
            self.timer(due, out);
        }
        // A note that arrives late keeps its own time, but goes before no other.
        let at = match input.what {
            Input::Midi(_) => self.last_note.map_or(input.at, |last| input.at.max(last)),
            _ => input.at,
        };
        self.now = self.now.max(at);
        match input.what {
            Input::Midi(event) => self.midi(Stamped { at, what: event }, out),
            Input::Command(command) => self.command(command, out),
            Input::Gone => self.instrument_gone(out),
            Input::Deadline | Input::Story(_) => {}
        }
    }

    fn next_deadline(&self) -> Option<Micros> {
        match &self.phase {
            Phase::Asked(asking) => {
                let own = asking.deadline(&self.questions, self.around());
                Some(if asking.has_begun() { own } else { self.ends.map_or(own, |ends| ends.min(own)) })
            }
            Phase::Mark { since, .. } => Some(*since + MARK),
            Phase::Between { since, .. } => {
                let hush = self.last_note.map_or(*since, |last| last + HUSH);
                Some((*since + self.config.glance).max(hush).min(*since + GLANCE_MAX))
            }
            Phase::Ready | Phase::Paused { .. } | Phase::Finished { .. } => None,
        }
    }

    fn view(&self) -> View<'_> {
        let n = |n: usize| u8::try_from(n).unwrap_or(u8::MAX);
        View {
            piece: &self.piece.title,
            mode: Mode::Drill,
            span: "quiz",
            span_idx: 0,
            n_spans: 0,
            bars: &[],
            bar: None,
            look_bar: None,
            n_clean: n(self.answers.iter().filter(|a| a.outcome == Outcome::Held).count()),
            target: n(self.answers.len()),
            verdicts: &[],
            seams: &[],
            ask: None,
            stage: self.stage(),
        }
    }
}
