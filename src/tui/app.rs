//! What the screen knows beyond the view: help open, the letters chosen, a notice, the caution.

use std::cell::Cell;

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind};

use super::widget::line_editor::LineEditor;
use super::{Action, Options};
use crate::practice::view::{Breaks, Quiz, Stage};
use crate::practice::{Command, Story, View};
use crate::source::Signal;
use crate::time::Micros;

/// Why a rest in the middle of new work.
pub fn rest_words(length: Micros) -> String {
    let n = minutes(length);
    tr!("1 minute away from the instrument; what is new settles meanwhile"
        | "{n} minutes away from the instrument; what is new settles meanwhile" % n)
}

/// Returns whole minutes, one at least.
pub fn minutes(time: Micros) -> usize {
    (time.secs_f64() / 60.0).round().max(1.0) as usize
}

/// A caution that a note wiped away sooner was not read, and comes again after the next rep.
const TIME_TO_READ: Micros = Micros(3_000_000);
/// How long a passing notice stays.
const NOTICE_TIME: Micros = Micros(8_000_000);

pub struct App {
    pub options: Options,
    pub help_open: bool,
    pub block_letters: bool,
    /// First line shown of a list longer than the screen; drawing keeps it inside the list.
    pub scroll: Cell<usize>,
    pub caution: Option<Caution>,
    /// A line of story being typed.
    pub editor: Option<LineEditor>,
    notice: Option<Notice>,
    /// When a caution came up.
    caution_since: Micros,
    pub breaks: Breaks,
    /// First and last note since the last break.
    played: Option<(Micros, Micros)>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Caution {
    /// Before the session.
    Opening,
    /// After long playing.
    Break,
}

struct Notice {
    words: String,
    /// A lasting notice has none.
    until: Option<Micros>,
}

/// What the loop must do after an action.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Effect {
    Nothing,
    Command(Command),
    TakeLine(usize),
    HandOver,
    Redraw,
    Suspend,
}

impl App {
    pub fn new(options: Options) -> Self {
        let caution = options.caution.then_some(Caution::Opening);
        App {
            options,
            help_open: false,
            block_letters: true,
            scroll: Cell::new(0),
            caution,
            editor: None,
            notice: None,
            caution_since: Micros::ZERO,
            breaks: Breaks::USUAL,
            played: None,
        }
    }

    pub fn notice(&self) -> Option<&str> {
        self.notice.as_ref().map(|notice| notice.words.as_str())
    }

    /// Takes a key that was pressed; `action` is none for a key without a meaning, which still puts a caution away.
    pub fn press(&mut self, action: Option<Action>) -> Effect {
        let quit = Action::Practice(Command::Quit);
        if self.caution.is_some() && action != Some(quit) {
            self.end_caution();
            return Effect::Nothing;
        }
        match action {
            None => Effect::Nothing,
            Some(Action::Help) => {
                self.help_open = !self.help_open;
                self.scroll.set(0);
                Effect::Nothing
            }
            Some(Action::Letters) => {
                self.block_letters = !self.block_letters;
                Effect::Nothing
            }
            Some(Action::Up) => {
                self.scroll.set(self.scroll.get().saturating_sub(1));
                Effect::Nothing
            }
            Some(Action::Down) => {
                self.scroll.set(self.scroll.get().saturating_add(1));
                Effect::Nothing
            }
            Some(Action::Redraw) => Effect::Redraw,
            Some(Action::Suspend) => Effect::Suspend,
            Some(Action::HandOver) if self.options.can_hand_over => Effect::HandOver,
            Some(Action::HandOver) => Effect::Nothing,
            Some(Action::WriteLine) => Effect::Nothing,
            Some(Action::TakeLine(n)) => Effect::TakeLine(n),
            Some(Action::Practice(command)) => {
                self.help_open = false;
                Effect::Command(command)
            }
        }
    }

    /// Tells whether something lies over the practice screen.
    pub fn lies_over(&self) -> bool {
        self.help_open || self.caution.is_some()
    }

