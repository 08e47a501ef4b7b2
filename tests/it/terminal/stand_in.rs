//! Practice without an engine, run by the real loop in a real terminal: this test binary started again under a pseudo-terminal.

use catchword::clock::SessionClock;
use catchword::journal::entry::{Mode, QuestionKind, Verdict};
use catchword::practice::view::{Quiz, Stage};
use catchword::practice::{Command, Input, View};
use catchword::source::Signal;
use catchword::time::{Micros, Stamped};
use catchword::tui::{self, Failure, Options, Practice};
use portable_pty::CommandBuilder;

use super::pty::Pty;

/// Exit code for a session that ended with its terminal.
pub const CLOSED: i32 = 7;

/// Names of the stages that the key for the next section goes through.
pub const STAGES: [&str; 11] =
    ["waiting", "playing", "cue", "fuller-cue", "page", "look", "clean", "with-a-cue", "not-clean", "section-done", "paused"];

/// Names of the stages of a quiz, of a run-through and of a reading, gone through in the same way.
pub const FURTHER: [&str; 17] = [
    "quiz-ready",
    "quiz-cold-start",
    "quiz-go-on-by-word",
    "quiz-what-next",
    "quiz-switch",
    "quiz-jump",
    "quiz-called",
    "quiz-change",
    "quiz-answering",
    "quiz-mark",
    "quiz-held",
    "quiz-look",
    "run-through",
    "run-through-done",
    "reading",
    "places",
    "by-word",
];

const MARK: &str = "CATCHWORD_TEST_STAND_IN";

/// Starts the stand-in in a terminal of this size.
pub fn start(columns: u16, rows: u16) -> Pty {
    Pty::start(command(), columns, rows)
}

/// Starts the one that goes through [`FURTHER`].
pub fn start_further(columns: u16, rows: u16) -> Pty {
    let mut command = command();
    command.env(MARK, "further");
    Pty::start(command, columns, rows)
}

pub fn command() -> CommandBuilder {
    let mut command = CommandBuilder::new(std::env::current_exe().unwrap());
    command.args(["--exact", "terminal::stand_in::in_a_terminal", "--ignored", "--nocapture", "--test-threads=1"]);
    command.env(MARK, "1");
    command.env("TERM", "xterm-256color");
    command.env("RUST_BACKTRACE", "0");
    command.env_remove("NO_COLOR");
    command
}

/// Next goes through the stages, back panics, again panics on a thread of its own.
struct StandIn {
    bars: Vec<String>,
    account: Vec<String>,
    stage: usize,
    is_further: bool,
}

const CHOICES: &[(Command, &str)] = &[(Command::Overrule(Verdict::Clean), "held"), (Command::Overrule(Verdict::Broken), "did not")];

impl StandIn {
    /// The stages of [`FURTHER`].
    fn further(&self) -> View<'_> {
        let quiz = |quiz| Stage::Quiz(quiz);
        let asked = |kind, large, is_told| quiz(Quiz::Asked { kind, large, small: &self.account, is_told });
        let stages = [
            quiz(Quiz::Ready { length: "5 minutes", is_told: false }),
            asked(QuestionKind::ColdStart, "home again", false),
            asked(QuestionKind::GoOn, "a step up, and roll", true),
            asked(QuestionKind::WhatNext, "after bar 18", false),
            asked(QuestionKind::Switch, "left hand sings", false),
            asked(QuestionKind::Jump, "first wave", false),
            quiz(Quiz::Called { large: "to left hand sings", small: &self.account }),
            asked(QuestionKind::Change, "bar 11, beat 3", false),
            quiz(Quiz::Answering { kind: QuestionKind::Switch }),
            quiz(Quiz::Mark { question: "L: F 4th octave up, beat 3", choices: CHOICES }),
            quiz(Quiz::Told { is_held: true, large: "held, 1.8 s", small: "home again" }),
            quiz(Quiz::Told { is_held: false, large: "look: bar 21, beat 1", small: "that way belongs to bar 4, first wave" }),
            Stage::Playing,
            Stage::SpanDone,
            Stage::Playing,
            Stage::Places { places: &self.account, is_last: false },
            Stage::Unheard,
        ];
        let nth = self.stage.min(FURTHER.len() - 1);
        let (mode, span) = match FURTHER[nth] {
            "run-through" | "run-through-done" => (Mode::RunThrough, "whole piece"),
            "reading" => (Mode::Reading, "whole piece"),
            "places" | "by-word" => (Mode::Drill, "the lift"),
            _ => (Mode::Drill, "quiz"),
        };
        let is_quiz = span == "quiz";
        View {
            piece: "Stand-in",
            mode,
            span,
            span_idx: 0,
            n_spans: 1,
            bars: if is_quiz { &[] } else { &self.bars },
            bar: (!is_quiz).then_some(5),
            look_bar: None,
            n_clean: 3,
            target: 4,
            verdicts: &[],
            seams: &[],
            ask: None,
            stage: stages[nth].clone(),
        }
    }
}

