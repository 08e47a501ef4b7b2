//! A slip asks for a line of story: told, picked, put off or refused, and what follows from it.

use catchword::journal::entry::{Entry, Spot, Verdict};
use catchword::piece::Cue;
use catchword::practice::{Command, Engine, Input, Machine, Output, PracticeConfig, Span, Stage, Story};
use catchword::score::{BarIdx, Place};
use catchword::source::player::Planned;
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime};

use super::super::practice::{Evening, reps, verdicts};

fn slip(evening: &mut Evening, bar: usize) -> Vec<Output> {
    let at = evening.bar_start(bar);
    let outputs = evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    evening.wait(3_000);
    outputs
}

fn tell(evening: &mut Evening, text: &str) {
    evening.input(evening.now, Input::Story(Story::Told(text.to_owned())));
}

fn spots(outputs: &[Output]) -> Vec<&Spot> {
    outputs.iter().filter_map(|o| if let Output::Record(Entry::Spot(spot)) = o { Some(spot) } else { None }).collect()
}

fn asked(evening: &Evening) -> Option<String> {
    evening.engine.view().ask.map(|ask| ask.place.to_owned())
}

/// The text of the first cue shown.
fn prompt(outputs: &[Output]) -> Option<&str> {
    outputs.iter().find_map(|o| if let Output::Prompted { text, .. } = o { Some(text.as_str()) } else { None })
}

fn reach_target(evening: &mut Evening) {
    while evening.stage() != Stage::SpanDone {
        assert_eq!(verdicts(&evening.play(vec![])), [Verdict::Clean]);
    }
}

#[test]
fn a_line_told_for_a_slip_is_a_cue_at_once_and_the_next_rep_begins_one_bar_before() {
    let mut evening = Evening::with("ferry");
    let outputs = slip(&mut evening, 2);
    assert_eq!(verdicts(&outputs), [Verdict::Broken]);
    assert_eq!(asked(&evening).as_deref(), Some("bar 3, beat 1, left hand"));
    let spot = Spot { text: None, ..spots(&outputs)[0].clone() };
    assert_eq!((spot.place.as_str(), spot.hand), ("3.1", Some("left")));
    assert_eq!(spots(&outputs), [&spot], "the place is on disk from the moment it failed");

    let mark = evening.outputs.len();
    tell(&mut evening, "  deepest   string, thumb waits ");
    let told = &evening.outputs[mark..];
    let cue = Cue { place: Place::start_of(BarIdx(2)), hand: Some(Hand::Left), text: "deepest string, thumb waits".into(), more: None };
    assert!(told.iter().any(|o| matches!(o, Output::Story { cue: c, .. } if *c == cue)), "{told:?}");
    assert_eq!(spots(told)[0].text.as_deref(), Some("deepest string, thumb waits"));
    assert_eq!((evening.stage(), asked(&evening)), (Stage::Waiting, None));

    // From bar 2 to bar 4, then from the top: neither counts before the whole section was played.
    let view = evening.engine.view();
    assert_eq!((view.span, view.bars), ("from bar 2", &["2".to_owned(), "3".into(), "4".into()][..]));
    let lead_in = evening.play(vec![]);
    assert_eq!(verdicts(&lead_in), [Verdict::Clean]);
    assert_eq!(reps(&lead_in)[0].bars, ("2".to_owned(), "4".to_owned()));
    assert_eq!((evening.engine.view().span, evening.engine.view().n_clean), ("casting off", 0));
    let Stage::RepDone { words: "now from the top", .. } = evening.stage() else { panic!("{:?}", evening.stage()) };

    // The line is what is shown when memory falters there.
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(3_000) }]);
    assert_eq!(prompt(&outputs), Some("deepest string, thumb waits"));
}

