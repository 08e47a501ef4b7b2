//! The study screen's own loop: keys in, the study changes, the screen follows. No instrument and no deadline is in it.

mod app;
pub mod keys;

use std::time::Duration;

use crossbeam_channel::{bounded, select, tick};
use crossterm::event::Event;

pub use app::{App, Prompt};

use super::run::{Wake, on_panic, read_terminal, watch_signals};
use super::theme::Theme;
use super::{Error, Exit, Failure, screen, terminal};
use crate::study::Study;
use app::Effect;

/// Where the text of a study is kept.
pub trait Desk {
    /// Writes the text; what stands there now may hold more, when an edit made meanwhile elsewhere was brought in.
    ///
    /// # Errors
    /// When it could not be written; the reason says where the text is, if anywhere.
    fn save(&mut self, text: &str) -> Result<Kept, Failure>;
}

/// What was kept.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Kept {
    pub text: String,
    /// What to say about it.
    pub words: String,
}

/// Takes the terminal, runs the study on it until the player closes it, and gives the terminal back.
///
/// Where the end comes from outside (a signal, a closed terminal), what is not saved is saved.
///
/// # Errors
/// When the terminal cannot be taken or drawn on, or at such an end the text cannot be saved.
pub fn run(study: Study, desk: &mut dyn Desk, colour: bool) -> Result<Exit, Error> {
    let (sender, wakes) = bounded(256);
    on_panic(sender.clone());
    let _watch = watch_signals(sender.clone()).map_err(Error::Signals)?;
    let mut taken = terminal::take().map_err(|source| Error::Terminal { doing: "opening", source })?;
    read_terminal(sender);
    let mut app = App::new(study, colour);
    let theme = Theme::new(colour);
    let seconds = tick(Duration::from_secs(1));
    let exit = loop {
        if let Some(_hold) = terminal::hold()
            && let Err(source) = taken.screen.draw(|frame| screen::study::draw(&app, theme, frame))
        {
            if terminal::is_closing(&source) || !terminal::is_open() {
                break Exit::Closed;
            }
            return Err(Error::Terminal { doing: "drawing on", source });
        }
        let wake = loop {
            select! {
                recv(wakes) -> wake => break wake.unwrap_or(Wake::Closed),
                recv(seconds) -> _ => if !terminal::is_open() { break Wake::Closed },
            }
        };
        let taken_again = match wake {
            Wake::Terminal(Event::Key(key)) => match app.press(&key) {
                Effect::Nothing => Ok(()),
                Effect::Save => {
                    save(&mut app, desk);
                    Ok(())
                }
                Effect::SaveAndClose if save(&mut app, desk) => break Exit::Quit,
                Effect::SaveAndClose => Ok(()),
                Effect::Close => return Ok(Exit::Quit),
                Effect::Redraw => terminal::take_again(&mut taken.screen),
                Effect::Suspend => terminal::suspend(&mut taken.screen),
            },
            Wake::Terminal(_) => Ok(()),
            Wake::Continued => terminal::take_again(&mut taken.screen),
            Wake::Closed => break Exit::Closed,
            Wake::Signal(signal) => break Exit::Signal(signal),
            Wake::Panicked => return Err(Error::Panicked),
        };
        match taken_again {
            Err(_) if !terminal::is_open() => break Exit::Closed,
            taken => taken.map_err(|source| Error::Terminal { doing: "taking back", source })?,
        }
    };
    if !app.study.is_saved() {
        desk.save(app.study.text()).map_err(Error::Practice)?;
    }
    Ok(exit)
}

/// Saves, and says what came of it; returns whether all is saved.
fn save(app: &mut App, desk: &mut dyn Desk) -> bool {
    match desk.save(app.study.text()) {
        Ok(kept) => {
            app.study.saved(&kept.text);
            app.said = Some(kept.words);
        }
        Err(error) => {
            // The whole chain: the reason is often in the last link.
            let mut words = error.to_string();
            let mut cause = error.source();
            while let Some(next) = cause {
                words = format!("{words}: {next}");
                cause = next.source();
            }
            app.said = Some(words);
        }
    }
    app.study.is_saved()
}
