//! A rep heard through a set-up instrument is kept with all that was sent, and judged again as it was.

use std::process::Command;

use catchword::instruments::Instruments;
use catchword::midi::profile::{Ends, Profile};
use catchword::midi::sensor::Sensor;
use catchword::midi::{MatchMode, Matching};
use catchword::piece_folder::open_piece;
use catchword::practice::Span;
use catchword::source::player::Manner;
use catchword::source::replay::write_take_lines;
use catchword::time::{Micros, Tempo};

use super::super::cli::{QUICK, quick_piece};
use super::simulated::StringSensor;

fn printed(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_rep_heard_by_strings_is_kept_raw_and_judged_again_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    let (data, folder) = (dir.path().display().to_string(), quick_piece(dir.path()));
    let piece = open_piece(&folder, None, &[]).unwrap().piece;
    let span = Span::of_piece(&piece).remove(0);
    let manner = Manner { roll: Micros::from_millis(90), ..Manner::fluent(Tempo::try_new(QUICK).unwrap(), 5) };
    let sensor = StringSensor { p_double: 0.2, ..StringSensor::noisy(Matching::Strings { open: 0 }) };
    let take = sensor.take_of(&piece, &span.stretch, &manner);
    let recording = dir.path().join("evening.jsonl");
    std::fs::write(&recording, write_take_lines(&take)).unwrap();
    // The sensor names strings by C major, as its set-up found out.
    let mut instruments = Instruments::default();
    let profile = Profile { sensor: Sensor::usual(), ends: Ends::None, matching: Some(MatchMode::Strings), names: Some(0) };
    instruments.set(&recording.display().to_string(), profile);
    instruments.save(&dir.path().join("instruments.toml")).unwrap();

    let input = format!("take:{}", recording.display());
    let drilled = printed(&["drill", "crossing", "--plain", "--data", &data, "--input", &input]);
    assert!(drilled.contains("clean, 1 of 3"), "{drilled}");
    let traced = printed(&["trace", "crossing", "--rep", "1", "--data", &data, "--json"]);
    let rep = traced.lines().find(|l| l.contains("\"kind\":\"rep\"")).unwrap();
    assert!(rep.contains("\"verdict\":\"clean\""), "{rep}");
    let n_notes = traced.lines().filter(|l| l.contains("\"kind\":\"note\"")).count();
    assert_eq!(n_notes, take.events().len(), "what was not the player's doing is in the take, too");
    // The take says how it was heard, wherever it goes.
    let file = dir.path().join("rep.mid").display().to_string();
    printed(&["reps", "crossing", "--data", &data, "--take", "1", "--out", &file]);
    let of_file = printed(&["trace", &folder, "--take", &file, "--span", "casting off"]);
    assert!(of_file.contains("ignored.") && of_file.contains("All of it holds."), "{of_file}");
}
