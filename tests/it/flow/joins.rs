//! Sections that hold are played into one another.

use catchword::journal::entry::{Rep, Verdict};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::joins::{Chaining, Crossings, Seam, spans};
use catchword::practice::{Command, Engine, Machine, PracticeConfig, Stage};
use catchword::score::BarIdx;
use catchword::source::player::Planned;
use catchword::theory::Hand;

use super::super::practice::{Evening, reps};

fn ferry() -> Piece {
    open_piece("ferry", None, &[]).unwrap().piece
}

fn names(chaining: Chaining) -> Vec<String> {
    spans(&ferry(), chaining).into_iter().map(|s| s.name).collect()
}

fn evening() -> Evening {
    let piece = ferry();
    let spans = spans(&piece, Chaining::FromTheTop);
    Evening::at(Engine::try_new(piece.into(), spans, PracticeConfig::standard()).unwrap())
}

/// Plays what is on offer until its target is reached, and goes on.
fn reach(evening: &mut Evening) -> Vec<Rep> {
    let mark = evening.outputs.len();
    while evening.stage() != Stage::SpanDone {
        evening.play(vec![]);
    }
    evening.wait(3_000);
    reps(&evening.outputs[mark..]).into_iter().cloned().collect()
}

#[test]
fn pairs_follow_their_sections_and_longer_spans_follow_all() {
    let forward = [
        "casting off",
        "to the far bank",
        "casting off + to the far bank",
        "the deep channel",
        "to the far bank + the deep channel",
        "against the stream",
        "the deep channel + against the stream",
        "back in sight",
        "against the stream + back in sight",
        "made fast",
        "back in sight + made fast",
        "casting off to against the stream",
        "the deep channel to made fast",
    ];
    assert_eq!(names(Chaining::FromTheTop), forward);
    let backward = names(Chaining::FromTheEnd);
    assert_eq!(backward[..4], ["made fast", "back in sight", "back in sight + made fast", "against the stream"]);
    assert_eq!(backward.last().unwrap(), "casting off to against the stream");
    // The whole piece is the run-through's: two sections joined would be that.
    let mut two = ferry();
    two.sections.truncate(2);
    assert_eq!(spans(&two, Chaining::FromTheTop).len(), 2);
}

#[test]
fn a_join_is_offered_once_both_sections_are_reached() {
    let mut evening = evening();
    reach(&mut evening);
    assert_eq!(evening.engine.view().span, "to the far bank");
    reach(&mut evening);
    let view = evening.engine.view();
    assert_eq!((view.span, view.target), ("casting off + to the far bank", 1));
    // Both passes of the repeat are in it: bar 4 leads into bar 5 once.
    assert!(!view.seams.is_empty() && view.seams.iter().all(|s| view.bars[s.clone()] == ["4", "5"]), "{:?}", view.seams);
    let joined = reach(&mut evening);
    assert_eq!((joined.len(), joined[0].verdict), (1, Verdict::Clean));
    assert_eq!(evening.engine.view().span, "the deep channel");
    // Left before its target, a section joins nothing.
    evening.command(Command::Skip);
    assert_eq!(evening.engine.view().span, "against the stream");
    reach(&mut evening);
    assert_eq!(evening.engine.view().span, "back in sight");
    evening.command(Command::Quit);
    let Stage::Finished { account } = evening.stage() else { panic!() };
    assert!(account.contains(&"from casting off into to the far bank: held 1 of 1".to_owned()), "{account:?}");
}

#[test]
fn what_was_reached_earlier_today_counts() {
    let piece = ferry();
    let spans = spans(&piece, Chaining::FromTheTop);
    let engine = Engine::try_new(piece.into(), spans, PracticeConfig::standard()).unwrap();
    let mut evening = Evening::at(engine.with_reached_today(vec!["casting off".to_owned()]));
    evening.command(Command::Skip);
    reach(&mut evening);
    assert_eq!(evening.engine.view().span, "casting off + to the far bank");
}

#[test]
fn a_seam_counts_only_the_reps_that_came_over_it() {
    let piece = ferry();
    let seam = Seam::of(&piece.sections)[1];
    assert_eq!((seam.before, seam.after), (BarIdx(8), BarIdx(9)));
    let join = spans(&piece, Chaining::FromTheTop).into_iter().find(|s| s.name == "to the far bank + the deep channel").unwrap();
    let score = piece.score.clone();
    let seam_at = join.seams[0].start;
    let mut evening = Evening::at(Engine::try_new(piece.into(), vec![join], PracticeConfig::standard()).unwrap());
    // A slip before the seam, one right after it, one later on, and none.
    let mut record = Crossings::default();
    for (bar, crossed, held) in [(Some(1), 0, 0), (Some(seam_at + 1), 1, 0), (Some(seam_at + 3), 1, 1), (None, 1, 1)] {
        let planned = bar.map(|bar| Planned::Wrong { at: evening.bar_start(bar), hand: Hand::Right }).into_iter().collect();
        let outputs = evening.play(planned);
        evening.wait(3_000);
        let now = seam.record(&score, reps(&evening.outputs));
        let expected = Crossings { n_crossed: record.n_crossed + crossed, n_held: record.n_held + held };
        assert_eq!(now, expected, "slip in bar {bar:?}: {:?}", reps(&outputs)[0].reason);
        record = now;
    }
}
