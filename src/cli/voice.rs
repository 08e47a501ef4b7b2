//! The spoken cue: what stands large on the screen is said by a program of the player's choice, one voice at a time.
//!
//! Practice never waits for it, and what goes from the screen falls silent.

use std::io;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use crate::config::Speak;
use crate::journal::entry::Mode;
use crate::language::system;
use crate::practice::view::Quiz;
use crate::practice::{Output, Stage, View};

/// How often it is looked whether a voice has ended.
const LOOK_AGAIN: Duration = Duration::from_millis(50);

/// Says cues, questions and calls; falls silent when it is dropped.
pub struct Voice {
    /// None once the program could not be run.
    speak: Option<Speak>,
    utterance: Option<Utterance>,
    trouble: Option<String>,
}

impl Voice {
    pub fn new(speak: Speak) -> Self {
        Voice { speak: Some(speak), utterance: None, trouble: None }
    }

    /// Says the last of what was put out, as long as it stands on the screen; otherwise stops what is being said.
    pub fn follow(&mut self, outputs: &[Output], view: &View<'_>) {
        let stands = matches!(view.stage, Stage::Prompted { .. } | Stage::Quiz(Quiz::Asked { .. } | Quiz::Called { .. }));
        if !stands || view.mode != Mode::Drill {
            self.utterance = None;
        } else if let Some(words) = outputs.iter().rev().find_map(words) {
            self.say(&words);
        }
    }

    /// Returns why nothing is spoken, once.
    pub fn take_trouble(&mut self) -> Option<String> {
        self.trouble.take()
    }

    fn say(&mut self, text: &str) {
        self.utterance = None;
        let Some(speak) = &self.speak else { return };
        let Some(arguments) = speak.arguments(text) else { return };
        match Utterance::begin(speak.program(), &arguments) {
            Ok(utterance) => self.utterance = Some(utterance),
            Err(error) => {
                self.trouble = Some(tr!(
                    "no spoken cues: cannot run {program} ({why}); see speak in the settings",
                    program = format!("{:?}", speak.program()),
                    why = system::said(&error)
                ));
                self.speak = None;
            }
        }
    }
}

/// Returns what is said of an output, if anything is.
fn words(output: &Output) -> Option<String> {
    match output {
        Output::Prompted { text, .. } => Some(text.clone()),
        Output::Asked { words, .. } | Output::Called { words, .. } => Some(words.clone()),
        _ => None,
    }
}

/// A program that is speaking; dropped, it is stopped. A thread of its own waits for its end, so that nothing is left of it.
struct Utterance(Arc<Mutex<Child>>);

impl Utterance {
    fn begin(program: &str, arguments: &[String]) -> io::Result<Self> {
        let mut command = Command::new(program);
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        // A group of its own: a script is stopped with all that it started.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let utterance = Utterance(Arc::new(Mutex::new(command.spawn()?)));
        let child = Arc::clone(&utterance.0);
        thread::Builder::new().name("voice".to_owned()).spawn(move || {
            while matches!(lock(&child).try_wait(), Ok(None)) {
                thread::sleep(LOOK_AGAIN);
            }
        })?;
        Ok(utterance)
    }
}

impl Drop for Utterance {
    fn drop(&mut self) {
        let mut child = lock(&self.0);
        // One that has ended is no more: its number may be another's by now.
        if matches!(child.try_wait(), Ok(None)) {
            stop(&mut child);
        }
    }
}

/// Stops a running program; one that ends just now has nothing left to stop.
fn stop(child: &mut Child) {
    #[cfg(unix)]
    let _ = rustix::process::kill_process_group(rustix::process::Pid::from_child(child), rustix::process::Signal::KILL);
    #[cfg(not(unix))]
    let _ = child.kill();
}

fn lock(child: &Mutex<Child>) -> MutexGuard<'_, Child> {
    child.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(all(test, target_os = "linux"))]
mod tests;
