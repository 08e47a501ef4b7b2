//! Hearing an answer: a passage from its place on, or one exit of a switch.

use super::QuizConfig;
use super::question::{Exit, Passage, Question, Wanted};
use crate::follower::{Begin, Heard, HeardNote, LineNoteIdx};
use crate::journal::entry::{Happening, Outcome, RepNumber};
use crate::midi::{MidiEvent, MidiKey, Take, Velocity};
use crate::piece::Piece;
use crate::practice::Output;
use crate::practice::config::PracticeConfig;
use crate::practice::judge::{Fault, Found};
use crate::practice::rep::{Attempt, Context};
use crate::score::Place;
use crate::time::{Micros, Stamped};

/// A hesitation that lasts this much longer is a stop, and ends the answer.
const STOP: Micros = Micros(2_000_000);
/// An answer may last twice as long as it is written, and this much more.
const SPARE: Micros = Micros(3_000_000);
/// So many notes running that have no place in the answer are no answer.
const N_ASTRAY: usize = 4;
/// So many right notes of another exit are a wrong turn, where fewer belong to the one asked for.
const N_PAST: usize = 3;
/// Nobody can read a question and strike in less: such a note was on its way already.
pub const TOO_SOON: Micros = Micros(200_000);

/// What an answer is heard with.
#[derive(Clone, Copy)]
pub struct Around<'a> {
    pub piece: &'a Piece,
    pub practice: &'a PracticeConfig,
    pub config: &'a QuizConfig,
}

/// What is to be heard.
#[derive(Clone, Copy)]
pub struct Task<'a> {
    pub passage: &'a Passage,
    /// For a switch the exit asked for, and the others.
    exit: Option<&'a Exit>,
    others: &'a [Exit],
    pub around: Around<'a>,
}

/// How an answer ended.
#[derive(Clone, PartialEq, Debug)]
pub struct End {
    pub at: Micros,
    pub outcome: Outcome,
    /// When the first right onset came.
    pub first_right: Option<Micros>,
    /// Where to look, and after a colon why; nothing after an answer that held.
    pub words: String,
    pub happenings: Vec<Happening>,
    pub take: Take,
    /// For a wrong turn: the other exit.
    pub went_to: Option<Place>,
    pub n_notes_between: Option<u32>,
}

/// An answer that is played as a passage.
pub struct PassageEar {
    asked: Micros,
    attempt: Attempt,
    /// What is played, heard as each of the other exits.
    others: Vec<Other>,
    /// Right notes from the parting on.
    n_past: usize,
    /// Which notes of the first onset were right, and whether anything came beside them.
    first_onset: Vec<LineNoteIdx>,
    is_blurred: bool,
    first_right: Option<Micros>,
    /// When a hesitation becomes a stop.
    stop: Option<Micros>,
    n_astray: usize,
}

/// What is played, heard as another exit than the one asked for.
struct Other {
    attempt: Attempt,
    n_past: usize,
    /// When the first of them came.
    since: Option<Micros>,
}

impl<'a> Task<'a> {
    /// Returns what a question asks to be played; `None` when that is no passage.
    pub fn of(question: &'a Question, around: Around<'a>) -> Option<Self> {
        match &question.wanted {
            Wanted::Passage(passage) => Some(Task::run(passage, around)),
            Wanted::Exit { asked, others } => Some(Task { passage: &asked.passage, exit: Some(asked), others, around }),
            Wanted::Harmony(_) => None,
        }
    }

    pub fn run(passage: &'a Passage, around: Around<'a>) -> Self {
        Task { passage, exit: None, others: &[], around }
    }

    pub fn context(&self) -> Context<'a> {
        context(self.passage, self.around)
    }
}

fn context<'a>(passage: &'a Passage, around: Around<'a>) -> Context<'a> {
    Context { piece: around.piece, span: &passage.span, config: around.practice }
}

impl PassageEar {
    pub fn new(asked: Micros, task: Task<'_>) -> Self {
        let hear = |p: &Passage| Attempt::new(&p.span, task.around.practice, Begin::At(p.begin));
        PassageEar {
            asked,
            attempt: hear(task.passage),
            others: task.others.iter().map(|e| Other { attempt: hear(&e.passage), n_past: 0, since: None }).collect(),
            n_past: 0,
            first_onset: Vec::new(),
            is_blurred: false,
            first_right: None,
            stop: None,
            n_astray: 0,
        }
    }

    pub fn has_begun(&self) -> bool {
        self.attempt.n_notes() > 0
    }

    pub fn attempt(&self) -> &Attempt {
        &self.attempt
    }

    pub fn record(&mut self, event: Stamped<MidiEvent>) {
        if self.has_begun() || matches!(event.what, MidiEvent::NoteOn { .. }) {
            self.attempt.record(event);
        }
    }

