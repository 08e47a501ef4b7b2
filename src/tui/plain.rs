//! Plain lines instead of a screen: for pipes, logs and screen readers.
//!
//! Lines are only ever added, never redrawn, and each begins with the word that matters. While
//! memory holds nothing is written.

use std::io::{self, BufRead, Write};
use std::thread;
use std::time::Duration;

use crossbeam_channel::{Receiver, at, bounded, never, select};

use super::app::{App, rest_words};
use super::run::{Wake, meet_deadlines, watch_signals};
use super::screen::caution_line;
use super::{Error, Exit, Options, Practice};
use crate::clock::SessionClock;
use crate::journal::entry::{Mode, Verdict};
use crate::midi::MidiEvent;
use crate::practice::quiz::kind_words;
use crate::practice::view::{Quiz, Stage};
use crate::practice::{Ask, Command, Input, Story, View};
use crate::report::plain_text::plain_lines;
use crate::source::Signal;
use crate::time::{Micros, Stamped};

/// Writes a line whenever what is shown has changed.
pub struct Plain<W: Write> {
    out: W,
    /// The span announced last, with its mode and its name: a few bars of it may be offered by themselves.
    span: Option<(usize, Mode, String)>,
    /// What was said last about the rep in progress.
    said: Option<Said>,
}

#[derive(Clone, PartialEq, Debug)]
struct Said {
    /// Reps judged so far: the same words about a later rep are said again.
    n_reps: usize,
    line: String,
    cue: bool,
}

impl<W: Write> Plain<W> {
    pub fn new(out: W) -> Self {
        Plain { out, span: None, said: None }
    }

    /// Writes what is new in `view`; nothing when nothing is.
    ///
    /// # Errors
    /// When the line cannot be written; a reader that went away is `BrokenPipe`.
    pub fn show(&mut self, view: &View) -> io::Result<()> {
        let span = (view.span_idx, view.mode, view.span.to_owned());
        if self.span.as_ref() != Some(&span) && view.n_spans > 0 && !matches!(view.stage, Stage::Finished { .. }) {
            let is_same = self.span.as_ref().is_some_and(|last| (last.0, last.1) == (span.0, span.1));
            self.span = Some(span);
            self.said = None;
            let line = if is_same { tr!("next: {span}{bars}", span = view.span, bars = bars_words(view)) } else { span_line(view) };
            self.write(&line)?;
        }
        let line = line(view);
        if view.stage == Stage::Playing && self.said.as_ref().is_some_and(|said| said.cue) {
            self.write(&tr!("on: playing again"))?;
        }
        let Some(line) = line else {
            self.said = None;
            return Ok(());
        };
        let cue = matches!(view.stage, Stage::Prompted { .. });
        let said = Some(Said { n_reps: view.verdicts.len(), line, cue });
        if said != self.said {
            self.said = said;
            if let Stage::Finished { account } = view.stage {
                account.iter().try_for_each(|line| self.write(line))?;
            } else if let Some(said) = &self.said {
                let line = said.line.clone();
                self.write(&line)?;
                view.ask.iter().flat_map(ask_lines).try_for_each(|line| self.write(&line))?;
            }
        }
        Ok(())
    }

    /// Writes one line of its own.
    ///
    /// # Errors
    /// As for [`Plain::show`].
    pub fn write(&mut self, line: &str) -> io::Result<()> {
        writeln!(self.out, "{}", plain_lines(line))?;
        self.out.flush()
    }
}

fn bars_words(view: &View) -> String {
    match view.bars {
        [] => String::new(),
        [only] => tr!(", bar {only}", only),
        [first, .., last] => tr!(", bars {first} to {last}", first, last),
    }
}

fn span_line(view: &View) -> String {
    let bars = bars_words(view);
    match view.mode {
        Mode::Drill if !view.seams.is_empty() => {
            tr!("join {span}{bars} ({nth} of {all})", span = view.span, bars, nth = view.span_idx + 1, all = view.n_spans)
        }
        Mode::Drill => tr!("section {span}{bars} ({nth} of {all})", span = view.span, bars, nth = view.span_idx + 1, all = view.n_spans),
        Mode::Reading => tr!("from the page: {span}{bars}", span = view.span, bars),
        Mode::RunThrough => tr!("run-through: {span}{bars}", span = view.span, bars),
    }
}

/// Returns the lines that ask for a line of story.
fn ask_lines(ask: &Ask) -> Vec<String> {
    let drafts = ask.drafts.iter().enumerate().map(|(i, text)| format!("story {}: {text}", i + 1));
    let pick = if ask.drafts.is_empty() { String::new() } else { tr!(", or story and a number") };
    drafts
        .chain([tr!("to tell {place}: type story: and your words{pick}, later, or no-line; or play on", place = ask.place, pick)])
        .collect()
}

