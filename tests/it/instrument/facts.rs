//! What handbooks say of harps, through the doors of the library.

use catchword::export::musicxml::write;
use catchword::import::musicxml::read;
use catchword::midi::sensor::Sensor;
use catchword::score::{Part, Score};
use catchword::theory::harp::{Foot, Harp, HarpString, PedalSetting, Rolling, Strings};
use catchword::theory::{KeySignature, Letter};
use catchword::time::{Micros, ScoreTime};

/// Common practice: 47 strings from C1 to G7 on the concert harp, 34 and 36 on lever harps from C2 to A6 and to C7. With all pedals up,
/// in C flat major, the concert harp's ends sound C flat and G flat: one semitone below what they are called (MIDI 24 and 103).
#[test]
fn harps_have_their_strings_and_the_open_ones_sound_flat() {
    let n = |low: &str, high: &str| Strings::try_new(low.parse().unwrap(), high.parse().unwrap()).unwrap().n_strings();
    assert_eq!([n("C1", "G7"), n("C2", "A6"), n("C2", "C7")], [47, 34, 36]);
    assert_eq!((Harp::concert().strings.n_strings(), Harp::lever().strings.n_strings()), (47, 36));
    let sounds = |string: HarpString, harp: &Harp| string.midi(harp.open().alter_of(string.letter()));
    let (concert, lever) = (Harp::concert(), Harp::lever());
    assert_eq!([concert.strings.lowest(), concert.strings.highest()].map(|s| sounds(s, &concert)), [23, 102]);
    assert_eq!(["C2", "E4", "F4", "A4", "B4"].map(|s| sounds(s.parse().unwrap(), &lever)), [36, 63, 65, 68, 70], "E flat major");
}

/// Common practice, and the order of MusicXML 4.0, `harp-pedals`: left foot D, C, B, right foot E, F, G, A.
#[test]
fn the_pedals_stand_in_their_order_and_each_under_its_foot() {
    let order: String = PedalSetting::PRINTED_ORDER.map(Letter::char).iter().collect();
    assert_eq!(order, "DCBEFGA");
    let feet: Vec<Foot> = PedalSetting::PRINTED_ORDER.map(Foot::of).to_vec();
    assert_eq!(feet, [[Foot::Left; 3].as_slice(), &[Foot::Right; 4]].concat());
}

/// Common practice, as lever harp methods list it: eight major keys from the E flat tuning, and eight from C with every lever.
#[test]
fn a_tuning_reaches_its_keys() {
    let reached = |fifths: i8| {
        let Harp { mechanism: catchword::theory::harp::Mechanism::Levers(mut tuning), .. } = Harp::lever() else { panic!() };
        tuning.open = KeySignature::new(fifths, None);
        tuning.signatures(&Letter::ALL)
    };
    assert_eq!(reached(-3), (-3..=4).collect::<Vec<i8>>(), "E flat, B flat, F, C, G, D, A, E");
    assert_eq!(reached(0), (0..=7).collect::<Vec<i8>>(), "C, G, D, A, E, B, F sharp, C sharp");
}

/// The setting printed with the `harp-pedals` element of the MusicXML 4.0 reference, out and in again, with one pedal moved after it.
#[test]
fn pedal_diagrams_go_out_as_they_came_in() {
    let first: PedalSetting = "Db C# Bb | E Fb G A#".parse().unwrap();
    let mut second = first;
    second.set(Letter::F, 1);
    let (example, _) = read(&std::fs::read("tests/data/musicxml/harp_pedals.musicxml").unwrap(), "harp_pedals.musicxml").unwrap();
    assert_eq!(example.parts[0].pedal_diagrams[0].1, first);
    let parts = vec![Part { pedal_diagrams: vec![(ScoreTime::ZERO, first), (ScoreTime::quarters(2), second)], ..example.parts[0].clone() }];
    let text = write(&Score { parts, ..example });
    assert!(text.contains("<harp-pedals>") && text.contains("<pedal-step>D</pedal-step>"), "{text}");
    let steps: String = text.split("<pedal-step>").skip(1).take(7).map(|rest| &rest[..1]).collect();
    assert_eq!(steps, "DCBEFGA");
    let (again, warnings) = read(text.as_bytes(), "again.musicxml").unwrap();
    assert_eq!(again.parts[0].pedal_diagrams, [(ScoreTime::ZERO, first), (ScoreTime::quarters(2), second)], "{warnings:?}");
}

#[test]
fn what_is_taken_for_usual_is_what_is_said_of_it() {
    assert_eq!(Rolling::USUAL, Rolling { longest: Micros::from_millis(400), ends_on_beat: true });
    assert_eq!(Sensor::usual().retrigger, Micros::from_millis(60));
}
