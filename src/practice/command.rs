//! What a player can ask for, by key or by footswitch: each command with its word and its help sentence.

use crate::journal::entry::Verdict;

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Command {
    /// Begin what is offered: out of a pause, off a list, into a quiz.
    Start,
    /// Stop listening, or listen again.
    Pause,
    /// Leave the rep in progress and start the span anew.
    Again,
    /// Go to the next span.
    Skip,
    /// Go to the span before.
    Back,
    /// Overrule the last verdict.
    Overrule(Verdict),
    /// Change the number of clean reps wanted for this span by one.
    MoreReps,
    FewerReps,
    /// Put off the line of story for the place that is asked about.
    Later,
    /// Want no line of story for it.
    NoLine,
    /// Without an instrument: show the next cue.
    Cue,
    Quit,
}

impl Command {
    /// What a player without an instrument says when the answer is there, or the rep is played.
    pub const READY: &'static str = "ready";

    /// Every command that a key or a footswitch can be set to, in the order of the help screen.
    pub const ALL: [Command; 13] = [
        Command::Start,
        Command::Pause,
        Command::Again,
        Command::Skip,
        Command::Back,
        Command::Overrule(Verdict::Clean),
        Command::Overrule(Verdict::Broken),
        Command::MoreReps,
        Command::FewerReps,
        Command::Later,
        Command::NoLine,
        Command::Cue,
        Command::Quit,
    ];

    /// Returns the word used in the settings file and in logs.
    pub fn word(self) -> &'static str {
        match self {
            Command::Start => "start",
            Command::Pause => "pause",
            Command::Again => "again",
            Command::Skip => "next",
            Command::Back => "back",
            Command::Overrule(Verdict::Clean) => "was-clean",
            Command::Overrule(Verdict::Prompted) => "was-prompted",
            Command::Overrule(Verdict::Broken) => "was-not",
            Command::MoreReps => "more-reps",
            Command::FewerReps => "fewer-reps",
            Command::Later => "later",
            Command::NoLine => "no-line",
            Command::Cue => "cue",
            Command::Quit => "quit",
        }
    }

    /// Reads a word, or what a player without an instrument says: `ready`, and then `held` or `did-not`.
    pub fn from_word(word: &str) -> Option<Command> {
        match word {
            Command::READY => return Some(Command::Pause),
            "held" => return Some(Command::Overrule(Verdict::Clean)),
            "did-not" => return Some(Command::Overrule(Verdict::Broken)),
            _ => {}
        }
        Command::ALL.into_iter().find(|c| c.word() == word)
    }

    /// Returns the sentence of the help screen.
    pub fn help(self) -> String {
        match self {
            Command::Start => tr!("begin; with a tone set, a bar is counted in"),
            Command::Pause => tr!("pause, or go on"),
            Command::Again => tr!("start the section again; this rep does not count"),
            Command::Skip => tr!("next section or question (paused: end the quiz)"),
            Command::Back => tr!("section before"),
            Command::Overrule(Verdict::Clean) => tr!("the last rep was clean, the answer held"),
            Command::Overrule(Verdict::Prompted) => tr!("the last rep was prompted"),
            Command::Overrule(Verdict::Broken) => tr!("the last rep was not clean, or did not hold"),
            Command::MoreReps => tr!("one rep more for this section"),
            Command::FewerReps => tr!("one rep fewer for this section"),
            Command::Later => tr!("keep this place for the end of the section"),
            Command::NoLine => tr!("this place needs no line of story"),
            Command::Cue => tr!("without an instrument: the next cue, please"),
            Command::Quit => tr!("close the session"),
        }
    }
}
