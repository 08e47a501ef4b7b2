//! `catchword capture` from recorded takes: the folder it makes, the questions it asks, bars played again, bar lines moved.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use catchword::import::{read_score, smf};
use catchword::midi::sensor::Sensor;
use catchword::midi::{Channel, Hearing, Matching, MidiEvent, MidiKey, Take, Velocity};
use catchword::score::Score;
use catchword::source::replay::write_take_lines;
use catchword::time::{Micros, Stamped};

use crate::export::is_valid;

/// Bars of 3/4 in E flat: a bass note and three of a tune each.
const BARS: [(u8, [u8; 3]); 4] = [(51, [67, 70, 75]), (56, [72, 70, 68]), (58, [70, 68, 65]), (51, [67, 65, 63])];

/// Plays bars from the first on at 60; `change` may change a key by its bar, from 0, and beat (the bass is beat 3).
pub fn take(bars: &[(u8, [u8; 3])], change: impl Fn(usize, usize, u8) -> u8) -> Take {
    let mut events = Vec::new();
    let mut note = |quarters: usize, beats: i64, late: i64, key: u8| {
        let on = Micros(2_000_000 + 1_000_000 * quarters as i64 + late);
        let key = MidiKey::try_new(key.into()).unwrap();
        let channel = Channel(0);
        events.push(Stamped { at: on, what: MidiEvent::NoteOn { channel, key, velocity: Velocity(64) } });
        events.push(Stamped { at: on + Micros(900_000 * beats), what: MidiEvent::NoteOff { channel, key } });
    };
    for (bar, (bass, tune)) in bars.iter().enumerate() {
        note(3 * bar, 3, 9_000, change(bar, 3, *bass));
        for (beat, key) in tune.iter().enumerate() {
            note(3 * bar + beat, 1, if (bar + beat) % 2 == 0 { 0 } else { -25_000 }, change(bar, beat, *key));
        }
    }
    events.sort_by_key(|e| e.at);
    events.into_iter().collect()
}

pub fn as_played(_: usize, _: usize, key: u8) -> u8 {
    key
}

fn capture(data: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_catchword")).arg("capture").args(args).arg("--data").arg(data).output().unwrap()
}

fn said(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn score(data: &Path, name: &str) -> Score {
    let path = data.join("pieces").join(name).join(format!("{name}.musicxml"));
    if let Some(valid) = is_valid(&path) {
        assert_eq!(valid, Ok(()));
    }
    read_score(&fs::read(&path).unwrap(), "score").unwrap().0
}

fn notes(score: &Score) -> Vec<String> {
    score.parts[0].notes.iter().map(|n| format!("{} {} {} {}", n.onset, n.pitch, n.hand.letter(), n.duration)).collect()
}

fn expected() -> Vec<String> {
    let name = |key: u8| {
        ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"][usize::from(key % 12)].to_owned() + &(key / 12 - 1).to_string()
    };
    let bar = |(bar, (bass, tune)): (usize, &(u8, [u8; 3]))| {
        let top = tune.iter().enumerate().map(move |(beat, key)| (3 * bar + beat, *key, "R 1"));
        let mut rows: Vec<(usize, u8, &str)> = std::iter::once((3 * bar, *bass, "L 3")).chain(top).collect();
        rows.sort_by_key(|r| (r.0, r.1));
        rows
    };
    BARS.iter().enumerate().flat_map(bar).map(|(at, key, rest)| format!("{at} {} {rest}", name(key))).collect()
}

#[test]
fn two_takes_become_a_piece_and_a_bar_played_again_settles_what_differs() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    let file = |name: &str, take: &Take| {
        let path = dir.path().join(name);
        fs::write(&path, smf::write_take(take)).unwrap();
        path.display().to_string()
    };
    let first = file("first.mid", &take(&BARS, as_played));
    let second = file("second.mid", &take(&BARS, |bar, beat, key| if (bar, beat) == (2, 1) { key + 1 } else { key }));
    let head = ["waltz", "--meter", "3/4", "--key", "Eb", "--tempo", "60"];
    let out = said(&capture(&data, &[&head[..], &["--take", &first, "--take", &second]].concat()));
    assert!(out.contains("bar 3, beat 2: your two readings differ in the notes") && out.contains("--again 3"), "{out}");
    assert!(!out.contains("Ab") && !out.contains("68"), "no note is named: {out}");

    let again = file("again.mid", &take(&BARS[2..3], as_played));
    let out = said(&capture(&data, &["waltz", "--again", "3", "--take", &again]));
    assert!(!out.contains("differ"), "{out}");
    let captured = score(&data, "waltz");
    assert_eq!(notes(&captured), expected());
    assert!(captured.bars.len() == 4 && captured.bars[0].key.fifths == -3 && captured.bars[0].meter.to_string() == "3/4");

    // The folder is a piece like any other, and the takes are in it.
    let folder = data.join("pieces/waltz");
    assert!(fs::read_to_string(folder.join("piece.toml")).unwrap().contains("[[section]]"));
    assert_eq!(fs::read_dir(folder.join("capture")).unwrap().count(), 4);
    let study = Command::new(env!("CARGO_BIN_EXE_catchword")).arg("study").arg(&folder).output().unwrap();
    assert!(study.status.success(), "{}", String::from_utf8_lossy(&study.stderr));
}