#[test]
fn in_the_first_bar_of_a_section_the_bar_before_is_the_last_of_the_section_before() {
    let mut evening = Evening::with("ferry");
    evening.command(Command::Skip);
    evening.command(Command::Skip);
    assert_eq!(evening.engine.view().span, "the deep channel");
    // Its second note: a rep that does not begin right does not begin at all.
    let at = evening.bar_start(0) + ScoreTime::quarters(1);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    evening.wait(3_000);
    tell(&mut evening, "left sings from G");
    // Bar 9 is the second ending, and stands before bar 10 as it is played.
    assert_eq!(evening.engine.view().bars, ["9", "10", "11"]);
    // A slip in the second bar: the top of the section is one bar before.
    evening.command(Command::Again);
    slip(&mut evening, 1);
    tell(&mut evening, "lean on the top");
    assert_eq!(evening.engine.view().span, "the deep channel");
    // The first bar of the piece has none before it.
    for _ in 0..2 {
        evening.command(Command::Back);
    }
    let at = evening.bar_start(0) + ScoreTime::quarters(1);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    evening.wait(3_000);
    tell(&mut evening, "home");
    assert_eq!(asked(&evening), None);
    assert_eq!(evening.engine.view().span, "casting off");
}

#[test]
fn whoever_begins_at_the_top_instead_is_heard() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 2);
    tell(&mut evening, "deepest string");
    let top = evening.engine.spans()[0].clone();
    assert_eq!(evening.engine.view().span, "from bar 2");
    let keys: Vec<u8> = top.line.notes.iter().take(6).map(|n| n.key.number()).collect();
    evening.strike(&keys[..1], 1_000);
    evening.strike(&keys[1..], 250);
    assert_eq!((evening.engine.view().span, evening.stage()), ("casting off", Stage::Playing));
}

#[test]
fn a_slip_in_the_lead_in_asks_again_and_leads_in_again() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 2);
    tell(&mut evening, "deepest string");
    let outputs = slip(&mut evening, 2);
    assert_eq!(verdicts(&outputs), [Verdict::Broken]);
    assert_eq!(asked(&evening).as_deref(), Some("bar 4, beat 1, left hand"));
    assert!(evening.engine.view().verdicts.len() == 1, "a lead-in is no rep of the section");
    tell(&mut evening, "a step up");
    assert_eq!(evening.engine.view().span, "from bar 3");
    assert_eq!(evening.engine.view().bars, ["3", "4"], "to the end of the section at most");
    evening.command(Command::Again);
    assert_eq!(evening.engine.view().span, "casting off");
}

#[test]
fn playing_on_puts_a_place_off_and_it_waits_at_the_end_of_the_span() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 1);
    slip(&mut evening, 2);
    slip(&mut evening, 2);
    reach_target(&mut evening);
    evening.wait(3_000);
    let places = ["bar 2, beat 1, left hand", "bar 3, beat 1, left hand"];
    assert_eq!(evening.stage(), Stage::Places { places: &places.map(str::to_owned), is_last: false });
    assert_eq!(evening.engine.view().span, "to the far bank", "what follows is named");
    assert_eq!(asked(&evening).as_deref(), Some(places[0]));
    evening.command(Command::Later);
    assert_eq!(asked(&evening).as_deref(), Some(places[1]), "each in its turn");
    tell(&mut evening, "deepest string");
    assert_eq!(asked(&evening).as_deref(), Some(places[0]));
    let mark = evening.outputs.len();
    evening.command(Command::NoLine);
    assert_eq!(spots(&evening.outputs[mark..])[0].text.as_deref(), Some(""));
    assert_eq!((evening.stage(), evening.engine.view().span), (Stage::Waiting, "to the far bank"));
}

#[test]
fn the_list_holds_nobody_up() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 1);
    reach_target(&mut evening);
    evening.wait(3_000);
    let Stage::Places { .. } = evening.stage() else { panic!("{:?}", evening.stage()) };
    let outputs = evening.play(vec![]);
    assert_eq!((reps(&outputs)[0].span.as_str(), reps(&outputs)[0].verdict), ("to the far bank", Verdict::Clean));
    evening.command(Command::Quit);
    let Stage::Finished { account } = evening.stage() else { panic!() };
    assert!(account.iter().any(|l| l == "without a line of story yet: bar 2, beat 1, left hand"), "{account:?}");
}

fn drill(section: usize, drafts: Vec<Cue>, open: Vec<(Place, Option<Hand>)>) -> Evening {
    let piece = catchword::piece_folder::open_piece("ferry", None, &[]).unwrap().piece;
    let spans = vec![Span::of_piece(&piece).remove(section)];
    let engine = Engine::try_new(piece.into(), spans, PracticeConfig::standard()).unwrap();
    Evening::at(engine.with_drafts(drafts).with_open_places(open))
}

