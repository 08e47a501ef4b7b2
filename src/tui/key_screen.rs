//! The loop of a screen that only keys change: it draws, waits for a key, and tells how it was left. No instrument and no
//! deadline is in it.

use std::time::Duration;

use crossbeam_channel::{select, tick};
use crossterm::event::{Event, KeyEvent};
use ratatui::Frame;

use super::run::{Opened, Wake};
use super::{Error, Exit, terminal};

/// What such a screen is.
pub trait KeyScreen {
    /// What it is left with.
    type Left;

    fn draw(&mut self, frame: &mut Frame<'_>);

    fn press(&mut self, key: &KeyEvent) -> Effect<Self::Left>;
}

/// What the loop must do after a key.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Effect<L> {
    /// Goes on, and draws what may have changed.
    Stay,
    /// Takes the terminal again and draws all of it.
    Redraw,
    Suspend,
    Leave(L),
}

/// How a screen came to its end.
pub enum End<L> {
    Left(L),
    /// From outside: a signal, or a closed terminal.
    Outside(Exit),
}

/// Takes the terminal, runs the screen on it until it is left, and gives the terminal back.
///
/// # Errors
/// When the terminal cannot be taken or drawn on.
pub fn run<S: KeyScreen>(shown: &mut S) -> Result<End<S::Left>, Error> {
    let mut opened = Opened::try_new()?;
    let screen = &mut opened.taken.screen;
    let seconds = tick(Duration::from_secs(1));
    loop {
        if let Some(_hold) = terminal::hold()
            && let Err(source) = screen.draw(|frame| shown.draw(frame))
        {
            if terminal::is_closing(&source) || !terminal::is_open() {
                return Ok(End::Outside(Exit::Closed));
            }
            return Err(Error::Terminal { doing: "drawing on", source });
        }
        let wake = loop {
            select! {
                recv(opened.wakes) -> wake => break wake.unwrap_or(Wake::Closed),
                recv(seconds) -> _ => if !terminal::is_open() { break Wake::Closed },
            }
        };
        let taken_again = match wake {
            Wake::Terminal(Event::Key(key)) => match shown.press(&key) {
                Effect::Stay => Ok(()),
                Effect::Redraw => terminal::take_again(screen),
                Effect::Suspend => terminal::suspend(screen),
                Effect::Leave(left) => return Ok(End::Left(left)),
            },
            Wake::Terminal(_) => Ok(()),
            Wake::Continued => terminal::take_again(screen),
            Wake::Closed => return Ok(End::Outside(Exit::Closed)),
            Wake::Signal(signal) => return Ok(End::Outside(Exit::Signal(signal))),
            Wake::Panicked => return Err(Error::Panicked),
        };
        match taken_again {
            Err(_) if !terminal::is_open() => return Ok(End::Outside(Exit::Closed)),
            taken => taken.map_err(|source| Error::Terminal { doing: "taking back", source })?,
        }
    }
}