impl Practice for StandIn {
    fn handle(&mut self, input: Stamped<Input>) -> Result<(), Failure> {
        match input.what {
            Input::Command(Command::Skip) => self.stage += 1,
            Input::Command(Command::Back) => panic!("the stand-in was told to panic"),
            Input::Command(Command::Again) => {
                std::thread::spawn(|| panic!("another thread was told to panic"));
            }
            Input::Command(Command::MoreReps) => return Err("the disk of the stand-in is full".into()),
            _ => {}
        }
        Ok(())
    }

    fn next_deadline(&self) -> Option<Micros> {
        None
    }

    fn view(&self) -> View<'_> {
        if self.is_further {
            return self.further();
        }
        let stages = [
            Stage::Waiting,
            Stage::Playing,
            Stage::Prompted { rung: 1, text: "as bar 3, a third lower" },
            Stage::Prompted { rung: 2, text: "left hand opens to the tenth, then walks down to the low E" },
            Stage::Prompted { rung: 3, text: "look at the page: bar 6, beat 2" },
            Stage::Look { words: "bar 6, beat 2, left hand: not what is written" },
            Stage::RepDone { verdict: Verdict::Clean, words: "" },
            Stage::RepDone { verdict: Verdict::Prompted, words: "bar 6, beat 1: needed its cue" },
            Stage::RepDone { verdict: Verdict::Broken, words: "bar 7, beat 1: a stop before it" },
            Stage::SpanDone,
            Stage::Paused,
            Stage::Finished { account: &self.account },
        ];
        let stage = stages[self.stage.min(STAGES.len())].clone();
        View {
            piece: "Stand-in",
            mode: Mode::Drill,
            span: "the lift",
            span_idx: 0,
            n_spans: 1,
            bars: &self.bars,
            bar: Some(5),
            look_bar: matches!(stage, Stage::Look { .. }).then_some(5),
            n_clean: 1,
            target: 3,
            verdicts: &[],
            seams: &[],
            ask: None,
            stage,
        }
    }
}

#[test]
#[ignore = "started in a terminal by the other tests"]
fn in_a_terminal() {
    let Some(mark) = std::env::var_os(MARK) else { return };
    let is_further = mark == "further";
    let bars = (1..=8).map(|n| n.to_string()).collect();
    let account: &[&str] = if is_further { &["bar 18 of back in sight", "A levers up, all others down"] } else { &["1 of 3 clean"] };
    let mut practice = StandIn { bars, account: account.iter().map(|line| (*line).to_owned()).collect(), stage: 0, is_further };
    let (_notes, signals) = crossbeam_channel::unbounded::<Signal>();
    let hands_free = vec![("soft pedal".to_owned(), Some(Command::Pause)), ("sostenuto pedal".to_owned(), Some(Command::Skip))];
    let options = Options { hands_free, ..Options::everyday() };
    match tui::run(&mut practice, &signals, SessionClock::start(), options) {
        // The test harness would print, and there is nothing left to print to.
        Ok(tui::Exit::Closed) => std::process::exit(CLOSED),
        Ok(exit) => println!("exit: {exit:?}"),
        Err(error) => println!("error: {error}"),
    }
}
