use proptest::prelude::*;

use super::*;
use crate::score::{Bar, BarIdx, BarLabel, BarRange, BarSigns, Note, Ornament, Roll, Score, unfold};
use crate::theory::{KeySignature, Meter, SpelledPitch};

/// A note of a test score: onset and duration in quarters, pitch, hand.
fn note(onset: ScoreTime, duration: ScoreTime, pitch: &str, hand: Hand) -> Note {
    let pitch: SpelledPitch = pitch.parse().unwrap();
    let bar = BarIdx((onset.to_f64() / 4.0) as usize);
    Note::plain(onset, duration, pitch, MidiKey::try_new(pitch.midi()).unwrap(), hand, bar)
}

fn q(n: i64) -> ScoreTime {
    ScoreTime::quarters(n)
}

/// A part in four-four time with its whole stretch.
fn lay_out(mut notes: Vec<Note>) -> (Part, Unfolded) {
    notes.sort_by_key(|n| (n.onset, n.key, n.hand));
    let n_bars = notes.iter().map(|n| n.bar.0 + 1).max().unwrap_or(1);
    let bar = |i: usize| Bar {
        label: BarLabel((i + 1).to_string()),
        start: q(4 * i as i64),
        length: q(4),
        offset: ScoreTime::ZERO,
        meter: Meter::COMMON,
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    };
    let part = Part { id: "P1".into(), n_staves: 2, notes, ..Part::default() };
    let score = Score { bars: (0..n_bars).map(bar).collect(), parts: vec![part.clone()], ..Score::default() };
    let stretch = unfold(&score, &part, &BarRange::try_new(0..n_bars).unwrap());
    (part, stretch)
}

/// Four bars of a scale tune over a bass: a right-hand note each quarter, a left-hand note each half.
fn tune() -> (Part, Unfolded) {
    let scale = ["C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6"];
    let mut notes: Vec<Note> = (0..16).map(|i| note(q(i), q(1), scale[i as usize % 8], Hand::Right)).collect();
    notes.extend((0..8).map(|i| note(q(2 * i), q(2), ["C3", "G3"][i as usize % 2], Hand::Left)));
    lay_out(notes)
}

fn manner(seed: u64) -> Manner {
    Manner::fluent(Tempo::try_new(90.0).unwrap(), seed)
}

fn machine() -> Manner {
    Manner { timing_sd: 0.0, chord_spread: Micros::ZERO, roll: Micros::ZERO, ..manner(1) }
}

fn with(planned: Planned, manner: Manner) -> Manner {
    Manner { planned: vec![planned], ..manner }
}

/// Note-ons with their time in seconds and key.
fn ons(take: &Take) -> Vec<(f64, u8)> {
    let on = |e: &Stamped<MidiEvent>| match e.what {
        MidiEvent::NoteOn { key, .. } => Some((e.at.secs_f64(), key.number())),
        _ => None,
    };
    take.events().iter().filter_map(on).collect()
}

/// Times at which the given note of the stretch was struck as written.
fn times_of(performed: &Performed, note: usize) -> Vec<f64> {
    let ons = ons(&performed.take);
    performed.meant.iter().zip(&ons).filter(|(m, _)| **m == Meant::Note(note)).map(|(_, on)| on.0).collect()
}

#[test]
fn machine_keeps_written_time_to_the_microsecond() {
    let (part, stretch) = tune();
    let performed = perform_told(&part, &stretch, &machine());
    for (i, n) in stretch.notes.iter().enumerate() {
        let due = Tempo::try_new(90.0).unwrap().duration(n.onset).secs_f64();
        assert_eq!(times_of(&performed, i), [due], "note {i}");
    }
}

