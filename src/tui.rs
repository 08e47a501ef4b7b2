//! The full-screen terminal program, and the plain lines where there is no screen.
//!
//! [`run()`] owns the terminal and the one loop: keys, played notes and deadlines go in, [`Practice`]
//! decides, and the screen is drawn from its `View` when something changed. What is practised, how
//! it is judged and where it is kept, nothing here knows.

mod action;
mod app;
pub mod between;
mod canvas;
mod frame;
mod gate;
mod key_screen;
mod keys;
pub mod plain;
mod reader;
mod run;
mod screen;
pub mod sight;
pub mod start;
pub mod study;
mod terminal;
mod theme;
mod widget;

#[cfg(test)]
mod tests;

pub use action::Action;
pub use reader::read;
pub use run::{Exit, run};
pub use terminal::cell_height;

use crate::practice::view::Breaks;
use crate::practice::{Command, Input, View};
use crate::time::{Micros, Stamped};

/// What the loop drives: the engine, with whatever keeps its records and plays along.
pub trait Practice {
    /// Takes one input; its stamp never lies before that of the input before, except for notes that arrive late.
    ///
    /// # Errors
    /// When practice cannot go on at all; the loop then ends and gives the error back. A journal that refuses (a full disk) is none: what it
    /// does not take is kept for later, and [`Practice::take_notice`] says so.
    fn handle(&mut self, input: Stamped<Input>) -> Result<(), Failure>;

    /// The time at which `handle` wants an [`Input::Deadline`], if nothing comes before.
    fn next_deadline(&self) -> Option<Micros>;

    fn view(&self) -> View<'_>;

    /// Returns when breaks are suggested.
    fn breaks(&self) -> Breaks {
        Breaks::USUAL
    }

    /// The built-in player hands over to the player at the keyboard; returns what to say about it.
    ///
    /// # Errors
    /// As for `handle`.
    fn hand_over(&mut self, at: Micros) -> Result<Option<String>, Failure> {
        let _ = at;
        Ok(None)
    }

    /// Something lies over the practice screen, or no longer: what is asked for without a key then puts it away, and nothing more.
    fn cover(&mut self, is_covered: bool) {
        let _ = is_covered;
    }

    /// Tells whether something was asked for without a key since this was asked last.
    fn take_pressed(&mut self) -> bool {
        false
    }

    /// Returns something new to say in passing, once.
    fn take_notice(&mut self) -> Option<String> {
        None
    }

    /// One line of explanation kept at the foot of every screen; for the demo.
    fn caption(&self) -> Option<&str> {
        None
    }
}

/// Why practice could not go on.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

/// How the screens are to look, and what they may mention.
#[derive(Clone, Debug)]
pub struct Options {
    /// Colour may be added to what words and shapes already say.
    pub colour: bool,
    /// Begin with the short caution on tension and breaks.
    pub caution: bool,
    /// Practice can hand over from the built-in player.
    pub can_hand_over: bool,
    /// Ways to steer without a key as the player names them (`soft pedal`) and what they do, for the help screen; none is to leave
    /// the places of a section for later.
    pub hands_free: Vec<(String, Option<Command>)>,
    /// The fewest half rows of a capital in large letters, where a phrase can be set so.
    pub smallest_letters: usize,
}

impl Options {
    /// Returns the options of an everyday session; colour is left out when `NO_COLOR` is set and not empty (no-color.org).
    pub fn everyday() -> Self {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Options { colour: !no_colour, caution: true, can_hand_over: false, hands_free: Vec::new(), smallest_letters: 0 }
    }
}

/// Why the screen could not be kept up.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("{doing} the terminal; use --plain where there is no full terminal", doing = tr!(doing)))]
    Terminal { doing: &'static str, source: std::io::Error },
    #[error("{}", tr!("handling signals of the system"))]
    Signals(#[source] std::io::Error),
    #[error("{}", tr!("writing lines"))]
    Output(#[source] std::io::Error),
    #[error("{}", tr!("keeping what was practised"))]
    Practice(#[source] Failure),
    #[error("{}", tr!("reading what was practised"))]
    Reading(#[source] Failure),
    #[error("{}", tr!("a part of the program stopped unexpectedly; what it said stands above"))]
    Panicked,
}