/// Reads `story: words` or `story 2`.
fn story(line: &str) -> Option<Story> {
    let rest = line.trim().strip_prefix("story")?;
    if let Some(words) = rest.trim_start().strip_prefix(':') {
        return (!words.trim().is_empty()).then(|| Story::Told(words.trim().to_owned()));
    }
    rest.trim().parse::<usize>().ok()?.checked_sub(1).map(Story::Picked)
}

/// Returns the line for a stage; nothing while there is nothing to say.
fn line(view: &View) -> Option<String> {
    let count = || tr!("{} of {}", view.n_clean, view.target);
    let with_words = |start: String, words: &str| if words.is_empty() { start } else { format!("{start}: {words}") };
    Some(match view.stage {
        Stage::Waiting | Stage::Playing | Stage::Quiz(Quiz::Answering { .. }) => return None,
        Stage::Unheard => tr!("say {} when it is played, {} for a cue", Command::READY, Command::Cue.word()),
        Stage::Mark { question, choices } | Stage::Quiz(Quiz::Mark { question, choices }) => {
            let choices: Vec<String> = choices.iter().map(|(command, words)| format!("{} ({})", command.word(), tr!(words))).collect();
            tr!("mark: {question}; {choices}", question = tr!(question), choices = choices.join(", "))
        }
        Stage::Quiz(Quiz::Ready { length, is_told: true }) => tr!("quiz: {length}: {word} to begin", length, word = Command::READY),
        Stage::Quiz(Quiz::Ready { length, is_told: false }) => {
            tr!("quiz: {length}: any note, or {word}, to begin", length, word = Command::READY)
        }
        Stage::Quiz(Quiz::Asked { kind, large, small, .. }) => {
            tr!("{kind}: {large}; {small}", kind = kind_words(kind), large, small = small.join(", "))
        }
        Stage::Quiz(Quiz::Called { large, small }) => tr!("go {place}; {more}", place = large, more = small.join(", ")),
        Stage::Quiz(Quiz::Told { large, small, .. }) => with_words(large.to_owned(), small),
        Stage::Prompted { rung: 3.., text } => tr!("page: {text}", text),
        Stage::Prompted { text, .. } => tr!("cue: {text}", text),
        Stage::Look { words } => tr!("look: {place}", place = words),
        Stage::RepDone { verdict: Verdict::Clean, words } => with_words(format!("{}, {}", Verdict::Clean.words(), count()), words),
        Stage::RepDone { verdict: Verdict::Prompted, words } => with_words(format!("{}, {}", Verdict::Prompted.words(), count()), words),
        Stage::RepDone { verdict: Verdict::Broken, words } => with_words(format!("{}, {}", Verdict::Broken.words(), count()), words),
        Stage::SpanDone if view.mode != Mode::Drill => tr!("done: {}, to the end", view.span),
        Stage::SpanDone => tr!("done: {span}, {count}", span = view.span, count = count()),
        Stage::Places { places, .. } => tr!("without a line of story: {}", places.join(&tr!("; "))),
        Stage::Paused => tr!("paused"),
        Stage::Rest { length } => tr!("rest: {why}; play, or type next, to go on", why = rest_words(length)),
        Stage::Finished { .. } => tr!("finished"),
    })
}

/// Runs practice on its own deadlines as fast as it goes, on a clock that only they move: for a
/// built-in player with nobody watching. Ends when practice is finished or waits for nothing.
///
/// # Errors
/// When practice fails or `out` cannot be written; a reader that went away is a quiet end.
pub fn race(practice: &mut dyn Practice, out: impl Write) -> Result<Exit, Error> {
    let mut plain = Plain::new(out);
    loop {
        if let Some(exit) = ending(plain.show(&practice.view()))? {
            return Ok(exit);
        }
        if matches!(practice.view().stage, Stage::Finished { .. }) {
            return Ok(Exit::Quit);
        }
        let Some(due) = practice.next_deadline() else { return Ok(Exit::Quit) };
        practice.handle(Stamped { at: due, what: Input::Deadline }).map_err(Error::Practice)?;
    }
}

