//! Reading a longer text in the terminal: keys move it, nothing else happens.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::frame::Frame;
use super::key_screen::{self, Effect, End, KeyScreen};
use super::screen::read_page;
use super::theme::Theme;
use super::{Error, Exit, Options};

/// What a key does to the page.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Turn {
    /// Lines down, or up below zero.
    By(isize),
    Pages(isize),
    Start,
    End,
    Close,
}

/// Shows lines until the reader closes them.
///
/// # Errors
/// When the terminal cannot be taken or drawn on.
pub fn read(lines: &[String], options: &Options) -> Result<Exit, Error> {
    let mut reader = Reader { lines, theme: Theme::new(options.colour), first: 0, n_rows: 0 };
    Ok(match key_screen::run(&mut reader)? {
        End::Left(()) => Exit::Quit,
        End::Outside(exit) => exit,
    })
}

struct Reader<'a> {
    lines: &'a [String],
    theme: Theme,
    /// First line shown, and how many fit; drawing sets both.
    first: usize,
    n_rows: usize,
}

impl KeyScreen for Reader<'_> {
    type Left = ();

    fn draw(&mut self, frame: &mut Frame<'_>) {
        (self.first, self.n_rows) = read_page(self.lines, self.first, self.theme, frame);
    }

    fn press(&mut self, key: &KeyEvent) -> Effect<()> {
        if key.kind == KeyEventKind::Release {
            return Effect::Stay;
        }
        match turn_of(key) {
            None => {}
            Some(Turn::By(n)) => self.first = self.first.saturating_add_signed(n),
            Some(Turn::Pages(n)) => {
                let page = self.n_rows.max(2).saturating_sub(1).cast_signed();
                self.first = self.first.saturating_add_signed(n * page);
            }
            Some(Turn::Start) => self.first = 0,
            Some(Turn::End) => self.first = self.lines.len(),
            Some(Turn::Close) => return Effect::Leave(()),
        }
        Effect::Stay
    }
}

fn turn_of(key: &KeyEvent) -> Option<Turn> {
    let is_control = key.modifiers.contains(KeyModifiers::CONTROL);
    Some(match key.code {
        KeyCode::Char('c') if is_control => Turn::Close,
        KeyCode::Char('q') | KeyCode::Esc => Turn::Close,
        KeyCode::Down | KeyCode::Char('j') | KeyCode::Enter => Turn::By(1),
        KeyCode::Up | KeyCode::Char('k') => Turn::By(-1),
        KeyCode::PageDown | KeyCode::Char(' ') => Turn::Pages(1),
        KeyCode::PageUp | KeyCode::Char('b') => Turn::Pages(-1),
        KeyCode::Home => Turn::Start,
        KeyCode::End => Turn::End,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_turn_the_page_and_q_closes_it() {
        let key = |code| turn_of(&KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(key(KeyCode::Down), Some(Turn::By(1)));
        assert_eq!(key(KeyCode::Char(' ')), Some(Turn::Pages(1)));
        assert_eq!(key(KeyCode::End), Some(Turn::End));
        assert_eq!(key(KeyCode::Char('q')), Some(Turn::Close));
        assert_eq!(turn_of(&KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL)), Some(Turn::Close));
        assert_eq!(key(KeyCode::Char('x')), None);
    }
}
