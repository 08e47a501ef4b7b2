//! What follows a slip: the loop around it; a word when too much goes wrong; cues that fade.

use catchword::journal::entry::{Rep, Verdict};
use catchword::piece_folder::open_piece;
use catchword::practice::{Command, Engine, Machine, Output, PastRep, PracticeConfig, SlipsConfig, Span, Stage};
use catchword::score::BarRange;
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::Micros;

use super::super::practice::{Evening, reps};

fn evening(config: PracticeConfig) -> Evening {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    let spans = Span::of_piece(&piece);
    Evening::at(Engine::try_new(piece.into(), spans, config).unwrap())
}

fn looping(n_clean: u8, n_beats: u8) -> Evening {
    evening(PracticeConfig { slips: SlipsConfig { n_clean, n_beats, ..SlipsConfig::standard() }, ..PracticeConfig::standard() })
}

fn slip(evening: &mut Evening, bar: usize) -> Vec<Output> {
    let at = evening.bar_start(bar);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Left }])
}

fn words(evening: &Evening) -> &str {
    match evening.stage() {
        Stage::RepDone { words, .. } => words,
        _ => "",
    }
}

#[track_caller]
fn one(outputs: &[Output]) -> Rep {
    let reps = reps(outputs);
    assert_eq!(reps.len(), 1, "{reps:?}");
    reps[0].clone()
}

#[test]
fn the_beats_around_a_slip_are_played_slowly_until_clean_and_then_the_section_from_its_top() {
    let mut evening = looping(2, 1);
    assert_eq!(one(&slip(&mut evening, 2)).verdict, Verdict::Broken);
    assert!(matches!(evening.stage(), Stage::Look { words } if words.starts_with("bar 3, beat 1, left hand")), "{:?}", evening.stage());
    // The third bar of the section is the second one that stands there now.
    let view = evening.engine.view();
    assert_eq!((view.span, view.bars, view.look_bar), ("around bar 3, beat 1", &["2".to_owned(), "3".to_owned()][..], Some(1)));
    let set = evening.engine.piece().tempo.unwrap().quarters_per_minute();
    let asked = evening.engine.span().line.tempo.unwrap().quarters_per_minute();
    assert!((asked / set - 0.7).abs() < 1e-9, "seventy percent lies between 60 and 80");

    let first = one(&evening.play(vec![]));
    assert_eq!((first.verdict, first.span.as_str()), (Verdict::Clean, "around bar 3, beat 1"), "{:?}", first.reason);
    // From a beat before to a beat after, as places: the rep shows nothing of whole bars.
    assert_eq!(first.bars, ("2.3".to_owned(), "3.2".to_owned()));
    assert_eq!(words(&evening), "once more like that");
    one(&slip(&mut evening, 1));
    one(&evening.play(vec![]));
    assert_eq!(words(&evening), "now from the top", "two clean times, whatever came between");
    let view = evening.engine.view();
    assert_eq!((view.span, view.n_clean, view.target), ("casting off", 0, 3), "the loop does not count");
    assert_eq!(one(&evening.play(vec![])).span, "casting off");
}

#[test]
fn the_loop_is_slow_and_a_player_who_begins_at_the_top_leaves_it() {
    let mut evening = looping(1, 3);
    slip(&mut evening, 2);
    let span = evening.engine.span().clone();
    let (piece, start) = (evening.engine.piece().clone(), evening.now);
    let take = perform(piece.part(), &span.stretch, &Manner::fluent(piece.tempo.unwrap(), 3));
    let mark = evening.outputs.len();
    for event in take.events() {
        evening.input(start + event.at, catchword::practice::Input::Midi(event.what));
    }
    evening.wait(1_500);
    let fast = one(&evening.outputs[mark..]);
    assert_eq!((fast.verdict, fast.reason.map(|r| r.words)), (Verdict::Broken, Some("faster than the tempo set".to_owned())));
    assert_eq!(words(&evening), "faster than the tempo set");
    assert_eq!(evening.engine.span().name, span.name, "once more");

    // Back to the section itself, by playing it.
    evening.wait(3_000);
    let whole = evening.engine.spans()[0].clone();
    let take = perform(piece.part(), &whole.stretch, &Manner::fluent(piece.tempo.unwrap(), 4));
    let (start, mark) = (evening.now, evening.outputs.len());
    for event in take.events() {
        evening.input(start + event.at, catchword::practice::Input::Midi(event.what));
    }
    evening.wait(1_500);
    assert_eq!(one(&evening.outputs[mark..]).span, "casting off");
    // A key does it too.
    slip(&mut evening, 2);
    assert!(evening.engine.span().name.starts_with("around "));
    evening.command(Command::Again);
    assert_eq!(evening.engine.span().name, "casting off");
}

