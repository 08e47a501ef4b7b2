//! Study: a piece read and put into words away from the instrument. Actions in, a [`View`] out.
//!
//! [`Study`] holds the text of the piece file as it is being edited, with every step before it, and
//! what analysis drafts. Every edit goes through `piece::edit`, so that comments stay; what is on
//! disk, and how it gets there, is the shell's.

mod history;
mod map;
mod sections;
mod story;
pub mod view;

#[cfg(test)]
mod tests;

pub use map::{Map, MapBar};
pub use story::Standing;
pub use view::{Room, View};

use std::collections::HashSet;
use std::ops::RangeInclusive;
use std::sync::Arc;

use crate::analysis::story::Line;
use crate::analysis::wording::Dialect;
use crate::analysis::{Analysis, StoryConfig, analyse};
use crate::piece::{self, Cue, Landmark, PieceFile, Section};
use crate::score::{BarIdx, Place, Score};
use crate::theory::Hand;
use crate::theory::harp::Harp;

use history::{History, Step};
use story::Entry;

/// What the player asks for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Action {
    Room(Room),
    NextRoom,
    Up,
    Down,
    /// A bar back, where bars are chosen.
    Left,
    Right,
    First,
    Last,
    /// Several lines up or down.
    PageUp,
    PageDown,
    /// Take the drafted line into the story.
    Accept,
    /// Take every drafted line of the section.
    AcceptSection,
    Drop,
    /// Put the line into these words.
    Reword(String),
    /// The fuller text; none when empty.
    RewordMore(String),
    /// A new line at a place (`5.1`, or `5.1 left`).
    Add {
        at: String,
        text: String,
    },
    /// Begin a new section at the bar.
    Split,
    MergeNext,
    Rename(String),
    /// Move the beginning of the section.
    StartEarlier,
    StartLater,
    /// Cut the piece as analysis proposes.
    TakeProposed,
    Undo,
    Redo,
    Dialect,
}

/// Why an action could not be done, or what it did: words for the player.
pub type Said = String;

/// Lines that a page moves by.
const PAGE: usize = 10;

/// A piece being studied.
pub struct Study {
    title: String,
    score: Arc<Score>,
    /// Name of the file, for messages.
    file_name: String,
    analysis: Analysis,
    config: StoryConfig,
    /// The player's own; none for a keyboard.
    harp: Option<Harp>,
    map: Map,
    history: History,
    /// The text as it was last saved.
    saved: String,
    // What follows from the text:
    sections: Vec<Section>,
    cues: Vec<Cue>,
    landmarks: Vec<Landmark>,
    /// The story as drafted for these sections.
    drafts: Vec<Line>,
    /// Every line ever drafted for a place, so that one is known again after sections moved or the dialect changed.
    known: HashSet<(Place, String)>,
    entries: Vec<Entry>,
    // Where the player is:
    room: Room,
    bar: usize,
    /// Index of the entry.
    line: usize,
}

/// What cannot be studied.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Piece(#[from] piece::Error),
    #[error("{}", tr!("the score has no such part"))]
    NoPart,
}

impl Study {
    /// Proposes sections of so many bars from now on.
    pub fn propose(&mut self, section_bars: &RangeInclusive<usize>) {
        self.analysis.cut(section_bars);
    }

    /// Begins with the text of a piece file and its score; `part` goes before the part that the file names.
    ///
    /// # Errors
    /// When the text is refused, or says things that are not in the score.
    pub fn try_new(text: &str, file_name: &str, score: Arc<Score>, part: Option<&str>, dialect: Option<Dialect>) -> Result<Study, Error> {
        let piece = PieceFile::parse(text, file_name)?.check(score.clone(), part)?;
        let analysis = analyse(&score, piece.part).ok_or(Error::NoPart)?;
        let mut config = StoryConfig::of(piece.instrument);
        if let Some(dialect) = dialect {
            config.dialect = dialect;
        }
        let map = Map::new(&analysis, &score);
        let mut study = Study {
            title: piece.title,
            score,
            file_name: file_name.to_owned(),
            analysis,
            config,
            harp: piece.harp,
            map,
            history: History::new(text),
            saved: text.to_owned(),
            sections: Vec::new(),
            cues: Vec::new(),
            landmarks: Vec::new(),
            drafts: Vec::new(),
            known: HashSet::new(),
            entries: Vec::new(),
            room: Room::Story,
            bar: 0,
            line: 0,
        };
        study.read()?;
        Ok(study)
    }

