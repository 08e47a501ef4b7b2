//! A piece taken in by playing it: grid, names, hands and values of what was played, and the command around it.

mod command;

use catchword::capture::{Beats, Page, Pass, Reading, Stretch, Struck, Why, score};
use catchword::midi::{MidiKey, Velocity};
use catchword::score::hands::{Row, Sounding, by_reach, split_hands};
use catchword::score::{Ornament, Roll};
use catchword::theory::{Hand, KeySignature, Meter};
use catchword::time::{Micros, ScoreTime, Tempo};

/// A page of one metre and key.
fn page(meter: &str, key: &str) -> Page {
    let meters = vec![(1, meter.parse::<Meter>().unwrap())];
    let keys = vec![(1, key.parse::<KeySignature>().unwrap())];
    Page { meters, keys, pickup: ScoreTime::ZERO, n_bars: None, repeats: vec![] }
}

/// Played notes, as `quarters+milliseconds key length` each: `0+12 C4 1`, to a click at 60.
fn stretch(notes: &str, pass: Option<Pass>) -> Stretch {
    let beats = Beats::even(Micros::from_millis(1000), ScoreTime::ZERO, Tempo::try_new(60.0).unwrap());
    let mut struck: Vec<Struck> = notes
        .split(',')
        .map(|note| {
            let words: Vec<&str> = note.split_whitespace().collect();
            let (at, late) = words[0].split_once('+').unwrap_or((words[0], "0"));
            let (n, d) = at.split_once('/').unwrap_or((at, "1"));
            let quarters = n.parse::<f64>().unwrap() / d.parse::<f64>().unwrap();
            let on = Micros::from_secs_f64(1.0 + quarters + late.parse::<f64>().unwrap() / 1000.0);
            let key = words[1].parse::<catchword::theory::SpelledPitch>().unwrap().midi();
            let off = words.get(2).map(|l| on + Micros::from_secs_f64(l.parse().unwrap()));
            Struck { on, off, key: MidiKey::try_new(key).unwrap(), velocity: Velocity(60) }
        })
        .collect();
    struck.sort_by_key(|s| s.on);
    Stretch { reading: Reading { struck, beats }, first: 1, last: None, pass }
}

/// The notes captured from one reading, as `onset name hand value`.
fn captured(page: &Page, notes: &str) -> Vec<String> {
    let captured = score(page, &[stretch(notes, Some(Pass::First))], None, None);
    let note = |n: &catchword::score::Note| format!("{} {} {} {}", n.onset, n.pitch, n.hand.letter(), n.duration);
    captured.score.parts[0].notes.iter().map(note).collect()
}

#[test]
fn triplets_and_sixteenths_are_told_by_cost_not_by_rounding() {
    // Thirds of a quarter played up to 35 ms off are nearer to other points of a 16th grid than some sixteenths are to their own.
    let notes = captured(
        &page("4/4", "C"),
        "0+10 C5,1/3+30 D5,2/3-25 E5,1+5 F5,5/4+20 E5,3/2-20 D5,7/4+25 C5,2 G5".replace("3-25", "3+-25").replace("2-20", "2+-20").as_str(),
    );
    let onsets: Vec<&str> = notes.iter().map(|n| n.split(' ').next().unwrap()).collect();
    assert_eq!(onsets, ["0", "1/3", "2/3", "1", "5/4", "3/2", "7/4", "2"]);
}

#[test]
fn three_against_two_stands_in_one_beat() {
    let notes = captured(&page("2/4", "C"), "0 C5,0+8 C3,1/3+12 D5,1/2+-10 G3,2/3+9 E5,1 F5,1+15 C3");
    assert_eq!(notes, ["0 C3 L 1/2", "0 C5 R 1/3", "1/3 D5 R 1/3", "1/2 G3 L 1/2", "2/3 E5 R 1/3", "1 C3 L 1", "1 F5 R 1"]);
}

