//! Which key does what while studying: the one table behind the keyboard, the hints at the foot and the help screen.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::study::{Action, Room};

/// What a key brings about.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Meaning {
    Act(Action),
    Ask(Asked),
    Save,
    Help,
    Redraw,
    Suspend,
    Quit,
}

/// What the player is asked to type.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Asked {
    Words,
    Fuller,
    /// Where a new line goes.
    Place,
    /// The words of a new line at a place.
    NewWords(String),
    Name,
}

impl Asked {
    pub fn label(&self) -> String {
        match self {
            Asked::Words => tr!("in your words"),
            Asked::Fuller => tr!("fuller, when that is not enough"),
            Asked::Place => tr!("where (bar.beat, then left or right if you like)"),
            Asked::NewWords(at) => tr!("at {at}", at),
            Asked::Name => tr!("name of the section"),
        }
    }
}

pub struct Key {
    code: KeyCode,
    control: bool,
    /// Name on the help screen; empty for a second key to the same end.
    pub label: &'static str,
    /// One word for the foot; empty where it is not hinted at.
    hint: &'static str,
    help: &'static str,
    /// The room that it has this meaning in; none for all.
    pub room: Option<Room>,
    pub meaning: Meaning,
}

const fn key(code: KeyCode, label: &'static str, hint: &'static str, help: &'static str, room: Option<Room>, meaning: Meaning) -> Key {
    Key { code, control: false, label, hint, help, room, meaning }
}

const fn again(code: KeyCode, control: bool, meaning: Meaning) -> Key {
    Key { code, control, label: "", hint: "", help: "", room: None, meaning }
}

const fn char(c: char) -> KeyCode {
    KeyCode::Char(c)
}

const STORY: Option<Room> = Some(Room::Story);
const SECTIONS: Option<Room> = Some(Room::Sections);

use Meaning::{Act, Ask};

/// Every key, in the order of the help screen. The first that fits the room counts.
pub const KEYS: &[Key] = &[
    key(KeyCode::Up, "\u{2191} \u{2193}", "", msgid!("line or section before, next; on the map the next mark"), None, Act(Action::Up)),
    again(KeyCode::Down, false, Act(Action::Down)),
    key(KeyCode::Left, "\u{2190} \u{2192}", "", msgid!("a bar back, a bar on (map, sections)"), None, Act(Action::Left)),
    again(KeyCode::Right, false, Act(Action::Right)),
    again(KeyCode::Home, false, Act(Action::First)),
    again(KeyCode::End, false, Act(Action::Last)),
    again(KeyCode::PageUp, false, Act(Action::PageUp)),
    again(KeyCode::PageDown, false, Act(Action::PageDown)),
    key(KeyCode::Tab, "Tab", "", msgid!("story, map, sections: the next of them"), None, Act(Action::NextRoom)),
    again(char('1'), false, Act(Action::Room(Room::Story))),
    again(char('2'), false, Act(Action::Room(Room::Map))),
    again(char('3'), false, Act(Action::Room(Room::Sections))),
    key(char('a'), "a", msgid!("keep"), msgid!("keep the drafted line: it becomes a cue"), STORY, Act(Action::Accept)),
    key(char('A'), "A", "", msgid!("keep every drafted line of this section"), STORY, Act(Action::AcceptSection)),
    key(char('e'), "e", msgid!("reword"), msgid!("put the line into your own words"), STORY, Ask(Asked::Words)),
    key(char('f'), "f", msgid!("fuller"), msgid!("the fuller words, shown when the first were not enough"), STORY, Ask(Asked::Fuller)),
    key(char('x'), "x", msgid!("drop"), msgid!("drop the line"), STORY, Act(Action::Drop)),
    key(char('n'), "n", msgid!("new"), msgid!("write a line of your own at a place"), STORY, Ask(Asked::Place)),
    key(char('s'), "s", msgid!("split"), msgid!("begin a new section at this bar"), SECTIONS, Act(Action::Split)),
    key(char('m'), "m", msgid!("merge"), msgid!("merge the section with the next"), SECTIONS, Act(Action::MergeNext)),
    key(char('e'), "e", msgid!("rename"), msgid!("rename the section"), SECTIONS, Ask(Asked::Name)),
    key(
        char('['),
        "[ ]",
        msgid!("begin earlier, later"),
        msgid!("let the section begin a bar earlier, later"),
        SECTIONS,
        Act(Action::StartEarlier),
    ),
    key(char(']'), "", "", "", SECTIONS, Act(Action::StartLater)),
    key(char('p'), "p", "", msgid!("cut the piece into the proposed sections"), SECTIONS, Act(Action::TakeProposed)),
    key(char('u'), "u", msgid!("undo"), msgid!("undo the last edit"), None, Act(Action::Undo)),
    key(char('U'), "U", "", msgid!("do again what was undone"), None, Act(Action::Redo)),
    again(char('r'), true, Act(Action::Redo)),
    key(char('d'), "d", "", msgid!("drafts in string letters, full names, or solfege"), None, Act(Action::Dialect)),
    key(char('w'), "w", msgid!("save"), msgid!("save to piece.toml"), None, Meaning::Save),
    again(char('s'), true, Meaning::Save),
    key(char('?'), "?", msgid!("keys"), msgid!("show or hide this list"), None, Meaning::Help),
    again(KeyCode::F(1), false, Meaning::Help),
    key(char('q'), "q", msgid!("close"), msgid!("close"), None, Meaning::Quit),
    again(char('c'), true, Meaning::Quit),
    again(char('z'), true, Meaning::Suspend),
    again(char('l'), true, Meaning::Redraw),
];

impl Key {
    /// Returns the word for the foot; nothing where it is not hinted at.
    pub fn hint(&self) -> Option<String> {
        let hint = self.hint;
        (!hint.is_empty()).then(|| tr!(hint))
    }

    /// Returns the sentence of the help screen.
    pub fn help(&self) -> String {
        let help = self.help;
        match self.room {
            Some(room) => tr!("{help} ({room})", help = tr!(help), room = room.word()),
            None => tr!(help),
        }
    }
}

/// Returns what a key event means in a room.
pub fn meaning(event: &KeyEvent, room: Room) -> Option<&'static Meaning> {
    if event.kind == KeyEventKind::Release || event.modifiers.contains(KeyModifiers::ALT) {
        return None;
    }
    let control = event.modifiers.contains(KeyModifiers::CONTROL);
    let fits = |key: &&Key| key.code == event.code && key.control == control && key.room.is_none_or(|own| own == room);
    KEYS.iter().find(fits).map(|key| &key.meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_has_two_meanings_in_a_room() {
        for room in Room::ALL {
            let in_room: Vec<&Key> = KEYS.iter().filter(|k| k.room.is_none_or(|own| own == room)).collect();
            for (idx, key) in in_room.iter().enumerate() {
                assert!(!in_room[..idx].iter().any(|o| o.code == key.code && o.control == key.control), "{:?} in {room:?}", key.code);
            }
        }
    }

    #[test]
    fn letters_count_as_typed_and_only_in_their_room() {
        let press = |c, room| meaning(&KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE), room);
        assert_eq!(press('a', Room::Story), Some(&Act(Action::Accept)));
        assert_eq!(press('A', Room::Story), Some(&Act(Action::AcceptSection)));
        assert_eq!(press('a', Room::Map), None);
        assert_eq!(press('e', Room::Sections), Some(&Ask(Asked::Name)));
    }
}
