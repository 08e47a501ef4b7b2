//! Tests of follower: what it says of takes that the built-in player makes of generated scores.

mod habits;
mod textures;

use std::sync::Arc;

use catchword::follower::{Begin, Finding, Follower, FollowerConfig, Heard, HeardNote, Line, OnsetIdx, SlipKind};
use catchword::midi::{MidiEvent, MidiKey, Take, Velocity};
use catchword::source::player::{Manner, Meant, Planned, perform, perform_told};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};
use proptest::prelude::*;

use textures::{Made, Switch, TEXTURES, Texture, make, make_switch};

/// What was said of a take, note by note, with the silences that were called hesitations.
#[derive(PartialEq, Debug, Default)]
pub struct Account {
    pub notes: Vec<HeardNote>,
    pub findings: Vec<Finding>,
    pub hesitations: Vec<Micros>,
}

pub fn follow(made: &Made, take: &Take, config: FollowerConfig) -> Account {
    let mut follower = Follower::new(made.line.clone(), config);
    let mut out = Account::default();
    for event in take.events() {
        let MidiEvent::NoteOn { key, velocity, .. } = event.what else { continue };
        if let Some(due) = follower.hesitation_deadline().filter(|d| *d < event.at) {
            out.hesitations.push(due);
            follower.silence(due, &mut out.findings);
        }
        out.notes.push(follower.note(event.at, key, velocity, &mut out.findings));
    }
    out
}

pub fn tempo(quarters_per_minute: f64) -> Tempo {
    Tempo::try_new(quarters_per_minute).expect("tempos of the tests are playable")
}

fn take(made: &Made, manner: &Manner) -> Take {
    perform(&made.score.parts[0], &made.stretch, manner)
}

fn bar(n: i64) -> ScoreTime {
    ScoreTime::quarters(4 * n)
}

