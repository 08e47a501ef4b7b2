//! A pedal harp: glissandi matched by their ends, their way and the share of their strings; tremolo; unisons; harmonics; pedals.

use catchword::follower::SlipKind;
use catchword::journal::entry::Verdict;
use catchword::midi::{Channel, Hearing, Matching, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::{Instrument, Piece};
use catchword::practice::Output;
use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Ornament, Part, Score};
use catchword::theory::harp::Harp;
use catchword::theory::{Hand, KeySignature, Letter, Meter, SpelledPitch};
use catchword::time::{Micros, ScoreTime, Stamped};

use super::{Judged, judged};

/// A pedal harp's piece of bars of 4/4: each note with beat from 0, quarters, pitch as written, ornament.
fn piece(matching: Matching, notes: &[(i64, i64, &str, Ornament)]) -> Piece {
    let n_bars = notes.iter().map(|n| n.0 / 4 + 1).max().unwrap() as usize;
    let bars = (0..n_bars).map(|bar| Bar {
        label: BarLabel((bar + 1).to_string()),
        start: ScoreTime::quarters(4 * bar as i64),
        length: ScoreTime::quarters(4),
        offset: ScoreTime::ZERO,
        meter: Meter::COMMON,
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    });
    let note = |&(beat, quarters, pitch, ornament): &(i64, i64, &str, Ornament)| {
        let pitch: SpelledPitch = pitch.parse().unwrap();
        let sounding = pitch.midi() + if ornament == Ornament::Harmonic { 12 } else { 0 };
        let key = MidiKey::try_new(sounding).unwrap();
        let bar = BarIdx(beat as usize / 4);
        Note { ornament, ..Note::plain(ScoreTime::quarters(beat), ScoreTime::quarters(quarters), pitch, key, Hand::Right, bar) }
    };
    let mut notes: Vec<Note> = notes.iter().map(note).collect();
    notes.sort_by_key(|n| (n.onset, n.key));
    let part = Part { name: "Harp".into(), notes, ..Part::default() };
    let score = Score { bars: bars.collect(), parts: vec![part], ..Score::default() };
    let hearing = Hearing { matching, sensor: None }.into();
    Piece { instrument: Instrument::PedalHarp, harp: Some(Harp::concert()), hearing, ..Piece::of_score(score.into(), 0, "Study").unwrap() }
}

fn key(pitch: &str) -> MidiKey {
    MidiKey::try_new(pitch.parse::<SpelledPitch>().unwrap().midi()).unwrap()
}

/// Notes with their times in milliseconds.
fn take(notes: impl IntoIterator<Item = (i64, MidiKey)>) -> Take {
    let mut notes: Vec<(i64, MidiKey)> = notes.into_iter().collect();
    notes.sort();
    let on =
        |(ms, key)| Stamped { at: Micros::from_millis(ms), what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) } };
    notes.into_iter().map(on).collect()
}

const PLAIN: Ornament = Ornament::None;

/// Four quarters, a glissando from C4 to C6 over two beats, four quarters; at 600 ms a beat.
fn two_octaves() -> Piece {
    let to = Ornament::GlissandoTo(key("C6"));
    let rows = [
        (0, 1, "C4", PLAIN),
        (1, 1, "E4", PLAIN),
        (2, 1, "G4", PLAIN),
        (3, 1, "E4", PLAIN),
        (4, 2, "C4", to),
        (6, 1, "C6", Ornament::GlissandoEnd),
        (7, 1, "G5", PLAIN),
        (8, 1, "E5", PLAIN),
        (9, 1, "C5", PLAIN),
        (10, 1, "G4", PLAIN),
        (11, 1, "C4", PLAIN),
    ];
    piece(Matching::Sounding, &rows)
}

/// The study with these strings (1 to 13 above the first) heard of its glissando, in this order.
fn heard_with(between: &[i32]) -> Judged {
    let piece = two_octaves();
    let written = piece.part().notes.iter().map(|n| ((n.onset.to_f64() * 600.0) as i64, n.key));
    let n = between.len() as i64;
    let way = between.iter().enumerate().map(|(i, steps)| {
        let letter = Letter::from_steps(28 + steps);
        let pitch = SpelledPitch::new(letter, 0, 4 + (steps / 7) as i8);
        (2_400 + 40 + 1_100 * i as i64 / n.max(1), MidiKey::try_new(pitch.midi()).unwrap())
    });
    judged(&piece, &take(written.chain(way)))
}

#[test]
fn a_glissando_is_its_ends_its_way_and_most_of_its_strings() {
    let all: Vec<i32> = (1..14).collect();
    let without = |left_out: &[i32]| all.iter().copied().filter(|s| !left_out.contains(s)).collect::<Vec<i32>>();
    let down: Vec<i32> = all.iter().rev().copied().collect();
    for (strings, is_clean) in [
        (all.clone(), true),
        (without(&[2, 5, 7, 11]), true),
        (without(&[2, 3, 5, 7, 11]), true),
        (without(&[2, 3, 5, 7, 9, 11]), false),
        (vec![], false),
        (down, false),
    ] {
        let judged = heard_with(&strings);
        let what = format!("{strings:?}: {:?} {:?}", judged.rep.reason, judged.slips);
        assert_eq!(judged.rep.verdict == Verdict::Clean, is_clean, "{what}");
        if !is_clean {
            assert_eq!(judged.rep.reason.unwrap().place, "2.1", "{what}");
        }
    }
}

