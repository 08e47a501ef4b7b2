//! The one loop: keys, notes, deadlines and signals in; practice decides; the screen follows.
//!
//! It sleeps until something happens. Notes and deadlines reach practice in the order of their
//! stamps, so that what a live session records is what a replay of its take gives.

mod wakes;

use std::time::Duration;

use crossbeam_channel::{Receiver, at, never, select, tick};
use crossterm::event::{Event, KeyCode, KeyEventKind};
use ratatui::backend::Backend;

use super::app::{App, Effect};
use super::canvas::Canvas;
use super::{Error, Options, Practice, keys, screen, terminal};
use crate::clock::SessionClock;
use crate::log;
use crate::midi::MidiEvent;
use crate::practice::view::Stage;
use crate::practice::{Command, Input, Story};
use crate::source::Signal;
use crate::time::{Micros, Stamped};
pub use wakes::{Opened, Wake, watch_signals};

/// How a session came to its end.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Exit {
    /// The player closed it, or all was done.
    Quit,
    /// The terminal was closed: there is nobody left to print anything to.
    Closed,
    /// The system asked for the end with this signal.
    Signal(i32),
}

/// Notes taken in before the screen is drawn again.
const NOTES_AT_ONCE: usize = 256;
/// Deadlines that may fall due in one turn; more is an engine that asks for the same one for ever.
const DEADLINES_AT_ONCE: usize = 10_000;
/// Deadlines further off than this are looked at again then.
const LONG: Micros = Micros(3_600_000_000);

/// Takes the terminal, runs practice on it until the end, and gives the terminal back.
///
/// Whatever the end is (a key, a signal, a closed terminal), practice gets [`Command::Quit`] first,
/// so that nothing is lost.
///
/// # Errors
/// When the terminal cannot be taken or drawn on, or practice fails.
pub fn run(practice: &mut dyn Practice, notes: &Receiver<Signal>, clock: SessionClock, options: Options) -> Result<Exit, Error> {
    let mut opened = Opened::try_new()?;
    let mut app = App::new(options);
    app.breaks = practice.breaks();
    let mut session = Session { practice, app, clock, is_closed: false };
    session.run(&mut opened.taken.screen, &opened.wakes, notes, &mut System)
}

/// What the loop needs of the system; a test has its own.
pub trait Host<B: Backend> {
    fn is_open(&self) -> bool;
    /// Returns the right to draw, or nothing once the terminal has been given back.
    fn hold(&self) -> Option<terminal::Hold>;
    fn suspend(&mut self, screen: &mut Canvas<B>) -> std::io::Result<()>;
    fn take_again(&mut self, screen: &mut Canvas<B>) -> std::io::Result<()>;
}

struct System;

impl Host<super::gate::Gate<std::io::BufWriter<std::io::Stdout>>> for System {
    fn is_open(&self) -> bool {
        terminal::is_open()
    }

    fn hold(&self) -> Option<terminal::Hold> {
        terminal::hold()
    }

    fn suspend(&mut self, screen: &mut terminal::FullScreen) -> std::io::Result<()> {
        terminal::suspend(screen)
    }

    fn take_again(&mut self, screen: &mut terminal::FullScreen) -> std::io::Result<()> {
        terminal::take_again(screen)
    }
}

pub struct Session<'a> {
    pub practice: &'a mut dyn Practice,
    pub app: App,
    pub clock: SessionClock,
    /// The player closed the account without a key.
    pub is_closed: bool,
}

/// What one turn of the loop came to.
enum Turn {
    Unchanged,
    Changed,
    End(Exit),
}

