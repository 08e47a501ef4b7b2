//! What earlier takes of a player change.

use std::sync::Arc;

use catchword::follower::{Begin, Follower, FollowerConfig, OnsetIdx, TimingHabit};
use catchword::journal::entry::Mode;
use catchword::midi::sensor::Sensor;
use catchword::midi::{Hearing, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::Piece;
use catchword::practice::{Habits, Span};
use catchword::source::player::{Manner, Planned, perform};
use catchword::time::{Micros, Stamped};

use super::textures::{Made, Texture, make};
use super::{follow, tempo};

/// A player who always waits a second before the ninth bar.
fn waiting(made: &Made, seed: u64) -> Take {
    let planned = vec![Planned::Pause { at: super::bar(8), length: Micros::from_millis(1_000) }];
    perform(&made.score.parts[0], &made.stretch, &Manner { planned, ..Manner::fluent(tempo(90.0), seed) })
}

#[test]
fn a_wait_that_the_player_always_makes_is_no_hesitation_once_it_is_known() {
    let made = make(Texture::Keyboard, 21);
    let config = || FollowerConfig::learned(Begin::At(OnsetIdx(0)));
    assert_eq!(follow(&made, &waiting(&made, 1), config()).hesitations.len(), 1);
    let mut habit = TimingHabit::new(made.line.onsets.len());
    for seed in [2, 3] {
        let mut follower = Follower::new(made.line.clone(), config());
        let mut findings = Vec::new();
        for event in waiting(&made, seed).events() {
            let MidiEvent::NoteOn { key, velocity, .. } = event.what else { continue };
            follower.note(event.at, key, velocity, &mut findings);
            if let Some(step) = follower.last_step() {
                habit.observe(step.from, step.log_ratio);
            }
        }
    }
    let before = OnsetIdx(made.line.onsets.partition_point(|o| o.at < super::bar(8)) - 1);
    assert!(habit.at(before).0 > 0.8, "{:?}", habit.at(before));
    let known = FollowerConfig { timing: Some(habit), ..config() };
    assert_eq!(follow(&made, &waiting(&made, 1), known).hesitations, []);
}

#[test]
fn what_the_sensors_did_by_themselves_teaches_nothing() {
    let score = Arc::new(make(Texture::Keyboard, 21).score);
    let piece = Piece::of_score(score, 0, "made").expect("the score has bars");
    let span = Span::whole(&piece, Mode::RunThrough).expect("the score has notes");
    let manner = Manner::fluent(tempo(90.0), 5);
    let sensor = Sensor { retrigger: Micros::from_millis(90), ..Sensor::usual() };
    let clean = perform(piece.part(), &span.stretch, &manner).heard(Hearing { sensor: Some(sensor), ..Hearing::default() });
    // Every stroke once more 75 ms later, and softly on a string far above that the piece has not: one that it has is left to the follower.
    let own: Vec<u8> = piece.part().notes.iter().map(|n| n.key.number()).collect();
    let mut events = Vec::new();
    for event in clean.events() {
        events.push(*event);
        if let MidiEvent::NoteOn { channel, key, .. } = event.what {
            let again = |after: i64, key: u8, velocity: u8| {
                let what = MidiEvent::NoteOn { channel, key: MidiKey::try_new(key.into()).unwrap(), velocity: Velocity(velocity) };
                Stamped { at: event.at + Micros::from_millis(after), what }
            };
            events.push(again(75, key.number(), 40));
            let along = [18, 19, 20].into_iter().map(|far| key.number() + far).find(|key| !own.contains(key) && *key < 128);
            events.extend(along.map(|key| again(12, key, 6)));
        }
    }
    events.sort_by_key(|e| e.at);
    let blurred: Take = events.iter().copied().collect();
    let known = blurred.clone().heard(clean.hearing().clone());
    let learned = |take: &Take| Habits::of_takes(&span, std::slice::from_ref(take));
    assert_eq!(learned(&known), learned(&clean));
    assert_ne!(learned(&blurred), learned(&clean), "without the filter it would");
}

#[test]
fn habits_are_those_of_the_last_twelve_takes() {
    let score = Arc::new(make(Texture::Keyboard, 21).score);
    let piece = Piece::of_score(score, 0, "made").expect("the score has bars");
    let bars = piece.score.all_bars().expect("the score has bars");
    let span = Span::new(&piece, "all".to_owned(), Mode::RunThrough, &bars, 1).expect("the score has notes");
    let play = |pause, seed| {
        let planned = vec![Planned::Pause { at: super::bar(8), length: Micros::from_millis(pause) }];
        perform(piece.part(), &span.stretch, &Manner { planned, ..Manner::fluent(tempo(90.0), seed) })
    };
    let steady: Vec<Take> = (0..12).map(|seed| play(0, seed)).collect();
    let with_old: Vec<Take> = [play(1_000, 99)].into_iter().chain(steady.iter().cloned()).collect();
    assert_eq!(Habits::of_takes(&span, &with_old), Habits::of_takes(&span, &steady));
    assert_ne!(Habits::of_takes(&span, &with_old[..12]), Habits::of_takes(&span, &steady));
    assert_eq!(Habits::of_takes(&span, &[]), Habits::default());
}
