//! One line being typed: the text, the cursor in it, and the keys that change both.
//!
//! Keys are those of most shells: arrows, Home and End, Backspace and Delete, Ctrl-A/E/B/F/K/U/W/Y, and Ctrl or Alt for whole words.

use crossterm::event::{Event, KeyEvent};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Widget};
use tui_input::backend::crossterm::to_input_request;
use tui_input::{Input, InputRequest};

/// No line of a story is longer than this many characters; what is typed past it is not taken.
const N_CHARACTERS_MAX: usize = 400;

#[derive(Clone, Debug, Default)]
pub struct LineEditor {
    input: Input,
}

impl LineEditor {
    /// Begins with a text to change, the cursor at its end.
    pub fn new(text: &str) -> Self {
        LineEditor { input: Input::new(text.chars().filter(|c| !c.is_control()).collect()) }
    }

    pub fn text(&self) -> &str {
        self.input.value()
    }

    /// Takes a key; returns whether it means something in a line. Enter and Escape do not: they are the caller's.
    pub fn press(&mut self, key: &KeyEvent) -> bool {
        let Some(request) = to_input_request(&Event::Key(*key)) else { return false };
        match request {
            InputRequest::InsertChar(c) if c.is_control() || self.text().chars().count() >= N_CHARACTERS_MAX => {}
            request => {
                self.input.handle(request);
            }
        }
        true
    }

    /// Draws the line in the first row of `area`, moved aside as far as the cursor asks for; the cursor is a cell in reverse.
    pub fn render(&self, area: Rect, style: Style, buf: &mut Buffer) {
        if area.is_empty() {
            return;
        }
        let row = Rect { height: 1, ..area };
        let width = usize::from(row.width);
        // The cursor needs a cell of its own behind the text.
        let scroll = self.input.visual_scroll(width.saturating_sub(1));
        let aside = u16::try_from(scroll).unwrap_or(u16::MAX);
        Paragraph::new(Line::styled(self.text(), style)).scroll((0, aside)).render(row, buf);
        let cursor = self.input.visual_cursor().saturating_sub(scroll).min(width - 1);
        let cell = &mut buf[(row.x + cursor as u16, row.y)];
        cell.set_style(style.add_modifier(Modifier::REVERSED));
    }
}

#[cfg(test)]
mod tests {
    use crossterm::event::{KeyCode, KeyEventKind, KeyModifiers};

    use super::*;

    /// Types keys written as text, `<` for left, `>` for right, `^` for Home, `$` for End, `~` for Backspace, `#` for Delete.
    fn typed(begin: &str, keys: &str) -> LineEditor {
        let mut editor = LineEditor::new(begin);
        for key in keys.chars() {
            let code = match key {
                '<' => KeyCode::Left,
                '>' => KeyCode::Right,
                '^' => KeyCode::Home,
                '$' => KeyCode::End,
                '~' => KeyCode::Backspace,
                '#' => KeyCode::Delete,
                c => KeyCode::Char(c),
            };
            let modifiers = if key.is_uppercase() { KeyModifiers::SHIFT } else { KeyModifiers::NONE };
            assert!(editor.press(&KeyEvent::new(code, modifiers)), "{key}");
        }
        editor
    }

    fn drawn(editor: &LineEditor, width: u16) -> (String, u16) {
        let area = Rect::new(0, 0, width, 1);
        let mut buf = Buffer::empty(area);
        editor.render(area, Style::new(), &mut buf);
        let reversed: Vec<u16> = (0..width).filter(|x| buf[(*x, 0)].modifier.contains(Modifier::REVERSED)).collect();
        assert_eq!(reversed.len(), 1, "one cursor");
        let mut text = String::new();
        let mut x = 0;
        while x < width {
            let symbol = buf[(x, 0)].symbol();
            text.push_str(symbol);
            x += if symbol.chars().any(|c| c > '\u{2fff}') { 2 } else { 1 };
        }
        (text.trim_end().to_owned(), reversed[0])
    }

    #[test]
    fn keys_change_the_line_at_the_cursor() {
        for (begin, keys, expected) in [
            ("", "Root E", "Root E"),
            ("root", "~~~~home", "home"),
            ("thid down", "^>>>r", "third down"),
            ("third  down", "^>>>>>#$!", "third down!"),
            ("ab", "<<<<x", "xab"),
            ("e\u{301}a", "~~", ""),
            ("e\u{301}a", "<<x", "xe\u{301}a"),
            ("\u{96e8}\u{5929}", "<~", "\u{5929}"),
        ] {
            assert_eq!(typed(begin, keys).text(), expected, "{begin} {keys}");
        }
    }

    #[test]
    fn words_and_the_rest_of_the_line_go_at_once() {
        let mut editor = LineEditor::new("a step higher");
        let control = |c| KeyEvent::new(KeyCode::Char(c), KeyModifiers::CONTROL);
        editor.press(&control('w'));
        assert_eq!(editor.text(), "a step ");
        editor.press(&control('a'));
        editor.press(&control('k'));
        assert_eq!(editor.text(), "");
    }

    #[test]
    fn other_keys_are_the_callers_and_nothing_unprintable_gets_in() {
        let mut editor = LineEditor::new("a\tb\n");
        assert_eq!(editor.text(), "ab");
        for code in [KeyCode::Enter, KeyCode::Esc, KeyCode::Up, KeyCode::Tab] {
            assert!(!editor.press(&KeyEvent::new(code, KeyModifiers::NONE)), "{code:?}");
        }
        let mut let_go = KeyEvent::new(KeyCode::Char('x'), KeyModifiers::NONE);
        let_go.kind = KeyEventKind::Release;
        assert!(!editor.press(&let_go));
        editor.press(&KeyEvent::new(KeyCode::Char('\u{7}'), KeyModifiers::NONE));
        assert_eq!(editor.text(), "ab");
        let long = typed("", &"x".repeat(N_CHARACTERS_MAX + 9));
        assert_eq!(long.text().len(), N_CHARACTERS_MAX);
    }

    #[test]
    fn the_cursor_is_always_in_sight() {
        assert_eq!(drawn(&LineEditor::new("root E"), 12), ("root E".to_owned(), 6));
        let long = LineEditor::new("as bar 3, a third lower");
        assert_eq!(drawn(&long, 12), ("third lower".to_owned(), 11));
        assert_eq!(drawn(&typed("as bar 3, a third lower", "^"), 12), ("as bar 3, a".to_owned(), 0));
        let wide = "\u{96e8}".repeat(30);
        for width in 1..12 {
            let (_, cursor) = drawn(&LineEditor::new(&wide), width);
            assert!(cursor < width);
            drawn(&typed(&wide, "^>>>"), width);
        }
        LineEditor::new("x").render(Rect::new(0, 0, 0, 0), Style::new(), &mut Buffer::empty(Rect::new(0, 0, 1, 1)));
    }
}
