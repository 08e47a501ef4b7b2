use std::sync::Arc;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;

use super::super::canvas::Canvas;
use super::super::screen;
use super::super::study::App;
use super::super::theme::Theme;
use super::pictures::text;
use crate::import::read_score;
use crate::piece_folder::demo;
use crate::study::Study;

/// A demo piece; only the first half of its story is the player's yet.
fn app(name: &str) -> App {
    let demo = demo(name).unwrap();
    let score = Arc::new(read_score(demo.score.as_bytes(), demo.score_name).unwrap().0);
    let cues = demo.piece_toml.split_inclusive("\n\n").filter(|part| part.contains("[[cue]]")).skip(8);
    let text = cues.fold(demo.piece_toml.to_owned(), |text, cue| text.replace(cue, ""));
    App::new(Study::try_new(&text, "piece.toml", score, None, None).unwrap(), true)
}

fn press(app: &mut App, keys: &str) {
    for c in keys.chars() {
        let code = match c {
            '\r' => KeyCode::Enter,
            '\u{1b}' => KeyCode::Esc,
            '\u{2193}' => KeyCode::Down,
            '\u{2192}' => KeyCode::Right,
            c => KeyCode::Char(c),
        };
        app.press(&KeyEvent::new(code, KeyModifiers::NONE));
    }
}

fn drawn(app: &App, width: u16, height: u16) -> Buffer {
    let mut terminal = Canvas::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| screen::study::draw(app, Theme::new(app.colour), frame)).unwrap();
    terminal.backend().buffer().clone()
}

fn check(name: &str, app: &App) {
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        insta::assert_snapshot!(format!("{name}_{width}x{height}"), text(&drawn(app, width, height)));
    }
}

#[test]
fn every_room_has_its_screen() {
    for (name, piece, keys) in [
        ("story", "ferry", "\u{2193}\u{2193}"),
        ("story_kept", "ferry", "\u{2193}\u{2193}\u{2193}\u{2193}\u{2193}\u{2193}\u{2193}\u{2193}\u{2193}a"),
        ("map", "ferry", "2\u{2193}\u{2193}\u{2193}"),
        ("map_night", "all-through-the-night", "2\u{2193}"),
        ("sections", "ferry", "3\u{2192}\u{2192}s"),
    ] {
        let mut app = app(piece);
        press(&mut app, keys);
        check(name, &app);
    }
}

#[test]
fn typing_asking_and_help_have_their_screens() {
    let mut rewording = app("ferry");
    press(&mut rewording, "e, and wait");
    check("rewording", &rewording);
    press(&mut rewording, "\u{1b}n");
    check("new_line", &rewording);
    let mut leaving = app("ferry");
    press(&mut leaving, "xq");
    check("leaving", &leaving);
    let mut help = app("ferry");
    press(&mut help, "?");
    check("help", &help);
}

#[test]
fn what_was_typed_stays_until_it_can_be_taken() {
    let mut app = app("ferry");
    press(&mut app, "n");
    press(&mut app, "x\r");
    assert!(
        app.prompt.is_some() && app.said.as_deref().is_some_and(|s| s.contains("there is no bar 1.1x") || s.contains("expected")),
        "{:?}",
        app.said
    );
    press(&mut app, "\u{1b}");
    assert!(app.prompt.is_none());
    assert!(app.study.is_saved());
}

#[test]
fn nothing_is_said_by_colour_alone() {
    let mut coloured = app("ferry");
    press(&mut coloured, "\u{2193}\u{2193}");
    let mut plain = app("ferry");
    plain.colour = false;
    press(&mut plain, "\u{2193}\u{2193}");
    assert_eq!(text(&drawn(&coloured, 80, 24)), text(&drawn(&plain, 80, 24)));
}

#[test]
fn any_size_is_drawn() {
    for keys in ["1", "2", "3", "?", "e", "n", "xq"] {
        let mut app = app("ferry");
        press(&mut app, keys);
        for (width, height) in [(1, 1), (2, 3), (7, 4), (20, 6), (39, 12), (80, 5), (139, 9), (160, 8), (300, 100)] {
            drawn(&app, width, height);
        }
    }
}
