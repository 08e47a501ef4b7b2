//! Reading takes by players who are known: what is ready, what is to be read first, and the timing learned from them.

use std::sync::Arc;

use catchword::follower::{Begin, OnsetIdx};
use catchword::journal::entry::{Entry, Mode};
use catchword::midi::Take;
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::reading::{Readiness, ReadyMark};
use catchword::practice::{Engine, Input, Learned, Machine, Output, PracticeConfig, Span, Stage, Timed};
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::{Micros, Stamped};

const SEEDS: [u64; 5] = [2, 71, 828, 1_828, 45_904];
/// Bars as played where each section of the ferry begins the first time, and one past the last.
const SECTIONS: [usize; 7] = [1, 5, 17, 21, 25, 29, 32];

fn ferry() -> (Piece, Span) {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    let span = Span::whole(&piece, Mode::Reading).unwrap();
    (piece, span)
}

fn read(piece: &Piece, span: &Span, seed: u64, planned: Vec<Planned>) -> Take {
    perform(piece.part(), &span.stretch, &Manner { planned, ..Manner::fluent(span.line.tempo.unwrap(), seed) })
}

fn not_ready(readiness: &Readiness) -> Vec<&str> {
    readiness.sections.iter().filter(|s| !s.is_ready(ReadyMark::STANDARD)).map(|s| s.name.as_str()).collect()
}

#[test]
fn a_fluent_reading_is_ready_everywhere_with_its_tempo() {
    let (piece, span) = ferry();
    for seed in SEEDS {
        let readiness = Readiness::of_take(&piece, &read(&piece, &span, seed, vec![]), &PracticeConfig::standard()).unwrap();
        assert!(readiness.is_ready(ReadyMark::STANDARD), "seed {seed}: {readiness:#?}");
        let (due, right) = readiness.sections.iter().fold((0, 0), |(d, r), s| (d + s.n_notes_due, r + s.n_notes_right));
        let n_written = span.line.notes.iter().filter(|n| !n.is_optional).count();
        assert_eq!((due as usize, right as usize), (n_written, n_written), "seed {seed}: no note is in two sections or in none");
        for section in &readiness.sections {
            let tempo = section.tempo.unwrap();
            assert!((tempo / 96.0 - 1.0).abs() < 0.15, "seed {seed}, {}: {tempo}", section.name);
        }
    }
}

#[test]
fn a_section_with_too_many_wrong_notes_is_named() {
    let (piece, span) = ferry();
    for seed in SEEDS {
        // Bars 14 to 17, a wrong note in the top line and one in the bass of each bar.
        let bars = 21..25;
        let planned = bars
            .flat_map(|bar| {
                let at = span.stretch.bars[bar - 1].start;
                [Planned::Wrong { at, hand: Hand::Left }, Planned::Wrong { at, hand: Hand::Right }]
            })
            .collect();
        let readiness = Readiness::of_take(&piece, &read(&piece, &span, seed, planned), &PracticeConfig::standard()).unwrap();
        assert_eq!(not_ready(&readiness), ["against the stream"], "seed {seed}: {readiness:#?}");
        let section = &readiness.sections[3];
        assert!(section.n_notes_due - section.n_notes_right >= 5, "seed {seed}: {section:#?}");
    }
}

#[test]
fn a_stop_longer_than_a_bar_is_named_with_its_place_and_a_shorter_one_is_not() {
    let (piece, span) = ferry();
    // A bar of three quarters at 96 takes 1.875 s.
    for seed in SEEDS {
        for (length, names) in [(3_500, &["the deep channel"][..]), (1_200, &[])] {
            let at = span.stretch.bars[18].start;
            let take = read(&piece, &span, seed, vec![Planned::Pause { at, length: Micros::from_millis(length) }]);
            let readiness = Readiness::of_take(&piece, &take, &PracticeConfig::standard()).unwrap();
            assert_eq!(not_ready(&readiness), names, "seed {seed}: {readiness:#?}");
            let section = &readiness.sections[2];
            assert!((section.stop_bars - length as f64 / 1_875.0).abs() < 0.3, "seed {seed}: {section:#?}");
            assert_eq!(section.stop_place.as_deref(), Some("bar 12, beat 1"), "seed {seed}");
        }
    }
}

#[test]
fn what_was_not_reached_is_not_read_yet() {
    let (piece, span) = ferry();
    let take = read(&piece, &span, 5, vec![Planned::Stop { at: span.stretch.bars[19].start }]);
    let mut engine = Engine::try_new(Arc::new(piece.clone()), vec![span.clone()], PracticeConfig::standard()).unwrap();
    let mut outputs = Vec::new();
    for event in take.events() {
        engine.handle(Stamped { at: event.at, what: Input::Midi(event.what) }, &mut outputs);
    }
    engine.handle(Stamped { at: take.length() + Micros(30_000_000), what: Input::Deadline }, &mut outputs);
    let Stage::Finished { account } = engine.view().stage else { panic!("{:?}", engine.view().stage) };
    let account = account.join("\n");
    for line in [
        "not ready yet: 2 of 6 sections read well",
        "bars 10-13 (the deep channel): 2",
        "bars 14-17 (against the stream): not read yet",
        "bars 22-24 (made fast): not read yet",
    ] {
        assert!(account.contains(line), "{line} is not in\n{account}");
    }
    assert!(!outputs.iter().any(|o| matches!(o, Output::Prompted { .. })));
    let modes: Vec<Mode> = outputs.iter().filter_map(|o| if let Output::Record(Entry::Rep(r)) = o { Some(r.mode) } else { None }).collect();
    assert_eq!(modes, [Mode::Reading]);
}

#[test]
fn a_reading_of_the_whole_piece_teaches_every_section_its_timing() {
    let (piece, span) = ferry();
    // A breath of half a second after the first onset of the second bar of each section; bars 1 to 7 come twice.
    let length = Micros::from_millis(500);
    let after = |bar: usize| span.line.onsets.iter().find(|o| o.at > span.stretch.bars[bar].start).unwrap().at;
    let at = |section: usize| after(SECTIONS[section]);
    let breaths = (0..6).map(at).chain([after(SECTIONS[0] + 8), after(SECTIONS[1] + 8)]);
    let planned: Vec<Planned> = breaths.map(|at| Planned::Pause { at, length }).collect();
    let timed = Timed::of(&piece, &span, &read(&piece, &span, 3, planned), &PracticeConfig::standard());
    let mut learned = Learned::default();
    learned.add(&timed, Mode::Reading);
    for (nth, mut section) in Span::of_piece(&piece).into_iter().take(6).enumerate() {
        learned.teach(&mut section);
        let waits = PracticeConfig::standard().waits;
        let timing = section.habits.config(waits, Begin::At(OnsetIdx(0))).timing.expect("something was learned");
        let n_known = (0..section.n_onsets() - 1).filter(|o| timing.n_takes(OnsetIdx(*o)) > 0).count();
        assert!(n_known * 10 >= (section.n_onsets() - 1) * 9, "{}: {n_known} of {}", section.name, section.n_onsets());
        let place = span.line.onsets.iter().find(|o| o.at == at(nth)).unwrap().place;
        let before = section.line.onsets.iter().position(|o| o.place == place).unwrap() - 1;
        let longest = (0..section.n_onsets() - 1).max_by(|a, b| timing.at(OnsetIdx(*a)).0.total_cmp(&timing.at(OnsetIdx(*b)).0)).unwrap();
        let (longest, before) = (OnsetIdx(longest), OnsetIdx(before));
        assert_eq!(section.place(longest), section.place(before), "{}: {:?}", section.name, timing.at(before));
    }
}