#[test]
fn first_note_comes_at_zero_even_with_grace_notes_and_rolls() {
    let mut notes = vec![
        note(q(0), ScoreTime::ZERO, "B4", Hand::Right),
        note(q(0), q(4), "C5", Hand::Right),
        note(q(0), q(4), "C3", Hand::Left),
        note(q(0), q(4), "G3", Hand::Left),
    ];
    notes[0].ornament = Ornament::Grace;
    notes[2].roll = Some(Roll::Up);
    notes[3].roll = Some(Roll::Up);
    let (part, stretch) = lay_out(notes);
    let take = perform(&part, &stretch, &manner(3));
    assert_eq!(take.events()[0].at, Micros::ZERO);
    assert_eq!(ons(&take)[0].1, 71, "the grace note leads");
}

#[test]
fn same_seed_gives_the_same_take_and_another_seed_another() {
    let (part, stretch) = tune();
    assert_eq!(perform(&part, &stretch, &manner(7)), perform(&part, &stretch, &manner(7)));
    assert_ne!(perform(&part, &stretch, &manner(7)), perform(&part, &stretch, &manner(8)));
}

#[test]
fn timing_varies_as_asked_and_neighbouring_tempi_belong_together() {
    let (part, stretch) = lay_out((0..2000).map(|i| note(q(i), q(1), "C5", Hand::Right)).collect());
    for sd in [0.06, 0.12] {
        let take = perform(&part, &stretch, &Manner { timing_sd: sd, ..manner(5) });
        let times: Vec<f64> = ons(&take).iter().map(|o| o.0).collect();
        let ratios: Vec<f64> = times.windows(2).map(|w| ((w[1] - w[0]) * 90.0 / 60.0).ln()).collect();
        let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
        let around =
            |lag: usize| ratios.iter().zip(&ratios[lag..]).map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>() / (ratios.len() - lag) as f64;
        let spread = around(0).sqrt();
        // Phrase ends add to what was asked, displacements are cut off; both by less than a third.
        assert!((0.75 * sd..1.35 * sd).contains(&spread), "asked {sd}, got {spread}");
        // A drift: intervals three apart still belong together. White noise of 2000 intervals stays below 0.07 (three standard errors).
        assert!(around(3) / around(0) > 0.15, "{}", around(3) / around(0));
        assert!(ratios.iter().all(|r| r.exp() < 1.75), "a fluent take has no hesitation");
    }
}

#[test]
fn flat_chords_spread_as_pianists_chords_do() {
    // Vienna 4x22 recordings, median first-to-last time of written chords of 2, 3, 4, 5 notes: 17, 30, 36, 40 ms; 99 % of flat chords within 105 ms.
    let names = ["C3", "G3", "C4", "E4", "G4"];
    for (n, expected) in [(2, 17.0), (3, 30.0), (4, 36.0), (5, 40.0)] {
        let chords = (0..400).flat_map(|i| names[..n].iter().map(move |name| note(q(i), q(1), name, Hand::Left)));
        let (part, stretch) = lay_out(chords.collect());
        let take = perform(&part, &stretch, &manner(11));
        let mut spreads: Vec<f64> = ons(&take).chunks(n).map(|c| 1000.0 * (c[n - 1].0 - c[0].0)).collect();
        spreads.sort_by(f64::total_cmp);
        let median = spreads[200];
        assert!((0.8 * expected..1.2 * expected).contains(&median), "{n} notes: {median} ms, expected {expected}");
        assert!(spreads[396] < 105.0, "{n} notes: {} ms", spreads[396]);
    }
}

#[test]
fn marked_chords_are_rolled_in_their_direction_and_end_on_the_beat() {
    for (roll, expected) in [(Roll::Up, [48, 55, 60, 64]), (Roll::Down, [64, 60, 55, 48])] {
        let mut notes: Vec<Note> = ["C3", "G3", "C4", "E4"].iter().map(|name| note(q(2), q(2), name, Hand::Left)).collect();
        notes.iter_mut().for_each(|n| n.roll = Some(roll));
        notes.push(note(q(0), q(2), "C5", Hand::Right));
        let (part, stretch) = lay_out(notes);
        let take = perform(&part, &stretch, &Manner { roll: Micros::from_millis(240), ..machine() });
        let chord: Vec<(f64, u8)> = ons(&take)[1..].to_vec();
        assert_eq!(chord.iter().map(|o| o.1).collect::<Vec<_>>(), expected);
        assert!((chord[3].0 - 4.0 / 3.0).abs() < 1e-6, "last note on beat 3, at 90 a minute: {chord:?}");
        assert!((chord[3].0 - chord[0].0 - 0.240).abs() < 1e-5, "{chord:?}");
    }
}

