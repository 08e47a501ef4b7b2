//! Between two parts of a day's plan: what comes next, and a rest where the plan has one.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::frame::Frame;
use super::key_screen::{self, Effect, End, KeyScreen};
use super::theme::Theme;
use super::{Error, Exit, screen};

/// What is said between two parts.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Between {
    /// Minutes to rest before the next part; none where the plan has no rest here.
    pub rest_minutes: Option<u32>,
    pub title: String,
    /// What is played of it, in order.
    pub steps: Vec<String>,
}

/// How it was left.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Left {
    GoOn,
    Ended(Exit),
}

/// Shows it until the player goes on or leaves. No clock runs: the player rests as long as they like.
///
/// # Errors
/// When the terminal cannot be taken or drawn on.
pub fn run(between: &Between, colour: bool) -> Result<Left, Error> {
    let mut shown = Shown { between, theme: Theme::new(colour) };
    Ok(match key_screen::run(&mut shown)? {
        End::Left(left) => left,
        End::Outside(exit) => Left::Ended(exit),
    })
}

struct Shown<'a> {
    between: &'a Between,
    theme: Theme,
}

impl KeyScreen for Shown<'_> {
    type Left = Left;

    fn draw(&mut self, frame: &mut Frame<'_>) {
        screen::between::draw(self.between, self.theme, frame);
    }

    fn press(&mut self, key: &KeyEvent) -> Effect<Left> {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            _ if key.kind == KeyEventKind::Release => Effect::Stay,
            KeyCode::Enter => Effect::Leave(Left::GoOn),
            KeyCode::Char('c') if control => Effect::Leave(Left::Ended(Exit::Quit)),
            KeyCode::Char('l') if control => Effect::Redraw,
            KeyCode::Char('q' | 'Q') | KeyCode::Esc => Effect::Leave(Left::Ended(Exit::Quit)),
            _ => Effect::Stay,
        }
    }
}
