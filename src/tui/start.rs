//! The start screen's own loop: the pieces, and what to do with one of them.

use std::cell::Cell;
use std::time::Duration;

use crossbeam_channel::{bounded, select, tick};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::run::{Wake, on_panic, read_terminal, watch_signals};
use super::theme::Theme;
use super::{Error, Exit, screen, terminal};

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

/// What can be done with a piece.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Doing {
    Session,
    Drill,
    Quiz,
    RunThrough,
    Reading,
    Study,
}

/// Each key with what it does, in the order of the foot.
pub const KEYS: &[(char, &str, Doing)] = &[
    ('s', "session", Doing::Session),
    ('d', "drill", Doing::Drill),
    ('z', "quiz", Doing::Quiz),
    ('u', "run-through", Doing::RunThrough),
    ('f', "from the page", Doing::Reading),
    ('t', "study", Doing::Study),
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

/// What a key came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Effect {
    Nothing,
    Do(Doing),
    Close,
    Redraw,
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

    pub fn press(&mut self, key: &KeyEvent) -> Effect {
        if key.kind == KeyEventKind::Release || key.modifiers.contains(KeyModifiers::ALT) {
            return Effect::Nothing;
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let (shortest, longest, step) = MINUTES;
        match key.code {
            KeyCode::Char('c') if control => return Effect::Close,
            KeyCode::Char('l') if control => return Effect::Redraw,
            KeyCode::Char(_) if control => {}
            KeyCode::Up => self.chosen = self.chosen.saturating_sub(1),
            KeyCode::Down => self.chosen = (self.chosen + 1).min(self.cards.len().saturating_sub(1)),
            KeyCode::Char('+' | '=') => self.minutes = (self.minutes + step).min(longest),
            KeyCode::Char('-') => self.minutes = self.minutes.saturating_sub(step).max(shortest),
            KeyCode::Char('q' | 'Q') | KeyCode::Esc => return Effect::Close,
            KeyCode::Enter if !self.cards.is_empty() => return Effect::Do(Doing::Session),
            KeyCode::Char(c) => {
                let wanted = KEYS.iter().find(|(key, ..)| *key == c.to_ascii_lowercase());
                return wanted.filter(|_| !self.cards.is_empty()).map_or(Effect::Nothing, |(.., doing)| Effect::Do(*doing));
            }
            _ => {}
        }
        Effect::Nothing
    }
}

/// Takes the terminal, shows the pieces until one is chosen or the player leaves, and gives the terminal back.
///
/// # Errors
/// When the terminal cannot be taken or drawn on.
pub fn run(start: &mut Start, colour: bool) -> Result<Left, Error> {
    let (sender, wakes) = bounded(256);
    on_panic(sender.clone());
    let _watch = watch_signals(sender.clone()).map_err(Error::Signals)?;
    let mut taken = terminal::take().map_err(|source| Error::Terminal { doing: "opening", source })?;
    read_terminal(sender);
    let theme = Theme::new(colour);
    let seconds = tick(Duration::from_secs(1));
    loop {
        if let Some(_hold) = terminal::hold()
            && let Err(source) = taken.screen.draw(|frame| screen::start::draw(start, theme, frame))
        {
            if terminal::is_closing(&source) || !terminal::is_open() {
                return Ok(Left::Ended(Exit::Closed));
            }
            return Err(Error::Terminal { doing: "drawing on", source });
        }
        let wake = select! {
            recv(wakes) -> wake => wake.unwrap_or(Wake::Closed),
            recv(seconds) -> _ => if terminal::is_open() { continue } else { Wake::Closed },
        };
        let redraw = match wake {
            Wake::Terminal(Event::Key(key)) => match start.press(&key) {
                Effect::Nothing => false,
                Effect::Redraw => true,
                Effect::Close => return Ok(Left::Ended(Exit::Quit)),
                Effect::Do(doing) => return Ok(Left::For(start.cards[start.chosen].name.clone(), doing, start.minutes)),
            },
            Wake::Terminal(_) => false,
            Wake::Continued => true,
            Wake::Closed => return Ok(Left::Ended(Exit::Closed)),
            Wake::Signal(signal) => return Ok(Left::Ended(Exit::Signal(signal))),
            Wake::Panicked => return Err(Error::Panicked),
        };
        if redraw && let Err(source) = terminal::take_again(&mut taken.screen) {
            if !terminal::is_open() {
                return Ok(Left::Ended(Exit::Closed));
            }
            return Err(Error::Terminal { doing: "taking back", source });
        }
    }
}
