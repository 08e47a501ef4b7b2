//! The reading test: lines of falling size, and the player says from the stand which is the last that they can read at a glance.
//!
//! By key or by footswitch, so that nobody walks to the screen and back.

pub mod angle;

use crossbeam_channel::Receiver;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::frame::Frame;
use super::key_screen::{self, Effect, End, KeyScreen};
use super::screen::sight::{self as screen, Page};
use super::theme::Theme;
use super::{Error, Exit, Options};
use crate::journal::entry::Verdict;
use crate::practice::Command;
use crate::practice::footswitch::{Footswitch, FootswitchConfig, Heard};
use crate::source::Signal;
use crate::time::Stamped;
use angle::Sighting;

pub use super::screen::sight::said;

/// Words of the lines: short, common, of letters that are mixed up when they are too small, and none that hangs below its line.
const WORDS: [&str; 12] = [
    msgid!("Corner"),
    msgid!("Harbour"),
    msgid!("Meadow"),
    msgid!("Lantern"),
    msgid!("Iron door"),
    msgid!("Seven"),
    msgid!("Blue boat"),
    msgid!("Acorn"),
    msgid!("Sunrise"),
    msgid!("Basin"),
    msgid!("Near home"),
    msgid!("Cocoa"),
];

/// What the reading test came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Read {
    /// Half rows of a capital of the last line that could be read.
    Capital(usize),
    /// Closed without an answer.
    Nothing,
}

/// Shows the lines until the player has said which is the last, or closes them; `nth` chooses where the words begin.
///
/// # Errors
/// When the terminal cannot be taken or drawn on.
pub fn run(
    sighting: Sighting,
    feet: FootswitchConfig,
    notes: &Receiver<Signal>,
    nth: usize,
    options: &Options,
) -> Result<(Read, Exit), Error> {
    let mut test = Test::new(sighting, feet, nth, Theme::new(options.colour));
    Ok(match key_screen::run_hearing(&mut test, notes)? {
        End::Left(read) => (read, Exit::Quit),
        End::Outside(exit) => (Read::Nothing, exit),
    })
}

struct Test {
    sighting: Sighting,
    feet: Footswitch,
    nth: usize,
    theme: Theme,
    /// What fits the terminal as it is; drawing sets it.
    page: Page,
    /// The line that is asked about.
    marked: usize,
}

impl Test {
    fn new(sighting: Sighting, feet: FootswitchConfig, nth: usize, theme: Theme) -> Test {
        Test { sighting, feet: Footswitch::new(feet), nth, theme, page: Page::default(), marked: 0 }
    }

    fn do_as(&mut self, command: Command) -> Effect<Read> {
        match command {
            Command::Skip => self.marked = (self.marked + 1).min(self.page.capitals.len().saturating_sub(1)),
            Command::Back | Command::Again => self.marked = self.marked.saturating_sub(1),
            Command::Start | Command::Pause | Command::Overrule(Verdict::Clean) => {
                let read = self.page.capitals.get(self.marked).map_or(Read::Nothing, |capital| Read::Capital(*capital));
                return Effect::Leave(read);
            }
            Command::Quit => return Effect::Leave(Read::Nothing),
            _ => {}
        }
        Effect::Stay
    }
}

impl KeyScreen for Test {
    type Left = Read;

    fn draw(&mut self, frame: &mut Frame<'_>) {
        self.page = Page::of(frame.area());
        self.marked = self.marked.min(self.page.capitals.len().saturating_sub(1));
        let word = |n: usize| {
            let word = WORDS[(self.nth + n) % WORDS.len()];
            tr!(word)
        };
        screen::draw(&self.page, self.marked, word, self.sighting, self.theme, frame);
    }

    fn press(&mut self, key: &KeyEvent) -> Effect<Read> {
        if key.kind == KeyEventKind::Release {
            return Effect::Stay;
        }
        let is_control = key.modifiers.contains(KeyModifiers::CONTROL);
        let command = match key.code {
            KeyCode::Char('c') if is_control => Command::Quit,
            KeyCode::Char('q') | KeyCode::Esc => Command::Quit,
            KeyCode::Down | KeyCode::Char('n') => Command::Skip,
            KeyCode::Up | KeyCode::Char('b' | 'r') => Command::Back,
            KeyCode::Enter | KeyCode::Char('s' | 'y' | ' ') => Command::Start,
            _ => return Effect::Stay,
        };
        self.do_as(command)
    }

    fn hear(&mut self, signal: &Signal) -> Effect<Read> {
        let Signal::Midi(Stamped { at, what }) = signal else { return Effect::Stay };
        match self.feet.event(*at, what) {
            Heard::Press(_, command) => self.do_as(command),
            _ => Effect::Stay,
        }
    }
}

#[cfg(test)]
mod tests {
    use ratatui::backend::TestBackend;

    use super::super::tests::pictures::text;
    use super::*;
    use crate::midi::{Channel, MidiEvent};
    use crate::practice::footswitch::{Pressed, Switch, Trigger};
    use crate::time::Micros;
    use crate::tui::canvas::Canvas;

    fn drawn(test: &mut Test, width: u16, height: u16) -> String {
        let mut terminal = Canvas::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| test.draw(frame)).unwrap();
        text(terminal.backend().buffer())
    }

    fn test() -> Test {
        let switch = |n, command| Switch { trigger: Trigger::Controller(n), pressed: Pressed::ON, command };
        let switches = vec![switch(67, Command::Skip), switch(66, Command::Again), switch(5, Command::Start)];
        let feet = FootswitchConfig { switches, debounce: Micros::from_millis(250) };
        Test::new(Sighting { distance: 2000.0, row: 4.2, is_measured: false }, feet, 0, Theme::new(false))
    }

    #[test]
    fn lines_fall_in_size_and_the_mark_is_moved_by_key_or_foot_to_the_last_that_can_be_read() {
        let mut test = test();
        for (width, height) in [(80, 24), (120, 40), (200, 60)] {
            insta::assert_snapshot!(format!("sight_{width}x{height}"), drawn(&mut test, width, height));
        }
        drawn(&mut test, 80, 24);
        let capitals = test.page.capitals.clone();
        assert!(capitals.is_sorted_by(|a, b| a > b) && capitals.len() >= 3, "{capitals:?}");
        let key = |code| KeyEvent::new(code, KeyModifiers::NONE);
        let press = |ms, controller| {
            let what = MidiEvent::Control { channel: Channel(0), controller, value: if ms % 2 == 0 { 127 } else { 0 } };
            Signal::Midi(Stamped { at: Micros::from_millis(ms), what })
        };
        assert_eq!(test.press(&key(KeyCode::Down)), Effect::Stay);
        for ms in [0, 301, 602, 903, 1204, 1505, 1806] {
            assert_eq!(test.hear(&press(ms, 67)), Effect::Stay);
        }
        assert_eq!(test.marked, capitals.len() - 1, "no further than the last");
        test.hear(&press(3000, 66));
        assert_eq!(test.hear(&press(4000, 5)), Effect::Leave(Read::Capital(capitals[capitals.len() - 2])));
        assert_eq!(test.press(&key(KeyCode::Esc)), Effect::Leave(Read::Nothing));
    }

    #[test]
    fn any_size_of_terminal_is_drawn() {
        let mut test = test();
        for (width, height) in [(1, 1), (20, 6), (40, 10), (300, 12), (30, 100)] {
            drawn(&mut test, width, height);
            test.press(&KeyEvent::new(KeyCode::Down, KeyModifiers::NONE));
        }
    }
}