/// Common practice: a harmonic is written at its string and sounds an octave higher; a sensor may report either.
#[test]
fn a_harmonic_is_its_octave_or_its_string() {
    let rows: Vec<(i64, i64, &str, Ornament)> =
        ["C4", "E4", "G4", "A4", "F4", "D4", "B3", "C4"].into_iter().zip(0..).map(|(p, beat)| (beat, 1, p, Ornament::Harmonic)).collect();
    for (matching, open) in [(Matching::Sounding, 0), (Matching::Strings { open: -7 }, -1), (Matching::Strings { open: 0 }, 0)] {
        let piece = piece(matching, &rows);
        for octave in [0, 12] {
            let played = rows.iter().map(|(beat, _, pitch, _)| {
                let string = i32::from(key(pitch).number()) + open;
                (600 * beat, MidiKey::try_new(string + octave).unwrap())
            });
            let judged = judged(&piece, &take(played));
            assert_eq!((judged.rep.verdict, judged.slips.len()), (Verdict::Clean, 0), "{matching:?}, {octave}: {:?}", judged.rep.reason);
        }
    }
}

/// Common practice on the pedal harp: B sharp and C are two strings of one sound, plucked in turn for repeated notes and bisbigliando.
#[test]
fn strings_of_one_sound_are_either_string() {
    let rows: Vec<(i64, i64, &str, Ornament)> = [
        (0, 1, "B#3", PLAIN),
        (1, 1, "E4", PLAIN),
        (2, 1, "C4", PLAIN),
        (3, 1, "G4", PLAIN),
        (4, 1, "B#3", PLAIN),
        (5, 1, "A4", PLAIN),
        (6, 1, "C4", PLAIN),
        (7, 1, "G4", PLAIN),
    ]
    .to_vec();
    // In C flat the string B is called B flat (58), and C is called C flat (59).
    let names = |pitch: &str, is_other: bool| match (pitch, is_other) {
        ("B#3", false) | ("C4", true) => 58,
        ("C4", false) | ("B#3", true) => 59,
        (other, _) => i32::from(key(other).number()) - 1,
    };
    let piece = piece(Matching::Strings { open: -7 }, &rows);
    for is_other in [false, true] {
        let played = rows.iter().map(|(beat, _, pitch, _)| (600 * beat, MidiKey::try_new(names(pitch, is_other)).unwrap()));
        let judged = judged(&piece, &take(played));
        assert_eq!((judged.rep.verdict, judged.slips.len()), (Verdict::Clean, 0), "{is_other}: {:?}", judged.rep.reason);
    }
}

#[test]
fn a_tremolo_between_strings_has_as_many_strokes_as_it_has() {
    let pair = Ornament::TremoloPair;
    let rows = [
        (0, 1, "C4", PLAIN),
        (1, 1, "G4", PLAIN),
        (2, 1, "E5", pair),
        (3, 1, "G5", pair),
        (4, 1, "F5", PLAIN),
        (5, 1, "D5", PLAIN),
        (6, 1, "B4", PLAIN),
        (7, 1, "C5", PLAIN),
    ];
    for (matching, lower) in [(Matching::Sounding, 0), (Matching::Strings { open: -7 }, 1)] {
        let piece = piece(matching, &rows);
        for n_strokes in [4, 8, 14] {
            let sent = |pitch: &str| MidiKey::try_new(i32::from(key(pitch).number()) - lower).unwrap();
            let plain = rows.iter().filter(|r| r.3 == PLAIN).map(|(beat, _, pitch, _)| (600 * beat, sent(pitch)));
            let strokes = (0..n_strokes).map(|i| (1_200 + 1_200 * i / n_strokes, sent(if i % 2 == 0 { "E5" } else { "G5" })));
            let judged = judged(&piece, &take(plain.chain(strokes)));
            let what = format!("{matching:?}, {n_strokes}: {:?} {:?}", judged.rep.reason, judged.slips);
            assert_eq!((judged.rep.verdict, judged.slips.len()), (Verdict::Clean, 0), "{what}");
        }
    }
}

/// Twelve quarters in C on a pedal harp of which nothing is known: pitches, names of open strings (C flat major), a pedal that is wrong.
#[test]
fn what_a_pedal_harp_sends_shows_itself_and_a_wrong_pedal_is_named_once() {
    let pitches = ["C4", "E4", "G4", "A4", "F4", "D4", "B3", "C4", "F4", "A4", "C5", "G4"];
    let rows: Vec<(i64, i64, &str, Ornament)> = pitches.into_iter().zip(0..).map(|(p, beat)| (beat, 1, p, PLAIN)).collect();
    let piece = piece(Matching::Automatic { open: -7 }, &rows);
    let heard = |sent: &dyn Fn(&str) -> i32| {
        let played = rows.iter().map(|(beat, _, pitch, _)| (600 * beat, MidiKey::try_new(sent(pitch)).unwrap()));
        let judged = judged(&piece, &take(played));
        let n_said = judged.outputs.iter().filter(|o| matches!(o, Output::ByStrings { .. })).count();
        let slips: Vec<(SlipKind, String)> = judged.slips.iter().map(|s| (s.kind, judged.span.place(s.onset).text(&piece.score))).collect();
        (judged.rep.reason.map(|r| r.words), slips, n_said)
    };
    let midi = |pitch: &str| i32::from(key(pitch).number());
    assert_eq!(heard(&midi), (None, vec![], 0));
    assert_eq!(heard(&|pitch| midi(pitch) - 1), (None, vec![], 1));
    let f_sharp = heard(&|pitch| midi(pitch) + i32::from(pitch == "F4"));
    assert_eq!(f_sharp, (Some("bar 2, beat 1, right hand: pedal on F".into()), vec![(SlipKind::Setting, "2.1".into())], 0));
}
