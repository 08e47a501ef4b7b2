//! The engine: commands and played notes in, outputs and the next deadline out.
//!
//! Pure: the same piece, configuration and stamped inputs give the same outputs, so a recorded
//! session replays exactly. It reads no clock and draws nothing; the screen sees a [`View`].

mod command;
pub mod view;

pub use command::Command;
pub use view::View;

use crate::midi::MidiEvent;

/// What the engine is told; each comes stamped with the time it happened.
#[derive(Clone, PartialEq, Debug)]
pub enum Input {
    Midi(MidiEvent),
    Command(Command),
    /// The time given by `Engine::next_deadline` has come.
    Deadline,
}