#[test]
fn shake_alternates_with_the_scale_neighbour_and_ends_on_its_note() {
    let mut trill = note(q(1), q(3), "E5", Hand::Right);
    trill.ornament = Ornament::Shake;
    let (part, stretch) = lay_out(vec![note(q(0), q(1), "F5", Hand::Right), trill]);
    let performed = perform_told(&part, &stretch, &machine());
    let keys: Vec<u8> = ons(&performed.take)[1..].iter().map(|o| o.1).collect();
    assert!(keys.len() >= 15, "two seconds of shake: {keys:?}");
    assert!(keys.iter().step_by(2).all(|&k| k == 76) && keys.iter().skip(1).step_by(2).all(|&k| k == 77), "{keys:?}");
    assert_eq!(keys.len() % 2, 1);
    assert_eq!(performed.meant[1], Meant::Note(1));
    assert!(performed.meant[2..].iter().all(|m| *m == Meant::Free(1)));
}

#[test]
fn tremolo_between_two_notes_alternates_through_both_written_ends() {
    let mut ends = vec![note(q(0), q(2), "C4", Hand::Left), note(q(2), q(2), "G4", Hand::Left)];
    ends.iter_mut().for_each(|n| n.ornament = Ornament::TremoloPair);
    let (part, stretch) = lay_out(ends);
    let take = perform(&part, &stretch, &machine());
    let keys: Vec<u8> = ons(&take).iter().map(|o| o.1).collect();
    assert!(keys.len() > 20, "{keys:?}");
    assert!(keys.iter().all(|k| [60, 67].contains(k)));
    let repeats = keys.windows(2).filter(|w| w[0] == w[1]).count();
    assert!(repeats <= 1, "only the seam between the two ends may repeat a note: {keys:?}");
}

#[test]
fn single_note_tremolo_repeats_its_note() {
    let mut notes = vec![note(q(0), q(2), "C4", Hand::Left)];
    notes[0].ornament = Ornament::Tremolo;
    let (part, stretch) = lay_out(notes);
    let keys: Vec<u8> = ons(&perform(&part, &stretch, &machine())).iter().map(|o| o.1).collect();
    assert!(keys.len() > 8 && keys.iter().all(|&k| k == 60), "{keys:?}");
}

#[test]
fn glissando_runs_over_the_strings_as_they_are_set() {
    // With F sharp in the part, the strings from D4 to D5 are D E F# G A B C D.
    let mut notes = vec![note(q(0), q(2), "D4", Hand::Right), note(q(2), q(1), "D5", Hand::Right), note(q(3), q(1), "F#5", Hand::Right)];
    notes[0].ornament = Ornament::GlissandoTo(MidiKey::try_new(74).unwrap());
    notes[1].ornament = Ornament::GlissandoEnd;
    let (part, stretch) = lay_out(notes);
    let keys: Vec<u8> = ons(&perform(&part, &stretch, &machine())).iter().map(|o| o.1).collect();
    assert_eq!(keys, [62, 64, 66, 67, 69, 71, 72, 74, 78]);
}

#[test]
fn harmonic_sounds_where_it_sounds() {
    let mut notes = vec![note(q(0), q(2), "C4", Hand::Left)];
    notes[0].ornament = Ornament::Harmonic;
    notes[0].key = MidiKey::try_new(72).unwrap();
    let (part, stretch) = lay_out(notes);
    assert_eq!(ons(&perform(&part, &stretch, &machine()))[0].1, 72);
}