#[test]
fn places_of_an_earlier_evening_wait_too_and_only_at_the_end_of_their_span() {
    let open = vec![(Place::start_of(BarIdx(1)), Some(Hand::Left)), (Place::start_of(BarIdx(12)), None)];
    let mut evening = drill(0, vec![], open);
    reach_target(&mut evening);
    evening.wait(3_000);
    assert_eq!(evening.stage(), Stage::Places { places: &["bar 2, beat 1, left hand".to_owned()], is_last: true });
    tell(&mut evening, "third down");
    let Stage::Finished { account } = evening.stage() else { panic!("{:?}", evening.stage()) };
    assert!(account.iter().any(|l| l == "without a line of story yet: bar 13, beat 1"), "{account:?}");
}

#[test]
fn a_drafted_line_is_picked_with_its_fuller_text() {
    let line = |bar, text: &str| Cue { place: Place::start_of(BarIdx(bar)), hand: None, text: text.into(), more: Some("and why".into()) };
    let mut evening = drill(0, vec![line(2, "sinks to E"), line(1, "sinks to G"), line(3, "up")], vec![]);
    slip(&mut evening, 2);
    assert_eq!(evening.engine.view().ask.unwrap().drafts, ["sinks to E", "sinks to G"]);
    let mark = evening.outputs.len();
    for n in [5, 0] {
        evening.input(evening.now, Input::Story(Story::Picked(n)));
    }
    let told: Vec<&Cue> =
        evening.outputs[mark..].iter().filter_map(|o| if let Output::Story { cue, .. } = o { Some(cue) } else { None }).collect();
    assert_eq!(told, [&Cue { hand: Some(Hand::Left), ..line(2, "sinks to E") }]);
}

#[test]
fn what_was_typed_comes_back_and_an_empty_line_is_none() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 2);
    tell(&mut evening, "   ");
    assert!(asked(&evening).is_some());
    evening.input(evening.now, Input::Story(Story::Typed("deepest str".into())));
    evening.play(vec![]);
    assert_eq!(asked(&evening), None);
    slip(&mut evening, 2);
    assert_eq!(evening.engine.view().ask.unwrap().typed, "deepest str");
}

#[test]
fn a_line_broken_off_is_kept_with_its_place_for_another_evening() {
    let mut evening = Evening::with("ferry");
    slip(&mut evening, 2);
    let mark = evening.outputs.len();
    for typed in ["deepest str", "deepest str", "  "] {
        evening.input(evening.now, Input::Story(Story::Typed(typed.into())));
    }
    let kept = spots(&evening.outputs[mark..]);
    let typed: Vec<_> = kept.iter().map(|s| (s.place.as_str(), s.text.as_deref(), s.typed.as_deref())).collect();
    assert_eq!(typed, [("3.1", None, Some("deepest str")), ("3.1", None, None)], "once for each change; blanks are nothing");
    // Failing there again forgets nothing of it.
    evening.input(evening.now, Input::Story(Story::Typed("deepest str".into())));
    evening.play(vec![]);
    let mark = evening.outputs.len();
    slip(&mut evening, 2);
    assert_eq!(spots(&evening.outputs[mark..])[0].typed.as_deref(), Some("deepest str"));

    let place = (Place::start_of(BarIdx(2)), Some(Hand::Left));
    let piece = evening.engine.piece().clone();
    let span = Span::of_piece(&piece).remove(0);
    let engine = Engine::try_new(piece.into(), vec![span], PracticeConfig::standard()).unwrap();
    let engine = engine.with_open_places([place]).with_unfinished_lines([(place.0, place.1, "deepest str".to_owned())]);
    let mut next = Evening::at(engine);
    slip(&mut next, 2);
    assert_eq!(next.engine.view().ask.unwrap().typed, "deepest str");
}

#[test]
fn cues_changed_in_the_file_are_used_at_once() {
    let mut evening = Evening::with("ferry");
    let place = Place::start_of(BarIdx(2));
    let cues = vec![Cue { place, hand: None, text: "from the editor".into(), more: None }];
    evening.input(evening.now, Input::Story(Story::Cues(cues)));
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(3_000) }]);
    assert_eq!(prompt(&outputs), Some("from the editor"));
}
