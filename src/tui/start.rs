//! The start screen: the pieces, and what to do with one of them.

use std::cell::Cell;

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::frame::Frame;
use super::key_screen::{self, Effect, End, KeyScreen};
use super::theme::Theme;
use super::{Error, Exit, Failure, screen};

/// Shortest and longest session offered, and the step between, in minutes.
const MINUTES: (u32, u32, u32) = (5, 120, 5);

/// A piece as it lies on the desk, in words.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Card {
    /// What the piece is opened by.
    pub name: String,
    pub title: String,
    /// When it was last practised, and what.
    pub last: String,
    /// What the reading take showed, how many places want a line of story.
    pub state: String,
    /// What the day's plan has of it; empty where nothing is planned.
    pub planned: Vec<String>,
}

/// What can be done with a piece, or with all of them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Doing {
    /// Today's plan over all pieces.
    Plan,
    Session,
    Drill,
    Quiz,
    RunThrough,
    Reading,
    Study,
}

/// Each key with what it does, in the order of the foot.
pub const KEYS: &[(char, &str, Doing)] = &[
    ('p', msgid!("today's plan"), Doing::Plan),
    ('s', msgid!("session"), Doing::Session),
    ('d', msgid!("drill"), Doing::Drill),
    ('z', msgid!("quiz"), Doing::Quiz),
    ('u', msgid!("run-through"), Doing::RunThrough),
    ('f', msgid!("from the page"), Doing::Reading),
    ('t', msgid!("study"), Doing::Study),
];

/// The list and where the player is in it.
#[derive(Clone, PartialEq, Debug)]
pub struct Start {
    pub cards: Vec<Card>,
    /// Index of the piece chosen; drawing keeps it in sight.
    pub chosen: usize,
    /// First card shown.
    pub first: Cell<usize>,
    /// Length of a session, in minutes.
    pub minutes: u32,
    /// Why something could not be done.
    pub said: Option<String>,
}

/// How the start screen was left.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Left {
    /// With something to do: the piece's name, what, and the minutes of a session.
    For(String, Doing, u32),
    Ended(Exit),
}

impl Start {
    pub fn new(cards: Vec<Card>, minutes: u32) -> Start {
        Start { cards, chosen: 0, first: Cell::new(0), minutes, said: None }
    }

    pub fn press(&mut self, key: &KeyEvent) -> Effect<Left> {
        if key.kind == KeyEventKind::Release || key.modifiers.contains(KeyModifiers::ALT) {
            return Effect::Stay;
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let (shortest, longest, step) = MINUTES;
        match key.code {
            KeyCode::Char('c') if control => return Effect::Leave(Left::Ended(Exit::Quit)),
            KeyCode::Char('l') if control => return Effect::Redraw,
            KeyCode::Char(_) if control => {}
            KeyCode::Up => self.chosen = self.chosen.saturating_sub(1),
            KeyCode::Down => self.chosen = (self.chosen + 1).min(self.cards.len().saturating_sub(1)),
            KeyCode::Char('+' | '=') => self.minutes = (self.minutes + step).min(longest),
            KeyCode::Char('-') => self.minutes = self.minutes.saturating_sub(step).max(shortest),
            KeyCode::Char('q' | 'Q') | KeyCode::Esc => return Effect::Leave(Left::Ended(Exit::Quit)),
            KeyCode::Enter if !self.cards.is_empty() => return self.leave_for(Doing::Session),
            KeyCode::Char(c) => {
                let wanted = KEYS.iter().find(|(key, ..)| *key == c.to_ascii_lowercase());
                return wanted.filter(|_| !self.cards.is_empty()).map_or(Effect::Stay, |(.., doing)| self.leave_for(*doing));
            }
            _ => {}
        }
        Effect::Stay
    }

    fn leave_for(&self, doing: Doing) -> Effect<Left> {
        Effect::Leave(Left::For(self.cards[self.chosen].name.clone(), doing, self.minutes))
    }
}

/// What finds out all that the cards say, as many as before, for the same pieces.
pub type Settle<'a> = Box<dyn FnOnce() -> Result<Vec<Card>, Failure> + 'a>;

/// Shows the pieces until one is chosen or the player leaves. Cards that do not say all yet are made whole by `settle` as soon as they
/// stand on the screen.
///
/// # Errors
/// When the terminal cannot be taken or drawn on, or the cards cannot be made whole.
pub fn run(start: &mut Start, settle: Option<Settle<'_>>, colour: bool) -> Result<Left, Error> {
    let mut shown = Shown { start, settle, theme: Theme::new(colour) };
    Ok(match key_screen::run(&mut shown)? {
        End::Left(left) => left,
        End::Outside(exit) => Left::Ended(exit),
    })
}

struct Shown<'a> {
    start: &'a mut Start,
    settle: Option<Settle<'a>>,
    theme: Theme,
}

impl KeyScreen for Shown<'_> {
    type Left = Left;

    fn draw(&mut self, frame: &mut Frame<'_>) {
        screen::start::draw(self.start, self.theme, frame);
    }

    fn press(&mut self, key: &KeyEvent) -> Effect<Left> {
        self.start.press(key)
    }

    fn settle(&mut self) -> Result<(), Failure> {
        if let Some(settle) = self.settle.take() {
            self.start.cards = settle()?;
        }
        Ok(())
    }
}
