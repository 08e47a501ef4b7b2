//! `catchword ports --footswitch`: learns what pedals, buttons or spare keys send, by their being pressed.
//!
//! Lines in and lines out, as it is done beside the instrument: each action asks for its switch, and every switch is in the
//! settings as soon as it is known.

use std::io::{self, Write};
use std::path::Path;

use anyhow::Context as _;
use crossbeam_channel::{Receiver, at, bounded, never, select};

use super::{N_SIGNALS_MAX, read_words};
use crate::clock::SessionClock;
use crate::config::{Config, put_switch};
use crate::journal::entry::Verdict;
use crate::paths::Paths;
use crate::practice::Command;
use crate::practice::footswitch::learn::{Learner, Step};
use crate::practice::footswitch::{Pressed, Switch, Trigger};
use crate::source::{Signal, open};

/// What a switch is asked for, in this order.
const ACTIONS: [Command; 7] = [
    Command::Start,
    Command::Again,
    Command::Overrule(Verdict::Clean),
    Command::Overrule(Verdict::Broken),
    Command::Skip,
    Command::Later,
    Command::Pause,
];

/// How one switch was left.
enum Left {
    Learned(Trigger, Pressed),
    PassedOver,
    Done,
}

/// Learns switches until the player is done.
///
/// # Errors
/// When the input cannot be opened or the settings cannot be read or written.
pub fn learn(input: Option<&str>, data: Option<&Path>) -> anyhow::Result<()> {
    let paths = Paths::find(data)?;
    let config = super::settings(&paths)?;
    let input = input.or(config.input.as_deref()).unwrap_or_default();
    let source = open(input)?;
    let name = source.name();
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let _running = source.start(clock, sender)?;
    let words = read_words();
    say(&tr!("listening to {name}. Enter passes an action over, `done` ends; every switch is kept at once", name))?;
    for command in ACTIONS {
        say(&format!("{}: {}", command.word(), command.help()))?;
        match one(&signals, &words, clock)? {
            Left::PassedOver => {}
            Left::Done => break,
            Left::Learned(trigger, pressed) => {
                Config::change(&paths.config_file, |text| put_switch(text, &Switch { trigger, pressed, command }))?;
                say(&tr!("kept: {switch} is {command}{how}", switch = trigger.words(), command = command.word(), how = way(pressed)))?;
            }
        }
    }
    say(&tr!("the switches stand in {file}", file = paths.config_file.display()))
}

/// Says which way round a switch works, where that is not the usual one.
fn way(pressed: Pressed) -> String {
    match pressed {
        Pressed::From(64 | 1) => String::new(),
        Pressed::From(least) => tr!(", pressed from {least} up", least),
        Pressed::UpTo(most) => tr!(", pressed from {most} down", most),
        Pressed::Each => tr!(", at every message"),
    }
}

/// Learns one switch.
fn one(signals: &Receiver<Signal>, words: &Receiver<String>, clock: SessionClock) -> anyhow::Result<Left> {
    let mut learner = Learner::default();
    let mut step = None;
    // What came before the question answers nothing.
    let asked = clock.now();
    loop {
        if step != Some(learner.step()) {
            step = Some(learner.step());
            match learner.step() {
                Step::Press => say(&tr!("  press the switch, and hold it"))?,
                Step::LetGo => say(&tr!("  let it go"))?,
                Step::Done(trigger, pressed) => return Ok(Left::Learned(trigger, pressed)),
            }
        }
        let deadline = learner.deadline().map_or_else(never, |due| at(clock.instant(due)));
        select! {
            recv(signals) -> signal => match signal {
                Ok(Signal::Midi(event)) if event.at >= asked => learner.event(event.at, &event.what),
                Ok(Signal::Ended) | Err(_) => return Ok(Left::Done),
                Ok(_) => {}
            },
            recv(words) -> word => match word.as_deref().map(str::trim) {
                Ok("") => return Ok(Left::PassedOver),
                Ok("done") | Err(_) => return Ok(Left::Done),
                Ok(_) => say(&tr!("  press a switch; Enter passes this action over, `done` ends"))?,
            },
            recv(deadline) -> _ => learner.wait(clock.now()),
        }
    }
}

fn say(line: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "{line}").and_then(|()| out.flush()).with_context(|| tr!("writing to the terminal"))
}
