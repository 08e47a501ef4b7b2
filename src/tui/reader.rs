//! Reading a longer text in the terminal: keys move it, nothing else happens.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read as next_event};

use super::screen::read_page;
use super::terminal::{self, is_closing};
use super::theme::Theme;
use super::{Error, Options};

/// How long keys are waited for before the terminal and the signals are looked at.
const TICK: Duration = Duration::from_millis(250);

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
/// When the terminal cannot be taken, drawn on or read.
pub fn read(lines: &[String], options: &Options) -> Result<(), Error> {
    let failed = |doing| move |source| Error::Terminal { doing, source };
    let is_ending = Arc::new(AtomicBool::new(false));
    for signal in signal_hook::consts::TERM_SIGNALS {
        signal_hook::flag::register(*signal, Arc::clone(&is_ending)).map_err(Error::Signals)?;
    }
    let mut taken = terminal::take().map_err(failed("taking over"))?;
    let theme = Theme::new(options.colour);
    let (mut first, mut n_rows) = (0, 0);
    let mut is_changed = true;
    while !is_ending.load(Ordering::SeqCst) && terminal::is_open() {
        if is_changed {
            let drawn = taken.screen.draw(|frame| (first, n_rows) = read_page(lines, first, theme, frame));
            match drawn.map(drop) {
                Err(error) if is_closing(&error) => return Ok(()),
                drawn => drawn.map_err(failed("drawing on"))?,
            }
            is_changed = false;
        }
        if !poll(TICK).map_err(failed("reading keys of"))? {
            continue;
        }
        let turn = match next_event().map_err(failed("reading keys of"))? {
            Event::Key(key) if key.kind != KeyEventKind::Release => turn_of(key),
            Event::Resize(..) => Some(Turn::By(0)),
            _ => None,
        };
        is_changed = turn.is_some();
        first = match turn {
            None => first,
            Some(Turn::By(n)) => first.saturating_add_signed(n),
            Some(Turn::Pages(n)) => first.saturating_add_signed(n * n_rows.max(2).saturating_sub(1).cast_signed()),
            Some(Turn::Start) => 0,
            Some(Turn::End) => lines.len(),
            Some(Turn::Close) => return Ok(()),
        };
    }
    Ok(())
}

fn turn_of(key: KeyEvent) -> Option<Turn> {
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
        let key = |code| turn_of(KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(key(KeyCode::Down), Some(Turn::By(1)));
        assert_eq!(key(KeyCode::Char(' ')), Some(Turn::Pages(1)));
        assert_eq!(key(KeyCode::End), Some(Turn::End));
        assert_eq!(key(KeyCode::Char('q')), Some(Turn::Close));
        assert_eq!(turn_of(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL)), Some(Turn::Close));
        assert_eq!(key(KeyCode::Char('x')), None);
    }
}