    /// Returns the text as it is now.
    pub fn text(&self) -> &str {
        &self.history.now().text
    }

    pub fn is_saved(&self) -> bool {
        self.text() == self.saved
    }

    /// The text is on disk. Where it differs from [`text`](Self::text), an edit made meanwhile elsewhere came in: it stays when earlier steps are undone.
    pub fn saved(&mut self, text: &str) {
        if text != self.text() {
            self.history.take_in(text, &self.file_name, &self.score);
            // What was saved was checked before it was written.
            let _ = self.read();
        }
        text.clone_into(&mut self.saved);
    }

    /// Does what the player asks for; what it says is for the player to read.
    ///
    /// # Errors
    /// When it cannot be done, with the reason; everything is then as before.
    pub fn act(&mut self, action: Action) -> Result<Option<Said>, Said> {
        match action {
            Action::Room(room) => self.enter(room),
            Action::NextRoom => self.enter(self.room.next()),
            Action::Up | Action::Down | Action::Left | Action::Right | Action::First | Action::Last | Action::PageUp | Action::PageDown => {
                self.go(&action);
            }
            Action::Accept => return self.accept(),
            Action::AcceptSection => return self.accept_section(),
            Action::Drop => return self.drop_line(),
            Action::Reword(text) => return self.reword(&text),
            Action::RewordMore(more) => return self.reword_more(&more),
            Action::Add { at, text } => return self.add(&at, &text),
            Action::Split => return self.split(),
            Action::MergeNext => return self.merge_next(),
            Action::Rename(name) => return self.rename(&name),
            Action::StartEarlier => return self.move_start(-1),
            Action::StartLater => return self.move_start(1),
            Action::TakeProposed => return self.take_proposed(),
            Action::Undo => return self.step(History::undo, tr!("undone"), tr!("nothing to undo")),
            Action::Redo => return self.step(History::redo, tr!("done again"), tr!("nothing to do again")),
            Action::Dialect => {
                self.config.dialect = self.config.dialect.next();
                self.draft();
                let (name, example) = self.config.dialect.words();
                return Ok(Some(tr!("drafts in {name}: {example}", name, example)));
            }
        }
        Ok(None)
    }

    fn enter(&mut self, room: Room) {
        self.room = room;
        if room == Room::Story {
            let at = self.entries.iter().position(|e| e.place.bar.0 >= self.bar);
            if self.entries.get(self.line).is_none_or(|e| e.place.bar.0 != self.bar) {
                self.line = at.unwrap_or(self.entries.len().saturating_sub(1));
            }
        }
    }

    fn go(&mut self, action: &Action) {
        let last_bar = self.score.bars.len().saturating_sub(1);
        let forth = matches!(action, Action::Down | Action::Right | Action::PageDown | Action::Last);
        if self.room == Room::Story {
            let by = match action {
                Action::Up | Action::Down => 1,
                Action::PageUp | Action::PageDown => PAGE,
                Action::First | Action::Last => usize::MAX,
                _ => return,
            };
            let last = self.entries.len().saturating_sub(1);
            self.line = if forth { self.line.saturating_add(by).min(last) } else { self.line.saturating_sub(by) };
            self.bar = self.entries.get(self.line).map_or(self.bar, |e| e.place.bar.0);
            return;
        }
        self.bar = match action {
            Action::Left => self.bar.saturating_sub(1),
            Action::Right => (self.bar + 1).min(last_bar),
            Action::First => 0,
            Action::Last => last_bar,
            _ => {
                let n_stops = if matches!(action, Action::PageUp | Action::PageDown) { PAGE } else { 1 };
                (0..n_stops).fold(self.bar, |bar, _| self.stop(bar, forth).unwrap_or(bar))
            }
        };
    }

