//! One question: its place, what is to be played, and what the screen says.

use super::harmony::Harmony;
use crate::follower::OnsetIdx;
use crate::journal::entry::QuestionKind;
use crate::piece::{Piece, Section};
use crate::practice::span::Span;
use crate::score::Place;
use crate::time::{Micros, ScoreTime, Tempo};

/// What kind of place a question is about; the mix of a quiz is told by this.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Source {
    /// The start of a section, or a landmark.
    Start,
    Switch,
    /// The bar after one that failed, and where levers or pedals move.
    Spot,
    /// Any bar.
    Bar,
}

/// One thing that can be asked.
#[derive(Clone, Debug)]
pub struct Question {
    pub kind: QuestionKind,
    pub source: Source,
    /// Where the answer begins; for a switch the exit asked for.
    pub place: Place,
    /// The place as the journal has it, `bar.beat`.
    pub text: String,
    /// What the player calls it.
    pub name: String,
    /// Index of its bar in the playing order of the whole piece.
    pub played_bar: usize,
    /// What stands large on the screen, and what is said about it below.
    pub large: String,
    pub small: Vec<String>,
    /// The player's own words for what comes there, to check an answer that nobody heard.
    pub check: String,
    pub wanted: Wanted,
}

/// What is to be played.
#[derive(Clone, Debug)]
pub enum Wanted {
    Passage(Passage),
    /// One exit of a switch; the others begin alike.
    Exit {
        asked: Exit,
        others: Vec<Exit>,
    },
    Harmony(Harmony),
}

/// A run of the piece from a place on.
#[derive(Clone, Debug)]
pub struct Passage {
    pub span: Span,
    /// Where in the span the playing begins.
    pub begin: OnsetIdx,
}

/// A lead-in and the way out of it.
#[derive(Clone, Debug)]
pub struct Exit {
    pub passage: Passage,
    /// The first onset that its look-alikes do not have.
    pub parting: OnsetIdx,
    pub place: Place,
}

impl Question {
    pub fn passage(&self) -> Option<&Passage> {
        match &self.wanted {
            Wanted::Passage(passage) => Some(passage),
            Wanted::Exit { asked, .. } => Some(&asked.passage),
            Wanted::Harmony(_) => None,
        }
    }

    /// Returns all spans that are listened to for it.
    pub fn spans_mut(&mut self) -> impl Iterator<Item = &mut Span> {
        let (passage, exits) = match &mut self.wanted {
            Wanted::Passage(passage) => (Some(passage), [].iter_mut()),
            Wanted::Exit { asked, others } => (Some(&mut asked.passage), others.iter_mut()),
            Wanted::Harmony(_) => (None, [].iter_mut()),
        };
        passage.into_iter().chain(exits.map(|exit: &mut Exit| &mut exit.passage)).map(|passage| &mut passage.span)
    }

    /// Returns what is said to ask it; of a jump, where its run begins is asked first.
    pub fn asked_words(&self, kind: QuestionKind) -> String {
        let kind = if kind == QuestionKind::Jump { until_called() } else { kind_words(kind) };
        tr!("{kind}: {large}; {small}", kind, large = self.large, small = self.small.join(", "))
    }

    /// Returns what is said to call its landmark in the middle of playing: nothing but where to go.
    pub fn called_words(&self) -> String {
        tr!("go {where}", where = self.large)
    }

    /// Returns the place in playing order, for telling what stands before what.
    pub fn order(&self) -> (usize, Place) {
        (self.played_bar, self.place)
    }
}

impl Passage {
    /// Returns how long it lasts in its tempo.
    pub fn length(&self) -> Micros {
        let line = &self.span.line;
        self.lasts(line.total - line.onset(self.begin).at)
    }

    /// Returns how long some of it lasts in its tempo.
    pub fn lasts(&self, quarters: ScoreTime) -> Micros {
        self.span.line.tempo.unwrap_or(Tempo::USUAL).duration(quarters)
    }
}

/// Leaves out the switches one of whose sides lies in a section that is not known: contrasting what was learned on the same day
/// confuses it (Allen 2013, Psychol. of Music).
pub fn keep_switches(questions: &mut Vec<Question>, piece: &Piece, is_known: impl Fn(&Section) -> bool) {
    let is_known_at = |place: Place| piece.sections.iter().filter(|s| (s.bars.start..s.bars.end).contains(&place.bar)).all(&is_known);
    questions.retain(|question| match &question.wanted {
        Wanted::Exit { asked, others } => is_known_at(asked.place) && others.iter().all(|other| is_known_at(other.place)),
        Wanted::Passage(_) | Wanted::Harmony(_) => true,
    });
}

/// What the run before a jump is called.
pub fn until_called() -> String {
    tr!("play until you are called away")
}

/// Returns the name of a kind of question, as a heading.
pub fn kind_words(kind: QuestionKind) -> String {
    match kind {
        QuestionKind::ColdStart => tr!("cold start"),
        QuestionKind::GoOn => tr!("go on"),
        QuestionKind::WhatNext => tr!("what comes next"),
        QuestionKind::Switch => tr!("switch"),
        QuestionKind::Jump => tr!("jump"),
        QuestionKind::Change => tr!("what moves"),
    }
}
