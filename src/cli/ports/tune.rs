//! `catchword ports --tune`: three short tasks at the instrument, and what they tell is kept under the name of its port.
//!
//! It writes plain lines, so that it works in any terminal, with a screen reader and in a log. Enter goes on to the next task.

use std::io::{self, BufRead};
use std::thread;

use anyhow::bail;
use crossbeam_channel::{Receiver, at, bounded, never, select};

use super::words::profile_lines;
use crate::cli::{N_SIGNALS_MAX, print_lines};
use crate::clock::SessionClock;
use crate::instruments::Instruments;
use crate::midi::profile::{SetUp, Task};
use crate::paths::Paths;
use crate::source::{Signal, open};

/// Strings of the walk after which their number is said again.
const SAY_EVERY: usize = 12;

/// Guides the player through the set-up of the input, and keeps what was found.
///
/// # Errors
/// When the input cannot be opened, nothing was played, or what was found cannot be kept.
pub fn run(input: Option<&str>, paths: &Paths) -> anyhow::Result<()> {
    let config = crate::cli::settings(paths)?;
    let file = Instruments::file(paths);
    // Read first: a file that cannot be read is told of before the player has done the work.
    let mut instruments = Instruments::load(&file)?;
    let source = open(input.or(config.input.as_deref()).unwrap_or_default())?;
    let name = source.name();
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let running = source.start(clock, sender)?;
    say(tr!("listening to {name}", name))?;
    let mut set_up = SetUp::begin(clock.now());
    guide(&mut set_up, &signals, &read_lines(), clock)?;
    drop(running);
    let Some(profile) = set_up.finish() else {
        bail!(tr!("nothing is kept: no walk over the strings was heard; play them one by one, from the lowest to the highest"));
    };
    instruments.set(&name, profile.clone());
    instruments.save(&file)?;
    print_lines(profile_lines(&profile).into_iter().chain([tr!("kept for {name} in {file}", name, file = file.display())]))
}

fn guide(set_up: &mut SetUp, signals: &Receiver<Signal>, lines: &Receiver<()>, clock: SessionClock) -> anyhow::Result<()> {
    let mut signals = signals.clone();
    let mut lines = lines.clone();
    let mut asked = None;
    let mut n_said = 0;
    while set_up.task() != Task::Done {
        if asked != Some(set_up.task()) {
            if asked == Some(Task::Walk) {
                say(tr!("1 string heard" | "{n} strings heard" % set_up.n_strings()))?;
            }
            asked = Some(set_up.task());
            say(words(set_up.task()))?;
        }
        let over = set_up.deadline().map_or_else(never, |due| at(clock.instant(due)));
        select! {
            recv(signals) -> signal => match signal {
                Ok(Signal::Midi(event)) => {
                    set_up.hear(event);
                    if set_up.task() == Task::Walk && set_up.n_strings() >= n_said + SAY_EVERY {
                        n_said = set_up.n_strings();
                        say(tr!("{n} strings so far", n = n_said))?;
                    }
                }
                Ok(Signal::Gone { what }) => say(tr!("instrument gone: {what}", what))?,
                Ok(Signal::Back { what }) => say(tr!("instrument back: {what}", what))?,
                Ok(Signal::Dropped { n_events }) => say(tr!("1 note came too fast to be heard" | "{n} notes came too fast to be heard" % n_events))?,
                Ok(Signal::Ended) => while set_up.task() != Task::Done { set_up.next(clock.now()) },
                Err(_) => signals = never(),
            },
            recv(lines) -> line => match line {
                Ok(()) => set_up.next(clock.now()),
                Err(_) => lines = never(),
            },
            recv(over) -> _ => set_up.next(clock.now()),
        }
    }
    Ok(())
}

fn words(task: Task) -> String {
    match task {
        Task::Walk => tr!("1 of 3: softly, every string once, one by one, from the lowest to the highest; then wait"),
        Task::Damp => {
            tr!("2 of 3: the lowest string: play it and damp it at once, then play it again and let it ring; Enter leaves this out")
        }
        Task::Lever => {
            tr!("3 of 3: any string: play it, move its lever or pedal, and play it again; Enter leaves this out, as where there is none")
        }
        Task::Done => String::new(),
    }
}

fn say(line: String) -> anyhow::Result<()> {
    print_lines([line])
}

/// Reads lines on a thread of its own, which ends with the process if nobody types.
fn read_lines() -> Receiver<()> {
    let (sender, lines) = bounded(1);
    thread::spawn(move || {
        for line in io::stdin().lock().lines() {
            if line.is_err() || sender.send(()).is_err() {
                return;
            }
        }
    });
    lines
}
