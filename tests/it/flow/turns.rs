//! Sections in turns, and what failed first once more later.

use catchword::journal::entry::Verdict;
use catchword::piece_folder::open_piece;
use catchword::practice::joins::{Chaining, spans};
use catchword::practice::{Engine, Machine, PracticeConfig, Span, Stage, TurnsConfig};
use catchword::source::player::Planned;
use catchword::theory::Hand;
use catchword::time::Micros;

use super::super::practice::{Evening, reps};

fn engine(turns: TurnsConfig, spans: Vec<Span>) -> Engine {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    Engine::try_new(piece.into(), spans, PracticeConfig { turns, ..PracticeConfig::standard() }).unwrap()
}

fn sections() -> Vec<Span> {
    Span::of_piece(&open_piece("ferry", None, &[]).unwrap().piece).into_iter().filter(Span::is_drill).collect()
}

fn turns(after_clean: u8, n_sections: usize) -> TurnsConfig {
    TurnsConfig { after_clean, n_sections, length: Micros(600_000_000), again_after: None }
}

/// Plays what is on offer clean, so many times, and returns what it was.
fn play_on(evening: &mut Evening, n: usize) -> Vec<String> {
    let mark = evening.outputs.len();
    for _ in 0..n {
        evening.play(vec![]);
        evening.wait(3_000);
    }
    reps(&evening.outputs[mark..]).iter().map(|rep| rep.span.clone()).collect()
}

const FIRST: [&str; 3] = ["casting off", "to the far bank", "the deep channel"];
const LAST: [&str; 3] = ["against the stream", "back in sight", "made fast"];

#[test]
fn three_sections_take_turns_until_each_has_its_reps_and_then_the_next_three() {
    let mut evening = Evening::at(engine(turns(1, 3), sections()));
    evening.play(vec![]);
    assert_eq!(evening.stage(), Stage::RepDone { verdict: Verdict::Clean, words: "now to the far bank; this comes back later" });
    evening.wait(3_000);
    let played = play_on(&mut evening, 17);
    let wanted: Vec<&str> = [FIRST.repeat(3), LAST.repeat(3)].concat();
    assert_eq!(played, wanted[1..]);
    assert!(evening.engine.is_finished());
    // Played on at once, without waiting for the words to go.
    let mut evening = Evening::at(engine(turns(1, 3), sections()));
    evening.play(vec![]);
    let outputs = evening.play(vec![]);
    // The first playing is of the section that stood there, and no rep of the next; it is left alone.
    assert!(reps(&outputs).is_empty() || reps(&outputs)[0].span == "to the far bank");
    assert_eq!(evening.engine.span().name, "to the far bank");
}

#[test]
fn usually_each_section_is_played_to_its_reps() {
    let mut evening = Evening::at(engine(TurnsConfig::standard(), sections()));
    assert_eq!(play_on(&mut evening, 6), [[FIRST[0]; 3], [FIRST[1]; 3]].concat());
}

#[test]
fn look_alikes_take_no_turns_with_each_other_and_a_long_turn_is_over_without_a_clean_rep() {
    let apart = vec![(FIRST[1].to_owned(), FIRST[0].to_owned())];
    let mut evening = Evening::at(engine(turns(1, 2), sections()).with_look_alikes(apart));
    assert_eq!(play_on(&mut evening, 4), [FIRST[0], FIRST[2], FIRST[0], FIRST[2]]);
    let short = TurnsConfig { length: Micros(1_000_000), ..turns(3, 3) };
    let mut evening = Evening::at(engine(short, sections()));
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(3_000) }]);
    assert_eq!(reps(&outputs)[0].verdict, Verdict::Prompted);
    evening.wait(3_000);
    assert_eq!(evening.engine.span().name, FIRST[1]);
}

#[test]
fn a_join_comes_once_its_sections_have_their_reps() {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    let mut evening = Evening::at(engine(turns(2, 2), spans(&piece, Chaining::FromTheTop)));
    let played = play_on(&mut evening, 7);
    assert_eq!(played, [FIRST[0], FIRST[0], FIRST[1], FIRST[1], FIRST[0], FIRST[1], "casting off + to the far bank"]);
    assert_eq!(evening.engine.span().name, FIRST[2]);
}

#[test]
fn a_section_that_failed_first_is_asked_for_once_more_after_other_work() {
    let again = TurnsConfig { again_after: Some(Micros(120_000_000)), ..TurnsConfig::standard() };
    let mut evening = Evening::at(engine(again, sections()));
    let at = evening.bar_start(2);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    assert_eq!(play_on(&mut evening, 3), [FIRST[0]; 3]);
    // Its list of places without a line stands there, and is played past; not enough time has passed when the next section is done.
    assert_eq!(play_on(&mut evening, 3), [FIRST[1]; 3]);
    assert_eq!(evening.engine.span().name, FIRST[2], "not yet");
    evening.wait(120_000);
    assert_eq!(play_on(&mut evening, 3), [FIRST[2]; 3]);
    assert_eq!(evening.engine.span().name, FIRST[0]);
    let view = evening.engine.view();
    assert_eq!((view.n_clean, view.target), (3, 4));
    assert_eq!(play_on(&mut evening, 1), [FIRST[0]]);
    assert_eq!(evening.engine.span().name, LAST[0], "on from where the session had been");
}
