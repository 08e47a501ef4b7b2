//! What the study screen knows beyond the study: a line being typed, what was last said, the help.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind};

use super::super::widget::line_editor::LineEditor;
use super::keys::{Asked, Meaning, meaning};
use crate::study::{Action, Room, Study, View};

pub struct App {
    pub study: Study,
    pub colour: bool,
    pub prompt: Option<Prompt>,
    /// Said about the last key; gone with the next.
    pub said: Option<String>,
    pub help_open: bool,
    /// The player wants to close, and not all is saved.
    pub is_leaving: bool,
}

/// A line being typed.
pub struct Prompt {
    pub asked: Asked,
    pub editor: LineEditor,
}

/// What the loop must do after a key.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Effect {
    Nothing,
    Save,
    SaveAndClose,
    Close,
    Redraw,
    Suspend,
}

impl App {
    pub fn new(study: Study, colour: bool) -> App {
        App { study, colour, prompt: None, said: None, help_open: false, is_leaving: false }
    }

    /// Takes a key that was pressed.
    pub fn press(&mut self, key: &KeyEvent) -> Effect {
        if key.kind == KeyEventKind::Release {
            return Effect::Nothing;
        }
        if self.prompt.is_some() {
            self.type_key(key);
            return Effect::Nothing;
        }
        self.said = None;
        if self.is_leaving {
            self.is_leaving = false;
            return match key.code {
                KeyCode::Char('w') => Effect::SaveAndClose,
                KeyCode::Char('x') => Effect::Close,
                _ => Effect::Nothing,
            };
        }
        if self.help_open {
            self.help_open = false;
            return Effect::Nothing;
        }
        let room = self.study.view().room;
        match meaning(key, room) {
            None if key.code == KeyCode::Enter => self.enter(room),
            None => {}
            Some(Meaning::Act(action)) => self.act(action.clone()),
            Some(Meaning::Ask(asked)) => self.ask(asked.clone()),
            Some(Meaning::Help) => self.help_open = true,
            Some(Meaning::Save) => return Effect::Save,
            Some(Meaning::Redraw) => return Effect::Redraw,
            Some(Meaning::Suspend) => return Effect::Suspend,
            Some(Meaning::Quit) if self.study.is_saved() => return Effect::Close,
            Some(Meaning::Quit) => self.is_leaving = true,
        }
        Effect::Nothing
    }

    /// Enter does what is nearest at hand: rewords a line, renames a section, goes from the map to the story of the bar.
    fn enter(&mut self, room: Room) {
        match room {
            Room::Story => self.ask(Asked::Words),
            Room::Map => self.act(Action::Room(Room::Story)),
            Room::Sections => self.ask(Asked::Name),
        }
    }

    fn act(&mut self, action: Action) {
        self.said = match self.study.act(action) {
            Ok(said) => said,
            Err(why) => Some(why),
        };
    }

    fn ask(&mut self, asked: Asked) {
        let view = self.study.view();
        let begin = match begin(&asked, &view) {
            Ok(begin) => begin,
            Err(why) => {
                self.said = Some(why);
                return;
            }
        };
        self.prompt = Some(Prompt { asked, editor: LineEditor::new(&begin) });
    }

    fn type_key(&mut self, key: &KeyEvent) {
        let Some(prompt) = &mut self.prompt else { return };
        match key.code {
            KeyCode::Esc => self.prompt = None,
            KeyCode::Enter => {
                let text = prompt.editor.text().to_owned();
                let done = match prompt.asked.clone() {
                    Asked::Words => self.study.act(Action::Reword(text)),
                    Asked::Fuller => self.study.act(Action::RewordMore(text)),
                    Asked::Name => self.study.act(Action::Rename(text)),
                    Asked::NewWords(at) => self.study.act(Action::Add { at, text }),
                    Asked::Place => match self.study.read_place(&text) {
                        Ok(_) => {
                            let asked = Asked::NewWords(text.trim().to_owned());
                            self.prompt = Some(Prompt { asked, editor: LineEditor::default() });
                            self.said = None;
                            return;
                        }
                        Err(why) => Err(why),
                    },
                };
                // What was typed stays until it can be taken.
                match done {
                    Ok(said) => (self.prompt, self.said) = (None, said),
                    Err(why) => self.said = Some(why),
                }
            }
            _ => {
                prompt.editor.press(key);
                self.said = None;
            }
        }
    }
}

/// The text that typing begins with.
fn begin(asked: &Asked, view: &View) -> Result<String, String> {
    let line = view.lines.get(view.line);
    let no_line = || tr!("there is no line yet: n writes one");
    match asked {
        Asked::Words => line.map(|l| l.text.to_owned()).ok_or_else(no_line),
        Asked::Fuller => line.map(|l| l.more.unwrap_or_default().to_owned()).ok_or_else(no_line),
        Asked::Place => Ok(line.map_or_else(String::new, |l| l.place.clone())),
        Asked::NewWords(_) => Ok(String::new()),
        Asked::Name => {
            let here = view.sections.iter().rev().find(|s| (s.from..s.end).contains(&view.bar));
            here.map(|s| s.name.to_owned()).ok_or_else(|| tr!("this bar is in no section"))
        }
    }
}
