//! How a harp is set through a piece, on hand-made bars with what moves written out.

use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Part, Place, Score, unfold};
use catchword::setting::{Change, Moved, Plan, ProblemKind, Trouble, plan};
use catchword::theory::harp::{Foot, Harp, HarpString, LeverTuning, Mechanism, Strings};
use catchword::theory::{Hand, KeySignature, Letter, Meter, SpelledPitch};
use catchword::time::{ScoreTime, Tempo};
use proptest::prelude::*;

/// Makes a score of bars of 4/4: each note with bar from 0, beat from 1, quarters, pitch as written and hand.
fn score_of(n_bars: usize, notes: &[(usize, i64, i64, &str, Hand)]) -> Score {
    let bars = (0..n_bars).map(|bar| Bar {
        label: BarLabel((bar + 1).to_string()),
        start: ScoreTime::quarters(4 * bar as i64),
        length: ScoreTime::quarters(4),
        offset: ScoreTime::ZERO,
        meter: Meter::COMMON,
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    });
    let notes = notes.iter().map(|&(bar, beat, quarters, pitch, hand)| {
        let pitch: SpelledPitch = pitch.parse().unwrap();
        let key = catchword::midi::MidiKey::try_new(pitch.midi()).unwrap();
        Note::plain(ScoreTime::quarters(4 * bar as i64 + beat - 1), ScoreTime::quarters(quarters), pitch, key, hand, BarIdx(bar))
    });
    let mut notes: Vec<Note> = notes.collect();
    notes.sort_by_key(|n| (n.onset, n.key));
    Score { bars: bars.collect(), parts: vec![Part { notes, ..Part::default() }], ..Score::default() }
}

fn planned(harp: &Harp, score: &Score) -> Plan {
    let part = &score.parts[0];
    plan(harp, score, part, &unfold(score, part, &score.all_bars().unwrap()), Tempo::try_new(60.0))
}

/// Each change as bar.beat and words, with what makes it hard.
fn told(plan: &Plan, score: &Score) -> Vec<(String, String, Option<Trouble>)> {
    plan.changes.iter().map(|c| (c.place.text(score), c.words(), c.trouble)).collect()
}

use Hand::{Left, Right};

#[test]
fn a_pedal_moves_once_on_the_last_free_beat_before_its_note() {
    let score = score_of(3, &[(0, 1, 1, "F4", Right), (0, 2, 1, "F5", Right), (2, 1, 1, "F#4", Right), (2, 2, 1, "F#2", Left)]);
    let plan = planned(&Harp::concert(), &score);
    assert_eq!(plan.start, [(Moved::Pedal(Letter::F), 0)]);
    assert_eq!(told(&plan, &score), [("2.4".into(), "right foot: F sharp".into(), None)]);
    assert_eq!(plan.pedals_at(ScoreTime::ZERO).to_string(), "D C B | E F G A");
    assert_eq!(plan.pedals_at(ScoreTime::quarters(8)).to_string(), "D C B | E F# G A");
    assert!(plan.problems.is_empty());
}

/// Common practice: the left foot has D, C and B, the right foot E, F, G and A; a foot moves one pedal at a time, both feet may move at once.
#[test]
fn one_pedal_a_foot_at_a_time() {
    let before = ["C4", "D4", "E4"].map(|pitch| (0, 1, 1, pitch, Right));
    let after = ["C#4", "D#4", "E#4"].map(|pitch| (1, 1, 1, pitch, Right));
    let score = score_of(2, &[before, after].concat());
    let plan = planned(&Harp::concert(), &score);
    let told = told(&plan, &score);
    assert_eq!(
        told.iter().map(|(place, words, _)| (place.as_str(), words.as_str())).collect::<Vec<_>>(),
        [("1.3", "left foot: C sharp"), ("1.4", "left foot: D sharp"), ("1.4", "right foot: E sharp"),]
    );
}

