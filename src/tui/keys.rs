//! Which key does what: the one table behind both the keyboard and the help screen.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::Action;
use crate::journal::entry::Verdict;
use crate::practice::Command;

/// One key, as it is pressed and as it is named.
pub struct Key {
    code: KeyCode,
    control: bool,
    /// Name on the help screen; empty for a second key to the same end.
    pub label: &'static str,
    pub action: Action,
}

const fn key(c: char, label: &'static str, action: Action) -> Key {
    Key { code: KeyCode::Char(c), control: false, label, action }
}

const fn control(c: char, label: &'static str, action: Action) -> Key {
    Key { code: KeyCode::Char(c), control: true, label, action }
}

const fn other(code: KeyCode, action: Action) -> Key {
    Key { code, control: false, label: "", action }
}

/// Every key, in the order of the help screen.
pub const KEYS: &[Key] = &[
    key('s', "s", Action::Practice(Command::Start)),
    key(' ', msgid!("space"), Action::Practice(Command::Pause)),
    key('r', "r", Action::Practice(Command::Again)),
    key('n', "n", Action::Practice(Command::Skip)),
    key('b', "b", Action::Practice(Command::Back)),
    key('y', "y", Action::Practice(Command::Overrule(Verdict::Clean))),
    key('x', "x", Action::Practice(Command::Overrule(Verdict::Broken))),
    key('+', "+", Action::Practice(Command::MoreReps)),
    key('=', "", Action::Practice(Command::MoreReps)),
    key('-', "-", Action::Practice(Command::FewerReps)),
    Key { code: KeyCode::Enter, control: false, label: msgid!("Enter"), action: Action::WriteLine },
    key('1', "1 2 3", Action::TakeLine(0)),
    key('2', "", Action::TakeLine(1)),
    key('3', "", Action::TakeLine(2)),
    key('k', "k", Action::Practice(Command::Later)),
    key('d', "d", Action::Practice(Command::NoLine)),
    key('c', "c", Action::Practice(Command::Cue)),
    key('p', "p", Action::HandOver),
    key('l', "l", Action::Letters),
    key('?', "?", Action::Help),
    key('h', "", Action::Help),
    other(KeyCode::F(1), Action::Help),
    control('z', "Ctrl-Z", Action::Suspend),
    control('l', "", Action::Redraw),
    key('q', "q", Action::Practice(Command::Quit)),
    control('c', "", Action::Practice(Command::Quit)),
    other(KeyCode::Up, Action::Up),
    other(KeyCode::Down, Action::Down),
];

/// Returns the name of the key for a command; empty where none is named.
pub fn label(command: Command) -> String {
    KEYS.iter().find(|key| key.action == Action::Practice(command)).map_or(String::new(), Key::name)
}

impl Key {
    /// Returns its name on the help screen, in the player's language.
    pub fn name(&self) -> String {
        let label = self.label;
        tr!(label)
    }
}

/// Returns what a key event asks for; nothing for a key let go or one without a meaning.
pub fn action(event: &KeyEvent) -> Option<Action> {
    if event.kind == KeyEventKind::Release {
        return None;
    }
    // Shift is part of the character already (`?`, `+`), and capitals mean the same as small letters.
    let code = match event.code {
        KeyCode::Char(c) => KeyCode::Char(c.to_ascii_lowercase()),
        code => code,
    };
    let control = event.modifiers.contains(KeyModifiers::CONTROL);
    if event.modifiers.contains(KeyModifiers::ALT) {
        return None;
    }
    KEYS.iter().find(|key| key.code == code && key.control == control).map(|key| key.action)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_of_the_help_screen_has_a_key() {
        for command in Command::ALL {
            assert!(KEYS.iter().any(|key| key.action == Action::Practice(command) && !key.label.is_empty()), "{command:?}");
        }
    }

    #[test]
    fn no_key_has_two_meanings() {
        for (idx, key) in KEYS.iter().enumerate() {
            assert!(!KEYS[..idx].iter().any(|other| other.code == key.code && other.control == key.control), "{:?}", key.code);
        }
    }

    #[test]
    fn capitals_mean_the_small_letter_and_control_or_alt_do_not() {
        let press = |code, modifiers| action(&KeyEvent::new(code, modifiers));
        assert_eq!(press(KeyCode::Char('R'), KeyModifiers::SHIFT), Some(Action::Practice(Command::Again)));
        assert_eq!(press(KeyCode::Char('r'), KeyModifiers::CONTROL), None);
        assert_eq!(press(KeyCode::Char('r'), KeyModifiers::ALT), None);
        assert_eq!(press(KeyCode::Char('c'), KeyModifiers::CONTROL), Some(Action::Practice(Command::Quit)));
        assert_eq!(press(KeyCode::Char('?'), KeyModifiers::SHIFT), Some(Action::Help));
    }

    #[test]
    fn letting_a_key_go_means_nothing() {
        let mut event = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        event.kind = KeyEventKind::Release;
        assert_eq!(action(&event), None);
    }
}