#[test]
fn two_voices_on_one_key_strike_it_once() {
    let (part, stretch) = lay_out(vec![note(q(0), q(1), "C4", Hand::Left), note(q(0), q(2), "C4", Hand::Right)]);
    assert_eq!(ons(&perform(&part, &stretch, &manner(1))).len(), 1);
}

#[test]
fn planned_pause_is_silence_on_top_of_the_time() {
    let (part, stretch) = tune();
    let pause = Planned::Pause { at: q(5), length: Micros::from_millis(2_000) };
    let performed = perform_told(&part, &stretch, &with(pause, machine()));
    let fifth = stretch.notes.iter().position(|n| n.onset == q(5)).unwrap();
    assert_eq!(times_of(&performed, fifth), [(5.0f64 * 60.0 / 90.0 * 1e6).round() / 1e6 + 2.0]);
    assert_eq!(performed.happened, [(Micros(5_333_333), pause)]);
}

#[test]
fn pause_before_the_first_note_delays_it() {
    let (part, stretch) = tune();
    let take = perform(&part, &stretch, &with(Planned::Pause { at: q(0), length: Micros::from_millis(1_500) }, manner(2)));
    assert_eq!(take.events()[0].at, Micros(1_500_000));
}

#[test]
fn planned_wrong_note_is_a_neighbour_that_the_onset_does_not_have() {
    let (part, stretch) = tune();
    for seed in 0..50 {
        for (hand, at) in [(Hand::Right, 4), (Hand::Left, 6)] {
            let performed = perform_told(&part, &stretch, &with(Planned::Wrong { at: q(at), hand }, manner(seed)));
            let i = performed.meant.iter().position(|m| matches!(m, Meant::Wrong(_))).expect("the slip is there");
            let Meant::Wrong(stood_for) = performed.meant[i] else { unreachable!() };
            let (right, played) = (&stretch.notes[stood_for], ons(&performed.take)[i].1);
            assert_eq!((right.onset, right.hand), (q(at), hand));
            assert!((1..=2).contains(&right.key.number().abs_diff(played)), "{played} for {:?}", right.key);
            assert!(!stretch.notes.iter().any(|n| n.onset == q(at) && n.key.number() == played));
            assert!(times_of(&performed, stood_for).is_empty(), "the right note is not played as well");
        }
    }
}

#[test]
fn planned_miss_leaves_out_the_outer_note_only() {
    let (part, stretch) = tune();
    let performed = perform_told(&part, &stretch, &with(Planned::Miss { at: q(4), hand: Hand::Left }, manner(4)));
    let missed: Vec<usize> = (0..stretch.notes.len()).filter(|&i| times_of(&performed, i).is_empty()).collect();
    assert_eq!(missed.len(), 1);
    assert_eq!((stretch.notes[missed[0]].onset, stretch.notes[missed[0]].hand), (q(4), Hand::Left));
}

#[test]
fn slip_in_a_hand_that_rests_waits_for_its_next_note() {
    let (part, stretch) = tune();
    let performed = perform_told(&part, &stretch, &with(Planned::Miss { at: q(3), hand: Hand::Left }, manner(4)));
    let missed = (0..stretch.notes.len()).find(|&i| times_of(&performed, i).is_empty()).unwrap();
    assert_eq!(stretch.notes[missed].onset, q(4));
}

#[test]
fn planned_restart_plays_the_bar_again_after_the_pause() {
    let (part, stretch) = tune();
    let restart = Planned::Restart { at: q(6), to: q(4), pause: Micros::from_millis(900) };
    let performed = perform_told(&part, &stretch, &with(restart, machine()));
    let tops: Vec<usize> = (4..8).map(|i| stretch.notes.iter().position(|n| n.onset == q(i) && n.hand == Hand::Right).unwrap()).collect();
    assert_eq!(tops.iter().map(|&i| times_of(&performed, i).len()).collect::<Vec<_>>(), [2, 2, 2, 1]);
    let again = times_of(&performed, tops[0])[1] - times_of(&performed, tops[2])[0];
    assert!((again - (60.0 / 90.0 + 0.9)).abs() < 1e-5, "{again}");
}