#[test]
fn a_chord_rolled_over_the_beat_is_one_onset_and_marked() {
    let page = page("3/4", "C");
    let text = "0 C3,0+70 G3,0+150 E4,0+220 C5,1 E5,2 G5,3+-200 C3,3+-120 G3,3+-60 E4,3+5 C5";
    let captured = score(&page, &[stretch(text, Some(Pass::First))], None, None);
    let notes = &captured.score.parts[0].notes;
    let at = |quarters: i64| notes.iter().filter(|n| n.onset == ScoreTime::quarters(quarters)).collect::<Vec<_>>();
    for beat in [0, 3] {
        assert_eq!(at(beat).len(), 4, "{notes:?}");
        assert!(at(beat).iter().all(|n| n.roll == Some(Roll::Up)));
    }
    assert!(at(1).len() == 1 && at(1)[0].roll.is_none());
}

#[test]
fn a_note_struck_just_before_its_neighbour_is_a_grace_note() {
    let page = page("4/4", "C");
    let captured = score(&page, &[stretch("0 C3,0 E5,1+-80 D5,1 E5,2 C5,3 D5", Some(Pass::First))], None, None);
    let graces: Vec<String> = captured.score.parts[0]
        .notes
        .iter()
        .filter(|n| n.ornament == Ornament::Grace)
        .map(|n| format!("{} {}", n.onset, n.pitch))
        .collect();
    assert_eq!(graces, ["1 D5"]);
}

#[test]
fn names_follow_the_key_and_values_the_hand() {
    let notes = captured(&page("3/4", "Gm"), "0 G3,0 Bb4,1 A4,2 F#4,3 G4,3 D3,6 Eb4,6 C3");
    assert_eq!(notes, ["0 G3 L 3", "0 Bb4 R 1", "1 A4 R 1", "2 F#4 R 1", "3 D3 L 3", "3 G4 R 3", "6 C3 L 3", "6 Eb4 R 3"]);
}

#[test]
fn a_player_who_is_early_throughout_is_not_moved_to_another_rhythm() {
    let notes = captured(&page("4/4", "C"), "0+-90 C5,1/2+-95 D5,1+-85 E5,3/2+-92 D5,2+-88 C5,5/2+-90 B4,3+-91 C5");
    let onsets: Vec<&str> = notes.iter().map(|n| n.split(' ').next().unwrap()).collect();
    assert_eq!(onsets, ["0", "1/2", "1", "3/2", "2", "5/2", "3"]);
}

#[test]
fn between_beats_that_are_far_apart_the_tempo_may_bend() {
    // A quarter and an eighth to each click of 6/8, the eighth 130 ms late: nearer to the last sixteenth than to its own place.
    let notes = |times: [f64; 8]| -> Vec<Struck> {
        let keys = [60, 67, 64, 67, 60, 67, 64, 67].map(|key| MidiKey::try_new(key).unwrap());
        let struck = |(at, key): (f64, MidiKey)| Struck { on: Micros::from_secs_f64(at), off: None, key, velocity: Velocity(60) };
        times.into_iter().zip(keys).map(struck).collect()
    };
    let struck = notes([0.0, 1.13, 1.5, 2.63, 3.0, 4.13, 4.5, 5.5]);
    let beats = Beats::try_new((0..5).map(|n| (Micros::from_millis(1500 * n), ScoreTime::new(3 * n, 2)))).unwrap();
    let reading = Reading { struck, beats };
    let captured = score(&page("6/8", "C"), &[Stretch { reading, first: 1, last: None, pass: Some(Pass::First) }], None, None);
    let onsets: Vec<String> = captured.score.parts[0].notes.iter().map(|n| n.onset.to_string()).collect();
    assert_eq!(onsets, ["0", "1", "3/2", "5/2", "3", "4", "9/2", "11/2"]);
}

