//! What a key can bring about: a command to practice, or something that concerns the screen alone.

use crate::practice::Command;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Action {
    Practice(Command),
    /// The built-in player stops, and the notes come from the player.
    HandOver,
    /// Type a line of story for the place that is asked about.
    WriteLine,
    /// Take the drafted line of this number for it, from 0.
    TakeLine(usize),
    /// Open or close the list of keys.
    Help,
    /// Block letters or plain ones.
    Letters,
    Up,
    Down,
    /// Draw everything anew.
    Redraw,
    /// Back to the shell for a while.
    Suspend,
}

impl Action {
    /// Returns the sentence of the help screen.
    pub fn help(self) -> String {
        match self {
            Action::Practice(command) => command.help(),
            Action::HandOver => tr!("play it yourself: the built-in player stops"),
            Action::WriteLine => tr!("write a line of story for the place that failed"),
            Action::TakeLine(_) => tr!("take a drafted line for it"),
            Action::Help => tr!("show or hide this list"),
            Action::Letters => tr!("large letters, or plain ones"),
            Action::Up => tr!("up"),
            Action::Down => tr!("down"),
            Action::Redraw => tr!("draw the screen anew"),
            Action::Suspend => tr!("pause, and back to the shell for a while"),
        }
    }
}