fn texture() -> impl Strategy<Value = Texture> {
    prop::sample::select(TEXTURES.to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn a_clean_take_at_any_tempo_is_heard_clean(texture in texture(), seed in 0u64..1_000_000, qpm in 20.0f64..240.0) {
        let made = make(texture, seed);
        let performed = perform_told(&made.score.parts[0], &made.stretch, &Manner::fluent(tempo(qpm), seed));
        let account = follow(&made, &performed.take, FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        prop_assert!(account.findings.is_empty(), "{texture:?} {seed} {qpm}: {:?}", account.findings);
        for (n, (said, meant)) in account.notes.iter().zip(&performed.meant).enumerate() {
            // While an ornament sounds, its strokes and the next note on one of its keys cannot be told apart.
            let has_ornaments = made.line.notes.iter().any(|n| n.is_free);
            let is_right = said.heard == Heard::Expected || (has_ornaments && said.heard == Heard::Repeat);
            prop_assert!(is_right, "{texture:?} {seed} {qpm}: note {n}, {meant:?}, {said:?}");
        }
        prop_assert_eq!(account.hesitations.len(), 0, "{:?} {} {}: {:?}", texture, seed, qpm, account.hesitations);
        prop_assert_eq!(account.notes.last().map(|n| n.position.onset.0), Some(made.line.onsets.len() - 1));
    }

    #[test]
    fn whatever_is_played_the_position_stays_in_the_line_and_the_account_is_the_same_again(
        texture in texture(),
        seed in 0u64..1_000_000,
        notes in prop::collection::vec((-50_000i64..2_000_000, 0i32..128, 1u8..128), 0..300),
    ) {
        let made = make(texture, seed);
        let run = || {
            let mut follower = Follower::new(made.line.clone(), FollowerConfig::learned(Begin::Anywhere));
            let (mut clock, mut findings, mut said) = (0i64, Vec::new(), Vec::new());
            for (gap, key, velocity) in &notes {
                clock += gap / if seed % 2 == 0 { 1 } else { 20 };
                let key = MidiKey::try_new(*key).expect("keys lie within 0..128");
                said.push(follower.note(Micros(clock), key, Velocity(*velocity), &mut findings));
                follower.silence(Micros(clock + gap), &mut findings);
            }
            (said, findings, follower.hesitation_deadline(), follower.is_at_end())
        };
        let account = run();
        let n = made.line.onsets.len();
        for note in &account.0 {
            prop_assert!(note.position.onset.0 < n);
            prop_assert!((0.0..=1.000_001).contains(&note.position.confidence));
            prop_assert!(note.note.is_none_or(|i| i.0 < made.line.notes.len()));
        }
        prop_assert_eq!(account, run());
    }

    #[test]
    fn after_a_restart_of_a_bar_the_place_is_found_and_said(texture in texture(), seed in 0u64..1_000_000, qpm in 40.0f64..160.0, from in 3i64..15) {
        // Bars that return note for note, or one note struck on and on, leave more than one place to be in.
        prop_assume!(!matches!(texture, Texture::LookAlike | Texture::Repeated | Texture::Enharmonic));
        let made = make(texture, seed);
        prop_assume!(!made.stands_elsewhere(from as usize));
        let (at, to) = (bar(from) + ScoreTime::quarters(2), bar(from));
        let planned = vec![Planned::Restart { at, to, pause: Micros::from_millis(1_500) }];
        let manner = Manner { planned, ..Manner::fluent(tempo(qpm), seed) };
        let account = follow(&made, &take(&made, &manner), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        prop_assert_eq!(account.notes.last().map(|n| n.position.onset.0), Some(made.line.onsets.len() - 1));
        let restarts: Vec<_> = account.findings.iter().filter(|f| matches!(f, Finding::Restart { .. })).collect();
        prop_assert_eq!(restarts.len(), 1, "{:?}", account.findings);
        let back = |f: &Finding| matches!(f, Finding::Restart { to, .. } if made.line.onset(*to).at == bar(from));
        prop_assert!(back(restarts[0]), "{:?}", restarts);
        let slips = account.findings.iter().filter(|f| matches!(f, Finding::Slip(_))).count();
        prop_assert_eq!(slips, 0, "{:?}", account.findings);
    }

    #[test]
    fn the_wrong_exit_of_a_switch_is_one_wrong_turn_there(seed in 0u64..1_000_000, qpm in 40.0f64..160.0, into in prop::sample::select(vec![2, 4]), forward: bool) {
        let Switch { made, switch: (first, second) } = make_switch(seed, into);
        let (here, there) = if forward { (first, second) } else { (second, first) };
        let (at, pause) = (here - ScoreTime::new(1, 2), Micros::ZERO);
        let planned = vec![if forward { Planned::Jump { at, to: there, pause } } else { Planned::Restart { at, to: there, pause } }];
        let performed = perform_told(&made.score.parts[0], &made.stretch, &Manner { planned, ..Manner::fluent(tempo(qpm), seed) });
        let account = follow(&made, &performed.take, FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        let [Finding::Slip(slip)] = account.findings[..] else {
            return Err(TestCaseError::fail(format!("{seed} {qpm} {into} {forward}: {:?}", account.findings)));
        };
        prop_assert_eq!((slip.kind, made.line.onset(slip.onset).at), (SlipKind::WrongTurn, here));
        let turned = performed.happened[0].0 - Micros::from_millis(50);
        let is_between = |e: &&Stamped<MidiEvent>| turned <= e.at && e.at <= slip.at && matches!(e.what, MidiEvent::NoteOn { .. });
        let n_notes = performed.take.events().iter().filter(is_between).count();
        prop_assert!((1..=6).contains(&n_notes), "{n_notes} notes: {seed} {qpm} {into} {forward}");
        prop_assert_eq!(account.notes.last().map(|n| n.position.onset.0), Some(made.line.onsets.len() - 1));
    }

    #[test]
    fn the_right_exits_of_a_switch_are_no_wrong_turns(seed in 0u64..1_000_000, qpm in 20.0f64..240.0, into in prop::sample::select(vec![2, 4])) {
        let made = make_switch(seed, into).made;
        let account = follow(&made, &take(&made, &Manner::fluent(tempo(qpm), seed)), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        prop_assert_eq!(account.findings, vec![]);
    }

    #[test]
    fn a_wrong_bass_note_is_called_wrong_and_nothing_else_is(seed in 0u64..1_000_000, qpm in 40.0f64..160.0, at in 1i64..15) {
        let made = make(Texture::Keyboard, seed);
        let planned = vec![Planned::Wrong { at: bar(at), hand: Hand::Left }];
        let manner = Manner { planned, ..Manner::fluent(tempo(qpm), seed) };
        let account = follow(&made, &take(&made, &manner), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        let slips: Vec<_> = account.findings.iter().filter_map(|f| if let Finding::Slip(s) = f { Some(s) } else { None }).collect();
        prop_assert_eq!(slips.len(), 1, "{:?}", account.findings);
        prop_assert_eq!(slips[0].kind, SlipKind::Wrong);
        prop_assert_eq!(made.line.onset(slips[0].onset).at, bar(at));
    }

    #[test]
    fn a_note_left_out_is_said_to_be_missed(seed in 0u64..1_000_000, qpm in 40.0f64..160.0, at in 1i64..15) {
        let made = make(Texture::Keyboard, seed);
        let planned = vec![Planned::Miss { at: bar(at), hand: Hand::Left }];
        let manner = Manner { planned, ..Manner::fluent(tempo(qpm), seed) };
        let account = follow(&made, &take(&made, &manner), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        let slips: Vec<_> = account.findings.iter().filter_map(|f| if let Finding::Slip(s) = f { Some(s) } else { None }).collect();
        prop_assert_eq!(slips.len(), 1, "{:?}", account.findings);
        prop_assert_eq!((slips[0].kind, made.line.onset(slips[0].onset).at), (SlipKind::Missed, bar(at)));
    }

    #[test]
    fn a_stop_of_two_seconds_is_a_hesitation_and_shaping_is_not(texture in texture(), seed in 0u64..1_000_000, qpm in 60.0f64..160.0, at in 4i64..15) {
        let made = make(texture, seed);
        let fluent = follow(&made, &take(&made, &Manner::fluent(tempo(qpm), seed)), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        prop_assert_eq!(fluent.hesitations.len(), 0, "{:?}", fluent.hesitations);
        let planned = vec![Planned::Pause { at: bar(at), length: Micros::from_millis(2_000) }];
        let manner = Manner { planned, ..Manner::fluent(tempo(qpm), seed) };
        let stopped = follow(&made, &take(&made, &manner), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
        prop_assert_eq!(stopped.hesitations.len(), 1);
    }
}

/// Bars 15 and 16 of this score are its bars 9 and 10 once more: whoever goes back to bar 15 may as well be in bar 9, to the end.
#[test]
fn a_restart_into_bars_that_stand_elsewhere_too_is_not_told_from_them() {
    let (made, seed, to) = (make(Texture::Arpeggio, 237_467), 237_467, bar(14));
    assert!(made.stands_elsewhere(14));
    let planned = vec![Planned::Restart { at: to + ScoreTime::quarters(2), to, pause: Micros::from_millis(1_500) }];
    let manner = Manner { planned, ..Manner::fluent(tempo(40.0), seed) };
    let account = follow(&made, &take(&made, &manner), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
    assert_eq!(account.findings, []);
    let last = account.notes.last().expect("notes were played").position;
    assert!(last.confidence < 0.9, "{last:?}");
    assert!(account.notes.iter().all(|n| n.heard == Heard::Expected));
}

#[test]
fn a_later_tempo_mark_is_played_and_not_waited_at() {
    let plain = make(Texture::Keyboard, 11);
    let mut score = plain.score.clone();
    score.tempos = vec![(bar(0), tempo(120.0)), (bar(8), tempo(40.0))];
    let line = Line::new(&score, &score.parts[0], &plain.stretch, &[]).expect("the score has notes");
    let marked = Made { score, line: Arc::new(line), stretch: plain.stretch.clone() };
    // Played at the marks: from the ninth bar on everything takes three times as long.
    let performed = perform_told(&plain.score.parts[0], &plain.stretch, &Manner::fluent(tempo(120.0), 11));
    let struck = performed.take.events().iter().filter(|e| matches!(e.what, MidiEvent::NoteOn { .. }));
    let is_late = |meant: &Meant| matches!(meant, Meant::Note(n) if plain.stretch.notes[*n].onset >= bar(8));
    let (turn, _) = struck.zip(&performed.meant).find(|(_, meant)| is_late(meant)).expect("there is a ninth bar");
    let mut slower = Take::default();
    for event in performed.take.events() {
        let at = if event.at > turn.at { Micros(turn.at.0 + 3 * (event.at - turn.at).0) } else { event.at };
        slower.push(Stamped { at, what: event.what });
    }
    let heard = |made: &Made| follow(made, &slower, FollowerConfig::learned(Begin::At(OnsetIdx(0))));
    assert!(!heard(&plain).hesitations.is_empty());
    let account = heard(&marked);
    assert_eq!((account.hesitations, account.findings), (vec![], vec![]));
}

#[test]
fn a_string_that_sounds_twice_and_its_soft_octave_are_ghosts() {
    let made = make(Texture::Keyboard, 5);
    let mut follower = Follower::new(made.line.clone(), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
    let mut findings = Vec::new();
    for event in take(&made, &Manner::fluent(tempo(90.0), 5)).events() {
        let MidiEvent::NoteOn { key, velocity, .. } = event.what else { continue };
        let heard = follower.note(event.at, key, velocity, &mut findings);
        assert_eq!(heard.heard, Heard::Expected);
        if findings.is_empty() && made.line.onset(heard.position.onset).at == bar(4) {
            let again = follower.note(event.at + Micros::from_millis(15), key, Velocity(velocity.0 / 2), &mut findings);
            assert_eq!(again.heard, Heard::Ghost);
        }
    }
    assert_eq!(findings, []);
}

#[test]
fn what_no_place_explains_is_lost_and_playing_on_is_found() {
    let made = make(Texture::Keyboard, 9);
    let mut follower = Follower::new(made.line.clone(), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
    let mut findings = Vec::new();
    let played = take(&made, &Manner::fluent(tempo(90.0), 9));
    let notes: Vec<_> = played
        .events()
        .iter()
        .filter_map(|e| if let MidiEvent::NoteOn { key, velocity, .. } = e.what { Some((e.at, key, velocity)) } else { None })
        .collect();
    let (half, mut last) = (notes.len() / 2, Micros::ZERO);
    for (at, key, velocity) in &notes[..half] {
        last = *at;
        follower.note(*at, *key, *velocity, &mut findings);
    }
    assert_eq!(findings, []);
    // A scale of black keys: the score has white ones only.
    for key in [61, 63, 66, 68, 70, 73, 75, 78, 80, 82, 85, 87] {
        last += Micros::from_millis(250);
        follower.note(last, MidiKey::try_new(key).expect("a key"), Velocity(70), &mut findings);
    }
    assert!(findings.iter().any(|f| matches!(f, Finding::Lost { .. })), "{findings:?}");
    assert!(follower.position().is_some_and(|p| p.lost));
    assert_eq!(follower.hesitation_deadline(), None);
    let pause = last + Micros::from_millis(1_500) - notes[half].0;
    for (at, key, velocity) in &notes[half..] {
        follower.note(*at + pause, *key, *velocity, &mut findings);
    }
    assert!(findings.iter().any(|f| matches!(f, Finding::Found { .. })), "{findings:?}");
    assert!(follower.is_at_end());
}

#[test]
fn stamps_that_go_back_count_as_the_last_one() {
    let made = make(Texture::Unison, 3);
    let mut follower = Follower::new(made.line.clone(), FollowerConfig::learned(Begin::At(OnsetIdx(0))));
    let mut findings = Vec::new();
    let first = made.line.notes[0].key;
    follower.note(Micros(5_000_000), first, Velocity(60), &mut findings);
    follower.note(Micros(1_000_000), first, Velocity(60), &mut findings);
    assert!(follower.hesitation_deadline().is_none_or(|d| d > Micros(5_000_000)));
}