#[test]
fn two_settings_of_one_letter_at_once_are_a_clash_and_enharmonic_spelling_solves_it() {
    let clash = score_of(1, &[(0, 2, 1, "F4", Right), (0, 2, 1, "F#5", Right)]);
    let plan = planned(&Harp::concert(), &clash);
    assert_eq!(plan.problems.iter().map(|p| (p.place.text(&clash), p.kind)).collect::<Vec<_>>(), [("1.2".into(), ProblemKind::Clash)]);
    assert_eq!(plan.problems[0].words(&clash, &Harp::concert()), "bar 1, beat 2: F is wanted in two settings at once");
    let solved = score_of(1, &[(0, 2, 1, "E#4", Right), (0, 2, 1, "F#5", Right)]);
    assert!(planned(&Harp::concert(), &solved).problems.is_empty());
    // On a lever harp the two are different strings, each with its own lever.
    assert!(planned(&Harp::lever(), &clash).problems.is_empty());
}

/// Common practice: pedals do not reach the lowest C and D and the top G, which are tuned beforehand.
#[test]
fn strings_without_a_pedal_hold_one_tuning_for_the_piece() {
    let score = score_of(2, &[(0, 1, 1, "C#1", Left), (1, 1, 1, "C1", Left), (1, 2, 1, "C2", Left)]);
    let plan = planned(&Harp::concert(), &score);
    assert_eq!(
        plan.problems.iter().map(|p| (p.place.text(&score), p.kind)).collect::<Vec<_>>(),
        [("2.1".into(), ProblemKind::TunedOtherwise)]
    );
    assert!(plan.changes.is_empty());
    assert_eq!(plan.start, [(Moved::Pedal(Letter::C), 0), (Moved::Tuned("C1".parse().unwrap()), 1)]);
}

#[test]
fn what_no_string_and_no_lever_gives_is_named_with_its_place() {
    let harp = Harp {
        strings: Strings::try_new("C2".parse().unwrap(), "A6".parse().unwrap()).unwrap(),
        mechanism: Mechanism::Levers(LeverTuning { without: vec!["F2".parse().unwrap()], ..LeverTuning::e_flat() }),
    };
    let notes = [(0, 1, 1, "B1", Left), (0, 2, 1, "Gb4", Right), (0, 3, 1, "F#2", Left), (0, 4, 1, "F#3", Left), (1, 1, 1, "Db5", Right)];
    let score = score_of(2, &notes);
    let plan = planned(&harp, &score);
    let told: Vec<_> = plan.problems.iter().map(|p| p.words(&score, &harp)).collect();
    assert_eq!(
        told,
        [
            "bar 1, beat 1: the harp has no string for this note",
            "bar 1, beat 2: no lever makes G flat",
            "bar 1, beat 3: no lever makes F sharp",
            "bar 2, beat 1: no lever makes D flat",
        ]
    );
    assert_eq!(plan.words_at(ScoreTime::ZERO, &harp), "F levers up");
}

#[test]
fn a_lever_is_moved_in_the_longest_rest_of_the_left_hand() {
    let mut notes = vec![(0, 1, 1, "F4", Right), (2, 4, 1, "F#4", Right)];
    // The left hand plays every beat but the second and third of bar 2.
    let busy = (0..12).filter(|beat| ![5, 6].contains(beat)).map(|beat| (beat / 4, beat as i64 % 4 + 1, 1, "C3", Left));
    notes.extend(busy);
    let score = score_of(3, &notes);
    let harp = Harp::lever();
    let plan = planned(&harp, &score);
    assert_eq!(told(&plan, &score), [("2.2".into(), "left hand: lever up on the F in the 3rd octave".into(), None)]);
    assert_eq!(plan.words_at(ScoreTime::ZERO, &harp), "all levers down");
    assert_eq!(plan.words_at(ScoreTime::quarters(6), &harp), "F levers up");
    // At 240 quarters a minute a hand that plays on every beat has a quarter of a second.
    let without_rest: Vec<_> = (0..12).map(|beat| (beat / 4, beat as i64 % 4 + 1, 1, "C3", Left)).collect();
    let busy = score_of(3, &[notes[..2].to_vec(), without_rest].concat());
    let stretch = unfold(&busy, &busy.parts[0], &busy.all_bars().unwrap());
    let hurried = catchword::setting::plan(&harp, &busy, &busy.parts[0], &stretch, Tempo::try_new(240.0));
    assert_eq!(hurried.changes.iter().map(|c| c.trouble).collect::<Vec<_>>(), [Some(Trouble::HandBusy)]);
}