    pub fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, task: Task<'_>, out: &mut Vec<Output>) -> Option<End> {
        let heard = self.attempt.note(at, key, velocity, &task.context(), out);
        let mut unsaid = Vec::new();
        for (other, exit) in self.others.iter_mut().zip(task.others) {
            let heard = other.attempt.note(at, key, velocity, &context(&exit.passage, task.around), &mut unsaid);
            if is_past(&heard, exit, &exit.passage) {
                other.n_past += 1;
                other.since.get_or_insert(at);
            }
        }
        self.n_past += usize::from(task.exit.is_some_and(|exit| is_past(&heard, exit, task.passage)));
        self.stop = None;
        self.count_astray(at, &heard, task);
        self.check_beginning(at, &heard, task);
        if let (Some(exit), Some(_)) = (task.exit, self.went_to(N_PAST, task)) {
            self.attempt.judge.breaks(Found { at, fault: Fault::WrongTurn(None), onset: exit.parting, hand: None });
        }
        self.ended(at, task)
    }

    /// A first onset with something else in it has no place to be told from, and is no right beginning.
    fn check_beginning(&mut self, at: Micros, heard: &HeardNote, task: Task<'_>) {
        let line = &task.passage.span.line;
        let note = heard.note.filter(|_| heard.heard == Heard::Expected && !heard.position.lost);
        let Some(note) = note else {
            self.is_blurred |= !matches!(heard.heard, Heard::Ghost | Heard::Repeat);
            return;
        };
        self.first_right.get_or_insert(at);
        if line.note(note).onset <= task.passage.begin {
            return self.first_onset.push(note);
        }
        let outer = line.onset(task.passage.begin).notes.clone().filter(|n| line.notes[*n].is_outer);
        let missing = outer.map(LineNoteIdx).find(|n| !self.first_onset.contains(n));
        if let Some(note) = missing.filter(|_| self.is_blurred) {
            let hand = Some(line.note(note).hand);
            self.attempt.judge.breaks(Found { at, fault: Fault::Wrong, onset: task.passage.begin, hand });
        }
        self.is_blurred = false;
    }

    fn count_astray(&mut self, at: Micros, heard: &HeardNote, task: Task<'_>) {
        match heard.heard {
            Heard::Expected if !heard.position.lost => self.n_astray = 0,
            Heard::Ghost | Heard::Repeat => {}
            _ => self.n_astray += 1,
        }
        if self.n_astray >= N_ASTRAY {
            let onset = self.attempt.furthest().unwrap_or(task.passage.begin);
            self.attempt.judge.breaks(Found { at, fault: Fault::Wrong, onset, hand: None });
        }
    }

    fn ended(&self, now: Micros, task: Task<'_>) -> Option<End> {
        if self.attempt.judge.is_broken() {
            return Some(self.end(now, Outcome::Failed, task));
        }
        self.attempt.is_complete(now, &task.context()).then(|| self.end(now, Outcome::Held, task))
    }

    /// Returns when silence, or the question's own clock, is next to be looked at.
    pub fn deadline(&self, task: Task<'_>) -> Micros {
        let Some(first) = self.first_right else { return self.asked + task.around.config.first_onset };
        let length = task.passage.length();
        let heard = [self.attempt.deadline(&task.context()), self.stop].into_iter().flatten();
        heard.fold(first + length + length + SPARE, Micros::min)
    }

    /// Silence has lasted until `now`, which is the deadline.
    pub fn silence(&mut self, now: Micros, task: Task<'_>, out: &mut Vec<Output>) -> Option<End> {
        let listened = self.attempt.deadline(&task.context()).filter(|_| self.first_right.is_some());
        if listened.is_none_or(|due| due > now) {
            return Some(self.end(now, Outcome::OutOfTime, task));
        }
        let mark = out.len();
        self.attempt.silence(now, &task.context(), out);
        if out[mark..].iter().any(|o| matches!(o, Output::Hesitated { .. })) {
            self.stop = Some(now + STOP);
        }
        self.ended(now, task)
    }

    /// Ends the answer and says what it was.
    pub fn end(&self, at: Micros, outcome: Outcome, task: Task<'_>) -> End {
        let score = &task.around.piece.score;
        let span = &task.passage.span;
        let went = self.went_to(1, task).filter(|_| outcome != Outcome::Held);
        let outcome = if went.is_some() { Outcome::Failed } else { outcome };
        let went_to = went.map(|(place, _)| place);
        let (rep, _) = self.attempt.clone().end(RepNumber(0), at, &task.context());
        // The tempo is no matter of memory.
        let mut happenings: Vec<Happening> = rep.happenings.into_iter().filter(|h| h.kind != Fault::TooSlow.word()).collect();
        let words = match (outcome, went, task.exit) {
            (Outcome::Held, ..) => String::new(),
            (_, Some((to, since)), Some(exit)) => {
                // The notes that told of it were right ones, of the other way.
                happenings.retain(|h| h.at < since);
                happenings.push(Happening {
                    at,
                    kind: Fault::WrongTurn(None).word(),
                    place: exit.place.text(score),
                    hand: None,
                    setting: None,
                });
                tr!("{place}: that way belongs to bar {bar}", place = exit.place.words(score), bar = score.bar(to.bar).label)
            }
            _ if self.first_right.is_none() && outcome == Outcome::OutOfTime => {
                tr!("{place}: not begun in time", place = span.place(task.passage.begin).words(score))
            }
            _ => rep.reason.map_or_else(
                || tr!("{place}: a stop after it", place = span.place(self.attempt.furthest().unwrap_or(task.passage.begin)).words(score)),
                |reason| reason.words,
            ),
        };
        End { at, outcome, first_right: self.first_right, words, happenings, take: rep.take, went_to, n_notes_between: None }
    }

    /// Returns the exit that what was played belongs to and since when, when it is one of the others: at least `n_past` right notes
    /// there, and more than here.
    fn went_to(&self, n_past: usize, task: Task<'_>) -> Option<(Place, Micros)> {
        let is_there = |other: &Other| {
            let is_surer = self.attempt.judge.is_broken() || other.n_past > self.n_past;
            !other.attempt.judge.is_broken() && other.n_past >= n_past && is_surer && (n_past == 1 || other.n_past > self.n_past + 1)
        };
        let (other, exit) = self.others.iter().zip(task.others).find(|(other, _)| is_there(other))?;
        Some((exit.place, other.since?))
    }
}

/// Tells whether a note was a right one of the way out.
fn is_past(heard: &HeardNote, exit: &Exit, passage: &Passage) -> bool {
    let right = heard.note.filter(|_| heard.heard == Heard::Expected && !heard.position.lost);
    right.is_some_and(|note| passage.span.line.note(note).onset >= exit.parting)
}