#[test]
fn a_slip_anywhere_in_the_piece_has_a_loop_that_can_be_played() {
    for section in 0..6 {
        let piece = open_piece("ferry", None, &[]).unwrap().piece;
        let spans = vec![Span::of_piece(&piece).remove(section)];
        for bar in 0..spans[0].bars.len() {
            let slips = SlipsConfig { n_clean: 1, ..SlipsConfig::standard() };
            let engine =
                Engine::try_new(piece.clone().into(), spans.clone(), PracticeConfig { slips, ..PracticeConfig::standard() }).unwrap();
            let mut evening = Evening::at(engine);
            slip(&mut evening, bar);
            if !evening.engine.span().name.starts_with("around ") {
                continue;
            }
            let played = one(&evening.play(vec![]));
            assert_eq!(played.verdict, Verdict::Clean, "section {section}, bar {bar}: {:?}", played.reason);
            assert!(!evening.engine.span().name.starts_with("around "), "section {section}, bar {bar}");
        }
    }
}

#[test]
fn when_few_of_the_last_reps_were_clean_it_is_said_once_that_less_would_do_more() {
    let mut evening = evening(PracticeConfig::standard());
    for _ in 0..2 {
        evening.play(vec![]);
    }
    for _ in 0..12 {
        slip(&mut evening, 2);
    }
    let said: Vec<&str> =
        evening.outputs.iter().filter_map(|o| if let Output::Advised { words, .. } = o { Some(words.as_str()) } else { None }).collect();
    assert_eq!(said, ["2 of the last 10 were clean: fewer bars at a time, or slower"]);
    let quiet = SlipsConfig { clean_share_min: 0.0, ..SlipsConfig::standard() };
    let mut evening = self::evening(PracticeConfig { slips: quiet, ..PracticeConfig::standard() });
    (0..11).for_each(|_| drop(slip(&mut evening, 2)));
    assert!(!evening.outputs.iter().any(|o| matches!(o, Output::Advised { .. })));
}

fn fading() -> PracticeConfig {
    let mut config = PracticeConfig::standard();
    config.ladder.hide_after = 2;
    config
}

fn rungs(outputs: &[Output]) -> Vec<u8> {
    outputs.iter().filter_map(|o| if let Output::Prompted { rung, .. } = o { Some(*rung) } else { None }).collect()
}

fn halt(evening: &mut Evening, seconds: i64) -> Vec<Output> {
    let at = evening.bar_start(2);
    evening.play(vec![Planned::Pause { at, length: Micros::from_millis(1_000 * seconds) }])
}

#[test]
fn a_cue_that_was_not_needed_twice_is_not_shown_first_until_it_is_needed_again() {
    let mut evening = evening(fading());
    assert_eq!(rungs(&halt(&mut evening, 3)), [1], "it has not held yet");
    evening.play(vec![]);
    evening.play(vec![]);
    let outputs = halt(&mut evening, 12);
    assert_eq!(rungs(&outputs), [2, 3], "its fuller words, and the page");
    let at = |wanted: fn(&Output) -> Option<Micros>| outputs.iter().find_map(wanted).unwrap();
    let hesitated = at(|o| if let Output::Hesitated { at, .. } = o { Some(*at) } else { None });
    let prompted = at(|o| if let Output::Prompted { at, .. } = o { Some(*at) } else { None });
    assert_eq!(prompted - hesitated, Micros::from_millis(2_700), "at their own time: 0.7 s and 2 s");
    assert_eq!(rungs(&halt(&mut evening, 3)), [1], "it was needed");
    let mut usual = self::evening(PracticeConfig::standard());
    usual.play(vec![]);
    usual.play(vec![]);
    assert_eq!(rungs(&halt(&mut usual, 3)), [1], "off unless it is asked for");
}

#[test]
fn earlier_sessions_count_for_a_cue() {
    let past = |verdicts: &[Verdict]| {
        let rep = |verdict: &Verdict| {
            let failed = (*verdict != Verdict::Clean).then(|| catchword::score::Place::start_of(catchword::score::BarIdx(2)));
            PastRep { bars: BarRange::try_new(0..4).unwrap(), verdict: *verdict, failed }
        };
        let piece = open_piece("ferry", None, &[]).unwrap().piece;
        let spans = Span::of_piece(&piece);
        let engine = Engine::try_new(piece.into(), spans, fading()).unwrap();
        let mut evening = Evening::at(engine.with_past(&verdicts.iter().map(rep).collect::<Vec<_>>()));
        rungs(&halt(&mut evening, 3))
    };
    assert_eq!(past(&[Verdict::Clean]), [1]);
    assert_eq!(past(&[Verdict::Clean, Verdict::Clean]), [0; 0], "nothing for three seconds");
    assert_eq!(past(&[Verdict::Clean, Verdict::Clean, Verdict::Prompted]), [1]);
}

#[test]
fn a_section_can_run_on_into_the_next() {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    let spans = Span::of_piece(&piece);
    let longer = spans[0].run_on(&piece, 1).unwrap();
    assert_eq!((longer.name.as_str(), longer.ends(&piece.score), longer.target), ("casting off", ("1".to_owned(), "5".to_owned()), 3));
    let last = spans[5].run_on(&piece, 2).unwrap();
    assert_eq!(last.ends(&piece.score), ("22".to_owned(), "24".to_owned()), "after the end there is nothing");
    assert!(spans[6].run_on(&piece, 1).is_none(), "a run-through is whole already");
}