    /// The next bar, or the one before, at which there is something to stop for: a section's start, or a mark on the map.
    fn stop(&self, bar: usize, forth: bool) -> Option<usize> {
        let is_stop = |&b: &usize| match self.room {
            Room::Map => self.map.bars[b].is_marked(),
            _ => self.sections.iter().any(|s| s.bars.start.0 == b),
        };
        if forth { (bar + 1..self.score.bars.len()).find(is_stop) } else { (0..bar).rev().find(is_stop) }
    }

    /// Takes an edited text as the next step, when it reads back.
    fn edit(&mut self, edited: Result<String, piece::Error>) -> Result<(), Said> {
        let text = edited.map_err(|e| e.to_string())?;
        let dropped = self.history.now().dropped.clone();
        self.push(Step { text, dropped, bar: self.bar, room: self.room })
    }

    fn push(&mut self, step: Step) -> Result<(), Said> {
        self.history.push(step);
        let read = self.read();
        if read.is_err() {
            self.history.undo();
            let _ = self.read();
        }
        read.map_err(|e| e.to_string())
    }

    fn step(&mut self, go: impl Fn(&mut History) -> Option<(usize, Room)>, done: String, nothing: String) -> Result<Option<Said>, Said> {
        let Some((bar, room)) = go(&mut self.history) else { return Err(nothing) };
        // Every step was read when it was made.
        let _ = self.read();
        self.bar = bar.min(self.score.bars.len().saturating_sub(1));
        self.enter(room);
        Ok(Some(done))
    }

    /// Reads what the text says, and drafts anew where sections changed.
    fn read(&mut self) -> Result<(), piece::Error> {
        let file = PieceFile::parse(self.text(), &self.file_name)?;
        let lists = file.lists(&self.score)?;
        let sections = if lists.sections.is_empty() { piece::four_bar_sections(&self.score) } else { lists.sections };
        self.title = file.title.value;
        (self.cues, self.landmarks) = (lists.cues, lists.landmarks);
        if sections != self.sections {
            self.sections = sections;
            self.draft();
        } else {
            self.list();
        }
        Ok(())
    }

    fn draft(&mut self) {
        let ranges: Vec<(usize, usize)> = self.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect();
        self.drafts = self.analysis.story(&self.score, &self.config, &ranges);
        let others = Dialect::ALL.into_iter().filter(|dialect| *dialect != self.config.dialect);
        let others: Vec<_> =
            others.flat_map(|dialect| self.analysis.story(&self.score, &StoryConfig { dialect, ..self.config.clone() }, &ranges)).collect();
        let known = self.drafts.iter().chain(&others).map(|l| (self.analysis.place(l.at), l.text.clone()));
        self.known.extend(known.collect::<Vec<_>>());
        self.list();
    }

    /// Lists the lines anew, and stays at the one that was chosen.
    fn list(&mut self) {
        let chosen = self.entries.get(self.line).map(|e| (e.place, e.hand));
        self.entries = story::entries(self);
        if let Some((place, hand)) = chosen {
            let near = self.entries.iter().position(|e| (e.place, e.hand) == (place, hand));
            let near = near.or_else(|| self.entries.iter().position(|e| e.place >= place));
            self.line = near.unwrap_or(self.entries.len().saturating_sub(1));
        }
    }

    /// Index of the section that a bar belongs to: the later one where two share it.
    fn section_at(&self, bar: usize) -> Option<usize> {
        self.sections.iter().rposition(|s| s.bars.contains(BarIdx(bar)))
    }
}

/// The hand in a word or two of a column.
fn hand_word(hand: Option<Hand>) -> String {
    match hand {
        Some(Hand::Left) => tr!("hand" => "left"),
        Some(Hand::Right) => tr!("hand" => "right"),
        None => String::new(),
    }
}