#[test]
fn two_readings_that_agree_are_taken_and_where_they_differ_the_place_is_asked() {
    let page = page("4/4", "C");
    let first = stretch("0 C5,1 D5,2 E5,3 F5,4 G5,5 A5,6 B5,7 C6", Some(Pass::First));
    let second = stretch("0+20 C5,1 D5,2+-20 E5,3 F5,4 G5,5 Ab5,6+240 B5,7 C6", Some(Pass::Second));
    let captured = score(&page, &[first.clone(), second.clone()], None, None);
    let asked: Vec<(String, Why)> = captured.questions.iter().map(|q| (q.place.words(&captured.score), q.why)).collect();
    assert_eq!(asked[0], ("bar 2, beat 2".to_owned(), Why::Notes));
    assert!(asked.len() == 2 && asked[1].0.starts_with("bar 2, ") && asked[1].1 == Why::Rhythm, "{asked:?}");
    // The bar played once more is what counts.
    let again = Stretch { first: 2, last: Some(2), ..stretch("4 G5,5 A5,6 B5,7 C6", None) };
    let settled = score(&page, &[first, second, again], None, None);
    assert!(settled.questions.is_empty(), "{:?}", settled.questions);
    let notes: Vec<String> = settled.score.parts[0].notes.iter().map(|n| format!("{} {}", n.onset, n.pitch)).collect();
    assert_eq!(notes, ["0 C5", "1 D5", "2 E5", "3 F5", "4 G5", "5 A5", "6 B5", "7 C6"]);
}

/// Scores for two staves, whose staves say which hand plays what; none of them was learned from.
#[test]
fn hands_go_by_the_notes_around_better_than_by_reach_alone() {
    let files = [
        "pieces/ferry/ferry.musicxml",
        "pieces/all-through-the-night/all-through-the-night.musicxml",
        "tests/data/musicxml/cc0/bitten.mxl",
        "tests/data/musicxml/cc0/home_sweet_home.mxl",
        "tests/data/musicxml/cc0/take_o_take.mxl",
    ];
    let (mut n, mut with_both, mut with_reach) = (0, 0, 0);
    for file in files {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
        let (read, _) = catchword::import::read_score(&std::fs::read(path).unwrap(), file).unwrap();
        let mut notes = read.parts[read.choose_part(None).unwrap()].notes.clone();
        notes.retain(|n| !n.duration.is_zero());
        notes.sort_by_key(|n| (n.onset, n.key));
        let sounding: Vec<Sounding> =
            notes.iter().map(|n| Sounding { onset: n.onset, end: n.onset + n.duration, key: n.key, velocity: None }).collect();
        let rows: Vec<Row> = sounding.iter().map(Row::of).collect();
        n += notes.len();
        with_both += split_hands(&sounding).iter().zip(&notes).filter(|(hand, note)| **hand == note.hand).count();
        with_reach += by_reach(&rows).iter().zip(&notes).filter(|(left, note)| **left == (note.hand == Hand::Left)).count();
    }
    assert!(with_both > with_reach, "{with_both} and {with_reach} of {n}");
    assert!(with_both * 1000 >= n * 965, "{with_both} of {n}");
}

#[test]
fn nothing_that_can_be_played_makes_it_panic() {
    let mut rng = fastrand::Rng::with_seed(9);
    for round in 0..20 {
        let page = Page { pickup: ScoreTime::new(rng.i64(0..3), 2), ..page(["4/4", "6/8", "5/8", "2/2", "3/4"][round % 5], "C") };
        let tempo = Tempo::try_new(rng.f64() * 300.0 + 1.0).unwrap();
        let beats = Beats::even(Micros(rng.i64(-5_000_000..5_000_000)), page.start_of(1), tempo);
        let mut struck: Vec<Struck> = (0..rng.usize(0..40))
            .map(|_| {
                let on = Micros(rng.i64(0..if round % 2 == 0 { 300_000 } else { 20_000_000 }));
                let key = MidiKey::try_new(rng.i32(0..128)).unwrap();
                Struck { on, off: rng.bool().then(|| on + Micros(rng.i64(0..3_000_000))), key, velocity: Velocity(50) }
            })
            .collect();
        struck.sort_by_key(|s| s.on);
        let n = struck.len();
        let stretches = [Pass::First, Pass::Second].map(|pass| Stretch {
            reading: Reading { struck: struck.clone(), beats: beats.clone() },
            first: 0,
            last: None,
            pass: Some(pass),
        });
        let captured = score(&page, &stretches, None, None);
        let notes = &captured.score.parts[0].notes;
        assert!(notes.len() <= n, "round {round}");
        assert!(notes.windows(2).all(|w| w[0].onset <= w[1].onset) && notes.iter().all(|n| n.onset < captured.score.total()));
        assert!(notes.iter().all(|n| n.hand == Hand::Left || n.staff == 1));
    }
}