#[test]
fn planned_jump_leaves_a_stretch_out_and_goes_on() {
    let (part, stretch) = tune();
    let performed = perform_told(&part, &stretch, &with(Planned::Jump { at: q(3), to: q(8), pause: Micros::ZERO }, machine()));
    for (i, n) in stretch.notes.iter().enumerate() {
        let left_out = n.onset > q(3) && n.onset < q(8);
        assert_eq!(times_of(&performed, i).len(), usize::from(!left_out), "onset {:?}", n.onset);
    }
}

#[test]
fn planned_stop_ends_the_take() {
    let (part, stretch) = tune();
    let performed = perform_told(&part, &stretch, &with(Planned::Stop { at: q(5) }, manner(9)));
    for (i, n) in stretch.notes.iter().enumerate() {
        assert_eq!(times_of(&performed, i).len(), usize::from(n.onset <= q(5)));
    }
    let ends = performed.take.events().last().unwrap();
    assert!(matches!(ends.what, MidiEvent::NoteOff { .. }), "keys come up");
    assert!(ends.at.secs_f64() < 6.0, "and soon: {}", ends.at.secs_f64());
}

#[test]
fn everything_planned_at_once_happens() {
    let (part, stretch) = tune();
    let planned = vec![
        Planned::Pause { at: q(2), length: Micros::from_millis(1_000) },
        Planned::Wrong { at: q(2), hand: Hand::Right },
        Planned::Miss { at: q(2), hand: Hand::Left },
        Planned::Restart { at: q(3), to: q(0), pause: Micros::from_millis(700) },
        Planned::Restart { at: q(3), to: q(0), pause: Micros::from_millis(700) },
        Planned::Jump { at: q(5), to: q(12), pause: Micros::from_millis(300) },
        Planned::Stop { at: q(14) },
    ];
    let performed = perform_told(&part, &stretch, &Manner { planned: planned.clone(), ..manner(21) });
    let mut left: Vec<Planned> = planned;
    for (_, what) in &performed.happened {
        let i = left.iter().position(|p| p == what).expect("planned and not yet done");
        left.remove(i);
    }
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn nothing_is_played_from_an_empty_stretch() {
    assert_eq!(perform(&Part::default(), &Unfolded::default(), &manner(1)), Take::default());
}

/// Any score of a few bars: notes on a grid of sixteenths and triplets, every ornament, rolls, fermatas.
fn any_notes() -> impl Strategy<Value = Vec<Note>> {
    let ornaments = prop_oneof![
        6 => Just(Ornament::None),
        1 => Just(Ornament::Grace),
        1 => Just(Ornament::Shake),
        1 => Just(Ornament::Tremolo),
        1 => Just(Ornament::TremoloPair),
        1 => Just(Ornament::Harmonic),
        1 => (0..128i32).prop_map(|k| Ornament::GlissandoTo(MidiKey::try_new(k).unwrap())),
    ];
    let any_note = (0..192i64, 1..48i64, 0..128u8, any::<bool>(), ornaments, 0..5u8, prop::bool::weighted(0.05));
    prop::collection::vec(any_note, 0..60).prop_map(|rows| {
        let of_row = |(onset, duration, key, right, ornament, roll, fermata)| {
            let duration = if ornament == Ornament::Grace { ScoreTime::ZERO } else { ScoreTime::new(duration, 12) };
            let mut n = note(ScoreTime::new(onset, 12), duration, "C4", if right { Hand::Right } else { Hand::Left });
            n.pitch = SpelledPitch::for_key(key, 0);
            n.key = MidiKey::try_new(key as i32).unwrap();
            n.ornament = ornament;
            n.roll = [None, None, Some(Roll::Up), Some(Roll::Down), Some(Roll::Together)][roll as usize];
            n.fermata = fermata;
            n
        };
        rows.into_iter().map(of_row).collect()
    })
}

proptest! {
    #[test]
    fn clean_manner_plays_each_note_once_in_the_order_of_the_score(notes in any_notes(), seed in 0..1000u64, bpm in 30.0..240.0f64) {
        let (part, stretch) = lay_out(notes);
        let performed = perform_told(&part, &stretch, &Manner { tempo: Tempo::try_new(bpm).unwrap(), ..manner(seed) });
        let ons = ons(&performed.take);
        prop_assert_eq!(ons.len(), performed.meant.len());
        for (i, n) in stretch.notes.iter().enumerate() {
            let optional = part.notes[n.note.0].is_optional();
            let shares_key = |m: &crate::score::PlayedNote| m.onset == n.onset && m.key == n.key && !part.notes[m.note.0].is_optional();
            let first_on_key = stretch.notes.iter().position(shares_key);
            let expected = usize::from(optional || first_on_key == Some(i));
            prop_assert_eq!(times_of(&performed, i).len(), expected, "note {}", i);
        }
        let mut last = ScoreTime::ZERO;
        for (meant, on) in performed.meant.iter().zip(&ons) {
            match *meant {
                Meant::Note(i) => {
                    prop_assert!(stretch.notes[i].onset >= last);
                    prop_assert_eq!(stretch.notes[i].key.number(), on.1);
                    last = stretch.notes[i].onset;
                }
                Meant::Free(i) => prop_assert!(part.notes[stretch.notes[i].note.0].is_free()),
                Meant::Wrong(_) => prop_assert!(false, "nothing wrong was planned"),
            }
        }
        prop_assert!(ons.first().is_none_or(|o| o.0 == 0.0));
    }

    #[test]
    fn every_key_that_goes_down_comes_up_before_it_goes_down_again(notes in any_notes(), seed in 0..1000u64) {
        let (part, stretch) = lay_out(notes);
        let take = perform(&part, &stretch, &manner(seed));
        let mut down = [0i32; 128];
        let mut last_on = [Micros(-10); 128];
        for event in take.events() {
            match event.what {
                MidiEvent::NoteOn { key, .. } => {
                    let key = key.number() as usize;
                    // Strokes that meet on one key within a microsecond (a trill crossing another voice) leave no room for a note-off.
                    prop_assert!(down[key] == 0 || event.at - last_on[key] <= Micros(1), "key {key} at {:?}", event.at);
                    down[key] += 1;
                    last_on[key] = event.at;
                }
                MidiEvent::NoteOff { key, .. } => down[key.number() as usize] -= 1,
                MidiEvent::Control { .. } => {}
            }
        }
        prop_assert!(down.iter().all(|&d| d == 0));
    }
}

#[test]
fn a_planned_tempo_holds_from_its_onset_on() {
    let (part, stretch) = tune();
    let planned = vec![Planned::Tempo { at: q(4), share: 2.0 }, Planned::Tempo { at: q(8), share: 0.25 }];
    let performed = perform_told(&part, &stretch, &Manner { planned, ..machine() });
    let mut times: Vec<f64> = ons(&performed.take).iter().map(|(at, _)| *at).collect();
    times.dedup();
    // A quarter at 90 takes two thirds of a second.
    for (n, gap) in times.windows(2).map(|w| w[1] - w[0]).enumerate() {
        let expected = if n < 4 {
            2.0 / 3.0
        } else if n < 8 {
            1.0 / 3.0
        } else {
            4.0 / 3.0
        };
        assert!((gap - expected).abs() < 0.001, "{n}: {gap}");
    }
    assert_eq!(performed.happened.len(), 2);
}
