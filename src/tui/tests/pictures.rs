use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;

use super::super::app::App;
use super::super::canvas::Canvas;
use super::super::{Action, Options, screen};
use super::{bars, view};
use crate::journal::entry::{Mode, QuestionKind, Verdict};
use crate::practice::view::{Breaks, Quiz, Stage};
use crate::practice::{Ask, Command, View};
use crate::source::Signal;
use crate::time::Micros;

fn app() -> App {
    let hands_free = [
        ("damper pedal", Some(Command::Pause)),
        ("sostenuto pedal", Some(Command::Again)),
        ("soft pedal", Some(Command::Skip)),
        ("lowest twice", Some(Command::Again)),
        ("highest twice", Some(Command::Skip)),
        ("4 s of silence", None),
    ];
    let hands_free = hands_free.map(|(name, command)| (name.to_owned(), command)).to_vec();
    App::new(Options { colour: true, caution: false, can_hand_over: false, hands_free, smallest_letters: 0 })
}

fn drawn(app: &App, caption: Option<&str>, view: &View, width: u16, height: u16) -> Buffer {
    let mut terminal = Canvas::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| screen::draw(app, caption, view, frame)).unwrap();
    terminal.backend().buffer().clone()
}

pub fn text(buffer: &Buffer) -> String {
    let area = buffer.area;
    (0..area.height).map(|y| (0..area.width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned() + "\n").collect()
}

fn check_app(name: &str, app: &App, caption: Option<&str>, view: &View) {
    for (width, height) in [(80, 24), (120, 40), (200, 60), (20, 6)] {
        let picture = text(&drawn(app, caption, view, width, height));
        insta::assert_snapshot!(format!("{name}_{width}x{height}"), picture);
    }
}

fn check(name: &str, view: &View) {
    check_app(name, &app(), None, view);
}

const ACCOUNT: &[&str] = &[
    "first light   3 of 3 clean in 4 reps",
    "the lift      3 of 3 clean in 6 reps; bar 6, beat 2 slipped twice",
    "look again at bar 6, beat 2, left hand",
];

/// Every stage with something in each of its texts.
fn stages(account: &[String]) -> Vec<(&'static str, Stage<'_>)> {
    vec![
        ("waiting", Stage::Waiting),
        ("playing", Stage::Playing),
        ("prompted", Stage::Prompted { rung: 1, text: "as bar 3, a third lower" }),
        ("prompted_fuller", Stage::Prompted { rung: 2, text: "left hand opens to the tenth, then walks down to the low E" }),
        ("prompted_page", Stage::Prompted { rung: 3, text: "look at the page: bar 6, beat 2" }),
        ("look", Stage::Look { words: "bar 6, beat 2, left hand: not what is written" }),
        ("clean", Stage::RepDone { verdict: Verdict::Clean, words: "" }),
        ("with_a_cue", Stage::RepDone { verdict: Verdict::Prompted, words: "bar 6, beat 1: needed its cue" }),
        ("not_clean", Stage::RepDone { verdict: Verdict::Broken, words: "bar 7, beat 1: a stop before it" }),
        ("span_done", Stage::SpanDone),
        ("paused", Stage::Paused),
        ("unheard", Stage::Unheard),
        ("mark", Stage::Mark { question: "how did it go?", choices: CHOICES }),
        ("finished", Stage::Finished { account }),
    ]
}

const CHOICES: &[(Command, &str)] = &[(Command::Overrule(Verdict::Clean), "held"), (Command::Overrule(Verdict::Broken), "did not")];

/// The stages of a quiz; `small` is what is said below a question.
fn quiz_stages(small: &[String]) -> Vec<(&'static str, Stage<'_>)> {
    let asked = |kind, large, is_told| Stage::Quiz(Quiz::Asked { kind, large, small, is_told });
    vec![
        ("quiz_ready", Stage::Quiz(Quiz::Ready { length: "5 minutes", is_told: false })),
        ("quiz_cold_start", asked(QuestionKind::ColdStart, "home again", false)),
        ("quiz_go_on_told", asked(QuestionKind::GoOn, "a step up, and roll", true)),
        ("quiz_run", asked(QuestionKind::Jump, "first wave", false)),
        ("quiz_called", Stage::Quiz(Quiz::Called { large: "to left hand sings", small })),
        ("quiz_answering", Stage::Quiz(Quiz::Answering { kind: QuestionKind::Switch })),
        ("quiz_mark", Stage::Quiz(Quiz::Mark { question: "left hand sings, minor", choices: CHOICES })),
        ("quiz_held", Stage::Quiz(Quiz::Told { is_held: true, large: "held, 1.8 s", small: "home again" })),
        ("quiz_look", Stage::Quiz(Quiz::Told { is_held: false, large: "look: bar 21, beat 1", small: "that way belongs to bar 4" })),
    ]
}

#[test]
fn every_stage_of_a_quiz_has_its_screen() {
    let small = ["bar 18 of back in sight".to_owned(), "A levers up, all others down".to_owned()];
    for (name, stage) in quiz_stages(&small) {
        check(name, &View { span: "quiz", bars: &[], n_spans: 0, n_clean: 3, target: 4, ..view(&[], stage) });
    }
}

#[test]
fn every_stage_has_its_screen() {
    let bars = bars(8);
    let account: Vec<String> = ACCOUNT.iter().map(|line| (*line).to_owned()).collect();
    for (name, stage) in stages(&account) {
        let mut view = view(&bars, stage);
        view.bar = (!matches!(view.stage, Stage::Waiting)).then_some(5);
        view.look_bar = matches!(view.stage, Stage::Look { .. }).then_some(5);
        check(name, &view);
    }
}

#[test]
fn a_place_that_failed_is_asked_about() {
    let bars = bars(8);
    let drafts = ["root E, third down".to_owned(), "lowest string of the piece".to_owned(), "as bar 1, a third lower".to_owned()];
    let ask = Ask { place: "bar 6, beat 2, left hand", drafts: &drafts, typed: "" };
    let look = Stage::Look { words: "bar 6, beat 2, left hand: not what is written" };
    let asking = View { look_bar: Some(5), ask: Some(ask), ..view(&bars, look) };
    check("look_asking", &asking);
    check("look_asking_without_drafts", &View { ask: Some(Ask { drafts: &[], ..ask }), ..asking.clone() });
    let mut typing = app();
    typing.write_line("deepest string, thumb waits");
    check_app("look_typing", &typing, None, &asking);
    let places = ["bar 6, beat 2, left hand".to_owned(), "bar 7, beat 1".to_owned(), "bar 8, beat 3, right hand".to_owned()];
    let list = View { ask: Some(ask), n_clean: 0, ..view(&bars, Stage::Places { places: &places, is_last: false }) };
    check("places", &list);
    check_app("places_typing", &typing, None, &list);
    check("places_last", &View { stage: Stage::Places { places: &places[..1], is_last: true }, ..list.clone() });
}

#[test]
fn joins_and_rests() {
    let bars = bars(8);
    let seam = 3..5;
    check(
        "join",
        &View { span: "first light + the lift", seams: std::slice::from_ref(&seam), target: 1, n_clean: 0, ..view(&bars, Stage::Waiting) },
    );
    check("rest", &view(&bars, Stage::Rest { length: Micros(300_000_000) }));
}

#[test]
fn a_run_through_has_no_count() {
    let bars = bars(24);
    let view = View { mode: Mode::RunThrough, span: "whole piece", bar: Some(17), n_clean: 0, target: 1, ..view(&bars, Stage::Playing) };
    check("run_through", &view);
    check("run_through_done", &View { stage: Stage::SpanDone, ..view.clone() });
    let bars = super::bars(120);
    check("run_through_120_bars", &View { bars: &bars, bar: Some(100), ..view });
}

#[test]
fn cautions_help_and_notices() {
    let bars = bars(4);
    let view = view(&bars, Stage::Waiting);
    let opening = App::new(Options { caution: true, ..app().options });
    check_app("caution_opening", &opening, None, &view);

    let mut playing_long = App::new(Options { caution: true, ..app().options });
    playing_long.dismiss();
    for minute in 0..=25 {
        playing_long.note_struck(Micros(minute * 60_000_000));
    }
    assert!(playing_long.tick(&view, Breaks::USUAL.after));
    check_app("caution_break", &playing_long, None, &view);

    let mut help = app();
    help.press(Some(Action::Help));
    check_app("help", &help, None, &view);

    let mut gone = app();
    gone.signal(&Signal::Gone { what: "string sensor".to_owned() }, Micros::ZERO);
    check_app("instrument_gone", &gone, None, &view);

    gone.mention("nothing to listen to: no MIDI system on this machine; connect an instrument and start again, or give --input stream:PATH for raw MIDI bytes, or --input take:FILE for a recording".to_owned(), Micros::ZERO);
    check_app("long_notice", &gone, None, &view);

    check_app("caption", &app(), Some("the built-in player is playing   p play it yourself   q close"), &view);
}

#[test]
fn plain_letters_can_be_chosen() {
    let bars = bars(8);
    let mut app = app();
    app.press(Some(Action::Letters));
    check_app("prompted_plain_letters", &app, None, &view(&bars, Stage::Prompted { rung: 1, text: "as bar 3, a third lower" }));
}

#[test]
fn no_size_and_no_text_panics() {
    let account: Vec<String> = (0..100).map(|n| format!("line {n} \u{1d11e} \u{65e5}\u{672c}")).collect();
    let odd = ["", " ", "\u{1d11e}\u{65e5}\u{672c}\u{8a9e} e\u{301}\t\u{7}", &"unbroken".repeat(40), &"many words ".repeat(60)];
    let sizes = [0, 1, 2, 3, 4, 5, 7, 8, 9, 20, 39, 40, 80, 201];
    let heights = [0, 1, 2, 3, 4, 5, 6, 8, 13, 14, 15, 16, 17, 60];
    let bars = bars(40);
    for width in sizes {
        for height in heights {
            for text in odd {
                for stage in [
                    Stage::Prompted { rung: 1, text },
                    Stage::Look { words: text },
                    Stage::RepDone { verdict: Verdict::Broken, words: text },
                    Stage::Waiting,
                    Stage::Mark { question: text, choices: CHOICES },
                    Stage::Quiz(Quiz::Asked { kind: QuestionKind::WhatNext, large: text, small: &account, is_told: true }),
                    Stage::Quiz(Quiz::Told { is_held: false, large: text, small: text }),
                    Stage::Finished { account: &account },
                ] {
                    let view = View { span: text, bar: Some(39), look_bar: Some(0), ..view(&bars, stage) };
                    drawn(&app(), Some(text), &view, width, height);
                }
            }
            for caution in [false, true] {
                let mut app = App::new(Options { caution, ..app().options });
                if !caution {
                    app.press(Some(Action::Help));
                    app.scroll.set(7);
                }
                drawn(&app, None, &view(&bars, Stage::Waiting), width, height);
            }
        }
    }
}

#[test]
fn while_playing_the_middle_of_the_screen_is_empty() {
    let bars = bars(8);
    let view = View { bar: Some(3), ..view(&bars, Stage::Playing) };
    let picture = text(&drawn(&app(), None, &view, 80, 24));
    let said: Vec<&str> = picture.lines().filter(|line| !line.trim().is_empty()).collect();
    assert_eq!(said.len(), 2, "the name with the count, and the ribbon: {picture}");
    assert!(said[0].trim().starts_with("the lift") && said[0].ends_with("1 of 3"));
}

#[test]
fn without_colour_no_cell_has_one_and_with_it_none_is_red_or_green() {
    use ratatui::style::Color;
    let bars = bars(8);
    let account = vec!["one line".to_owned()];
    for (_, stage) in stages(&account).into_iter().chain(quiz_stages(&account)) {
        let view = View { bar: Some(2), look_bar: Some(5), ..view(&bars, stage) };
        let plain = App::new(Options { colour: false, ..app().options });
        assert!(drawn(&plain, None, &view, 80, 24).content.iter().all(|cell| cell.fg == Color::Reset && cell.bg == Color::Reset));
        for cell in drawn(&app(), None, &view, 80, 24).content {
            assert!(matches!(cell.fg, Color::Reset | Color::Indexed(32 | 166)), "{:?}", cell.fg);
        }
    }
}

/// Columns and rows that ink covers.
fn inked(buffer: &Buffer) -> (u16, u16) {
    let ink = |symbol: &str| symbol.starts_with(|c: char| ('\u{2580}'..'\u{25a0}').contains(&c));
    let cells: Vec<(u16, u16)> = (0..buffer.area.height)
        .flat_map(|y| (0..buffer.area.width).map(move |x| (x, y)))
        .filter(|&(x, y)| ink(buffer[(x, y)].symbol()))
        .collect();
    let span = |values: Vec<u16>| values.iter().max().zip(values.iter().min()).map_or(0, |(max, min)| max - min + 1);
    (span(cells.iter().map(|c| c.0).collect()), span(cells.iter().map(|c| c.1).collect()))
}

#[test]
fn cues_grow_with_the_terminal_and_are_large_from_60x20() {
    let bars = bars(8);
    let mut last = (0, 0);
    for (width, height) in [(60, 20), (80, 24), (120, 40), (200, 60)] {
        let view = view(&bars, Stage::Prompted { rung: 1, text: "E flat, hands close" });
        let size = inked(&drawn(&app(), None, &view, width, height));
        assert!(size.1 >= 4 && size.0 > last.0, "{width}x{height}: {size:?} after {last:?}");
        last = size;
    }
    assert!(last.0 >= 80, "{last:?}");
}
