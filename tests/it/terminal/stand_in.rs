//! Practice without an engine, run by the real loop in a real terminal: this test binary started again under a pseudo-terminal.

use catchword::clock::SessionClock;
use catchword::journal::entry::{Mode, Verdict};
use catchword::practice::view::Stage;
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

const MARK: &str = "CATCHWORD_TEST_STAND_IN";

/// Starts the stand-in in a terminal of this size.
pub fn start(columns: u16, rows: u16) -> Pty {
    Pty::start(command(), columns, rows)
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
    if std::env::var_os(MARK).is_none() {
        return;
    }
    let bars = (1..=8).map(|n| n.to_string()).collect();
    let mut practice = StandIn { bars, account: vec!["1 of 3 clean".to_owned()], stage: 0 };
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