#[test]
fn ghosts_and_double_triggers_of_a_known_instrument_are_no_notes() {
    let dir = tempfile::tempdir().unwrap();
    let channel = Channel(0);
    let mut events = Vec::new();
    for event in take(&BARS, as_played).events() {
        events.push(*event);
        if let MidiEvent::NoteOn { key, .. } = event.what {
            let on = |after: i64, key: u8, velocity: u8| {
                let what = MidiEvent::NoteOn { channel, key: MidiKey::try_new(key.into()).unwrap(), velocity: Velocity(velocity) };
                Stamped { at: event.at + Micros(after), what }
            };
            // The same string again after 75 ms, and the octave above, softly.
            events.extend([on(75_000, key.number(), 40), on(10_000, key.number() + 12, 9)]);
        }
    }
    events.sort_by_key(|e| e.at);
    let played: Take = events.into_iter().collect();
    let sensor = Sensor { retrigger: Micros(90_000), ..Sensor::usual() };
    let known = played.clone().heard(Hearing { sensor: Some(sensor), ..Hearing::default() });
    let captured = |name: &str, take: &Take| {
        let path = dir.path().join(format!("{name}.jsonl"));
        fs::write(&path, write_take_lines(take)).unwrap();
        let head = [name, "--meter", "3/4", "--key", "Eb", "--tempo", "60", "--take", &path.display().to_string()];
        said(&capture(dir.path(), &head));
        notes(&score(dir.path(), name))
    };
    assert_eq!(captured("known", &known), expected());
    assert!(captured("unknown", &played).len() > expected().len());
}

#[test]
fn strings_named_by_their_open_tuning_are_taken_in_as_the_key_of_the_page_sets_them() {
    let dir = tempfile::tempdir().unwrap();
    // A harp in C that sends its strings: E flat is set with the levers, and heard as E.
    let open = |_, _, key: u8| key + u8::from([1, 3, 8, 10].contains(&(key % 12)));
    let heard = take(&BARS, open).heard(Hearing { matching: Matching::Strings { open: 0 }, sensor: None });
    let path = dir.path().join("strings.jsonl");
    fs::write(&path, write_take_lines(&heard)).unwrap();
    said(&capture(dir.path(), &["waltz", "--meter", "3/4", "--key", "Eb", "--tempo", "60", "--take", &path.display().to_string()]));
    assert_eq!(notes(&score(dir.path(), "waltz")), expected());
}

#[test]
fn bar_lines_are_moved_and_cues_stay_at_their_music() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("first.mid");
    fs::write(&path, smf::write_take(&take(&BARS, as_played))).unwrap();
    said(&capture(dir.path(), &["waltz", "--meter", "3/4", "--key", "Eb", "--take", &path.display().to_string()]));
    let toml = dir.path().join("pieces/waltz/piece.toml");
    let own = "title = \"waltz\"\nscore = \"waltz.musicxml\"\n[[section]]\nname = \"all\"\nbars = \"1-4\"\n# the turn\n[[cue]]\nat = \"3.2\"\ntext = \"turn\"\n";
    fs::write(&toml, own).unwrap();
    let before = notes(&score(dir.path(), "waltz"));
    said(&capture(dir.path(), &["waltz", "--meter", "2=6/4"]));
    let moved = fs::read_to_string(&toml).unwrap();
    // The eighth quarter from the start is bar 2, beat 5 now.
    assert!(moved.contains("# the turn\n[[cue]]\nat = \"2.5\"") && moved.contains("bars = \"1-3\""), "{moved}");
    let onsets = |notes: &[String]| notes.iter().map(|n| n.rsplit_once(' ').unwrap().0.to_owned()).collect::<Vec<_>>();
    assert_eq!(onsets(&notes(&score(dir.path(), "waltz"))), onsets(&before));
}