impl Session<'_> {
    pub fn run<B: Backend>(
        &mut self,
        screen: &mut Canvas<B>,
        wakes: &Receiver<Wake>,
        notes: &Receiver<Signal>,
        host: &mut dyn Host<B>,
    ) -> Result<Exit, Error>
    where
        B::Error: Send + Sync + 'static,
    {
        let seconds = tick(Duration::from_secs(1));
        let mut notes = notes.clone();
        let mut turn = Turn::Changed;
        loop {
            if self.is_closed && !matches!(turn, Turn::End(_)) {
                turn = Turn::End(Exit::Quit);
            }
            match turn {
                Turn::End(exit) => {
                    self.take_notes(&notes)?;
                    if let Some(story) = self.app.close_editor() {
                        self.give(self.clock.now(), Input::Story(story))?;
                    }
                    self.give(self.clock.now(), Input::Command(Command::Quit))?;
                    return Ok(exit);
                }
                Turn::Changed => {
                    let drawn = host.hold().map_or(Ok(()), |_hold| self.draw(screen));
                    if let Err(error) = drawn {
                        if terminal::is_closing(&error) || !host.is_open() {
                            turn = Turn::End(Exit::Closed);
                            continue;
                        }
                        return Err(Error::Terminal { doing: msgid!("drawing on"), source: std::io::Error::other(error) });
                    }
                }
                Turn::Unchanged => {}
            }
            let deadline = match self.practice.next_deadline() {
                Some(due) => at(self.clock.instant(due.min(self.clock.now() + LONG))),
                None => never(),
            };
            turn = select! {
                recv(wakes) -> wake => match wake {
                    Ok(wake) => self.wake(wake, screen, host, &notes)?,
                    Err(_) => Turn::End(Exit::Closed),
                },
                recv(notes) -> signal => match signal {
                    Ok(signal) => {
                        self.hear(signal)?;
                        self.take_notes(&notes)?;
                        Turn::Changed
                    }
                    Err(_) => {
                        notes = never();
                        Turn::Unchanged
                    }
                },
                recv(deadline) -> _ => {
                    // A note that was played before the deadline comes before it.
                    self.take_notes(&notes)?;
                    self.meet_deadlines(self.clock.now())?;
                    Turn::Changed
                }
                recv(seconds) -> _ => {
                    if !host.is_open() {
                        Turn::End(Exit::Closed)
                    } else if self.app.tick(&self.practice.view(), self.clock.now()) {
                        Turn::Changed
                    } else {
                        Turn::Unchanged
                    }
                }
            };
        }
    }

    fn draw<B: Backend>(&mut self, screen: &mut Canvas<B>) -> Result<(), B::Error> {
        let view = self.practice.view();
        self.app.follow(&view);
        let (app, caption) = (&self.app, self.practice.caption());
        screen.draw(|frame| screen::draw(app, caption, &view, frame))
    }

    fn wake<B: Backend>(
        &mut self,
        wake: Wake,
        screen: &mut Canvas<B>,
        host: &mut dyn Host<B>,
        notes: &Receiver<Signal>,
    ) -> Result<Turn, Error> {
        match wake {
            Wake::Terminal(Event::Key(key)) => {
                // What was played before the key was pressed comes before it.
                self.take_notes(notes)?;
                if let Some(said) = self.app.type_line(&key) {
                    if let Some(story) = said {
                        self.give(self.clock.now(), Input::Story(story))?;
                    }
                    return Ok(Turn::Changed);
                }
                if matches!(key.code, KeyCode::Esc | KeyCode::Enter) && key.kind != KeyEventKind::Release {
                    if self.is_finished() {
                        return Ok(Turn::End(Exit::Quit));
                    }
                    let lay_over = self.app.dismiss();
                    if let (Some(ask), KeyCode::Enter, false) = (self.practice.view().ask, key.code, lay_over) {
                        self.app.write_line(ask.typed);
                    }
                    return Ok(Turn::Changed);
                }
                match self.app.press(keys::action(&key)) {
                    Effect::Nothing => {}
                    Effect::Command(Command::Quit) => return Ok(Turn::End(Exit::Quit)),
                    Effect::Command(Command::Pause) if self.is_finished() => return Ok(Turn::End(Exit::Quit)),
                    Effect::Command(command) => self.give(self.clock.now(), Input::Command(command))?,
                    Effect::TakeLine(n) => self.give(self.clock.now(), Input::Story(Story::Picked(n)))?,
                    Effect::HandOver => {
                        let at = self.clock.now();
                        self.meet_deadlines(at)?;
                        if let Some(words) = self.practice.hand_over(at).map_err(Error::Practice)? {
                            self.app.mention(words, at);
                        }
                    }
                    Effect::Redraw => {
                        let taken = host.take_again(screen);
                        return taken_back(taken, host);
                    }
                    Effect::Suspend => {
                        if !matches!(self.practice.view().stage, Stage::Paused | Stage::Finished { .. }) {
                            self.give(self.clock.now(), Input::Command(Command::Pause))?;
                        }
                        let taken = host.suspend(screen);
                        return taken_back(taken, host);
                    }
                }
                Ok(Turn::Changed)
            }
            Wake::Terminal(Event::Resize(..)) => {
                // Where this fails drawing fails too, and says so.
                if let Some(_hold) = host.hold() {
                    let _ = screen.draw_anew();
                }
                Ok(Turn::Changed)
            }
            Wake::Terminal(_) => Ok(Turn::Unchanged),
            Wake::Continued => {
                let taken = host.take_again(screen);
                taken_back(taken, host)
            }
            Wake::Closed => Ok(Turn::End(Exit::Closed)),
            Wake::Signal(signal) => Ok(Turn::End(Exit::Signal(signal))),
            Wake::Panicked => Err(Error::Panicked),
        }
    }

    fn is_finished(&self) -> bool {
        matches!(self.practice.view().stage, Stage::Finished { .. })
    }

    fn take_notes(&mut self, notes: &Receiver<Signal>) -> Result<(), Error> {
        notes.try_iter().take(NOTES_AT_ONCE).try_for_each(|signal| self.hear(signal))
    }

    fn hear(&mut self, signal: Signal) -> Result<(), Error> {
        match signal {
            Signal::Midi(Stamped { at, what }) => {
                if matches!(what, MidiEvent::NoteOn { .. }) {
                    self.app.note_struck(at);
                    if let Some(story) = self.app.close_editor() {
                        self.give(at, Input::Story(story))?;
                    }
                }
                let was_finished = self.is_finished();
                self.practice.cover(self.app.lies_over());
                self.give(at, Input::Midi(what))?;
                if self.practice.take_pressed() {
                    self.app.dismiss();
                    self.is_closed |= was_finished;
                }
                Ok(())
            }
            other => {
                log::note(|| format!("{other:?}"));
                self.app.signal(&other, self.clock.now());
                if matches!(other, Signal::Gone { .. }) { self.give(self.clock.now(), Input::Gone) } else { Ok(()) }
            }
        }
    }

    fn give(&mut self, at: Micros, what: Input) -> Result<(), Error> {
        self.meet_deadlines(at)?;
        self.practice.handle(Stamped { at, what }).map_err(Error::Practice)?;
        self.pass_notice_on(at);
        Ok(())
    }

    fn meet_deadlines(&mut self, until: Micros) -> Result<(), Error> {
        meet_deadlines(self.practice, until)?;
        self.pass_notice_on(until);
        Ok(())
    }

    fn pass_notice_on(&mut self, at: Micros) {
        if let Some(words) = self.practice.take_notice() {
            self.app.mention(words, at);
        }
    }
}

/// A terminal that cannot be taken back because it was closed is an ordinary end (a closing one sends "go on", too).
fn taken_back<B: Backend>(taken: std::io::Result<()>, host: &dyn Host<B>) -> Result<Turn, Error> {
    match taken {
        Ok(()) => Ok(Turn::Changed),
        Err(_) if !host.is_open() => Ok(Turn::End(Exit::Closed)),
        Err(source) => Err(Error::Terminal { doing: msgid!("taking back"), source }),
    }
}

/// Gives practice every deadline that falls due up to `until`, each stamped with its own time.
pub fn meet_deadlines(practice: &mut dyn Practice, until: Micros) -> Result<(), Error> {
    for _ in 0..DEADLINES_AT_ONCE {
        match practice.next_deadline() {
            Some(due) if due <= until => {
                practice.handle(Stamped { at: due, what: Input::Deadline }).map_err(Error::Practice)?;
            }
            _ => break,
        }
    }
    Ok(())
}
