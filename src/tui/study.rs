//! The study screen: keys in, the study changes, the screen follows.

mod app;
pub mod keys;

use crossterm::event::KeyEvent;

pub use app::{App, Prompt};

use super::frame::Frame;
use super::key_screen::{self, End, KeyScreen};
use super::theme::Theme;
use super::{Error, Exit, Failure, screen};
use crate::language::system;
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
    let mut shown = Shown { app: App::new(study, colour), desk, theme: Theme::new(colour) };
    let End::Outside(exit) = key_screen::run(&mut shown)? else { return Ok(Exit::Quit) };
    let study = &shown.app.study;
    if !study.is_saved() {
        shown.desk.save(study.text()).map_err(Error::Practice)?;
    }
    Ok(exit)
}

struct Shown<'a> {
    app: App,
    desk: &'a mut dyn Desk,
    theme: Theme,
}

impl KeyScreen for Shown<'_> {
    type Left = ();

    fn draw(&mut self, frame: &mut Frame<'_>) {
        screen::study::draw(&self.app, self.theme, frame);
    }

    fn press(&mut self, key: &KeyEvent) -> key_screen::Effect<()> {
        match self.app.press(key) {
            Effect::Save => {
                save(&mut self.app, self.desk);
            }
            Effect::SaveAndClose if save(&mut self.app, self.desk) => return key_screen::Effect::Leave(()),
            Effect::Close => return key_screen::Effect::Leave(()),
            Effect::Redraw => return key_screen::Effect::Redraw,
            Effect::Suspend => return key_screen::Effect::Suspend,
            Effect::Nothing | Effect::SaveAndClose => {}
        }
        key_screen::Effect::Stay
    }
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
            app.said = Some(system::chain(error.as_ref()));
        }
    }
    app.study.is_saved()
}