#[test]
fn a_pedal_that_must_move_while_its_note_sounds_says_so() {
    let score = score_of(2, &[(0, 1, 4, "A3", Left), (1, 1, 1, "Ab3", Left)]);
    let plan = planned(&Harp::concert(), &score);
    assert_eq!(told(&plan, &score), [("1.4".into(), "right foot: A flat".into(), Some(Trouble::StillSounding))]);
    let at_once = score_of(1, &[(0, 1, 1, "A3", Left), (0, 2, 1, "Ab3", Left)]);
    let plan = planned(&Harp::concert(), &at_once);
    assert_eq!(told(&plan, &at_once), [("1.1+1/2".into(), "right foot: A flat".into(), Some(Trouble::NoFreeBeat))]);
}

#[test]
fn a_plan_goes_to_the_page_as_diagrams_and_reads_back() {
    let rows = [(0, 1, 1, "F4", Right), (0, 2, 1, "B4", Right), (1, 1, 1, "F#4", Right), (2, 1, 1, "Bb4", Right), (2, 2, 1, "F#4", Left)];
    let mut score = score_of(3, &rows);
    let plan = planned(&Harp::concert(), &score);
    let diagrams = plan.diagrams(&score);
    let told: Vec<_> = diagrams.iter().map(|(at, pedals)| (at.to_f64(), pedals.to_string())).collect();
    let row = |at: f64, pedals: &str| (at, pedals.to_owned());
    assert_eq!(told, [row(0.0, "D C B | E F G A"), row(3.0, "D C B | E F# G A"), row(7.0, "D C Bb | E F# G A")]);
    score.parts[0].pedal_diagrams = diagrams.clone();
    let text = catchword::export::musicxml::write(&score);
    let (read, _) = catchword::import::musicxml::read(text.as_bytes(), "plan.musicxml").unwrap();
    assert_eq!(read.parts[0].pedal_diagrams, diagrams);
}

fn a_note() -> impl Strategy<Value = (usize, i64, i64, String, Hand)> {
    let pitch = (0usize..7, -1i8..=1, 2i8..6).prop_map(|(l, alter, octave)| SpelledPitch::new(Letter::ALL[l], alter, octave).to_string());
    (0usize..6, 1i64..5, 1i64..4, pitch, prop_oneof![Just(Left), Just(Right)])
}

proptest! {
    /// Whatever is written: the setting that the plan has at a note is the one that the note wants, unless the note is among the
    /// problems; every change moves something, between the two notes it lies between; a foot never moves two pedals at once.
    #[test]
    fn every_note_finds_its_string_set(notes in proptest::collection::vec(a_note(), 1..40), levers in any::<bool>()) {
        let rows: Vec<_> = notes.iter().map(|(b, beat, q, p, h)| (*b, *beat, *q, p.as_str(), *h)).collect();
        let score = score_of(6, &rows);
        let harp = if levers { Harp::lever() } else { Harp::concert() };
        let plan = planned(&harp, &score);
        for note in &score.parts[0].notes {
            let place = Place { bar: note.bar, into_bar: note.onset - score.bar(note.bar).start };
            if plan.problems.iter().any(|p| p.place == place && p.pitch == note.pitch) {
                continue;
            }
            let moved = Moved::of(&harp, HarpString::of(note.pitch));
            let standing = plan.at(note.onset).into_iter().find(|(m, _)| *m == moved).map(|(_, alter)| alter);
            prop_assert_eq!(standing, Some(note.pitch.alter), "{} at {}", note.pitch, place.text(&score));
        }
        let mut taken: Vec<(_, ScoreTime)> = Vec::new();
        for Change { what, from, to, played, trouble, .. } in &plan.changes {
            prop_assert!(from != to);
            if let (Moved::Pedal(letter), None) = (what, trouble) {
                let foot = Foot::of(*letter);
                prop_assert!(!taken.contains(&(foot, *played)));
                taken.push((foot, *played));
            }
        }
    }
}