/// Runs practice in real time with plain lines out and commands in, one word a line ([`Command::word`]).
///
/// Ends when practice is finished, the notes have ended, or a signal asks for it; the end of the
/// commands alone ends nothing.
///
/// # Errors
/// As for [`race`].
pub fn run(
    practice: &mut dyn Practice,
    notes: &Receiver<Signal>,
    clock: SessionClock,
    commands: impl BufRead + Send + 'static,
    out: impl Write,
) -> Result<Exit, Error> {
    let (sender, wakes) = bounded(16);
    let _watch = watch_signals(sender).map_err(Error::Signals)?;
    let mut words = read_words(commands);
    let mut notes = notes.clone();
    let mut plain = Plain::new(out);
    // Keeps count of the playing, so that breaks are suggested here too.
    let mut app = App::new(Options { caution: true, ..Options::everyday() });
    app.breaks = practice.breaks();
    let exit = loop {
        app.tick(&practice.view(), clock.now());
        if let Some(caution) = app.caution
            && let Some(exit) = ending(plain.write(&caution_line(caution, app.breaks)))?
        {
            break exit;
        }
        app.dismiss();
        if let Some(words) = practice.take_notice()
            && let Some(exit) = ending(plain.write(&words))?
        {
            break exit;
        }
        if let Some(exit) = ending(plain.show(&practice.view()))? {
            break exit;
        }
        if matches!(practice.view().stage, Stage::Finished { .. }) {
            break Exit::Quit;
        }
        let deadline = match practice.next_deadline() {
            Some(due) => at(clock.instant(due.min(clock.now() + Micros(3_600_000_000)))),
            None => never(),
        };
        select! {
            recv(wakes) -> wake => match wake {
                Ok(Wake::Closed) | Err(_) => break Exit::Closed,
                Ok(Wake::Signal(signal)) => break Exit::Signal(signal),
                Ok(_) => {}
            },
            recv(words) -> word => match word {
                Ok(word) => match Command::from_word(word.trim()) {
                    Some(Command::Quit) => break Exit::Quit,
                    Some(command) => give(practice, clock.now(), Input::Command(command))?,
                    None if word.trim().is_empty() => {}
                    None if story(&word).is_some() => {
                        let asked = |practice: &dyn Practice| practice.view().ask.map(|ask| ask.place.to_owned());
                        let before = asked(practice);
                        let told = story(&word).map(Input::Story).expect("it is one");
                        give(practice, clock.now(), told)?;
                        let line = match before {
                            None => tr!("no line is asked for"),
                            Some(place) if Some(&place) == asked(practice).as_ref() => tr!("not one of the lines offered"),
                            Some(place) => tr!("kept for {place}", place),
                        };
                        if let Some(exit) = ending(plain.write(&line))? {
                            break exit;
                        }
                    }
                    None => {
                        let known: Vec<&str> = Command::ALL.iter().map(|command| command.word()).collect();
                        let line = tr!("unknown word {word}; known are {known}, story", word = format!("{:?}", word.trim()), known = known.join(", "));
                        if let Some(exit) = ending(plain.write(&line))? {
                            break exit;
                        }
                    }
                },
                Err(_) => words = never(),
            },
            recv(notes) -> signal => {
                let line = match signal {
                    Ok(Signal::Midi(Stamped { at, what })) => {
                        if matches!(what, MidiEvent::NoteOn { .. }) {
                            app.note_struck(at);
                        }
                        give(practice, at, Input::Midi(what))?;
                        None
                    }
                    Ok(Signal::Gone { what }) => {
                        give(practice, clock.now(), Input::Gone)?;
                        Some(tr!("instrument gone: {what}", what))
                    }
                    Ok(Signal::Back { what }) => Some(tr!("instrument back: {what}", what)),
                    Ok(Signal::Dropped { n_events }) => Some(tr!("1 note came too fast to be heard" | "{n} notes came too fast to be heard" % n_events)),
                    Ok(Signal::Ended) => break Exit::Quit,
                    Err(_) => {
                        notes = never();
                        None
                    }
                };
                if let Some(line) = line && let Some(exit) = ending(plain.write(&line))? {
                    break exit;
                }
            }
            recv(deadline) -> _ => meet_deadlines(practice, clock.now())?,
        }
    };
    give(practice, clock.now(), Input::Command(Command::Quit))?;
    if exit != Exit::Closed {
        ending(plain.show(&practice.view()))?;
    }
    Ok(exit)
}

fn give(practice: &mut dyn Practice, at: Micros, what: Input) -> Result<(), Error> {
    meet_deadlines(practice, at)?;
    practice.handle(Stamped { at, what }).map_err(Error::Practice)
}

/// Reads lines on a thread of its own, which ends with the process if nobody types.
fn read_words(commands: impl BufRead + Send + 'static) -> Receiver<String> {
    let (sender, words) = bounded(16);
    thread::spawn(move || {
        for line in commands.lines() {
            let Ok(line) = line else { return };
            if sender.send_timeout(line, Duration::from_secs(60)).is_err() {
                return;
            }
        }
    });
    words
}

/// Turns a failed write into the end it means: quiet when the reader went away.
fn ending(written: io::Result<()>) -> Result<Option<Exit>, Error> {
    match written {
        Ok(()) => Ok(None),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(Some(Exit::Closed)),
        Err(error) => Err(Error::Output(error)),
    }
}