    /// Escape, Enter: puts away what lies over the practice screen; tells whether anything did.
    pub fn dismiss(&mut self) -> bool {
        let lay_over = self.lies_over();
        self.help_open = false;
        self.end_caution();
        lay_over
    }

    /// Opens the line to type in, with what was typed before.
    pub fn write_line(&mut self, typed: &str) {
        self.editor = Some(LineEditor::new(typed));
    }

    /// Takes a key while a line is being typed; returns what to say about the story, and none when the key is not one of typing.
    pub fn type_line(&mut self, key: &KeyEvent) -> Option<Option<Story>> {
        let editor = self.editor.as_mut()?;
        if key.kind == KeyEventKind::Release {
            return Some(None);
        }
        match key.code {
            KeyCode::Enter if editor.text().trim().is_empty() => Some(self.close_editor()),
            KeyCode::Enter => Some(self.editor.take().map(|editor| Story::Told(editor.text().to_owned()))),
            KeyCode::Esc => Some(self.close_editor()),
            _ => editor.press(key).then_some(None),
        }
    }

    /// Closes the line; what stands in it is kept for later.
    pub fn close_editor(&mut self) -> Option<Story> {
        self.editor.take().map(|editor| Story::Typed(editor.text().to_owned()))
    }

    /// A note was struck at `at`.
    pub fn note_struck(&mut self, at: Micros) {
        self.help_open = false;
        match self.caution {
            Some(Caution::Break) if at - self.caution_since < TIME_TO_READ => self.caution = None,
            Some(_) => self.end_caution(),
            None => {}
        }
        self.played = match self.played {
            Some((first, last)) if at - last < self.breaks.length => Some((first, last.max(at))),
            _ => Some((at, at)),
        };
    }

    /// Takes what a source says beside its notes.
    pub fn signal(&mut self, signal: &Signal, at: Micros) {
        match signal {
            Signal::Midi(_) => {}
            Signal::Gone { what } => self.say(tr!("instrument gone: {what} \u{2013} plug it in again, it will be found", what), None),
            Signal::Back { what } => self.say(tr!("instrument back: {what}", what), Some(at + NOTICE_TIME)),
            Signal::Dropped { n_events } => {
                self.say(
                    tr!("1 note came too fast to be heard" | "{n} notes came too fast to be heard" % *n_events),
                    Some(at + NOTICE_TIME),
                );
            }
            Signal::Ended => self.say(tr!("the recording has ended"), None),
        }
    }

    /// Shows a notice for a while.
    pub fn mention(&mut self, words: String, at: Micros) {
        self.say(words, Some(at + NOTICE_TIME));
    }

    /// Lets time pass; returns whether the screen changed by it.
    pub fn tick(&mut self, view: &View, at: Micros) -> bool {
        let mut changed = false;
        if self.notice.as_ref().is_some_and(|notice| notice.until.is_some_and(|until| until <= at)) {
            self.notice = None;
            changed = true;
        }
        let long_enough = self.played.is_some_and(|(first, last)| last - first >= self.breaks.after);
        if self.options.caution && long_enough && self.caution.is_none() && self.editor.is_none() && between_reps(view) {
            self.caution = Some(Caution::Break);
            self.caution_since = at;
            changed = true;
        }
        changed
    }

    /// Follows the view: playing that began without a note from outside puts the caution away too.
    pub fn follow(&mut self, view: &View) {
        if !between_reps(view) {
            self.caution = None;
        }
    }

    fn say(&mut self, words: String, until: Option<Micros>) {
        self.notice = Some(Notice { words, until });
    }

    fn end_caution(&mut self) {
        if self.caution.take() == Some(Caution::Break) {
            self.played = None;
        }
    }
}

fn between_reps(view: &View) -> bool {
    match view.stage {
        Stage::Playing | Stage::Prompted { .. } | Stage::Finished { .. } => false,
        Stage::Quiz(Quiz::Ready { .. } | Quiz::Told { .. } | Quiz::Mark { .. }) => true,
        Stage::Quiz(_) => false,
        _ => true,
    }
}
