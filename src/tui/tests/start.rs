use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::backend::TestBackend;

use super::super::canvas::Canvas;
use super::super::key_screen::Effect;
use super::super::run::Exit;
use super::super::screen;
use super::super::start::{Card, Doing, KEYS, Left, Start};
use super::super::theme::Theme;
use super::pictures::text;

fn card(name: &str, last: &str, state: &str, planned: &[&str]) -> Card {
    let planned = planned.iter().map(|step| (*step).to_owned()).collect();
    Card { name: name.to_lowercase(), title: name.to_owned(), last: last.to_owned(), state: state.to_owned(), planned }
}

fn desk() -> Start {
    let cards = vec![
        card(
            "The Ferry at Low Water",
            "yesterday: casting off, clean",
            "reads well: ready to be learned; 2 places without a line of story",
            &["the deep channel, 3 times", "casting off, once"],
        ),
        card("Evening on the Weir", "12 days ago: whole piece, not clean", "to read first: the bridge", &["the bridge, 3 times"]),
        card("All Through the Night", "not played yet", "not read from the page yet", &[]),
    ];
    Start::new(cards, 25)
}

fn drawn(start: &Start, width: u16, height: u16) -> String {
    let mut terminal = Canvas::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| screen::start::draw(start, Theme::new(true), frame)).unwrap();
    text(terminal.backend().buffer())
}

fn press(start: &mut Start, code: KeyCode) -> Effect<Left> {
    start.press(&KeyEvent::new(code, KeyModifiers::NONE))
}

#[test]
fn the_pieces_lie_on_the_desk() {
    for (width, height) in [(80, 24), (120, 40), (200, 60), (20, 6)] {
        insta::assert_snapshot!(format!("start_{width}x{height}"), drawn(&desk(), width, height));
        insta::assert_snapshot!(format!("start_empty_{width}x{height}"), drawn(&Start::new(vec![], 25), width, height));
    }
}

#[test]
fn the_chosen_piece_is_always_in_sight() {
    let cards = (0..40).map(|n| card(&format!("Piece {n}"), "not played yet", "not read", &[])).collect();
    let mut start = Start::new(cards, 25);
    for height in [6, 10, 24] {
        for n in (0..40).chain((0..40).rev()) {
            start.chosen = n;
            let picture = drawn(&start, 80, height);
            assert!(picture.contains(&format!("> Piece {n}\n")), "{n} in {height} rows: {picture}");
        }
    }
    for (width, height) in [(0, 0), (1, 1), (3, 2), (9, 4), (300, 3)] {
        drawn(&start, width, height);
    }
}

#[test]
fn keys_choose_and_do() {
    let mut start = desk();
    assert_eq!(press(&mut start, KeyCode::Up), Effect::Stay);
    press(&mut start, KeyCode::Down);
    let weir = |doing| Effect::Leave(Left::For("evening on the weir".to_owned(), doing, 25));
    assert_eq!((start.chosen, press(&mut start, KeyCode::Enter)), (1, weir(Doing::Session)));
    for (key, _, doing) in KEYS {
        assert_eq!(press(&mut start, KeyCode::Char(*key)), weir(*doing));
    }
    for _ in 0..50 {
        press(&mut start, KeyCode::Down);
        press(&mut start, KeyCode::Char('-'));
    }
    assert_eq!((start.chosen, start.minutes), (2, 5));
    for _ in 0..50 {
        press(&mut start, KeyCode::Char('+'));
    }
    assert_eq!((start.minutes, press(&mut start, KeyCode::Char('q'))), (120, Effect::Leave(Left::Ended(Exit::Quit))));
    let mut empty = Start::new(vec![], 25);
    for code in [KeyCode::Enter, KeyCode::Char('d'), KeyCode::Down, KeyCode::Char('x')] {
        assert_eq!(press(&mut empty, code), Effect::Stay);
    }
}
