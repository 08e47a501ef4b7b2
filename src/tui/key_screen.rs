//! The loop of a screen that only keys and pedals change: it draws, waits for one, and tells how it was left. No deadline is
//! in it.

use std::time::Duration;

use crossbeam_channel::{Receiver, never, select, tick};
use crossterm::event::{Event, KeyEvent};

use super::frame::Frame;
use super::run::{Opened, Wake};
use super::{Error, Exit, Failure, terminal};
use crate::source::Signal;

/// What such a screen is.
pub trait KeyScreen {
    /// What it is left with.
    type Left;

    fn draw(&mut self, frame: &mut Frame<'_>);

    fn press(&mut self, key: &KeyEvent) -> Effect<Self::Left>;

    /// Does what takes longer than a player waits for a first screen, once that stands. Keys pressed meanwhile come after it.
    ///
    /// # Errors
    /// When it cannot be done; the screen then ends.
    fn settle(&mut self) -> Result<(), Failure> {
        Ok(())
    }

    /// Takes what an instrument or its pedals say; most screens listen to none.
    fn hear(&mut self, signal: &Signal) -> Effect<Self::Left> {
        let _ = signal;
        Effect::Stay
    }
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
    run_hearing(shown, &never())
}

/// The same for a screen that pedals change, too.
///
/// # Errors
/// As for [`run`].
pub fn run_hearing<S: KeyScreen>(shown: &mut S, notes: &Receiver<Signal>) -> Result<End<S::Left>, Error> {
    let mut notes = notes.clone();
    let mut opened = Opened::try_new()?;
    let screen = &mut opened.taken.screen;
    let seconds = tick(Duration::from_secs(1));
    let mut is_settled = false;
    loop {
        if let Some(_hold) = terminal::hold()
            && let Err(source) = screen.draw(|frame| shown.draw(frame))
        {
            if terminal::is_closing(&source) || !terminal::is_open() {
                return Ok(End::Outside(Exit::Closed));
            }
            return Err(Error::Terminal { doing: msgid!("drawing on"), source });
        }
        if !is_settled {
            is_settled = true;
            shown.settle().map_err(Error::Reading)?;
            continue;
        }
        let wake = loop {
            select! {
                recv(opened.wakes) -> wake => break Some(wake.unwrap_or(Wake::Closed)),
                recv(notes) -> signal => match signal.map(|signal| shown.hear(&signal)) {
                    Ok(Effect::Leave(left)) => return Ok(End::Left(left)),
                    Ok(_) => break None,
                    Err(_) => notes = never(),
                },
                recv(seconds) -> _ => if !terminal::is_open() { break Some(Wake::Closed) },
            }
        };
        let Some(wake) = wake else { continue };
        let taken_again = match wake {
            Wake::Terminal(Event::Key(key)) => match shown.press(&key) {
                Effect::Stay => Ok(()),
                Effect::Redraw => terminal::take_again(screen),
                Effect::Suspend => terminal::suspend(screen),
                Effect::Leave(left) => return Ok(End::Left(left)),
            },
            Wake::Terminal(Event::Resize(..)) => terminal::hold().map_or(Ok(()), |_hold| screen.draw_anew()),
            Wake::Terminal(_) => Ok(()),
            Wake::Continued => terminal::take_again(screen),
            Wake::Closed => return Ok(End::Outside(Exit::Closed)),
            Wake::Signal(signal) => return Ok(End::Outside(Exit::Signal(signal))),
            Wake::Panicked => return Err(Error::Panicked),
        };
        match taken_again {
            Err(_) if !terminal::is_open() => return Ok(End::Outside(Exit::Closed)),
            taken => taken.map_err(|source| Error::Terminal { doing: msgid!("taking back"), source })?,
        }
    }
}