#[test]
fn captured_bars_are_played_back_where_the_settings_send_tones() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("first.mid");
    fs::write(&path, smf::write_take(&take(&BARS, as_played))).unwrap();
    said(&capture(dir.path(), &["waltz", "--meter", "3/4", "--key", "Eb", "--take", &path.display().to_string()]));
    let silent = capture(dir.path(), &["waltz", "--play", "2"]);
    assert!(String::from_utf8_lossy(&silent.stderr).contains("set `tone` in the settings file"), "{silent:?}");
    let sent = dir.path().join("sent");
    fs::write(&sent, []).unwrap();
    fs::write(dir.path().join("config.toml"), format!("tone = \"stream:{}\"\n", sent.display())).unwrap();
    said(&capture(dir.path(), &["waltz", "--play", "2"]));
    let bytes = fs::read(&sent).unwrap();
    let keys: Vec<u8> = bytes.chunks_exact(3).filter(|m| m[0] == 0x90).map(|m| m[1]).collect();
    let (bass, tune) = BARS[1];
    assert_eq!(keys, [bass, tune[0], tune[1], tune[2]]);
    assert_eq!(bytes.len(), 3 * 2 * keys.len(), "every note is let go");
    let beyond = capture(dir.path(), &["waltz", "--play", "9"]);
    assert!(String::from_utf8_lossy(&beyond.stderr).contains("nothing is captured of bar 9"), "{beyond:?}");
}

#[test]
fn tapped_bar_lines_give_the_beat_to_free_playing() {
    let dir = tempfile::tempdir().unwrap();
    // Each bar slower than the one before.
    let slow = |at: Micros| {
        let quarters = (at.0 - 2_000_000) as f64 / 1e6;
        Micros::from_secs_f64(2.0 + quarters * (1.0 + 0.03 * quarters))
    };
    let mut events: Vec<Stamped<MidiEvent>> =
        take(&BARS, as_played).events().iter().map(|e| Stamped { at: slow(e.at), what: e.what }).collect();
    for bar in 0..=4 {
        let at = slow(Micros(2_000_000 + 3_000_000 * bar));
        let pedal = |value| MidiEvent::Control { channel: Channel(0), controller: 66, value };
        events.extend([Stamped { at, what: pedal(127) }, Stamped { at: at + Micros(120_000), what: pedal(0) }]);
    }
    events.sort_by_key(|e| e.at);
    let path = dir.path().join("free.mid");
    fs::write(&path, smf::write_take(&events.into_iter().collect())).unwrap();
    said(&capture(dir.path(), &["free", "--meter", "3/4", "--key", "Eb", "--take", &path.display().to_string(), "--tapped"]));
    let onset = |n: &String| n.split(' ').take(2).collect::<Vec<_>>().join(" ");
    assert_eq!(notes(&score(dir.path(), "free")).iter().map(onset).collect::<Vec<_>>(), expected().iter().map(onset).collect::<Vec<_>>());
}

#[test]
fn what_cannot_be_captured_says_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("take.mid");
    fs::write(&path, smf::write_take(&take(&BARS, as_played))).unwrap();
    let file = path.display().to_string();
    let rows: [(&[&str], &str); 6] = [
        (&["x", "--meter", "3", "--take", &file], "expected a metre such as 3/4"),
        (&["x", "--key", "H", "--take", &file], "expected a key such as C, Eb"),
        (&["x/y", "--take", &file], "expected a name for a folder"),
        (&["x", "--again", "3", "--take", &file], "nothing of x is captured yet"),
        (&["x", "--take", &file, "--tapped"], "at least two bar lines tapped"),
        (&["x", "--pickup", "9", "--take", &file], "expected a pickup shorter than a bar"),
    ];
    for (args, expected) in rows {
        let output = capture(dir.path(), args);
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(!output.status.success() && error.contains(expected), "{args:?}: {error}");
    }
}
